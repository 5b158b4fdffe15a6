"""Hand-held views of flat pictures with reflections: scikit-image's sample pictures, warped and glared.

Each picture is one face, 6 pixels a millimetre. Five views of it: another pose, another camera gain and
white balance, another broad reflection and another small one that clips, noise, JPEG. What a merged
reference should look like is the picture itself (`ssim.py` compares them).
"""

import hashlib
import io
import sys
from pathlib import Path

import numpy as np
import skimage
from PIL import Image
from skimage import data, transform

from oracle import Table, main

HERE = Path(__file__).resolve().parent
PX_PER_MM = 6.0
PICTURES = {"coffee": data.coffee, "chelsea": data.chelsea, "ihc": data.immunohistochemistry}
VIEWS = 5
QUALITY = 93


def linear(codes):
    c = codes.astype(np.float64) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def coded(light):
    light = np.clip(light, 0.0, 1.0)
    c = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(c * 255.0).astype(np.uint8)


def view(picture, rng):
    height, width = picture.shape[:2]
    light = linear(picture) * 0.75
    scale = 1.25
    margin = 60
    frame = (int(height * scale) + 2 * margin, int(width * scale) + 2 * margin)
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    turn = np.deg2rad(rng.uniform(-3, 3))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    middle = corners.mean(axis=0)
    placed = (corners - middle) @ spin.T * scale * 0.95 + np.array([frame[1], frame[0]]) / 2
    placed += rng.uniform(-0.035, 0.035, (4, 2)) * min(height, width) * scale
    tform = transform.ProjectiveTransform.from_estimate(corners - 0.5, placed)
    shown = transform.warp(light, tform.inverse, output_shape=frame, order=3, mode="edge")
    inside = transform.warp(np.ones(picture.shape[:2]), tform.inverse, output_shape=frame, order=1, cval=0.0)
    y, x = np.mgrid[0 : frame[0], 0 : frame[1]].astype(float)
    gain = rng.uniform(0.85, 1.1) * np.array([rng.uniform(0.94, 1.06), 1.0, rng.uniform(0.92, 1.08)])
    falling = 1.0 + 0.12 * (rng.uniform(-1, 1) * (x / frame[1] - 0.5) + rng.uniform(-1, 1) * (y / frame[0] - 0.5))
    shown = np.clip(shown, 0, None) * gain * falling[..., None]

    def blob(size, strength):
        cx, cy = rng.uniform(0.2, 0.8) * frame[1], rng.uniform(0.2, 0.8) * frame[0]
        return strength * np.exp(-(((x - cx) / size) ** 2 + ((y - cy) / (0.6 * size)) ** 2))

    side = min(height, width) * scale
    shown += (blob(0.20 * side, 0.35) + blob(0.05 * side, 1.6))[..., None]
    ground = np.array([0.20, 0.21, 0.23]) * (1.0 + 0.1 * (x / frame[1] - 0.5))[..., None]
    shown = inside[..., None] * shown + (1 - inside[..., None]) * ground
    return coded(shown + rng.normal(0.0, 0.003, shown.shape))


rows = []
for name, load in PICTURES.items():
    picture = load()[..., :3]
    rng = np.random.default_rng(int(hashlib.sha256(name.encode()).hexdigest()[:8], 16))
    files = {}
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG", optimize=True)
    files[f"{name}-original.png"] = out.getvalue()
    for k in range(1, VIEWS + 1):
        out = io.BytesIO()
        codes = view(picture, rng)
        Image.fromarray(codes).save(out, "JPEG", quality=QUALITY, subsampling=0)
        files[f"{name}-{k}.jpg"] = out.getvalue()
        rows.append([name, k, codes.shape[1], codes.shape[0], float(codes.mean())])
    if "--check" not in sys.argv[1:]:
        (HERE / "views").mkdir(exist_ok=True)
        for file, content in files.items():
            (HERE / "views" / file).write_bytes(content)

main(
    __doc__,
    {"views.csv": Table(["picture", "view", "width", "height", "mean_code"], rows, tolerance={"mean_code": 0.05})},
    libraries=[np, skimage],
)
