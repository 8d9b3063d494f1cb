#!/usr/bin/env python3
"""Reference values for the dsp package from SciPy and NumPy: run here to write them again.

    python3 make_dsp.py

Needs the Debian packages python3-numpy and python3-scipy (made with NumPy 1.24 and SciPy 1.10). Each file holds one number
per line, columns separated by blanks, with the digits that identify a double.
"""
import numpy as np
import scipy.fft
import scipy.signal


def save(name, *columns):
    with open(name, "w", encoding="ascii") as f:
        for row in zip(*columns):
            f.write(" ".join(repr(float(v)) for v in row) + "\n")


def burst(n):
    """A band-limited transient that is silent at both ends: exact under SciPy's Fourier resampling, which is periodic."""
    t = np.arange(n)
    x = np.zeros(n)
    for centre, width, freq in ((0.45, 25.0, 0.31), (0.52, 40.0, 0.05), (0.55, 18.0, 0.2)):
        u = (t - centre * n) / width
        x += np.exp(-0.5 * u * u) * np.cos(2 * np.pi * freq * u * width)
    return x


def resample():
    n = 800
    x = burst(n)
    save("resample_in.txt", x)
    save("resample_up.txt", scipy.signal.resample(x, 882))        # ratio 441/400
    save("resample_clock.txt", scipy.signal.resample(x, 801))     # ratio 801/800, a clock far off


def deconvolve():
    """A synchronised sweep through a short room with third-order distortion and noise, and its division as documented at
    dsp.Inverse, written here from the formulas alone."""
    rate, low, high, seconds, level = 4000.0, 60.0, 1600.0, 0.5, 10 ** (-6 / 20)
    log = np.log(high / low)
    L = np.round(low * seconds / log) / low
    T = L * log
    t = np.arange(int(np.ceil(T * rate))) / rate
    phase = 2 * np.pi * low * L * (np.exp(t / L) - 1)
    fade_in, fade_out = 0.03, 0.01
    fade = np.where(t < fade_in, 0.5 - 0.5 * np.cos(np.pi * t / fade_in), 1.0)
    left = T - t
    fade *= np.where(left < fade_out, 0.5 - 0.5 * np.cos(np.pi * left / fade_out), 1.0)
    sweep = level * fade * np.sin(phase)
    third = 0.01 * level * fade * np.sin(3 * phase) * (low * np.exp(t / L) < 600)
    rng = np.random.default_rng(1)
    fir = np.zeros(300)
    fir[[12, 41, 90]] = 1.0, -0.6, 0.35
    fir[60:] += 0.05 * rng.standard_normal(240) * np.exp(-np.arange(240) / 60)
    recording = scipy.signal.fftconvolve(sweep + third, fir)
    recording += 1e-3 * rng.standard_normal(len(recording))

    size = 2560  # dsp's length for len(sweep) + 400 = 2396
    S = scipy.fft.rfft(sweep, size)
    f = np.arange(len(S)) * rate / size
    octaves = np.log2(np.maximum(f, 1e-9) / low)
    from_top = np.log2(high / np.maximum(f, 1e-9))
    W = np.prod([0.5 - 0.5 * np.cos(np.pi * np.clip(6 * o, 0, 1)) for o in (octaves, from_top)], axis=0)
    power = np.abs(S) ** 2
    epsilon = np.maximum(0, 1e-6 * power[W == 1].mean() - power)
    G = W * np.conj(S) / (power + epsilon)
    response = scipy.fft.irfft(G * scipy.fft.rfft(recording, size), size)
    save("deconvolve_recording.txt", recording)
    save("deconvolve_response.txt", response)


if __name__ == "__main__":
    resample()
    deconvolve()
