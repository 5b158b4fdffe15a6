"""Layouts of the flat faces and the named regions on them.

`draw(release, form, face, forgery)` gives the ink image, the metal image and the regions in mm. The
genuine faces go to `demo/faces/`; a `Forgery` changes what its maker got wrong.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image

from art import Sheet, barcode, mix
from common import BOX_MM, LINE_NAME, PACK_MM, PUBLISHER, SEAL_MM, gtin13, rng
from scenes_art import PALETTES, SCENES, emblem, shifted

NAMES = {"first-soundings": "First Soundings", "brass-estuary": "Brass Estuary", "night-dredge": "Night Dredge"}
YEARS = {"first-soundings": 2021, "brass-estuary": 2023, "night-dredge": 2024}
LETTERING = {"first-soundings": "roman", "brass-estuary": "slab", "night-dredge": "fat"}
SLOGAN = {
    "first-soundings": ("Lower the lead. Read the deep.", "Every depth has a keeper, and every keeper a price."),
    "brass-estuary": ("Wind the tide. Pay the toll.", "Where the river meets the sea, the cogs never rest."),
    "night-dredge": ("What the chain brings up.", "Some lamps are lit below. Do not answer them."),
}
GTINS = {
    ("first-soundings", "pack"): gtin13("200417300011"),
    ("first-soundings", "box"): gtin13("200417300036"),
    ("brass-estuary", "pack"): gtin13("200417300110"),
    ("brass-estuary", "box"): gtin13("200417300136"),
    ("night-dredge", "pack"): gtin13("200417300219"),
    ("night-dredge", "box"): gtin13("200417300236"),
}
PACK_FACES = ("front", "back")
BOX_FACES = ("front", "back", "left", "right", "top", "bottom")


@dataclass(frozen=True)
class Forgery:
    """What a counterfeiter's print gets wrong; the default is the genuine print."""

    wordmark_scale: float = 1.0
    wordmark_shift_mm: tuple[float, float] = (0.0, 0.0)
    emblem_of: str | None = None
    hue_degrees: float = 0.0
    ink_gain: float = 1.0
    legal: str = "right"
    """`right`, `missing` or `wrong-year`."""

    def faults(self) -> list[str]:
        """The faults in words."""
        out = []
        if self.wordmark_scale != 1.0:
            out.append(f"wordmark at {100 * self.wordmark_scale:.0f} % of its size")
        if self.wordmark_shift_mm != (0.0, 0.0):
            out.append("wordmark displaced by {:.1f}, {:.1f} mm".format(*self.wordmark_shift_mm))
        if self.emblem_of:
            out.append(f"emblem of {self.emblem_of}")
        if self.hue_degrees:
            out.append(f"main ink turned by {self.hue_degrees:.0f} degrees in hue")
        if self.legal != "right":
            out.append(f"legal text {self.legal}")
        return out


GENUINE = Forgery()


def face_size(form: str, face: str) -> tuple[float, float]:
    """Width and height of a face, mm."""
    if form == "pack":
        return PACK_MM
    w, h, d = BOX_MM
    return {"front": (w, h), "back": (w, h), "left": (d, h), "right": (d, h), "top": (w, d), "bottom": (w, d)}[face]


def legal_lines(release: str, forgery: Forgery = GENUINE) -> list[str]:
    """The printed legal text, line by line."""
    if forgery.legal == "missing":
        return []
    year = YEARS[release] + (3 if forgery.legal == "wrong-year" else 0)
    return [
        f"© {year} {PUBLISHER}. All rights reserved.",
        f"{LINE_NAME} and {NAMES[release]} are marks of the publisher.",
        "Printed in Eastmere. Contents are random. Not for",
        "children under 3 years: small parts. Keep this notice.",
    ]


def _region(regions, name, kind, box, size, text=None, pad=0.4):
    x, y = max(0.0, box[0] - pad), max(0.0, box[1] - pad)
    x1, y1 = min(size[0], box[0] + box[2] + pad), min(size[1], box[1] + box[3] + pad)
    regions.append({"name": name, "kind": kind, "rect_mm": [round(v, 2) for v in (x, y, x1 - x, y1 - y)], "text": text})


def _wordmark(sheet, regions, release, p, f, cx, cy, width, size):
    cx, cy = cx + f.wordmark_shift_mm[0], cy + f.wordmark_shift_mm[1]
    box = sheet.arched(cx, cy, LINE_NAME, "script", width * f.wordmark_scale, 2.2 * width / 56, (255, 250, 236), p.second, p.deep, 200)
    _region(regions, "wordmark", "wordmark", box, size, LINE_NAME)


