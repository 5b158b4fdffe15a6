"""Lamps: a room's environment plus emitters, drawn from the photo's id alone.

World: mm, z up, the items near the origin. Radiance is relative; the camera sets its own exposure.
"""
from __future__ import annotations

import numpy as np

from common import fbm

LIGHTS = ("window", "overcast", "bulb", "softboxes", "flash", "ceiling")


def blackbody(kelvin: float) -> np.ndarray:
    """Linear Rec.709 colour of a full radiator of that temperature (Planckian locus after Kim et al. 2002), unit green."""
    t = kelvin
    if t < 4000:
        x = -0.2661239e9 / t**3 - 0.2343589e6 / t**2 + 0.8776956e3 / t + 0.179910
    else:
        x = -3.0258469e9 / t**3 + 2.1070379e6 / t**2 + 0.2226347e3 / t + 0.240390
    if t < 2222:
        y = -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    elif t < 4000:
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        y = 3.0817580 * x**3 - 5.87338670 * x**2 + 3.75112997 * x - 0.37001483
    xyz = np.array([x / y, 1.0, (1 - x - y) / y])
    m = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    rgb = np.clip(m @ xyz, 0.02, None)
    return rgb / rgb[1]


def _room(mi, colour, level, g) -> dict:
    """An environment map: darker floor, mottled walls, lighter ceiling, furniture."""
    h, w = 128, 256
    up = np.linspace(1, -1, h)[:, None]
    base = 0.35 + 0.5 * np.clip(up, -0.2, 1) + 0.12 * fbm((h, w), 7, 3, g)
    rgb = np.clip(base, 0.05, None)[..., None] * colour * level
    for _ in range(5):  # furniture and frames, which foil mirrors
        c0, r0 = int(g.integers(0, w - 20)), int(g.integers(20, 90))
        rgb[r0 : r0 + int(g.integers(6, 30)), c0 : c0 + int(g.integers(5, 26))] *= g.uniform(0.25, 1.7)
    bitmap = mi.Bitmap(np.ascontiguousarray(rgb.astype(np.float32)))
    # the map's axis is y-up; the world is z-up
    to_world = mi.ScalarTransform4f().rotate([0, 0, 1], float(g.uniform(0, 360))) @ mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": bitmap, "to_world": to_world}


def _panel(mi, origin, target, width, height, radiance) -> dict:
    t = mi.ScalarTransform4f()
    return {
        "type": "rectangle",
        "to_world": t.look_at(origin=[float(v) for v in origin], target=[float(v) for v in target], up=[0, 0.01, 1]) @ t.scale([width / 2, height / 2, 1]),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(v) for v in radiance]}},
        "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}},
    }


def rig(mi, kind: str, g: np.random.Generator, view, walls: float = 1.0) -> tuple[dict, float]:
    """Emitters of a kind of light and its colour temperature in kelvin; `view` is the camera's
    place, `walls` brightens the room, for views from the side."""
    azimuth = g.uniform(0, 2 * np.pi)

    def around(a, elevation, r):
        return r * np.array([np.cos(a) * np.cos(elevation), np.sin(a) * np.cos(elevation), np.sin(elevation)])

    if kind == "window":
        k = g.uniform(5200, 7500)
        c = blackbody(k)
        place = around(azimuth, np.deg2rad(g.uniform(25, 55)), g.uniform(900, 1500))
        out = {"room": _room(mi, c, 0.35 * walls, g)}
        for i, off in enumerate((-1, 1)):
            side = np.array([-np.sin(azimuth), np.cos(azimuth), 0]) * off * 270
            out[f"pane{i}"] = _panel(mi, place + side, side * 0.3, 480, g.uniform(800, 1300), c * g.uniform(5, 9))
    elif kind == "overcast":
        k = g.uniform(6200, 8200)
        c = blackbody(k)
        out = {"room": _room(mi, c, 1.1 * walls, g), "sky": _panel(mi, around(azimuth, np.deg2rad(g.uniform(55, 80)), 1800), (0, 0, 0), 2600, 1800, c * 1.5)}
    elif kind == "bulb":
        k = g.uniform(2700, 4200)
        c = blackbody(k)
        p = around(azimuth, np.deg2rad(g.uniform(40, 72)), g.uniform(550, 1000))
        out = {"room": _room(mi, c, 0.38 * walls, g), "bulb": {"type": "sphere", "center": [float(v) for v in p], "radius": 34.0, "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(v) for v in c * 260]}}}}
    elif kind == "softboxes":
        k = g.uniform(4800, 5800)
        c = blackbody(k)
        out = {"room": _room(mi, c, 0.32 * walls, g)}
        for i, s in enumerate((0.0, g.uniform(1.6, 3.2))):
            p = around(azimuth + s, np.deg2rad(g.uniform(35, 60)), g.uniform(600, 900))
            out[f"box{i}"] = _panel(mi, p, (0, 0, 0), g.uniform(300, 500), g.uniform(300, 500), c * (g.uniform(6, 10) if i == 0 else g.uniform(2, 8)))
    elif kind == "flash":
        k = g.uniform(5200, 6200)
        c = blackbody(k)
        p = view.origin + g.uniform(9, 15) * view.right - g.uniform(4, 12) * view.down - 3.0 * view.forward
        d = np.linalg.norm(p)
        out = {"room": _room(mi, blackbody(g.uniform(3000, 5000)), 0.5 * walls, g), "flash": _panel(mi, p, p + view.forward * 100, 9, 9, c * 1.1e4 * (d / 260) ** 2)}
    else:
        k = g.uniform(3600, 5000)
        c = blackbody(k)
        out = {"room": _room(mi, c, 0.4 * walls, g)}
        for i, off in enumerate((-350, 350)):
            p = np.array([off * np.cos(azimuth), off * np.sin(azimuth), g.uniform(1300, 1700)])
            p[:2] += g.uniform(-400, 400, 2)
            out[f"tube{i}"] = _panel(mi, p, (p[0], p[1], 0), 160, 1100, c * g.uniform(8, 13))
    return out, float(k)
