"""Energy, colour and sharpness of the studio against what physics and published values say.

    white furnace         no surface returns more than it receives; lossless ones return all of it
    chart                 the 24 patches' published CIELAB under a known illuminant, ΔE00 <= 1.0, before any camera
    spectral sensor       a film's bands against the integral of reflectance, illuminant and sensitivity
    slanted edge          MTF after ISO 12233 (edge spread, four bins a pixel) against lens and defocus
    families              share nothing; plans are independent of conditions

Needs no GPU: small pictures in Mitsuba's scalar variants. Exit code 1 when one is off.
"""
from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from scipy.special import j1

from families import materials, optics, photo, plan, sensor, world


def _say(name: str, good: bool, words: str) -> bool:
    print(f"{'ok   ' if good else 'WRONG'} {name}: {words}", flush=True)
    return good


# ----------------------------------------------------------------------------- energy


def furnace(mi) -> bool:
    """Spheres in a uniform unit environment, seen whole: mean reflected share of every material."""

    def seen(bsdf, integrator="path", shape="sphere"):
        scene = mi.load_dict({"type": "scene", "integrator": {"type": integrator, "max_depth": 64, "rr_depth": 1000}, "light": {"type": "constant", "radiance": 1.0}, "thing": {"type": shape, "bsdf": bsdf},
                              "sensor": {"type": "perspective", "fov": 12, "to_world": mi.ScalarTransform4f().look_at(origin=[0, 0, 8], target=[0, 0, 0], up=[0, 1, 0]), "film": {"type": "hdrfilm", "width": 24, "height": 24, "pixel_format": "rgb", "rfilter": {"type": "box"}}}})
        a = np.asarray(mi.render(scene, spp=256, seed=3))
        yy, xx = np.mgrid[0:24, 0:24] - 11.5
        return a[np.hypot(xx, yy) < 11.5 * (1.0 / (8 * np.tan(np.deg2rad(6)))) * 0.9].mean(axis=0)

    good = True
    rows = (
        ("perfect diffuser", {"type": "diffuse", "reflectance": 1.0}, "path", 0.995, 1.005),
        ("thin polypropylene film", materials.clear(), "volpath", 0.995, 1.005),
        ("lossless mirror, alpha 0.05", {"type": "roughconductor", "material": "none", "alpha": 0.05}, "path", 0.985, 1.002),
        ("lossless mirror, alpha 0.3", {"type": "roughconductor", "material": "none", "alpha": 0.3}, "path", 0.90, 1.002),
        ("rough aluminium, alpha 0.15", {"type": "roughconductor", "material": optics.AL_MATERIAL, "alpha": 0.15}, "path", 0.85, 0.93),
        ("white ink under lacquer", {"type": "roughplastic", "int_ior": optics.LACQUER_INDEX, "alpha": 0.13, "diffuse_reflectance": 1.0, "nonlinear": False}, "path", 0.90, 1.005),
        ("ink over film", materials.foil(mi, np.full((8, 8, 3), 255, np.uint8), np.full((8, 8), 128, np.uint8), *(np.zeros((8, 8)),) * 3, (0, 0), 0.15, 0.0), "path", 0.80, 1.0),
    )
    for name, bsdf, integrator, low, high in rows:
        v = seen(bsdf, integrator)
        good &= _say("furnace", bool((v >= low).all() and (v <= high).all()), f"{name} returns {v.mean():.4f} (expected {low} to {high})")
    return good


# ----------------------------------------------------------------------------- colour


