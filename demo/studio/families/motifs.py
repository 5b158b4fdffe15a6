"""The pictures: procedural scenes over a rectangle of a sheet, one function a motif.

Everything random comes from the generator handed in, so that a counterfeit of a face repeats its
composition. Each of the three families has two motifs of its own; `ABSTRACT` serves the further lines
that are only looked for, never photographed.
"""
from __future__ import annotations

import numpy as np

from families.draw import Sheet, mix


def _ridge(s: Sheet, x0, x1, y, amp, rough, colour, low, g, metal=0, edge=None):
    """A rolling skyline from `y` down to `low`."""
    x = np.linspace(x0, x1, 120)
    t = (x - x0) / (x1 - x0)
    line = y + sum(amp * 0.6**k * np.sin(2 * np.pi * (rough * 1.7**k * t + g.uniform(0, 1))) for k in range(3))
    s.poly(np.r_[np.c_[x, line], [[x1, low], [x0, low]]], colour, metal)
    if edge is not None:
        s.line(np.c_[x, line], edge, 0.4, 140)
    return x, line


def orchard(s, box, p, g):
    """Rolling hills, round trees with fruit, kites in the sky."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    horizon = y0 + h * g.uniform(0.32, 0.5)
    s.gradient(mix(p.second, p.light, 0.4), mix(p.light, p.paper, 0.3), y0, horizon + 4, 50)
    sx, sy = x0 + w * g.uniform(0.15, 0.85), y0 + h * g.uniform(0.12, 0.25)
    s.glow(sx, sy, h * 0.4, p.paper, 150)
    s.disc(sx, sy, w * 0.09, p.accent, 150, p.paper, 0.5)
    for _ in range(int(g.integers(3, 6))):
        kx, ky, r, a = g.uniform(x0 + 4, x1 - 4), g.uniform(y0 + 3, horizon - 3), g.uniform(2.2, 4.8), g.uniform(0, 6.28)
        c, q = np.cos(a), np.sin(a)
        pts = [(kx + r * (c * u - q * v), ky + r * (q * u + c * v)) for u, v in ((1.3, 0), (0, 0.75), (-0.9, 0), (0, -0.75))]
        s.poly(pts, [p.accent, p.second, p.main][g.integers(3)], 120, p.deep, 0.25)
        s.line([pts[0], pts[2]], p.deep, 0.2)
        t = np.linspace(0, 1, 14)
        s.line(np.c_[pts[2][0] - 5 * t * c + 0.8 * np.sin(9 * t), pts[2][1] - 5 * t * q + 3 * t], p.deep, 0.22)
    for k in range(5):
        y = horizon + (y1 - horizon) * (k / 5) ** 1.2
        tone = mix(mix(p.main, p.light, 0.35), p.deep, k / 6)
        x, line = _ridge(s, x0, x1, y, 1.2 + 0.9 * k, g.uniform(0.8, 1.8), tone, y1, g, 40, mix(p.light, tone, 0.4))
        n = int(w / (9 - k)) // 2 + 1
        for _ in range(n):
            i = int(g.integers(4, 116))
            r = (1.0 + 0.9 * k) * g.uniform(0.8, 1.3)
            tx, ty = x[i], line[i] - 1.4 * r
            s.line([(tx, line[i] + 0.4 * r), (tx, ty)], mix(p.deep, (60, 36, 18), 0.4), 0.35 * r)
            leaf = mix(p.main, [p.second, p.deep, p.light][g.integers(3)], g.uniform(0.1, 0.5))
            for dx, dy, q in ((-0.6, 0.1, 0.75), (0.6, 0.1, 0.75), (0, -0.5, 0.85), (0, 0.1, 0.8)):
                s.disc(tx + dx * r, ty + dy * r, q * r, leaf, 30)
            for _ in range(int(3 + 2 * k)):
                a, q = g.uniform(0, 6.28), r * np.sqrt(g.uniform(0, 1))
                s.disc(tx + q * np.cos(a), ty + 0.8 * q * np.sin(a) - 0.1 * r, 0.13 * r, p.accent, 120)
    for _ in range(int(w / 5)):
        bx, by = g.uniform(x0, x1), g.uniform(y1 - 6, y1)
        for q in np.linspace(-0.5, 0.5, 5):
            s.line([(bx, by), (bx + 4 * q, by - g.uniform(2, 5))], mix(p.deep, p.main, g.uniform(0, 0.6)), 0.3)


def moth(s, box, p, g):
    """A large moth with dials in its wings over gears and falling sand."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    s.gradient(p.deep, mix(p.main, p.deep, 0.4), y0, y1, 50)
    for _ in range(int(w * h / 130)):
        r, x, y = g.uniform(1.2, 5.5), g.uniform(x0, x1), g.uniform(y0, y1)
        tone = mix(p.main, p.deep, g.uniform(0.3, 0.8))
        n = int(g.integers(8, 15))
        a = np.linspace(0, 2 * np.pi, 4 * n, endpoint=False)
        s.poly(np.c_[x + r * (1 - 0.14 * (np.arange(4 * n) % 4 < 2)) * np.cos(a), y + r * (1 - 0.14 * (np.arange(4 * n) % 4 < 2)) * np.sin(a)], tone, 140, mix(p.second, tone, 0.6), 0.2)
        s.disc(x, y, 0.55 * r, mix(tone, p.deep, 0.5), 60)
    cx, cy, k = x0 + w * g.uniform(0.45, 0.55), y0 + h * g.uniform(0.46, 0.56), min(w, h) * 0.46
    s.glow(cx, cy, k * 1.9, p.second, 120)
    for side in (-1, 1):
        for a0, r, tone in ((-0.55, 1.0, p.accent), (0.5, 0.72, p.main)):
            t = np.linspace(-0.75, 0.75, 40)
            edge = r * k * (np.cos(t * 1.9) ** 0.6) * (1 + 0.07 * np.cos(9 * t))
            pts = np.c_[cx + side * edge * np.cos(a0 + t), cy + edge * np.sin(a0 + t)]
            s.poly(np.r_[[[cx, cy]], pts], tone, 90, p.light, 0.5)
            s.poly(np.r_[[[cx, cy]], [[cx, cy]] + 0.8 * (pts - [cx, cy])], mix(tone, p.deep, 0.35), 60)
            ox, oy, q = cx + side * 0.6 * r * k * np.cos(a0), cy + 0.6 * r * k * np.sin(a0), 0.2 * k * r
            s.disc(ox, oy, q, p.paper, 180, p.deep, 0.35)
            for m in range(12):
                b = 2 * np.pi * m / 12
                s.line([(ox + 0.78 * q * np.cos(b), oy + 0.78 * q * np.sin(b)), (ox + 0.93 * q * np.cos(b), oy + 0.93 * q * np.sin(b))], p.deep, 0.22)
            for length, width in ((0.55, 0.4), (0.8, 0.25)):
                b = g.uniform(0, 6.28)
                s.line([(ox, oy), (ox + length * q * np.cos(b), oy + length * q * np.sin(b))], p.deep, width)
        u = np.linspace(0, 1, 16)
        s.line(np.c_[cx + side * k * 0.35 * u, cy - k * (0.35 + 0.5 * u - 0.25 * u * u)], p.light, 0.5, 160)
        s.disc(cx + side * k * 0.35, cy - k * 0.6, 0.9, p.light, 160)
    for m in range(7):
        s.disc(cx, cy - 0.32 * k + 0.12 * k * m, (0.11 - 0.011 * m) * k, mix(p.second, p.deep, m / 9), 80, p.deep, 0.25)
    for _ in range(int(w * h / 30)):
        s.disc(g.uniform(x0, x1), g.uniform(y0, y1), g.uniform(0.08, 0.24), p.light, 200)


