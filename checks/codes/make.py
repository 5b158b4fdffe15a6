"""What zxing-cpp reads from the photographs of codes.

`truth.csv` and `photos/` come from `make_photos.py`; `reads.csv` holds, photo by photo, the number
that a general reader finds without knowing where the code lies (empty: none). The Rust test reads
the same photographs with their place known and must read at least as many, and none wrongly.
"""

import csv
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import PIL
import zxingcpp
from PIL import Image

from oracle import Table, main

HERE = Path(__file__).resolve().parent
FORMATS = [zxingcpp.BarcodeFormat.EAN13, zxingcpp.BarcodeFormat.EAN8, zxingcpp.BarcodeFormat.UPCA]


ZXING = SimpleNamespace(__name__="zxing-cpp", __version__=version("zxing-cpp"))


def rows():
    with open(HERE / "truth.csv") as f:
        for row in csv.DictReader(f):
            found = zxingcpp.read_barcodes(Image.open(HERE / "photos" / row["photo"]), formats=FORMATS)
            texts = sorted({r.text for r in found})
            yield [row["photo"], " ".join(f"'{t}" for t in texts)]


main(__doc__, {"reads.csv": Table(["photo", "texts"], list(rows()))}, libraries=[PIL, ZXING])
