"""What scikit-image finds: structural similarity of a merged picture with the original.

    ssim.py MERGED.png ORIGINAL.png
"""

import sys

import numpy as np
from PIL import Image
from skimage.metrics import structural_similarity
from skimage.transform import resize


def linear(codes):
    c = codes.astype(np.float64) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def coded(light):
    light = np.clip(light, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


merged, original = (linear(np.asarray(Image.open(p).convert("RGB"))) for p in sys.argv[1:3])
merged = resize(merged, original.shape, order=1, anti_aliasing=True)
for c in range(3):
    merged[..., c] *= (merged[..., c] * original[..., c]).sum() / (merged[..., c] ** 2).sum()
grey = [coded(p @ [0.2126, 0.7152, 0.0722]) for p in (merged, original)]
print(structural_similarity(*grey, data_range=1.0, gaussian_weights=True, sigma=1.5, use_sample_covariance=False))
