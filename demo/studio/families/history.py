"""What happened to an item, every degree a number from 0 to 1, and the fields that follow from it.

`History` is drawn by `plan`; `end_fields` and `body_fields` turn it into how much of the factory's
ridges is left, further ridges, lift (mm), haze, rubbed ink, gloss, and where the cut went. Wear and
tampering have generators of their own, so that two histories of one identity share their wear.
The recipes are the authors', drawn from how such work must look, not measured: see README.md.
"""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from common import rng
from families import noise

WAYS = ("iron", "glue", "crimper", "tape")


@dataclass(frozen=True)
class Job:
    """An end (or the fin seal) that was opened and closed again."""

    by: str
    severity: float


@dataclass(frozen=True)
class History:
    """All that happened to one item."""

    wear: float = 0.2
    pressure: float = 0.0
    """Storage under weight: flattens genuine ridges a little everywhere."""
    fade: float = 0.0
    jobs: dict[str, Job] = field(default_factory=dict)
    """By place: `top`, `bottom`, `fin`; for boxes `film`."""
    recut: dict[str, float] = field(default_factory=dict)
    """Ends that were cut again, by how much."""
    miscut_mm: float = 0.0
    print_shift_mm: tuple[float, float] = (0.0, 0.0)
    double_strike: dict[str, float] = field(default_factory=dict)
    """Ends struck twice by the factory's own jaws, by strength."""
    fin_shift_mm: float = 0.0


def ridge(phase: np.ndarray, hardness: float) -> np.ndarray:
    """One ridge per unit of phase, -0.5 to 0.5, with lands as the jaws are hard."""
    return 0.5 * np.tanh(hardness * np.cos(2 * np.pi * phase)) / np.tanh(hardness)


class EndFields:
    """Fields over one end: rows by distance from the nominal cut, columns over the width."""

    def __init__(self, shape):
        self.keep = np.ones(shape)
        self.extra = np.zeros(shape)
        self.lift = np.zeros(shape)
        self.haze = np.zeros(shape)
        self.rub = np.zeros(shape)
        self.cut = np.zeros(shape[1])


