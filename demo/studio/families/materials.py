"""Surfaces: ink over metallised film, printed board, clear films, tables, skin, paper.

Foil blends rough aluminium (complex index by Mitsuba's table, `optics.AL_MATERIAL`) seen through
transparent ink with white-backed ink under lacquer. Clear films are thin dielectrics of published
index; light reaches what lies under them because rendering follows null transmission (`volpath`).
"""
from __future__ import annotations

import numpy as np

from families import noise, optics

TABLES = ("wood", "cloth", "paper", "laminate")


def bitmap(mi, a: np.ndarray, spectral: bool = False, **more) -> dict:
    """A texture of linear values; colours are upsampled to spectra in a spectral variant."""
    data = np.ascontiguousarray(np.asarray(a, np.float32))
    if data.ndim == 2:
        data = data[..., None]
    if data.shape[2] == 3 and spectral:
        return {"type": "bitmap", "bitmap": mi.Bitmap(np.clip(data, 0.003, 0.98)), "raw": False, "wrap_mode": "clamp", **more}
    return {"type": "bitmap", "bitmap": mi.Bitmap(data), "raw": True, "wrap_mode": "clamp", **more}


def foil(mi, ink, metal, haze, rub, dull, shift_px, gloss: float, fade: float, spectral=False) -> dict:
    """A pack's sheet; `haze`, `rub`, `dull` 0..1 on the print's grid, `shift_px` moves the print."""
    colour = optics.to_linear(np.roll(np.asarray(ink), shift_px[::-1], (0, 1)))
    m = np.roll(np.asarray(metal), shift_px[::-1], (0, 1)).astype(np.float32) / 255
    h, w = m.shape
    haze, rub, dull = (np.asarray(a[:h, :w], np.float32) for a in (haze, rub, dull))
    m = np.clip(m + rub * (0.75 - m), 0, 1) * (1 - 0.65 * haze)
    r = rub[..., None]
    diffuse = colour * (1 - 0.7 * r) + 0.62 * np.float32([0.78, 0.78, 0.80]) * 0.7 * r
    milk = np.clip(0.42 * haze, 0, 0.6)[..., None]
    diffuse = diffuse * (1 - milk) + 0.72 * milk
    if fade:  # magenta and yellow bleach first
        grey = diffuse.mean(axis=2, keepdims=True)
        diffuse = diffuse + fade * np.float32([0.55, 0.8, 0.9]) * (1.15 * grey + 0.05 - diffuse)
    tint = (colour * 0.72 + 0.28) * (1 - 0.8 * r) + 0.8 * r
    alpha = np.clip(gloss + 0.14 * dull + 0.30 * haze, 0.05, 0.6)
    return {"type": "twosided", "bsdf": {
        "type": "blendbsdf", "weight": bitmap(mi, m),
        "ink": {"type": "roughplastic", "int_ior": optics.LACQUER_INDEX, "alpha": float(gloss * 0.85), "diffuse_reflectance": bitmap(mi, np.clip(diffuse, 0, 0.95), spectral), "nonlinear": False},
        "film": {"type": "roughconductor", "material": optics.AL_MATERIAL, "alpha": bitmap(mi, alpha), "specular_reflectance": bitmap(mi, np.clip(tint, 0, 1), spectral)}}}


def board(mi, linear: np.ndarray, gloss: float, spectral=False) -> dict:
    """Varnished board."""
    return {"type": "twosided", "bsdf": {"type": "roughplastic", "int_ior": optics.LACQUER_INDEX, "alpha": gloss, "diffuse_reflectance": bitmap(mi, np.clip(linear, 0, 0.95), spectral)}}


def clear(index: float = optics.PP_INDEX) -> dict:
    """A thin clear film."""
    return {"type": "thindielectric", "int_ior": index}


def matt(rgb) -> dict:
    """Paper, sticker, cardboard."""
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": [float(v) for v in rgb]}}}


_TONES = {
    "calibration": {"wood": (((0.36, 0.21, 0.11), (0.24, 0.13, 0.065)), ((0.50, 0.38, 0.26), (0.41, 0.29, 0.18))), "cloth": ((0.10, 0.13, 0.20), (0.34, 0.32, 0.29)), "paper": ((0.78, 0.78, 0.76), (0.55, 0.62, 0.68)), "laminate": ((0.03, 0.03, 0.035), (0.45, 0.45, 0.46))},
    "development": {"wood": (((0.55, 0.40, 0.25), (0.44, 0.30, 0.17)), ((0.20, 0.12, 0.09), (0.13, 0.08, 0.06))), "cloth": ((0.20, 0.06, 0.07), (0.14, 0.16, 0.14)), "paper": ((0.70, 0.66, 0.56), (0.68, 0.70, 0.74)), "laminate": ((0.13, 0.14, 0.16), (0.52, 0.50, 0.46))},
    "test": {"wood": (((0.12, 0.075, 0.05), (0.075, 0.045, 0.03)), ((0.44, 0.32, 0.20), (0.33, 0.23, 0.13))), "cloth": ((0.07, 0.15, 0.10), (0.40, 0.36, 0.30)), "paper": ((0.74, 0.70, 0.64), (0.42, 0.44, 0.47)), "laminate": ((0.07, 0.08, 0.10), (0.36, 0.37, 0.40))},
}
_TONES["spectral"] = _TONES["development"]


def table(mi, family: str, kind: str, g: np.random.Generator, spectral=False) -> dict:
    """A table top's BSDF over a 700 mm square."""
    n = 1024
    x = np.arange(n) * (700 / n)
    ext = (0, 0, 700, 700)
    tones = _TONES[family][kind]
    tone = tones[int(g.integers(len(tones)))]
    if kind == "wood":
        y = np.linspace(0, 1, n)[:, None]
        warp = 0.05 * noise.field(x, x, 230, 3, g, ext)
        ring = np.sin(2 * np.pi * (g.uniform(9, 16) * (y + warp) + 0.3 * noise.field(x, x, 350, 2, g, ext)))
        fine = noise.line(x, 4.4, 2, g, (0, 700))[:, None]
        t = np.clip(0.5 + 0.28 * ring + 0.14 * fine, 0, 1)[..., None]
        rgb = np.asarray(tone[0]) * t + np.asarray(tone[1]) * (1 - t)
        plank = np.broadcast_to((np.abs(((y * g.integers(4, 7) + 0.13) % 1) - 0.5) > 0.492), (n, n))[..., None]
        return {"type": "roughplastic", "alpha": 0.25, "diffuse_reflectance": bitmap(mi, np.where(plank, rgb * 0.35, rgb), spectral)}
    amount = {"cloth": (0.10, 117, 0.05, 2.7), "paper": (0.02, 87, 0.012, 3.5), "laminate": (0.03, 17, 0.03, 6.0)}[kind]
    rgb = np.asarray(tone) * (1 + amount[0] * noise.field(x, x, amount[1], 3, g, ext)[..., None] + amount[2] * noise.field(x, x, amount[3], 1, g, ext)[..., None])
    tex = bitmap(mi, np.clip(rgb, 0.01, 0.95), spectral)
    if kind == "laminate":
        return {"type": "roughplastic", "alpha": 0.18, "diffuse_reflectance": tex}
    return {"type": "diffuse", "reflectance": tex}
