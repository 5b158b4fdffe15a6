"""Facts of the products and their makes, and the TOML files that state them.

The same facts drive the geometry of genuine items, so that catalogue and renders agree.
"""
from __future__ import annotations

from dataclasses import dataclass

from common import BOX_MM, DEMO, LINE, LINE_NAME, PACK_MM, RELEASES
from faces import BOX_FACES, GTINS, NAMES, PACK_FACES, YEARS, face_size


@dataclass(frozen=True)
class Make:
    """How a factory closes a pack: lengths in mm."""

    id: str
    note: str
    source: str
    seal_mm: float
    direction: str
    pitch_mm: float
    depth_mm: float
    tooth_pitch_mm: float = 0.0
    tooth_depth_mm: float = 0.0


_SOURCE = "invented for the demonstration; holds by construction of the studio"
MAKES = {
    "first-soundings": (Make("eastmere", "Eastmere works, the only packing line of this release", _SOURCE, 9.0, "along", 1.10, 0.15),),
    "brass-estuary": (
        Make("north", "North works, straight knife", _SOURCE, 9.0, "along", 1.25, 0.16),
        Make("quay", "Quay works, toothed knife, cross-ridged jaws", _SOURCE, 9.5, "across", 1.00, 0.13, 2.0, 0.8),
    ),
    "night-dredge": (Make("eastmere", "Eastmere works, second packing line", _SOURCE, 8.5, "along", 0.95, 0.13),),
}
BOXED = ("first-soundings", "brass-estuary")
FILM_MARK_MM = 30.0
"""Repeat of the film's printed mark."""
FIN_MM = (32.5, 10.0)
"""Centre and width of the fin seal on the back."""


def make_of(release: str, make: str) -> Make:
    """The make of that name."""
    return next(m for m in MAKES[release] if m.id == make)


def _q(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _tol(value: float, tolerance: float) -> str:
    return f"{{ value = {value}, tolerance = {tolerance} }}"


def _face_toml(release: str, form: str, face: str, regions: list[dict]) -> list[str]:
    w, h = face_size(form, face)
    out = ["", "[[products.faces]]", f"id = {_q(face)}", f"size_mm = [{w}, {h}]", f"reference = {_q(f'{release}-{form}-{face}.jpg')}"]
    for r in regions:
        x, y, rw, rh = r["rect_mm"]
        out += ["", "[[products.faces.regions]]", f"name = {_q(r['name'])}", f"kind = {_q(r['kind'])}",
                f"rect_mm = {{ x = {x}, y = {y}, width = {rw}, height = {rh} }}"]
        if r["text"]:
            out.append(f"text = {_q(r['text'])}")
    return out


def write(regions: dict[tuple[str, str, str], list[dict]]) -> None:
    """Write one catalogue file a release; `regions` is keyed by (release, form, face)."""
    folder = DEMO / "catalogue" / LINE
    folder.mkdir(parents=True, exist_ok=True)
    for release in RELEASES:
        name = NAMES[release]
        out = [
            "# Everything in this file is invented. Written by demo/studio (make.py faces).",
            'schema = "untorn.catalogue/1"', "",
            "[line]", f"id = {_q(LINE)}", f"name = {_q(LINE_NAME)}", 'aliases = ["Kelp Wright", "Kelpwrights"]', "",
            "[release]", f"id = {_q(release)}", f"name = {_q(name)}", f"year = {YEARS[release]}", 'language = "en"',
            f"source = {_q(_SOURCE)}",
        ]
        out += ["", "[[products]]", 'id = "pack"', f"name = {_q(f'{LINE_NAME} {name} pack')}", 'form = "pack"',
                f"size_mm = [{_tol(PACK_MM[0] - 1.5, 1.5)}, {_tol(PACK_MM[1], 1.5)}, {_tol(5.0, 1.0)}]", f"mass_g = {_tol(21.5, 0.8)}", f"gtins = [{_q(GTINS[(release, 'pack')])}]"]
        for face in PACK_FACES:
            out += _face_toml(release, "pack", face, regions[(release, "pack", face)])
        for m in MAKES[release]:
            cut = 'cut_edge = { shape = "straight" }'
            if m.tooth_pitch_mm:
                cut = f'cut_edge = {{ shape = "toothed", pitch_mm = {_tol(m.tooth_pitch_mm, 0.1)}, depth_mm = {_tol(m.tooth_depth_mm, 0.25)} }}'
            out += ["", "[[products.makes]]", f"id = {_q(m.id)}", f"note = {_q(m.note)}", f"source = {_q(m.source)}",
                    f"end_seal = {{ height_mm = {_tol(m.seal_mm, 1.0)}, ridge_direction = {_q(m.direction)}, pitch_mm = {_tol(m.pitch_mm, 0.05)} }}",
                    cut, f"fin_seal = {{ centre_mm = {_tol(FIN_MM[0], 2.5)}, width_mm = {_tol(FIN_MM[1], 1.0)} }}"]
        if release in BOXED:
            w, h, d = BOX_MM
            out += ["", "[[products]]", 'id = "box"', f"name = {_q(f'{LINE_NAME} {name} box of 36 packs')}", 'form = "box"',
                    f"size_mm = [{_tol(w, 1.5)}, {_tol(h, 1.5)}, {_tol(d, 1.5)}]", f"mass_g = {_tol(842.0, 20.0)}", 'contains = { product = "pack", count = 36 }', f"gtins = [{_q(GTINS[(release, 'box')])}]"]
            for face in BOX_FACES:
                out += _face_toml(release, "box", face, regions[(release, "box", face)])
            out += ["", "[[products.makes]]", 'id = "eastmere"', 'note = "Eastmere works, film with a printed mark"', f"source = {_q(_SOURCE)}",
                    f"film = {{ printed_mark = true, mark_repeat_mm = {_tol(FILM_MARK_MM, 0.5)} }}"]
        else:
            out += ["", "[[never_made]]", 'form = "box"', 'source = "Otterby & Vane Paperworks, trade letter no. 41 (invented): the release ships loose, in trays of packs, and in no box"', "date = \"2024-03-01\""]
        (folder / f"{release}.toml").write_text("\n".join(out) + "\n")