def glacier(s, box, p, g):
    """Angular peaks, bands of polar light, a horned beast before a sled."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    s.gradient(p.deep, mix(p.main, p.deep, 0.3), y0, y1, 60)
    for _ in range(int(w * h / 50)):
        s.disc(g.uniform(x0, x1), g.uniform(y0, y0 + 0.5 * h), g.uniform(0.08, 0.28), p.paper, 220)
    for k in range(4):
        x = np.linspace(x0, x1, 60)
        y = y0 + h * (0.1 + 0.08 * k) + 3 * np.sin((x - x0) / w * g.uniform(4, 9) + g.uniform(0, 6)) + 1.5 * np.sin((x - x0) / w * 17)
        for q in range(10):
            s.line(np.c_[x, y - 0.75 * q], mix([p.second, p.accent, p.light, p.main][k], p.deep, 0.25 + 0.07 * q), 0.8, 120 - 8 * q)
    for k in range(4):
        base = y0 + h * (0.55 + 0.08 * k)
        tone = mix(mix(p.main, p.paper, 0.5), p.deep, 0.15 + 0.2 * k)
        x = x0 - 6
        while x < x1 + 6:
            pw, ph = g.uniform(10, 24), h * g.uniform(0.12, 0.34) * (1 - 0.15 * k)
            tip = (x + pw * g.uniform(0.35, 0.65), base - ph)
            s.poly([(x, base), tip, (x + pw, base)], tone, 60, mix(p.deep, tone, 0.4), 0.25)
            s.poly([(x + 0.55 * pw, base), tip, (x + pw, base)], mix(tone, p.deep, 0.35), 60)
            zig = [(tip[0] + (i - 3) * pw * 0.06, base - ph * (0.68 + 0.07 * (i % 2))) for i in range(7)]
            s.poly([tip] + zig[::-1], p.paper, 140)
            x += pw * g.uniform(0.5, 0.9)
        s.rect(x0, base, w, y1 - base, mix(tone, p.deep, 0.2), 40)
    cy, flip, k = y0 + h * 0.78, int(g.choice([-1, 1])), w * 0.17
    cx = x0 + w * g.uniform(0.4, 0.6)

    def at(pts):
        return [(cx + flip * k * u, cy + k * v) for u, v in pts]

    for u in (-0.85, -0.5, 0.45, 0.75):
        s.poly(at([(u, 0.2), (u + 0.2, 0.2), (u + 0.16, 1.05), (u + 0.02, 1.05)]), mix(p.deep, p.main, 0.3), 20, p.deep, 0.2)
    s.poly(at([(-1.1, -0.1), (-0.7, -0.5), (0.1, -0.45), (0.6, -0.75), (1.05, -0.6), (1.0, 0.1), (0.5, 0.45), (-0.8, 0.45), (-1.15, 0.2)]), mix(p.paper, p.main, 0.3), 60, p.deep, 0.4)
    s.poly(at([(0.8, -0.65), (1.45, -0.85), (1.7, -0.5), (1.55, -0.2), (1.0, -0.1)]), p.paper, 60, p.deep, 0.4)
    for dx in (0.95, 1.15):
        u = np.linspace(0, 1, 14)
        s.line(at(np.c_[dx - 0.35 * np.sin(3 * u), -0.75 - 0.7 * u + 0.15 * np.cos(5 * u)]), p.second, 1.0, 150)
    s.disc(*at([(1.38, -0.6)])[0], 0.07 * k, p.accent, 0, p.deep, 0.2)
    s.line(at([(-1.1, 0.0), (-2.0, 0.35)]), p.second, 0.4)
    s.poly(at([(-3.1, 0.2), (-1.9, 0.2), (-1.8, 0.8), (-3.3, 0.8)]), p.accent, 80, p.deep, 0.4)
    s.line(at([(-3.5, 1.0), (-1.6, 1.0), (-1.4, 0.8)]), p.second, 0.7, 150)
    for _ in range(int(w * h / 40)):
        s.disc(g.uniform(x0, x1), g.uniform(y0 + h * 0.4, y1), g.uniform(0.12, 0.45), p.paper, 160)


def carnival(s, box, p, g):
    """Striped tents, strings of lanterns, a great mask."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    s.gradient(mix(p.deep, p.main, 0.25), mix(p.main, p.second, 0.35), y0, y1, 60)
    for i in range(26):
        a = 2 * np.pi * i / 26
        c = (x0 + w / 2, y0 + h * 0.45)
        s.poly([c, (c[0] + w * 1.2 * np.cos(a), c[1] + h * 1.2 * np.sin(a)), (c[0] + w * 1.2 * np.cos(a + 0.11), c[1] + h * 1.2 * np.sin(a + 0.11))], mix(p.main, p.deep, 0.45), 90)
    for k in range(2):
        x = x0 - 5
        while x < x1:
            tw, th = g.uniform(13, 24), h * g.uniform(0.16, 0.3)
            base = y1 - h * (0.1 - 0.1 * k)
            n = 7
            for i in range(n):
                a, b = x + tw * i / n, x + tw * (i + 1) / n
                ta, tb = x + tw / 2 + (a - x - tw / 2) * 0.16, x + tw / 2 + (b - x - tw / 2) * 0.16
                s.poly([(ta, base - th), (tb, base - th), (b, base), (a, base)], (p.accent if i % 2 else p.paper) if k else mix(p.accent if i % 2 else p.paper, p.deep, 0.35), 40, p.deep, 0.15)
            s.poly([(x + tw / 2 - 0.3, base - th), (x + tw / 2 - 0.3, base - th - 5), (x + tw / 2 + 3.5, base - th - 3.8), (x + tw / 2 - 0.3, base - th - 2.6)], p.second, 120, p.deep, 0.2)
            x += tw * g.uniform(0.8, 1.1)
    cx, cy, k = x0 + w * 0.5, y0 + h * g.uniform(0.42, 0.5), min(w, h * 0.8) * 0.36
    t = np.linspace(0, 2 * np.pi, 90)
    for i in range(13):
        a = -np.pi * (i + 0.5) / 13
        tip = (cx + 1.65 * k * np.cos(a), cy - 0.2 * k + 1.5 * k * np.sin(a))
        q = np.array([-np.sin(a), np.cos(a)]) * 0.16 * k
        s.poly([(cx + 0.7 * k * np.cos(a) + q[0], cy + 0.7 * k * np.sin(a) + q[1]), tip, (cx + 0.7 * k * np.cos(a) - q[0], cy + 0.7 * k * np.sin(a) - q[1])], [p.accent, p.second, p.light][i % 3], 130, p.deep, 0.3)
    s.poly(np.c_[cx + 0.85 * k * np.sin(t), cy - k * np.cos(t) * (1 + 0.12 * np.cos(t))], p.paper, 70, p.deep, 0.6)
    s.poly(np.c_[cx + 0.85 * k * np.sin(t[:46]), cy - k * np.cos(t[:46]) * (1 + 0.12 * np.cos(t[:46]))], mix(p.paper, p.main, 0.45), 70)
    for side in (-1, 1):
        e = np.c_[cx + side * 0.38 * k + 0.25 * k * np.cos(t), cy - 0.15 * k + 0.13 * k * np.sin(t) * (1 + 0.4 * np.cos(t) * side)]
        s.poly(e, p.deep, 0, p.second, 0.5)
        s.disc(cx + side * 0.38 * k, cy - 0.15 * k, 0.06 * k, p.light, 180)
        for m in range(3):
            s.disc(cx + side * (0.45 + 0.1 * m) * k, cy + (0.15 + 0.12 * m) * k, 0.035 * k, p.accent, 60)
    u = np.linspace(-1, 1, 30)
    s.line(np.c_[cx + 0.4 * k * u, cy + k * (0.45 + 0.14 * (1 - u * u))], p.accent, 1.1, 60)
    s.poly([(cx, cy - 0.15 * k), (cx + 0.1 * k, cy + 0.25 * k), (cx - 0.1 * k, cy + 0.25 * k)], mix(p.paper, p.deep, 0.3), 40)
    for row in range(3):
        u = np.linspace(0, 1, 40)
        y = y0 + h * (0.05 + 0.07 * row) + h * 0.09 * np.sin(np.pi * u * (1 + row % 2))
        s.line(np.c_[x0 + w * u, y], p.deep, 0.25)
        for i in range(3, 40, 5):
            c = [p.accent, p.second, p.light][(i + row) % 3]
            s.glow(x0 + w * u[i], y[i] + 1.8, 5, c, 110)
            s.disc(x0 + w * u[i], y[i] + 1.8, 1.3, c, 90, p.deep, 0.2, 1.25)
    for _ in range(int(w * h / 45)):
        a, x, y, r = g.uniform(0, 3.14), g.uniform(x0, x1), g.uniform(y0, y1), g.uniform(0.3, 0.8)
        s.line([(x, y), (x + r * np.cos(a), y + r * np.sin(a))], [p.accent, p.second, p.light, p.paper][g.integers(4)], 0.35, 120)


