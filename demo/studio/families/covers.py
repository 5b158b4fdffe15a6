"""What lies over an item: sleeves, holders, bags, stickers, fingers, tape. All as meshes in the world.

Everything works in the frame of the placed pack (x right, y towards its top end as it lies, z up) and
is turned and moved with it. Clear things are listed apart, because they hide nothing.
"""
from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, maximum_filter

from families import materials, noise, optics
from families.pack import Sheet3

SLEEVES = ("none", "sleeve", "holder", "bag")
HIDES = ("none", "sticker-end", "sticker-body", "fingers")


class Relief:
    """Upper envelope of an item, on a 1 mm grid of its own frame."""

    def __init__(self, points: np.ndarray, size: tuple[float, float], margin: float = 14.0):
        w, h = size
        self.x = np.arange(-w / 2 - margin, w / 2 + margin + 1, 1.0)
        self.y = np.arange(-h / 2 - margin, h / 2 + margin + 1, 1.0)
        z = np.zeros((len(self.y), len(self.x)))
        i = np.clip(np.round(points[:, 1] - self.y[0]).astype(int), 0, len(self.y) - 1)
        j = np.clip(np.round(points[:, 0] - self.x[0]).astype(int), 0, len(self.x) - 1)
        np.maximum.at(z, (i, j), points[:, 2])
        self.z = z

    def over(self, x: np.ndarray, y: np.ndarray, drape: float) -> np.ndarray:
        """Height of a sheet draped over the relief at columns `x`, rows `y`; larger `drape`, stiffer."""
        soft = gaussian_filter(maximum_filter(self.z, int(2 * drape) + 1), drape)
        soft = np.maximum(soft, 0.0)
        r, c = np.clip(y - self.y[0], 0, len(self.y) - 1.001), np.clip(x - self.x[0], 0, len(self.x) - 1.001)
        i, j = r.astype(int), c.astype(int)
        fr, fc = (r - i)[:, None], (c - j)[None, :]
        a = soft
        return (a[i][:, j] * (1 - fc) + a[i][:, j + 1] * fc) * (1 - fr) + (a[i + 1][:, j] * (1 - fc) + a[i + 1][:, j + 1] * fc) * fr


def _sheet(x, y, z) -> Sheet3:
    xx, yy = np.meshgrid(x, y)
    uv = np.stack([(xx - x[0]) / (x[-1] - x[0]), (yy - y[0]) / (y[-1] - y[0])], -1)
    return Sheet3(np.stack([xx, yy, z], -1), uv)


def clear_layers(kind: str, relief: Relief, size: tuple[float, float], g: np.random.Generator) -> list[tuple[str, Sheet3, dict]]:
    """Sheets and materials of a sleeve, holder or bag."""
    w, h = size
    if kind == "none":
        return []
    if kind == "holder":
        mx, my = g.uniform(3, 6), g.uniform(3, 7)
        x, y = np.linspace(-w / 2 - mx, w / 2 + mx, 90), np.linspace(-h / 2 - my, h / 2 + my, 140)
        top = float(relief.z.max()) + g.uniform(0.3, 0.9)
        bow = g.normal(0, 0.25) * (1 - (2 * y[:, None] / h) ** 2) + 0.02 * noise.field(x, y, 40, 1, g, (x[0], y[0], x[-1], y[-1]))
        z = top + bow + 0 * x[None, :]
        out = [("plate", _sheet(x, y, z), materials.clear(optics.ACRYLIC_INDEX)), ("plate-in", _sheet(x, y, z - 0.9), materials.clear(optics.ACRYLIC_INDEX))]
        for k, (x0, x1, y0, y1) in enumerate(((x[0] - 1.4, x[0], y[0], y[-1]), (x[-1], x[-1] + 1.4, y[0], y[-1]), (x[0] - 1.4, x[-1] + 1.4, y[0] - 1.4, y[0]))):
            out.append((f"rim{k}", _sheet(np.linspace(x0, x1, 3), np.linspace(y0, y1, 3), np.full((3, 3), top)), materials.matt((0.55, 0.57, 0.6))))
        return out
    bag = kind == "bag"
    mx, my = (g.uniform(6, 12), g.uniform(6, 12)) if bag else (g.uniform(1.5, 3.5), g.uniform(2, 6))
    x, y = np.linspace(-w / 2 - mx, w / 2 + mx, 220), np.linspace(-h / 2 - my, h / 2 + my, 330)
    gap = g.uniform(0.3, 1.6) if bag else g.uniform(0.06, 0.30)
    ext = (x[0], y[0], x[-1], y[-1])
    wave = noise.field(x, y, 26 if bag else 34, 3, g, ext) * (g.uniform(0.25, 0.7) if bag else g.uniform(0.03, 0.12))
    for _ in range(int(g.integers(2, 6)) if bag else int(g.integers(0, 3))):
        a, c = g.uniform(0, np.pi), g.uniform(-0.4, 0.4)
        dist = (x[None, :] - c * w) * np.cos(a) + (y[:, None] - c * h) * np.sin(a)
        wave += g.uniform(0.08, 0.3) * (1.0 if bag else 0.35) * np.exp(-np.abs(dist) / g.uniform(0.4, 1.2))
    z = np.maximum(relief.over(x, y, 4.0 if bag else 2.0) + gap + wave, 0.08)
    index = optics.PP_INDEX
    return [(kind, _sheet(x, y, z), materials.clear(index))]


