"""Draws pictures of single lines of text whose words and letter sizes are known. Run once.

`lines/` and `truth.csv` are what it wrote: lines drawn by Pillow (FreeType) in the fonts that matplotlib
brings, softened, seen at few pixels, unevenly lit, with noise and JPEG loss; and the lines of a real
photographed page (scikit-image's `page`, its words typed off by eye). `sizes/` and `sizes.csv`: pairs of
a plain line and the same line with one word set larger or smaller, softer, dimmer and noisy, at sizes in mm that follow from the
font's own tables (fontTools).
"""

import csv
import io
from pathlib import Path

import matplotlib
import numpy as np
import skimage.data
from fontTools.ttLib import TTFont
from PIL import Image, ImageDraw, ImageFilter, ImageFont

HERE = Path(__file__).resolve().parent
FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
NAMES = ["DejaVuSans", "DejaVuSerif", "DejaVuSans-Bold", "DejaVuSerif-Italic", "STIXGeneral", "DejaVuSansMono"]
TEXTS = [
    "© 2019 Marrow & Finch Printworks. All rights reserved.", "Not for children under 3 years: small parts.",
    "Made in Oldmere. Contents differ from pack to pack.", "36 packs of 11 cards", "The lanterns remember.",
    "Printed 1998, second run 2004", "KEEP DRY AND OUT OF THE SUN", "Quarry Lights · Tide of Glass",
    "Weigh the anchor, count the stars.", "10 cards and 1 emblem in this pack",
]
"""Invented for this check."""
PAGE = [
    ((4, 8, 284, 40), "Region-based segmentation"), ((4, 48, 380, 72), "Let us first determine markers of the coins and the"),
    ((4, 66, 380, 92), "background. These markers are pixels that we can label"), ((2, 84, 380, 107), "unambiguously as either object or background. Here,"),
    ((2, 101, 380, 122), "the markers are found at the two extreme parts of the"), ((2, 118, 190, 140), "histogram of grey values:"),
]
"""Boxes in scikit-image's page (x0, y0, x1, y1) and what stands there, typed off by eye."""
ACROSS = 4
"""Lines are drawn so many times larger and averaged down."""


def jpeg(picture, quality):
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality)
    return Image.open(io.BytesIO(out.getvalue())).convert("L")


def drawn(text, font, size, paper=232, ink=28):
    f = ImageFont.truetype(str(FONTS / f"{font}.ttf"), size)
    x0, y0, x1, y1 = f.getbbox(text)
    pad = int(0.35 * (y1 - y0))
    picture = Image.new("L", (x1 - x0 + 2 * pad, y1 - y0 + 2 * pad), paper)
    ImageDraw.Draw(picture).text((pad - x0, pad - y0), text, font=f, fill=ink)
    return picture


def seen(picture, pixels, blur, noise, quality, g):
    """The picture with `pixels` rows of text height as a camera would see it."""
    k = pixels / (picture.height / 1.7)
    soft = picture.filter(ImageFilter.GaussianBlur(blur / k))
    small = soft.resize((round(picture.width * k), round(picture.height * k)), Image.BOX)
    a = np.asarray(small, float)
    light = 1 + 0.25 * np.linspace(-1, 1, a.shape[1])[None] * g.choice([-1, 1])
    a = np.clip(a * light * 0.9 + g.normal(0, noise, a.shape), 0, 255)
    return jpeg(Image.fromarray(a.astype(np.uint8)), quality)


def lines():
    g = np.random.default_rng(20)
    rows = []
    for n in range(40):
        text, font = TEXTS[n % len(TEXTS)], NAMES[n % len(NAMES)]
        pixels, blur = (8, 10, 12, 16, 24)[n % 5], (0.4, 0.7, 1.0, 1.3)[n // 5 % 4]
        dark = n % 3 == 2
        picture = drawn(text, font, 96, *((40, 225) if dark else (232, 28)))
        name = f"drawn-{n:02d}.png"
        seen(picture, pixels, blur, 4.0, int(g.integers(55, 92)), g).save(HERE / "lines" / name)
        rows.append([name, pixels, blur, text])
    page = Image.fromarray(skimage.data.page())
    for n, (box, text) in enumerate(PAGE):
        name = f"page-{n}.png"
        page.crop(box).save(HERE / "lines" / name)
        rows.append([name, "", "", text])
    return rows


def sized(words, font, mm, which, factor, px_per_mm):
    """A line at so many px/mm with one word's size multiplied, on one baseline; capital height in mm."""
    tables = TTFont(FONTS / f"{font}.ttf")
    cap = tables["glyf"]["H"].yMax / tables["head"].unitsPerEm
    k = px_per_mm * ACROSS
    em = mm / cap * k
    width, height = int(46 * k), int(3.0 * mm * k)
    picture = Image.new("L", (width, height), 235)
    pen = ImageDraw.Draw(picture)
    x = 1.5 * mm * k
    for i, word in enumerate(words):
        f = ImageFont.truetype(str(FONTS / f"{font}.ttf"), em * (factor if i == which else 1.0))
        pen.text((x, 2.0 * mm * k), word, font=f, fill=30, anchor="ls")
        x += f.getlength(word) + 0.45 * em
    picture = picture.crop((0, 0, min(width, int(x + mm * k)), height))
    return picture.resize((picture.width // ACROSS, picture.height // ACROSS), Image.BOX)


def sizes():
    g = np.random.default_rng(21)
    rows = []
    plans = [(0, 1.23), (2, 1.23), (1, 1.10), (0, 1.05), (3, 0.90), (1, 0.80), (2, 1.0), (0, 1.0)]
    for n, (which, factor) in enumerate(plans * 2):
        font, mm = NAMES[n % 3], (1.4, 2.2)[n // 8]
        words = ("Keep", "lanterns", "trimmed", "brightly") if n % 2 else ("HOLD", "THE", "NORTH", "WIND")
        plain = sized(words, font, mm, 0, 1.0, 20)
        other = sized(words, font, mm, which, factor, 20)
        soft = other.filter(ImageFilter.GaussianBlur((1.0, 2.0)[n % 2]))
        a = np.clip(np.asarray(soft, float) * 0.8 + 12 + g.normal(0, 3, (other.height, other.width)), 0, 255)
        width = max(plain.width, other.width)
        for name, p in ((f"{n:02d}-plain.png", plain), (f"{n:02d}-set.jpg", Image.fromarray(a.astype(np.uint8)))):
            whole = Image.new("L", (width, p.height), 235 if "plain" in name else 200)
            whole.paste(p, (0, 0))
            whole.save(HERE / "sizes" / name, quality=88)
        rows.append([f"{n:02d}", " ".join(words), font, mm, which, factor])
    return rows


if __name__ == "__main__":
    for folder in ("lines", "sizes"):
        (HERE / folder).mkdir(exist_ok=True)
    for name, head, table in (
        ("truth.csv", ["picture", "line_px", "blur_px", "text"], lines()),
        ("sizes.csv", ["pair", "words", "font", "capital_mm", "word", "factor"], sizes()),
    ):
        with open(HERE / name, "w", newline="") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(head)
            writer.writerows(table)
