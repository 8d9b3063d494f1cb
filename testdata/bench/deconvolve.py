"""Reference for the benchmark: responses from sweep recordings with SciPy.

    deconvolve.py DIR RATE REPEATS

The same work as deconvolve.c, from files to files: real transforms of a fast length, four recordings in one array, two workers in each call, reading and writing
by scipy.io.wavfile. (Two in one array are slower: each worker takes two side by side. So are eight: the arrays then leave the caches.) Prints wall and processor seconds of
each repeat; imports and the inverse come before, and what the repeat before has written is removed: writing over it may wait for the disk.
"""
import os
import shutil
import sys
import time

import numpy as np
import scipy.fft
import scipy.io.wavfile

COUNT, AT_ONCE, LOW, HIGH = 33, 4, 50.0, 20000.0


def main(folder, rate, repeats):
    _, sweep = scipy.io.wavfile.read(f"{folder}/sweep.wav")
    _, first = scipy.io.wavfile.read(f"{folder}/rec00.wav")
    n = scipy.fft.next_fast_len(len(first), real=True)
    S = scipy.fft.rfft(sweep.astype(float), n)
    f = np.arange(len(S)) * rate / n
    with np.errstate(divide="ignore"):
        octaves = np.log2(f / LOW), np.log2(HIGH / f)
    W = np.prod([0.5 - 0.5 * np.cos(np.pi * np.clip(6 * o, 0, 1)) for o in octaves], axis=0)
    power = np.abs(S) ** 2
    G = W * np.conj(S) / np.maximum(power, 1e-6 * power[W == 1].mean())
    for _ in range(repeats):
        shutil.rmtree(f"{folder}/py", ignore_errors=True)
        os.makedirs(f"{folder}/py")
        wall, cpu = time.perf_counter(), time.process_time()
        for start in range(0, COUNT, AT_ONCE):
            names = range(start, min(start + AT_ONCE, COUNT))
            y = np.zeros((len(names), n))
            for i, name in enumerate(names):
                _, x = scipy.io.wavfile.read(f"{folder}/rec{name:02d}.wav")
                y[i, : len(x)] = x
            Y = scipy.fft.rfft(y, axis=1, workers=2, overwrite_x=True)
            Y *= G
            h = scipy.fft.irfft(Y, n, axis=1, workers=2, overwrite_x=True)
            for i, name in enumerate(names):
                scipy.io.wavfile.write(f"{folder}/py/{name:02d}.wav", rate, h[i, :rate].astype(np.float32))
        print(f"{time.perf_counter() - wall:.6f} {time.process_time() - cpu:.6f}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
