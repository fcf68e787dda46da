"""Sobol points and normal scores of scipy, for the tests of crates/geometry/src/circuit/robustness.

scipy 1.17.1:  python generate.py
"""

from scipy.stats import norm, qmc

points = qmc.Sobol(12, scramble=False, bits=32).random(1024)


def gray(i):
    return i ^ (i >> 1)


# scipy numbers points by Gray code; ours by plain binary. Both give the same set.
place = {gray(i): i for i in range(1024)}
for number in (1, 2, 3, 5, 8, 100, 777, 1023):
    row = ", ".join(repr(float(v)) for v in points[place[number]])
    print(f"    ({number}, [{row}]),")
for p in (1e-9, 1e-4, 0.02, 0.07, 0.2, 0.5, 0.6, 0.924, 0.926, 0.99, 0.9999):
    print(f"    ({p!r}, {float(norm.ppf(p))!r}),")
