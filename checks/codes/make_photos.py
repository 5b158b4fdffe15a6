"""Photographs of EAN and UPC codes with known number and place, for `make.py` and the Rust test.

    .venv/bin/python checks/codes/make_photos.py

Bars by python-barcode; drawn on a card at 40 pixels a millimetre in linear light, bent round a
cylinder, seen in perspective, blurred, with a gradient of light, noise and JPEG. Run once: the
pictures are committed. `truth.csv` holds number, symbology, photo pixels a module, and the
homography from millimetres of the card to pixels (of the flat card: bending is what a reader has
to bear).
"""

import csv
import io
from pathlib import Path

import barcode
import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates

HERE = Path(__file__).resolve().parent
CARD = (50.0, 26.0)
AT = (6.0, 5.0)
MODULE_MM = 1 / 3
HEIGHT_MM = 16.0
KINDS = {"ean13": (12, 95), "ean8": (7, 67), "upca": (11, 95)}


def card(kind, digits):
    """Reflectance of the card and the code's rectangle with its quiet zones, mm."""
    bits = barcode.get(kind, digits).build()[0]
    bits = "".join("1" if c in "1G" else "0" for c in bits)
    k = 40
    a = np.full((int(CARD[1] * k), int(CARD[0] * k)), 0.75, np.float32)
    for i, bit in enumerate(bits):
        if bit == "1":
            x0, x1 = AT[0] + (11 + i) * MODULE_MM, AT[0] + (12 + i) * MODULE_MM
            a[int(AT[1] * k) : int((AT[1] + HEIGHT_MM) * k), round(x0 * k) : round(x1 * k)] = 0.04
    # artwork around the plate
    a[: int(2 * k)] = 0.15
    a[-int(2 * k) :] = 0.3
    a[:, : int(2 * k)] = 0.2
    return a, (AT[0], AT[1], (len(bits) + 18) * MODULE_MM, HEIGHT_MM)


def view(g, px_per_mm, tilt_deg):
    """A homography, mm on the card to pixels, and the size of the photo."""
    turn, axis, tilt = np.deg2rad(g.uniform(-25, 25)), g.uniform(0, 2 * np.pi), np.deg2rad(tilt_deg)
    u = np.array([np.cos(axis), np.sin(axis), 0])
    k = np.array([[0, -u[2], u[1]], [u[2], 0, -u[0]], [-u[1], u[0], 0]])
    r = np.eye(3) + np.sin(tilt) * k + (1 - np.cos(tilt)) * k @ k
    z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    r = z @ r
    distance = 260.0
    t = np.array([0, 0, distance]) - r @ np.array([CARD[0] / 2, CARD[1] / 2, 0])
    f = px_per_mm * distance
    h = np.diag([f, f, 1]) @ np.column_stack([r[:, 0], r[:, 1], t])
    corners = np.array([[0, 0], [CARD[0], 0], CARD, [0, CARD[1]]])
    p = np.column_stack([corners, np.ones(4)]) @ h.T
    p = p[:, :2] / p[:, 2:]
    low, high = p.min(0) - 4, p.max(0) + 4
    h = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]]) @ h
    w, hh = np.ceil(high - low).astype(int)
    return h / h[2, 2], int(w), int(hh)


def photograph(g, flat, h, w, hh, blur_px, bend):
    inv = np.linalg.inv(h)
    over = 4
    ys, xs = np.mgrid[0 : hh * over, 0 : w * over]
    p = np.stack([(xs + 0.5) / over - 0.5, (ys + 0.5) / over - 0.5, np.ones(xs.shape)], -1) @ inv.T
    x, y = p[..., 0] / p[..., 2], p[..., 1] / p[..., 2]
    # a card bent round a cylinder of radius `bend` mm along x, seen from above: arc for chord
    if bend:
        x = CARD[0] / 2 + bend * np.arcsin(np.clip((x - CARD[0] / 2) / bend, -0.95, 0.95))
    inside = (x > 0) & (x < CARD[0]) & (y > 0) & (y < CARD[1])
    a = np.where(inside, map_coordinates(flat, [y * 40 - 0.5, x * 40 - 0.5], order=1, mode="nearest"), 0.35)
    a = a.reshape(hh, over, w, over).mean((1, 3))
    a = gaussian_filter(a, blur_px)
    slope = g.normal(0, 0.35, 2)
    gy, gx = np.mgrid[-0.5 : 0.5 : hh * 1j, -0.5 : 0.5 : w * 1j]
    a = a * np.clip(1 + slope[0] * gx + slope[1] * gy, 0.2, 2) * g.uniform(0.5, 1.1)
    code = 255 * np.where(a <= 0.0031308, 12.92 * a, 1.055 * np.clip(a, 0, None) ** (1 / 2.4) - 0.055)
    code = code + g.normal(0, g.uniform(1, 5), code.shape)
    return np.clip(np.round(code), 0, 255).astype(np.uint8)


def main():
    g = np.random.default_rng(20261201)
    rows = []
    out = HERE / "photos"
    out.mkdir(exist_ok=True)
    number = 0
    for px_per_module in (1.0, 1.2, 1.5, 2.0, 3.0):
        for tilt in (0, 25, 45, 60):
            for _ in range(8):
                kind = ["ean13", "ean13", "ean8", "upca"][int(g.integers(4))]
                body = "".join(str(d) for d in g.integers(0, 10, KINDS[kind][0]))
                digits = barcode.get(kind, body).get_fullcode()
                flat, rect = card(kind, body)
                h, w, hh = view(g, px_per_module / MODULE_MM, tilt)
                blur = float(g.uniform(0.3, 0.9))
                bend = float(g.choice([0, 60, 35]))
                photo = photograph(g, flat, h, w, hh, blur, bend)
                name = f"{number:03d}.jpg"
                buffer = io.BytesIO()
                Image.fromarray(photo).save(buffer, "JPEG", quality=int(g.integers(72, 93)))
                (out / name).write_bytes(buffer.getvalue())
                rows.append(
                    [name, kind, digits, px_per_module, tilt, round(blur, 3), bend, *[round(v, 3) for v in rect], *[repr(float(v)) for v in h.ravel()]]
                )
                number += 1
    with open(HERE / "truth.csv", "w", newline="") as f:
        wr = csv.writer(f, lineterminator="\n")
        wr.writerow(
            "photo kind digits px_per_module tilt_deg blur_px bend_mm x y width height h11 h12 h13 h21 h22 h23 h31 h32 h33".split()
        )
        wr.writerows(rows)
    print(f"{number} photos")


if __name__ == "__main__":
    main()
