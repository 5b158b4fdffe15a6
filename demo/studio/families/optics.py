"""Published optical data and the colour arithmetic over them.

In: `data/spectra.json` (see `make_data.py` for the origin of each table). Out: spectra on a 5 nm grid,
their colours in linear Rec.709, CIELAB both ways, CIEDE2000. Wavelengths in nm, reflectances 0 to 1.
"""
from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import numpy as np

AL_MATERIAL = "Al"
"""Mitsuba's name for aluminium's complex index (Rakić 1995, doi 10.1364/AO.34.004755)."""
PP_INDEX = 1.492
"""Refractive index of biaxially oriented polypropylene at 589 nm (handbook value 1.49, from memory)."""
PET_INDEX = 1.575
"""Refractive index of polyester film at 589 nm (handbook value, from memory)."""
ACRYLIC_INDEX = 1.491
"""Refractive index of PMMA at 589 nm (handbook value, from memory)."""
LACQUER_INDEX = 1.50
"""Refractive index of overprint lacquer and ink vehicle (from memory)."""

XYZ_TO_RGB = np.array([[3.2404542, -1.5371385, -0.4985314], [-0.9692660, 1.8760108, 0.0415560], [0.0556434, -0.2040259, 1.0572252]])
"""CIE XYZ to linear Rec.709, white D65 (IEC 61966-2-1)."""
D65_XY = (0.31272, 0.32903)
D50_XY = (0.34567, 0.35850)


@lru_cache
def tables() -> dict:
    """The JSON, arrays where it has lists of numbers."""
    raw = json.loads((Path(__file__).parent / "data" / "spectra.json").read_text())

    def arrays(v):
        if isinstance(v, dict):
            return {k: arrays(w) for k, w in v.items()}
        return np.asarray(v, float) if isinstance(v, list) else v

    return arrays(raw)


def nm() -> np.ndarray:
    """The wavelength grid."""
    return tables()["nm"]


def planck(kelvin: float) -> np.ndarray:
    """Spectrum of a full radiator, 1 at 560 nm (Planck's law, c2 = 1.438777e7 nm K)."""
    w = nm()
    return (560 / w) ** 5 * (np.exp(1.438777e7 / (560 * kelvin)) - 1) / (np.exp(1.438777e7 / (w * kelvin)) - 1)


def daylight(kelvin: float) -> np.ndarray:
    """CIE daylight of a correlated colour temperature of 4000 to 25000 K (CIE 015:2018, 4.1.2), 1 at 560 nm."""
    t = float(np.clip(kelvin, 4000, 25000))
    if t <= 7000:
        x = -4.6070e9 / t**3 + 2.9678e6 / t**2 + 0.09911e3 / t + 0.244063
    else:
        x = -2.0064e9 / t**3 + 1.9018e6 / t**2 + 0.24748e3 / t + 0.237040
    y = -3.0 * x * x + 2.870 * x - 0.275
    m = 0.0241 + 0.2562 * x - 0.7341 * y
    m1, m2 = (-1.3515 - 1.7703 * x + 5.9114 * y) / m, (0.0300 - 31.4424 * x + 30.0717 * y) / m
    d = tables()["daylight"]
    s = d["S0"] + m1 * d["S1"] + m2 * d["S2"]
    return s / np.interp(560, nm(), s)


def illuminant(name: str) -> np.ndarray:
    """A tabulated CIE illuminant, 1 at 560 nm."""
    s = tables()["illuminants"][name]
    return s / np.interp(560, nm(), s)


def xyz(spectrum: np.ndarray) -> np.ndarray:
    """Tristimulus values, unnormalised (sum over the grid)."""
    c = tables()["cie1931"]
    return np.array([spectrum @ c["x"], spectrum @ c["y"], spectrum @ c["z"]])


def lamp_rgb(spectrum: np.ndarray) -> np.ndarray:
    """Linear Rec.709 colour of a lamp, green 1, components at least 0.02."""
    rgb = np.clip(XYZ_TO_RGB @ xyz(spectrum), 1e-9, None)
    return np.clip(rgb / rgb[1], 0.02, None)


def white_xyz(xy: tuple[float, float]) -> np.ndarray:
    """XYZ of a chromaticity at Y = 1."""
    return np.array([xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]])


