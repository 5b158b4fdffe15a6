"""Layouts of the flat faces: panels, wordmark, emblem, texts, codes, and the regions that name them.

`face(line, release, form, name, forgery)` gives ink, metal and regions. `flat_scan` is the catalogue's
reference picture of it.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import colorsys
import numpy as np
from PIL import Image, ImageFilter

from common import rng
from families import motifs
from families.draw import Sheet, barcode, mix
from families.world import Line, Maker, Palette, Release


@dataclass(frozen=True)
class Forgery:
    """What a print gets wrong; the default is the genuine print."""

    scale: float = 1.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    emblem: int | None = None
    hue_deg: float = 0.0
    gain: float = 1.0
    legal: str = "right"
    soften_mm: float = 0.0

    def faults(self) -> list[str]:
        """In words."""
        out = []
        if abs(self.scale - 1) > 0.004:
            out.append(f"wordmark at {100 * self.scale:.1f} % of its size")
        if np.hypot(*self.shift_mm) > 0.1:
            out.append("wordmark displaced by {:.2f}, {:.2f} mm".format(*self.shift_mm))
        if self.emblem is not None:
            out.append("emblem of another line")
        if abs(self.hue_deg) > 0.5:
            out.append(f"main ink turned by {self.hue_deg:.1f} degrees in hue")
        if self.legal != "right":
            out.append(f"legal text {self.legal}")
        if self.soften_mm > 0.01:
            out.append(f"plates soft by {self.soften_mm:.2f} mm")
        return out


GENUINE = Forgery()


def forged(maker: Maker, severity: float, line: Line) -> Forgery:
    """A maker's print at a severity: lengths and colours shrink with it, missing things need enough of it."""
    s = severity
    return Forgery(1 + (maker.scale - 1) * s, (maker.shift_mm[0] * s, maker.shift_mm[1] * s), (line.emblem + 3) % 12 if maker.wrong_emblem and s > 0.6 else None,
                   maker.hue_deg * s, 1 + (maker.gain - 1) * s, maker.legal if s > 0.35 else "right", maker.soften_mm * s)


def _turned(p: Palette, degrees: float, gain: float) -> Palette:
    def turn(c):
        h, l, s = colorsys.rgb_to_hls(*(v / 255 for v in c))
        return tuple(int(round(v * 255)) for v in colorsys.hls_to_rgb((h + degrees / 360) % 1.0, min(1.0, l * gain), s))

    return replace(p, main=turn(p.main), deep=turn(p.deep))


def emblem(s: Sheet, kind: int, x, y, r, p: Palette):
    """A line's sign, twelve outlines; returns its box."""
    n = (3, 4, 5, 6, 8, 12)[kind % 6]
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    wobble = 1 + 0.10 * np.cos(n * t) if kind < 6 else 1 - 0.16 * np.abs(np.sin(n * t / 2))
    s.poly(np.c_[x + r * wobble / 1.1 * np.cos(t - np.pi / 2), y + r * wobble / 1.1 * np.sin(t - np.pi / 2)], p.deep, 0, p.second, 0.4)
    s.disc(x, y, 0.68 * r, p.second, 210)
    s.disc(x, y, 0.58 * r, p.deep, 0)
    for i in range(n):
        a = 2 * np.pi * i / n - np.pi / 2
        if kind % 2:
            s.poly([(x, y), (x + 0.5 * r * np.cos(a - 0.25), y + 0.5 * r * np.sin(a - 0.25)), (x + 0.55 * r * np.cos(a), y + 0.55 * r * np.sin(a)), (x + 0.5 * r * np.cos(a + 0.25), y + 0.5 * r * np.sin(a + 0.25))], p.light if i % 2 else p.accent, 150)
        else:
            s.disc(x + 0.38 * r * np.cos(a), y + 0.38 * r * np.sin(a), 0.42 * r / np.sqrt(n), p.light if i % 2 else p.accent, 150)
    s.disc(x, y, 0.16 * r, p.paper, 120, p.deep, 0.2)
    return (x - r, y - r, 2 * r, 2 * r)


