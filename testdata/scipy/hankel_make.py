#!/usr/bin/env python3
"""Table of the Hankel functions H0(1) = J0 + iY0 and H1(1) = J1 + iY1 for real arguments.

Writes hankel.csv beside this file. Needs mpmath and, for a cross-check only, SciPy
(Debian: python3-mpmath python3-scipy). mpmath works with 40 digits; the values are
rounded to 17 significant ones, so that each reads back as the nearest double.

The arguments are doubles with six significant decimal digits, and the functions are
taken at the double itself, not at the decimal: a reader that parses x gets that double.
"""
import pathlib

import mpmath
from scipy.special import hankel1

mpmath.mp.dps = 40
COUNT, LOW, HIGH = 640, -6.0, 4.6  # log10 of the ends; hankel leaves arguments from 2^15 = 10^4.52 on to the standard library

rows = []
for i in range(COUNT):
    text = "%.5e" % 10 ** (LOW + (HIGH - LOW) * i / (COUNT - 1))
    x = float(text)
    exact = mpmath.mpf(x)
    values = [f(n, exact) for n in (0, 1) for f in (mpmath.besselj, mpmath.bessely)]
    # The Wronskian J1 Y0 - J0 Y1 = 2/(pi x) ties the four together (DLMF 10.5.2).
    j0, y0, j1, y1 = values
    defect = (j1 * y0 - j0 * y1) * mpmath.pi * exact / 2 - 1
    assert abs(defect) < mpmath.mpf(10) ** -30, (text, defect)
    for n in (0, 1):
        h = complex(values[2 * n], values[2 * n + 1])
        assert abs(hankel1(n, x) - h) < 2e-13 * abs(h), (text, n)
    rows.append(",".join([text] + [mpmath.nstr(v, 17, strip_zeros=False) for v in values]))

out = pathlib.Path(__file__).with_name("hankel.csv")
out.write_text("x,J0,Y0,J1,Y1\n" + "\n".join(rows) + "\n")
