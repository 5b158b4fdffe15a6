"""One photo: items on a table under a light, rendered, developed, and its truth.

In: a `Shot`. Out: JPEG bytes and the photo's truth. Light, camera, table and pose come from the shot's
seed words and its kind of view, never from an item's state.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

import box_mesh
import camera as cam
import lights
import materials
import pack_mesh
from catalogue import FILM_MARK_MM, Make
from common import BOX_MM, PACK_MM, rng
from damage import History
from faces import face_size
from truth import homography, local_scale, rounded


@dataclass(frozen=True)
class Item:
    """One physical thing."""

    identity: str
    form: str
    release: str
    print_of: str = ""
    """Suffix of its print layers: empty for genuine print, else the maker's."""
    make: Make | None = None
    history: History = field(default_factory=History)
    film_mark: bool = True


@dataclass(frozen=True)
class Placed:
    """An item as it lies in a shot: which face is up, where on the table (mm), turned by degrees."""

    item: Item
    name: str
    up: str
    at: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Cover:
    """Something over one end of a pack: `fingers` or `sticker`."""

    kind: str
    item: str
    end: str


@dataclass(frozen=True)
class Shot:
    """One photo to take."""

    seed: str
    placed: tuple[Placed, ...]
    long_px: int
    quality: tuple[int, int]
    camera: str
    light: str
    view: str = "whole"
    """`whole`, `top-end`, `bottom-end`, `cut-off` (both ends out of the frame), `corner` (box) or `corner-under`."""
    cover: Cover | None = None


def _load(prints: Path, item: Item, face: str) -> tuple[Image.Image, Image.Image | None]:
    stem = f"{item.release}-{item.form}-{face}" + (f"-{item.print_of}" if item.print_of else "")
    ink = Image.open(prints / f"{stem}.jpg").convert("RGB")
    metal = prints / f"{stem}.metal.png"
    return ink, (Image.open(metal).convert("L") if metal.exists() else None)


def _mesh(mi, name, sheet, size_mm, bsdf, flip):
    rows, cols, _ = sheet.xyz.shape
    faces = pack_mesh.triangles(rows, cols, flip)
    normals = pack_mesh.grid_normals(sheet.xyz, flip)
    props = mi.Properties()
    props["mesh_bsdf"] = mi.load_dict(bsdf)
    mesh = mi.Mesh(name, rows * cols, len(faces), has_vertex_normals=True, has_vertex_texcoords=True, props=props)
    p = mi.traverse(mesh)
    p["vertex_positions"] = sheet.xyz.astype(np.float32).ravel()
    p["vertex_normals"] = normals.astype(np.float32).ravel()
    uv = sheet.uv_mm / np.asarray(size_mm, np.float32)
    p["vertex_texcoords"] = uv.astype(np.float32).ravel()
    p["faces"] = faces.astype(np.uint32).ravel()
    p.update()
    return mesh


def _turn(axis: str, degrees: float) -> np.ndarray:
    a = np.deg2rad(degrees)
    c, s = np.cos(a), np.sin(a)
    return {"x": np.array([[1, 0, 0], [0, c, -s], [0, s, c]]), "y": np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]), "z": np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])}[axis]


BOX_UP = {
    # turns that bring a face up (z) with its own top towards +y
    "top": np.eye(3),
    "bottom": _turn("x", 180),
    "front": _turn("x", -90),
    "back": _turn("z", 180) @ _turn("x", 90),
    "left": _turn("z", 90) @ _turn("y", 90),
    "right": _turn("z", -90) @ _turn("y", -90),
    "stand": np.eye(3),
    "stand-under": _turn("x", 180),
}


