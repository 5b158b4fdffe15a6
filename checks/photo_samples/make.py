"""The samples of crates/photo/tests/samples as Pillow and pillow-heif (libheif) decode them.

Codes of 255 at every seventh pixel. The samples themselves come from make_samples.py. Without
pillow-heif, expected_heic.csv is left as it is and not checked.
"""

from pathlib import Path

import numpy
import PIL
from PIL import Image

from oracle import Table, main

SAMPLES = Path(__file__).resolve().parent.parent.parent / "crates" / "photo" / "tests" / "samples"
STEP = 7
COLUMNS = ["file", "x", "y", "red", "green", "blue"]
PILLOW = [
    "baseline.jpg",
    "full_chroma.jpg",
    "progressive.jpg",
    "grey.jpg",
    "phone.jpg",
    "palette.png",
    "alpha.png",
    "lossy.webp",
    "lossless.webp",
]
HEIC = ["profile.heic", "plain.heic", "full_chroma.heic", "phone.heic", "ten_bit.heic"]


def rows(name, codes):
    height, width = codes.shape[:2]
    places = [(x, y) for y in range(0, height, STEP) for x in range(0, width, STEP)]
    return [[name, x, y, *(round(float(v), 3) for v in codes[y, x])] for x, y in places]


def by_pillow(name):
    image = Image.open(SAMPLES / name)
    if name == "alpha.png":
        image = Image.alpha_composite(Image.new("RGBA", image.size, "white"), image)
    return numpy.asarray(image.convert("RGB"))


def by_libheif(name):
    wide = name.startswith("ten")
    file = pillow_heif.open_heif(SAMPLES / name, convert_hdr_to_8bit=not wide)
    codes = numpy.asarray(file)[..., :3]
    return codes.astype(float) / 257 if wide else codes


def table(names, decoded):
    return Table(COLUMNS, [row for name in names for row in rows(name, decoded(name))])


tables = {"expected.csv": table(PILLOW, by_pillow)}
libraries = [numpy, PIL]
try:
    import pillow_heif

    tables["expected_heic.csv"] = table(HEIC, by_libheif)
    libraries.append(pillow_heif)
except ImportError:
    print("pillow-heif is not installed: expected_heic.csv is not recomputed")

main(__doc__, tables, libraries)