def legal_lines(line: Line, release: Release, f: Forgery = GENUINE) -> list[str]:
    """The printed legal text."""
    if f.legal == "missing":
        return []
    year = release.year + (3 if f.legal == "wrong-year" else 0)
    return [f"© {year} {line.publisher}. All rights reserved.", f"{line.name} and {release.name} are marks of the publisher.",
            f"Made in {line.town}. Contents differ from pack to pack. Not for", "children under 3 years: small parts. Keep this notice."]


def _scene(s, motif, box, p, g):
    (motifs.OWN | motifs.ABSTRACT)[motif](s, box, p, g)


def _mark(s, line, p, f, cx, cy, width):
    box = s.lettering(cx + f.shift_mm[0], cy + f.shift_mm[1], line.name, line.mark_font, width * f.scale, line.bend_mm * width / 60, line.slant, mix(p.paper, (255, 255, 255), 0.5), mix(p.second, p.paper, 0.25), p.deep, 200, 0.012 * width)
    s.region("wordmark", "wordmark", box, line.name)


def _name(s, line, release, p, cx, cy, size, width):
    words = release.name.upper() if line.layout % 2 else release.name
    kind = line.layout % 3
    w, h = min(width, size * 0.62 * len(words) + 7), size * 1.5
    if kind == 0:
        s.rect(cx - w / 2, cy - h / 2, w, h, p.accent, 0, h / 2, p.paper, 0.4)
    elif kind == 1:
        s.poly([(cx - w / 2, cy - h / 2), (cx + w / 2, cy - h / 2), (cx + w / 2 - 3, cy), (cx + w / 2, cy + h / 2), (cx - w / 2, cy + h / 2), (cx - w / 2 + 3, cy)], p.accent, 0, p.paper, 0.4)
    else:
        s.rect(cx - w / 2, cy - h / 2, w, h, p.deep, 0, 0.4, p.second, 0.6)
    box = s.text(cx, cy, words, line.head_font, size, p.paper, 0, "mm", p.deep, 0.2, w - 5)
    s.region("release name", "wordmark", box, release.name)


def _seals(s, line, p):
    """Print of the two seal zones."""
    w, h = s.size
    z = line.print_seal_mm
    for top in (True, False):
        y = 0.0 if top else h - z
        s.rect(0, y, w, z, mix(p.main, (214, 217, 221), 0.35 + 0.1 * (line.layout % 3)), 225)
        kind = line.layout % 4
        if kind == 0:
            s.rect(0, y if top else h - 1.1, w, 1.1, p.accent, 90)
        elif kind == 1:
            s.rect(0, y + (z - 1.2 if top else 0.0), w, 1.2, p.deep, 90)
        elif kind == 2:
            n = 26
            for i in range(n):
                s.poly([(w * i / n, y + (z if top else 0)), (w * (i + 0.5) / n, y + (z - 1.6 if top else 1.6)), (w * (i + 1) / n, y + (z if top else 0))], p.deep, 90)
        else:
            for q in (0.9, z - 1.1):
                s.rect(0, y + q, w, 0.5, p.second, 120)
        n = 4 + line.layout % 3
        for i in range(n):
            s.text(w * (i + 0.5) / n, y + z / 2, line.name, line.mark_font, 2.3, mix(p.deep, p.main, 0.3), 120, "mm", fit_mm=w / n - 1.5)


