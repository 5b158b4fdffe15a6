"""Masked autocorrelation of seeded fields, by NumPy and SciPy.

`shifts.csv` holds the recipe of each field and, for some shifts, the sums over all pairs of places that
lie that shift apart: of products, of products of squares, of weights. SciPy lays the field over itself
(`scipy.signal.correlate`, direct method); the Rust test rebuilds the fields from the recipe (integer
noise and single-precision products, so that both sides have the same bits).
"""

import numpy
import scipy
import scipy.signal

from oracle import Table, main

SHIFTS = [(0, 0), (1, 0), (5, 3), (-7, 2), (12, 11), (-17, 16), (20, 0)]


def noise(count, seed):
    """Even noise in -1..1 from a linear congruential generator on 32 bits (Numerical Recipes)."""
    out = numpy.empty(count)
    state = seed
    for i in range(count):
        state = (1664525 * state + 1013904223) & 0xFFFFFFFF
        out[i] = state / 2147483648.0 - 1.0
    return out


def field(width, height, period, seed):
    """Values and weights, height x width, float32; a bump stands on every `period` in x and y."""
    y, x = numpy.mgrid[:height, :width]
    weight = (((x * 7 + y * 13 + seed) % 5) * 0.5).astype(numpy.float32)
    bump = ((x % period < 2) & (y % period < 2)).astype(numpy.float32)
    grain = noise(width * height, seed).reshape(height, width).astype(numpy.float32)
    return weight * (grain + bump), weight


def overlaid(plane):
    """Sum of plane(p) * plane(p + shift), for every shift, and where shift 0 is."""
    plane = plane.astype(float)
    sums = scipy.signal.correlate(plane, plane, mode="full", method="direct")
    return sums, (plane.shape[0] - 1, plane.shape[1] - 1)


rows = []
for width, height, period, seed in [(40, 33, 8, 1), (64, 48, 11, 2), (51, 77, 9, 3), (97, 30, 13, 4)]:
    value, weight = field(width, height, period, seed)
    product, (y0, x0) = overlaid(value)
    variance, _ = overlaid(value.astype(float) ** 2)
    overlap, _ = overlaid(weight)
    for dx, dy in SHIFTS:
        at = (y0 + dy, x0 + dx)
        rows.append([width, height, period, seed, dx, dy, float(product[at]), float(variance[at]), float(overlap[at])])

COLUMNS = ["width", "height", "period", "seed", "dx", "dy", "product", "variance", "overlap"]

if __name__ == "__main__":
    main(__doc__, {"shifts.csv": Table(COLUMNS, rows)}, libraries=[numpy, scipy])
