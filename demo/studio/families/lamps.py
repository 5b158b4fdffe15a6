"""Light: a lamp's spectrum and its place, with a room around, drawn from the photo's own seed.

World: mm, z up, items near the origin. Radiance is relative; the camera sets its exposure. A family
has its own kinds of rooms and ranges (`_WAYS`). `rig` gives emitters, the lamp's spectrum at 5 nm and
where the light comes from (for the truth).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from families import noise, optics

LIGHTS = ("window", "overcast", "bulb", "led-panels", "flash", "tubes")
"""Kinds of light; every family has all six, with lamps and rooms of its own."""

_WAYS = {
    # kelvin ranges (window, overcast, bulb), LED table, tube table, room brightness, furniture count
    "calibration": ((5000, 6200), (6400, 7400), (2650, 2900), "LED-B3", "FL2", 0.35, 5),
    "development": ((5400, 6800), (5900, 6900), (2850, 3200), "LED-B1", "FL11", 0.45, 8),
    "test": ((4700, 5700), (6900, 8200), (2500, 2750), "LED-V1", "FL7", 0.28, 6),
    "spectral": ((5200, 6200), (6200, 7200), (2700, 3000), "LED-B5", "FL11", 0.38, 6),
}


@dataclass
class Rig:
    """Emitters ready for Mitsuba, and what they are."""

    emitters: dict
    spectrum: np.ndarray
    azimuth_deg: float
    elevation_deg: float
    spectra: dict[str, np.ndarray]
    """Relative spectra by the emitter's name, for spectral rendering."""


def _colour(spectrum, spectral: bool):
    """A lamp's colour for an emitter: linear RGB, or (nm, value) pairs."""
    return spectrum if spectral else optics.lamp_rgb(spectrum)


def radiance(mi, spectrum: np.ndarray, level: float, spectral: bool) -> dict:
    """An emitter's radiance of a spectrum, at a level of green."""
    if spectral:
        return {"type": "irregular", "wavelengths": ", ".join(f"{v:.0f}" for v in optics.nm()), "values": ", ".join(f"{max(v * level, 0):.6g}" for v in spectrum)}
    return {"type": "rgb", "value": [float(v) for v in optics.lamp_rgb(spectrum) * level]}


def _room(mi, spectrum, level, furniture, g, spectral) -> dict:
    """An environment: darker floor, mottled walls, lighter ceiling, furniture which foil mirrors."""
    h, w = 128, 256
    up = np.linspace(1, -1, h)[:, None]
    base = 0.35 + 0.5 * np.clip(up, -0.2, 1) + 0.12 * noise.field(np.arange(w) / w * 40.0, np.arange(h) / h * 20.0, 5.5, 3, g, (0, 0, 40, 20))
    rgb = np.clip(base, 0.05, None)[..., None] * np.ones(3)
    for _ in range(furniture):
        c0, r0 = int(g.integers(0, w - 20)), int(g.integers(20, 90))
        rgb[r0 : r0 + int(g.integers(6, 30)), c0 : c0 + int(g.integers(5, 26))] *= g.uniform(0.25, 1.7) * (1 + g.normal(0, 0.06, 3))
    # the room takes the lamp's colour, in spectral rendering too (as an RGB emission)
    rgb = rgb * optics.lamp_rgb(spectrum) * level
    t = mi.ScalarTransform4f()
    return {"type": "envmap", "bitmap": mi.Bitmap(np.ascontiguousarray(rgb.astype(np.float32))), "to_world": t.rotate([0, 0, 1], float(g.uniform(0, 360))) @ t.rotate([1, 0, 0], 90)}


