"""One photo: items on a table under a light, rendered, developed, and its truth.

In: a `Shot`, which says everything that the design chose; what is left to chance comes from its seed.
Out: sRGB codes and the truth of every face. No function here knows a state.
"""
from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from PIL import Image

from common import rng
from families import art, box, covers, lamps, materials, optics, pack, sensor, world
from families.history import History
from families.pack import Sheet3
from truth import homography, local_scale, rounded

PX_PER_MM = {"pack": 12.0, "box": 9.0}
"""Resolution of the print layers."""


@dataclass(frozen=True)
class Item:
    """One physical thing."""

    identity: str
    family: str
    line: str
    release: str
    form: str
    make: world.Make | None
    history: History = field(default_factory=History)
    forgery: art.Forgery = art.GENUINE
    film_fake: float = 0.0
    """How far a counterfeit box's film is off."""
    gloss: float = 0.15

    def known(self) -> tuple[world.Line, world.Release]:
        """Its line and release."""
        return world.find(self.family, self.line, self.release)


@dataclass(frozen=True)
class Placed:
    """An item as it lies: which face is up, where (mm), turned by degrees."""

    item: Item
    name: str
    up: str
    at: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Shot:
    """One exposure; fields in 0..1 are places within a range."""

    seed: str
    family: str
    placed: tuple[Placed, ...]
    view: str
    """`whole`, `top-end`, `bottom-end`, `cut-off`, `corner`, `corner-under`, `face`, `lot`."""
    long_px: int
    camera: str
    light: str
    azimuth: float
    wb: float
    ev: float
    tilt_deg: float
    phi_deg: float
    roll_deg: float
    fill: float
    focus: float
    table: str
    sleeve: str = "none"
    hide: str = "none"
    hide_end: str = "top"

    @property
    def sitting(self) -> str:
        """Photos of one case share table, lamp and sleeve."""
        return self.seed.split("/")[0]


# ----------------------------------------------------------------------------- prints


def print_layers(item: Item, face: str, folder: Path) -> tuple[Image.Image, Image.Image]:
    """Ink and metal of a face; genuine print is kept in `folder`."""
    line, release = item.known()
    scale = PX_PER_MM[item.form]
    if item.forgery != art.GENUINE:
        ink, metal, _ = art.face(line, release, item.form, face, item.forgery, scale)
        return ink, metal
    stem = folder / f"{line.id}-{release.id}-{item.form}-{face}"
    ink_at, metal_at = stem.with_suffix(".ink.png"), stem.with_suffix(".metal.png")
    if not (ink_at.exists() and metal_at.exists()):
        folder.mkdir(parents=True, exist_ok=True)
        ink, metal, _ = art.face(line, release, item.form, face, art.GENUINE, scale)
        for image, path in ((ink, ink_at), (metal, metal_at)):
            part = path.with_suffix(f".{os.getpid()}.part")
            image.save(part, "PNG", compress_level=1)
            part.replace(path)
    return Image.open(ink_at).convert("RGB"), Image.open(metal_at).convert("L")


# ----------------------------------------------------------------------------- bodies


def _mesh(mi, name: str, sheet: Sheet3, uv: np.ndarray, bsdf, flip=False, missing: np.ndarray | None = None):
    rows, cols, _ = sheet.xyz.shape
    i = np.arange(rows * cols, dtype=np.uint32).reshape(rows, cols)
    a, b, c, d = i[:-1, :-1].ravel(), i[:-1, 1:].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel()
    faces = np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])
    if flip:
        faces = faces[:, ::-1]
    if missing is not None and missing.any():
        faces = faces[~missing.ravel()[faces].any(axis=1)]
    props = mi.Properties()
    props["mesh_bsdf"] = mi.load_dict(bsdf) if isinstance(bsdf, dict) else bsdf
    mesh = mi.Mesh(name, rows * cols, len(faces), has_vertex_normals=True, has_vertex_texcoords=True, props=props)
    p = mi.traverse(mesh)
    p["vertex_positions"] = np.ascontiguousarray(sheet.xyz, np.float32).ravel()
    p["vertex_normals"] = np.ascontiguousarray(_normals(sheet.xyz, flip), np.float32).ravel()
    p["vertex_texcoords"] = np.ascontiguousarray(uv, np.float32).ravel()
    p["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
    p.update()
    return mesh


def _normals(xyz: np.ndarray, flip: bool) -> np.ndarray:
    n = np.cross(np.gradient(xyz, axis=0), np.gradient(xyz, axis=1))
    n /= np.linalg.norm(n, axis=-1, keepdims=True) + 1e-12
    return -n if flip else n


def turn(axis: str, degrees: float) -> np.ndarray:
    """Rotation about an axis."""
    a = np.deg2rad(degrees)
    c, s = np.cos(a), np.sin(a)
    return {"x": np.array([[1, 0, 0], [0, c, -s], [0, s, c]]), "y": np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]), "z": np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])}[axis]