def desert(s, box, p, g):
    """Dunes under a banded sun, a caravan of beetles."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    horizon = y0 + h * g.uniform(0.42, 0.52)
    s.gradient(mix(p.accent, p.deep, 0.35), p.light, y0, horizon + 3, 60)
    sx, r = x0 + w * g.uniform(0.3, 0.7), w * 0.2
    for k in range(6):
        s.disc(sx, horizon - 0.4 * r, r * (1 + 0.22 * (5 - k)), mix(p.light, p.second, k / 6), 110)
    s.disc(sx, horizon - 0.4 * r, r, p.accent, 130, p.paper, 0.4)
    for k in range(5):
        s.rect(sx - r, horizon - 0.4 * r + r * (0.05 + 0.19 * k), 2 * r, 0.5 + 0.25 * k, p.light, 110)
    for _ in range(5):
        bx, bw, bh = g.uniform(x0, x1), g.uniform(3, 8), h * g.uniform(0.08, 0.26)
        tone = mix(p.deep, p.main, g.uniform(0.2, 0.6))
        s.poly([(bx - bw / 2, horizon + 2), (bx - bw * 0.35, horizon - bh), (bx + bw * 0.3, horizon - bh * 0.94), (bx + bw / 2, horizon + 2)], tone, 20)
        for m in range(4):
            s.line([(bx - bw * 0.4, horizon - bh * m / 4.2), (bx + bw * 0.4, horizon - bh * m / 4.2)], mix(tone, p.light, 0.3), 0.25)
    for k in range(6):
        y = horizon + (y1 - horizon) * (k / 6) ** 1.15
        tone = mix(mix(p.main, p.light, 0.45), p.deep, k / 8)
        x, line = _ridge(s, x0, x1, y, 1.5 + 0.8 * k, g.uniform(0.5, 1.3), tone, y1, g, 50, mix(p.paper, tone, 0.4))
        for m in range(1, 7):
            s.line(np.c_[x, line + 0.8 * m + 0.25 * np.sin(x * 1.9 + m)], mix(tone, p.deep, 0.12), 0.18, None)
    for i in range(int(g.integers(3, 6))):
        k = w * g.uniform(0.05, 0.1)
        bx, by, flip = x0 + w * g.uniform(0.1, 0.9), horizon + (y1 - horizon) * g.uniform(0.2, 0.85), int(g.choice([-1, 1]))
        for m in range(3):
            for side in (-0.35, 0.35):
                u = -0.6 + 0.5 * m
                s.line([(bx + flip * k * u, by), (bx + flip * k * (u + side), by + 0.45 * k), (bx + flip * k * (u + 1.6 * side), by + 0.95 * k)], p.deep, 0.12 * k)
        shell = [p.accent, p.second, p.main][g.integers(3)]
        s.disc(bx, by, k, shell, 170, p.deep, 0.3, 0.62)
        s.line([(bx - k, by), (bx + k, by)], p.deep, 0.25)
        for m in (-0.5, 0.0, 0.5):
            s.disc(bx + m * k, by - 0.3 * k, 0.13 * k, p.light, 200)
        s.disc(bx + flip * 1.15 * k, by, 0.33 * k, p.deep, 20)
        s.line([(bx + flip * 1.3 * k, by - 0.2 * k), (bx + flip * 1.8 * k, by - 0.8 * k)], p.deep, 0.1 * k)
        s.rect(bx - 0.45 * k, by - 1.25 * k, 0.9 * k, 0.65 * k, p.paper, 0, 0.2, p.deep, 0.25)


def foundry(s, box, p, g):
    """Crystals, orbits with planets, towers that pour light."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    s.gradient(p.deep, mix(p.deep, p.main, 0.5), y0, y1, 60)
    for _ in range(int(w * h / 35)):
        s.disc(g.uniform(x0, x1), g.uniform(y0, y1), g.uniform(0.06, 0.26), p.light, 220)
    cx, cy = x0 + w * g.uniform(0.4, 0.6), y0 + h * g.uniform(0.3, 0.4)
    s.glow(cx, cy, min(w, h) * 0.7, p.accent, 170)
    t = np.linspace(0, 2 * np.pi, 120)
    for k in range(6):
        r, tilt, flat = min(w, h) * (0.12 + 0.075 * k), g.uniform(-0.5, 0.5), g.uniform(0.3, 0.7)
        x, y = r * np.cos(t), r * flat * np.sin(t)
        px, py = cx + x * np.cos(tilt) - y * np.sin(tilt), cy + x * np.sin(tilt) + y * np.cos(tilt)
        s.line(np.c_[px, py], mix(p.second, p.deep, 0.1 * k), 0.35, 200)
        i = int(g.integers(120))
        q = g.uniform(1.2, 3.4)
        s.disc(px[i], py[i], q, [p.accent, p.second, p.light, p.main][g.integers(4)], 120, p.deep, 0.25)
        s.disc(px[i] - 0.3 * q, py[i] - 0.3 * q, 0.4 * q, mix(p.paper, p.second, 0.4), 180)
        if k % 2:
            s.disc(px[i], py[i], q * 1.7, p.light, None, p.light, 0.2, 0.25) if q < 0 else s.line([(px[i] - 1.8 * q, py[i] + 0.3 * q), (px[i] + 1.8 * q, py[i] - 0.3 * q)], p.light, 0.4, 200)
    s.disc(cx, cy, min(w, h) * 0.085, p.accent, 150, p.paper, 0.5)
    x = x0 - 3
    while x < x1:
        tw, th = g.uniform(4, 9), h * g.uniform(0.1, 0.32)
        tone = mix(p.deep, p.main, g.uniform(0.1, 0.6))
        s.poly([(x, y1), (x + 0.12 * tw, y1 - th), (x + 0.88 * tw, y1 - th), (x + tw, y1)], tone, 40, p.deep, 0.3)
        s.rect(x + 0.3 * tw, y1 - th - 2.2, 0.4 * tw, 2.4, p.accent, 120)
        u = np.linspace(0, 1, 12)
        s.line(np.c_[x + tw / 2 + 0.5 * np.sin(7 * u), y1 - th + th * u], p.second, 0.9, 190)
        x += tw * g.uniform(0.9, 1.5)
    for _ in range(int(w / 4)):
        bx, by, ch, cw, a = g.uniform(x0, x1), y1 + 1, h * g.uniform(0.06, 0.22), g.uniform(1.2, 3.2), g.uniform(-0.35, 0.35)
        tone = [p.second, p.light, p.main, p.accent][g.integers(4)]
        tip = (bx + ch * np.sin(a), by - ch)
        m = (bx + 0.75 * ch * np.sin(a), by - 0.72 * ch)
        s.poly([(bx - cw, by), (m[0] - cw, m[1]), tip, (m[0], m[1] + 0.06 * ch), (bx, by)], tone, 150, p.deep, 0.2)
        s.poly([(bx, by), (m[0], m[1] + 0.06 * ch), tip, (m[0] + cw, m[1]), (bx + cw, by)], mix(tone, p.deep, 0.45), 120, p.deep, 0.2)


