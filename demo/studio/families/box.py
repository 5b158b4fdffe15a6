"""Geometry of a box in clear film: board with rounded edges, and the film as a second skin, in mm.

World of a standing box: x along the width, y into the depth (the front faces -y), z up, centred.
A box wrapped again has a `film` job: another machine's seam and folds, slack, holes, a mark that is
missing or of another size.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from common import rng
from families import noise
from families.history import History
from families.pack import Sheet3
from families.world import BOX_FACES, Line, Release

ROUND_MM = 1.3


@dataclass(frozen=True)
class Film:
    """How a box is wrapped."""

    mark: bool
    repeat_mm: float
    size: float
    """Size of a mark against the genuine one."""
    seam: str
    """Face that carries the seam."""
    seam_mm: float
    fold: str
    """`envelope` or `square` end folds."""
    slack: float
    holes: int


def film_of(identity: str, line: Line, release: Release, h: History, counterfeit: float = 0.0) -> Film:
    """The film that follows from what happened."""
    g = rng(identity, "wrap")
    slack = g.uniform(0.0, 0.25) + 0.15 * h.wear
    job = h.jobs.get("film")
    s = max(job.severity if job else 0.0, counterfeit)
    if s == 0:
        return Film(release.film_mark, line.mark_repeat_mm, 1.0, "bottom", 6.0, "envelope", slack, 0)
    g = rng(identity, "wrap again")
    mark = release.film_mark and g.random() > 0.25 + 0.5 * s
    scale = 1 + g.choice([-1, 1]) * g.uniform(0.05, 0.35) * (0.3 + 0.7 * s)
    return Film(mark, line.mark_repeat_mm * scale, scale, str(g.choice(["bottom", "back", "bottom"])), float(g.uniform(2.5, 12.0)), str(g.choice(["envelope", "square"], p=[0.4, 0.6])),
                slack + s * g.uniform(0.2, 1.0), int(g.poisson(2.2 * s)))


def frames(box_mm) -> dict:
    """Origin (top left), right and down of each face in the box's world."""
    w, h, d = box_mm
    return {
        "front": ((-w / 2, -d / 2, h / 2), (1, 0, 0), (0, 0, -1)),
        "back": ((w / 2, d / 2, h / 2), (-1, 0, 0), (0, 0, -1)),
        "left": ((-w / 2, d / 2, h / 2), (0, -1, 0), (0, 0, -1)),
        "right": ((w / 2, -d / 2, h / 2), (0, 1, 0), (0, 0, -1)),
        "top": ((-w / 2, d / 2, h / 2), (1, 0, 0), (0, -1, 0)),
        "bottom": ((-w / 2, -d / 2, -h / 2), (1, 0, 0), (0, 1, 0)),
    }


