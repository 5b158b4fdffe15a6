"""Cameras: projection with radial distortion, and everything between linear light and 8-bit codes.

In: a linear render (Rec.709, or already the sensor's own bands turned to it). Out: sRGB codes as the
camera stores them. Pixels: x right, y down, centres at integers. What is random comes from the
generator handed in; what the design balances (exposure error, white balance) comes with the shot.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image
from scipy.ndimage import convolve1d, gaussian_filter, map_coordinates, uniform_filter

from families import optics
from families.world import Camera

SPLINE_SIGMA_PX = 0.5774
"""Blur of resampling by an unsharpened cubic B-spline (variance 1/3 px²); part of a lens's softness."""


@dataclass(frozen=True)
class View:
    """Where a camera stands: world to pixels."""

    origin: np.ndarray
    right: np.ndarray
    down: np.ndarray
    forward: np.ndarray
    focal_px: float
    width: int
    height: int
    k1: float
    aperture_mm: float = 0.0
    """Radius of the entrance pupil."""
    focus_mm: float = 1.0

    def project(self, points: np.ndarray) -> np.ndarray:
        """World points (n, 3) in mm to distorted pixels (n, 2)."""
        p = np.asarray(points, float) - self.origin
        z = p @ self.forward
        x, y = p @ self.right / z * self.focal_px, p @ self.down / z * self.focal_px
        s = 1 + self.k1 * (x**2 + y**2) / (np.hypot(self.width, self.height) / 2) ** 2
        return np.c_[x * s + (self.width - 1) / 2, y * s + (self.height - 1) / 2]

    def confusion_px(self, points: np.ndarray) -> np.ndarray:
        """Diameter of the circle of confusion at world points, pixels."""
        z = (np.asarray(points, float) - self.origin) @ self.forward
        return 2 * self.aperture_mm * np.abs(z - self.focus_mm) / z * self.focal_px / self.focus_mm


def look(origin, target, roll_deg: float, up, **more) -> View:
    """A view from `origin` at `target`; the picture's up is `up` where roll is 0."""
    f = np.asarray(target, float) - origin
    f /= np.linalg.norm(f)
    right = np.cross(f, up)
    right /= np.linalg.norm(right)
    down = np.cross(f, right)
    a = np.deg2rad(roll_deg)
    return View(np.asarray(origin, float), np.cos(a) * right + np.sin(a) * down, -np.sin(a) * right + np.cos(a) * down, f, **more)


def further_softness(camera: Camera) -> float:
    """Spread in px of the blur that a camera's softness needs beyond the resampling's."""
    return float(np.sqrt(max(0.0, camera.softness_px**2 - SPLINE_SIGMA_PX**2)))


def lens(a: np.ndarray, camera: Camera, k1: float) -> np.ndarray:
    """Distortion, softness, veiling glare and vignetting of a linear picture."""
    h, w, _ = a.shape
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    cx, cy, half = (w - 1) / 2, (h - 1) / 2, np.hypot(w, h) / 2
    dx, dy = xx - cx, yy - cy
    r2 = (dx**2 + dy**2) / half**2
    s = np.ones_like(r2)
    for _ in range(3):
        s = 1 + k1 * r2 / s**2
    at = np.stack([dy / s + cy, dx / s + cx])
    out = np.empty_like(a)
    for c in range(3):
        map_coordinates(a[..., c], at, output=out[..., c], order=3, mode="nearest", prefilter=False)
    more = further_softness(camera)
    if more > 0.6:
        out = gaussian_filter(out, (more, more, 0), truncate=3.5)
    elif more > 0.08:  # a sampled Gaussian this narrow is no Gaussian: three taps of its variance
        taps = np.float32([more**2 / 2, 1 - more**2, more**2 / 2])
        out = convolve1d(convolve1d(out, taps, axis=0, mode="nearest"), taps, axis=1, mode="nearest")
    small = out[::8, ::8].mean(axis=2)
    veil = gaussian_filter(small, min(small.shape) / 12)
    veil = np.asarray(Image.fromarray(veil).resize((w, h), Image.BILINEAR))
    return (out * 0.985 + 0.015 * veil[..., None]) * (1 - camera.vignette * r2)[..., None]


def develop(linear: np.ndarray, camera: Camera, lamp: np.ndarray, k1: float, exposure_ev: float, wb: float, g: np.random.Generator, matrix: bool = True) -> np.ndarray:
    """The whole pipeline; `wb` 0..1 is where in the camera's range its white balance error lies."""
    h, w, _ = linear.shape
    a = np.clip(linear.astype(np.float32), 0, None)
    lum = float(np.quantile(a[::4, ::4].mean(axis=2), 0.75)) + 1e-6
    a = lens(np.minimum(a, 40 * lum), camera, k1)
    # exposure, white balance (part of the lamp's colour stays), response
    grey = a[::2, ::2].mean(axis=2)
    key, top = float(np.exp(np.mean(np.log(grey + 1e-3 * lum)))), float(np.quantile(grey, 0.97))
    if top <= 0.0:
        raise ValueError("the view is black: nothing lit is in front of the camera")
    a *= min(0.24 / key, 0.95 / top) * 2**exposure_ev
    stays = camera.wb_stays[0] + (camera.wb_stays[1] - camera.wb_stays[0]) * wb
    gain = lamp ** (-(1 - stays)) * np.exp(g.normal(0, 0.03, 3))
    a *= (gain / gain[1]).astype(np.float32)
    if matrix:
        m = np.asarray(camera.matrix).reshape(3, 3) + g.normal(0, 0.006, (3, 3))
        a = np.clip(a @ m.T.astype(np.float32), 0, None)
    # sensor: photon and read noise, full well
    electrons = np.minimum(a, 1.6) * camera.full_well
    a = electrons / camera.full_well + g.standard_normal(a.shape, dtype=np.float32) * np.sqrt(electrons / camera.full_well**2 + camera.read**2)
    a = np.clip(a, 0, 1)
    # denoise: chroma strongly, luma where the detail is small against the noise
    y = a @ np.float32([0.2126, 0.7152, 0.0722])
    chroma = gaussian_filter(a - y[..., None], (1.3 * camera.denoise, 1.3 * camera.denoise, 0), truncate=3)
    soft = gaussian_filter(y, 0.8, truncate=3)
    detail = y - soft
    level = 3.4 * np.sqrt(np.clip(soft, 1e-4, 1) / camera.full_well)
    y = soft + detail * (1 - min(camera.denoise + 0.25, 1.0) * 0.85 * np.exp(-((detail / level) ** 2)))
    a = np.clip(y[..., None] + chroma, 0, None)
    # tone: local lift, curve, saturation, sharpening
    small = np.log(np.clip(uniform_filter(y, 8)[::8, ::8], 1e-3, 1))
    base = gaussian_filter(small, max(small.shape) / 18)
    base = np.asarray(Image.fromarray(base).resize((w, h), Image.BILINEAR))
    code = optics.to_codes_tabled(a * np.exp(-camera.lift * (base - base.mean()))[..., None])
    s = camera.contrast
    code = code * (1 - s) + s * (code * code * (3 - 2 * code))
    luma = (code @ np.float32([0.2126, 0.7152, 0.0722]))[..., None]
    code = luma + (code - luma) * camera.saturation
    luma = luma[..., 0]
    code += (camera.sharpen * (luma - gaussian_filter(luma, 1.1, truncate=3)))[..., None]
    return np.clip(code * 255 + 0.5, 0, 255).astype(np.uint8)