def tiles(s, box, p, g):
    """A tessellation of triangles and arcs round a roundel."""
    x0, y0, x1, y1 = box
    n = int(g.integers(4, 8))
    q = (x1 - x0) / n
    inks = [p.main, p.deep, p.light, p.accent, p.second, mix(p.main, p.deep, 0.5)]
    for j in range(int(np.ceil((y1 - y0) / q))):
        for i in range(n):
            x, y = x0 + i * q, y0 + j * q
            a, b = (inks[k] for k in g.choice(6, 2, replace=False))
            s.rect(x, y, q, min(q, y1 - y), a, int(g.choice([20, 120])))
            kind = g.integers(4)
            if kind == 0:
                s.poly([(x, y), (x + q, y), (x, y + q)], b, 60)
            elif kind == 1:
                s.poly([(x + q, y), (x + q, y + q), (x, y + q)], b, 60)
            elif kind == 2:
                s.disc(x + q / 2, y + q / 2, q * 0.36, b, 120)
            else:
                s.poly([(x + q / 2, y), (x + q, y + q / 2), (x + q / 2, y + q), (x, y + q / 2)], b, 60)


def totem(s, box, p, g):
    """A mirrored creature of stacked shapes before stripes."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    a = g.uniform(-0.6, 0.6)
    s.gradient(p.light, p.main, y0, y1, 60)
    for i in range(30):
        x = x0 + w * (i / 15 - 0.5)
        s.poly([(x, y0), (x + w / 30, y0), (x + w / 30 + a * h, y1), (x + a * h, y1)], mix(p.main, p.light, g.uniform(0.1, 0.6)), 90)
    cx = x0 + w / 2
    for m in range(int(g.integers(4, 7))):
        cy, k = y0 + h * (0.15 + 0.12 * m), w * g.uniform(0.12, 0.38)
        n = int(g.integers(3, 9))
        r = k * g.uniform(0.5, 1.0, n)
        t = np.linspace(-np.pi / 2, np.pi / 2, n)
        tone = [p.accent, p.second, p.deep, p.main][g.integers(4)]
        half = np.c_[r * np.cos(t), 0.6 * r * np.sin(t)]
        s.poly(np.r_[half * [1, 1], (half * [-1, 1])[::-1]] + [cx, cy], tone, 80, p.deep, 0.5)
        for side in (-1, 1):
            s.disc(cx + side * 0.4 * k, cy, 0.14 * k, p.paper, 0, p.deep, 0.4)
            s.disc(cx + side * 0.4 * k, cy, 0.06 * k, p.deep, 0)


def bloom(s, box, p, g):
    """Rosettes of petals, large to small."""
    x0, y0, x1, y1 = box
    s.gradient(p.deep, p.main, y0, y1, 50)
    for k in sorted(g.uniform(1.5, (x1 - x0) * 0.3, int(g.integers(8, 18))), reverse=True):
        cx, cy, n = g.uniform(x0, x1), g.uniform(y0, y1), int(g.integers(5, 13))
        a, b = [p.accent, p.second, p.light, p.paper][g.integers(4)], [p.accent, p.second, p.main][g.integers(3)]
        for ring, tone in ((1.0, a), (0.62, b)):
            for i in range(n):
                t = 2 * np.pi * (i + ring) / n
                c, q = np.cos(t), np.sin(t)
                e = np.linspace(0, 2 * np.pi, 24)
                ex, ey = ring * k * (0.55 + 0.45 * np.cos(e)), ring * k * 1.4 / n * np.sin(e)
                s.poly(np.c_[cx + ex * c - ey * q, cy + ex * q + ey * c], tone, 70, p.deep, 0.2)
        s.disc(cx, cy, 0.2 * k, p.deep, 0, p.second, 0.3)


def circuit(s, box, p, g):
    """Nested lanes that turn at right angles, with nodes."""
    x0, y0, x1, y1 = box
    s.gradient(mix(p.main, p.deep, 0.6), p.deep, y0, y1, 50)
    for _ in range(int(g.integers(14, 26))):
        x, y = g.uniform(x0, x1), g.uniform(y0, y1)
        pts = [(x, y)]
        for i in range(int(g.integers(3, 8))):
            d = g.uniform(4, 22) * g.choice([-1, 1])
            x, y = (np.clip(x + d, x0, x1), y) if i % 2 else (x, np.clip(y + d, y0, y1))
            pts.append((x, y))
        tone = [p.accent, p.second, p.light, p.main][g.integers(4)]
        s.line(pts, tone, g.uniform(0.5, 2.2), 150)
        for q in (pts[0], pts[-1]):
            s.disc(*q, g.uniform(1.2, 3.0), tone, 120, p.paper, 0.4)


def banner(s, box, p, g):
    """A shield with charges over diagonal bands."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    s.gradient(p.main, p.deep, y0, y1, 60)
    for i in range(-6, 14):
        y = y0 + h * i / 8
        s.poly([(x0, y), (x1, y - 0.5 * w), (x1, y - 0.5 * w + h / 20), (x0, y + h / 20)], mix(p.second, p.main, g.uniform(0.3, 0.8)), 100)
    cx, cy, k = x0 + w / 2, y0 + h * 0.48, min(w, h) * 0.36
    u = np.linspace(-1, 1, 30)
    shield = np.r_[np.c_[cx + k * u, np.full(30, cy - k)], np.c_[cx + k * np.cos(np.linspace(0, np.pi, 30)) ** 1, cy - 0.1 * k + 1.3 * k * np.sin(np.linspace(0, np.pi, 30))]]
    s.poly(shield, p.accent, 60, p.paper, 1.0)
    s.poly([(cx, cy - k), (cx + k, cy - k), (cx + k, cy), (cx, cy)], p.light, 90)
    s.poly([(cx - k, cy), (cx, cy), (cx, cy + 1.2 * k), (cx - 0.7 * k, cy + 0.85 * k)], p.second, 90)
    for dx, dy in ((-0.5, -0.5), (0.5, -0.5), (0.4, 0.4), (-0.4, 0.4)):
        n, r = int(g.integers(3, 8)), 0.28 * k
        a = np.linspace(0, 2 * np.pi, 2 * n, endpoint=False) + g.uniform(0, 1)
        q = np.where(np.arange(2 * n) % 2, 0.45, 1.0) * r
        s.poly(np.c_[cx + dx * k + q * np.cos(a), cy + dy * k + q * np.sin(a)], p.deep, 0, p.paper, 0.3)


