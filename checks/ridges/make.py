"""Pitch, contrast and coherence of seeded ridge strips, by NumPy and SciPy.

`strips.csv` holds the recipe of each strip and what general-purpose libraries read from it; the Rust
test rebuilds the strips from the recipe (integer noise, so that both sides have the same bits to
within a float's rounding) and holds its own readings against these.
"""

import numpy
import scipy
import scipy.optimize
import scipy.signal

from oracle import Table, main

LENGTH_MM, HEIGHT_MM = 62.0, 7.0
# A window of the local map: where, and how wide, mm.
WINDOW = (20.0, 3.5)


def noise(count, seed):
    """Even noise in -1..1 from a linear congruential generator on 32 bits (Numerical Recipes)."""
    out = numpy.empty(count)
    state = seed
    for i in range(count):
        state = (1664525 * state + 1013904223) & 0xFFFFFFFF
        out[i] = state / 2147483648.0 - 1.0
    return out


def strip(pitch_mm, px_per_mm, contrast, second, grain, phase, seed):
    """Ridges along the pack: rows x columns of linear light."""
    width, height = int(LENGTH_MM * px_per_mm), int(HEIGHT_MM * px_per_mm)
    x = numpy.arange(width) / px_per_mm
    u = 2 * numpy.pi * (x / pitch_mm + phase)
    line = 0.3 * (1 + contrast * (numpy.cos(u) + second * numpy.cos(2 * u + 0.7)))
    light = numpy.tile(line, (height, 1)) + 0.3 * grain * noise(width * height, seed).reshape(height, width)
    return numpy.maximum(light, 0.0).astype(numpy.float32)


def pitch_by_scipy(image, px_per_mm):
    """Least-squares sine with harmonic through the column means, started at the periodogram's peak."""
    profile = image.mean(axis=0, dtype=float)
    profile = profile - profile.mean()
    f, p = scipy.signal.periodogram(profile, fs=px_per_mm, window="hann", nfft=16 * len(profile))
    inside = (f > 1 / 2.8) & (f < 1 / 0.45)
    start = f[inside][numpy.argmax(p[inside])]
    x = numpy.arange(len(profile)) / px_per_mm

    def model(x, f, a, b, c, d, e):
        w = 2 * numpy.pi * f * x
        return a * numpy.cos(w) + b * numpy.sin(w) + c * numpy.cos(2 * w) + d * numpy.sin(2 * w) + e

    fitted, _ = scipy.optimize.curve_fit(model, x, profile, p0=[start, 0.01, 0.01, 0, 0, 0])
    return 1 / fitted[0]


def window_by_numpy(image, px_per_mm, pitch_mm):
    """Contrast, second harmonic and explained share of one window by lstsq."""
    left = int(round(WINDOW[0] * px_per_mm))
    right = int(round((WINDOW[0] + WINDOW[1]) * px_per_mm))
    part = image[:, left:right].astype(float)
    rows, columns = part.shape
    x = (numpy.arange(left, right) / px_per_mm)[None, :].repeat(rows, axis=0).ravel()
    u = ((numpy.arange(columns) - (columns - 1) / 2) / (columns / 2))[None, :].repeat(rows, axis=0).ravel()
    v = ((numpy.arange(rows) - (rows - 1) / 2) / (rows / 2))[:, None].repeat(columns, axis=1).ravel()
    w = 2 * numpy.pi * x / pitch_mm
    ones = numpy.ones_like(x)
    y = part.ravel()
    plane = numpy.stack([ones, u, v], axis=1)
    full = numpy.stack([ones, u, v, numpy.cos(w), numpy.sin(w), numpy.cos(2 * w), numpy.sin(2 * w)], axis=1)

    def rest(basis):
        beta, *_ = numpy.linalg.lstsq(basis, y, rcond=None)
        return beta, ((y - basis @ beta) ** 2).sum()

    _, plane_rest = rest(plane)
    beta, full_rest = rest(full)
    return (
        numpy.hypot(beta[3], beta[4]) / beta[0],
        numpy.hypot(beta[5], beta[6]) / beta[0],
        1 - full_rest / plane_rest,
    )


rows = []
recipes = numpy.random.default_rng(20260611)
for number in range(40):
    pitch = round(float(recipes.uniform(0.75, 1.7)), 4)
    scale = float(recipes.choice([5.0, 6.5, 8.0, 10.0, 13.0]))
    contrast = round(float(recipes.uniform(0.1, 0.45)), 3)
    second = round(float(recipes.uniform(0.0, 0.6)), 3)
    grain = round(float(recipes.uniform(0.02, 0.3)), 3)
    phase = round(float(recipes.uniform(0, 1)), 3)
    image = strip(pitch, scale, contrast, second, grain, phase, number + 1)
    rows.append(
        [number + 1, pitch, scale, contrast, second, grain, phase, pitch_by_scipy(image, scale)]
        + [float(v) for v in window_by_numpy(image, scale, pitch)]
    )

main(
    __doc__,
    {
        "strips.csv": Table(
            ["seed", "pitch_mm", "px_per_mm", "contrast", "second", "grain", "phase",
             "scipy_pitch_mm", "numpy_contrast", "numpy_second", "numpy_explained"],
            rows,
            tolerance={"scipy_pitch_mm": 1e-6, "numpy_contrast": 1e-7, "numpy_second": 1e-7, "numpy_explained": 1e-7},
        )
    },
    libraries=[numpy, scipy],
)