def end_fields(identity: str, end: str, u: np.ndarray, d: np.ndarray, width: float, seal: float, make, h: History) -> EndFields:
    """Fields of one end on columns `u` and rows `d`, mm."""
    f = EndFields((len(d), len(u)))
    ext = (-1.0, -2.0, width + 1.0, seal + 6.0)

    def n(cell, octaves, g):
        return noise.field(u, d, cell, octaves, g, ext)

    uu, dd = u[None, :], d[:, None]
    w = h.wear
    g = rng(identity, "wear", end)
    f.keep *= 1.0 - (0.05 + 0.30 * w) * g.uniform(0.5, 1.0)
    f.keep *= np.clip(1.0 + (0.05 + 0.07 * w) * n(13, 2, g), 0.2, 1.3)
    f.keep *= 1.0 - h.pressure * (0.30 + 0.25 * noise.patches(n(18, 2, g), 0.5, 0.9))
    f.lift += (0.10 + 0.24 * w) * (1 - 0.6 * h.pressure) * n(22, 2, g)
    f.cut += 0.04 * noise.line(u, 2.2, 3, g, (-1, width + 1))
    creases = int(1 + 4 * w) if w > 0.25 else 0
    for _ in range(creases):
        angle, at = g.uniform(-0.6, 0.6), g.uniform(3, width - 3)
        dist = (uu - at) * np.cos(angle) + (dd - 4) * np.sin(angle)
        f.lift += g.uniform(-1, 1) * 0.28 * w * np.exp(-np.abs(dist) / 1.6)
        f.rub += 0.55 * w * np.exp(-((dist / 0.35) ** 2))
    if end in h.double_strike:
        s = h.double_strike[end]
        g = rng(identity, "strike", end)
        tilt, off = np.deg2rad(g.uniform(0.4, 1.8) * g.choice([-1, 1])), g.uniform(0.25, 0.75)
        run = uu * np.cos(tilt) + dd * np.sin(tilt) if make.direction == "along" else dd * np.cos(tilt) + uu * np.sin(tilt)
        f.extra += 0.55 * s * make.depth_mm * ridge(run / make.pitch_mm + off, make.hardness) * noise.step(seal + 0.8, seal - 0.4, dd)
    if end in h.recut:
        s = h.recut[end]
        g = rng(identity, "recut", end)
        f.cut += 0.25 + 1.6 * s * g.uniform(0.5, 1.0) + s * 0.9 * (u / width - 0.5) * g.choice([-1, 1]) + 0.35 * s * noise.line(u, 14, 2, g, (-1, width + 1))
    job = h.jobs.get(end)
    if job is None:
        return f
    s = job.severity
    g = rng(identity, "job", end, job.by)
    inside = noise.step(seal + 1.5, seal - 0.5, dd)
    tear = np.exp(-((dd - g.uniform(0.5, seal - 1)) ** 2) / 6) * s
    if job.by == "iron":
        patch = noise.patches(n(17, 3, g), 0.2 + 0.75 * s, 0.55)
        f.keep *= 1 - np.clip(patch * (0.2 + 0.9 * s), 0, 0.985)
        f.haze += inside * patch * (0.05 + 0.8 * s) * g.uniform(0.6, 1.0)
        f.lift += s * inside * (0.32 * n(9, 3, g) + 0.10 * n(2.4, 2, g))
        f.cut += s * (0.4 * noise.line(u, 11, 3, g, (-1, width + 1)) + 0.2)
    elif job.by == "glue":
        patch = noise.patches(n(19, 3, g), 0.25 + 0.7 * s, 0.45)
        f.keep *= 1 - np.clip(patch * (0.15 + 0.9 * s), 0, 0.975)
        f.lift += inside * s * (0.5 * n(13, 3, g) + 0.22 * np.abs(n(5, 2, g)) * patch)
        f.lift += s * g.uniform(0.3, 1.1) * noise.step(3.5, 0.0, dd) * np.clip(n(21, 2, g), -0.3, 2.0)
        f.haze += 0.4 * s * inside * noise.patches(n(7, 2, g), 0.3, 0.3)
        f.cut += 0.3 * s * noise.line(u, 8, 3, g, (-1, width + 1))
    elif job.by == "crimper":
        f.keep *= 1 - np.clip((0.15 + 0.8 * s) * noise.patches(n(16, 2, g), 0.4 + 0.55 * s, 0.7), 0, 0.97)
        pitch = g.uniform(1.45, 2.6) if make.pitch_mm < 1.2 else g.uniform(1.75, 2.8)
        tilt = np.deg2rad(g.uniform(-4, 4))
        top, height = g.uniform(0.1, 1.8), g.uniform(4.2, 6.8)
        across = g.random() < 0.5
        phase = ((dd * np.cos(tilt) + uu * np.sin(tilt)) if across else (uu * np.cos(tilt) + dd * np.sin(tilt))) / pitch
        band = noise.step(top - 0.3, top + 0.3, dd) * noise.step(top + height + 0.3, top + height - 0.3, dd)
        f.extra += (0.04 + 0.24 * s) * ridge(phase, g.uniform(0.7, 1.5)) * band * np.clip(1 + 0.25 * n(16, 2, g), 0.2, 1.5)
        f.haze += 0.25 * s * inside * noise.patches(n(10, 2, g), 0.4, 0.6)
        f.lift += 0.28 * s * inside * n(13, 3, g)
        f.cut += s * (0.25 * noise.line(u, 15, 2, g, (-1, width + 1)) + 0.15)
    else:  # tape: pressed flat under an adhesive strip, which `covers` lays over it
        patch = noise.patches(n(18, 2, g), 0.3 + 0.6 * s, 0.6)
        f.keep *= 1 - np.clip(patch * (0.1 + 0.75 * s), 0, 0.95)
        f.lift += 0.4 * s * inside * n(12, 3, g)
        f.haze += 0.2 * s * inside * noise.patches(n(8, 2, g), 0.3, 0.5)
    f.rub += 0.5 * tear * noise.patches(n(3.0, 2, g), 0.35, 0.5) * inside
    f.cut = np.maximum(f.cut, -0.6)
    return f