def _chart_plate(mi, rgb: np.ndarray, spectral=False) -> dict:
    px = np.repeat(np.repeat(rgb.reshape(4, 6, 3), 16, axis=0), 16, axis=1)
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f().scale([3, 2, 1]), "bsdf": {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": materials.bitmap(mi, px[::-1], spectral, filter_type="nearest")}}}


def chart(mi) -> bool:
    """The chart through textures and light, against its published CIELAB."""
    names, rgb = optics.patch_rgb()
    inside = ((rgb > 0) & (rgb < 1)).all(axis=1)
    lamp = optics.lamp_rgb(optics.illuminant("D65"))

    def shoot(plate):
        scene = mi.load_dict({"type": "scene", "integrator": {"type": "path", "max_depth": 3}, "plate": plate, "light": {"type": "constant", "radiance": {"type": "rgb", "value": [float(v) for v in lamp]}},
                              "sensor": {"type": "perspective", "fov": 33.5, "fov_axis": "x", "to_world": mi.ScalarTransform4f().look_at(origin=[0, 0, 10], target=[0, 0, 0], up=[0, 1, 0]), "film": {"type": "hdrfilm", "width": 60, "height": 40, "pixel_format": "rgb", "rfilter": {"type": "box"}}}})
        return np.asarray(mi.render(scene, spp=64, seed=1))

    a, white = shoot(_chart_plate(mi, np.clip(rgb, 0, 1))), shoot(_chart_plate(mi, np.ones_like(rgb)))
    got = np.array([[a[10 * r + 3 : 10 * r + 7, 10 * c + 3 : 10 * c + 7].mean((0, 1)) / white[10 * r + 3 : 10 * r + 7, 10 * c + 3 : 10 * c + 7].mean((0, 1)) for c in range(6)] for r in range(4)]).reshape(24, 3)
    d50, d65 = optics.white_xyz(optics.D50_XY), optics.white_xyz(optics.D65_XY)
    lab = optics.xyz_to_lab(got @ np.linalg.inv(optics.XYZ_TO_RGB).T @ optics.bradford(d65, d50).T, d50)
    want = np.array([optics.tables()["patch_lab_d50"][n] for n in names])
    off = optics.delta_e00(lab, want)
    return _say("chart", bool((off[inside] <= 1.0).all() and inside.sum() >= 20), f"{inside.sum()} of 24 patches in gamut, ΔE00 mean {off[inside].mean():.3f}, worst {off[inside].max():.3f}; out of gamut: {', '.join(n for n, i in zip(names, inside) if not i)}")


def spectral(mi) -> bool:
    """A flat patch under a lamp through Mitsuba's spectral film against the integral over the tables."""
    mi.set_variant("scalar_spectral")
    good = True
    w = ", ".join(f"{v:.0f}" for v in optics.nm())
    for key, lamp_name in (("npl-a", "D65"), ("npl-b", "LED-B3")):
        band = photo.SpectralBand(key)
        lamp = optics.illuminant(lamp_name)
        ratios = []
        for patch in ("red", "cyan", "foliage"):
            r = optics.tables()["patches"][patch]
            out = []
            for values in (r, np.full_like(r, 0.5)):
                scene = mi.load_dict({"type": "scene", "integrator": {"type": "direct"}, "plate": {"type": "rectangle", "bsdf": {"type": "diffuse", "reflectance": {"type": "irregular", "wavelengths": w, "values": ", ".join(f"{v:.6g}" for v in values)}}},
                                      "light": {"type": "constant", "radiance": {"type": "irregular", "wavelengths": w, "values": ", ".join(f"{v:.6g}" for v in lamp)}},
                                      "sensor": {"type": "perspective", "fov": 10, "to_world": mi.ScalarTransform4f().look_at(origin=[0, 0, 4], target=[0, 0, 0], up=[0, 1, 0]), "film": {"width": 16, "height": 16, "rfilter": {"type": "box"}, **band.film()}}})
                out.append(np.asarray(mi.render(scene, spp=512, seed=5)).mean((0, 1))[:3])
            want = band._of(r * lamp) / band._of(np.full_like(r, 0.5) * lamp)
            ratios.append(np.abs(out[0] / out[1] / want - 1).max())
        good &= _say("spectral sensor", max(ratios) < 0.02, f"{key} under {lamp_name}: bands within {100 * max(ratios):.2f} % of the integral (Monte Carlo, limit 2 %)")
    return good


# ----------------------------------------------------------------------------- sharpness


def sfr(edge: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Spatial frequency response of a near-vertical edge after ISO 12233: frequencies (cycles/px) and MTF."""
    lines, width = edge.shape
    grad = np.abs(np.diff(edge, axis=1))
    grad = np.where(grad > 0.05 * grad.max(), grad, 0)
    where = (grad * (np.arange(width - 1) + 0.5)).sum(axis=1) / grad.sum(axis=1)
    fit = np.polyfit(np.arange(lines), where, 1)
    at = np.arange(width)[None, :] - np.polyval(fit, np.arange(lines))[:, None]
    at = at * np.cos(np.arctan(fit[0]))
    half = 14
    bins = np.floor((at + half) * 4).astype(int)
    ok = (bins >= 0) & (bins < 8 * half)
    total, count = np.bincount(bins[ok], edge[ok], 8 * half), np.bincount(bins[ok], minlength=8 * half)
    esf = total / np.maximum(count, 1)
    lsf = np.diff(esf)
    lsf = lsf * (0.54 + 0.46 * np.cos(np.pi * (np.arange(len(lsf)) - len(lsf) / 2) / (len(lsf) / 2)))
    mtf = np.abs(np.fft.rfft(lsf))
    f = np.fft.rfftfreq(len(lsf), 0.25)
    fix = np.sinc(f / 4) ** 2  # the difference and the bins themselves
    return f, mtf / mtf[0] / np.maximum(fix, 0.2)


def predicted(f: np.ndarray, confusion_px: float, spline: bool, more_sigma: float) -> np.ndarray:
    """MTF of pixel filter, defocus disc, resampling and Gaussian softness."""
    m = np.exp(-2 * (np.pi * 0.45 * f) ** 2)
    x = np.pi * confusion_px * f
    m = m * np.where(x > 1e-6, 2 * j1(x) / np.maximum(x, 1e-6), 1)
    if spline:
        m = m * (2 + np.cos(2 * np.pi * f)) / 3  # the B-spline at whole pixels
    if more_sigma <= 0.6:  # three taps of that variance, as `sensor.lens` uses
        return np.abs(m) * (1 - (more_sigma**2 if more_sigma > 0.08 else 0.0) * (1 - np.cos(2 * np.pi * f)))
    return np.abs(m) * np.exp(-2 * (np.pi * more_sigma * f) ** 2)


def edges(mi) -> bool:
    """Slanted edges through the thin lens, sharp and out of focus, with and without the lens's softness."""
    good = True
    for name, miss, soft, camera in (("in focus", 0.0, False, None), ("out of focus", 0.45, False, None), ("in focus, a good lens", 0.0, True, world.cameras("calibration")[0]), ("in focus, a soft lens", 0.0, True, world.cameras("test")[4]), ("out of focus, a soft lens", 0.25, True, world.cameras("test")[4])):
        focal, distance, n = 260.0, 200.0, 96
        view = sensor.look(np.array([0, 0, distance]), np.zeros(3), 0.0, np.array([0.0, 1, 0]), focal_px=focal, width=n, height=n, k1=0.0, aperture_mm=2.0, focus_mm=distance * (1 + miss))
        t = mi.ScalarTransform4f()
        shine = (lambda v: {"type": "area", "radiance": {"type": "rgb", "value": v}})
        scene = {"white": {"type": "rectangle", "to_world": t.scale([400, 400, 1]), "emitter": shine(0.8)},
                 "dark": {"type": "rectangle", "to_world": t.translate([0, 0, 0.01]) @ t.rotate([0, 0, 1], 5.3) @ t.translate([200, 0, 0]) @ t.scale([200, 400, 1]), "emitter": shine(0.1)}}
        a = photo.render(mi, scene, view, 256, 7, False)
        more = 0.0
        if soft:
            a = sensor.lens(np.ascontiguousarray(a), camera, 0.0)
            more = sensor.further_softness(camera)
        f, m = sfr(a[12:-12, :, 1])
        c = float(view.confusion_px(np.zeros((1, 3)))[0])
        want = predicted(f, c, soft, more)
        band = (f > 0.02) & (f < 0.45) & (want > 0.1)
        off = np.abs(m - want)[band].max()

        def fifty(v):
            i = int(np.argmax(v < 0.5))
            return f[i - 1] + (v[i - 1] - 0.5) / (v[i - 1] - v[i]) * (f[i] - f[i - 1])

        got50, want50 = fifty(m), fifty(want)
        good &= _say("slanted edge", bool(abs(got50 / want50 - 1) < 0.05 and off < 0.05), f"{name}: circle of confusion {c:.2f} px, MTF50 {got50:.4f} cycles/px, predicted {want50:.4f} ({100 * (got50 / want50 - 1):+.1f} %), largest difference {off:.3f}")
    return good


def run(variant: str, out: Path | None) -> int:
    """All of it."""
    import mitsuba as mi

    mi.set_variant("scalar_rgb" if variant == "llvm_ad_rgb" else variant)
    begun, good = time.time(), True
    for a, b in (("calibration", "development"), ("calibration", "test"), ("development", "test")):
        both = world.shared(a, b)
        good &= _say("families", not both, f"{a} and {b} share {'nothing' if not both else ', '.join(both)}")
    pairs = np.array([[[50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485]], [[50.0, -1.3802, -84.2814], [50.0, 0.0, -82.7485]], [[2.0776, 0.0795, -1.1350], [0.9033, -0.0636, -0.5514]]])
    off = optics.delta_e00(pairs[:, 0], pairs[:, 1])
    good &= _say("ΔE00", bool(np.abs(off - [2.0425, 1.0000, 0.9082]).max() < 1e-4), f"pairs 1, 4 and 34 of Sharma, Wu and Dalal give {np.round(off, 4).tolist()}")
    d65 = optics.xyz(optics.daylight(6504))
    good &= _say("daylight", bool(np.abs(d65[:2] / d65.sum() - [0.3127, 0.3290]).max() < 0.001), f"CIE daylight at 6504 K has chromaticity {d65[0] / d65.sum():.4f}, {d65[1] / d65.sum():.4f}")
    a = optics.xyz(optics.planck(2856))
    good &= _say("radiator", bool(np.abs(a[:2] / a.sum() - [0.4476, 0.4074]).max() < 0.001), f"a radiator at 2856 K has chromaticity {a[0] / a.sum():.4f}, {a[1] / a.sum():.4f}")
    good &= furnace(mi)
    good &= chart(mi)
    good &= edges(mi)
    good &= spectral(mi)
    for name in plan.SIZES:
        cases = plan.cases(name)
        shots = [p for c in cases for p in c.photos]
        twice = np.mean([800 <= p.long_px <= 2000 and len(p.qualities) > 1 for p in shots])
        good &= _say("plan", len(shots) == plan.SIZES[name] and twice >= 0.6, f"{name}: {len(cases)} cases, {len(shots)} photos, {100 * twice:.0f} % of 800 to 2,000 px and stored twice")
    print(f"{'all as expected' if good else 'something is off'}, {time.time() - begun:.0f} s")
    return 0 if good else 1
