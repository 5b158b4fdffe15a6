"""Writes the small photos of every kind that `photo` reads or refuses to crates/photo/tests/samples.

Run by hand, then make.py beside it writes what other decoders make of them:

    python -m venv v && v/bin/pip install numpy pillow==13.0.0 pillow-heif==1.8.1
    v/bin/python checks/photo_samples/make_samples.py
"""

import io
import math
import struct
from pathlib import Path

import numpy
import PIL
import pillow_heif
from PIL import Image

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parent.parent / "crates" / "photo" / "tests" / "samples"
WIDTH, HEIGHT = 96, 72


def picture(shift=0):
    """Smooth colour with one bright disc and one dark bar: no seed, no noise."""
    y, x = numpy.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    x = x + shift
    red = 128 + 90 * numpy.sin(2 * math.pi * x / 96)
    green = 40 + 160 * y / HEIGHT
    blue = 128 + 90 * numpy.cos(2 * math.pi * (x + y) / 120)
    rgb = numpy.stack([red, green, blue], axis=-1)
    disc = 1 / (1 + numpy.exp((numpy.hypot(x - 60, y - 30) - 12) / 1.5))
    rgb = rgb + disc[..., None] * (numpy.array([235, 230, 220]) - rgb)
    bar = 1 / (1 + numpy.exp((numpy.abs(x - 20) - 5) / 1.5))
    rgb = rgb + bar[..., None] * (numpy.array([25, 30, 45]) - rgb)
    return Image.fromarray(numpy.clip(rgb + 0.5, 0, 255).astype(numpy.uint8))


def icc(name, primaries, gamma):
    """A version 2 matrix profile: primaries by chromaticity at D65, Bradford to D50, one exponent."""
    xyz = lambda x, y: numpy.array([x / y, 1.0, (1 - x - y) / y])
    white, pcs = xyz(0.3127, 0.3290), numpy.array([0.9642, 1.0, 0.8249])
    columns = numpy.stack([xyz(*p) for p in primaries], axis=1)
    columns = columns * numpy.linalg.solve(columns, white)
    cone = numpy.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    )
    adapt = numpy.linalg.inv(cone) @ numpy.diag((cone @ pcs) / (cone @ white)) @ cone
    columns = adapt @ columns
    fixed = lambda v: struct.pack(">i", round(float(v) * 65536))
    as_xyz = lambda v: b"XYZ \0\0\0\0" + b"".join(fixed(c) for c in v)
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    text = name.encode() + b"\0"
    desc = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * 78
    desc += b"\0" * (-len(desc) % 4)
    copyright = b"text\0\0\0\0none\0\0\0\0"
    tags = [(b"desc", desc), (b"cprt", copyright), (b"wtpt", as_xyz(pcs))]
    tags += [(n, as_xyz(columns[:, i])) for i, n in enumerate([b"rXYZ", b"gXYZ", b"bXYZ"])]
    tags += [(n, curve) for n in [b"rTRC", b"gTRC", b"bTRC"]]
    at, table, body = 128 + 4 + 12 * len(tags), b"", b""
    for name_, data in tags:
        table += name_ + struct.pack(">II", at + len(body), len(data))
        body += data
    size = at + len(body)
    head = struct.pack(">I4sI4s4s4s", size, b"none", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    head += b"".join(fixed(v) for v in pcs)
    head += b"\0" * (128 - len(head))
    return head + struct.pack(">I", len(tags)) + table + body


P3 = icc("Wide test space", [(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)], 2.2)


def exif():
    """Maker, model, date, orientation 6 and a place."""
    block = Image.Exif()
    block[0x010F], block[0x0110] = "Otterby Optical", "Plate 7"
    block[0x0112] = 6
    block.get_ifd(0x8769)[0x9003] = "2026:03:14 15:09:26"
    block.get_ifd(0x8825).update({1: "N", 2: (1.0, 2.0, 3.0), 3: "E", 4: (4.0, 5.0, 6.0)})
    return block.tobytes()


def heic(image, **options):
    out = io.BytesIO()
    pillow_heif.from_pillow(image).save(out, quality=85, **options)
    return out.getvalue()


def deep_heic():
    """10 bits from 16: the same picture with finer steps."""
    wide = numpy.asarray(picture()).astype(numpy.uint16) * 257
    file = pillow_heif.from_bytes("RGB;16", (WIDTH, HEIGHT), wide.tobytes())
    out = io.BytesIO()
    pillow_heif.options.SAVE_HDR_TO_12_BIT = False
    file.save(out, quality=90)
    return out.getvalue()


def saved(image, kind, **options):
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def main():
    print(f"numpy {numpy.__version__}, Pillow {PIL.__version__}, pillow-heif {pillow_heif.__version__}")
    image = picture()
    frames = [picture(8), picture(16)]
    clear = image.copy()
    clear.putalpha(Image.fromarray((numpy.mgrid[0:HEIGHT, 0:WIDTH][1] * 255 // (WIDTH - 1)).astype("uint8")))
    files = {
        "baseline.jpg": saved(image, "JPEG", quality=85),
        "full_chroma.jpg": saved(image, "JPEG", quality=92, subsampling=0),
        "progressive.jpg": saved(image, "JPEG", quality=85, progressive=True),
        "grey.jpg": saved(image.convert("L"), "JPEG", quality=85),
        "cmyk.jpg": saved(image.convert("CMYK"), "JPEG", quality=60),
        "phone.jpg": saved(image, "JPEG", quality=85, exif=exif(), icc_profile=P3),
        "palette.png": saved(image.quantize(32), "PNG"),
        "alpha.png": saved(clear, "PNG"),
        "animated.png": saved(image, "PNG", save_all=True, append_images=frames),
        "lossy.webp": saved(image, "WEBP", quality=80),
        "lossless.webp": saved(image.quantize(32).convert("RGB"), "WEBP", lossless=True),
        "animated.webp": saved(image, "WEBP", save_all=True, append_images=frames, quality=40),
        "animated.gif": saved(image, "GIF", save_all=True, append_images=frames),
        "picture.avif": saved(image, "AVIF", quality=50),
        "profile.heic": heic(image, icc_profile=P3),
        "plain.heic": heic(image),
        "full_chroma.heic": heic(image, chroma=444),
        "phone.heic": heic(image, exif=exif()),
        "ten_bit.heic": deep_heic(),
    }
    SAMPLES.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (SAMPLES / name).write_bytes(data)
        print(f"{name}: {len(data)} bytes")


main()
