"""What Tesseract reads from the lines of `lines/`.

`truth.csv` and the pictures come from `make_lines.py`; `reads.csv` holds, line by line, what Debian's
tesseract reads from it enlarged to its usual 48 rows, as one line (`--psm 7`), English. The Rust test
reads the same lines with this program's recogniser; its rate of wrong letters must not be the higher.
Where no tesseract is installed the committed readings stand, and this says so.
"""

import csv
import shutil
import subprocess
import sys
import unicodedata
from pathlib import Path
from types import SimpleNamespace

import PIL
from PIL import Image

from oracle import Table, main

HERE = Path(__file__).resolve().parent
ROWS = 48
SECONDS = 20


def letters(text):
    """What is compared: letters and digits, whatever their case."""
    return "".join(c for c in unicodedata.normalize("NFC", text).lower() if c.isalnum())


def edits(a, b):
    """Levenshtein distance."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a):
        new = [i + 1]
        for j, y in enumerate(b):
            new.append(min(row[j] + (x != y), row[j + 1] + 1, new[j] + 1))
        row = new
    return row[-1]


def read(picture, scratch):
    small = Image.open(picture).convert("L")
    small.resize((round(small.width * ROWS / small.height), ROWS), Image.BICUBIC).save(scratch)
    done = subprocess.run(["tesseract", str(scratch), "-", "--psm", "7", "-l", "eng"], capture_output=True, text=True, timeout=SECONDS, stdin=subprocess.DEVNULL)
    return " ".join(done.stdout.split())


def rows():
    import tempfile

    with open(HERE / "truth.csv") as f, tempfile.TemporaryDirectory() as folder:
        for row in csv.DictReader(f):
            yield [row["picture"], read(HERE / "lines" / row["picture"], Path(folder) / "line.png"), row["text"]]


if shutil.which("tesseract") is None:
    print("tesseract is not installed: the committed readings stand")
    sys.exit(0)
found = list(rows())
wrong, of = sum(edits(letters(r), letters(t)) for _, r, t in found), sum(len(letters(t)) for _, _, t in found)
print(f"  tesseract: {wrong} of {of} letters wrong ({100 * wrong / of:.1f} %), {sum(letters(r) == letters(t) for _, r, t in found)} of {len(found)} lines right")
VERSION = subprocess.run(["tesseract", "--version"], capture_output=True, text=True).stdout.split("\n")[0].split()[-1]
main(__doc__, {"reads.csv": Table(["picture", "read"], [r[:2] for r in found])}, libraries=[PIL, SimpleNamespace(__name__="tesseract", __version__=VERSION)])