class Body:
    """The meshes of a placed item in the world."""

    def __init__(self, mi, placed: Placed, prints: Path, fine: float):
        item = placed.item
        self.placed, self.sheets, self.shapes = placed, {}, {}
        if item.form == "pack":
            mesh = pack_mesh.build(item.identity, item.make, item.history, fine, placed.up)
            pose = np.eye(3) if placed.up == "front" else _turn("y", 180)
            parts = {"front": mesh.front, "back": mesh.back}
        else:
            parts = box_mesh.build(item.identity, item.history.wear)
            pose = BOX_UP[placed.up]
        pose = _turn("z", placed.turn_deg) @ pose
        low = min(float((s.xyz[::3, ::3] @ pose.T)[..., 2].min()) for s in parts.values())
        move = np.array([placed.at[0], placed.at[1], -low + 0.05])
        g = rng(item.identity, "print")
        for face, sheet in parts.items():
            world = pack_mesh.Sheet3((sheet.xyz @ pose.T + move).astype(np.float32), sheet.uv_mm)
            self.sheets[face] = world
            size = face_size(item.form, face)
            hidden = {"front": "back", "back": "front"}.get(placed.up) == face if item.form == "pack" else False
            if hidden:  # lies on the table
                plain = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.25}}}
                self.shapes[f"{placed.name}_{face}"] = _mesh(mi, face, world, size, plain, face == "back")
                continue
            ink, metal = _load(prints, item, face)
            if item.form == "pack":
                k = ink.size[0] / size[0]
                shift = tuple(int(round((d + g.normal(0, 0.12)) * k)) for d in item.history.print_shift_mm)
                gloss = 0.13 + 0.05 * g.random()
                bsdf = materials.foil(mi, ink, metal, mesh.haze[face], mesh.rub[face], mesh.dull[face], shift, gloss, 0.25 * item.history.wear**2)
            else:
                if item.film_mark:
                    ink = box_mesh.marked(ink, FILM_MARK_MM, size, item.identity, face)
                bsdf = materials.board(mi, materials.to_linear(np.asarray(ink)))
            self.shapes[f"{placed.name}_{face}"] = _mesh(mi, face, world, size, bsdf, item.form == "pack" and face == "back")

    def surface(self, face: str, mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """World points and normals of flat face points (n, 2), by the nearest grid vertex."""
        s = self.sheets[face]
        u, v = s.uv_mm[..., 0], s.uv_mm[..., 1]
        mid = u.shape[0] // 2
        order = np.argsort(u[mid])
        c = order[np.clip(np.searchsorted(u[mid][order], mm[:, 0]), 0, len(order) - 1)]
        col = u.shape[1] // 2
        r = np.clip(np.searchsorted(v[:, col], mm[:, 1]), 0, v.shape[0] - 1)
        normals = pack_mesh.grid_normals(s.xyz, self.placed.item.form == "pack" and face == "back")
        return s.xyz[r, c].astype(float), normals[r, c].astype(float), s.uv_mm[r, c].astype(float)


def _frame(shot: Shot, bodies: list[Body], camera: cam.Camera, g) -> cam.View:
    """Where the camera stands."""
    portrait = True
    box = shot.placed[0].item.form == "box"
    spread = np.ptp([b.placed.at[0] for b in bodies]) if len(bodies) > 1 else 0.0
    long_px = shot.long_px
    short_px = int(round(long_px * (0.75 if g.random() < 0.7 else 0.8)))
    angle = abs(g.normal(0, 15)) if g.random() < 0.85 else g.uniform(28, 42)
    angle = min(angle, 44.0)
    phi = g.uniform(0, 2 * np.pi)
    roll = g.normal(0, 4) + (0 if g.random() < 0.9 else g.choice([-1, 1]) * g.uniform(8, 20))
    fill = g.uniform(0.78, 0.92)
    if shot.view == "cut-off":
        angle, roll = min(angle, 12.0), float(np.clip(roll, -5, 5))
    target = np.array([g.normal(0, 1.5), g.normal(0, 1.5), 3.0])
    up = None
    if shot.view in ("corner", "corner-under"):
        side = 1 if shot.view == "corner" else -1
        a, e = np.deg2rad(g.uniform(40, 50)), np.deg2rad(g.uniform(33, 40))
        direction = np.array([side * np.sin(a) * np.cos(e), -np.cos(a) * np.cos(e), np.sin(e)])
        target = np.array([0, 0, BOX_MM[1] / 2])
        extent, portrait, up = 215.0, False, np.array([0, 0, 1.0])
        roll *= 0.5
    else:
        angle_r = np.deg2rad(angle)
        direction = np.array([np.sin(angle_r) * np.cos(phi), np.sin(angle_r) * np.sin(phi), np.cos(angle_r)])
        if box:
            w, h = face_size("box", shot.placed[0].up)
            extent = max(w, h) * 1.2
            portrait = h > w
            target[2] = 0.97 * max(s.xyz[..., 2].max() for s in bodies[0].sheets.values())
        elif spread:
            extent, portrait = max(spread + PACK_MM[0], 112 * 1.3), spread + PACK_MM[0] < 112
            target[0] = np.mean([b.placed.at[0] for b in bodies])
        elif shot.view in ("top-end", "bottom-end"):
            extent, portrait = 76.0, False
            target[1] += 33.0 if shot.view == "top-end" else -33.0
            target[:2] = _turn("z", bodies[0].placed.turn_deg)[:2, :2] @ target[:2]
        elif shot.view == "cut-off":
            extent = 63.0
        else:
            extent = PACK_MM[1]
    width, height = (short_px, long_px) if portrait else (long_px, short_px)
    focal = long_px / 2 / np.tan(np.deg2rad(camera.fov_deg) / 2)
    if up is not None:  # one steps back from a box
        focal *= 1.5
    distance = extent * focal / (fill * long_px)
    origin = target + distance * direction
    if up is not None:
        f = -direction
        right = np.cross(f, up)
        right /= np.linalg.norm(right)
        return cam.View(origin, right, np.cross(f, right), f, focal, width, height, camera.k1)
    return cam.look(origin, target, roll, focal, width, height, camera.k1)


def _cover(mi, cover: Cover, bodies: list[Body], g) -> dict:
    """Fingers or a sticker over one end of a pack."""
    body = next(b for b in bodies if b.placed.name == cover.item)
    face = body.placed.up
    y = 0.0 if cover.end == "top" else PACK_MM[1]
    out = {}
    if cover.kind == "sticker":
        lo, hi = (0.0, 15.5) if cover.end == "top" else (PACK_MM[1] - 15.5, PACK_MM[1])
        s = body.sheets[face]
        v = s.uv_mm[:, s.uv_mm.shape[1] // 2, 1]
        rows = (v > lo - 1) & (v < hi + 1)
        lifted = s.xyz[rows].copy()
        lifted[..., 2] = np.maximum(lifted[..., 2] + 0.35, np.percentile(lifted[..., 2], 85, axis=1, keepdims=True) * 0.5 + lifted[..., 2] * 0.5 + 0.35)
        tone = [(0.82, 0.80, 0.72), (0.85, 0.72, 0.22), (0.75, 0.78, 0.82)][g.integers(3)]
        out["sticker"] = _mesh(mi, "sticker", pack_mesh.Sheet3(lifted, s.uv_mm[rows]), PACK_MM, {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": list(tone)}}}, face == "back")
        return out
    skin = [(0.62, 0.38, 0.28), (0.42, 0.24, 0.16), (0.72, 0.48, 0.38)][g.integers(3)]
    bsdf = mi.load_dict({"type": "roughplastic", "alpha": 0.35, "diffuse_reflectance": {"type": "rgb", "value": list(skin)}})
    inward = -1.0 if cover.end == "top" else 1.0
    for i, u in enumerate(np.array([8.0, 24.5, 41.0, 57.5]) + g.normal(0, 1.2, 4)):
        p = body.surface(face, np.array([[u, y]]))[0][0]
        tip = p + np.array([0, inward * g.uniform(9, 15), 0])
        back = tip - np.array([0, inward * 45.0, -14.0])
        for j, q in enumerate(np.linspace(0, 1, 26)):
            c = tip + (back - tip) * q
            r = 8.6 + 0.7 * np.sin(q * 3)
            out[f"finger{i}_{j}"] = {"type": "sphere", "center": [float(c[0]), float(c[1]), float(max(c[2] + 5.0, r))], "radius": float(r), "bsdf": bsdf}
    return out


def take(mi, shot: Shot, prints: Path, spp: int, scale: float = 1.0, fine: float = 0.1) -> tuple[bytes, dict]:
    """Render and develop one photo; returns JPEG bytes and its truth."""
    camera = next(c for c in cam.CAMERAS if c.name == shot.camera)
    g = rng(shot.seed, "pose")
    bodies = [Body(mi, p, prints, fine) for p in shot.placed]
    view = _frame(shot if scale == 1.0 else Shot(**{**shot.__dict__, "long_px": int(shot.long_px * scale)}), bodies, camera, g)
    kinds = rng(shot.seed, "table")
    emitters, kelvin = lights.rig(mi, shot.light, rng(shot.seed, "light"), view, 2.2 if shot.view.startswith("corner") else 1.0)
    t = mi.ScalarTransform4f()
    fov = float(np.rad2deg(2 * np.arctan(view.width / 2 / view.focal_px)))
    target = view.origin + view.forward * 100
    scene = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 6},
        "sensor": {
            "type": "perspective", "fov": fov, "fov_axis": "x", "near_clip": 1.0, "far_clip": 1e5,
            "to_world": t.look_at(origin=[float(v) for v in view.origin], target=[float(v) for v in target], up=[float(v) for v in -view.down]),
            "film": {"type": "hdrfilm", "width": view.width, "height": view.height, "pixel_format": "rgb", "component_format": "float32", "rfilter": {"type": "gaussian", "stddev": 0.45}},
            "sampler": {"type": "independent", "sample_count": 32},
        },
        "table": {"type": "rectangle", "to_world": t.rotate([0, 0, 1], float(kinds.uniform(0, 360))) @ t.translate([float(v) for v in kinds.uniform(-120, 120, 2)] + [0.0]) @ t.scale([350, 350, 1]),
                  "bsdf": materials.table(mi, materials.TABLES[kinds.integers(len(materials.TABLES))], kinds)},
        "floor": {"type": "rectangle", "to_world": t.translate([0, 0, -700]) @ t.scale([4000, 4000, 1]), "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.3}}},
    }
    phone = view.origin - view.forward * 14
    scene["phone"] = {"type": "rectangle", "to_world": t.look_at(origin=[float(v) for v in phone], target=[float(v) for v in target], up=[float(v) for v in -view.down]) @ t.scale([38, 75, 1]),
                      "bsdf": {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.03}}}}
    scene.update(emitters)
    for b in bodies:
        scene.update(b.shapes)
    if shot.cover:
        scene.update(_cover(mi, shot.cover, bodies, rng(shot.seed, "cover")))
    loaded = mi.load_dict(scene)
    passes = max(1, (spp + 31) // 32)
    image = 0.0
    for k in range(passes):
        image = image + np.asarray(mi.render(loaded, spp=min(spp, 32), seed=int(rng(shot.seed, "sampler").integers(1 << 30)) + k), dtype=np.float32)
    image = np.nan_to_num(image / passes)
    codes = cam.develop(image[..., :3], camera, lights.blackbody(kelvin), view.k1, rng(shot.seed, "camera"))
    data = cam.jpeg(codes, shot.quality, rng(shot.seed, "jpeg"))
    return data, {"camera": shot.camera, "light": shot.light, "faces": _faces_truth(mi, loaded, view, bodies)}


def _faces_truth(mi, scene, view: cam.View, bodies: list[Body]) -> list[dict]:
    """Homographies and visible shares of every face that looks at the camera."""
    out = []
    for b in bodies:
        item = b.placed.item
        for face in b.sheets:
            w, h = face_size(item.form, face)
            gu, gv = np.meshgrid(np.linspace(0.7, w - 0.7, 33), np.linspace(0.7, h - 0.7, 57))
            xyz, normal, mm = b.surface(face, np.c_[gu.ravel(), gv.ravel()])
            sight = view.origin - xyz
            dist = np.linalg.norm(sight, axis=1)
            sight /= dist[:, None]
            middle = np.argmin(np.hypot(mm[:, 0] - w / 2, mm[:, 1] - h / 2))
            near = np.hypot(mm[:, 0] - w / 2, mm[:, 1] - h / 2) < 12
            axis = normal[near].mean(0)
            axis /= np.linalg.norm(axis)
            cosine = float(axis @ sight[middle])
            if cosine < 0.12:
                continue
            px = view.project(xyz)
            inside = (px[:, 0] >= 0) & (px[:, 0] <= view.width - 1) & (px[:, 1] >= 0) & (px[:, 1] <= view.height - 1)
            start = xyz + 0.2 * sight
            hit = scene.ray_test(mi.Ray3f(mi.Point3f(*start.T.astype(np.float32)), mi.Vector3f(*sight.T.astype(np.float32)), (dist - 20.0).astype(np.float32), 0.0, []))
            seen = inside & ~np.asarray(hit).astype(bool)
            entry = {"item": b.placed.name, "face": face}
            if item.form == "pack":
                s = item.make.seal_mm
                body = (mm[:, 1] > s + 3) & (mm[:, 1] < h - s - 3) & (mm[:, 0] > 3) & (mm[:, 0] < w - 3)
                ends = {"top": mm[:, 1] < s, "bottom": mm[:, 1] > h - s}
                m = homography(mm[body], px[body])
                seal = ends["top"] | ends["bottom"]
                entry["mm_to_px"] = rounded(m)
                entry["seal_mm_to_px"] = rounded(homography(mm[seal], px[seal]))
                entry["seals_visible"] = {k: round(float(seen[v].mean()), 3) for k, v in ends.items()}
            else:
                m = homography(mm, px)
                entry["mm_to_px"] = rounded(m)
            entry["px_per_mm"] = round(local_scale(m, (w / 2, h / 2)), 3)
            entry["angle_deg"] = round(float(np.rad2deg(np.arccos(np.clip(cosine, -1, 1)))), 2)
            entry["visible"] = round(float(seen.mean()), 3)
            if entry["visible"] > 0.02:
                out.append(entry)
    return out


__all__ = ["Body", "Cover", "Item", "Placed", "Shot", "take"]
