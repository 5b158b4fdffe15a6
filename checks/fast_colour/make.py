"""Polynomials of crates/photo/src/colour/fast.rs, fitted at Chebyshev nodes."""

import math

import numpy as np
from numpy.polynomial import chebyshev, polynomial

from oracle import Table, main


def fit(function, low, high, degree):
    """Coefficients, lowest power first, and the largest error over the range."""
    k = np.arange(4000)
    nodes = np.cos(np.pi * (k + 0.5) / len(k))
    in_unit = chebyshev.cheb2poly(chebyshev.chebfit(nodes, function(low + (high - low) * (nodes + 1) / 2), degree))
    line = np.array([-(low + high) / (high - low), 2 / (high - low)])
    coefficients = np.zeros(1)
    for c in in_unit[::-1]:
        coefficients = polynomial.polyadd(polynomial.polymul(coefficients, line), [c])
    x = np.linspace(low, high, 100_001)
    error = np.max(np.abs(polynomial.polyval(x, coefficients) - function(x)))
    return coefficients[: degree + 1], error


def atan_over_x(x2):
    x = np.sqrt(np.maximum(x2, 1e-300))
    return np.where(x2 < 1e-12, 1.0, np.arctan(x) / x)


def sin_over_x(x2):
    x = np.sqrt(np.maximum(x2, 1e-300))
    return np.where(x2 < 1e-12, 1.0, np.sin(x) / x)


FITS = {
    "arctan": (atan_over_x, 0.0, 1.0, 7),
    "sine": (sin_over_x, 0.0, (math.pi / 3) ** 2, 4),
    "exp2": (np.exp2, -0.5, 0.5, 6),
}

rows = []
for name, arguments in FITS.items():
    coefficients, error = fit(*arguments)
    print(f"{name}: largest error {error:.2e}")
    rows += [[name, power, float(c)] for power, c in enumerate(coefficients)]

main(
    __doc__,
    {"polynomials.csv": Table(["polynomial", "power", "coefficient"], rows, {"coefficient": 1e-8})},
    libraries=[np],
)
