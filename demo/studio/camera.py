"""Cameras: projection with radial distortion, and everything between linear light and the JPEG.

In: a linear render (Rec.709 primaries). Out: 8-bit sRGB codes as a phone or camera would store them.
Pixel coordinates: x right, y down, pixel centres at integers.
"""
from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates


@dataclass(frozen=True)
class Camera:
    """One camera model of the studio."""

    name: str
    fov_deg: float
    """Field of view along the longer side, as used for close things (zoomed or cropped)."""
    matrix: tuple
    """3×3 colour response error, row by row."""
    contrast: float
    saturation: float
    vignette: float
    """Light lost in the corners, share."""
    k1: float
    """Radial distortion at the half diagonal, share."""
    blur_px: float
    full_well: float
    read: float
    denoise: float
    sharpen: float


CAMERAS = (
    Camera("aster-5", 40, (1.06, -0.05, -0.01, -0.04, 1.07, -0.03, 0.0, -0.06, 1.06), 0.30, 1.10, 0.16, -0.004, 0.55, 6000, 0.0016, 0.7, 0.75),
    Camera("aster-9", 36, (1.03, -0.02, -0.01, -0.02, 1.04, -0.02, 0.0, -0.03, 1.03), 0.22, 1.04, 0.10, 0.003, 0.45, 12000, 0.0010, 0.4, 0.55),
    Camera("corvid-m", 44, (0.98, 0.03, -0.01, 0.03, 0.95, 0.02, -0.01, 0.05, 0.96), 0.35, 1.16, 0.22, -0.008, 0.75, 4200, 0.0024, 1.1, 1.0),
    Camera("pell-zoom", 25, (1.02, 0.0, -0.02, -0.01, 1.0, 0.01, 0.01, -0.02, 1.01), 0.12, 0.96, 0.08, 0.006, 0.5, 20000, 0.0008, 0.3, 0.4),
    Camera("tern-tab", 42, (0.94, 0.06, 0.0, 0.04, 0.94, 0.02, 0.02, 0.06, 0.92), 0.26, 0.98, 0.26, -0.006, 0.95, 3500, 0.003, 1.2, 0.8),
    Camera("orrery-2", 33, (1.05, -0.03, -0.02, -0.05, 1.09, -0.04, 0.01, -0.07, 1.06), 0.40, 1.22, 0.14, 0.002, 0.6, 8000, 0.0014, 0.8, 0.9),
)


@dataclass(frozen=True)
class View:
    """Where a camera stands: world → pixels with distortion."""

    origin: np.ndarray
    right: np.ndarray
    down: np.ndarray
    forward: np.ndarray
    focal_px: float
    width: int
    height: int
    k1: float

    def project(self, points: np.ndarray) -> np.ndarray:
        """World points (n, 3) in mm to distorted pixels (n, 2)."""
        p = np.asarray(points, float) - self.origin
        z = p @ self.forward
        x = p @ self.right / z * self.focal_px
        y = p @ self.down / z * self.focal_px
        half = np.hypot(self.width, self.height) / 2
        s = 1 + self.k1 * (x**2 + y**2) / half**2
        return np.c_[x * s + (self.width - 1) / 2, y * s + (self.height - 1) / 2]


def look(origin, target, roll_deg: float, focal_px: float, width: int, height: int, k1: float) -> View:
    """A view from `origin` at `target`; the picture's up is the world's +y where roll is 0."""
    f = np.asarray(target, float) - origin
    f /= np.linalg.norm(f)
    up = np.array([0.0, 1.0, 0.0]) if abs(f[1]) < 0.95 else np.array([0.0, 0.0, 1.0])
    right = np.cross(f, up)
    right /= np.linalg.norm(right)
    down = np.cross(f, right)
    a = np.deg2rad(roll_deg)
    r = np.cos(a) * right + np.sin(a) * down
    d = -np.sin(a) * right + np.cos(a) * down
    return View(np.asarray(origin, float), r, d, f, focal_px, width, height, k1)