def _header(s, line, p, y, height):
    """The panel behind the wordmark, by layout."""
    w = s.size[0]
    kind = line.layout % 6
    if kind == 0:
        s.poly([(0, y), (w, y), (w, y + height * 0.8), (w / 2, y + height * 1.1), (0, y + height * 0.8)], p.deep, 40)
        s.line([(0, y + height * 0.8), (w / 2, y + height * 1.1), (w, y + height * 0.8)], p.second, 0.9, 220)
    elif kind == 1:
        x = np.linspace(0, w, 80)
        edge = y + height * (0.9 + 0.1 * np.sin(x / w * 6 * np.pi))
        s.poly(np.r_[[[0, y]], np.c_[x, edge], [[w, y]]], p.deep, 40)
        s.line(np.c_[x, edge], p.second, 0.8, 220)
    elif kind == 2:
        s.poly([(0, y), (w, y), (w, y + height * 0.7), (0, y + height * 1.15)], p.deep, 40)
        s.line([(0, y + height * 1.15), (w, y + height * 0.7)], p.second, 1.2, 220)
    elif kind == 3:
        s.rect(0, y, w, height, mix(p.deep, p.main, 0.2), 40)
        for i in range(12):
            s.disc(w * (i + 0.5) / 12, y + height, w / 24, mix(p.deep, p.main, 0.2), 40)
        s.line([(0, y + 0.6), (w, y + 0.6)], p.second, 0.5, 220)
    elif kind == 4:
        s.disc(w / 2, y + height * 0.1, w * 0.62, p.deep, 40, p.second, 0.8, height / (w * 0.62) * 0.95)
        s.rect(0, y, w, height * 0.35, p.deep, 40)
    else:
        for i in range(9):
            s.poly([(w * i / 9, y), (w * (i + 1) / 9, y), (w * (i + 0.5) / 9, y + height * (1.15 if i % 2 else 0.95))], p.deep if i % 2 else mix(p.deep, p.main, 0.3), 40)
        s.rect(0, y, w, height * 0.75, p.deep, 40)


def _pack_front(s, line, release, p, f, g):
    w, h = s.size
    z = line.print_seal_mm
    _scene(s, release.motif, (0, z, w, h - z), p, g)
    s.grain(g, 0.06, 3.0, z, h - z)
    low = line.layout in (2, 5)
    hy = h - z - 27.0 if low else z
    _header(s, line, p, hy, 16.0 if not low else 14.0)
    _mark(s, line, p, f, w / 2, hy + (8.6 if not low else 6.6), w * 0.84)
    _name(s, line, release, p, w / 2, (z + 8.0) if low else (h - z - 15.5), 4.4, w - 6)
    ey = h - z - 6.4
    left = line.layout % 2 == 0
    box = emblem(s, f.emblem if f.emblem is not None else line.emblem, 9.2 if left else w - 9.2, ey, 5.6, p)
    s.region("emblem", "emblem", box)
    cx = w - 12.5 if left else 12.5
    s.rect(cx - 9, ey - 0.2, 18, 5.0, p.paper, 0, 1.0, p.deep, 0.35)
    words = f"{release.cards} cards"
    s.region("count", "count", s.text(cx, ey + 2.35, words, line.bold_font, 3.1, p.deep, 0, "mm", fit_mm=16), words)
    _seals(s, line, p)
    a0, a1 = (z + 14, h - z - 29) if low else (z + 20, h - z - 20)
    s.region("artwork", "art", (3.0, a0, w - 6, a1 - a0), None, 0.0)
    s.region("header panel", "panel", (0.5, hy + 0.5, w - 1, 13.0), None, 0.0)


