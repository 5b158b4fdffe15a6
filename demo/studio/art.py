"""Drawing primitives for the printed art: two aligned layers, ink colour and metal share.

A `Sheet` is drawn at twice the resolution of the flat face and reduced by a box filter at the end.
The metal layer says how much of the light is returned by the bare or transparently inked film
(255 = no white underprint) and how much by opaque, white-backed ink (0).
Coordinates of all primitives are millimetres on the face.
"""
from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from common import PX_PER_MM, fbm

SS = 2
"""Supersampling factor."""
K = PX_PER_MM * SS

FONT_FILES = {
    "script": "/usr/share/fonts/opentype/lobster/lobster.otf",
    "roman": "/usr/share/fonts/opentype/ebgaramond/EBGaramond12-Bold.otf",
    "slab": "/usr/share/fonts/truetype/dejavu/DejaVuSerifCondensed-Bold.ttf",
    "fat": "/usr/share/fonts/truetype/leckerli-one/LeckerliOne-Regular.ttf",
    "sans": "/usr/share/fonts/truetype/dejavu/DejaVuSansCondensed.ttf",
    "sansbold": "/usr/share/fonts/truetype/dejavu/DejaVuSansCondensed-Bold.ttf",
    "mono": "/usr/share/fonts/truetype/dejavu/DejaVuSansMono.ttf",
}

Colour = tuple[int, int, int]


def font(name: str, size_mm: float) -> ImageFont.FreeTypeFont:
    """A face at an em size in millimetres."""
    return ImageFont.truetype(FONT_FILES[name], max(4, int(round(size_mm * K))))


def mix(a: Colour, b: Colour, t: float) -> Colour:
    """Linear blend of two sRGB codes."""
    return tuple(int(round(a[i] * (1 - t) + b[i] * t)) for i in range(3))


