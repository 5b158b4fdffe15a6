"""Gamma, Beta, Student and Fisher values and Clopper-Pearson intervals by SciPy."""

import scipy
from scipy import special, stats

from oracle import Table, main

values = []
for x in (0.1, 0.5, 1.0, 1.5, 2.5, 5.0, 17.3, 100.0, 1234.5):
    values.append(["ln-gamma", x, 0.0, 0.0, float(special.gammaln(x))])
for a, b in ((0.5, 0.5), (1.0, 1.0), (2.0, 5.0), (0.5, 24.5), (25.0, 1.0), (17.0, 84.0), (300.0, 200.0)):
    for x in (0.001, 0.05, 0.3, 0.5, 0.9, 0.999):
        values.append(["beta-cdf", x, a, b, float(special.betainc(a, b, x))])
    for p in (0.005, 0.05, 0.5, 0.95, 0.995):
        values.append(["beta-quantile", p, a, b, float(stats.beta.ppf(p, a, b))])
for nu in (1.0, 2.0, 5.0, 23.0, 200.0):
    for p in (0.001, 0.05, 0.3, 0.9, 0.975, 0.9995):
        values.append(["student-quantile", p, nu, 0.0, float(stats.t.ppf(p, nu))])
    for t in (-2.0, 0.0, 0.7, 3.0, 12.0):
        values.append(["student-tail", t, nu, 0.0, float(stats.t.sf(t, nu))])
for d1, d2 in ((1.0, 5.0), (3.0, 5.0), (12.0, 5.0), (4.0, 40.0)):
    for f in (0.1, 1.0, 4.0, 20.0, 200.0):
        values.append(["fisher-tail", f, d1, d2, float(stats.f.sf(f, d1, d2))])
    for p in (0.05, 0.5, 0.9, 0.999):
        values.append(["fisher-quantile", p, d1, d2, float(stats.f.ppf(p, d1, d2))])

proportions = []
for n in (1, 10, 16, 24, 200, 298, 299):
    for k in sorted({0, 1, n // 3, n // 2, n - 1, n}):
        for confidence in (0.9, 0.95, 0.99):
            interval = stats.binomtest(k, n).proportion_ci(confidence, method="exact")
            proportions.append([k, n, confidence, float(interval.low), float(interval.high)])

main(
    __doc__,
    {
        "values.csv": Table(["what", "x", "a", "b", "value"], values, {"value": 1e-9}),
        "proportions.csv": Table(
            ["count", "of", "confidence", "low", "high"], proportions, {"low": 1e-9, "high": 1e-9}
        ),
    },
    libraries=[scipy],
)