def _pack_back(s, line, release, p, f, g):
    w, h = s.size
    z = line.print_seal_mm
    s.gradient(mix(p.main, p.deep, 0.15), p.deep, z, h - z, 30)
    for _ in range(42):
        x, y, r, n = g.uniform(0, w), g.uniform(z, h - z), g.uniform(0.8, 4.2), (3, 4, 6, 40)[line.layout % 4]
        t = np.linspace(0, 2 * np.pi, n + 1)[:-1] + g.uniform(0, 1)
        s.poly(np.c_[x + r * np.cos(t), y + r * np.sin(t)], mix(mix(p.main, p.second, g.uniform(0, 0.5)), p.deep, 0.5), 60, mix(p.second, p.deep, 0.5), 0.25)
    s.grain(g, 0.05, 3.0, z, h - z)
    small = Sheet((w - 6, 30.0), p.main, 60, s.k / 2)
    _scene(small, release.motif, (0, 0, w - 6, 30.0), p, g)
    small.grain(g, 0.05, 3.0)
    py = z + 16.0
    s.paste(small, 3.0, py)
    s.line([(3, py), (w - 3, py), (w - 3, py + 30), (3, py + 30), (3, py)], p.second, 0.7, 220)
    s.region("back picture", "art", (3.5, py + 0.5, w - 7, 29.0), None, 0.0)
    _mark(s, line, p, f, w / 2, z + 7.6, w * 0.60)
    y = py + 32.5
    s.rect(4.0, y, w - 8, 11.6, p.paper, 0, 1.0, p.deep, 0.4)
    s.region("motto", "text", s.text(w / 2, y + 2.9, release.motto[0], line.head_font, 2.9, p.deep, 0, "mm", fit_mm=w - 12), release.motto[0])
    s.text(w / 2, y + 6.3, release.motto[1], line.text_font, 1.9, p.deep, 0, "mm", fit_mm=w - 11)
    s.text(w / 2, y + 9.4, f"{line.name}: {release.name}   ·   {release.cards} cards in this pack", line.bold_font, 1.75, p.accent, 0, "mm", fit_mm=w - 11)
    y += 13.4
    words = legal_lines(line, release, f)
    s.rect(2.5, y, w - 5, 10.0, mix(p.deep, (0, 0, 0), 0.3), 0, 0.8, mix(p.second, p.deep, 0.4), 0.25)
    for i, text in enumerate(words):
        s.text(w / 2, y + 1.8 + 2.12 * i, text, line.text_font, 1.62, (244, 244, 240), 0, "mm", fit_mm=w - 7)
    s.region("legal text", "legal", (3.0, y + 0.4, w - 6, 9.2), " ".join(words) or None, 0.0)
    y = h - z - 15.6
    left = line.layout % 2 == 0
    s.region("barcode", "code", barcode(s, 3.0 if left else w - 40.3, y, release.gtin_pack, line.text_font, 10.6), release.gtin_pack, 0.0)
    s.region("emblem", "emblem", emblem(s, f.emblem if f.emblem is not None else line.emblem, w - 11.5 if left else 11.5, y + 7.6, 5.4, p))
    _seals(s, line, p)


