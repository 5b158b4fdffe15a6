"""Smooth noise on tensor grids: cubic B-spline surfaces over random lattices.

A field over rows `v` and columns `u` (1-D, mm) is `A(v) L B(u)ᵀ`, so a fine grid costs two small
products, and the result does not depend on the grid it is looked at.
"""
from __future__ import annotations

import numpy as np


def basis(x: np.ndarray, cell: float, start: float, count: int) -> np.ndarray:
    """Cubic B-spline weights (len(x), count) of lattice points at `start + i * cell`."""
    t = (np.asarray(x, float) - start) / cell
    i = np.floor(t).astype(int)
    f = t - i
    w = np.stack([(1 - f) ** 3, 3 * f**3 - 6 * f**2 + 4, -3 * f**3 + 3 * f**2 + 3 * f + 1, f**3], -1) / 6
    out = np.zeros((len(x), count))
    rows = np.arange(len(x))
    for k in range(4):
        j = np.clip(i - 1 + k, 0, count - 1)
        np.add.at(out, (rows, j), w[:, k])
    return out


def field(u: np.ndarray, v: np.ndarray, cell: float, octaves: int, g: np.random.Generator, extent: tuple[float, float, float, float], stretch: float = 1.0) -> np.ndarray:
    """Fractal noise of about unit spread over columns `u` and rows `v`.

    `cell` is the lattice step of the first octave in mm (rows: times `stretch`), `extent` the
    (u0, v0, u1, v1) that the lattice covers, whatever part of it is asked for.
    """
    u0, v0, u1, v1 = extent
    total = np.zeros((len(v), len(u)))
    power = 0.0
    for octave in range(octaves):
        cu, cv = cell / 2**octave, cell * stretch / 2**octave
        nu, nv = int(np.ceil((u1 - u0) / cu)) + 4, int(np.ceil((v1 - v0) / cv)) + 4
        lattice = g.standard_normal((nv, nu))
        a = 0.5**octave
        total += a * (basis(v, cv, v0 - cv, nv) @ lattice @ basis(u, cu, u0 - cu, nu).T)
        power += a * a
    # variance of a cubic B-spline surface over white noise: (151/315)^2, integral of the squared kernel
    return total / np.sqrt(power * (151 / 315) ** 2)


def line(u: np.ndarray, cell: float, octaves: int, g: np.random.Generator, extent: tuple[float, float]) -> np.ndarray:
    """The same along one axis."""
    total, power = np.zeros(len(u)), 0.0
    for octave in range(octaves):
        c = cell / 2**octave
        n = int(np.ceil((extent[1] - extent[0]) / c)) + 4
        total += 0.5**octave * (basis(u, c, extent[0] - c, n) @ g.standard_normal(n))
        power += 0.25**octave
    return total / np.sqrt(power * 151 / 315)


def step(a: float, b: float, x: np.ndarray) -> np.ndarray:
    """Cubic step, 0 at `a` to 1 at `b`."""
    t = np.clip((x - a) / (b - a), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def patches(noise: np.ndarray, cover: float, soft: float) -> np.ndarray:
    """Soft-bordered patches over about the share `cover`, from unit noise."""
    level = np.quantile(noise, 1.0 - np.clip(cover, 0.005, 0.995))
    return step(level - soft, level + soft, noise)
