#!/usr/bin/env python3
"""Correlation coefficients of two signals with gaps at every lag, by their definition and NumPy's corrcoef.

usage: lags.py < {"fixed": [...], "moved": [...], "overlap_least": n}; prints the list, null where there is none.
"""
import json
import sys

import numpy

given = json.load(sys.stdin)
fixed, moved = (numpy.array([numpy.nan if v is None else v for v in given[k]]) for k in ("fixed", "moved"))
out = []
for lag in range(-(len(moved) - 1), len(fixed)):
    pairs = [
        (fixed[i], moved[i - lag])
        for i in range(max(0, lag), min(len(fixed), len(moved) + lag))
        if not numpy.isnan(fixed[i]) and not numpy.isnan(moved[i - lag])
    ]
    if len(pairs) < given["overlap_least"]:
        out.append(None)
        continue
    a, b = numpy.array(pairs).T
    out.append(None if a.std() == 0 or b.std() == 0 else float(numpy.corrcoef(a, b)[0, 1]))
json.dump(out, sys.stdout)
