"""A printed sheet while it is drawn: ink colours and metal share, in millimetres.

Metal 255: bare or transparently inked film; 0: opaque, white-backed ink. Drawn at `SS` times the
face's resolution and reduced by a box filter.
"""
from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from families import noise

SS = 2
FONTS = Path(__file__).resolve().parent.parent / ".fonts"
"""Font files by name; see README.md for the packages that they come from."""

Colour = tuple[int, int, int]


@lru_cache(256)
def font(name: str, size_px: int) -> ImageFont.FreeTypeFont:
    """A font file at an em size."""
    path = FONTS / name
    if not path.exists():
        raise FileNotFoundError(f"{path}: font missing; `render_set.py fonts` lists the packages and unpacks them")
    return ImageFont.truetype(str(path), max(4, size_px))


def mix(a: Colour, b: Colour, t: float) -> Colour:
    """Linear blend of two sRGB codes."""
    return tuple(int(round(x * (1 - t) + y * t)) for x, y in zip(a, b))


class Sheet:
    """One face."""

    def __init__(self, size_mm: tuple[float, float], base: Colour, metal: int, px_per_mm: float = 12.0):
        self.size = size_mm
        self.k = px_per_mm * SS
        px = (int(round(size_mm[0] * px_per_mm)) * SS, int(round(size_mm[1] * px_per_mm)) * SS)
        self.ink, self.metal = Image.new("RGB", px, base), Image.new("L", px, metal)
        self._i, self._m = ImageDraw.Draw(self.ink), ImageDraw.Draw(self.metal)
        self.regions: list[dict] = []

    def region(self, name: str, kind: str, box, text: str | None = None, pad: float = 0.4) -> None:
        """Notes a named part, clipped to the face."""
        x, y = max(0.0, box[0] - pad), max(0.0, box[1] - pad)
        x1, y1 = min(self.size[0], box[0] + box[2] + pad), min(self.size[1], box[1] + box[3] + pad)
        self.regions.append({"name": name, "kind": kind, "rect_mm": [round(v, 2) for v in (x, y, x1 - x, y1 - y)], "text": text})

    def _px(self, points):
        return [(float(x) * self.k, float(y) * self.k) for x, y in points]

    def poly(self, points, colour: Colour, metal: int | None = 0, edge: Colour | None = None, edge_mm: float = 0.3) -> None:
        """A filled polygon."""
        p = self._px(points)
        self._i.polygon(p, fill=colour)
        if metal is not None:
            self._m.polygon(p, fill=metal)
        if edge is not None:
            self._i.line(p + [p[0]], fill=edge, width=max(1, round(edge_mm * self.k)), joint="curve")

    def line(self, points, colour: Colour, width_mm: float, metal: int | None = 0) -> None:
        """An open stroke."""
        p, w = self._px(points), max(1, round(width_mm * self.k))
        self._i.line(p, fill=colour, width=w, joint="curve")
        if metal is not None:
            self._m.line(p, fill=metal, width=w, joint="curve")

    def disc(self, x, y, r, colour: Colour, metal: int | None = 0, edge: Colour | None = None, edge_mm=0.3, flat=1.0) -> None:
        """A filled ellipse of height `flat` times its width."""
        box = ((x - r) * self.k, (y - r * flat) * self.k, (x + r) * self.k, (y + r * flat) * self.k)
        self._i.ellipse(box, fill=colour, outline=edge, width=max(1, round(edge_mm * self.k)) if edge else 1)
        if metal is not None:
            self._m.ellipse(box, fill=metal)

    def rect(self, x, y, w, h, colour: Colour, metal: int | None = 0, radius=0.0, edge: Colour | None = None, edge_mm=0.3) -> None:
        """A (rounded) rectangle; nothing below a pixel."""
        box = (x * self.k, y * self.k, max((x + w) * self.k - 1, x * self.k), max((y + h) * self.k - 1, y * self.k))
        self._i.rounded_rectangle(box, radius * self.k, fill=colour, outline=edge, width=max(1, round(edge_mm * self.k)) if edge else 1)
        if metal is not None:
            self._m.rounded_rectangle(box, radius * self.k, fill=metal)

    def gradient(self, top: Colour, low: Colour, y0: float, y1: float, metal: int | None = None) -> None:
        """A vertical blend over the full width."""
        a, b = int(y0 * self.k), int(y1 * self.k)
        t = np.linspace(0, 1, max(2, b - a))[:, None]
        strip = (np.asarray(top) * (1 - t) + np.asarray(low) * t).astype(np.uint8)
        self.ink.paste(Image.fromarray(strip[:, None, :].repeat(1, 1)).resize((self.ink.width, strip.shape[0])), (0, a))
        if metal is not None:
            self._m.rectangle((0, a, self.ink.width, b), fill=metal)

    def text(self, x, y, words, face, size_mm, colour: Colour, metal: int | None = 0, anchor="lm", stroke: Colour | None = None, stroke_mm=0.0, fit_mm: float | None = None):
        """A line of text; `fit_mm` shrinks it to a width. Returns its box (x, y, w, h) in mm."""
        size = round(size_mm * self.k)
        if fit_mm:
            b = font(face, size).getbbox(words)
            size = min(size, int(size * fit_mm * self.k / max(1, b[2] - b[0])))
        f, at, w = font(face, size), (x * self.k, y * self.k), round(stroke_mm * self.k)
        if stroke is not None:
            self._i.text(at, words, font=f, fill=stroke, anchor=anchor, stroke_width=w)
            self._m.text(at, words, font=f, fill=0, anchor=anchor, stroke_width=w)
        self._i.text(at, words, font=f, fill=colour, anchor=anchor)
        if metal is not None:
            self._m.text(at, words, font=f, fill=metal, anchor=anchor)
        b = self._i.textbbox(at, words, font=f, anchor=anchor, stroke_width=w)
        return (b[0] / self.k, b[1] / self.k, (b[2] - b[0]) / self.k, (b[3] - b[1]) / self.k)

    def lettering(self, cx, cy, words, face, width_mm, bend_mm, slant, top: Colour, low: Colour, outline: Colour, metal: int, outline_mm=0.7):
        """A wordmark fitted to a width, bent on an arc, slanted; returns its box in mm."""
        f = font(face, round(10 * self.k))
        b = f.getbbox(words)
        pad = int(2 * self.k)
        glyphs = Image.new("L", (b[2] - b[0] + 2 * pad, b[3] - b[1] + 2 * pad), 0)
        ImageDraw.Draw(glyphs).text((pad - b[0], pad - b[1]), words, font=f, fill=255)
        s = width_mm * self.k / (b[2] - b[0])
        s = min(s, 0.24 * width_mm * self.k / max(1, (b[3] - b[1])) * 1.9)
        glyphs = glyphs.resize((int(glyphs.width * s), int(glyphs.height * s)), Image.LANCZOS)
        w, h = glyphs.size
        bend, skew = bend_mm * self.k, int(abs(slant) * h)
        canvas = np.zeros((h + int(abs(bend)) + 2, w + skew + 2), np.uint8)
        a = np.asarray(glyphs)
        for i in range(w):
            c = 2 * i / max(1, w - 1) - 1
            d = int(round(bend * c * c if bend >= 0 else -bend * (1 - c * c)))
            canvas[d : d + h, i] = a[:, i]
        m = Image.fromarray(canvas)
        if slant:
            m = m.transform(m.size, Image.AFFINE, (1, slant, -(skew if slant > 0 else 0), 0, 1, 0), Image.BILINEAR)
        mask = Image.new("L", self.ink.size, 0)
        mask.paste(m, (int(cx * self.k - m.width / 2), int(cy * self.k - m.height / 2)))
        fat = mask.filter(ImageFilter.GaussianBlur(outline_mm * self.k * 0.55)).point(lambda v: 255 if v > 18 else v * 14)
        shadow = Image.new("L", self.ink.size, 0)
        shadow.paste(fat, (int(0.5 * self.k), int(0.8 * self.k)))
        for layer, colour, share in ((shadow, mix(outline, (0, 0, 0), 0.55), 0), (fat, outline, 0)):
            self.lay(layer, colour, share)
        box = mask.getbbox()
        t = np.clip((np.arange(mask.height) - box[1]) / max(1, box[3] - box[1]), 0, 1)[:, None]
        ramp = (np.asarray(top) * (1 - t) + np.asarray(low) * t).astype(np.uint8)[:, None, :]
        self.lay(mask, Image.fromarray(ramp).resize(mask.size), metal)
        full = fat.getbbox()
        return (full[0] / self.k, full[1] / self.k, (full[2] - full[0]) / self.k, (full[3] - full[1]) / self.k)

    def lay(self, mask: Image.Image, colour: Colour | Image.Image, metal: int | None) -> None:
        """Prints a colour or an image through a mask."""
        self.ink.paste(colour if isinstance(colour, Image.Image) else Image.new("RGB", self.ink.size, colour), (0, 0), mask)
        if metal is not None:
            self.metal.paste(metal, (0, 0, *self.ink.size), mask)

    def glow(self, x, y, r, colour: Colour, strength=180) -> None:
        """A soft halo."""
        small = Image.new("L", (self.ink.width // 8, self.ink.height // 8), 0)
        q = self.k / 8
        ImageDraw.Draw(small).ellipse(((x - r / 2) * q, (y - r / 2) * q, (x + r / 2) * q, (y + r / 2) * q), fill=strength)
        self.lay(small.filter(ImageFilter.GaussianBlur(r * q * 0.35)).resize(self.ink.size, Image.BILINEAR), colour, None)

    def paste(self, other: "Sheet", x: float, y: float) -> None:
        """Lays another sheet of the same scale onto this one."""
        at = (int(x * self.k), int(y * self.k))
        self.ink.paste(other.ink, at)
        self.metal.paste(other.metal, at)

    def grain(self, g: np.random.Generator, strength: float, cell_mm: float, y0=0.0, y1: float | None = None) -> None:
        """Painterly mottling between two heights."""
        lo, hi = int(y0 * self.k), int((self.size[1] if y1 is None else y1) * self.k)
        h, w = (hi - lo) // 4, self.ink.width // 4
        n = noise.field(np.arange(w) * 4 / self.k, np.arange(h) * 4 / self.k, cell_mm, 3, g, (0, 0, *self.size))
        n = Image.fromarray(np.clip(128 + 60 * n, 0, 255).astype(np.uint8)).resize((self.ink.width, hi - lo), Image.BILINEAR)
        a = np.asarray(self.ink.crop((0, lo, self.ink.width, hi))).astype(np.float32)
        a *= 1 + strength * (np.asarray(n, np.float32)[..., None] - 128) / 60
        self.ink.paste(Image.fromarray(np.clip(a, 0, 255).astype(np.uint8)), (0, lo))
        self._i = ImageDraw.Draw(self.ink)

    def finish(self) -> tuple[Image.Image, Image.Image]:
        """Ink and metal at the face's resolution."""
        return self.ink.reduce(SS), self.metal.reduce(SS)


_L = ["0001101", "0011001", "0010011", "0111101", "0100011", "0110001", "0101111", "0111011", "0110111", "0001011"]
_PARITY = ["LLLLLL", "LLGLGG", "LLGGLG", "LLGGGL", "LGLLGG", "LGGLLG", "LGGGLL", "LGLGLG", "LGLGGL", "LGGLGL"]


def barcode(sheet: Sheet, x: float, y: float, gtin: str, face: str, height=11.0, module_mm=0.33):
    """An EAN-13 symbol with quiet zones on a white plate (ISO/IEC 15420); returns its box in mm."""
    right = ["".join("1" if c == "0" else "0" for c in code) for code in _L]
    bits = "101" + "".join(_L[int(d)] if p == "L" else right[int(d)][::-1] for p, d in zip(_PARITY[int(gtin[0])], gtin[1:7]))
    bits += "01010" + "".join(right[int(d)] for d in gtin[7:]) + "101"
    width = (len(bits) + 18) * module_mm
    sheet.rect(x, y, width, height + 4.0, (250, 250, 248), 0)
    for i, bit in enumerate(bits):
        if bit == "1":
            guard = i < 3 or i >= 92 or 45 <= i < 50
            sheet.rect(x + (11 + i) * module_mm, y + 1.0, module_mm, height + (1.0 if guard else 0.0), (12, 12, 14), 0)
    for k, d in enumerate(gtin):
        at = 7 if k == 0 else 11 + 6.5 + 7 * (k - 1) if k < 7 else 11 + 53.5 + 7 * (k - 7)
        sheet.text(x + at * module_mm, y + height + 2.5, d, face, 2.5, (12, 12, 14), 0, "mm")
    return (x, y, width, height + 4.0)
