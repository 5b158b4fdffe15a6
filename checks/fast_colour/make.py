"""Polynomials of crates/photo/src/colour/fast.rs, fitted at Chebyshev nodes.

Prints the coefficients (lowest power first) and the largest error in double precision of each,
over the range that the code uses.
Run: python make.py   (needs numpy)
"""
import math

import numpy as np
from numpy.polynomial import chebyshev, polynomial


def fit(name, function, low, high, degree):
    k = np.arange(4000)
    nodes = np.cos(np.pi * (k + 0.5) / len(k))
    x = low + (high - low) * (nodes + 1) / 2
    cheb = chebyshev.chebfit(nodes, function(x), degree)
    in_unit = chebyshev.cheb2poly(cheb)
    # substitute t = (2x - low - high) / (high - low)
    line = np.array([-(low + high) / (high - low), 2 / (high - low)])
    coefficients = np.zeros(1)
    for c in in_unit[::-1]:
        coefficients = polynomial.polyadd(polynomial.polymul(coefficients, line), [c])
    x = np.linspace(low, high, 100_001)
    error = np.max(np.abs(polynomial.polyval(x, coefficients) - function(x)))
    print(f"{name}: largest error {error:.2e}")
    for c in coefficients[: degree + 1]:
        print(f"    {c:.9e},")


def atan_over_x(x2):
    x = np.sqrt(np.maximum(x2, 1e-300))
    return np.where(x2 < 1e-12, 1.0, np.arctan(x) / x)


def sin_over_x(x2):
    x = np.sqrt(np.maximum(x2, 1e-300))
    return np.where(x2 < 1e-12, 1.0, np.sin(x) / x)


print("numpy", np.__version__)
fit("atan(x)/x in x^2, |x| <= 1", atan_over_x, 0.0, 1.0, 7)
fit("sin(x)/x in x^2, |x| <= pi/3", sin_over_x, 0.0, (math.pi / 3) ** 2, 4)
fit("2^x, |x| <= 1/2", np.exp2, -0.5, 0.5, 6)
