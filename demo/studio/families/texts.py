"""What is written beside the photos: catalogue and faces of a family, case.toml, truth.json, detail.json.

`truth.json` keeps the program's own format (`untorn.truth/1`); everything else that the studio knows
goes to `detail.json` (`untorn.studio-detail/1`): full history, conditions, heights, blur, cover, and
what is readable by construction.
"""
from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np

from common import rng
from families import art, world
from families.plan import Case

READABLE = {
    "px_per_ridge": 3.0, "angle_deg": 45.0, "blur_mm_per_ridge": 0.5, "visible": 0.6,
    "in_words": "An end seal is readable by construction when its ridges are at least 3 px apart in the file, the face is seen within 45 degrees of its normal, the circle of confusion is at most half a ridge, and at least 60 % of the seal is inside the frame and uncovered. "
    "A face's print is readable when at least 60 % of it is visible within 60 degrees at 2 px/mm or more. JPEG loss is not part of the rule.",
}
"""The rule of what is readable by construction (chosen by the authors: two samples a period is the sampling theorem's limit, three leave room for a lens)."""


def _q(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _tol(value: float, tolerance: float) -> str:
    return f"{{ value = {float(value)}, tolerance = {tolerance} }}"


def write_text(path: Path, text: str) -> None:
    """Whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_text(text)
    part.replace(path)


_SOURCE = "invented for the studio; holds by construction"


def catalogue(line: world.Line, release: world.Release, regions: dict, full: bool = True) -> str:
    """The catalogue file of a release; `regions` by (form, face)."""
    out = ["# Everything in this file is invented. Written by demo/studio (render_set.py).", 'schema = "untorn.catalogue/1"', "", "[line]", f"id = {_q(line.id)}", f"name = {_q(line.name)}", "",
           "[release]", f"id = {_q(release.id)}", f"name = {_q(release.name)}", f"year = {release.year}", 'language = "en"', f"source = {_q(_SOURCE)}"]
    for form in ("pack", "box") if release.boxed else ("pack",):
        w, h, d = (line.pack_mm[0] - 1.5, line.pack_mm[1], 5.0) if form == "pack" else line.box_mm
        title = f"{line.name} {release.name} pack" if form == "pack" else f"{line.name} {release.name} box of 36 packs"
        out += ["", "[[products]]", f"id = {_q(form)}", f"name = {_q(title)}", f"form = {_q(form)}", f"size_mm = [{_tol(w, 1.5)}, {_tol(h, 1.5)}, {_tol(d, 1.5)}]",
                f"gtins = [{_q(release.gtin_pack if form == 'pack' else release.gtin_box)}]"]
        if form == "box":
            out.append('contains = { product = "pack", count = 36 }')
        for face in world.PACK_FACES if form == "pack" else world.BOX_FACES:
            fw, fh = line.face_mm(form, face)
            out += ["", "[[products.faces]]", f"id = {_q(face)}", f"size_mm = [{fw}, {fh}]", f"reference = {_q(f'{line.id}-{release.id}-{form}-{face}.jpg')}"]
            for r in regions[(form, face)]:
                x, y, rw, rh = r["rect_mm"]
                out += ["", "[[products.faces.regions]]", f"name = {_q(r['name'])}", f"kind = {_q(r['kind'])}", f"rect_mm = {{ x = {x}, y = {y}, width = {rw}, height = {rh} }}"]
                if r["text"]:
                    out.append(f"text = {_q(r['text'])}")
        if form == "pack":
            for m in release.makes:
                cut = 'cut_edge = { shape = "straight" }'
                if m.tooth_pitch_mm:
                    cut = f'cut_edge = {{ shape = "toothed", pitch_mm = {_tol(m.tooth_pitch_mm, 0.1)}, depth_mm = {_tol(m.tooth_depth_mm, 0.25)} }}'
                out += ["", "[[products.makes]]", f"id = {_q(m.id)}", f"note = {_q(m.note)}", f"source = {_q(_SOURCE)}",
                        f"end_seal = {{ height_mm = {_tol(m.seal_mm, 1.0)}, ridge_direction = {_q(m.direction)}, pitch_mm = {_tol(m.pitch_mm, 0.05)} }}", cut,
                        f"fin_seal = {{ centre_mm = {_tol(round(m.fin_centre * line.pack_mm[0], 2), 2.5)}, width_mm = {_tol(m.fin_mm, 1.0)} }}"]
        else:
            film = f"{{ printed_mark = true, mark_repeat_mm = {_tol(line.mark_repeat_mm, 0.5)} }}" if release.film_mark else "{ printed_mark = false }"
            out += ["", "[[products.makes]]", f"id = {_q(line.town.lower())}", f"note = {_q(f'{line.town} works, ' + ('film with a printed mark' if release.film_mark else 'plain film'))}", f"source = {_q(_SOURCE)}", f"film = {film}"]
    if not release.boxed and full:
        out += ["", "[[never_made]]", 'form = "box"', f"source = {_q(f'{line.publisher}, trade letter no. 7 (invented): the release ships in trays of packs and in no box')}", 'date = "2024-03-01"']
    return "\n".join(out) + "\n"


def write_family(root: Path, lines, px_per_mm: float = 12.0, seed: str = "", full: bool = True) -> int:
    """Catalogue and reference faces of lines under `root`; returns how many faces."""
    count = 0
    for line in lines:
        for release in line.releases:
            toml = root / "catalogue" / line.id / f"{release.id}.toml"
            regions = {}
            for form in ("pack", "box") if release.boxed else ("pack",):
                for face in world.PACK_FACES if form == "pack" else world.BOX_FACES:
                    count += 1
                    path = root / "faces" / f"{line.id}-{release.id}-{form}-{face}.jpg"
                    if toml.exists() and path.exists():
                        continue
                    ink, metal, found = art.face(line, release, form, face, art.GENUINE, px_per_mm, seed)
                    regions[(form, face)] = found
                    path.parent.mkdir(parents=True, exist_ok=True)
                    part = path.with_name(f"{path.name}.{os.getpid()}.part")
                    art.flat_scan(ink, metal).save(part, "JPEG", quality=92 if form == "pack" else 86, optimize=True)
                    part.replace(path)
            if not toml.exists():
                if len(regions) < (8 if release.boxed else 2):  # faces from an earlier run: their regions again
                    for form in ("pack", "box") if release.boxed else ("pack",):
                        for face in world.PACK_FACES if form == "pack" else world.BOX_FACES:
                            regions.setdefault((form, face), art.face(line, release, form, face, art.GENUINE, px_per_mm, seed)[2])
                write_text(toml, catalogue(line, release, regions, full))
    return count


# ----------------------------------------------------------------------------- cases

_TITLES = {"pack": ("{l} {r} pack, sealed", "{l} - {r} - sealed card pack", "{r} {l} pack unopened", "{l} {r} single pack"), "box": ("{l} {r} box, 36 packs, sealed", "{l} {r} sealed box 36 packs", "Full box {l} {r}, in its film")}
_TEXTS = ("Kept in a drawer since it came out.", "I know little about cards. See photos.", "Smoke-free home, posted in two days.", "Selling doubles. Ask for more photos.", "Found while moving house.", "Part of a collection, sold as seen.")
_SELLERS = ("loft.and.larder", "mr_pockets", "greenlid", "oddments77", "the-tin-drawer", "w_haverley", "fernside", "cartonella")


def case_toml(case: Case, detail: dict) -> str:
    """The offer, in words that no state reaches."""
    g = rng(case.id, "words")
    t = case.things[0]
    line, release = t.item.known()
    worth = (12.0 if t.item.form == "pack" else 380.0) * len(case.things) * g.uniform(0.7, 1.6)
    money = (lambda v: f'{{ amount = "{v:.2f}", currency = "EUR" }}')
    title = _TITLES[t.item.form][int(g.integers(len(_TITLES[t.item.form])))].format(l=line.name, r=release.name)
    if len(case.things) > 1:
        title = f"{len(case.things)} packs: " + ", ".join(dict.fromkeys(x.item.known()[1].name for x in case.things))
    out = ["# An invented offer, rendered. Written by demo/studio.", 'schema = "untorn.case/1"', f"id = {_q(case.id)}", "", "[offer]", f"title = {_q(title)}", f"description = {_q(_TEXTS[int(g.integers(len(_TEXTS)))])}",
           'venue = "Pennyferry Market"', f"price = {money(worth * g.uniform(0.55, 1.1))}", f"shipping = {money(2.9 + g.choice([0, 1, 2]))}", f'captured = "2026-10-{int(g.integers(2, 28)):02d}T21:{int(g.integers(60)):02d}:00Z"',
           f"returns = {{ accepted = {'true' if g.random() < 0.5 else 'false'}, buyer_pays_postage = true }}",
           f"seller = {{ name = {_q(_SELLERS[int(g.integers(len(_SELLERS)))])}, since_year = {int(g.integers(2009, 2026))}, ratings = {int(np.exp(g.uniform(1, 7)))} }}"]
    if len(case.things) > 1:
        for x in case.things:
            out += ["", "[[items]]", f"id = {_q(x.name)}"]
        for file, photo in detail["photos"].items():  # in a lot, the user says which pack is which
            out += ["", "[[photos]]", f"file = {_q(file)}"]
            for f in photo["faces"]:
                x = next(x for x in case.things if x.name == f["item"])
                w, h = x.item.known()[0].pack_mm
                m = np.asarray(f["seal_mm_to_px"])
                pts = [m @ [a, b, 1] for a, b in ((0, 0), (w, 0), (w, h), (0, h))]
                out += ["", "[[photos.shows]]", f"item = {_q(f['item'])}", f"face = {_q(f['face'])}", "corners_px = [" + ", ".join(f"[{p[0] / p[2]:.1f}, {p[1] / p[2]:.1f}]" for p in pts) + "]"]
    out += ["", "[values]", f"sealed = {money(worth)}", f"resealed = {money(worth * 0.18)}", f"counterfeit = {money(worth * 0.02)}", "refund_probability = 0.6"]
    return "\n".join(out) + "\n"


def readable(case: Case, detail: dict) -> dict:
    """By item and deciding view: whether any photo shows it readably, by the rule `READABLE`."""
    out = {}
    for t in case.things:
        views = ["front", "back", "top-end-seal", "bottom-end-seal"] if t.item.form == "pack" else list(world.BOX_FACES)
        seen = dict.fromkeys(views, False)
        for photo in detail["photos"].values():
            for f in photo["faces"]:
                if f["item"] != t.name:
                    continue
                if f["face"] in seen and f["visible"] >= READABLE["visible"] and f["angle_deg"] <= 60 and f["px_per_mm"] >= 2:
                    seen[f["face"]] = True
                for end, share in f.get("seals_visible", {}).items():
                    pitch, px = t.item.make.pitch_mm, f["seal_px_per_mm"][end]
                    ok = share >= READABLE["visible"] and px * pitch >= READABLE["px_per_ridge"] and f["angle_deg"] <= READABLE["angle_deg"] and f["seal_blur_px"][end] <= READABLE["blur_mm_per_ridge"] * pitch * px
                    seen[f"{end}-end-seal"] = seen[f"{end}-end-seal"] or bool(ok)
        out[t.name] = seen
    return out


_TRUTH_FACE = ("item", "face", "mm_to_px", "seal_mm_to_px", "px_per_mm", "angle_deg", "visible", "seals_visible")


def item_truth(t, hidden: list[str]) -> dict:
    """An item's entry in truth.json."""
    h = t.item.history
    out = {"state": t.state, "product": t.product}
    if t.state in ("sealed", "resealed"):
        line, _ = t.item.known()
        out["make"] = t.item.make.id if t.item.make else line.town.lower()
    out |= {"severity": t.severity, "wear": h.wear, "ends": {k: {"by": j.by, "severity": j.severity} for k, j in h.jobs.items()}, "hidden": hidden, "faults": t.faults}
    return out


def write_set(root: Path, cases: list[Case]) -> tuple[int, int]:
    """case.toml of every rendered case, truth.json and detail.json; returns cases and photos written."""
    truth, detail = {"schema": "untorn.truth/1", "cases": {}}, {"schema": "untorn.studio-detail/1", "readable_by_construction": READABLE, "cases": {}}
    done = photos = 0
    for case in cases:
        folder = root / case.id
        notes = {}
        for i in range(len(case.photos)):
            note = folder / f"{i + 1:02d}.truth.json"
            if note.exists():
                notes[f"{i + 1:02d}.jpg"] = json.loads(note.read_text())
        if len(notes) < len(case.photos):
            continue  # an offer is shown whole or not at all
        done, photos = done + 1, photos + len(notes)
        entry = {"photos": {}}
        for file, note in notes.items():
            entry["photos"][file] = note
        seen = readable(case, entry)
        entry["items"] = {t.name: {"state": t.state, "severity": t.severity, "maker": t.maker, "history": _history(t), "gloss": t.item.gloss, "readable": seen[t.name], "geometry": entry["photos"][next(iter(notes))]["geometry"].get(t.name)} for t in case.things}
        entry["levels"] = {k: v for k, v in case.levels.items() if k not in ("final",)}
        detail["cases"][case.id] = entry
        truth["cases"][case.id] = {
            "items": {t.name: item_truth(t, [v for v, ok in seen[t.name].items() if not ok]) for t in case.things},
            "photos": {file: {"camera": n["camera"], "light": n["light"], "faces": [{k: f[k] for k in _TRUTH_FACE if k in f} for f in n["faces"]]} for file, n in notes.items()},
        }
        write_text(folder / "case.toml", case_toml(case, entry))
    write_text(root / "truth.json", json.dumps(truth, separators=(",", ":")) + "\n")
    write_text(root / "detail.json", json.dumps(detail, separators=(",", ":"), default=float) + "\n")
    return done, photos


def _history(t) -> dict:
    h = t.item.history
    return {"wear": h.wear, "pressure": h.pressure, "fade": h.fade, "jobs": {k: {"by": j.by, "severity": j.severity} for k, j in h.jobs.items()}, "recut": h.recut, "miscut_mm": h.miscut_mm, "print_shift_mm": list(h.print_shift_mm), "double_strike": h.double_strike, "fin_shift_mm": h.fin_shift_mm}
