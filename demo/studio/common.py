"""Shared constants and seeding.

Lengths are millimetres unless a name ends in `_px`. Every random draw of the studio comes from
`rng(*words)`, a generator seeded by the SHA-256 of identifiers alone, so that a truth state can never
reach light, camera or pose through the seed.
"""
from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np

PX_PER_MM = 12
"""Resolution of the flat face images, pixels per millimetre."""

DEMO = Path(__file__).resolve().parent.parent
LINE = "kelpwright"
LINE_NAME = "Kelpwright"
PUBLISHER = "Otterby & Vane Paperworks"

PACK_MM = (65.0, 112.0)
"""Flat width and height of a pack, both end seals included."""
SEAL_MM = 9.0
"""Printed height of an end seal zone."""
BOX_MM = (135.0, 125.0, 70.0)
"""Width, height, depth of a box."""

RELEASES = ("first-soundings", "brass-estuary", "night-dredge")


def rng(*words: object) -> np.random.Generator:
    """A generator seeded by identifiers (never by a truth state)."""
    text = "/".join(str(w) for w in words)
    digest = hashlib.sha256(text.encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:16], "big"))


def gtin13(twelve: str) -> str:
    """Twelve digits with their GS1 check digit appended."""
    total = sum(int(d) * (3 if i % 2 else 1) for i, d in enumerate(twelve))
    return twelve + str((10 - total % 10) % 10)


def fbm(shape: tuple[int, int], cells: float, octaves: int, generator: np.random.Generator) -> np.ndarray:
    """Smooth fractal noise of zero mean and unit spread.

    `cells` is the number of lattice cells along the longer side for the first octave.
    """
    from scipy.ndimage import zoom

    height, width = shape
    longest = max(shape)
    total = np.zeros(shape, np.float32)
    amplitude = 1.0
    for octave in range(octaves):
        n = cells * 2**octave
        rows = max(2, int(np.ceil(height / longest * n))) + 3
        cols = max(2, int(np.ceil(width / longest * n))) + 3
        lattice = generator.standard_normal((rows, cols)).astype(np.float32)
        fine = zoom(lattice, (height / (rows - 3), width / (cols - 3)), order=3, grid_mode=True, mode="nearest")
        top, left = int(1.5 * height / (rows - 3)), int(1.5 * width / (cols - 3))
        total += amplitude * fine[top : top + height, left : left + width]
        amplitude *= 0.5
    total -= total.mean()
    return total / (total.std() + 1e-9)


def smoothstep(edge0: float, edge1: float, x: np.ndarray) -> np.ndarray:
    """The cubic step from 0 at edge0 to 1 at edge1."""
    t = np.clip((x - edge0) / (edge1 - edge0), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)
