"""From a camera's codes to the file that an offer shows: side by side, on a screen, smaller, stored again.

Gives the JPEG bytes and, for each exposure in the file, scale and offset from its own pixels to the
file's (centres at integers).
"""
from __future__ import annotations

from datetime import datetime, timedelta
from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw

from common import rng
from families import world
from families.plan import Photo


def _stored(image: Image.Image, quality: int, **more) -> Image.Image:
    """The picture after one storing."""
    b = BytesIO()
    image.save(b, "JPEG", quality=quality, subsampling=2, **more)
    return Image.open(BytesIO(b.getvalue())).convert("RGB")


def _screen(image: Image.Image, g: np.random.Generator) -> tuple[Image.Image, tuple[int, int]]:
    """The picture on a phone's screen: bars above and below, plain shapes, no words of any shop."""
    w, h = image.size
    above, below = int(h * g.uniform(0.05, 0.10)), int(h * g.uniform(0.10, 0.26))
    dark = bool(g.random() < 0.5)
    page, ink = ((18, 18, 22), (150, 150, 158)) if dark else ((250, 250, 250), (120, 120, 126))
    out = Image.new("RGB", (w, h + above + below), page)
    out.paste(image, (0, above))
    d = ImageDraw.Draw(out)
    u = w / 40
    d.ellipse((u, above * 0.3, u + above * 0.4, above * 0.7), fill=ink)
    for k in range(3):
        d.rounded_rectangle((w - (2.5 + 2.2 * k) * u, above * 0.3, w - (1.2 + 2.2 * k) * u, above * 0.7), u * 0.3, fill=ink)
    y = above + h + below * 0.12
    for k in range(int(g.integers(2, 5))):
        wide = g.uniform(0.3, 0.85)
        d.rounded_rectangle((2 * u, y, 2 * u + wide * w, y + below * 0.09), below * 0.04, fill=ink)
        y += below * 0.2
    for k in range(5):
        x = w * (k + 0.5) / 5
        d.ellipse((x - u * 0.35, above + h * 0.965 - u * 0.35, x + u * 0.35, above + h * 0.965 + u * 0.35), fill=(255, 255, 255) if k == 2 else (170, 170, 176))
    return out, (0, above)


def _exif(photo: Photo, case: str, number: int, size) -> Image.Exif:
    """What a camera writes: model, time, exposure; nothing of it knows the item."""
    shot = photo.parts[0]
    camera = next(c for c in world.cameras(shot.family) if c.id == shot.camera)
    g, gc = rng(shot.seed, "exif"), rng(case, "exif")
    when = datetime(2026, 1, 1, 8) + timedelta(minutes=int(gc.integers(0, 500000)) + 2 * number + int(g.integers(0, 2)), seconds=int(g.integers(0, 60)))
    e = Image.Exif()
    e[0x010F], e[0x0110], e[0x0112], e[0x0132] = camera.maker, camera.id, 1, when.strftime("%Y:%m:%d %H:%M:%S")
    more = e.get_ifd(0x8769)
    iso = int(g.choice([50, 64, 100, 125, 200, 320, 400, 640]))
    more[0x829A], more[0x829D], more[0x8827] = 1 / float(g.choice([30, 50, 60, 100, 120, 250])), float(camera.f_number), iso
    more[0x9003], more[0x920A], more[0xA002], more[0xA003] = when.strftime("%Y:%m:%d %H:%M:%S"), round(camera.focal_mm, 2), size[0], size[1]
    return e


def finish(photo: Photo, codes: list[np.ndarray], case: str, number: int, scale: float = 1.0) -> tuple[bytes, list[tuple[float, float, float]], tuple[int, int]]:
    """JPEG bytes, (scale, dx, dy) of each exposure, size in pixels."""
    g = rng(photo.parts[0].seed, "seller")
    images = [Image.fromarray(c) for c in codes]
    places = [[1.0, 0.0, 0.0] for _ in images]
    if photo.layout == "collage":
        height = min(i.height for i in images)
        gap = int(height * g.uniform(0, 0.02))
        scaled = [i.resize((round(i.width * height / i.height), height), Image.LANCZOS) for i in images]
        sheet = Image.new("RGB", (sum(i.width for i in scaled) + gap * (len(scaled) - 1), height), (255, 255, 255) if g.random() < 0.6 else (0, 0, 0))
        x = 0
        for k, (i, j) in enumerate(zip(scaled, images)):
            sheet.paste(i, (x, 0))
            s = i.width / j.width
            places[k] = [s, x + 0.5 * (s - 1), 0.5 * (s - 1)]
            x += i.width + gap
        image = sheet
    else:
        image = images[0]
    if photo.layout == "screenshot":
        image = _stored(image, photo.qualities[0])
        image, (dx, dy) = _screen(image, g)
        places = [[s, x + dx, y + dy] for s, x, y in places]
    elif len(photo.qualities) > 1:
        image = _stored(image, photo.qualities[0])
    if len(photo.qualities) > 1:  # a shop makes it smaller and stores it again
        long = max(16, photo.long_px * scale)
        s = min(1.0, long / max(image.size))
        size = (max(8, round(image.width * s)), max(8, round(image.height * s)))
        sx, sy = size[0] / image.width, size[1] / image.height
        image = image.resize(size, Image.LANCZOS)
        s = (sx + sy) / 2
        places = [[a * s, x * s + 0.5 * (s - 1), y * s + 0.5 * (s - 1)] for a, x, y in places]
    b = BytesIO()
    more = {"exif": _exif(photo, case, number, image.size)} if photo.exif else {}
    image.save(b, "JPEG", quality=photo.qualities[-1], subsampling=2, optimize=True, **more)
    return b.getvalue(), [tuple(p) for p in places], image.size


def moved(matrix: list, place: tuple[float, float, float]) -> list:
    """A homography to an exposure's pixels, carried to the file's."""
    s, dx, dy = place
    m = np.array([[s, 0, dx], [0, s, dy], [0, 0, 1]]) @ np.asarray(matrix)
    m = m / m[2, 2]
    return [[float(f"{v:.9g}") for v in row] for row in m]


def moved_faces(faces: list[dict], place: tuple[float, float, float]) -> list[dict]:
    """Faces' truth in the file's pixels."""
    out = []
    for f in faces:
        f = dict(f)
        for key in ("mm_to_px", "seal_mm_to_px"):
            if key in f:
                f[key] = moved(f[key], place)
        if "seal_end_mm_to_px" in f:
            f["seal_end_mm_to_px"] = {k: moved(m, place) for k, m in f["seal_end_mm_to_px"].items()}
        f["px_per_mm"] = round(f["px_per_mm"] * place[0], 3)
        f["blur_px"] = round(f["blur_px"] * place[0], 2)
        for key in ("seal_px_per_mm", "seal_blur_px"):
            if key in f:
                f[key] = {k: round(v * place[0], 3) for k, v in f[key].items()}
        out.append(f)
    return out
