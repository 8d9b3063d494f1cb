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


if __name__ == "__main__":
    resample()
