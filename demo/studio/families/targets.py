"""The target set: gratings of known pitch and modulation, slanted edges, the 24-patch chart, flat and curved.

One plate of 180 x 130 mm carries them all; it lies flat or on a cylinder, under every camera and two
lights of every family. Truth: where each field lies on the plate (mm), what it holds, and the plate's
homography (flat) or a grid of points in mm and pixels (both).
"""
from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np

from common import rng
from families import lamps, materials, optics, photo, plan, seller, sensor, texts, world
from families.pack import Sheet3
from families.photo import Shot
from truth import homography, local_scale, rounded

SIZE_MM = (180.0, 130.0)
PX_PER_MM = 24
PITCHES_MM = (0.5, 0.7, 0.9, 1.1, 1.4, 1.8, 2.4)
MODULATIONS = (0.08, 0.25, 0.8)
CURVES_MM = {"flat": 0.0, "gentle": 120.0, "tight": 85.0}
"""Radius of the cylinder."""


def fields() -> list[dict]:
    """Every field of the plate: kind, rectangle (mm), content."""
    out = []
    names, rgb = optics.patch_rgb()
    for i, name in enumerate(names):
        lab = optics.tables()["patch_lab_d50"][name]
        out.append({"kind": "patch", "name": name, "rect_mm": [6 + 14.0 * (i % 6), 6 + 14.0 * (i // 6), 12.0, 12.0], "lab_d50": [float(v) for v in lab], "in_gamut": bool(((rgb[i] > 0) & (rgb[i] < 1)).all())})
    for r, modulation in enumerate(MODULATIONS):
        for c, pitch in enumerate(PITCHES_MM):
            out.append({"kind": "grating", "pitch_mm": pitch, "modulation": modulation, "mean": 0.35, "direction": "along" if (r + c) % 2 else "across", "rect_mm": [6 + 24.0 * c, 66 + 20.0 * r, 22.0, 18.0]})
    for k, (x, lean) in enumerate(((96, 5.0), (136, -5.0))):
        out.append({"kind": "edge", "lean_deg": lean, "low": 0.08, "high": 0.7, "rect_mm": [float(x), 6.0, 34.0, 24.0]})
        out.append({"kind": "edge", "lean_deg": 90 + lean, "low": 0.08, "high": 0.7, "rect_mm": [float(x), 34.0, 34.0, 24.0]})
    return out


def plate() -> np.ndarray:
    """Linear reflectances of the plate."""
    w, h = (int(v * PX_PER_MM) for v in SIZE_MM)
    a = np.full((h, w, 3), 0.45, np.float32)
    _, rgb = optics.patch_rgb()
    patch = iter(np.clip(rgb, 0, 1))
    for f in fields():
        x, y, fw, fh = f["rect_mm"]
        i0, i1, j0, j1 = (int(round(v * PX_PER_MM)) for v in (y, y + fh, x, x + fw))
        yy, xx = (np.mgrid[i0:i1, j0:j1] + 0.5) / PX_PER_MM
        if f["kind"] == "patch":
            a[i0:i1, j0:j1] = next(patch)
        elif f["kind"] == "grating":
            s = xx - x if f["direction"] == "along" else yy - y
            a[i0:i1, j0:j1] = (f["mean"] * (1 + f["modulation"] * np.sin(2 * np.pi * s / f["pitch_mm"])))[..., None]
        else:
            t = np.deg2rad(f["lean_deg"])
            side = (xx - x - fw / 2) * np.cos(t) + (yy - y - fh / 2) * np.sin(t)
            a[i0:i1, j0:j1] = np.clip(0.5 + side * PX_PER_MM, 0, 1)[..., None] * (f["high"] - f["low"]) + f["low"]
    return a


def sheet(radius: float) -> Sheet3:
    """The plate as a mesh in the world: flat, or on a cylinder about the y axis, highest in the middle."""
    w, h = SIZE_MM
    u, v = np.meshgrid(np.linspace(0, w, 181), np.linspace(0, h, 27))
    if radius:
        a = (u - w / 2) / radius
        x, z = radius * np.sin(a), radius * (np.cos(a) - 1)
        z = z - z.min() + 0.2
    else:
        x, z = u - w / 2, np.full_like(u, 0.2)
    return Sheet3(np.stack([x, h / 2 - v, z], -1), np.stack([u, v], -1))


def render(root: Path, variant: str, spp: int, scale: float) -> int:
    """Renders every target photo that is missing and writes truth.json."""
    import mitsuba as mi

    mi.set_variant(variant)
    texture, begun, truth = None, time.time(), {"schema": "untorn.studio-targets/1", "size_mm": list(SIZE_MM), "fields": fields(), "photos": {}}
    root.mkdir(parents=True, exist_ok=True)
    for family in world.FAMILIES:
        for k, camera in enumerate(world.cameras(family)):
            for n, (curve, radius) in enumerate(CURVES_MM.items()):
                light = lamps.LIGHTS[(2 * k + 3 * n) % len(lamps.LIGHTS)]
                name = f"{family}-{camera.id}-{curve}"
                path, seed = root / f"{name}.jpg", f"targets/{name}"
                g = rng(seed, "pose")
                shot = Shot(seed, family, (), "whole", int(1600 * scale) // 4 * 4, camera.id, light, float(g.random()), float(g.random()), float(g.uniform(-1, 1)), float(g.uniform(0, 25)), float(g.uniform(0, 360)), float(g.normal(0, 3)), 0.9, float(g.uniform(0, 0.7)), "paper")
                tilt, phi = np.deg2rad(shot.tilt_deg), np.deg2rad(shot.phi_deg)
                direction = np.array([np.sin(tilt) * np.cos(phi), np.sin(tilt) * np.sin(phi), np.cos(tilt)])
                s = sheet(radius)
                focal = shot.long_px / 2 / np.tan(np.deg2rad(camera.fov_deg) / 2)
                distance = SIZE_MM[0] * focal / (shot.fill * shot.long_px)
                target = np.array([0, 0, float(s.xyz[..., 2].max()) * 0.7])
                view = sensor.look(target + distance * direction, target, shot.roll_deg, np.array([0.0, 1, 0]), focal_px=focal, width=shot.long_px, height=int(shot.long_px * 0.75) // 2 * 2, k1=camera.k1, aperture_mm=camera.focal_mm / camera.f_number / 2, focus_mm=float(distance))
                rig_seed = rng(seed, "light")
                if not path.exists():
                    texture = plate() if texture is None else texture
                    rig = lamps.rig(mi, family, light, 2 * np.pi * shot.azimuth, rig_seed, view)
                    mesh = photo._mesh(mi, "plate", s, s.uv / np.asarray(SIZE_MM), {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": materials.bitmap(mi, texture)}})
                    t = mi.ScalarTransform4f()
                    table = {"type": "rectangle", "to_world": t.scale([350, 350, 1]), "bsdf": materials.table(mi, family, "paper", rng(seed, "table"))}
                    image = photo.render(mi, {"plate": mesh, "table": table, **rig.emitters}, view, spp, int(rng(seed, "sampler").integers(1 << 30)), False)
                    codes = sensor.develop(image, camera, optics.lamp_rgb(rig.spectrum), camera.k1, 0.3 * shot.ev, shot.wb, rng(seed, "camera"))
                    data, _, _ = seller.finish(plan.Photo([shot], "single", 1600, (92, 88), False), [codes], seed, 1, scale)
                    path.write_bytes(data)
                    print(f"[{time.time() - begun:.0f} s] {path.name} {len(data) // 1024} kB", flush=True)
                xyz, mm = s.xyz[::2, ::10].reshape(-1, 3), s.uv[::2, ::10].reshape(-1, 2)
                px = view.project(xyz)
                entry = {"camera": camera.id, "light": light, "radius_mm": radius, "tilt_deg": round(shot.tilt_deg, 2), "grid_mm": np.round(mm, 3).tolist(), "grid_px": np.round(px, 3).tolist()}
                if not radius:
                    m = homography(mm, px)
                    entry |= {"mm_to_px": rounded(m), "px_per_mm": round(local_scale(m, (SIZE_MM[0] / 2, SIZE_MM[1] / 2)), 3)}
                truth["photos"][path.name] = entry
    texts.write_text(root / "truth.json", json.dumps(truth, separators=(",", ":")) + "\n")
    print(f"{len(truth['photos'])} target photos in {root}, {time.time() - begun:.0f} s")
    return 0