def _panel(mi, origin, target, width, height, value) -> dict:
    t = mi.ScalarTransform4f()
    return {"type": "rectangle", "to_world": t.look_at(origin=[float(v) for v in origin], target=[float(v) for v in target], up=[0, 0.01, 1]) @ t.scale([width / 2, height / 2, 1]),
            "emitter": {"type": "area", "radiance": value}, "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}}


def rig(mi, family: str, kind: str, azimuth: float, g: np.random.Generator, view, walls: float = 1.0, spectral: bool = False) -> Rig:
    """Emitters of a kind of light from an azimuth (radians); `walls` brightens the room for standing boxes."""
    warm, grey, bulb, led, tube, level, furniture = _WAYS[family]
    spot = (lambda s, q: radiance(mi, s, q, spectral))

    def around(a, e, r):
        return r * np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])

    out, more = {}, {}
    elevation = 0.0
    if kind == "window":
        s = optics.daylight(g.uniform(*warm))
        elevation = np.deg2rad(g.uniform(22, 55))
        place = around(azimuth, elevation, g.uniform(900, 1500))
        out["room"] = _room(mi, s, level * walls, furniture, g, spectral)
        for i, off in enumerate((-1, 1)):
            side = np.array([-np.sin(azimuth), np.cos(azimuth), 0]) * off * 270
            out[f"pane{i}"] = _panel(mi, place + side, side * 0.3, 480, g.uniform(800, 1300), spot(s, g.uniform(5, 9)))
    elif kind == "overcast":
        s = optics.daylight(g.uniform(*grey))
        elevation = np.deg2rad(g.uniform(52, 80))
        out["room"] = _room(mi, s, 3.0 * level * walls, furniture, g, spectral)
        out["pane0"] = _panel(mi, around(azimuth, elevation, 1800), (0, 0, 0), 2600, 1800, spot(s, 1.5))
    elif kind == "bulb":
        s = optics.planck(g.uniform(*bulb))
        elevation = np.deg2rad(g.uniform(38, 72))
        p = around(azimuth, elevation, g.uniform(550, 1000))
        out["room"] = _room(mi, s, 1.1 * level * walls, furniture, g, spectral)
        out["lamp"] = {"type": "sphere", "center": [float(v) for v in p], "radius": float(g.uniform(28, 60)), "emitter": {"type": "area", "radiance": spot(s, 230)}}
    elif kind == "led-panels":
        s = optics.illuminant(led)
        elevation = np.deg2rad(g.uniform(32, 62))
        out["room"] = _room(mi, s, level * walls, furniture, g, spectral)
        for i, turn in enumerate((0.0, g.uniform(1.6, 3.2))):
            out[f"pane{i}"] = _panel(mi, around(azimuth + turn, elevation + 0.1 * i, g.uniform(500, 900)), (0, 0, 0), g.uniform(200, 500), g.uniform(200, 500), spot(s, g.uniform(7, 12) if i == 0 else g.uniform(2, 8)))
    elif kind == "flash":
        s = optics.daylight(g.uniform(5300, 6000))
        p = view.origin + g.uniform(9, 15) * view.right - g.uniform(4, 12) * view.down - 3.0 * view.forward
        d = np.linalg.norm(p)
        elevation = np.arcsin(np.clip(p[2] / d, -1, 1))
        out["room"] = _room(mi, optics.planck(bulb[1]), 1.4 * level * walls, furniture, g, spectral)
        out["lamp"] = _panel(mi, p, p + view.forward * 100, 9, 9, spot(s, 1.1e4 * (d / 260) ** 2))
    else:
        s = optics.illuminant(tube)
        elevation = np.deg2rad(80)
        out["room"] = _room(mi, s, 1.1 * level * walls, furniture, g, spectral)
        for i, off in enumerate((-350, 350)):
            p = np.array([off * np.cos(azimuth), off * np.sin(azimuth), g.uniform(1300, 1700)])
            p[:2] += g.uniform(-400, 400, 2)
            out[f"pane{i}"] = _panel(mi, p, (p[0], p[1], 0), 160, 1100, spot(s, g.uniform(8, 13)))
    return Rig(out, s, float(np.rad2deg(azimuth) % 360), float(np.rad2deg(elevation)), more)
