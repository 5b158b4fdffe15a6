"""Cost, minimum cost, PAV, kernel densities and empirical bounds by the lir library.

Draws score sets with Python's own generator and computes the oracle values beside them.
"""

import random

import lir
import numpy
import sklearn
from lir.algorithms.bayeserror import elub
from lir.algorithms.isotonic_regression import IsotonicCalibrator
from lir.algorithms.kde import KDECalibrator
from lir.data.models import LLRData
from lir.metrics import cllr, cllr_min
from sklearn.metrics import roc_auc_score

from oracle import Table, main

if not hasattr(lir, "__version__"):
    from importlib.metadata import version

    lir.__version__ = version("lir")


def draw(seed, n_first, n_second, mean, spread, scale=1.0, digits=6):
    """Normal scores; of the sets only `calibrated` is meant to be right."""
    rng = random.Random(seed)
    first = [round(scale * rng.gauss(mean, spread), digits) for _ in range(n_first)]
    second = [round(scale * rng.gauss(-mean, spread), digits) for _ in range(n_second)]
    return first, second


def sets():
    """Name -> (ratios of the first side, of the second), bans."""
    # ln LR normal with mean ±m and variance 2m is calibrated: m = 4.6 gives mean 2 bans, sd 1.317.
    named = {
        "calibrated": draw(1, 60, 50, 1.997767, 1.317290),
        "overconfident": draw(2, 40, 40, 1.0, 0.9, scale=4.0),
        "useless": draw(3, 30, 30, 0.0, 0.5),
        "few": draw(4, 24, 10, 1.2, 0.8),
    }
    # Ties between items, but none on the 0.01 grid of the bounds: there lir's answer hangs on the last
    # bit of numpy.linspace.
    named["tied"] = tuple([round(x + 0.004, 3) for x in side] for side in draw(5, 40, 40, 0.5, 0.7, digits=1))
    first, second = draw(6, 30, 16, 1.5, 0.6)
    named["misleading"] = (first, second[:-1] + [2.5])
    named["separated"] = ([round(0.5 + 0.1 * i, 3) for i in range(24)], [round(-0.4 - 0.1 * i, 3) for i in range(16)])
    return named


def arrays(first, second):
    return (
        numpy.array(first + second, dtype=float),
        numpy.array([1] * len(first) + [0] * len(second)),
    )


scores, figures, pav, kde = [], [], [], []
for name, (first, second) in sets().items():
    llrs, labels = arrays(first, second)
    data = LLRData(features=llrs.reshape(-1, 1), labels=labels)
    scores += [[name, "first" if label else "second", float(value)] for value, label in zip(llrs, labels)]
    figures.append([name, "cllr", float(cllr(data))])
    with numpy.errstate(divide="ignore"):
        figures.append([name, "min-cllr", float(cllr_min(data))])
        calibrated = IsotonicCalibrator().fit_transform(llrs.copy(), labels)
    lower, upper = elub(llrs.copy(), labels, add_misleading=1)
    figures.append([name, "lower-bound", float(lower)])
    figures.append([name, "upper-bound", float(upper)])
    figures.append([name, "auc", float(roc_auc_score(labels, llrs))])
    pav += [[name, at, float(value)] for at, value in enumerate(calibrated)]
    if name in ("calibrated", "overconfident", "few"):
        kernel = KDECalibrator(bandwidth="silverman").fit(llrs.reshape(-1, 1), labels)
        grid = numpy.linspace(-4.0, 4.0, 33)
        kde += [[name, float(x), float(y)] for x, y in zip(grid, kernel.transform(grid))]

main(
    __doc__,
    {
        "scores.csv": Table(["set", "side", "log10_lr"], scores),
        "figures.csv": Table(["set", "figure", "value"], figures, {"value": 1e-9}),
        "pav.csv": Table(["set", "index", "log10_lr"], pav, {"log10_lr": 1e-9}),
        "kde.csv": Table(["set", "x", "log10_lr"], kde, {"log10_lr": 1e-9}),
    },
    libraries=[lir, numpy, sklearn],
)