@dataclass
class BodyFields:
    """Fields over one sheet's body."""

    lift: np.ndarray
    rub: np.ndarray
    dull: np.ndarray


def body_fields(identity: str, face: str, u: np.ndarray, v: np.ndarray, size: tuple[float, float], h: History) -> BodyFields:
    """Creases, dents, scuffs of a sheet on columns `u` and rows `v`, mm."""
    w = h.wear
    g = rng(identity, "body", face)
    ext = (-1.0, -1.0, size[0] + 1.0, size[1] + 1.0)

    def n(cell, octaves):
        return noise.field(u, v, cell, octaves, g, ext)

    uu, vv = u[None, :], v[:, None]
    lift = (0.05 + 0.12 * w) * n(14, 3) + 0.02 * n(3.3, 2)
    rub = np.zeros_like(lift)
    for _ in range(int(round(7 * w * g.uniform(0.4, 1.3)))):
        angle, cx, cy, length = g.uniform(0, np.pi), g.uniform(4, size[0] - 4), g.uniform(11, size[1] - 11), g.uniform(7, 48)
        across = (uu - cx) * np.cos(angle) + (vv - cy) * np.sin(angle)
        along = -(uu - cx) * np.sin(angle) + (vv - cy) * np.cos(angle)
        reach = noise.step(length / 2, length / 2 - 6, np.abs(along))
        dist = across - 0.7 * np.sin(along * g.uniform(0.1, 0.4) + g.uniform(0, 6))
        lift += g.choice([-1, 1]) * (0.12 + 0.42 * w) * np.exp(-np.abs(dist) / 1.1) * reach
        rub += (0.2 + 0.55 * w) * np.exp(-((dist / 0.22) ** 2)) * reach * (0.5 + 0.5 * np.sin(along * 3 + 4 * np.sin(along)))
    for _ in range(int(round(4 * w))):
        cx, cy, r = g.uniform(8, size[0] - 8), g.uniform(15, size[1] - 15), g.uniform(3, 8)
        lift -= (0.2 + 0.5 * w) * np.exp(-(((uu - cx) ** 2 + (vv - cy) ** 2) / r**2))
    lift *= 1 - 0.5 * h.pressure
    dull = np.clip(w * (0.25 + 0.3 * n(22, 3)), 0, 1)
    edge = np.minimum(np.minimum(uu, size[0] - uu), np.minimum(vv, size[1] - vv))
    speck = np.clip(0.55 + 0.45 * n(0.8, 2), 0, 1)
    rub += 0.9 * w * noise.patches(n(4.3, 2), 0.06 + 0.22 * w, 0.8) * speck * np.exp(-np.maximum(edge, 0) / 2.0)
    rub += 0.45 * w * w * noise.patches(n(3.7, 2), 0.05 + 0.05 * w, 0.9) * speck
    return BodyFields(lift, np.clip(rub, 0, 1), dull)


def corner_lift(identity: str, u: np.ndarray, v: np.ndarray, size: tuple[float, float], wear: float) -> np.ndarray:
    """Bent corners, mm, shared by both sheets; 2-D grids."""
    g = rng(identity, "corners")
    out = np.zeros(np.broadcast_shapes(u.shape, v.shape))
    for cx, cy in ((0, 0), (size[0], 0), (size[0], size[1]), (0, size[1])):
        far, slope = g.uniform(3, 9), g.uniform(-0.25, 0.55) * wear
        diagonal = (np.abs(u - cx) + np.abs(v - cy)) / np.sqrt(2)
        out += slope * np.logaddexp(0, (far - diagonal) / 0.35) * 0.35
    return out
