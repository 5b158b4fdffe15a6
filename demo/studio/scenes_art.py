"""The three releases' pictures: palettes, emblems and layered scenes, all invented and procedural.

A scene fills a rectangle of a sheet; everything random comes from the generator handed in, so that a
counterfeit of the same face repeats the same composition.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from PIL import Image, ImageFilter

from art import K, Colour, mix


@dataclass(frozen=True)
class Palette:
    """The inks of a release."""

    main: Colour
    deep: Colour
    light: Colour
    accent: Colour
    second: Colour
    paper: Colour


PALETTES = {
    "first-soundings": Palette((24, 122, 138), (8, 38, 66), (196, 232, 220), (240, 110, 66), (247, 196, 92), (238, 240, 226)),
    "brass-estuary": Palette((186, 120, 44), (64, 32, 22), (246, 222, 160), (44, 108, 96), (206, 70, 40), (246, 236, 210)),
    "night-dredge": Palette((84, 52, 148), (20, 12, 48), (186, 236, 120), (226, 60, 136), (88, 200, 214), (230, 224, 244)),
}


def shifted(palette: Palette, degrees: float, gain: float = 1.0) -> Palette:
    """The palette with its main ink turned in hue (a counterfeiter's wrong ink)."""
    import colorsys

    def turn(c: Colour) -> Colour:
        h, l, s = colorsys.rgb_to_hls(*(v / 255 for v in c))
        r = colorsys.hls_to_rgb((h + degrees / 360) % 1.0, min(1.0, l * gain), s)
        return tuple(int(round(v * 255)) for v in r)

    return replace(palette, main=turn(palette.main), deep=turn(palette.deep))


def waves(sheet, x0, x1, y, amp, period, colour, phase, crest: Colour | None, low, metal=0, crest_metal=160):
    """A wave band from its crest line at `y` down to `low`."""
    x = np.linspace(x0, x1, 240)
    u = (x - x0) / period * 2 * np.pi + phase
    line = y + amp * (np.sin(u) + 0.35 * np.sin(2.3 * u + 1.1))
    sheet.poly(np.r_[np.c_[x, line], [[x1, low], [x0, low]]], colour, metal)
    if crest is not None:
        sheet.line(np.c_[x, line], crest, 0.55, crest_metal)
        sheet.line(np.c_[x, line + 1.5], mix(crest, colour, 0.6), 0.25, None)


def gear(sheet, x, y, r, teeth, colour, phase=0.0, metal=150, hub: Colour | None = None, edge=None):
    """A cog wheel with spokes."""
    a = []
    for i in range(teeth):
        t = phase + 2 * np.pi * i / teeth
        w = 2 * np.pi / teeth
        a += [(t, r * 0.86), (t + w * 0.2, r), (t + w * 0.5, r), (t + w * 0.7, r * 0.86)]
    sheet.poly([(x + q * np.cos(t), y + q * np.sin(t)) for t, q in a], colour, metal, edge, 0.3)
    hub = hub or mix(colour, (0, 0, 0), 0.55)
    for i in range(5):
        t = phase + 2 * np.pi * i / 5
        sheet.disc(x + 0.5 * r * np.cos(t), y + 0.5 * r * np.sin(t), 0.17 * r, hub, 0)
    sheet.disc(x, y, 0.2 * r, hub, 0, edge)
    sheet.disc(x, y, 0.1 * r, mix(colour, (255, 255, 255), 0.5), metal)


def fish(sheet, x, y, s, colour, flip=1, eye: Colour = (250, 250, 240), stripes: Colour | None = None, metal=0):
    """A small fish of length 2s."""
    t = np.linspace(0, np.pi, 24)
    top = np.c_[x - flip * s * np.cos(t), y - 0.42 * s * np.sin(t) ** 0.8]
    low = np.c_[x - flip * s * np.cos(t[::-1]), y + 0.36 * s * np.sin(t[::-1]) ** 0.8]
    sheet.poly(np.r_[top, low], colour, metal, mix(colour, (0, 0, 0), 0.5), 0.2)
    tail = [(x - flip * 0.85 * s, y), (x - flip * 1.45 * s, y - 0.5 * s), (x - flip * 1.25 * s, y), (x - flip * 1.45 * s, y + 0.45 * s)]
    sheet.poly(tail, mix(colour, (0, 0, 0), 0.2), metal)
    sheet.poly([(x, y - 0.36 * s), (x - flip * 0.5 * s, y - 0.75 * s), (x - flip * 0.55 * s, y - 0.25 * s)], mix(colour, (0, 0, 0), 0.3), metal)
    if stripes is not None:
        for k in (-0.35, 0.0, 0.3):
            sheet.line([(x - flip * k * s, y - 0.3 * s), (x - flip * (k + 0.1) * s, y + 0.28 * s)], stripes, 0.1 * s, 0)
    sheet.disc(x + flip * 0.62 * s, y - 0.08 * s, 0.11 * s, eye, 0)
    sheet.disc(x + flip * 0.64 * s, y - 0.08 * s, 0.055 * s, (10, 10, 16), 0)


def kelp(sheet, x, base, height, g, colour, edge):
    """A frond with leaves on alternate sides."""
    n = 26
    t = np.linspace(0, 1, n)
    sway = g.uniform(1.5, 4) * np.sin(t * g.uniform(4, 8) + g.uniform(0, 6)) * t
    xs, ys = x + sway, base - height * t
    for i in range(1, n - 1):
        side = 1 if i % 2 else -1
        l = (1 - 0.6 * t[i]) * g.uniform(2.2, 4.2)
        sheet.poly(
            [(xs[i], ys[i]), (xs[i] + side * l * 0.55, ys[i] - l * 0.75), (xs[i] + side * l, ys[i] - l * 0.6), (xs[i] + side * l * 0.6, ys[i] + 0.15 * l)],
            mix(colour, edge, g.uniform(0, 0.4)), 0, edge, 0.15)
    sheet.line(np.c_[xs, ys], edge, 0.7, 0)


def rays(sheet, x, y, r0, r1, count, colour, metal, box, g):
    """A burst of tapering rays clipped to a box (x0, y0, x1, y1)."""
    mask, draw = sheet.mask()
    for i in range(count):
        a = 2 * np.pi * (i + g.uniform(-0.2, 0.2)) / count
        w = g.uniform(0.25, 0.5) * np.pi / count
        draw.polygon([((x + q * np.cos(b)) * K, (y + q * np.sin(b)) * K) for q, b in ((r0, a), (r1, a - w), (r1, a + w))], fill=150)
    keep = mask.copy()
    keep.paste(0, (0, 0, *mask.size))
    crop = tuple(int(v * K) for v in box)
    keep.paste(mask.crop(crop), crop[:2])
    sheet.lay(keep, colour, metal)


def glow(sheet, x, y, r, colour, strength=200):
    """A soft halo."""
    mask, draw = sheet.mask()
    draw.ellipse(((x - r * 0.5) * K, (y - r * 0.5) * K, (x + r * 0.5) * K, (y + r * 0.5) * K), fill=strength)
    small = mask.reduce(8).filter(ImageFilter.GaussianBlur(r * K / 8 * 0.35))
    sheet.lay(small.resize(mask.size, Image.BICUBIC), colour, None)


def bubbles(sheet, g, count, box, colour, metal=200, rmax=1.1):
    """Ringed bubbles scattered in a box."""
    for _ in range(count):
        x, y, r = g.uniform(box[0], box[2]), g.uniform(box[1], box[3]), g.uniform(0.2, rmax)
        sheet.disc(x, y, r, colour, metal)
        sheet.disc(x + 0.1 * r, y + 0.1 * r, 0.7 * r, mix(colour, (20, 30, 60), 0.6), 0)
        sheet.disc(x - 0.3 * r, y - 0.3 * r, 0.22 * r, (255, 255, 255), 0)


def emblem(sheet, release, x, y, r, p: Palette):
    """A release's sign in a circle of radius r; returns its box in mm."""
    sheet.disc(x, y, r, p.deep, 0, p.second, 0.5)
    sheet.disc(x, y, r * 0.88, p.second, 225)
    sheet.disc(x, y, r * 0.78, p.deep, 0)
    if release == "first-soundings":
        sheet.poly([(x - 0.1 * r, y - 0.15 * r), (x + 0.1 * r, y - 0.15 * r), (x + 0.3 * r, y + 0.45 * r), (x, y + 0.68 * r), (x - 0.3 * r, y + 0.45 * r)], p.accent, 60, p.light, 0.25)
        sheet.line([(x, y - 0.7 * r), (x, y - 0.1 * r)], p.light, 0.12 * r, 200)
        for k in (-0.5, -0.32):
            sheet.line([(x - 0.28 * r, y + k * r), (x + 0.28 * r, y + k * r)], p.second, 0.08 * r, 200)
    elif release == "brass-estuary":
        gear(sheet, x, y - 0.06 * r, 0.6 * r, 11, p.second, 0.2, 120, p.deep)
        u = np.linspace(-0.66, 0.66, 40)
        sheet.line(np.c_[x + u * r, y + 0.36 * r + 0.1 * r * np.sin(u * 11)], p.light, 0.12 * r, 200)
        sheet.line(np.c_[x + u * 0.8 * r, y + 0.55 * r + 0.08 * r * np.sin(u * 11 + 1)], p.light, 0.1 * r, 200)
    else:
        t = np.linspace(0.15 * np.pi, 0.85 * np.pi, 30)
        sheet.line(np.c_[x + 0.55 * r * np.cos(t), y - 0.02 * r + 0.55 * r * np.sin(t)], p.light, 0.16 * r, 200)
        sheet.line([(x, y - 0.55 * r), (x, y + 0.52 * r)], p.light, 0.14 * r, 200)
        sheet.line([(x - 0.3 * r, y - 0.25 * r), (x + 0.3 * r, y - 0.25 * r)], p.second, 0.12 * r, 200)
        sheet.disc(x, y - 0.58 * r, 0.13 * r, p.accent, 0, p.light, 0.2)
    for i in range(24):
        a = 2 * np.pi * i / 24
        sheet.disc(x + 0.83 * r * np.cos(a), y + 0.83 * r * np.sin(a), 0.03 * r, p.deep, 0)
    return (x - r, y - r, 2 * r, 2 * r)


def scene_first_soundings(sheet, box, p, g, variant):
    """Night sea, lighthouse, sounding boat, kelp and fish."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    horizon = y0 + h * (0.40 + 0.06 * variant)
    sheet.gradient(p.deep, mix(p.main, p.accent, 0.35), y0, horizon, 40)
    sheet.gradient(p.main, p.deep, horizon, y1, 50)
    cx, cy = x0 + w * (0.72 - 0.4 * variant), y0 + h * 0.24
    glow(sheet, cx, cy, h * 0.42, p.second, 170)
    rays(sheet, cx, cy, 3, w * 1.2, 22, p.second, 120, (x0, y0, x1, horizon), g)
    for _ in range(int(w * h / 60)):
        sheet.disc(g.uniform(x0, x1), g.uniform(y0, horizon), g.uniform(0.1, 0.32), p.light, 220)
    lx = cx
    sheet.poly([(lx - 3.4, cy + 3), (lx + 3.4, cy + 3), (lx + 5.2, horizon + 2), (lx - 5.2, horizon + 2)], p.paper, 0, p.deep, 0.3)
    for k in range(5):
        ya = cy + 5 + k * (horizon - cy) / 5.2
        half = 3.5 + (ya - cy) * 0.075
        sheet.poly([(lx - half, ya), (lx + half, ya - 2), (lx + half, ya + 1.2), (lx - half, ya + 3.0)], p.accent, 0)
    sheet.rect(lx - 4.2, cy - 2.2, 8.4, 5.2, p.deep, 0, 0.6)
    sheet.rect(lx - 2.8, cy - 1.5, 5.6, 3.6, (255, 244, 190), 230)
    sheet.poly([(lx - 4.8, cy - 2.2), (lx + 4.8, cy - 2.2), (lx, cy - 6.4)], p.accent, 0, p.deep, 0.3)
    for k in range(7):
        y = horizon + (y1 - horizon) * (k / 8.0) ** 1.2
        waves(sheet, x0, x1, y, 0.7 + 0.28 * k, 9 + 4.2 * k, mix(p.main, p.deep, k / 7), g.uniform(0, 6), mix(p.light, p.main, k / 8), y1, 50)
    bx, by = x0 + w * (0.3 + 0.42 * variant), horizon + h * 0.05
    sheet.poly([(bx - 9, by - 2), (bx + 9, by - 2), (bx + 6.5, by + 3.2), (bx - 6.5, by + 3.2)], p.deep, 0, p.second, 0.4)
    sheet.line([(bx - 8.6, by - 0.6), (bx + 8.2, by - 0.6)], p.accent, 0.7)
    sheet.line([(bx, by - 2), (bx, by - 16)], p.deep, 0.8)
    sheet.poly([(bx + 0.6, by - 15.5), (bx + 8.4, by - 4), (bx + 0.6, by - 4)], p.paper, 0, p.deep, 0.3)
    sheet.poly([(bx - 0.6, by - 14), (bx - 6.5, by - 4), (bx - 0.6, by - 4)], p.second, 40, p.deep, 0.3)
    sheet.line([(bx + 7, by), (bx + 7, by + h * 0.34)], p.light, 0.3, 200)
    sheet.poly([(bx + 6.3, by + h * 0.34), (bx + 7.7, by + h * 0.34), (bx + 8.4, by + h * 0.34 + 4), (bx + 5.6, by + h * 0.34 + 4)], p.second, 210, p.deep, 0.2)
    for _ in range(int(w / 5)):
        kelp(sheet, g.uniform(x0, x1), y1 + 1, g.uniform(0.12, 0.34) * h, g, mix(p.accent, p.main, g.uniform(0.4, 1)), p.deep)
    for _ in range(int(w / 5)):
        c = [p.accent, p.second, p.light][g.integers(3)]
        fish(sheet, g.uniform(x0 + 3, x1 - 3), g.uniform(horizon + h * 0.16, y1 - 5), g.uniform(1.5, 3.4), c, int(g.choice([-1, 1])), stripes=p.deep, metal=60)
    bubbles(sheet, g, int(w * h / 70), (x0, horizon + h * 0.12, x1, y1), p.light)


def scene_brass_estuary(sheet, box, p, g, variant):
    """Cog-driven harbour town on a river mouth, with a brass crab."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    water = y0 + h * (0.56 - 0.05 * variant)
    sheet.gradient(p.light, p.main, y0, water, 60)
    sx, sy = x0 + w * (0.34 + 0.34 * variant), y0 + h * 0.3
    rays(sheet, sx, sy, 4, w * 1.3, 18, mix(p.light, (255, 255, 255), 0.4), 130, (x0, y0, x1, water), g)
    sheet.disc(sx, sy, w * 0.14, p.second, 110, p.light, 0.6)
    for k in range(6):
        sheet.line([(sx - w * 0.14 + k, sy - 4 + 2.2 * k), (sx + w * 0.14 - k, sy - 4 + 2.2 * k)], mix(p.second, p.light, 0.4), 0.35, 120)
    for _ in range(9):
        gear(sheet, g.uniform(x0, x1), g.uniform(y0, water - 2), g.uniform(4, 10), int(g.integers(9, 17)), mix(p.main, p.deep, g.uniform(0.1, 0.5)), g.uniform(0, 1), 150, None, p.deep)
    x = x0 - 2
    while x < x1:
        tw, th = g.uniform(4, 9), g.uniform(0.12, 0.42) * h
        c = mix(p.deep, p.accent, g.uniform(0, 0.7))
        sheet.rect(x, water - th, tw, th + 1, c, 0, 0.0, p.deep, 0.3)
        if g.random() < 0.5:
            sheet.poly([(x - 0.6, water - th), (x + tw + 0.6, water - th), (x + tw / 2, water - th - g.uniform(3, 8))], mix(p.second, p.deep, g.uniform(0, 0.5)), 0, p.deep, 0.3)
        else:
            sheet.rect(x + tw * 0.3, water - th - 5, tw * 0.24, 5, p.deep, 0)
            for q in range(4):
                sheet.disc(x + tw * 0.42 + q * 0.9, water - th - 6 - 1.9 * q, 0.9 + 0.4 * q, mix(p.light, p.paper, 0.5), 40)
        for wy in np.arange(water - th + 1.6, water - 1.5, 2.7):
            for wx in np.arange(x + 0.9, x + tw - 1.1, 2.0):
                if g.random() < 0.7:
                    sheet.rect(wx, wy, 1.0, 1.5, p.light if g.random() < 0.6 else p.second, 140, 0.2)
        x += tw + g.uniform(-0.5, 1.5)
    for k in range(8):
        y = water + (y1 - water) * (k / 8.5) ** 1.1
        waves(sheet, x0, x1, y, 0.5 + 0.22 * k, 8 + 3.5 * k, mix(p.accent, p.deep, k / 9), g.uniform(0, 6), mix(p.light, p.accent, k / 10), y1, 60)
    cx, cy, s = x0 + w * (0.6 - 0.2 * variant), water + (y1 - water) * 0.40, w * 0.15
    for side in (-1, 1):
        for k in range(4):
            a = 0.25 + 0.3 * k
            knee = (cx + side * s * (1.1 + 0.25 * np.cos(a)), cy + s * (0.1 + 0.35 * k) - s * 0.3)
            foot = (cx + side * s * (1.35 + 0.12 * k), cy + s * (0.35 + 0.38 * k))
            sheet.line([(cx + side * s * 0.6, cy + 0.1 * s * k), knee, foot], p.second, 0.14 * s, 120)
        claw = (cx + side * s * 1.25, cy - s * 0.75)
        sheet.line([(cx + side * s * 0.7, cy - 0.2 * s), claw], p.second, 0.22 * s, 120)
        sheet.disc(*claw, 0.36 * s, p.main, 160, p.deep, 0.35)
        sheet.poly([claw, (claw[0] - 0.12 * s, claw[1] - 0.6 * s), (claw[0] + 0.16 * s, claw[1] - 0.55 * s)], p.deep, 0)
    t = np.linspace(0, 2 * np.pi, 60)
    sheet.poly(np.c_[cx + s * np.cos(t), cy + 0.62 * s * np.sin(t)], p.main, 170, p.deep, 0.5)
    sheet.poly(np.c_[cx + 0.8 * s * np.cos(t), cy - 0.06 * s + 0.44 * s * np.sin(t)], p.second, 120)
    gear(sheet, cx, cy, 0.4 * s, 10, p.light, 0.1, 200, p.deep)
    for side in (-1, 1):
        sheet.line([(cx + side * 0.3 * s, cy - 0.5 * s), (cx + side * 0.36 * s, cy - 0.9 * s)], p.deep, 0.6)
        sheet.disc(cx + side * 0.36 * s, cy - 0.95 * s, 0.11 * s, p.paper, 0, p.deep, 0.3)
    for _ in range(int(w * h / 120)):
        sheet.disc(g.uniform(x0, x1), g.uniform(y0, y1), g.uniform(0.25, 0.5), p.light, 220, p.deep, 0.1)
    for _ in range(int(w / 9)):
        fish(sheet, g.uniform(x0 + 3, x1 - 3), g.uniform(water + h * 0.1, y1 - 3), g.uniform(1.4, 2.6), [p.second, p.light][g.integers(2)], int(g.choice([-1, 1])), stripes=p.deep, metal=120)


def scene_night_dredge(sheet, box, p, g, variant):
    """Deep water: an angler fish, jellyfish and a dredge chain under a moon."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    sheet.gradient(p.main, p.deep, y0, y1, 60)
    mx, my = x0 + w * (0.24 + 0.5 * variant), y0 + h * 0.2
    glow(sheet, mx, my, h * 0.4, p.second, 130)
    sheet.disc(mx, my, w * 0.15, p.paper, 190, p.second, 0.5)
    for dx, dy, r in ((-0.05, -0.03, 0.03), (0.04, 0.05, 0.04), (0.06, -0.05, 0.022), (-0.03, 0.07, 0.02)):
        sheet.disc(mx + dx * w, my + dy * w, r * w, mix(p.paper, p.main, 0.35), 120)
    for k in range(6):
        y = y0 + h * (0.3 + 0.06 * k)
        waves(sheet, x0, x1, y, 1.0, 10 + 3 * k, mix(p.main, p.deep, (k + 1) / 7), g.uniform(0, 6), mix(p.second, p.main, 0.2 + k / 9), y1, 60)
    for k in range(15):
        t = k / 14
        bx = x0 + w * (0.08 + 0.86 * t) if not variant else x1 - w * (0.08 + 0.86 * t)
        by = y0 + h * (0.02 + 0.52 * t**1.5) + 6
        sheet.disc(bx, by, 1.5, p.deep, 0, p.second, 0.4)
        if k % 2 == 0:
            sheet.poly([(bx - 3.2, by), (bx + 3.2, by), (bx + 2.2, by + 4), (bx - 2.2, by + 4)], mix(p.second, p.deep, 0.35), 150, p.deep, 0.35)
            sheet.line([(bx - 3.2, by + 1), (bx + 3.2, by + 1)], p.light, 0.35, 200)
    for _ in range(int(w / 9)):
        jx, jy, r = g.uniform(x0 + 4, x1 - 4), g.uniform(y0 + h * 0.4, y1 - 12), g.uniform(2, 4.5)
        c = [p.accent, p.second, p.light][g.integers(3)]
        for q in np.linspace(-0.8, 0.8, 6):
            u = np.linspace(0, 1, 20)
            sheet.line(np.c_[jx + q * r + 0.5 * np.sin(u * 9 + q * 4), jy + u * r * 3.2], mix(c, p.deep, 0.35), 0.3, 60)
        t = np.linspace(np.pi, 2 * np.pi, 30)
        sheet.poly(np.c_[jx + r * np.cos(t), jy + r * np.sin(t)], c, 100, p.deep, 0.25)
        for q in (-0.5, 0, 0.5):
            sheet.disc(jx + q * r, jy - 0.35 * r, 0.13 * r, p.paper, 0)
    cx, cy, s = x0 + w * (0.5 + 0.06 * variant), y0 + h * 0.66, w * 0.24
    flip = 1 if variant else -1
    t = np.linspace(0, 2 * np.pi, 80)
    body = np.c_[cx + flip * s * np.cos(t) * (1 + 0.12 * np.cos(3 * t)), cy + 0.78 * s * np.sin(t)]
    tail = [(cx - flip * s * 0.9, cy), (cx - flip * s * 1.6, cy - 0.55 * s), (cx - flip * s * 1.4, cy), (cx - flip * s * 1.65, cy + 0.5 * s)]
    sheet.poly(tail, p.accent, 60, p.deep, 0.4)
    for k in range(6):
        a = -2.5 + 0.32 * k
        sheet.poly([(cx + flip * s * 0.75 * np.cos(a), cy + 0.6 * s * np.sin(a)), (cx + flip * s * 1.05 * np.cos(a + 0.1), cy + 1.12 * s * np.sin(a + 0.1)), (cx + flip * s * 0.8 * np.cos(a + 0.25), cy + 0.64 * s * np.sin(a + 0.25))], p.accent, 60, p.deep, 0.25)
    sheet.poly(body, mix(p.main, p.accent, 0.45), 70, p.deep, 0.6)
    for _ in range(60):
        a, q = g.uniform(0, 6.28), np.sqrt(g.uniform(0.02, 0.7))
        sheet.disc(cx + s * q * np.cos(a), cy + 0.7 * s * q * np.sin(a), g.uniform(0.25, 0.6), [p.deep, p.accent, p.second][g.integers(3)], 60)
    u = np.linspace(0, 1, 20)
    lure = np.c_[cx + flip * s * (0.2 + 0.9 * u), cy - s * (0.7 + 0.55 * np.sin(u * 2.6))]
    sheet.line(lure, p.deep, 0.9)
    glow(sheet, *lure[-1], s * 0.9, p.light, 230)
    sheet.disc(*lure[-1], 0.13 * s, p.light, 200, p.paper, 0.3)
    jaw = [(cx + flip * s * 0.98, cy - 0.12 * s), (cx + flip * 0.2 * s, cy + 0.06 * s), (cx + flip * 0.34 * s, cy + 0.3 * s), (cx + flip * s * 0.86, cy + 0.34 * s)]
    sheet.poly(jaw, p.deep, 0, p.light, 0.3)
    for k in range(6):
        q = 0.32 + 0.11 * k
        sheet.poly([(cx + flip * s * q, cy + (0.04 - 0.025 * k) * s), (cx + flip * s * (q + 0.08), cy + (0.03 - 0.025 * k) * s), (cx + flip * s * (q + 0.04), cy + 0.2 * s)], p.paper, 0)
    sheet.disc(cx + flip * 0.5 * s, cy - 0.3 * s, 0.16 * s, p.paper, 0, p.deep, 0.4)
    sheet.disc(cx + flip * 0.53 * s, cy - 0.3 * s, 0.08 * s, p.deep, 0)
    x = x0 - 2
    while x < x1 + 2:
        rh = g.uniform(2, 10)
        sheet.poly([(x - 3, y1), (x - 1, y1 - rh), (x + 2.2, y1 - rh * g.uniform(0.6, 1)), (x + 5, y1)], mix(p.deep, p.main, g.uniform(0, 0.5)), 0, p.second, 0.2)
        x += g.uniform(2, 5)
    bubbles(sheet, g, int(w * h / 55), (x0, y0 + h * 0.35, x1, y1), p.light)


SCENES = {"first-soundings": scene_first_soundings, "brass-estuary": scene_brass_estuary, "night-dredge": scene_night_dredge}
