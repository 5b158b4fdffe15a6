"""A contact sheet of a rendered set: one photo a case, small, in the order of the cases."""
from __future__ import annotations

from pathlib import Path

from PIL import Image


def write(root: Path, out: Path, tile: int = 168, columns: int = 8, most: int = 64, quality: int = 70) -> None:
    """Writes the sheet; photos alternate through the numbers of each case, so that backs and close-ups are seen too."""
    chosen = []
    for k, folder in enumerate(sorted(p for p in root.iterdir() if p.is_dir())):
        photos = sorted(folder.glob("*.jpg"))
        if photos:
            chosen.append(photos[k % len(photos)])
    chosen = chosen[:: max(1, -(-len(chosen) // most))][:most]
    rows = -(-len(chosen) // columns)
    sheet = Image.new("RGB", (columns * (tile + 4) + 4, rows * (tile + 4) + 4), (32, 32, 34))
    for i, path in enumerate(chosen):
        with Image.open(path) as image:
            image.thumbnail((tile, tile), Image.LANCZOS)
            x, y = 4 + (i % columns) * (tile + 4), 4 + (i // columns) * (tile + 4)
            sheet.paste(image, (x + (tile - image.width) // 2, y + (tile - image.height) // 2))
    sheet.save(out, "JPEG", quality=quality, optimize=True)
    print(f"{out}: {len(chosen)} photos, {out.stat().st_size // 1024} kB")
