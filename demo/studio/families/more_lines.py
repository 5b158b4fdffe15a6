"""Forty further lines with shared wordmarks: about 1,000 flat faces that placement has to tell apart.

Art only, never photographed; a line's releases share its wordmark, sizes and layout, and often a motif.
"""
from __future__ import annotations

from functools import lru_cache

from common import gtin13, rng
from families.motifs import ABSTRACT, OWN
from families.world import Line, Make, Release, _p

_FIRST = ("Bracket", "Copper", "Dapple", "Fennel", "Gable", "Hobnail", "Inkwell", "Kelder", "Lattice", "Mullion", "Nutmeg", "Ochre", "Pewter", "Quarrel", "Rushlight", "Spindle", "Thatch", "Umbel", "Verdigris", "Wattle")
_LAST = ("mere", "hatch", "ledge", "wharf", "stile", "garth", "rook", "bellow", "tarn", "plume", "sickle", "vane", "cinder", "burrow", "harp", "moss", "anvil", "thimble", "locket", "fathom")
_NAMES = ("First Light", "Low Tide", "Salt Road", "Grey Hour", "Long Winter", "Glass Teeth", "Tall Grass", "Iron Lullaby", "Sixth Bell", "Borrowed Coat", "Red Ledger", "Small Hours", "Rope and Ash", "Broken Almanac",
          "Hollow Hill", "Second Harvest", "The Lesser Moon", "Crooked Mile", "Painted Well", "Nine Doors")
_FONTS = ("LinLibertine_RB.otf", "LinBiolinum_RB.otf", "ComicNeue-Bold.otf", "Jura-Bold.otf", "Dosis-ExtraBold.otf", "CherryBomb-Regular.otf", "GoudyBookletter1911.otf", "OldaniaADFStd-Bold.otf", "MekanusADFStd-Bold.otf", "Prociono.otf", "Lemonada-Bold.otf",
          "Courier Prime Bold.otf", "Cardob101.ttf", "Play-Bold.ttf", "UniversalisADFStd-Bold.otf")
_TEXT = (("ComicNeue-Regular.otf", "ComicNeue-Bold.otf"), ("Dosis-Book.otf", "Dosis-ExtraBold.otf"), ("MekanusADFStd-Regular.otf", "MekanusADFStd-Bold.otf"), ("UniversalisADFStd-Regular.otf", "UniversalisADFStd-Bold.otf"), ("Play-Regular.ttf", "Play-Bold.ttf"))


@lru_cache
def lines() -> tuple[Line, ...]:
    """Forty lines; their releases have 1,000 faces in all."""
    out, faces = [], 0
    for i in range(40):
        g = rng("lines", i)
        name = _FIRST[i % 20] + _LAST[(7 * i + i // 20) % 20]
        motifs = list(g.permutation(list(ABSTRACT) + list(OWN)))[:2]
        make = Make("works", "the only works", 9.0, "along", float(round(g.uniform(0.9, 1.4), 2)), 0.15, 1.5)
        releases = []
        want = 25 * (i + 1) - faces  # 25 faces a line on average: releases with boxes (8) and without (2)
        titles = list(g.permutation(len(_NAMES)))
        while want >= 2:
            boxed = want >= 8
            n = len(releases)
            hue = g.uniform(0, 360)
            title = _NAMES[titles[n]]
            palette = _p(hue, hue + g.uniform(110, 190), hue + g.uniform(40, 80), hue + g.uniform(0, 90), g)
            digits = f"22{i:02d}{n}7"
            releases.append(Release(title.lower().replace(" ", "-"), title, 2015 + n, motifs[int(g.random() < 0.35)], palette, (make,), boxed, True, int(g.integers(8, 13)), gtin13(digits + "310011"), gtin13(digits + "310028"), (f"{title}.", "Nobody came back with the same cards.")))
            want -= 8 if boxed else 2
            faces += 8 if boxed else 2
        text, bold = _TEXT[int(g.integers(len(_TEXT)))]
        size = (float(round(g.uniform(60, 68), 1)), float(round(g.uniform(104, 120), 1)))
        out.append(Line(name.lower(), name, f"{_FIRST[(i + 9) % 20]} & {_FIRST[(i + 4) % 20]} Cards", _LAST[i % 20].title() + "by", _FONTS[int(g.integers(len(_FONTS)))], _FONTS[int(g.integers(len(_FONTS)))], text, bold, size,
                        (float(round(g.uniform(124, 146), 1)), float(round(g.uniform(110, 128), 1)), float(round(g.uniform(60, 76), 1))), 9.0, float(g.uniform(-2.5, 3.5)), float(g.choice([0.0, 0.12, -0.1])), int(g.integers(12)), int(g.integers(6)), 30.0, tuple(releases)))
    return tuple(out)