def tape(end: str, relief: Relief, size: tuple[float, float], severity: float, g: np.random.Generator) -> tuple[str, Sheet3, dict]:
    """A strip of clear tape over an end."""
    w, h = size
    width, over = g.uniform(9, 18), g.uniform(0.5, 3.0)
    sign = 1 if end == "top" else -1
    x = np.linspace(-w / 2 + g.uniform(-1, 6) * (1 - severity), w / 2 + g.uniform(-6, 1) * (1 - severity), 260)
    y0 = sign * (h / 2 + over)
    y = np.linspace(min(y0, y0 - sign * width), max(y0, y0 - sign * width), 90)
    bubbles = 0.06 * np.clip(noise.field(x, y, 5, 2, g, (x[0], y[0], x[-1], y[-1])), 0.2, 3)
    z = np.maximum(relief.over(x, y, 1.0) + 0.05 + bubbles, 0.06)
    return (f"tape-{end}", _sheet(x, y, z), {"type": "thindielectric", "int_ior": optics.PP_INDEX, "specular_transmittance": {"type": "rgb", "value": [0.93, 0.92, 0.86]}})


def sticker(where: str, relief: Relief, size: tuple[float, float], g: np.random.Generator) -> tuple[str, Sheet3, dict]:
    """A paper label: over the end `top` or `bottom`, or somewhere on the body."""
    w, h = size
    if where in ("top", "bottom"):
        sw, sh = w * g.uniform(0.55, 1.0), g.uniform(11, 18)
        cx, cy = g.uniform(-0.5, 0.5) * (w - sw), (h / 2 - sh * g.uniform(0.35, 0.5)) * (1 if where == "top" else -1)
    else:
        sw, sh = g.uniform(14, 30), g.uniform(9, 20)
        cx, cy = g.uniform(-0.5, 0.5) * (w - sw - 4), g.uniform(-0.5, 0.5) * (h - sh - 40)
    x, y = np.linspace(cx - sw / 2, cx + sw / 2, 60), np.linspace(cy - sh / 2, cy + sh / 2, 60)
    z = np.maximum(relief.over(x, y, 2.5) + 0.12, 0.1)
    tone = [(0.82, 0.80, 0.72), (0.85, 0.72, 0.22), (0.75, 0.78, 0.82), (0.86, 0.30, 0.22)][int(g.integers(4))]
    return (f"sticker-{where}", _sheet(x, y, z), materials.matt(tone))


def fingers(end: str, relief: Relief, size: tuple[float, float], g: np.random.Generator) -> list[tuple[str, Sheet3, dict]]:
    """Two to four fingertips over an end."""
    w, h = size
    skin = [(0.62, 0.38, 0.28), (0.42, 0.24, 0.16), (0.72, 0.48, 0.38), (0.24, 0.13, 0.09)][int(g.integers(4))]
    bsdf = {"type": "twosided", "bsdf": {"type": "roughplastic", "alpha": 0.35, "diffuse_reflectance": {"type": "rgb", "value": list(skin)}}}
    sign = 1 if end == "top" else -1
    n = int(g.integers(2, 5))
    out = []
    for i, x0 in enumerate(np.linspace(-0.36, 0.36, n) * w + g.normal(0, 1.5, n)):
        tip = np.array([x0, sign * (h / 2 - g.uniform(8, 15)), 0.0])
        lean = g.normal(0, 0.12)
        s, a = np.linspace(0, 1, 60), np.linspace(0, 2 * np.pi, 40)
        radius = 8.2 * np.sqrt(np.clip(1 - (1 - np.minimum(s * 60 / 8.2, 1)) ** 2, 0, 1)) * (1 + 0.05 * np.sin(9 * s))
        cx, cy = tip[0] + 60 * s * lean, tip[1] + sign * 60 * s
        cz = 9.5 + float(relief.z.max()) * 0.6 + 16 * s * s
        xyz = np.stack([cx[:, None] + radius[:, None] * np.cos(a), np.broadcast_to(cy[:, None], (60, 40)), cz[:, None] + 0.85 * radius[:, None] * np.sin(a)], -1)
        out.append((f"finger{i}", Sheet3(xyz, np.stack(np.meshgrid(a, s), -1)), bsdf))
    return out
