"""Rendering a set with several processes, resumable, and measuring it.

A photo is done when its JPEG and its note (`NN.truth.json`) are there; both appear whole. A set can be
stopped at any time and cut short by `minutes`: cases come in a shuffled, balanced order.
"""
from __future__ import annotations

import gc
import json
import multiprocessing
import os
import subprocess
import sys
import time
import traceback
from pathlib import Path

from families import pack, photo, plan, seller, texts

_mi = None
_until = None
_taken = 0
_FLUSH_AFTER = 8
"""Photos after which a worker gives its cached memory back: many share one GPU."""


def start(variant: str, threads: int, until: float | None) -> None:
    """Prepares a worker."""
    global _mi, _until
    import mitsuba

    mitsuba.set_variant(variant)
    if threads:
        import drjit

        drjit.set_thread_count(threads)
    mitsuba.set_log_level(mitsuba.LogLevel.Error)
    _mi, _until = mitsuba, until


def _write(path: Path, data: bytes) -> None:
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_bytes(data)
    part.replace(path)


def geometry_digests(case: plan.Case) -> dict[str, str]:
    """Digest of every item's shape, on a 0.5 mm grid."""
    out = {}
    for t in case.things:
        line, release = t.item.known()
        if t.item.form == "pack":
            sheets = pack.build(t.item.identity, line, t.item.make, t.item.history, 0.5, None).sheets
        else:
            from families import box

            board, skin, _ = box.build(t.item.identity, line, t.item.history, box.film_of(t.item.identity, line, release, t.item.history, t.item.film_fake), 1.4)
            sheets = board | {f"film {k}": v for k, v in skin.items()}
        out[t.name] = pack.digest(sheets)
    return out


def work(job) -> str:
    """One photo."""
    case, number, folder, prints, spp, scale, band = job
    p = case.photos[number]
    path = Path(folder) / case.id / f"{number + 1:02d}.jpg"
    note = path.with_suffix(".truth.json")
    name = f"{case.id}/{number + 1:02d}"
    global _taken
    if _until is not None and time.time() > _until:
        return f"- {name} left out: no time"
    begun = time.time()
    _taken += 1
    if _taken % _FLUSH_AFTER == 0:
        import drjit

        gc.collect()
        drjit.flush_malloc_cache()
    try:
        sensor = photo.SpectralBand(band) if band else None
        taken = [photo.take(_mi, s, Path(prints), spp, scale, sensor) for s in p.parts]
        data, places, size = seller.finish(p, [c for c, _ in taken], case.id, number, scale)
        faces = [f for (_, t), place in zip(taken, places) for f in seller.moved_faces(t["faces"], place)]
        first = taken[0][1]
        entry = {k: first[k] for k in ("camera", "light", "covers", "sleeve", "view", "table", "lamp", "pose", "lens")}
        if band:
            entry["camera"] = f"{first['camera']}+{band}"
        entry |= {"layout": p.layout, "qualities": list(p.qualities), "size_px": list(size), "bytes": len(data), "exposures": len(p.parts), "faces": faces, "geometry": geometry_digests(case) if number == 0 else {}}
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path, data)
        _write(note, json.dumps(entry, separators=(",", ":"), default=float).encode())
    except Exception:
        return f"! {name} failed\n{traceback.format_exc()}"
    return f"{name} {size[0]}x{size[1]} {len(data) // 1024} kB {time.time() - begun:.1f} s"


def render(name: str, cases: list[plan.Case], root: Path, prints: Path, variant: str, spp: int, scale: float, jobs: int, threads: int, minutes: float | None) -> int:
    """Renders what is missing; returns how many photos failed."""
    until = time.time() + 60 * minutes if minutes else None
    bands = ("npl-a", "npl-b")
    work_list = []
    for n, c in enumerate(cases):
        for i in range(len(c.photos)):
            at = root / c.id / f"{i + 1:02d}.jpg"
            if not (at.exists() and at.with_suffix(".truth.json").exists()):
                work_list.append((c, i, str(root), str(prints), spp, scale, bands[n % 2] if name == "spectral" else None))
    print(f"{name}: {len(work_list)} photos to render, {sum(len(c.photos) for c in cases)} in all", flush=True)
    begun, failed, done = time.time(), 0, 0
    if jobs > 1:
        with multiprocessing.get_context("spawn").Pool(jobs, start, (variant, threads, until), maxtasksperchild=120) as pool:
            lines = pool.imap_unordered(work, work_list, 1)
            for line in lines:
                failed, done = failed + line.startswith("!"), done + 1
                if line.startswith("!") or done % 20 == 0:
                    print(f"[{done}/{len(work_list)} {time.time() - begun:.0f} s] {line}", flush=True)
    elif work_list:
        start(variant, threads, until)
        for j in work_list:
            line = work(j)
            failed, done = failed + line.startswith("!"), done + 1
            print(f"[{done}/{len(work_list)} {time.time() - begun:.0f} s] {line}", flush=True)
    print(f"{name}: rendered in {time.time() - begun:.0f} s, {failed} failed", flush=True)
    return failed


def _faces_job(job):
    root, lines, px, seed, full = job
    return texts.write_family(Path(root), lines, px, seed, full)


def faces(root: Path, lines, px_per_mm: float, seed: str, full: bool, jobs: int) -> int:
    """Catalogue and faces, a line a process."""
    work_list = [(str(root), [line], px_per_mm, seed, full) for line in lines]
    if jobs > 1:
        with multiprocessing.get_context("spawn").Pool(jobs) as pool:
            return sum(pool.imap_unordered(_faces_job, work_list, 1))
    return sum(_faces_job(j) for j in work_list)


def _manifest_job(case: plan.Case) -> dict:
    return {"id": case.id, "plan": plan.digest(case), "items": geometry_digests(case), "truth": [[photo.truth_digest(photo.geometry(s)) for s in p.parts] for p in case.photos]}


def manifest(name: str, cases: list[plan.Case], jobs: int) -> dict:
    """Hashes of every case's plan, geometry and geometric truth; needs no renderer."""
    if jobs > 1:
        with multiprocessing.get_context("spawn").Pool(jobs) as pool:
            rows = pool.map(_manifest_job, cases, 4)
    else:
        rows = [_manifest_job(c) for c in cases]
    return {"schema": "untorn.studio-manifest/1", "set": name, "photos": sum(len(c.photos) for c in cases), "cases": {r.pop("id"): r for r in rows}}


def features(untorn: Path, catalogue_root: Path, root: Path, out: Path) -> None:
    """Fills a library with the catalogue and measures the set with the program."""
    library = out.with_suffix(".library")
    begun = time.time()
    for toml in sorted(catalogue_root.glob("catalogue/*/*.toml")):
        subprocess.run([str(untorn), "library", "add-catalogue", str(toml), "--faces", str(catalogue_root / "faces"), "--library", str(library)], check=True, stdout=subprocess.DEVNULL)
    print(f"library filled in {time.time() - begun:.0f} s", flush=True)
    begun = time.time()
    subprocess.run([str(untorn), "features", str(root), "--out", str(out), "--library", str(library)], check=True)
    print(f"{root.name} measured in {time.time() - begun:.0f} s", file=sys.stdout, flush=True)