def swirl(s, box, p, g):
    """Spiral arms of dots over rings."""
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    s.gradient(p.deep, mix(p.main, p.deep, 0.3), y0, y1, 60)
    cx, cy = x0 + w * g.uniform(0.3, 0.7), y0 + h * g.uniform(0.3, 0.7)
    for k in range(9, 0, -1):
        s.disc(cx, cy, w * 0.09 * k, mix(p.main, [p.second, p.deep][k % 2], 0.35), 90)
    arms, turn = int(g.integers(3, 8)), g.uniform(1.5, 5)
    for a in range(arms):
        for q in np.linspace(0.03, 1, 50):
            t = 2 * np.pi * a / arms + turn * q
            r = 0.75 * max(w, h) * q
            x, y = cx + r * np.cos(t), cy + r * np.sin(t)
            if x0 <= x <= x1 and y0 <= y <= y1:
                s.disc(x, y, 0.3 + 2.2 * q, [p.accent, p.light, p.second][a % 3], 120, p.deep, 0.2)


OWN = {"orchard": orchard, "moth": moth, "glacier": glacier, "carnival": carnival, "desert": desert, "foundry": foundry}
ABSTRACT = {"tiles": tiles, "totem": totem, "bloom": bloom, "circuit": circuit, "banner": banner, "swirl": swirl}
