"""Geometry of a box under tight film: six vertex grids with rounded edges, in mm.

World of a standing box: x along the width, y into the depth (the front faces -y), z up, centred.
"""
from __future__ import annotations

import numpy as np

from common import BOX_MM, fbm, rng
from faces import face_size
from pack_mesh import Sheet3

W, H, D = BOX_MM
ROUND_MM = 1.3

FRAMES = {
    "front": ((-W / 2, -D / 2, H / 2), (1, 0, 0), (0, 0, -1)),
    "back": ((W / 2, D / 2, H / 2), (-1, 0, 0), (0, 0, -1)),
    "left": ((-W / 2, D / 2, H / 2), (0, -1, 0), (0, 0, -1)),
    "right": ((W / 2, -D / 2, H / 2), (0, 1, 0), (0, 0, -1)),
    "top": ((-W / 2, D / 2, H / 2), (1, 0, 0), (0, -1, 0)),
    "bottom": ((-W / 2, -D / 2, -H / 2), (1, 0, 0), (0, 1, 0)),
}


def build(identity: str, wear: float, step: float = 0.6) -> dict[str, Sheet3]:
    """The six faces with film wrinkles, dented corners by wear."""
    out = {}
    inner = np.array([W, D, H]) / 2 - ROUND_MM
    for face, (origin, du, dv) in FRAMES.items():
        g = rng(identity, "film", face)
        w, h = face_size("box", face)
        u, v = np.meshgrid(np.linspace(0, w, int(w / step) + 1), np.linspace(0, h, int(h / step) + 1))
        flat = np.asarray(origin) + u[..., None] * np.asarray(du, float) + v[..., None] * np.asarray(dv, float)
        core = np.clip(flat, -inner, inner)
        away = flat - core
        away /= np.linalg.norm(away, axis=-1, keepdims=True) + 1e-9
        n = np.cross(np.asarray(dv, float), np.asarray(du, float))
        edge = np.minimum(np.minimum(u, w - u), np.minimum(v, h - v))
        # slack film: shallow swells, tight lines from the corners, end folds on the short sides
        lift = 0.05 * fbm(u.shape, 4, 2, g) + 0.010 * fbm(u.shape, 22, 2, g)
        for _ in range(int(g.integers(4, 9))):
            cx, cy = g.choice([0, w]), g.choice([0, h])
            angle = np.arctan2(h / 2 - cy, w / 2 - cx) + g.normal(0, 0.5)
            dist = (u - cx) * np.sin(angle) - (v - cy) * np.cos(angle)
            run = (u - cx) * np.cos(angle) + (v - cy) * np.sin(angle)
            lift += g.uniform(0.02, 0.07) * np.exp(-((dist / g.uniform(0.5, 1.4)) ** 2)) * np.exp(-np.clip(run, 0, None) / g.uniform(15, 45)) * (run > 0)
        if face in ("left", "right"):
            fold = np.minimum(u, w - u)
            for y0, s in ((0, 1), (h, -1)):
                lift += 0.08 * (np.abs((v - y0) * s) < fold) * (np.abs((v - y0) * s) < w / 2)
        if face == "bottom":
            lift += 0.10 * (np.abs(v - h / 2 - g.normal(0, 1.5)) < 3.0)
        for cx in (0, w):
            for cy in (0, h):
                lift -= wear * g.uniform(0, 2.2) * np.exp(-((u - cx) ** 2 + (v - cy) ** 2) / 30)
        lift *= np.clip(edge / 2.5, 0, 1)
        xyz = core + ROUND_MM * away + lift[..., None] * n
        out[face] = Sheet3(xyz.astype(np.float32), np.stack([u, v], -1).astype(np.float32))
    return out


def marked(image, repeat_mm: float, size_mm: tuple[float, float], identity: str, face: str, strength: float = 0.34):
    """The print with the film's repeated mark laid over it: a lens with two waves, translucent white."""
    from PIL import Image, ImageDraw

    g = rng(identity, "mark", face)
    k = image.size[0] / size_mm[0]
    layer = Image.new("L", (image.size[0] * 2, image.size[1] * 2), 0)
    draw = ImageDraw.Draw(layer)
    ox, oy = g.uniform(0, repeat_mm, 2)
    for j, y in enumerate(np.arange(oy - repeat_mm, size_mm[1] + repeat_mm, repeat_mm)):
        for x in np.arange(ox - repeat_mm, size_mm[0] + repeat_mm, repeat_mm):
            cx, cy = (x + (repeat_mm / 2 if j % 2 else 0)) * 2 * k, y * 2 * k
            t = np.linspace(0, 2 * np.pi, 40)
            ring = [(cx + 4.2 * 2 * k * np.cos(a), cy + 2.4 * 2 * k * np.sin(a)) for a in t]
            draw.line(ring, fill=255, width=max(2, int(0.5 * 2 * k)))
            for q in (-0.7, 0.7):
                draw.line([(cx + s * 2 * k, cy + (q + 0.4 * np.sin(s * 2.2)) * 2 * k) for s in np.linspace(-2.8, 2.8, 24)], fill=255, width=max(2, int(0.4 * 2 * k)))
    layer = layer.reduce(2).point(lambda v: int(v * strength))
    out = image.copy()
    out.paste((245, 248, 250), (0, 0, *image.size), layer)
    return out
