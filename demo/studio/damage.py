"""What happens to a pack: honest wear, factory faults, and ends that were opened and closed again.

Severities are numbers from 0 to 1. `Damage` turns a pack's `History` into fields over the flat pack
(lengths in mm): how much of the factory ridges is left, further ridges, lift, haze, lost ink, and the
shift of the cut edge. Wear uses its own generator, so that two histories of one id share their wear.
"""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from common import PACK_MM, fbm, rng, smoothstep


@dataclass(frozen=True)
class End:
    """An end that was opened and closed again."""

    by: str
    """`iron`, `crimper` or `glue`."""
    severity: float


@dataclass(frozen=True)
class History:
    """All that happened to one pack."""

    wear: float = 0.2
    ends: dict[str, End] = field(default_factory=dict)
    print_shift_mm: tuple[float, float] = (0.0, 0.0)
    miscut_mm: float = 0.0
    """Skew of the cut over the width."""


def soft_patches(shape, cover: float, softness: float, cells: float, g) -> np.ndarray:
    """A mask of soft-bordered patches covering roughly the share `cover`."""
    n = fbm(shape, cells, 3, g)
    level = np.quantile(n, 1.0 - np.clip(cover, 0.01, 0.99))
    return smoothstep(level - softness, level + softness, n)


class EndField:
    """Fields over one end, on a grid of u (across, mm) and d (distance from the nominal cut, mm)."""

    def __init__(self, shape):
        self.keep = np.ones(shape, np.float32)
        self.extra = np.zeros(shape, np.float32)
        self.lift = np.zeros(shape, np.float32)
        self.haze = np.zeros(shape, np.float32)
        self.rub = np.zeros(shape, np.float32)
        self.cut = np.zeros(shape[1], np.float32)


def ridge_profile(phase: np.ndarray, hardness: float = 1.6) -> np.ndarray:
    """One ridge per unit of phase: a softened square wave from -0.5 to 0.5 with lands."""
    return 0.5 * np.tanh(hardness * np.cos(2 * np.pi * phase)) / np.tanh(hardness)


def end_field(identity: str, end: str, u: np.ndarray, d: np.ndarray, seal_mm: float, history: History) -> EndField:
    """Fields of one end; `u`, `d` are 2-D grids (mm)."""
    shape = u.shape
    f = EndField(shape)
    w = history.wear
    g = rng(identity, "wear", end)
    f.keep *= 1.0 - (0.06 + 0.34 * w) * g.uniform(0.5, 1.0)
    f.keep *= np.clip(1.0 + (0.05 + 0.07 * w) * fbm(shape, 5, 2, g), 0.2, 1.3)
    f.lift += (0.12 + 0.25 * w) * fbm(shape, 3, 2, g)
    f.cut += 0.04 * fbm((2, shape[1]), 30, 3, g)[0]
    if w > 0.3:
        for _ in range(int(1 + 4 * w)):
            angle, at = g.uniform(-0.6, 0.6), g.uniform(3, 62)
            dist = (u - at) * np.cos(angle) + (d - 4) * np.sin(angle)
            line = np.exp(-((dist / 0.35) ** 2))
            f.lift += g.uniform(-1, 1) * 0.28 * w * np.exp(-np.abs(dist) / 1.6)
            f.rub += 0.55 * w * line
    job = history.ends.get(end)
    if job is None:
        return f
    s = job.severity
    g = rng(identity, "job", end, job.by)
    inside = smoothstep(seal_mm + 1.5, seal_mm - 0.5, d)
    if job.by == "iron":
        patch = soft_patches(shape, 0.25 + 0.7 * s, 0.5, 4, g)
        reach = np.clip(0.35 + 0.65 * s, 0, 1) * patch
        f.keep *= 1 - np.clip(reach * (0.55 + 0.6 * s), 0, 0.98)
        f.haze += inside * patch * (0.15 + 0.75 * s)
        f.lift += s * 0.35 * fbm(shape, 7, 3, g) * inside
        f.cut += s * (0.45 * fbm((2, shape[1]), 6, 3, g)[0] + 0.25)
        f.lift += s * 0.10 * fbm(shape, 26, 2, g) * inside
    elif job.by == "crimper":
        f.keep *= 1 - np.clip((0.35 + 0.6 * s) * soft_patches(shape, 0.5 + 0.45 * s, 0.7, 4, g), 0, 0.97)
        pitch = g.choice([1.65, 1.9, 2.2, 2.45])
        tilt = np.deg2rad(g.uniform(-4, 4))
        top, height = g.uniform(0.2, 1.6), g.uniform(4.5, 6.5)
        across = g.random() < 0.5
        phase = ((d * np.cos(tilt) + u * np.sin(tilt)) if across else (u * np.cos(tilt) + d * np.sin(tilt))) / pitch
        band = smoothstep(top - 0.3, top + 0.3, d) * smoothstep(top + height + 0.3, top + height - 0.3, d)
        press = np.clip(1 + 0.25 * fbm(shape, 4, 2, g), 0.2, 1.5)
        f.extra += (0.10 + 0.20 * s) * ridge_profile(phase, 1.1) * band * press
        f.haze += 0.22 * s * inside * soft_patches(shape, 0.4, 0.6, 6, g)
        f.lift += s * 0.3 * fbm(shape, 5, 3, g) * inside
        f.cut += s * (0.3 * fbm((2, shape[1]), 4, 2, g)[0] + 0.2)
    elif job.by == "glue":
        patch = soft_patches(shape, 0.35 + 0.6 * s, 0.45, 3.5, g)
        f.keep *= 1 - np.clip(patch * (0.45 + 0.6 * s), 0, 0.97)
        f.lift += inside * s * (0.55 * fbm(shape, 5, 3, g) + 0.22 * np.abs(fbm(shape, 13, 2, g)) * patch)
        f.lift += s * 0.7 * smoothstep(3.5, 0.0, d) * np.clip(fbm(shape, 3, 2, g), -0.3, 2)
        f.haze += 0.35 * s * inside * soft_patches(shape, 0.3, 0.3, 9, g)
        f.cut += s * 0.35 * fbm((2, shape[1]), 8, 3, g)[0]
    f.cut = np.maximum(f.cut, -0.6)
    return f


