"""What exists in a family: lines and their releases, makes, counterfeiters, cameras, fonts, film marks.

Families share no entry of any table here; `shared()` lists what two families have in common (a test
in `sanity` wants it empty). All lengths in mm. Names, art and codes are invented; GTINs are from the
range for restricted circulation (GS1 prefix 20 to 29).
"""
from __future__ import annotations

import colorsys
from dataclasses import dataclass
from functools import lru_cache

from common import gtin13, rng

FAMILIES = ("calibration", "development", "test")
PACK_FACES = ("front", "back")
BOX_FACES = ("front", "back", "left", "right", "top", "bottom")


@dataclass(frozen=True)
class Make:
    """How a factory (or a counterfeiter) closes a pack."""

    id: str
    note: str
    seal_mm: float
    direction: str
    """`along` the pack (ridges cross the cut edge) or `across`."""
    pitch_mm: float
    depth_mm: float
    hardness: float
    """Steepness of the ridges' flanks: 0.6 almost a sine, 2.5 almost square."""
    tooth_pitch_mm: float = 0.0
    tooth_depth_mm: float = 0.0
    fin_centre: float = 0.5
    """Centre of the fin seal as a share of the back's width."""
    fin_mm: float = 10.0


@dataclass(frozen=True)
class Palette:
    """The inks of a release, sRGB codes."""

    main: tuple
    deep: tuple
    light: tuple
    accent: tuple
    second: tuple
    paper: tuple


@dataclass(frozen=True)
class Release:
    """One release of a line."""

    id: str
    name: str
    year: int
    motif: str
    palette: Palette
    makes: tuple[Make, ...]
    boxed: bool
    film_mark: bool
    cards: int
    gtin_pack: str
    gtin_box: str
    motto: tuple[str, str]


@dataclass(frozen=True)
class Line:
    """A card line: one wordmark, one set of sizes."""

    id: str
    name: str
    publisher: str
    town: str
    mark_font: str
    head_font: str
    text_font: str
    bold_font: str
    pack_mm: tuple[float, float]
    box_mm: tuple[float, float, float]
    print_seal_mm: float
    bend_mm: float
    slant: float
    emblem: int
    """Which emblem outline the line uses."""
    layout: int
    """Which arrangement of panels."""
    mark_repeat_mm: float
    releases: tuple[Release, ...]

    def release(self, name: str) -> Release:
        """The release of that id."""
        return next(r for r in self.releases if r.id == name)

    def face_mm(self, form: str, face: str) -> tuple[float, float]:
        """Width and height of a face."""
        if form == "pack":
            return self.pack_mm
        w, h, d = self.box_mm
        return {"front": (w, h), "back": (w, h), "left": (d, h), "right": (d, h), "top": (w, d), "bottom": (w, d)}[face]


@dataclass(frozen=True)
class Maker:
    """A counterfeiter: jaws and what its print gets wrong, at full severity."""

    id: str
    jaw: Make
    scale: float
    shift_mm: tuple[float, float]
    hue_deg: float
    gain: float
    legal: str
    """`right`, `missing` or `wrong-year`."""
    wrong_emblem: bool
    soften_mm: float
    """Blur of its plates."""
    gloss: float


@dataclass(frozen=True)
class Camera:
    """A camera: lens, sensor, and what its software does."""

    id: str
    maker: str
    focal_mm: float
    sensor_mm: float
    """Longer side of the sensor."""
    f_number: float
    fov_deg: float
    """Field of view along the longer side as used for close things (crop or zoom included)."""
    softness_px: float
    vignette: float
    k1: float
    matrix: tuple
    full_well: float
    read: float
    denoise: float
    sharpen: float
    contrast: float
    saturation: float
    lift: float
    """Strength of local tone mapping."""
    wb_stays: tuple[float, float]
    """Share of the lamp's colour that its white balance leaves in, from and to."""


def _p(hue: float, accent: float, second: float, light: float, g) -> Palette:
    """A palette from three hues in degrees."""

    def c(h, l, s):
        return tuple(int(round(255 * v)) for v in colorsys.hls_to_rgb((h % 360) / 360, l, s))

    return Palette(c(hue, 0.30 + 0.14 * g.random(), 0.55 + 0.25 * g.random()), c(hue + g.uniform(-25, 25), 0.10 + 0.05 * g.random(), 0.5),
                   c(light, 0.84, 0.6), c(accent, 0.50, 0.78), c(second, 0.60, 0.70), c(light, 0.93, 0.35))