def develop(linear: np.ndarray, camera: Camera, kelvin_rgb: np.ndarray, k1: float, g: np.random.Generator) -> np.ndarray:
    """The camera's pipeline on a linear render; returns uint8 codes."""
    h, w, _ = linear.shape
    a = np.clip(linear.astype(np.float32), 0, None)
    # lens: distortion (inverse by fixed point), softness and a little defocus, vignetting
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    cx, cy, half = (w - 1) / 2, (h - 1) / 2, np.hypot(w, h) / 2
    dx, dy = xx - cx, yy - cy
    ux, uy = dx.copy(), dy.copy()
    for _ in range(4):
        s = 1 + k1 * (ux**2 + uy**2) / half**2
        ux, uy = dx / s, dy / s
    lum = np.quantile(a.mean(axis=2), 0.75) + 1e-6
    a = np.minimum(a, 40 * lum)
    a = np.stack([map_coordinates(a[..., c], [uy + cy, ux + cx], order=3, mode="nearest", prefilter=True) for c in range(3)], -1)
    a = np.clip(a, 0, None)
    sigma = camera.blur_px * g.uniform(0.9, 1.25)
    a = gaussian_filter(a, (sigma, sigma, 0))
    veil = gaussian_filter(np.minimum(a, 8 * lum)[::8, ::8], (12, 12, 0))
    veil = np.asarray(Image.fromarray(veil.mean(axis=2)).resize((w, h), Image.BICUBIC))
    a = a * 0.985 + 0.015 * veil[..., None]
    a *= (1 - camera.vignette * ((dx**2 + dy**2) / half**2))[..., None] ** 1.0
    # exposure, white balance (part of the lamp's colour stays), response
    grey = a.mean(axis=2)
    key = np.exp(np.mean(np.log(grey + 1e-3 * lum)))
    top = np.quantile(grey, 0.97)
    gain = min(0.24 / key, 0.95 / top) * 2 ** g.normal(0, 0.16)
    a *= gain
    wb = kelvin_rgb ** (-g.uniform(0.72, 1.0)) * np.exp(g.normal(0, 0.035, 3))
    a *= (wb / wb[1]).astype(np.float32)
    m = np.asarray(camera.matrix).reshape(3, 3) + g.normal(0, 0.008, (3, 3))
    a = np.clip(a @ m.T.astype(np.float32), 0, None)
    # sensor
    electrons = np.minimum(a, 1.6) * camera.full_well
    a = (electrons + g.normal(0, 1, a.shape).astype(np.float32) * np.sqrt(electrons)) / camera.full_well
    a += g.normal(0, camera.read, a.shape).astype(np.float32)
    a = np.minimum(a, 1.0)
    # denoise: chroma strongly, luma a little
    y = a @ np.float32([0.2126, 0.7152, 0.0722])
    c = a - y[..., None]
    c = gaussian_filter(c, (1.3 * camera.denoise, 1.3 * camera.denoise, 0))
    soft = gaussian_filter(y, 0.8)
    detail = y - soft
    level = 3.4 * np.sqrt(np.clip(soft, 1e-4, 1) / camera.full_well)
    y = soft + detail * (1 - np.clip(camera.denoise + 0.25, 0, 1) * 0.85 * np.exp(-((detail / level) ** 2)))
    a = np.clip(y[..., None] + c, 0, None)
    # tone: local lift, curve, saturation
    base = gaussian_filter(np.log(np.clip(y, 1e-3, 1)), max(h, w) / 18)
    a = a * np.exp(-0.12 * (base - base.mean()))[..., None]
    a = np.clip(a, 0, 1)
    code = np.where(a <= 0.0031308, 12.92 * a, 1.055 * np.power(np.clip(a, 1e-8, 1), 1 / 2.4) - 0.055)
    s = camera.contrast
    code = code * (1 - s) + s * (code * code * (3 - 2 * code))
    luma = code @ np.float32([0.2126, 0.7152, 0.0722])
    code = luma[..., None] + (code - luma[..., None]) * camera.saturation
    luma = code @ np.float32([0.2126, 0.7152, 0.0722])
    code += (camera.sharpen * (luma - gaussian_filter(luma, 1.1)))[..., None]
    return np.clip(code * 255 + 0.5, 0, 255).astype(np.uint8)


def jpeg(codes: np.ndarray, quality: tuple[int, int], g: np.random.Generator) -> bytes:
    """JPEG bytes with 4:2:0 chroma, stored once or twice, at a quality drawn from a range."""
    image = Image.fromarray(codes)
    chosen = int(g.integers(quality[0], quality[1] + 1))
    if g.random() < 0.6:
        first = BytesIO()
        image.save(first, "JPEG", quality=min(95, chosen + int(g.integers(3, 12))), subsampling=2)
        image = Image.open(BytesIO(first.getvalue()))
    out = BytesIO()
    image.save(out, "JPEG", quality=chosen, subsampling=2, optimize=True)
    return out.getvalue()


__all__ = ["CAMERAS", "Camera", "View", "develop", "jpeg", "look"]
