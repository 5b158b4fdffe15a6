"""Materials: ink over metallised film, printed board under clear film, tables.

Foil is a blend of rough aluminium (complex index of Al) seen through transparent ink and of
white-backed ink (diffuse under a dielectric coat, index 1.5). Board is the same coat, smooth, as the
film that lies on it. All textures are linear light.
"""
from __future__ import annotations

import numpy as np
from PIL import Image

from common import fbm


def to_linear(srgb8: np.ndarray) -> np.ndarray:
    """sRGB codes (IEC 61966-2-1) to linear light."""
    c = srgb8.astype(np.float32) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _bitmap(mi, array: np.ndarray, **more) -> dict:
    data = np.ascontiguousarray(array.astype(np.float32))
    if data.ndim == 2:
        data = data[..., None]
    return {"type": "bitmap", "bitmap": mi.Bitmap(data), "raw": True, "wrap_mode": "clamp", **more}


def foil(mi, ink: Image.Image, metal: Image.Image, haze, rub, dull, shift_px=(0, 0), gloss: float = 0.16, fade: float = 0.0) -> dict:
    """BSDF of a pack's sheet; `haze`, `rub`, `dull` are 0..1 on a 12 px/mm grid, `shift_px` moves the print."""
    colour = to_linear(np.roll(np.asarray(ink), shift_px[::-1], (0, 1)))
    m = np.roll(np.asarray(metal), shift_px[::-1], (0, 1)).astype(np.float32) / 255
    h, w = m.shape
    haze, rub, dull = (a[:h, :w].astype(np.float32) for a in (haze, rub, dull))
    # rubbed ink shows the film; haze is milky and matt
    m = np.clip(m + rub * (0.75 - m), 0, 1) * (1 - 0.65 * haze)
    bare = np.float32([0.78, 0.78, 0.80])
    rubc = np.clip(rub, 0, 1)[..., None]
    diffuse = colour * (1 - 0.7 * rubc) + 0.62 * bare * 0.7 * rubc
    milk = np.clip(0.42 * haze, 0, 0.6)[..., None]
    diffuse = diffuse * (1 - milk) + 0.72 * milk
    if fade:
        diffuse = diffuse * (1 - fade) + fade * diffuse.mean(axis=2, keepdims=True) * 1.1
    tint = (colour * 0.72 + 0.28) * (1 - 0.8 * rubc) + 0.8 * rubc
    alpha = np.clip(gloss + 0.14 * dull + 0.30 * haze, 0.05, 0.6)
    return {
        "type": "twosided",
        "bsdf": {
            "type": "blendbsdf",
            "weight": _bitmap(mi, m),
            "ink": {"type": "roughplastic", "int_ior": 1.5, "alpha": float(gloss * 0.85), "diffuse_reflectance": _bitmap(mi, diffuse), "nonlinear": False},
            "film": {"type": "roughconductor", "material": "Al", "alpha": _bitmap(mi, alpha), "specular_reflectance": _bitmap(mi, tint)},
        },
    }


def board(mi, print_rgb: np.ndarray, gloss: float = 0.035) -> dict:
    """Printed board under tight clear film; `print_rgb` is linear."""
    return {"type": "twosided", "bsdf": {"type": "roughplastic", "int_ior": 1.49, "alpha": gloss, "diffuse_reflectance": _bitmap(mi, print_rgb)}}


def table(mi, kind: str, g: np.random.Generator) -> dict:
    """A table top's BSDF over a 700 mm square."""
    n = 1024
    if kind == "wood":
        y = np.linspace(0, 1, n)[:, None] * np.ones((1, n))
        warp = 0.05 * fbm((n, n), 3, 3, g)
        ring = np.sin(2 * np.pi * (g.uniform(9, 16) * (y + warp) + 0.3 * fbm((n, n), 2, 2, g)))
        fbm((n, n), 60, 2, g)  # unused; keeps the random stream of the committed photos
        fine = np.repeat(fbm((n, 8), 160, 2, g)[:, :1], n, 1)
        a, b = [((0.36, 0.21, 0.11), (0.24, 0.13, 0.065)), ((0.55, 0.40, 0.25), (0.44, 0.30, 0.17)), ((0.12, 0.075, 0.05), (0.075, 0.045, 0.03))][g.integers(3)]
        t = np.clip(0.5 + 0.28 * ring + 0.14 * fine, 0, 1)[..., None]
        rgb = np.asarray(a) * t + np.asarray(b) * (1 - t)
        plank = (np.abs(((y * g.integers(4, 7) + 0.13) % 1) - 0.5) > 0.492)[..., None]
        rgb = np.where(plank, rgb * 0.35, rgb)
        return {"type": "roughplastic", "alpha": 0.25, "diffuse_reflectance": _bitmap(mi, rgb)}
    if kind == "cloth":
        base = np.asarray([(0.10, 0.13, 0.20), (0.34, 0.32, 0.29), (0.20, 0.06, 0.07), (0.07, 0.15, 0.10)][g.integers(4)])
        rgb = base * (1 + 0.10 * fbm((n, n), 6, 3, g)[..., None] + 0.05 * fbm((n, n), 260, 1, g)[..., None])
        return {"type": "diffuse", "reflectance": _bitmap(mi, np.clip(rgb, 0.01, 0.9))}
    if kind == "paper":
        base = np.asarray([(0.78, 0.78, 0.76), (0.70, 0.66, 0.56), (0.55, 0.62, 0.68)][g.integers(3)])
        rgb = base * (1 + 0.02 * fbm((n, n), 8, 3, g)[..., None] + 0.012 * fbm((n, n), 200, 1, g)[..., None])
        return {"type": "diffuse", "reflectance": _bitmap(mi, np.clip(rgb, 0.01, 0.95))}
    base = np.asarray([(0.03, 0.03, 0.035), (0.45, 0.45, 0.46), (0.13, 0.14, 0.16)][g.integers(3)])
    rgb = base * (1 + 0.06 * fbm((n, n), 40, 4, g)[..., None])
    return {"type": "roughplastic", "alpha": 0.18, "diffuse_reflectance": _bitmap(mi, np.clip(rgb, 0.01, 0.95))}


TABLES = ("wood", "cloth", "paper", "laminate")