class Sheet:
    """One printed face while it is drawn."""

    def __init__(self, width_mm: float, height_mm: float, base: Colour, metal: int):
        self.width, self.height = width_mm, height_mm
        size = (int(round(width_mm * K)), int(round(height_mm * K)))
        self.ink = Image.new("RGB", size, base)
        self.metal = Image.new("L", size, metal)
        self._ink = ImageDraw.Draw(self.ink)
        self._metal = ImageDraw.Draw(self.metal)

    def mask(self) -> tuple[Image.Image, ImageDraw.ImageDraw]:
        """An empty coverage mask of the sheet's size and its drawing handle."""
        layer = Image.new("L", self.ink.size, 0)
        return layer, ImageDraw.Draw(layer)

    def lay(self, mask: Image.Image, colour: Colour | Image.Image, metal: int | None = None) -> None:
        """Print a colour (or an image) through a coverage mask."""
        source = colour if isinstance(colour, Image.Image) else Image.new("RGB", self.ink.size, colour)
        self.ink.paste(source, (0, 0), mask)
        if metal is not None:
            self.metal.paste(metal, (0, 0, *self.ink.size), mask)

    def gradient(self, top: Colour, bottom: Colour, y0: float, y1: float, metal: int | None = None) -> None:
        """A vertical blend between two heights over the full width."""
        rows = np.arange(int(y0 * K), int(y1 * K))
        t = ((rows - rows[0]) / max(1, len(rows) - 1))[:, None]
        strip = np.asarray(top) * (1 - t) + np.asarray(bottom) * t
        block = np.repeat(strip[:, None, :], self.ink.size[0], axis=1).astype(np.uint8)
        self.ink.paste(Image.fromarray(block), (0, int(rows[0])))
        if metal is not None:
            self._metal.rectangle((0, int(y0 * K), self.ink.size[0], int(y1 * K)), fill=metal)

    def poly(self, points, colour: Colour, metal: int | None = 0, edge: Colour | None = None, edge_mm: float = 0.3):
        """A filled polygon, points in mm, with an optional outline."""
        pts = [(float(x) * K, float(y) * K) for x, y in points]
        self._ink.polygon(pts, fill=colour)
        if metal is not None:
            self._metal.polygon(pts, fill=metal)
        if edge is not None:
            self._ink.line(pts + [pts[0]], fill=edge, width=max(1, int(edge_mm * K)), joint="curve")

    def line(self, points, colour: Colour, width_mm: float, metal: int | None = 0):
        """An open stroke."""
        pts = [(float(x) * K, float(y) * K) for x, y in points]
        self._ink.line(pts, fill=colour, width=max(1, int(width_mm * K)), joint="curve")
        if metal is not None:
            self._metal.line(pts, fill=metal, width=max(1, int(width_mm * K)), joint="curve")

    def disc(self, x: float, y: float, r: float, colour: Colour, metal: int | None = 0, edge: Colour | None = None, edge_mm=0.3):
        """A filled circle."""
        a = np.linspace(0, 2 * np.pi, 72, endpoint=False)
        self.poly(np.c_[x + r * np.cos(a), y + r * np.sin(a)], colour, metal, edge, edge_mm)

    def rect(self, x, y, w, h, colour: Colour, metal: int | None = 0, radius: float = 0.0, edge=None, edge_mm=0.3):
        """A (rounded) rectangle."""
        box = (x * K, y * K, (x + w) * K - 1, (y + h) * K - 1)
        self._ink.rounded_rectangle(box, radius * K, fill=colour, outline=edge, width=max(1, int(edge_mm * K)) if edge else 1)
        if metal is not None:
            self._metal.rounded_rectangle(box, radius * K, fill=metal)

    def text(self, x, y, words, face, size_mm, colour: Colour, metal: int | None = 0, anchor="lm", stroke=None, stroke_mm=0.0):
        """A line of text at an anchor point; returns its box (x, y, w, h) in mm."""
        f = font(face, size_mm)
        at = (x * K, y * K)
        w = int(stroke_mm * K)
        if stroke is not None:
            self._ink.text(at, words, font=f, fill=stroke, anchor=anchor, stroke_width=w)
            self._metal.text(at, words, font=f, fill=0, anchor=anchor, stroke_width=w)
        self._ink.text(at, words, font=f, fill=colour, anchor=anchor)
        if metal is not None:
            self._metal.text(at, words, font=f, fill=metal, anchor=anchor)
        b = self._ink.textbbox(at, words, font=f, anchor=anchor, stroke_width=w)
        return (b[0] / K, b[1] / K, (b[2] - b[0]) / K, (b[3] - b[1]) / K)

    def arched(self, cx, cy, words, face, width_mm, rise_mm, fill_top, fill_low, outline, metal, outline_mm=0.7):
        """Lettering fitted to a width and bent on an arc; returns its box in mm."""
        f = font(face, 20.0)
        b = f.getbbox(words)
        pad = int(4 * K)
        glyphs = Image.new("L", (b[2] - b[0] + 2 * pad, b[3] - b[1] + 2 * pad), 0)
        ImageDraw.Draw(glyphs).text((pad - b[0], pad - b[1]), words, font=f, fill=255)
        scale = width_mm * K / (b[2] - b[0])
        glyphs = glyphs.resize((int(glyphs.width * scale), int(glyphs.height * scale)), Image.LANCZOS)
        g = np.asarray(glyphs)
        u = np.linspace(-1, 1, g.shape[1])
        rise = int(rise_mm * K)
        bent = np.zeros((g.shape[0] + rise, g.shape[1]), np.uint8)
        for i, c in enumerate(u):
            d = int(round(rise * c * c))
            bent[d : d + g.shape[0], i] = g[:, i]
        mask = Image.new("L", self.ink.size, 0)
        mask.paste(Image.fromarray(bent), (int(cx * K - bent.shape[1] / 2), int(cy * K - bent.shape[0] / 2)))
        fat = mask.filter(ImageFilter.GaussianBlur(outline_mm * K * 0.55)).point(lambda v: 255 if v > 18 else v * 14)
        shadow = Image.new("L", self.ink.size, 0)
        shadow.paste(fat, (int(0.5 * K), int(0.8 * K)))
        self.lay(shadow, mix(outline, (0, 0, 0), 0.55), 0)
        self.lay(fat, outline, 0)
        box = mask.getbbox()
        ramp = np.zeros((*mask.size[::-1], 3), np.uint8)
        t = np.clip((np.arange(mask.size[1]) - box[1]) / (box[3] - box[1]), 0, 1)[:, None]
        ramp[:] = (np.asarray(fill_top) * (1 - t) + np.asarray(fill_low) * t)[:, None, :]
        self.lay(mask, Image.fromarray(ramp), metal)
        full = fat.getbbox()
        return (full[0] / K, full[1] / K, (full[2] - full[0]) / K, (full[3] - full[1]) / K)

    def grain(self, generator, strength: float, cells: float, y0: float = 0.0, y1: float | None = None) -> None:
        """Painterly mottling: multiplies the ink by fractal noise."""
        a = np.asarray(self.ink).astype(np.float32)
        small = fbm((self.ink.size[1] // 4, self.ink.size[0] // 4), cells, 4, generator)
        n = np.asarray(Image.fromarray(small).resize(self.ink.size, Image.BICUBIC))
        k = 1 + strength * np.clip(n, -2.5, 2.5)[..., None]
        lo, hi = int(y0 * K), int((y1 or self.height) * K)
        a[lo:hi] *= k[lo:hi]
        self.ink = Image.fromarray(np.clip(a, 0, 255).astype(np.uint8))
        self._ink = ImageDraw.Draw(self.ink)

    def finish(self) -> tuple[Image.Image, Image.Image]:
        """Ink and metal layers at the face resolution."""
        return self.ink.reduce(SS), self.metal.reduce(SS)


def barcode(sheet: Sheet, x: float, y: float, gtin: str, height: float = 13.0, module_mm: float = 1 / 3) -> tuple:
    """An EAN-13 symbol with quiet zones on a white plate (ISO/IEC 15420); returns its box in mm."""
    left = {
        "L": ["0001101", "0011001", "0010011", "0111101", "0100011", "0110001", "0101111", "0111011", "0110111", "0001011"],
        "G": ["0100111", "0110011", "0011011", "0100001", "0011101", "0111001", "0000101", "0010001", "0001001", "0010111"],
    }
    parity = ["LLLLLL", "LLGLGG", "LLGGLG", "LLGGGL", "LGLLGG", "LGGLLG", "LGGGLL", "LGLGLG", "LGLGGL", "LGGLGL"]
    right = ["".join("1" if c == "0" else "0" for c in code) for code in left["L"]]
    bits = "101" + "".join(left[p][int(d)] for p, d in zip(parity[int(gtin[0])], gtin[1:7])) + "01010"
    bits += "".join(right[int(d)] for d in gtin[7:]) + "101"
    width = (len(bits) + 18) * module_mm
    sheet.rect(x, y, width, height + 4.0, (250, 250, 248), 0)
    for i, bit in enumerate(bits):
        if bit == "1":
            guard = i < 3 or i >= 92 or 45 <= i < 50
            sheet.rect(x + (11 + i) * module_mm, y + 1.0, module_mm, height + (1.0 if guard else 0.0), (12, 12, 14), 0)
    ty = y + height + 2.5
    sheet.text(x + 7 * module_mm, ty, gtin[0], "mono", 2.6, (12, 12, 14), 0, "mm")
    for k in range(6):
        sheet.text(x + (11 + 3 + 7 * k + 3.5) * module_mm, ty, gtin[1 + k], "mono", 2.6, (12, 12, 14), 0, "mm")
        sheet.text(x + (11 + 50 + 7 * k + 3.5) * module_mm, ty, gtin[7 + k], "mono", 2.6, (12, 12, 14), 0, "mm")
    return (x, y, width, height + 4.0)
