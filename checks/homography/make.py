"""Homography of the Oxford graf pair (1 to 3) by OpenCV: SIFT and USAC-MAGSAC, then ECC.

The photos and the published matrix are not ours to commit; they come with the Debian package
opencv-doc. This script finds them as README.md beside it says, estimates the matrix with OpenCV,
and prints how far it lies from the published one. The Rust test prints ours in the same measure.
"""

import os
import sys
import xml.etree.ElementTree
from pathlib import Path

import cv2
import numpy

from oracle import Table, main

INSTALLED = Path("/usr/share/doc/opencv-doc/examples/data")
NAMES = ("graf1.png", "graf3.png", "H1to3p.xml")
# Lowe 2004, section 7.1: this ratio drops 90 % of the false matches and 5 % of the right ones.
RATIO = 0.8
# Inlier distance in pixels: MAGSAC treats it as the largest noise it looks at.
THRESHOLD_PX = 2.0
# Width of the smoothing before ECC, in pixels, and when it stops.
ECC_FILTER_PX = 5
ECC_STOP = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 500, 1e-8)
GRID_STEP_PX = 20


def find_data():
    """The folder that holds the pair, or an end with what to do."""
    folder = Path(os.environ.get("UNTORN_GRAF_DIR", INSTALLED))
    lacking = [name for name in NAMES if not (folder / name).is_file()]
    if lacking:
        sys.exit(
            f"{folder}: no {', '.join(lacking)}; install the Debian package opencv-doc, "
            "or name the folder that holds them in UNTORN_GRAF_DIR"
        )
    return folder


def published(path):
    """The 3 by 3 matrix of the XML file, pixel of graf1 to pixel of graf3."""
    data = xml.etree.ElementTree.parse(path).getroot().find("H13/data").text
    return numpy.array([float(text) for text in data.split()]).reshape(3, 3)


def apply(matrix, points):
    """Maps (N, 2) points."""
    mapped = numpy.c_[points, numpy.ones(len(points))] @ matrix.T
    return mapped[:, :2] / mapped[:, 2:]


def estimate(first, third):
    """OpenCV's matrix, with the numbers of matches and inliers."""
    sift = cv2.SIFT_create()
    key1, desc1 = sift.detectAndCompute(first, None)
    key3, desc3 = sift.detectAndCompute(third, None)
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(desc1, desc3, k=2)
    good = [a for a, b in pairs if a.distance < RATIO * b.distance]
    source = numpy.float32([key1[m.queryIdx].pt for m in good])
    target = numpy.float32([key3[m.trainIdx].pt for m in good])
    cv2.setRNGSeed(0)
    matrix, mask = cv2.findHomography(
        source, target, cv2.USAC_MAGSAC, THRESHOLD_PX, maxIters=10_000, confidence=0.999
    )
    return matrix, len(good), int(mask.sum())


def compare(matrix, truth, size, size_third):
    """Mean distance at the four corners, and over a grid where the truth falls into graf3."""
    width, height = size
    corners = numpy.array(
        [[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=float
    )
    columns, rows = numpy.meshgrid(
        numpy.arange(0, width, GRID_STEP_PX), numpy.arange(0, height, GRID_STEP_PX)
    )
    grid = numpy.c_[columns.ravel(), rows.ravel()].astype(float)
    where = apply(truth, grid)
    inside = ((where >= 0) & (where <= numpy.array(size_third) - 1)).all(axis=1)
    distance = lambda points: numpy.linalg.norm(apply(matrix, points) - apply(truth, points), axis=1)
    return distance(corners).mean(), distance(grid[inside]).mean(), int(inside.sum())


folder = find_data()
first = cv2.imread(str(folder / "graf1.png"), cv2.IMREAD_GRAYSCALE)
third = cv2.imread(str(folder / "graf3.png"), cv2.IMREAD_GRAYSCALE)
truth = published(folder / "H1to3p.xml")
matrix, matches, inliers = estimate(first, third)
_, refined = cv2.findTransformECC(
    first.astype(numpy.float32),
    third.astype(numpy.float32),
    matrix.astype(numpy.float32),
    cv2.MOTION_HOMOGRAPHY,
    ECC_STOP,
    None,
    ECC_FILTER_PX,
)
rows = []
for how, found in [("sift-magsac", matrix), ("sift-magsac-ecc", refined)]:
    corner_px, grid_px, grid_points = compare(found, truth, first.shape[::-1], third.shape[::-1])
    rows.append([how, round(corner_px, 4), round(grid_px, 4), grid_points])
    print(
        f"  OpenCV {cv2.__version__} {how}: {matches} matches, {inliers} inliers, "
        f"mean corner error {corner_px:.3f} px, mean grid error {grid_px:.3f} px"
    )
# The tolerances leave room for another processor's rounding, which may tip single key points; they
# are well below the errors themselves.
main(
    __doc__,
    {
        "opencv_graf.csv": Table(
            ["how", "mean_corner_px", "mean_grid_px", "grid_points"],
            rows,
            tolerance={"mean_corner_px": 0.3, "mean_grid_px": 0.15},
        )
    },
    libraries=[cv2, numpy],
)