BOX_UP = {"top": np.eye(3), "bottom": turn("x", 180), "front": turn("x", -90), "back": turn("z", 180) @ turn("x", 90), "left": turn("z", 90) @ turn("y", 90),
          "right": turn("z", -90) @ turn("y", -90), "stand": np.eye(3), "stand-under": turn("x", 180)}
BOX_SEEN = {"stand": ("front", "right", "top"), "stand-under": ("back", "left", "bottom")}


class Body:
    """A placed item's sheets in the world, and its meshes once they are made."""

    def __init__(self, placed: Placed, fine: float, seen: bool = True):
        item = placed.item
        self.placed, self.item = placed, item
        self.line, self.release = item.known()
        self.sheets: dict[str, Sheet3] = {}
        self.film: dict[str, tuple[Sheet3, np.ndarray]] = {}
        if item.form == "pack":
            self.mesh = pack.build(item.identity, self.line, item.make, item.history, fine, placed.up if seen else None)
            pose, parts = (np.eye(3) if placed.up == "front" else turn("y", 180)), self.mesh.sheets
            skin = {}
        else:
            self.wrap = box.film_of(item.identity, self.line, self.release, item.history, item.film_fake)
            parts, skin, gone = box.build(item.identity, self.line, item.history, self.wrap)
            pose = BOX_UP[placed.up]
        self.local_pose = pose
        low = min(float((s.xyz[::3, ::3] @ pose.T)[..., 2].min()) for s in list(parts.values()) + list(skin.values()))
        self.lift = -low + 0.05
        self.pose = turn("z", placed.turn_deg) @ pose
        self.move = np.array([placed.at[0], placed.at[1], self.lift])
        for face, s in parts.items():
            self.sheets[face] = Sheet3(s.xyz @ self.pose.T + self.move, s.uv)
        for face, s in skin.items():
            self.film[face] = (Sheet3(s.xyz @ self.pose.T + self.move, s.uv), gone[face])
        self.top_mm = max(float(s.xyz[..., 2].max()) for s in self.sheets.values())

    def looked_at(self) -> tuple[str, ...]:
        """Faces that the pose turns to the camera."""
        return BOX_SEEN.get(self.placed.up, (self.placed.up,))

    def relief(self) -> covers.Relief:
        """The upper envelope in the item's own frame (before turning and moving)."""
        pts = np.concatenate([(s.xyz.reshape(-1, 3) - self.move) @ turn("z", self.placed.turn_deg) for s in self.sheets.values()])
        pts[:, 2] += self.lift
        return covers.Relief(pts, self.line.pack_mm)

    def out(self, sheet: Sheet3) -> Sheet3:
        """A sheet of the item's own frame in the world."""
        return Sheet3(sheet.xyz @ turn("z", self.placed.turn_deg).T + np.array([*self.placed.at, 0.0]), sheet.uv)

    def shapes(self, mi, folder: Path, spectral: bool) -> tuple[dict, dict]:
        """Opaque and clear meshes."""
        item, opaque, clear = self.item, {}, {}
        g = rng(item.identity, "print")
        jitter = g.normal(0, 0.12, 2)
        for face, sheet in self.sheets.items():
            size = np.asarray(self.line.face_mm(item.form, face), np.float32)
            uv = sheet.uv / size
            flip = item.form == "pack" and face == "back"
            name = f"{self.placed.name}_{face}"
            if face not in self.looked_at():
                opaque[name] = _mesh(mi, face, sheet, uv, materials.matt((0.25, 0.25, 0.25)), flip)
                continue
            ink, metal = print_layers(item, face, folder)
            if item.form == "pack":
                k = ink.size[0] / size[0]
                shift = tuple(int(round((d + j) * k)) for d, j in zip(item.history.print_shift_mm, jitter))
                bsdf = materials.foil(mi, ink, metal, self.mesh.haze, self.mesh.rub, self.mesh.dull, shift, item.gloss, item.history.fade, spectral)
            else:
                if self.wrap.mark:
                    ink = box.marked(ink, self.wrap, tuple(size), item.identity, face, self.line.emblem)
                bsdf = materials.board(mi, optics.to_linear(np.asarray(ink)), max(0.05, item.gloss * 0.6), spectral)
            opaque[name] = _mesh(mi, face, sheet, uv, bsdf, flip)
        for face in self.looked_at() if self.film else ():
            sheet, gone = self.film[face]
            clear[f"{self.placed.name}_film_{face}"] = _mesh(mi, "film", sheet, sheet.uv / np.asarray(self.line.face_mm("box", face)), materials.clear(), False, gone)
        return opaque, clear

    def surface(self, face: str, mm: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """World points, normals and exact face coordinates near flat points (n, 2), by the nearest vertex."""
        s = self.sheets[face]
        u, v = s.uv[..., 0], s.uv[..., 1]
        mid = u[u.shape[0] // 2]
        order = np.argsort(mid)
        c = order[np.clip(np.searchsorted(mid[order], mm[:, 0]), 0, len(order) - 1)]
        r = np.clip(np.searchsorted(v[:, u.shape[1] // 2], mm[:, 1]), 0, v.shape[0] - 1)
        if not hasattr(self, "_n"):
            self._n = {}
        if face not in self._n:
            self._n[face] = _normals(s.xyz, self.item.form == "pack" and face == "back")
        return s.xyz[r, c], self._n[face][r, c], s.uv[r, c]


# ----------------------------------------------------------------------------- camera


def frame(shot: Shot, bodies: list[Body], camera: world.Camera, scale: float = 1.0) -> sensor.View:
    """Where the camera stands, by the shot's own numbers."""
    g = rng(shot.seed, "frame")
    long_px = max(64, int(round(shot.long_px * scale / 4)) * 4)
    short_px = int(round(long_px * (0.75 if g.random() < 0.7 else 0.8) / 2)) * 2
    body = bodies[0]
    size = body.line.pack_mm
    target = np.array([g.normal(0, 1.2), g.normal(0, 1.2), 3.0])
    up, portrait, stand_back = np.array([0.0, 1.0, 0.0]), True, 1.0
    tilt, phi = np.deg2rad(shot.tilt_deg), np.deg2rad(shot.phi_deg)
    direction = np.array([np.sin(tilt) * np.cos(phi), np.sin(tilt) * np.sin(phi), np.cos(tilt)])
    if shot.view in ("corner", "corner-under"):
        side = 1 if shot.view == "corner" else -1
        a, e = np.deg2rad(40 + 10 * (shot.phi_deg / 360)), np.deg2rad(31 + 9 * min(shot.tilt_deg, 45) / 45)
        direction = np.array([side * np.sin(a) * np.cos(e), -np.cos(a) * np.cos(e), np.sin(e)])
        target = np.array([0, 0, body.line.box_mm[1] / 2])
        extent, portrait, up, stand_back = 1.62 * max(body.line.box_mm), False, np.array([0, 0, 1.0]), 1.5
    elif shot.view == "face":
        w, h = body.line.face_mm("box", body.placed.up)
        extent, portrait = max(w, h) * 1.16, h > w
        target[2] = 0.97 * body.top_mm
    elif shot.view == "lot":
        xs = [b.placed.at[0] for b in bodies]
        wide = np.ptp(xs) + size[0]
        extent, portrait = max(wide, size[1] * 1.3), wide < size[1]
        target[0] = np.mean(xs)
    elif shot.view in ("top-end", "bottom-end"):
        extent, portrait = size[0] * 1.16, False
        target[1] += (1 if shot.view == "top-end" else -1) * 0.29 * size[1]
        target[:2] = turn("z", body.placed.turn_deg)[:2, :2] @ target[:2]
    elif shot.view == "cut-off":
        extent = size[1] * 0.56
    else:
        extent = size[1]
    width, height = (short_px, long_px) if portrait else (long_px, short_px)
    focal = long_px / 2 / np.tan(np.deg2rad(camera.fov_deg) / 2) * stand_back
    distance = extent * focal / (shot.fill * long_px)
    origin = target + distance * direction
    if abs(direction @ up) > 0.98:
        up = np.array([0.0, 1.0, 0.0])
    # focus: near the target's plane for most, a steadily worse miss for the last quarter of the range
    miss = (0.004 * np.sin(7.0 * shot.focus)) if shot.focus < 0.75 else 0.05 * (shot.focus - 0.75) / 0.25 * (1 if g.random() < 0.5 else -1)
    radius = camera.focal_mm / camera.f_number / 2
    roll = shot.roll_deg * (0.5 if shot.view.startswith("corner") else 1.0)
    return sensor.look(origin, target, roll, up, focal_px=focal, width=width, height=height, k1=camera.k1, aperture_mm=radius, focus_mm=float(distance * (1 + miss)))


# ----------------------------------------------------------------------------- render

PASS_SPP = 12
"""Samples a pixel and pass, stratified; small, so that many processes share a GPU's memory, and one number, so that kernels are reused."""


def _cover_shapes(mi, shot: Shot, bodies: list[Body]) -> tuple[dict, dict, list[dict]]:
    opaque, clear, told = {}, {}, []
    for b in bodies:
        if b.item.form != "pack":
            continue
        relief, size = None, b.line.pack_mm
        layers = []
        if shot.sleeve != "none":
            relief = relief or b.relief()
            layers += covers.clear_layers(shot.sleeve, relief, size, rng(shot.sitting, "sleeve", b.placed.name, b.placed.up))
        for end, job in b.item.history.jobs.items():
            if job.by == "tape" and end in ("top", "bottom"):
                relief = relief or b.relief()
                layers.append(covers.tape(end, relief, size, job.severity, rng(b.item.identity, "tape", end)))
        if shot.hide != "none" and b is bodies[0]:
            relief = relief or b.relief()
            g = rng(shot.seed, "hide")
            if shot.hide == "fingers":
                layers += covers.fingers(shot.hide_end, relief, size, g)
            else:
                layers.append(covers.sticker(shot.hide_end if shot.hide == "sticker-end" else "body", relief, size, g))
            told.append({"kind": shot.hide, "end": shot.hide_end if shot.hide != "sticker-body" else ""})
        for name, sheet, bsdf in layers:
            w = b.out(sheet)
            kind = bsdf["type"]
            (clear if kind == "thindielectric" else opaque)[f"{b.placed.name}_{name}"] = _mesh(mi, name, w, w.uv, bsdf)
    return opaque, clear, told


def render(mi, scene: dict, view: sensor.View, spp: int, seed: int, clear: bool, film: dict | None = None) -> np.ndarray:
    """Linear picture of a scene through a thin lens."""
    t = mi.ScalarTransform4f()
    target = view.origin + view.forward * 100
    sensor_dict = {
        "type": "thinlens", "fov": float(np.rad2deg(2 * np.arctan(view.width / 2 / view.focal_px))), "fov_axis": "x", "near_clip": 1.0, "far_clip": 1e5,
        "aperture_radius": float(max(view.aperture_mm, 1e-4)), "focus_distance": float(view.focus_mm),
        "to_world": t.look_at(origin=[float(v) for v in view.origin], target=[float(v) for v in target], up=[float(v) for v in -view.down]),
        "film": {"width": view.width, "height": view.height, "rfilter": {"type": "gaussian", "stddev": 0.45}, **(film or {"type": "hdrfilm", "pixel_format": "rgb", "component_format": "float32"})},
        "sampler": {"type": "multijitter", "sample_count": PASS_SPP},
    }
    whole = {"type": "scene", "integrator": {"type": "volpath" if clear else "path", "max_depth": 6 if clear else 5}, "sensor": sensor_dict, **scene}
    loaded = mi.load_dict(whole)
    passes = max(1, round(spp / PASS_SPP))
    image = 0.0
    for k in range(passes):
        image = image + np.asarray(mi.render(loaded, spp=PASS_SPP, seed=seed + k), dtype=np.float32)
    return np.nan_to_num(image / passes)[..., :3]


def take(mi, shot: Shot, folder: Path, spp: int, scale: float = 1.0, band: "SpectralBand | None" = None) -> tuple[np.ndarray, dict]:
    """Renders and develops a shot; returns sRGB codes and its truth."""
    camera = next(c for c in world.cameras(shot.family) if c.id == shot.camera)
    fine = 0.095 if shot.view in ("top-end", "bottom-end") else 0.12
    bodies = [Body(p, fine) for p in shot.placed]
    view = frame(shot, bodies, camera, scale)
    spectral = band is not None
    rig = lamps.rig(mi, "spectral" if spectral else shot.family, shot.light, 2 * np.pi * shot.azimuth, rng(shot.sitting, "light"), view, 2.0 if shot.view.startswith("corner") else 1.0, spectral)
    kinds, lay = rng(shot.sitting, "table"), rng(shot.seed, "table")
    t = mi.ScalarTransform4f()
    scene = {
        "table": {"type": "rectangle", "to_world": t.rotate([0, 0, 1], float(lay.uniform(0, 360))) @ t.translate([float(v) for v in lay.uniform(-120, 120, 2)] + [0.0]) @ t.scale([350, 350, 1]), "bsdf": materials.table(mi, shot.family, shot.table, kinds, spectral)},
        "floor": {"type": "rectangle", "to_world": t.translate([0, 0, -700]) @ t.scale([4000, 4000, 1]), "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.3}}},
    }
    back = view.origin - view.forward * 14
    scene["phone"] = {"type": "rectangle", "to_world": t.look_at(origin=[float(v) for v in back], target=[float(v) for v in view.origin + 100 * view.forward], up=[float(v) for v in -view.down]) @ t.scale([38, 75, 1]), "bsdf": materials.matt((0.03, 0.03, 0.03))}
    scene.update(rig.emitters)
    solid, clear = {}, {}
    for b in bodies:
        o, c = b.shapes(mi, folder, spectral)
        solid.update(o)
        clear.update(c)
    o, c, told = _cover_shapes(mi, shot, bodies)
    solid.update(o)
    clear.update(c)
    seed = int(rng(shot.seed, "sampler").integers(1 << 30))
    image = render(mi, {**scene, **solid, **clear}, view, spp, seed, bool(clear), band.film() if band else None)
    g = rng(shot.seed, "camera")
    lamp = optics.lamp_rgb(rig.spectrum)
    if band:
        image, lamp = band.linear(image), band.lamp(rig.spectrum)
    codes = sensor.develop(image, camera, lamp, view.k1, 0.3 * shot.ev, shot.wb, g, matrix=not spectral)
    blockers = mi.load_dict({"type": "scene", **solid})
    truth = {
        "camera": shot.camera, "light": shot.light, "covers": told, "sleeve": shot.sleeve, "view": shot.view, "table": shot.table,
        "lamp": {"azimuth_deg": round(rig.azimuth_deg, 1), "elevation_deg": round(rig.elevation_deg, 1), "rgb": [round(float(v), 4) for v in lamp]},
        "pose": {"tilt_deg": shot.tilt_deg, "phi_deg": shot.phi_deg, "roll_deg": shot.roll_deg, "fill": shot.fill},
        "lens": {"aperture_mm": round(2 * view.aperture_mm, 3), "focus_mm": round(view.focus_mm, 2), "softness_px": round(camera.softness_px, 3), "k1": round(view.k1, 5)},
        "size_px": [view.width, view.height], "faces": faces_truth(mi, blockers, view, bodies),
    }
    return codes, truth


def _blocked(mi, scene, start: np.ndarray, way: np.ndarray, far: np.ndarray) -> np.ndarray:
    """Whether something stands between points and the camera."""
    if mi.variant().startswith("scalar"):
        out = []
        for o, d, t in zip(start, way, far):
            ray = mi.Ray3f(mi.Point3f(*map(float, o)), mi.Vector3f(*map(float, d)))
            ray.maxt = float(t)
            out.append(bool(scene.ray_test(ray)))
        return np.array(out)
    ray = mi.Ray3f(mi.Point3f(*start.T.astype(np.float32)), mi.Vector3f(*way.T.astype(np.float32)))
    ray.maxt = mi.Float(far.astype(np.float32))
    return np.asarray(scene.ray_test(ray)).astype(bool)


def geometry(shot: Shot, fine: float = 0.35) -> list[dict]:
    """The part of a photo's truth that needs no renderer (faces, homographies, heights), on a mesh of step `fine`."""
    camera = next(c for c in world.cameras(shot.family) if c.id == shot.camera)
    bodies = [Body(p, fine, seen=False) for p in shot.placed]
    return faces_truth(None, None, frame(shot, bodies, camera), bodies)


def faces_truth(mi, scene, view: sensor.View, bodies: list[Body]) -> list[dict]:
    """Homographies, heights, blur and visible shares of every face that looks at the camera."""
    out = []
    for b in bodies:
        for face in b.looked_at():
            w, h = b.line.face_mm(b.item.form, face)
            gu, gv = np.meshgrid(np.linspace(0.7, w - 0.7, 33), np.linspace(0.7, h - 0.7, 57))
            xyz, normal, mm = b.surface(face, np.c_[gu.ravel(), gv.ravel()])
            sight = view.origin - xyz
            dist = np.linalg.norm(sight, axis=1)
            sight = sight / dist[:, None]
            away = np.hypot(mm[:, 0] - w / 2, mm[:, 1] - h / 2)
            axis = normal[away < 12].mean(0)
            axis /= np.linalg.norm(axis)
            cosine = float(axis @ sight[np.argmin(away)])
            if cosine < 0.12:
                continue
            px = view.project(xyz)
            seen = (px[:, 0] >= 0) & (px[:, 0] <= view.width - 1) & (px[:, 1] >= 0) & (px[:, 1] <= view.height - 1)
            inside = seen.copy()
            if scene is not None:
                start = xyz + 0.25 * sight
                seen &= ~_blocked(mi, scene, start, sight, dist - 20.0)
            blur = view.confusion_px(xyz)
            entry = {"item": b.placed.name, "face": face}
            if b.item.form == "pack":
                s = b.item.make.seal_mm
                body = (mm[:, 1] > s + 3) & (mm[:, 1] < h - s - 3) & (mm[:, 0] > 3) & (mm[:, 0] < w - 3)
                ends = {"top": mm[:, 1] < s, "bottom": mm[:, 1] > h - s}
                m = homography(mm[body], px[body])
                both = ends["top"] | ends["bottom"]
                entry["mm_to_px"], entry["seal_mm_to_px"] = rounded(m), rounded(homography(mm[both], px[both]))
                entry["seals_visible"] = {k: round(float(seen[v].mean()), 3) for k, v in ends.items()}
                entry["seals_inside"] = {k: round(float(inside[v].mean()), 3) for k, v in ends.items()}
                entry["seal_px_per_mm"], entry["seal_blur_px"], entry["seal_end_mm_to_px"] = {}, {}, {}
                for k, v in ends.items():
                    one = homography(mm[v], px[v])
                    entry["seal_end_mm_to_px"][k] = rounded(one)
                    entry["seal_px_per_mm"][k] = round(local_scale(one, (w / 2, s / 2 if k == "top" else h - s / 2)), 3)
                    entry["seal_blur_px"][k] = round(float(blur[v].mean()), 2)
            else:
                m = homography(mm, px)
                entry["mm_to_px"] = rounded(m)
            entry["px_per_mm"] = round(local_scale(m, (w / 2, h / 2)), 3)
            entry["angle_deg"] = round(float(np.rad2deg(np.arccos(np.clip(cosine, -1, 1)))), 2)
            entry["visible"] = round(float(seen.mean()), 3)
            entry["inside"] = round(float(inside.mean()), 3)
            entry["seen_grid"] = ["".join("1" if v else "0" for v in row) for row in seen.reshape(57, 33)[::4, ::4]]  # rows from the face's top, whole width
            entry["blur_px"] = round(float(np.median(blur)), 2)
            plane = np.linalg.lstsq(np.c_[mm, np.ones(len(mm))], xyz, rcond=None)[0]
            height = ((xyz - np.c_[mm, np.ones(len(mm))] @ plane) @ axis).reshape(57, 33)
            entry["height_mm"] = [[round(float(v), 2) for v in row] for row in height[::7, ::4]]
            if entry["visible"] > 0.02:
                out.append(entry)
    return out


GEOMETRY_KEYS = ("item", "face", "mm_to_px", "seal_mm_to_px", "px_per_mm", "angle_deg", "height_mm", "inside")


def truth_digest(faces: list[dict]) -> str:
    """SHA-256 over the truth that geometry alone decides, lengths and matrices to 5 digits."""

    def plain(v):
        if isinstance(v, float):
            return f"{v:.4e}" if abs(v) > 1e-7 else "0"
        if isinstance(v, (list, tuple)):
            return "[" + ",".join(plain(x) for x in v) + "]"
        return str(v)

    total = hashlib.sha256()
    for f in faces:
        total.update("|".join(k + "=" + plain(f[k]) for k in ("item", "face", "mm_to_px", "seal_mm_to_px", "height_mm") if k in f).encode())
    return total.hexdigest()


# ----------------------------------------------------------------------------- spectral


class SpectralBand:
    """A published sensor: its bands as a film, and the matrix that a camera maker would fit on the chart."""

    def __init__(self, key: str):
        self.key = key
        self.srf = {k: optics.tables()["cameras"][key][k] for k in "rgb"}
        white = optics.illuminant("D65")
        patches = np.array(list(optics.tables()["patches"].values()))
        raw = np.stack([(patches * white) @ self.srf[k] for k in "rgb"], 1) / self._of(white)
        c = optics.tables()["cie1931"]
        xyz = np.stack([(patches * white) @ c[k] for k in "xyz"], 1) / (white @ c["y"])
        rgb = xyz @ optics.XYZ_TO_RGB.T
        m = np.linalg.lstsq(raw, rgb, rcond=None)[0].T
        self.matrix = m / m.sum(axis=1, keepdims=True)  # white stays white
        self.white = self._of(white)

    def _of(self, spectrum):
        return np.array([spectrum @ self.srf[k] for k in "rgb"])

    def film(self) -> dict:
        """The film with the sensor's three bands."""
        w = ", ".join(f"{v:.0f}" for v in optics.nm())
        bands = {f"band{i}_{k}": {"type": "irregular", "wavelengths": w, "values": ", ".join(f"{v:.6g}" for v in self.srf[k])} for i, k in enumerate("rgb")}
        return {"type": "specfilm", "component_format": "float32", **bands}

    def linear(self, bands: np.ndarray) -> np.ndarray:
        """Sensor bands to linear Rec.709 by the fitted matrix; D65 white is neutral."""
        return np.clip((bands / self.white * self.white[1]) @ self.matrix.T.astype(np.float32), 0, None)

    def lamp(self, spectrum: np.ndarray) -> np.ndarray:
        """What the camera takes the lamp's colour for, green 1."""
        rgb = np.clip(self.matrix @ (self._of(spectrum) / self.white), 0.02, None)
        return rgb / rgb[1]


def scaled(shot: Shot, **changes) -> Shot:
    """The shot with other conditions, same geometry."""
    return replace(shot, **changes)