def _make(id_, note, seal, direction, pitch, depth, hard, tooth=(0.0, 0.0), fin=(0.5, 10.0)) -> Make:
    return Make(id_, note, seal, direction, pitch, depth, hard, tooth[0], tooth[1], fin[0], fin[1])


_MAKES = {
    "calibration": (
        _make("millrow", "Millrow works, straight knife", 9.0, "along", 1.06, 0.15, 1.6, fin=(0.50, 10.0)),
        _make("stane", "Stane works, toothed knife", 8.4, "along", 1.32, 0.17, 1.3, (1.8, 0.75), (0.48, 11.0)),
        _make("overby", "Overby works, cross-ridged jaws", 9.8, "across", 0.96, 0.13, 1.8, fin=(0.53, 9.0)),
        _make("stane-two", "Stane works, second line", 8.8, "along", 0.92, 0.13, 1.4, fin=(0.47, 10.5)),
    ),
    "development": (
        _make("kettleby", "Kettleby works", 8.6, "along", 1.18, 0.16, 1.5, fin=(0.52, 9.5)),
        _make("harrow", "Harrow End works, toothed knife", 9.4, "along", 0.98, 0.14, 1.9, (2.3, 0.85), (0.49, 10.0)),
        _make("saltgate", "Saltgate works, cross-ridged jaws", 8.9, "across", 1.12, 0.14, 1.5, fin=(0.51, 11.5)),
        _make("kettleby-late", "Kettleby works, jaws of the later run", 9.2, "along", 1.24, 0.15, 1.2, fin=(0.46, 9.0)),
    ),
    "test": (
        _make("pendry", "Pendry works", 9.3, "along", 1.01, 0.14, 1.7, fin=(0.54, 10.0)),
        _make("copse", "Copse Lane works, toothed knife, cross-ridged jaws", 8.7, "across", 0.88, 0.12, 1.6, (1.55, 0.65), (0.50, 9.2)),
        _make("ferrand", "Ferrand works", 9.7, "along", 1.40, 0.18, 1.4, fin=(0.45, 11.0)),
        _make("pendry-b", "Pendry works, machine B", 8.5, "along", 1.14, 0.15, 1.9, fin=(0.55, 10.6)),
    ),
}
_FONTS = {
    "calibration": (("DancingScript-Bold.otf", "OldStandard-Bold.ttf"), ("BebasNeue-Bold.otf", "LinLibertine_RB.otf"), ("Cabin-Regular.otf", "Cabin-Bold.otf")),
    "development": (("KaushanScript-Regular.otf", "Vollkorn-ExtraBold.ttf"), ("LeagueSpartan-ExtraBold.otf", "TribunADFStd-ExtraBold.otf"), ("Lato-Regular.ttf", "Lato-Bold.ttf")),
    "test": (("Comfortaa-Bold.ttf", "RobotoSlab-Bold.otf"), ("YanoneKaffeesatz-Bold.otf", "Quattrocento-Regular.otf"), ("OpenSans-Regular.ttf", "OpenSans-Bold.ttf")),
}
_LINES = {
    "calibration": (("brackenkiln", "Brackenkiln", "Sallow & Tine Printing", "Millrow"), ("motherwick", "Motherwick", "Thimble Row Press", "Overby")),
    "development": (("fallowspool", "Fallowspool", "Gannet Yard Editions", "Kettleby"), ("tinderloft", "Tinderloft", "Cobble & Reed Cards", "Saltgate")),
    "test": (("quillharrow", "Quillharrow", "Marram Lane Works", "Pendry"), ("osierfen", "Osierfen", "Larch & Latchet", "Ferrand")),
}
_RELEASES = {
    "calibration": (("Orchard Oath", "orchard", ("Shake the bough.", "What falls was always yours.")), ("Hedge Parliament", "orchard", ("Every thorn votes.", "The hedge remembers who trimmed it.")),
                    ("Clockmoth", "moth", ("It eats only minutes.", "Leave a lamp and lose an hour.")), ("Winding Hour", "moth", ("Two turns to the left.", "The spring is older than the house."))),
    "development": (("Sled Song", "glacier", ("Sing, or freeze.", "The ice keeps the chorus.")), ("Cairn Lights", "glacier", ("Count them twice.", "One of the lights is walking.")),
                    ("Lantern Fair", "carnival", ("Pay with a mask.", "Nobody leaves with the face they brought.")), ("Paper Crowns", "carnival", ("Fold well.", "A crown lasts until it rains."))),
    "test": (("Dune Ledger", "desert", ("Sand is a kind of ink.", "Every track is a debt.")), ("Beetle Caravan", "desert", ("Six legs, one road.", "The road is carried along.")),
             ("Cold Foundry", "foundry", ("Pour the night.", "What rings true is struck again.")), ("Orrery Nine", "foundry", ("Nine and one besides.", "The tenth is only seen from below."))),
}
_HUES = {"calibration": (95, 20, 350, 130), "development": (205, 265, 45, 170), "test": (30, 5, 190, 310)}
_SIZES = {
    "calibration": (((63.0, 108.0), (132.0, 118.0, 68.0)), ((66.0, 114.0), (140.0, 122.0, 64.0))),
    "development": (((64.0, 116.0), (128.0, 126.0, 72.0)), ((61.0, 106.0), (126.0, 112.0, 66.0))),
    "test": (((62.0, 110.0), (138.0, 120.0, 62.0)), ((67.0, 118.0), (144.0, 128.0, 74.0))),
}
_REPEAT = {"calibration": (25.0, 33.0), "development": (37.0, 27.0), "test": (29.0, 34.0)}
_CAMERAS = {
    "calibration": ("linnet-3", "linnet-7", "bramble-s", "oxbow-zoom", "wicket-tab", "sable-1"),
    "development": ("plover-x", "plover-4", "sorrel-mini", "gantry-zoom", "dray-tab", "umber-2"),
    "test": ("thrush-6", "thrush-8", "fescue-lite", "pylon-zoom", "barge-tab", "ochre-5"),
}
_MAKERS = {
    "calibration": ("alder", "blackthorn", "cherry", "dogrose", "elder", "furze"),
    "development": ("hazel", "ivy", "juniper", "knapweed", "lime", "medlar"),
    "test": ("nettle", "osier", "privet", "quince", "rowan", "spindle"),
}