def build(identity: str, line: Line, h: History, film: Film, step: float = 0.7) -> tuple[dict[str, Sheet3], dict[str, Sheet3], dict[str, np.ndarray]]:
    """Board faces, film faces, and for each film face which vertices are missing (holes)."""
    bw, bh, bd = line.box_mm
    board, skin, gone = {}, {}, {}
    half = np.array([bw, bd, bh]) / 2
    inner = half - ROUND_MM
    crush = rng(identity, "corners")
    corner = {c: h.wear * crush.uniform(0, 2.4) for c in ((x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1))}
    if "film" in h.jobs:  # boxes that were opened have worked flaps
        for c in corner:
            corner[c] += h.jobs["film"].severity * crush.uniform(0, 1.2)
    bow = crush.normal(0, 0.25, 6) * (0.5 + h.wear)
    for i, face in enumerate(BOX_FACES):
        origin, du, dv = (np.asarray(q, float) for q in frames(line.box_mm)[face])
        g = rng(identity, "film", face)
        w, hh = line.face_mm("box", face)
        u, v = np.linspace(0, w, int(w / step) + 1), np.linspace(0, hh, int(hh / step) + 1)
        flat = origin + u[None, :, None] * du + v[:, None, None] * dv
        core = np.clip(flat, -inner, inner)
        away = flat - core
        away /= np.linalg.norm(away, axis=-1, keepdims=True) + 1e-9
        normal = np.cross(dv, du)
        uu, vv = u[None, :], v[:, None]
        edge = np.minimum(np.minimum(uu, w - uu), np.minimum(vv, hh - vv))
        xyz = core + ROUND_MM * away
        ext = (-1.0, -1.0, w + 1.0, hh + 1.0)
        swell = bow[i] * np.sin(np.pi * uu / w) * np.sin(np.pi * vv / hh) + 0.02 * noise.field(u, v, 30, 2, g, ext)
        xyz = xyz + swell[..., None] * normal
        for c, depth in corner.items():
            far = np.linalg.norm(xyz - half * np.array(c), axis=-1)
            xyz = xyz - (depth * np.exp(-((far / 6.0) ** 2)))[..., None] * np.array(c) / np.sqrt(3)
        uv = np.stack([np.broadcast_to(uu, edge.shape), np.broadcast_to(vv, edge.shape)], -1)
        board[face] = Sheet3(xyz, uv)

        s = film.slack
        lift = 0.03 + np.abs(0.04 * noise.field(u, v, 34, 2, g, ext)) + s * 0.35 * np.clip(0.4 + 0.6 * noise.field(u, v, 26, 3, g, ext), 0, 3)
        for _ in range(int(g.integers(4, 9) * (1 + s))):
            cx, cy = g.choice([0, w]), g.choice([0, hh])
            angle = np.arctan2(hh / 2 - cy, w / 2 - cx) + g.normal(0, 0.5)
            dist = (uu - cx) * np.sin(angle) - (vv - cy) * np.cos(angle)
            run = (uu - cx) * np.cos(angle) + (vv - cy) * np.sin(angle)
            lift += (1 + s) * g.uniform(0.02, 0.08) * np.exp(-((dist / g.uniform(0.5, 1.4)) ** 2)) * np.exp(-np.clip(run, 0, None) / g.uniform(15, 45)) * (run > 0)
        if face in ("left", "right"):
            fold = np.minimum(uu, w - uu)
            for y0, sign in ((0, 1), (hh, -1)):
                depth = np.abs((vv - y0) * sign)
                lift += 0.10 * (depth < (fold if film.fold == "envelope" else np.minimum(fold * 3, w * 0.45))) * (depth < w / 2)
        if face == film.seam:
            middle = hh / 2 + (0 if film.seam_mm == 6.0 else rng(identity, "seam").normal(0, 8))
            lift += 0.12 * (np.abs(vv - middle + 0.4 * np.sin(uu / 9)) < film.seam_mm / 2)
        lift = lift * np.clip(edge / 2.5, 0, 1) + 0.04
        skin[face] = Sheet3(xyz + lift[..., None] * np.where(edge[..., None] < 2.5, away, normal), uv)
        missing = np.zeros(edge.shape, bool)
        gh = rng(identity, "holes", face)
        for _ in range(int(gh.binomial(film.holes, 1 / 3))):
            cx, cy, r = gh.uniform(0, w), gh.choice([gh.uniform(0, 8), hh - gh.uniform(0, 8)]), gh.uniform(0.8, 3.4)
            stretch, turn = gh.uniform(1, 3.5), gh.uniform(0, np.pi)
            a, b = (uu - cx) * np.cos(turn) + (vv - cy) * np.sin(turn), -(uu - cx) * np.sin(turn) + (vv - cy) * np.cos(turn)
            missing |= (a / stretch) ** 2 + b**2 < r * r
        gone[face] = missing
    return board, skin, gone


def marked(image: Image.Image, film: Film, size_mm: tuple[float, float], identity: str, face: str, style: int) -> Image.Image:
    """The print with the film's repeated mark over it, in translucent white; six styles, one a line."""
    g = rng(identity, "mark", face)
    k = 2 * image.size[0] / size_mm[0]
    layer = Image.new("L", (image.size[0] * 2, image.size[1] * 2), 0)
    draw = ImageDraw.Draw(layer)
    rep = film.repeat_mm
    ox, oy = g.uniform(0, rep, 2)
    q = film.size

    def path(points, cx, cy, closed=True, width=0.45):
        pts = [((cx + q * x) * k, (cy + q * y) * k) for x, y in points]
        draw.line(pts + pts[:1] if closed else pts, fill=255, width=max(2, int(width * k)), joint="curve")

    t = np.linspace(0, 2 * np.pi, 37)[:-1]
    shapes = {
        0: ([(np.c_[3.6 * np.cos(t[::6]), 3.6 * np.sin(t[::6])], True), (np.array([[-3, 0], [3, 0]]), False)]),
        1: ([(np.c_[4.4 * np.cos(t), 1.7 * np.sin(t)], True), (np.c_[1.7 * np.cos(t), 4.4 * np.sin(t)], True)]),
        2: ([(np.array([[-3.4, 2.2], [0, -3.4], [3.4, 2.2]]), True), (np.array([[-1.8, 3.4], [1.8, 3.4]]), False)]),
        3: ([(np.c_[3.2 * np.cos(t) * (1 + 0.25 * np.cos(3 * t)), 3.2 * np.sin(t) * (1 + 0.25 * np.cos(3 * t))], True)]),
        4: ([(np.c_[3.4 * np.cos(t), 3.4 * np.sin(t)], True), (np.c_[1.2 * np.cos(t), 1.2 * np.sin(t)], True)]),
        5: ([(np.array([[-4, -1.5], [0, 1.5], [4, -1.5]]), False), (np.array([[-4, 1.2], [0, 4.2], [4, 1.2]]), False)]),
    }[style % 6]
    for j, y in enumerate(np.arange(oy - rep, size_mm[1] + rep, rep)):
        for x in np.arange(ox - rep, size_mm[0] + rep, rep):
            for points, closed in shapes:
                path(points, x + (rep / 2 if j % 2 else 0), y, closed)
    layer = layer.reduce(2).point(lambda v: int(v * 0.32))
    out = image.copy()
    out.paste((245, 248, 250), (0, 0, *image.size), layer)
    return out
