"""Mean structural similarity of procedural picture pairs, by scikit-image (Wang et al. 2004 settings)."""

import numpy as np
import skimage
from skimage.metrics import structural_similarity

from oracle import Table, main

# The pictures are integer formulas, so that Rust makes the same ones: values k / 255, float32.


def picture(width, height, a, b, m):
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    return (((x * a + y * b + (x * y) % 17 * 5 + (x // 7) * 31) % m) * 255 // (m - 1)).astype(np.float32) / np.float32(255)


def second(kind, first):
    if kind == "same":
        return first.copy()
    if kind == "half-contrast":
        return (np.float32(0.5) * first + np.float32(0.25)).astype(np.float32)
    if kind == "shifted":
        return np.roll(first, (1, 2), axis=(0, 1))
    if kind == "negative":
        return (np.float32(1) - first).astype(np.float32)
    if kind == "speckled":
        height, width = first.shape
        x, y = np.meshgrid(np.arange(width), np.arange(height))
        noise = ((x * 7 + y * 13) % 5 - 2).astype(np.float32) / np.float32(16)
        return (first + noise).astype(np.float32)
    raise ValueError(kind)


rows = []
for width, height, a, b, m in [(33, 21, 3, 5, 64), (48, 40, 1, 2, 97), (64, 57, 11, 7, 31), (11, 11, 2, 9, 23)]:
    first = picture(width, height, a, b, m)
    for kind in ["same", "half-contrast", "shifted", "negative", "speckled"]:
        value = structural_similarity(
            first.astype(np.float64), second(kind, first).astype(np.float64), data_range=1.0,
            gaussian_weights=True, sigma=1.5, use_sample_covariance=False,
        )
        rows.append([width, height, a, b, m, kind, float(value)])

main(__doc__, {"ssim.csv": Table(["width", "height", "a", "b", "m", "second", "ssim"], rows, tolerance={"ssim": 1e-9})}, libraries=[np, skimage])