def _cameras(family: str) -> tuple[Camera, ...]:
    """Six cameras: two good phones, a cheap one, a zoom compact, a tablet, an old phone."""
    out = []
    kinds = (  # focal, sensor, f, fov, soft, vignette, well, read, denoise, sharpen
        (6.2, 8.2, 1.8, 38, 0.68, 0.12, 9000, 0.0012, 0.5, 0.6),
        (7.0, 9.8, 1.7, 34, 0.64, 0.10, 14000, 0.0009, 0.35, 0.5),
        (3.9, 4.6, 2.2, 43, 0.85, 0.22, 4200, 0.0026, 1.0, 0.9),
        (14.0, 7.6, 4.0, 24, 0.66, 0.07, 18000, 0.0009, 0.3, 0.4),
        (3.3, 3.7, 2.4, 42, 1.0, 0.25, 3500, 0.0032, 1.1, 0.8),
        (4.3, 5.6, 2.0, 36, 0.78, 0.17, 6500, 0.0018, 0.8, 0.95),
    )
    for i, (name, k) in enumerate(zip(_CAMERAS[family], kinds)):
        g = rng("family", family, "camera", i)

        def near(v, rel=0.08):
            return float(v * (1 + g.uniform(-rel, rel)))

        m = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
        amount = g.uniform(0.02, 0.07)
        for r in range(3):
            off = g.uniform(-1, 1, 3) * amount
            m[r] = [float((1.0 if r == c else 0.0) + off[c] - (off.sum() if r == c else 0) * 0.8) for c in range(3)]
        low = float(g.uniform(0.0, 0.12))
        out.append(Camera(name, name.split("-")[0].title(), near(k[0]), near(k[1]), round(near(k[2], 0.05), 1), near(k[3]), near(k[4]), near(k[5]), float(g.uniform(-0.009, 0.007)),
                          tuple(v for row in m for v in row), near(k[6]), near(k[7]), near(k[8]), near(k[9]), float(g.uniform(0.10, 0.42)), float(g.uniform(0.95, 1.24)),
                          float(g.uniform(0.05, 0.22)), (low, low + float(g.uniform(0.1, 0.25)))))
    return tuple(out)


