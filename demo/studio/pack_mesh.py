"""Geometry of a flow-wrapped pack: two sheets over one flat grid, in mm.

In: identity (seeds), the make's jaws and knife, the history. Out: vertex grids of both sheets with
flat coordinates, plus the fields that the material needs (haze, rub, dull) on a texture grid.
World: x right, y towards the top end, z up, the pack's centre at the origin before it is laid down.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates

from catalogue import FIN_MM, Make
from common import PACK_MM, rng, smoothstep
from damage import History, body_field, corner_lift, end_field, ridge_profile

W, H = PACK_MM
TEX_PX_MM = 12
"""Texture grid of the material fields."""


@dataclass
class Sheet3:
    """One sheet: positions (rows, cols, 3) and its own flat face coordinates (rows, cols, 2), mm."""

    xyz: np.ndarray
    uv_mm: np.ndarray


@dataclass
class PackMesh:
    """Both sheets and the material fields by face."""

    front: Sheet3
    back: Sheet3
    haze: dict[str, np.ndarray]
    rub: dict[str, np.ndarray]
    dull: dict[str, np.ndarray]


def _grid(make: Make, fine: float):
    seal = make.seal_mm + 3.0
    rows = np.concatenate([np.arange(0, seal, fine), np.arange(seal, H - seal, max(0.35, fine)), H - np.arange(0, seal, fine)[::-1]])
    cols = np.linspace(0, W, int(round(W / fine)) + 1)
    return np.meshgrid(cols, rows)


def build(identity: str, make: Make, history: History, fine: float = 0.1, seen: str = "front") -> PackMesh:
    """The pack as a mesh; `fine` is the grid step in the seals, mm; `seen` is the face that needs material fields."""
    u, v = _grid(make, fine)
    g = rng(identity, "shape")
    seal = make.seal_mm + g.uniform(-0.3, 0.3)
    thick = g.uniform(4.2, 5.2)
    rise_top, rise_low = g.uniform(8, 13), g.uniform(8, 13)

    # the two ends: ridges, lift, cut
    ridge = np.zeros_like(u)
    lift = np.zeros_like(u)
    shift = np.zeros_like(u)
    fields = {}
    phase0 = g.uniform(0, 1)
    for end in ("top", "bottom"):
        d = v if end == "top" else H - v
        rows = np.where(d[:, 0] <= make.seal_mm + 3.0)[0]
        du, dd = u[rows], d[rows]
        if end == "bottom":
            du, dd = du[::-1], dd[::-1]
        jaw = rng(identity, "jaw", end)
        f = end_field(identity, end, du, dd, seal, history)
        skew = history.miscut_mm * (du[0] / W - 0.5) + jaw.normal(0, 0.12) * (du[0] / W - 0.5)
        cut = f.cut + skew + jaw.normal(0, 0.1)
        if make.tooth_pitch_mm:
            t = (du[0] / make.tooth_pitch_mm + jaw.uniform(0, 1)) % 1.0
            cut = cut + make.tooth_depth_mm * (np.abs(2 * t - 1) - 0.5)
        cut = np.clip(cut, -1.2, 2.5)
        # the grid follows the cut near the edge; ridges stay where the jaws put them
        dd = dd + cut[None, :] * smoothstep(3.0, 0.0, dd)
        shift += (cut[None, :] * smoothstep(3.0, 0.0, d)) * (1 if end == "top" else -1)
        f = end_field(identity, end, du, dd, seal, history)
        lean = np.deg2rad(jaw.normal(0, 0.25))
        run = du * np.cos(lean) + dd * np.sin(lean) if make.direction == "along" else dd * np.cos(lean) + du * np.sin(lean)
        pitch = make.pitch_mm * (1 + jaw.normal(0, 0.006))
        start, stop = jaw.uniform(0.0, 0.5), seal - jaw.uniform(0.5, 0.9)
        band = smoothstep(start - 0.25, start + 0.25, dd) * smoothstep(stop + 0.3, stop - 0.3, dd)
        depth = make.depth_mm * jaw.uniform(0.88, 1.12)
        r = depth * ridge_profile(run / pitch + phase0 + jaw.uniform(0, 1)) * band * f.keep + f.extra
        fade = smoothstep(make.seal_mm + 3.0, make.seal_mm + 0.5, dd)
        f.lift *= fade
        if end == "bottom":
            r, f.lift, f.haze, f.rub = r[::-1], f.lift[::-1], f.haze[::-1], f.rub[::-1]
        ridge[rows] = r
        lift[rows] = f.lift
        fields[end] = (rows, f)
    vv = v + shift

    # pillow
    inner = smoothstep(seal - 0.5, seal + rise_top, vv) * smoothstep(H - seal + 0.5, H - seal - rise_low, vv)
    side = np.clip(np.abs(2 * u / W - 1), 0, 1)
    profile = (1 - side ** g.uniform(4.0, 6.5)) ** 0.8
    t = 0.09 + (thick - 0.09) * inner * profile
    squeeze = 1 - g.uniform(0.015, 0.028) * smoothstep(seal - 3, seal + 8, vv) * smoothstep(H - seal + 3, H - seal - 8, vv)
    x = (u - W / 2) * squeeze
    y = H / 2 - vv

    # middle surface: curl, twist, end tilt, waviness
    body = smoothstep(seal - 2, seal + 8, vv) * smoothstep(H - seal + 2, H - seal - 8, vv)
    m = g.normal(0, 0.8) * (2 * vv / H - 1) ** 2 + g.normal(0, 0.4) * (2 * vv / H - 1) * (2 * u / W - 1)
    for sign, dist in ((1, seal + 1.5 - vv), (1, vv - (H - seal - 1.5))):
        m = m + np.tan(np.deg2rad(g.normal(0, 6))) * sign * np.logaddexp(0, dist / 1.2) * 1.2
        m = m + g.uniform(0.05, 0.35) * np.sin(2 * np.pi * u / g.uniform(35, 70) + g.uniform(0, 6)) * smoothstep(-4, 4, dist)
    m = m + corner_lift(identity, u, vv, history) + ridge + lift

    sheets, haze, rub, dull = {}, {}, {}, {}
    ty, tx = np.mgrid[0 : int(H * TEX_PX_MM), 0 : int(W * TEX_PX_MM)].astype(np.float32)
    tu, tv = (tx + 0.5) / TEX_PX_MM, (ty + 0.5) / TEX_PX_MM
    for face, sign in (("front", 1.0), ("back", -1.0)):
        gf = rng(identity, "sheet", face)
        fu, fv = (u, vv) if face == "front" else (W - u, vv)
        cu, cv = np.meshgrid(np.arange(0.25, W, 0.5), np.arange(0.25, H, 0.5))
        b = body_field(identity, face, cu, cv, history)

        def spread(a, pu, pv):
            return map_coordinates(a, [(pv - 0.25) / 0.5, (pu - 0.25) / 0.5], order=1, mode="nearest")

        z = m + sign * t / 2
        loft = np.clip((t - 0.09) / 1.5, 0, 1)  # where the sheets are apart; elsewhere they move as one
        local = spread(b.lift, fu, fv) * loft
        if face == "front":
            bonded = 0.25 * spread(b.lift, fu, fv) * (1 - loft)
        # pleats that run from the seal into the body
        pleat = np.zeros_like(u)
        for d0 in (vv - seal, H - seal - vv):
            wave = np.zeros_like(u)
            for _ in range(5):
                wave += gf.normal(0, 1) * np.sin(2 * np.pi * (fu / gf.uniform(6, 17)) + gf.uniform(0, 6) + 0.05 * d0 * gf.normal())
            pleat += (0.09 + 0.06 * history.wear) * wave * np.exp(-np.clip(d0, 0, None) / gf.uniform(4, 8)) * smoothstep(-1.0, 3.5, d0)
        z = z + bonded + sign * (local + pleat * loft)
        if face == "back":
            centre = FIN_MM[0] + gf.normal(0, 0.5)
            left = smoothstep(centre - FIN_MM[1] / 2 - 0.5, centre - FIN_MM[1] / 2 + 0.2, fu)
            right = smoothstep(centre + FIN_MM[1] / 2 + 0.10, centre + FIN_MM[1] / 2 - 0.10, fu)
            fin = left * right
            z = np.minimum(z, sheets["front"].xyz[..., 2] - 0.06)
            z = z - fin * (0.10 + 0.26 * body + 0.012 * np.sin(2 * np.pi * vv / 1.3) * body)
        sheets[face] = Sheet3(np.stack([x, y, z], -1).astype(np.float32), np.stack([fu, fv], -1).astype(np.float32))
        if face != seen:
            continue
        h = np.zeros_like(tu)
        r = spread(b.rub, tu, tv)
        fine_rub = body_field(identity, face, tu[::2, ::2], tv[::2, ::2], history).rub
        r = np.maximum(r, np.kron(fine_rub, np.ones((2, 2)))[: r.shape[0], : r.shape[1]])
        for end, (rows, f) in fields.items():
            dd = v[rows[0] : rows[-1] + 1, 0]
            su = tu if face == "front" else W - tu
            row_at = np.interp(tv, dd, np.arange(len(dd)), left=-1, right=-1)
            inside = (row_at >= 0) & (tv >= dd[0]) & (tv <= dd[-1])
            col_at = su / fine
            for target, source in ((h, f.haze), (r, f.rub)):
                target += np.where(inside, map_coordinates(source, [row_at, col_at], order=1, mode="nearest"), 0)
        haze[face], rub[face] = np.clip(h, 0, 1), np.clip(r, 0, 1)
        dull[face] = spread(b.dull, tu, tv)
    return PackMesh(sheets["front"], sheets["back"], haze, rub, dull)


def triangles(rows: int, cols: int, flip: bool) -> np.ndarray:
    """Triangle indices of a vertex grid."""
    i = np.arange((rows - 1) * cols).reshape(rows - 1, cols)[:, :-1].ravel()
    a, b, c, d = i, i + 1, i + cols, i + cols + 1
    tri = np.concatenate([np.c_[a, c, b], np.c_[b, c, d]])
    return tri[:, ::-1] if flip else tri


def grid_normals(xyz: np.ndarray, flip: bool) -> np.ndarray:
    """Smooth vertex normals of a vertex grid."""
    dc = np.gradient(xyz, axis=1)
    dr = np.gradient(xyz, axis=0)
    n = np.cross(dr, dc)
    n /= np.linalg.norm(n, axis=-1, keepdims=True) + 1e-12
    return -n if flip else n


__all__ = ["PackMesh", "Sheet3", "build", "grid_normals", "triangles"]
