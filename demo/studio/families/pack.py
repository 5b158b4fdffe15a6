"""Geometry of a flow-wrapped pack: two sheets over one flat grid, in mm, in double precision.

World: x right, y towards the top end, z up, the pack's middle at the origin. The shape depends on
identity, line, make and history alone; the grid's step only says how finely it is sampled.
"""
from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

from common import rng
from families import noise
from families.history import History, body_fields, corner_lift, end_fields, ridge
from families.world import Line, Make

TEX_PX_MM = 12
"""Texture grid of the material fields, as the print's."""


@dataclass
class Sheet3:
    """A sheet: positions (rows, cols, 3) and flat face coordinates (rows, cols, 2), mm."""

    xyz: np.ndarray
    uv: np.ndarray


@dataclass
class PackMesh:
    """Both sheets, the seen face's material fields, and the seal's height."""

    sheets: dict[str, Sheet3]
    haze: np.ndarray | None
    rub: np.ndarray | None
    dull: np.ndarray | None
    seal_mm: float


def _bilinear(a: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Values of `a` at fractional rows and columns, clamped."""
    r, c = np.clip(rows, 0, a.shape[0] - 1.001), np.clip(cols, 0, a.shape[1] - 1.001)
    i, j = r.astype(np.int32), c.astype(np.int32)
    fr, fc = r - i, c - j
    return (a[i, j] * (1 - fc) + a[i, j + 1] * fc) * (1 - fr) + (a[i + 1, j] * (1 - fc) + a[i + 1, j + 1] * fc) * fr


def build(identity: str, line: Line, make: Make, h: History, fine: float = 0.1, seen: str | None = "front") -> PackMesh:
    """The pack; material fields only for the face `seen`, or none."""
    width, height = line.pack_mm
    g = rng(identity, "shape")
    seal = make.seal_mm + g.uniform(-0.3, 0.3)
    thick = g.uniform(4.2, 5.2) * (1 - 0.08 * h.pressure)
    rise_top, rise_low = g.uniform(8, 13), g.uniform(8, 13)
    zone = make.seal_mm + 3.0
    end_rows = np.linspace(0, zone, int(round(zone / fine)) + 1)
    v = np.concatenate([end_rows[:-1], np.linspace(zone, height - zone, max(40, int((height - 2 * zone) / max(0.4, fine)))), height - end_rows[::-1][1:]])
    u = np.linspace(0, width, int(round(width / fine)) + 1)
    uu, vv0 = u[None, :], v[:, None]
    shape = (len(v), len(u))

    ridges, lift, shift = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    fields, n = {}, len(end_rows)
    phase0 = g.uniform(0, 1)
    for end in ("top", "bottom"):
        d = end_rows
        jaw = rng(identity, "jaw", end)
        f = end_fields(identity, end, u, d, width, seal, make, h)
        cut = f.cut + (h.miscut_mm + jaw.normal(0, 0.12)) * (u / width - 0.5) + jaw.normal(0, 0.1)
        teeth, phase_t = make.tooth_pitch_mm * (1 + jaw.normal(0, 0.004)), jaw.uniform(0, 1)
        if make.tooth_pitch_mm and not (end in h.recut and h.recut[end] > 0.05):
            t = (u / teeth + phase_t) % 1.0
            cut = cut + make.tooth_depth_mm * (np.abs(2 * t - 1) - 0.5)
        cut = np.clip(cut, -1.2, 3.0)
        near = noise.step(3.0, 0.0, d)[:, None]
        dd = d[:, None] + cut[None, :] * near  # the grid follows the cut; ridges stay where the jaws put them
        lean, drift = np.deg2rad(jaw.normal(0, 0.3)), 0.05 * noise.line(u, 24, 2, jaw, (-1, width + 1))
        run = (uu + drift) * np.cos(lean) + dd * np.sin(lean) if make.direction == "along" else (dd + drift) * np.cos(lean) + uu * np.sin(lean)
        pitch = make.pitch_mm * (1 + jaw.normal(0, 0.008))
        start, stop = jaw.uniform(0.0, 0.5), seal - jaw.uniform(0.4, 1.0)
        band = noise.step(start - 0.25, start + 0.25, dd) * noise.step(stop + 0.3, stop - 0.3, dd)
        depth = make.depth_mm * jaw.uniform(0.82, 1.15)
        wear_of_jaw = 1 + 0.12 * noise.line(u, 6, 2, jaw, (-1, width + 1))
        r = depth * wear_of_jaw * ridge(run / pitch + phase0 + jaw.uniform(0, 1), make.hardness * jaw.uniform(0.85, 1.15)) * band * f.keep + f.extra * band
        f.lift *= noise.step(zone, make.seal_mm + 0.5, dd)
        at = slice(0, n) if end == "top" else slice(len(v) - n, len(v))
        turn = (lambda a: a) if end == "top" else (lambda a: a[::-1])
        ridges[at], lift[at] = turn(r), turn(f.lift)
        shift[at] = turn(cut[None, :] * near) * (1 if end == "top" else -1)
        fields[end] = f
    vv = vv0 + shift

    inner = noise.step(seal - 0.5, seal + rise_top, vv) * noise.step(height - seal + 0.5, height - seal - rise_low, vv)
    side = np.clip(np.abs(2 * uu / width - 1), 0, 1)
    t = 0.09 + (thick - 0.09) * inner * (1 - side ** g.uniform(4.0, 6.5)) ** 0.8
    squeeze = 1 - g.uniform(0.015, 0.028) * noise.step(seal - 3, seal + 8, vv) * noise.step(height - seal + 3, height - seal - 8, vv)
    x = (uu - width / 2) * squeeze
    y = height / 2 - vv
    body = noise.step(seal - 2, seal + 8, vv) * noise.step(height - seal + 2, height - seal - 8, vv)
    calm = 1 - 0.6 * h.pressure
    m = g.normal(0, 0.8) * calm * (2 * vv / height - 1) ** 2 + g.normal(0, 0.4) * calm * (2 * vv / height - 1) * (2 * uu / width - 1)
    for dist in (seal + 1.5 - vv, vv - (height - seal - 1.5)):
        m = m + np.tan(np.deg2rad(g.normal(0, 6) * calm)) * np.logaddexp(0, dist / 1.2) * 1.2
        m = m + g.uniform(0.05, 0.35) * calm * np.sin(2 * np.pi * uu / g.uniform(35, 70) + g.uniform(0, 6)) * noise.step(-4, 4, dist)
    m = m + corner_lift(identity, uu, vv, (width, height), h.wear) + ridges + lift

    cu, cv = np.arange(0.25, width, 0.5), np.arange(0.25, height, 0.5)
    sheets, haze, rub, dull = {}, None, None, None
    job = h.jobs.get("fin")
    for face, sign in (("front", 1.0), ("back", -1.0)):
        gf = rng(identity, "sheet", face)
        fu = np.broadcast_to(uu if face == "front" else width - uu, shape)
        b = body_fields(identity, face, cu, cv, (width, height), h)
        coarse = _bilinear(b.lift, (vv - 0.25) / 0.5, (fu - 0.25) / 0.5)
        loft = np.clip((t - 0.09) / 1.5, 0, 1)
        if face == "front":
            bonded = 0.25 * coarse * (1 - loft)
        pleat = np.zeros(shape)
        for d0 in (vv - seal, height - seal - vv):
            wave = sum(gf.normal(0, 1) * np.sin(2 * np.pi * (fu / gf.uniform(6, 17)) + gf.uniform(0, 6) + 0.05 * d0 * gf.normal()) for _ in range(5))
            pleat += (0.09 + 0.06 * h.wear) * calm * wave * np.exp(-np.clip(d0, 0, None) / gf.uniform(4, 8)) * noise.step(-1.0, 3.5, d0)
        z = m + sign * t / 2 + bonded + sign * (coarse + pleat) * loft
        if face == "back":
            centre = make.fin_centre * width + gf.normal(0, 0.5) + h.fin_shift_mm
            left, right = centre - make.fin_mm / 2, centre + make.fin_mm / 2
            fin = noise.step(left - 0.5, left + 0.2, fu) * noise.step(right + 0.1, right - 0.1, fu)
            z = np.minimum(z, sheets["front"].xyz[..., 2] - 0.06)
            z = z - fin * (0.10 + 0.26 * body + 0.012 * np.sin(2 * np.pi * vv / 1.3) * body)
            if job is not None:
                gj = rng(identity, "job", "fin", job.by)
                along = 0.5 + 0.5 * noise.line(v, 16, 3, gj, (-1, height + 1))[:, None]
                flap = noise.step(left, right, fu) * fin
                z = z - job.severity * body * flap * np.clip(0.3 + along, 0, 2) * gj.uniform(0.8, 1.6)
                z = z + 0.10 * job.severity * body * noise.field(u, v, 6, 2, gj, (-1, -1, width + 1, height + 1)) * noise.step(left - 6, left, fu) * noise.step(right + 6, right, fu)
        sheets[face] = Sheet3(np.stack([np.broadcast_to(x, shape), y, z], -1), np.stack([fu, vv], -1))
        if face != seen:
            continue
        tw, th = int(round(width * TEX_PX_MM)), int(round(height * TEX_PX_MM))
        tu, tv = (np.arange(tw) + 0.5) / TEX_PX_MM, (np.arange(th) + 0.5) / TEX_PX_MM
        rows, cols = np.broadcast_to(((tv - 0.25) / 0.5)[:, None], (th, tw)), np.broadcast_to(((tu - 0.25) / 0.5)[None, :], (th, tw))
        rub, dull, haze = _bilinear(b.rub, rows, cols), _bilinear(b.dull, rows, cols), np.zeros((th, tw))
        gs = rng(identity, "speck", face)
        rub = rub * (0.75 + 0.5 * gs.random((th, tw)))
        su = tu if face == "front" else width - tu
        for end, f in fields.items():
            d = tv if end == "top" else height - tv
            sel = np.where(d <= end_rows[-1])[0]
            rr = np.broadcast_to((d[sel] / (end_rows[1] - end_rows[0]))[:, None], (len(sel), tw))
            cc = np.broadcast_to((su / (u[1] - u[0]))[None, :], (len(sel), tw))
            haze[sel] += _bilinear(f.haze, rr, cc)
            rub[sel] += _bilinear(f.rub, rr, cc)
        if face == "back" and job is not None:
            gj = rng(identity, "job", "fin", job.by, "haze")
            strip = noise.step(left - 1.5, left, tu)[None, :] * noise.step(right + 1.0, right, tu)[None, :]
            haze += job.severity * strip * noise.patches(noise.field(tu, tv, 9, 3, gj, (-1, -1, width + 1, height + 1)), 0.4, 0.4) * (0.45 if job.by == "glue" else 0.75)
        haze, rub = np.clip(haze, 0, 1), np.clip(rub, 0, 1)
    return PackMesh(sheets, haze, rub, dull, seal)


def digest(sheets: dict[str, Sheet3], step_mm: float = 0.001, count: int = 4000) -> str:
    """SHA-256 of a fixed subset of vertices rounded to `step_mm`: the same wherever it is computed."""
    total = hashlib.sha256()
    for face in sorted(sheets):
        xyz = sheets[face].xyz.reshape(-1, 3)
        chosen = xyz[np.linspace(0, len(xyz) - 1, min(count, len(xyz))).astype(int)]
        total.update(np.round(np.asarray(chosen, float) / step_mm).astype("<i8").tobytes())
    return total.hexdigest()