def _release_name(sheet, regions, release, p, cx, cy, size_mm, size, plate=True):
    words = NAMES[release].upper() if release != "night-dredge" else NAMES[release]
    face = LETTERING[release]
    if plate:
        w = (0.78 if face == "slab" else 0.64) * size_mm * len(words) + 6
        sheet.poly([(cx - w / 2, cy - size_mm * 0.78), (cx + w / 2, cy - size_mm * 0.78), (cx + w / 2 - 2.5, cy), (cx + w / 2, cy + size_mm * 0.78), (cx - w / 2, cy + size_mm * 0.78), (cx - w / 2 + 2.5, cy)], p.accent, 0, p.paper, 0.4)
    box = sheet.text(cx, cy, words, face, size_mm, p.paper, 0, "mm", p.deep, 0.35)
    _region(regions, "release name", "wordmark", box, size, NAMES[release])


def _seals(sheet, release, p, size):
    """Print of the two seal zones: foil bands with a repeated small wordmark."""
    for top in (True, False):
        y = 0.0 if top else size[1] - SEAL_MM
        sheet.rect(0, y, size[0], SEAL_MM, mix(p.main, (215, 218, 222), 0.5), 225)
        for k, (a, b) in enumerate(((0.0, 1.1), (SEAL_MM - 1.0, 1.0))):
            yy = y + a if top else y + SEAL_MM - a - b
            sheet.rect(0, yy, size[0], b, p.deep if k else p.accent, 90)
        n = 5
        for i in range(n):
            cx = size[0] * (i + 0.5) / n
            sheet.text(cx, y + SEAL_MM / 2, LINE_NAME, "script", 2.5, mix(p.deep, p.main, 0.35), 120, "mm")
            if i:
                sheet.disc(size[0] * i / n, y + SEAL_MM / 2, 0.7, p.accent, 120)


def _pack_front(release, p, f):
    size = PACK_MM
    sheet, regions = Sheet(*size, p.main, 60), []
    g = rng("art", release, "pack", "front")
    SCENES[release](sheet, (0, SEAL_MM, size[0], size[1] - SEAL_MM), p, g, 0)
    sheet.grain(g, 0.07, 26, SEAL_MM, size[1] - SEAL_MM)
    top = SEAL_MM
    sheet.poly([(0, top), (size[0], top), (size[0], top + 15.5), (size[0] / 2, top + 20.5), (0, top + 15.5)], p.deep, 40)
    sheet.line([(0, top + 15.5), (size[0] / 2, top + 20.5), (size[0], top + 15.5)], p.second, 0.9, 220)
    for i in range(40):
        x = size[0] * (i + 0.5) / 40
        sheet.disc(x, top + 14.4 + 5.0 * (1 - abs(2 * x / size[0] - 1)), 0.3, p.light, 200)
    _wordmark(sheet, regions, release, p, f, size[0] / 2, top + 9.6, 56.0, size)
    _release_name(sheet, regions, release, p, size[0] / 2, 90.0, 4.6 if release != "brass-estuary" else 4.4, size)
    box = emblem(sheet, f.emblem_of or release, 10.2, 96.2 - 0.2, 6.2, p)
    _region(regions, "emblem", "emblem", box, size)
    sheet.rect(43.5, 95.2, 18.5, 5.2, p.paper, 0, 1.2, p.deep, 0.35)
    box = sheet.text(52.75, 97.85, "11 cards", "sansbold", 3.5, p.deep, 0, "mm")
    _region(regions, "count", "count", box, size, "11 cards")
    _seals(sheet, release, p, size)
    _region(regions, "artwork", "art", (3.0, 32.0, 59.0, 52.0), size, None, 0.0)
    _region(regions, "header panel", "panel", (0.5, top + 0.5, 64.0, 14.5), size, None, 0.0)
    return sheet, regions


