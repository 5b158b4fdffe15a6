"""Polynomials of crates/photo/src/colour/fast.rs, fitted at Chebyshev nodes.

Prints the coefficients (lowest power first) and the largest error in double precision of each,
over the range that the code uses.
Run: python make.py   (needs numpy). With --check it also compares them with those that stand in
fast.rs, and exits with 1 where they differ by more than single precision loses.
"""
import math
import re
import sys
from pathlib import Path

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
    return coefficients[: degree + 1]


def atan_over_x(x2):
    x = np.sqrt(np.maximum(x2, 1e-300))
    return np.where(x2 < 1e-12, 1.0, np.arctan(x) / x)


def sin_over_x(x2):
    x = np.sqrt(np.maximum(x2, 1e-300))
    return np.where(x2 < 1e-12, 1.0, np.sin(x) / x)


def written(path):
    """Every array `const C: [f32; N]` of the file, in its order."""
    arrays = re.findall(r"const C: \[f32; \d+\] = \[([^\]]*)\]", path.read_text())
    return [[float(text.replace("_", "")) for text in re.split(r"[,\s]+", a) if text] for a in arrays]


print("numpy", np.__version__)
fitted = [
    fit("atan(x)/x in x^2, |x| <= 1", atan_over_x, 0.0, 1.0, 7),
    fit("sin(x)/x in x^2, |x| <= pi/3", sin_over_x, 0.0, (math.pi / 3) ** 2, 4),
    fit("2^x, |x| <= 1/2", np.exp2, -0.5, 0.5, 6),
]
if "--check" in sys.argv[1:]:
    source = Path(__file__).resolve().parents[2] / "crates/photo/src/colour/fast.rs"
    in_code = written(source)
    wrong = [] if len(in_code) == 3 else [f"{len(in_code)} polynomials in {source.name}, 3 fitted"]
    for number, (code, fresh) in enumerate(zip(in_code, fitted), start=1):
        # Half a unit in the last place of single precision, twice: once written, once read.
        if len(code) != len(fresh) or not np.allclose(code, fresh, rtol=2.0**-23, atol=0.0):
            wrong.append(f"polynomial {number}: {source.name} has {code}, fitted {list(fresh)}")
    print("\n".join(wrong) if wrong else "all coefficients agree with fast.rs")
    sys.exit(1 if wrong else 0)