@dataclass
class BodyField:
    """Fields over the whole flat pack."""

    lift: np.ndarray
    rub: np.ndarray
    dull: np.ndarray


def body_field(identity: str, face: str, u: np.ndarray, v: np.ndarray, history: History) -> BodyField:
    """Creases, dents, bent corners and scuffs of the body; grids in mm."""
    w = history.wear
    g = rng(identity, "body", face)
    shape = u.shape
    lift = np.zeros(shape, np.float32)
    rub = np.zeros(shape, np.float32)
    lift += (0.05 + 0.12 * w) * fbm(shape, 8, 3, g)
    lift += 0.02 * fbm(shape, 34, 2, g)
    for _ in range(int(round(6 * w * g.uniform(0.5, 1.2)))):
        angle = g.uniform(0, np.pi)
        cx, cy, length = g.uniform(5, 60), g.uniform(12, 100), g.uniform(8, 45)
        across = (u - cx) * np.cos(angle) + (v - cy) * np.sin(angle)
        along = -(u - cx) * np.sin(angle) + (v - cy) * np.cos(angle)
        reach = smoothstep(length / 2, length / 2 - 6, np.abs(along))
        wander = 0.7 * np.sin(along * g.uniform(0.1, 0.4) + g.uniform(0, 6))
        dist = across - wander
        lift += g.choice([-1, 1]) * (0.15 + 0.4 * w) * np.exp(-np.abs(dist) / 1.1) * reach
        rub += (0.25 + 0.5 * w) * np.exp(-((dist / 0.22) ** 2)) * reach * (0.5 + 0.5 * np.sin(along * 3 + 4 * np.sin(along)))
    for _ in range(int(round(4 * w))):
        cx, cy, r = g.uniform(8, 57), g.uniform(15, 97), g.uniform(3, 8)
        lift -= (0.2 + 0.5 * w) * np.exp(-(((u - cx) ** 2 + (v - cy) ** 2) / r**2))
    dull = np.clip(w * (0.25 + 0.3 * fbm(shape, 5, 3, g)), 0, 1)
    edge = np.minimum(np.minimum(u, PACK_MM[0] - u), np.minimum(v, PACK_MM[1] - v))
    speck = np.clip(0.55 + 0.45 * fbm(shape, 150, 2, g), 0, 1)
    scuff = soft_patches(shape, 0.06 + 0.22 * w, 0.8, 26, g)
    rub += w * scuff * speck * np.exp(-edge / 2.0) * 0.9
    rub += 0.45 * w * w * soft_patches(shape, 0.05 + 0.05 * w, 0.9, 30, g) * speck
    return BodyField(lift, np.clip(rub, 0, 1), np.clip(dull, 0, 1))


def corner_lift(identity: str, u: np.ndarray, v: np.ndarray, history: History) -> np.ndarray:
    """Bent corners, mm of lift shared by both sheets."""
    g = rng(identity, "corners")
    out = np.zeros(u.shape, np.float32)
    for cx, cy in ((0, 0), (PACK_MM[0], 0), (PACK_MM[0], PACK_MM[1]), (0, PACK_MM[1])):
        size, slope = g.uniform(3, 9), g.uniform(-0.25, 0.55) * history.wear
        diagonal = (np.abs(u - cx) + np.abs(v - cy)) / np.sqrt(2)
        out += slope * np.logaddexp(0, (size - diagonal) / 0.35) * 0.35
    return out