def _pack_back(release, p, f):
    size = PACK_MM
    sheet, regions = Sheet(*size, mix(p.main, p.deep, 0.35), 30), []
    g = rng("art", release, "pack", "back")
    sheet.gradient(mix(p.main, p.deep, 0.2), p.deep, SEAL_MM, size[1] - SEAL_MM, 30)
    for i in range(46):
        x, y, r = g.uniform(0, 65), g.uniform(SEAL_MM, 103), g.uniform(1.0, 4.5)
        emblem_tone = mix(p.main, p.second, g.uniform(0.0, 0.5))
        t = np.linspace(0, 2 * np.pi, 7)[:-1] + g.uniform(0, 1)
        sheet.poly(np.c_[x + r * np.cos(t), y + r * np.sin(t)], mix(emblem_tone, p.deep, 0.55), 60, mix(p.second, p.deep, 0.5), 0.25)
    sheet.grain(g, 0.06, 22, SEAL_MM, size[1] - SEAL_MM)
    small = Sheet(60.0, 34.0, p.main, 60)
    SCENES[release](small, (0, 0, 60.0, 34.0), p, g, 1)
    small.grain(g, 0.06, 20)
    from art import K
    at = (int(2.5 * K), int(25.0 * K))
    sheet.ink.paste(small.ink, at)
    sheet.metal.paste(small.metal, at)
    sheet.line([(2.5, 25), (62.5, 25), (62.5, 59), (2.5, 59), (2.5, 25)], p.second, 0.8, 220)
    _region(regions, "back picture", "art", (3.0, 25.5, 59.0, 33.0), size, None, 0.0)
    _wordmark(sheet, regions, release, p, f, 32.5, 16.6, 40.0, size)
    sheet.rect(4.0, 61.0, 57.0, 12.6, p.paper, 0, 1.0, p.deep, 0.4)
    a, b = SLOGAN[release]
    box = sheet.text(32.5, 64.2, a, LETTERING[release], 3.0, p.deep, 0, "mm")
    _region(regions, "motto", "text", box, size, a)
    sheet.text(32.5, 67.7, b, "sans", 1.9, p.deep, 0, "mm")
    sheet.text(32.5, 71.0, f"{LINE_NAME}: {NAMES[release]}   ·   11 cards in this pack", "sansbold", 1.75, p.accent, 0, "mm")
    lines = legal_lines(release, f)
    sheet.rect(2.5, 75.0, 60.0, 10.2, mix(p.deep, (0, 0, 0), 0.3), 0, 0.8, mix(p.second, p.deep, 0.4), 0.25)
    boxes = [sheet.text(32.5, 76.9 + 2.15 * i, line, "sans", 1.62, (244, 244, 240), 0, "mm") for i, line in enumerate(lines)]
    if boxes or f.legal != "right":
        _region(regions, "legal text", "legal", (3.0, 75.4, 59.0, 9.4), size, " ".join(lines) or None, 0.0)
    code = GTINS[(release, "pack")]
    box = barcode(sheet, 3.0, 86.6, code, height=11.4, module_mm=1 / 3)
    _region(regions, "barcode", "code", box, size, code, 0.0)
    box = emblem(sheet, f.emblem_of or release, 53.0, 94.2, 6.0, p)
    _region(regions, "emblem", "emblem", box, size)
    _seals(sheet, release, p, size)
    return sheet, regions