def bradford(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Linear Bradford adaptation between two whites (ICC.1:2010, annex E)."""
    m = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    return np.linalg.inv(m) @ np.diag((m @ target) / (m @ source)) @ m


def lab_to_xyz(lab: np.ndarray, white: np.ndarray) -> np.ndarray:
    """CIELAB to XYZ (CIE 015:2018)."""
    lab = np.asarray(lab, float)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], -1)
    d = 6 / 29
    return np.where(f > d, f**3, 3 * d * d * (f - 4 / 29)) * white


def xyz_to_lab(v: np.ndarray, white: np.ndarray) -> np.ndarray:
    """XYZ to CIELAB (CIE 015:2018)."""
    t = np.asarray(v, float) / white
    d = 6 / 29
    f = np.where(t > d**3, np.cbrt(np.maximum(t, 1e-12)), t / (3 * d * d) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def delta_e00(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """CIEDE2000 between two arrays of CIELAB (Sharma, Wu, Dalal 2005)."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    l1, a1, b1 = a[..., 0], a[..., 1], a[..., 2]
    l2, a2, b2 = b[..., 0], b[..., 1], b[..., 2]
    cm = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(cm**7 / (cm**7 + 25.0**7)))
    p1, p2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(p1, b1), np.hypot(p2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, p1)) % 360, np.degrees(np.arctan2(b2, p2)) % 360
    dh = np.where(c1 * c2 == 0, 0, (h2 - h1 + 180) % 360 - 180)
    dl, dc, dhh = l2 - l1, c2 - c1, 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2)
    lm, cm = (l1 + l2) / 2, (c1 + c2) / 2
    far = np.abs(h1 - h2) > 180
    hm = np.where(c1 * c2 == 0, h1 + h2, np.where(far, (h1 + h2 + np.where(h1 + h2 < 360, 360, -360)) / 2, (h1 + h2) / 2))
    t = 1 - 0.17 * np.cos(np.radians(hm - 30)) + 0.24 * np.cos(np.radians(2 * hm)) + 0.32 * np.cos(np.radians(3 * hm + 6)) - 0.20 * np.cos(np.radians(4 * hm - 63))
    sl = 1 + 0.015 * (lm - 50) ** 2 / np.sqrt(20 + (lm - 50) ** 2)
    sc, sh = 1 + 0.045 * cm, 1 + 0.015 * cm * t
    rt = -2 * np.sqrt(cm**7 / (cm**7 + 25.0**7)) * np.sin(np.radians(60 * np.exp(-(((hm - 275) / 25) ** 2))))
    return np.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dhh / sh) ** 2 + rt * dc / sc * dhh / sh)


def patch_rgb() -> tuple[list[str], np.ndarray]:
    """Names and linear Rec.709 reflectances (24, 3) of the chart; a patch with a component outside 0..1 is outside the gamut."""
    names = list(tables()["patch_lab_d50"])
    lab = np.array([tables()["patch_lab_d50"][n] for n in names])
    d50, d65 = white_xyz(D50_XY), white_xyz(D65_XY)
    return names, lab_to_xyz(lab, d50) @ bradford(d50, d65).T @ XYZ_TO_RGB.T


def to_linear(codes: np.ndarray) -> np.ndarray:
    """sRGB codes 0..255 to linear light (IEC 61966-2-1)."""
    c = np.asarray(codes, np.float32) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def to_codes(linear: np.ndarray) -> np.ndarray:
    """Linear light 0..1 to sRGB values 0..1, unrounded."""
    a = np.clip(linear, 0, 1)
    return np.where(a <= 0.0031308, 12.92 * a, 1.055 * np.power(np.maximum(a, 1e-9), 1 / 2.4) - 0.055)


@lru_cache(maxsize=1)
def _code_table() -> np.ndarray:
    return to_codes(np.linspace(0, 1, 65536)).astype(np.float32)


def to_codes_tabled(linear: np.ndarray) -> np.ndarray:
    """`to_codes` for pictures, float32, from a table of 65,536 entries: within 0.026 of an 8-bit step."""
    return _code_table()[(np.clip(linear, 0, 1) * 65535 + 0.5).astype(np.uint16)]
