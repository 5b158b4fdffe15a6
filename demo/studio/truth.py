"""Truth of a photo: homographies, scale, angle and visible shares of every face it shows."""
from __future__ import annotations

import numpy as np


def homography(mm: np.ndarray, px: np.ndarray) -> np.ndarray:
    """Least-squares homography mm → px (normalised DLT, then Gauss-Newton on pixel residuals), h33 = 1."""

    def scale(p):
        c = p.mean(0)
        s = np.sqrt(2) / (np.linalg.norm(p - c, axis=1).mean() + 1e-12)
        return np.array([[s, 0, -s * c[0]], [0, s, -s * c[1]], [0, 0, 1]])

    a, b = scale(mm), scale(px)
    m = np.c_[mm, np.ones(len(mm))] @ a.T
    p = np.c_[px, np.ones(len(px))] @ b.T
    rows = []
    for (x, y, _), (u, v, _) in zip(m, p):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    h = np.linalg.svd(np.asarray(rows), full_matrices=False)[2][-1].reshape(3, 3)
    h = np.linalg.inv(b) @ h @ a
    h /= h[2, 2]
    q = np.c_[mm, np.ones(len(mm))]
    for _ in range(5):
        r = q @ h.T
        w = r[:, 2:3]
        est = r[:, :2] / w
        j = np.zeros((2 * len(mm), 8))
        j[0::2, 0:3] = q / w
        j[1::2, 3:6] = q / w
        j[0::2, 6:8] = -est[:, :1] * mm / w
        j[1::2, 6:8] = -est[:, 1:] * mm / w
        step = np.linalg.lstsq(j, (px - est).ravel(), rcond=None)[0]
        h = h + np.r_[step, 0].reshape(3, 3)
    return h


def local_scale(h: np.ndarray, at: tuple[float, float]) -> float:
    """Pixels a millimetre at a point, the geometric mean of both directions."""
    x, y = at
    w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    u = (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w
    v = (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w
    j = np.array([[h[0, 0] - u * h[2, 0], h[0, 1] - u * h[2, 1]], [h[1, 0] - v * h[2, 0], h[1, 1] - v * h[2, 1]]]) / w
    return float(np.sqrt(abs(np.linalg.det(j))))


def rounded(h: np.ndarray) -> list:
    """A matrix as JSON rows."""
    return [[float(f"{v:.9g}") for v in row] for row in h]