def _box_face(release, face, p, f):
    size = face_size("box", face)
    w, h = size
    sheet, regions = Sheet(w, h, p.main, 0), []
    g = rng("art", release, "box", face)
    if face in ("front", "back"):
        SCENES[release](sheet, (0, 0, w, h), p, g, 0 if face == "front" else 1)
        sheet.grain(g, 0.06, 30)
        sheet.poly([(0, 0), (w, 0), (w, 30), (w / 2, 38), (0, 30)], p.deep, 0)
        sheet.line([(0, 30), (w / 2, 38), (w, 30)], p.second, 1.4, 0)
        _wordmark(sheet, regions, release, p, f, w / 2, 17.5, 104.0 if face == "front" else 96.0, size)
        if face == "front":
            _release_name(sheet, regions, release, p, w / 2, 97.0, 8.0, size)
            box = emblem(sheet, f.emblem_of or release, 17.0, 108.0, 12.0, p)
            _region(regions, "emblem", "emblem", box, size)
            sheet.rect(74, 108, 56, 12, p.paper, 0, 2.0, p.deep, 0.6)
            box = sheet.text(102, 114.2, "36 packs of 11 cards", "sansbold", 5.0, p.deep, 0, "mm")
            _region(regions, "count", "count", box, size, "36 packs of 11 cards")
            _region(regions, "artwork", "art", (5, 40, 125, 48), size, None, 0.0)
        else:
            a, b = SLOGAN[release]
            sheet.rect(8, 60, 119, 58, p.paper, 0, 2.0, p.deep, 0.8)
            box = sheet.text(w / 2, 66.5, a, LETTERING[release], 6.0, p.deep, 0, "mm")
            _region(regions, "motto", "text", box, size, a)
            sheet.text(w / 2, 73.4, b, "sans", 3.3, p.deep, 0, "mm")
            for i, line in enumerate(legal_lines(release, f)):
                sheet.text(12, 81.0 + 3.5 * i, line, "sans", 2.6, p.deep, 0, "lm")
            _region(regions, "legal text", "legal", (11, 78.6, 84, 15.5), size, " ".join(legal_lines(release, f)) or None, 0.0)
            code = GTINS[(release, "box")]
            box = barcode(sheet, 12, 97.0, code, height=14.0, module_mm=1 / 3)
            _region(regions, "barcode", "code", box, size, code, 0.0)
            box = emblem(sheet, f.emblem_of or release, 112, 102, 10.0, p)
            _region(regions, "emblem", "emblem", box, size)
            _region(regions, "artwork", "art", (5, 38, 125, 20), size, None, 0.0)
    elif face in ("left", "right"):
        SCENES[release](sheet, (0, 0, w, h), p, g, 1 if face == "left" else 0)
        sheet.grain(g, 0.06, 26)
        sheet.rect(0, 0, w, 27, p.deep, 0)
        sheet.line([(0, 27), (w, 27)], p.second, 1.2, 0)
        _wordmark(sheet, regions, release, p, f, w / 2, 13.5, 58.0, size)
        sheet.rect(0, h - 20, w, 20, p.accent, 0)
        sheet.line([(0, h - 20), (w, h - 20)], p.paper, 1.0, 0)
        _release_name(sheet, regions, release, p, w / 2, h - 10, 4.8, size, plate=False)
        box = emblem(sheet, f.emblem_of or release, w - 12, 37, 8.5, p)
        _region(regions, "emblem", "emblem", box, size)
        _region(regions, "artwork", "art", (4, 50, 62, 52), size, None, 0.0)
    else:
        sheet.gradient(p.main, p.deep, 0, h, 0)
        for i in range(70):
            x, y, r = g.uniform(0, w), g.uniform(0, h), g.uniform(1.5, 6)
            t = np.linspace(0, 2 * np.pi, int(g.integers(4, 9)))[:-1] + g.uniform(0, 1)
            sheet.poly(np.c_[x + r * np.cos(t), y + r * np.sin(t)], mix(mix(p.main, p.second, g.uniform(0, 0.6)), p.deep, 0.4), 0, mix(p.second, p.deep, 0.3), 0.35)
        sheet.grain(g, 0.06, 24)
        if face == "top":
            _wordmark(sheet, regions, release, p, f, w / 2, 22.0, 96.0, size)
            _release_name(sheet, regions, release, p, w / 2, 54.0, 7.0, size)
            for cx in (14.0, w - 14.0):
                box = emblem(sheet, f.emblem_of or release, cx, 54.0, 9.0, p)
                _region(regions, "emblem left" if cx < w / 2 else "emblem right", "emblem", box, size)
        else:
            sheet.rect(10, 8, w - 20, h - 16, p.paper, 0, 2.0, p.deep, 0.8)
            box = sheet.text(w / 2, 16.0, f"{LINE_NAME}  ·  {NAMES[release]}", LETTERING[release], 6.0, p.deep, 0, "mm")
            _region(regions, "name line", "text", box, size, f"{LINE_NAME} · {NAMES[release]}")
            for i, line in enumerate(legal_lines(release, f)):
                sheet.text(16, 25.0 + 3.8 * i, line, "sans", 2.9, p.deep, 0, "lm")
            _region(regions, "legal text", "legal", (15, 22.4, 92, 16.4), size, " ".join(legal_lines(release, f)) or None, 0.0)
            code = GTINS[(release, "box")]
            box = barcode(sheet, 16, 41.5, code, height=13.0, module_mm=1 / 3)
            _region(regions, "barcode", "code", box, size, code, 0.0)
            box = emblem(sheet, f.emblem_of or release, 104, 48.5, 10.0, p)
            _region(regions, "emblem", "emblem", box, size)
    return sheet, regions


def draw(release: str, form: str, face: str, forgery: Forgery = GENUINE) -> tuple[Image.Image, Image.Image, list[dict]]:
    """Ink, metal and regions of one face."""
    p = PALETTES[release]
    if forgery.hue_degrees or forgery.ink_gain != 1.0:
        p = shifted(p, forgery.hue_degrees, forgery.ink_gain)
    if form == "pack":
        sheet, regions = (_pack_front if face == "front" else _pack_back)(release, p, forgery)
    else:
        sheet, regions = _box_face(release, face, p, forgery)
    ink, metal = sheet.finish()
    return ink, metal, regions


def flat_scan(ink: Image.Image, metal: Image.Image) -> Image.Image:
    """How a flatbed scanner sees the sheet: film parts darker and greyer than white-backed ink."""
    a = np.asarray(ink).astype(np.float32)
    m = np.asarray(metal).astype(np.float32)[..., None] / 255
    grey = a.mean(axis=2, keepdims=True)
    film = 0.62 * (0.75 * a + 0.25 * grey) + 22
    out = a * (1 - m) + film * m
    return Image.fromarray(np.clip(out, 0, 255).astype(np.uint8))