def _makers(family: str) -> tuple[Maker, ...]:
    """Six counterfeiters; their jaws' pitches are no genuine make's of the family."""
    out = []
    for i, name in enumerate(_MAKERS[family]):
        g = rng("family", family, "maker", i)
        pitch = float(round((0.72, 1.55, 1.72, 0.80, 1.90, 2.15)[i] * g.uniform(0.97, 1.03), 3))
        toothed = i % 3 == 1
        jaw = Make(name, "", float(g.uniform(7.2, 10.6)), ("along", "along", "across")[i % 3] if i != 4 else "across", pitch, float(g.uniform(0.09, 0.17)), float(g.uniform(0.8, 2.2)),
                   float(round(g.uniform(1.3, 2.9), 2)) if toothed else 0.0, float(g.uniform(0.6, 1.0)) if toothed else 0.0, float(g.uniform(0.42, 0.58)), float(g.uniform(7.5, 13.0)))
        out.append(Maker(name, jaw, float(1 + g.choice([-1, 1]) * g.uniform(0.07, 0.14)), (float(g.uniform(-2.2, 2.2)), float(g.uniform(-1.6, 1.6))), float(g.choice([-1, 1]) * g.uniform(10, 32)),
                         float(g.uniform(0.85, 1.25)), ("right", "missing", "wrong-year")[(i + 1) % 3], bool(i % 2), float(g.uniform(0.0, 0.16)), float(g.uniform(0.06, 0.3))))
    return tuple(out)


@lru_cache
def lines(family: str) -> tuple[Line, ...]:
    """The two lines of a family, four releases; one has a toothed make, one line boxes, one of these in plain film."""
    out = []
    number = FAMILIES.index(family)
    for i, (id_, name, publisher, town) in enumerate(_LINES[family]):
        mark, head, (text, bold) = _FONTS[family]
        releases = []
        for j in range(2):
            n = 2 * i + j
            title, motif, motto = _RELEASES[family][n]
            g = rng("family", family, "release", n)
            hue = _HUES[family][n]
            palette = _p(hue, hue + 150 + 20 * g.random(), hue + 60 * (1 if j else -1), hue + g.uniform(20, 60), g)
            makes = (_MAKES[family][n],) if n != 1 else (_MAKES[family][1], _MAKES[family][0])
            base = f"21{number + 1}0{n}7"
            releases.append(Release(title.lower().replace(" ", "-"), title, 2019 + (3 * n + number) % 6, motif, palette, makes, boxed=j == 0, film_mark=i == 0, cards=(9, 11, 12, 10)[n],
                                    gtin_pack=gtin13(base + "310011"), gtin_box=gtin13(base + "310028"), motto=motto))
        size, box = _SIZES[family][i]
        g = rng("family", family, "line", i)
        out.append(Line(id_, name, publisher, town, mark[i], head[i], text, bold, size, box, 9.0, float(g.uniform(-2.5, 3.5)), float(g.choice([0.0, 0.12, -0.1])), 2 * number + i, 2 * number + i,
                        _REPEAT[family][i], tuple(releases)))
    return tuple(out)


@lru_cache
def cameras(family: str) -> tuple[Camera, ...]:
    """The family's cameras."""
    return _cameras(family)


@lru_cache
def makers(family: str) -> tuple[Maker, ...]:
    """The family's counterfeiters."""
    return _makers(family)


def find(family: str, line: str, release: str) -> tuple[Line, Release]:
    """A line and release by id."""
    found = next(l for l in lines(family) if l.id == line)
    return found, found.release(release)


def shared(a: str, b: str) -> list[str]:
    """What two families have in common; must be empty."""

    def things(f):
        out = {("font", x) for l in lines(f) for x in (l.mark_font, l.head_font, l.text_font, l.bold_font)}
        out |= {("line", l.id) for l in lines(f)} | {("publisher", l.publisher) for l in lines(f)} | {("size", l.pack_mm) for l in lines(f)} | {("box", l.box_mm) for l in lines(f)}
        out |= {("repeat", l.mark_repeat_mm) for l in lines(f)} | {("emblem", l.emblem) for l in lines(f)} | {("layout", l.layout) for l in lines(f)}
        for l in lines(f):
            for r in l.releases:
                out |= {("release", r.id), ("motif", r.motif), ("palette", r.palette), ("gtin", r.gtin_pack), ("gtin", r.gtin_box), ("motto", r.motto)}
                out |= {("make", m.id) for m in r.makes} | {("jaw", (m.pitch_mm, m.seal_mm, m.hardness)) for m in r.makes}
        out |= {("camera", c.id) for c in cameras(f)} | {("matrix", c.matrix) for c in cameras(f)} | {("maker", m.id) for m in makers(f)} | {("fake jaw", m.jaw.pitch_mm) for m in makers(f)}
        return out

    return sorted(str(x) for x in things(a) & things(b))