def _box_face(s, line, release, face, p, f, g):
    w, h = s.size
    sign = f.emblem if f.emblem is not None else line.emblem
    if face in ("front", "back"):
        _scene(s, release.motif, (0, 0, w, h), p, g)
        s.grain(g, 0.05, 4.5)
        _header(s, line, p, 0, 30)
        _mark(s, line, p, f, w / 2, 15.5, w * (0.74 if face == "front" else 0.66))
        if face == "front":
            _name(s, line, release, p, w / 2, h - 29.0, 7.6, w * 0.75)
            s.region("emblem", "emblem", emblem(s, sign, 16.0, h - 14.0, 10.5, p))
            s.rect(w - 62, h - 19, 56, 12, p.paper, 0, 2.0, p.deep, 0.6)
            words = f"36 packs of {release.cards} cards"
            s.region("count", "count", s.text(w - 34, h - 12.8, words, line.bold_font, 4.8, p.deep, 0, "mm", fit_mm=51), words)
            s.region("artwork", "art", (5, 38, w - 10, h - 78), None, 0.0)
        else:
            y = h * 0.48
            s.rect(8, y, w - 16, h - y - 7, p.paper, 0, 2.0, p.deep, 0.8)
            s.region("motto", "text", s.text(w / 2, y + 6.5, release.motto[0], line.head_font, 5.6, p.deep, 0, "mm", fit_mm=w - 26), release.motto[0])
            s.text(w / 2, y + 13.0, release.motto[1], line.text_font, 3.2, p.deep, 0, "mm", fit_mm=w - 26)
            words = legal_lines(line, release, f)
            for i, text in enumerate(words):
                s.text(12, y + 19.5 + 3.4 * i, text, line.text_font, 2.5, p.deep, 0, "lm", fit_mm=w - 26)
            s.region("legal text", "legal", (11, y + 17.4, 84, 14.6), " ".join(words) or None, 0.0)
            s.region("barcode", "code", barcode(s, 12, h - 26.5, release.gtin_box, line.text_font, 13.0), release.gtin_box, 0.0)
            s.region("emblem", "emblem", emblem(s, sign, w - 23, h - 20, 9.0, p))
            s.region("artwork", "art", (5, 36, w - 10, y - 38), None, 0.0)
    elif face in ("left", "right"):
        _scene(s, release.motif, (0, 0, w, h), p, g)
        s.grain(g, 0.05, 4.0)
        s.rect(0, 0, w, 25, p.deep, 0)
        s.line([(0, 25), (w, 25)], p.second, 1.2, 0)
        _mark(s, line, p, f, w / 2, 12.5, w * 0.82)
        s.rect(0, h - 19, w, 19, p.main if face == "left" else p.accent, 0)
        _name(s, line, release, p, w / 2, h - 9.5, 4.8, w - 6)
        s.region("emblem", "emblem", emblem(s, sign, w - 11 if face == "left" else 11, 35, 7.5, p))
        s.region("artwork", "art", (4, 46, w - 8, h - 68), None, 0.0)
    else:
        s.gradient(p.main, p.deep, 0, h, 0)
        for _ in range(60):
            x, y, r = g.uniform(0, w), g.uniform(0, h), g.uniform(1.5, 6)
            t = np.linspace(0, 2 * np.pi, int(g.integers(4, 9)))[:-1] + g.uniform(0, 1)
            s.poly(np.c_[x + r * np.cos(t), y + r * np.sin(t)], mix(mix(p.main, p.second, g.uniform(0, 0.6)), p.deep, 0.4), 0, mix(p.second, p.deep, 0.3), 0.35)
        s.grain(g, 0.05, 4.0)
        if face == "top":
            _mark(s, line, p, f, w / 2, h * 0.33, w * 0.68)
            _name(s, line, release, p, w / 2, h - 14.0, 6.6, w * 0.6)
            for cx in (13.0, w - 13.0):
                s.region("emblem left" if cx < w / 2 else "emblem right", "emblem", emblem(s, sign, cx, h - 14.0, 8.4, p))
        else:
            s.rect(9, 7, w - 18, h - 14, p.paper, 0, 2.0, p.deep, 0.8)
            words = f"{line.name}  ·  {release.name}"
            s.region("name line", "text", s.text(w / 2, 14.5, words, line.head_font, 5.6, p.deep, 0, "mm", fit_mm=w - 28), f"{line.name} · {release.name}")
            lines_ = legal_lines(line, release, f)
            for i, text in enumerate(lines_):
                s.text(15, 21.5 + 3.5 * i, text, line.text_font, 2.7, p.deep, 0, "lm", fit_mm=w - 32)
            s.region("legal text", "legal", (14, 19.2, 92, 15.0), " ".join(lines_) or None, 0.0)
            s.region("barcode", "code", barcode(s, 15, h - 26.0, release.gtin_box, line.text_font, 12.0), release.gtin_box, 0.0)
            s.region("emblem", "emblem", emblem(s, sign, w - 24, h - 20.5, 8.6, p))


def face(line: Line, release: Release, form: str, name: str, forgery: Forgery = GENUINE, px_per_mm: float = 12.0, seed: str = "") -> tuple[Image.Image, Image.Image, list[dict]]:
    """Ink, metal and regions of one face."""
    p = release.palette
    if forgery.hue_deg or forgery.gain != 1.0:
        p = _turned(p, forgery.hue_deg, forgery.gain)
    s = Sheet(line.face_mm(form, name), p.main, 60 if form == "pack" else 0, px_per_mm)
    g = rng("families", "art", seed, line.id, release.id, form, name)
    if form == "pack":
        (_pack_front if name == "front" else _pack_back)(s, line, release, p, forgery, g)
    else:
        _box_face(s, line, release, name, p, forgery, g)
    ink, metal = s.finish()
    if forgery.soften_mm > 0.01:
        ink = ink.filter(ImageFilter.GaussianBlur(forgery.soften_mm * px_per_mm))
    return ink, metal, s.regions


def flat_scan(ink: Image.Image, metal: Image.Image) -> Image.Image:
    """How a flatbed scanner sees the sheet: film parts darker and greyer than white-backed ink."""
    a, m = np.asarray(ink).astype(np.float32), np.asarray(metal).astype(np.float32)[..., None] / 255
    film = 0.62 * (0.75 * a + 0.25 * a.mean(axis=2, keepdims=True)) + 22
    return Image.fromarray(np.clip(a * (1 - m) + film * m, 0, 255).astype(np.uint8))
