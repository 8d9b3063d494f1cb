"""Reference for the benchmark: H0 and H1 of real arguments with SciPy, as j0 + i y0 and j1 + i y1 (several times as fast as hankel1).

    hankel.py REPEATS

Prints nanoseconds per argument and processor, for the arguments of scatter's benchmark: 1024 between 0.05 and 500, sixteen neighbours and then others.
"""
import sys
import time

import numpy as np
from scipy.special import j0, j1, y0, y1

x = np.empty(1024)
i = np.arange(1024)
x[i // 16 * 37 % 64 * 16 + i % 16] = 0.05 * 1e4 ** (np.arange(1024) / 1023)
for _ in range(int(sys.argv[1])):
    start = time.process_time()
    for _ in range(100):
        h0, h1 = j0(x) + 1j * y0(x), j1(x) + 1j * y1(x)
    print((time.process_time() - start) / 100 / len(x) * 1e9, flush=True)
