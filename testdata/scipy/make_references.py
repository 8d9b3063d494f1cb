#!/usr/bin/env python3
"""Reference values from SciPy for windows, band filters, Fresnel integrals and Student's t: run here to write references.json again.

    python3 make_references.py

Needs the Debian packages python3-numpy and python3-scipy (made with NumPy 1.24 and SciPy 1.10).
"""
import json

import numpy as np
import scipy.signal
import scipy.special
import scipy.stats

rate = 48000.0
G = 10 ** 0.3


def bands():
    """The energy of decaying sounds, smooth over third octaves, by Butterworth band-passes of order 2·8 between the edges of IEC 61260-1:2014 (base ten)."""
    t = np.arange(6000) / rate
    x = sum(a * np.cos(2 * np.pi * f * t) * np.exp(-np.pi * f * t / 1.5) for a, f in ((1.0, 150), (0.7, 500), (0.9, 1600), (1.2, 4500)))
    x = np.round(x, 9)
    energies = []
    for k in range(-9, 8, 2):  # 126 Hz to 5 kHz
        middle = 1000 * 10 ** (k / 10)
        edges = [middle * G ** (-1 / 6), middle * G ** (1 / 6)]
        sos = scipy.signal.butter(8, edges, "bandpass", fs=rate, output="sos")
        y = scipy.signal.sosfilt(sos, np.concatenate([x, np.zeros(1 << 17)]))
        energies.append({"middle_hz": middle, "energy": float(np.sum(y * y))})
    return {"samples": [float(v) for v in x], "energies": energies}


s, c = scipy.special.fresnel([0.5, 1.0, 1.21720, 1.87252, 2.0])
out = {
    "blackman_harris": [float(v) for v in scipy.signal.windows.blackmanharris(241)],
    "bands": bands(),
    "fresnel": {"x": [0.5, 1.0, 1.21720, 1.87252, 2.0], "c": [float(v) for v in c], "s": [float(v) for v in s]},
    "student_t_95": {str(n): float(scipy.stats.t.ppf(0.975, n)) for n in (1, 2, 3, 4, 5, 10, 30, 100)},
}
with open("references.json", "w", encoding="ascii") as f:
    json.dump(out, f)
    f.write("\n")
