"""The regression pack: 400 rectified seal strips and 60 photos of `development`, with truth, lossless or as they are.

Strips are cut by the truth's homography of each end, at 8 px/mm, luminance only, 8-bit sRGB codes as
PNG; rows run from 1 mm outside the nominal cut to 3 mm below the seal. Chosen evenly over states,
severities and ends among the ends that are readable by construction (and a tenth that are not).
"""
from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.ndimage import map_coordinates

from common import rng
from families import plan, texts

PX_PER_MM = 8
STRIPS, PHOTOS = 400, 60
LIMIT_BYTES = 25_000_000


def strip(gray: np.ndarray, matrix, width: float, end: str, height: float, face_height: float) -> np.ndarray:
    """An end's strip (rows, columns) of codes; the cut edge is above."""
    u = (np.arange(int(width * PX_PER_MM)) + 0.5) / PX_PER_MM
    d = (np.arange(int((height + 4.0) * PX_PER_MM)) + 0.5) / PX_PER_MM - 1.0
    uu, dd = np.meshgrid(u, d)
    v = dd if end == "top" else face_height - dd
    q = np.stack([uu, v, np.ones_like(uu)], -1) @ np.asarray(matrix).T
    x, y = q[..., 0] / q[..., 2], q[..., 1] / q[..., 2]
    return np.clip(map_coordinates(gray, [y, x], order=1, mode="nearest") + 0.5, 0, 255).astype(np.uint8)


def write(out: Path) -> int:
    """Writes OUT/regression/{strips,photos}/ and truth.json; 1 when the set is not there or it grew too large."""
    root = out / "development"
    if not (root / "detail.json").exists():
        print(f"{root / 'detail.json'} is missing: render development first")
        return 1
    detail = json.loads((root / "detail.json").read_text())["cases"]
    cases = {c.id: c for c in plan.cases("development")}
    found = []
    for id_, entry in detail.items():
        for file, photo in entry["photos"].items():
            for f in photo["faces"]:
                t = next(t for t in cases[id_].things if t.name == f["item"])
                for end, m in f.get("seal_end_mm_to_px", {}).items():
                    pitch, px = t.item.make.pitch_mm, f["seal_px_per_mm"][end]
                    ok = f["seals_visible"][end] >= texts.READABLE["visible"] and px * pitch >= texts.READABLE["px_per_ridge"] and f["angle_deg"] <= texts.READABLE["angle_deg"]
                    job = t.item.history.jobs.get(end)
                    cls = job.by if job else "counterfeit" if t.state == "counterfeit" else "genuine"
                    if f["seals_inside"][end] > 0.5:
                        found.append((bool(ok), cls, id_, file, f, end, m, t, job.severity if job else 0.0))
    g = rng("regression")
    groups: dict = {}
    for row in (found[i] for i in g.permutation(len(found))):
        groups.setdefault((row[0], row[1]), []).append(row)
    chosen = []
    for want, readable in ((STRIPS * 9 // 10, True), (STRIPS // 10, False)):
        pools = [v for k, v in sorted(groups.items()) if k[0] == readable]
        start = len(chosen)
        while len(chosen) - start < want and any(pools):
            for p in pools:
                if p and len(chosen) - start < want:
                    chosen.append(p.pop())
    target = out / "regression"
    (target / "strips").mkdir(parents=True, exist_ok=True)
    (target / "photos").mkdir(parents=True, exist_ok=True)
    truth, total, images = {"schema": "untorn.studio-regression/1", "px_per_mm": PX_PER_MM, "first_row_mm": -1.0, "strips": {}, "photos": {}}, 0, {}
    for n, (ok, cls, id_, file, f, end, m, t, severity) in enumerate(sorted(chosen, key=lambda r: (r[2], r[3], r[4]["item"], r[5]))):
        key = (id_, file)
        if key not in images:
            images = {key: np.asarray(Image.open(root / id_ / file).convert("L"), np.float32)}
        w, h = t.item.known()[0].pack_mm
        a = strip(images[key], m, w, end, t.item.make.seal_mm, h)
        name = f"{n + 1:03d}.png"
        Image.fromarray(a).save(target / "strips" / name, optimize=True)
        total += (target / "strips" / name).stat().st_size
        truth["strips"][name] = {"case": id_, "photo": file, "item": f["item"], "face": f["face"], "end": end, "readable": ok, "what": cls, "severity": severity, "state": t.state, "wear": t.item.history.wear, "pressure": t.item.history.pressure,
                                 "ridge_direction": t.item.make.direction, "pitch_mm": round(t.item.make.pitch_mm, 4), "seal_mm": round(t.item.make.seal_mm, 3), "tooth_pitch_mm": t.item.make.tooth_pitch_mm, "recut": t.item.history.recut.get(end, 0.0),
                                 "double_strike": t.item.history.double_strike.get(end, 0.0), "photo_px_per_mm": f["seal_px_per_mm"][end], "angle_deg": f["angle_deg"], "blur_px": f["seal_blur_px"][end], "visible": f["seals_visible"][end]}
    whole = [id_ for id_ in detail]
    picked = []
    for id_ in (whole[i] for i in g.permutation(len(whole))):
        for file, photo in detail[id_]["photos"].items():
            if len(picked) < PHOTOS and photo["size_px"][0] * photo["size_px"][1] <= 2_000_000 and len([p for p in picked if p[0] == id_]) < 2:
                picked.append((id_, file, photo))
    for id_, file, photo in sorted(picked, key=lambda p: p[:2]):
        name = f"{id_}-{file}"
        data = (root / id_ / file).read_bytes()
        (target / "photos" / name).write_bytes(data)
        total += len(data)
        truth["photos"][name] = {"items": detail[id_]["items"], "photo": photo}
    texts.write_text(target / "truth.json", json.dumps(truth, separators=(",", ":"), default=float) + "\n")
    print(f"{target}: {len(truth['strips'])} strips, {len(truth['photos'])} photos, {total / 1e6:.1f} MB")
    return 0 if total <= LIMIT_BYTES and len(truth["strips"]) == STRIPS else 1
