"""Which cases a set has: a balanced design, drawn from seeds that no state enters.

A stratum is a form with a state. Within each stratum every condition (camera, light, table, sleeve,
what hides, photo plan, way of selling) takes its levels equally often, in an order of its own, and
every continuous condition (pose, wear, white balance, sizes) takes one value from each of n equal
slices of its range, in an order of its own. So a state cannot come with a condition by accident; what
is left is tested by `independence`. Cases are numbered in a shuffled order, so that a set cut short
is a fair sample of the whole.
"""
from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field, replace

import numpy as np

from common import rng
from families import art, covers, world
from families.history import WAYS, History, Job
from families.lamps import LIGHTS
from families.materials import TABLES
from families.photo import Item, Placed, Shot

SIZES = {"calibration": 1200, "development": 600, "test": 600}
"""Photos a family."""
PREFIX = {"calibration": "ca", "development": "de", "test": "te", "pairs": "pr", "spectral": "sp"}


@dataclass
class Thing:
    """An item with its truth."""

    item: Item
    name: str
    state: str
    severity: float
    maker: str = ""
    faults: list[str] = field(default_factory=list)

    @property
    def product(self) -> str:
        return f"{self.item.line}/{self.item.release}/{self.item.form}"


@dataclass
class Photo:
    """A file that an offer shows: one exposure, or two side by side, and how it was stored."""

    parts: list[Shot]
    layout: str
    """`single`, `collage` or `screenshot`."""
    long_px: int
    qualities: tuple[int, ...]
    """JPEG quality of each storing, first to last; more than one: the picture is resized between."""
    exif: bool


@dataclass
class Case:
    """An offer: items, photos, and the levels that the design gave it."""

    id: str
    things: list[Thing]
    photos: list[Photo]
    levels: dict


# ----------------------------------------------------------------------------- drawing


def balanced(levels, n: int, *seed) -> list:
    """`n` levels, each equally often (counts differ by at most one), in a random order."""
    g = rng("plan", *seed)
    levels = list(levels)
    order = list(g.permutation(len(levels)))
    out = [levels[order[i % len(levels)]] for i in range(n)]
    return [out[i] for i in g.permutation(n)]


def spread(n: int, *seed) -> np.ndarray:
    """`n` numbers of 0..1, one from each of n equal slices, in a random order."""
    g = rng("plan", *seed)
    return (g.permutation(n) + g.random(n)) / max(n, 1)


_PACK_PLANS = ["FB"] * 4 + ["FBt"] * 4 + ["FBd"] * 4 + ["FBtd"] * 3 + ["FBTD"] * 2 + ["F", "xB", "Ct"]
"""Photos by letters: F front, B back, t/d close-up of the top/bottom end, T/D the same from the back,
x front with both ends out of the frame, C front and back in one file."""
_BOX_PLANS = ["cu"] * 3 + ["cu1"] * 3 + ["cu12"] * 3 + ["123456", "c12"]
"""c/u corner views from above and (turned over) below, 1-6 a face each."""
_SOLD = ["market"] * 13 + ["direct"] * 4 + ["heavy"] * 2 + ["screenshot"]
"""How the file reached the offer: twice stored by a marketplace, straight from the camera, twice and hard, from a screen."""


def _tilt(u: float) -> float:
    """Degrees between line of sight and normal: most nearly upright, some oblique, a few steep."""
    if u < 0.75:
        return 3 + 20 * (u / 0.75) ** 1.3
    if u < 0.93:
        return 23 + 19 * (u - 0.75) / 0.18
    return 42 + 16 * (u - 0.93) / 0.07


def _shots(case: str, family: str, plan: str, placed, levels: dict, pose: dict, extra: int) -> list[Photo]:
    """The photos of a plan; `pose` holds slices of continuous conditions by name and photo number."""
    letters = list(plan) + ["F" if plan[0] in "FxCl" else "1"] * extra
    out = []
    for n, letter in enumerate(letters):
        seed = f"{case}/{n + 1:02d}"
        q = {k: float(v[n]) for k, v in pose.items()}
        g = rng(seed, "choice")

        def shot(view: str, up: str, tag: str = "") -> Shot:
            jig = rng(seed, "turn", tag)
            there = tuple(replace(p, up=up if p.item.form == "pack" else up, turn_deg=p.turn_deg + (0.0 if view.startswith("corner") else float(jig.normal(0, 3.5)))) for p in placed)
            fill = 0.62 + 0.31 * q["fill"]
            roll = float(np.clip(8 * (q["roll"] - 0.5) / 0.5, -8, 8)) if q["roll"] < 0.9 else 8 + 14 * (q["roll"] - 0.9) / 0.1
            tilt = min(_tilt(q["tilt"]), 12.0) if view == "cut-off" else _tilt(q["tilt"])
            long = levels["final"][n] * (1.12 if levels["sold"] != "direct" else 1.0) * (0.62 if letter == "C" else 1.0)
            return Shot(seed + tag, family, there, view, int(long) // 4 * 4, levels["camera"], levels["light"], q["azimuth"], levels["wb"], 2 * q["ev"] - 1, round(tilt, 2), round(360 * q["phi"], 1), round(roll * (1 if g.random() < 0.5 else -1), 2),
                        round(fill, 3), q["focus"], levels["table"], levels["sleeve"], levels["hide"] if letter in "FBxCl" and n == levels["hide_at"] else "none", levels["hide_end"])

        if letter == "C":
            parts = [shot("whole", "front", "a"), shot("whole", "back", "b")]
        elif letter in "cu":
            parts = [shot("corner" if letter == "c" else "corner-under", "stand" if letter == "c" else "stand-under")]
        elif letter in "123456":
            parts = [shot("face", world.BOX_FACES[int(letter) - 1])]
        elif letter in "lL":
            parts = [shot("lot", "front" if letter == "l" else "back")]
        else:
            view = {"t": "top-end", "T": "top-end", "d": "bottom-end", "D": "bottom-end", "x": "cut-off"}.get(letter, "whole")
            parts = [shot(view, "back" if letter in "BTD" else "front")]
        sold = levels["sold"]
        quality = q["quality"]
        qualities = {"market": (int(84 + 11 * quality), int(62 + 24 * quality)), "direct": (int(84 + 13 * quality),), "heavy": (int(70 + 15 * quality), int(28 + 18 * quality)), "screenshot": (90, int(60 + 25 * quality))}[sold]
        out.append(Photo(parts, "collage" if letter == "C" else "screenshot" if sold == "screenshot" else "single", int(levels["final"][n]) // 2 * 2, qualities, sold == "direct"))
    return out


def _make_item(case: str, name: str, family: str, form: str, state: str, product, row: dict) -> Thing:
    """An item of a state; `row` holds the slices that this item drew."""
    line, release = product
    identity = f"{case}/{name}"
    make = None
    if form == "pack":
        make = release.makes[int(row["make"] * len(release.makes)) % len(release.makes)]
    wear, faults = round(0.02 + 0.96 * row["wear"] ** 1.25, 3), []
    factory = row["factory"]  # the same share of every state carries a factory fault
    shift, miscut, strike, fin = (0.0, 0.0), 0.0, {}, 0.0
    size = 0.4 + 1.4 * row["amount"]
    if form == "pack" and factory < 0.10:
        a = 2 * np.pi * row["which"]
        shift = (round(size * np.cos(a), 2), round(size * np.sin(a), 2))
        faults.append("print shifted by {:.1f}, {:.1f} mm".format(*shift))
    elif form == "pack" and factory < 0.18:
        miscut = round(0.9 * size * (1 if row["which"] < 0.5 else -1), 2)
        faults.append(f"cut skewed by {miscut:.1f} mm")
    elif form == "pack" and factory < 0.26:
        strike = {"top" if row["which"] < 0.5 else "bottom": round(0.25 + 0.75 * row["amount"], 2)}
        faults.append(f"{next(iter(strike))} end struck twice")
    elif form == "pack" and factory < 0.32:
        fin = round(2.2 * size * (1 if row["which"] < 0.5 else -1), 2)
        faults.append(f"fin seal shifted by {fin:.1f} mm")
    severity, jobs, recut, forgery, maker_id, film_fake = 0.0, {}, {}, art.GENUINE, "", 0.0
    s = round(0.05 + 0.93 * row["severity"], 3)
    if state == "resealed" and form == "pack":
        severity, place = s, row["place"]
        second = round(s * (0.35 + 0.6 * row["second"]), 3)
        if place == "fin":
            jobs = {"fin": Job("glue" if row["which"] < 0.5 else "iron", s)}
        elif place == "both":
            jobs = {"top": Job(row["way"], s if row["which"] < 0.5 else second), "bottom": Job(row["way"], second if row["which"] < 0.5 else s)}
        else:
            jobs = {place: Job(row["way"], s)}
        if row["cut"] < 0.35:
            recut = {end: round(s * (0.4 + 0.6 * row["second"]), 3) for end in jobs if end != "fin"}
            faults += [f"{end} end cut again, {v:.2f} of 1" for end, v in recut.items()]
    elif state == "resealed":
        severity, jobs = s, {"film": Job("rewrap", s)}
        faults.append(f"wrapped again in other film, {s:.2f} of 1")
    elif state in ("counterfeit", "never-made"):
        severity = s
        makers = world.makers(family)
        maker = makers[int(row["maker"] * len(makers)) % len(makers)]
        maker_id = maker.id
        forgery = art.forged(maker, s, line)
        faults += forgery.faults()
        if form == "pack":
            j, m = maker.jaw, make
            make = world.Make(j.id, "", m.seal_mm + (j.seal_mm - m.seal_mm) * s, j.direction if s > 0.5 else m.direction, m.pitch_mm + (j.pitch_mm - m.pitch_mm) * s, j.depth_mm, m.hardness + (j.hardness - m.hardness) * s,
                              j.tooth_pitch_mm if s > 0.4 else m.tooth_pitch_mm, j.tooth_depth_mm if s > 0.4 else m.tooth_depth_mm, m.fin_centre + (j.fin_centre - m.fin_centre) * s, m.fin_mm + (j.fin_mm - m.fin_mm) * s)
            faults.append(f"ridges {make.direction} at {make.pitch_mm:.2f} mm")
        else:
            film_fake = s
            faults.append(f"film of another machine, {s:.2f} of 1")
    h = History(wear, round(row["pressure"] ** 2, 3), round(0.5 * row["fade"] ** 3, 3), jobs, recut, miscut, shift, strike, fin)
    gloss = round(0.11 + 0.09 * row["gloss"], 3)
    return Thing(Item(identity, family, line.id, release.id, form, make, h, forgery, film_fake, gloss), name, state, severity, maker_id, faults)


_ITEM_SLICES = ("wear", "factory", "amount", "which", "severity", "second", "cut", "maker", "pressure", "fade", "gloss", "make")
_POSE_SLICES = ("azimuth", "tilt", "phi", "roll", "fill", "focus", "ev", "quality")
_MOST_PHOTOS = 8


def _rows(n: int, *seed) -> list[dict]:
    """Slices of the items of one stratum."""
    columns = {k: spread(n, *seed, "item", k) for k in _ITEM_SLICES}
    place = balanced(["top", "bottom", "top", "bottom", "top", "bottom", "both", "both", "fin"], n, *seed, "place")
    way = balanced(WAYS, n, *seed, "way")
    return [{**{k: float(v[i]) for k, v in columns.items()}, "place": place[i], "way": way[i]} for i in range(n)]


def _levels(n: int, family: str, form: str, plans, *seed) -> list[dict]:
    """Conditions of the cases of one stratum."""
    cameras = [c.id for c in world.cameras(family)]
    sleeves = ["none"] * 13 + ["sleeve"] * 4 + ["holder"] + ["bag"] * 2 if form == "pack" else ["none"]
    hides = ["none"] * 16 + ["sticker-end", "sticker-body", "fingers", "fingers"] if form == "pack" else ["none"]
    table = {"camera": balanced(cameras, n, *seed, "camera"), "light": balanced(LIGHTS, n, *seed, "light"), "table": balanced(TABLES, n, *seed, "table"),
             "sleeve": balanced(sleeves, n, *seed, "sleeve"), "hide": balanced(hides, n, *seed, "hide"), "hide_end": balanced(["top", "bottom"], n, *seed, "hide-end"),
             "hide_at": balanced([0, 0, 1], n, *seed, "hide-at"), "plan": balanced(plans, n, *seed, "photos"), "sold": balanced(_SOLD, n, *seed, "sold")}
    wb, size = spread(n, *seed, "wb"), spread(n, *seed, "size")
    pose = {k: spread(n * _MOST_PHOTOS, *seed, "pose", k).reshape(n, _MOST_PHOTOS) for k in _POSE_SLICES}
    out = []
    for i in range(n):
        row = {k: v[i] for k, v in table.items()}
        lo, hi = {"market": (800, 1600), "heavy": (800, 1300), "screenshot": (900, 1500), "direct": (1300, 2200)}[row["sold"]]
        row["wb"] = float(wb[i])
        row["final"] = [lo + (hi - lo) * ((float(size[i]) + 0.13 * k) % 1.0) for k in range(_MOST_PHOTOS)]
        row["pose"] = {k: v[i] for k, v in pose.items()}
        out.append(row)
    return out


def _products(family: str, form: str, made: bool = True) -> list:
    return [(l, r) for l in world.lines(family) for r in l.releases if form == "pack" or r.boxed == made]


def cases(name: str, photos: int | None = None) -> list[Case]:
    """The cases of a set: `calibration`, `development`, `test`, `pairs` or `spectral`."""
    if name == "pairs":
        return _pairs()
    family = "development" if name == "spectral" else name
    total = photos or (200 if name == "spectral" else SIZES[name])
    q = total / 600
    strata = [("pack", "sealed", 73), ("pack", "resealed", 50), ("pack", "counterfeit", 23), ("box", "sealed", 18), ("box", "resealed", 9), ("box", "counterfeit", 6), ("box", "never-made", 3)]
    drafts = []
    for form, state, count in strata:
        n = max(1, round(count * q))
        seed = (name, form, state)
        plans = _PACK_PLANS if form == "pack" else _BOX_PLANS
        products = balanced(_products(family, form, state != "never-made"), n, *seed, "product")
        rows, levels = _rows(n, *seed), _levels(n, family, form, plans, *seed)
        drafts += [(form, [state], [products[i]], [rows[i]], levels[i]) for i in range(n)]
    lots = max(1, round(18 * q))
    states = balanced(["sealed"] * 3 + ["resealed"] * 2 + ["counterfeit"], 3 * lots, name, "lot", "state")
    rows, levels = _rows(3 * lots, name, "lot"), _levels(lots, family, "pack", ["lL"], name, "lot")
    products = balanced(_products(family, "pack"), 3 * lots, name, "lot", "product")
    for i in range(lots):
        k = slice(3 * i, 3 * i + 3)
        drafts.append(("lot", states[k], products[k], rows[k], levels[i]))
    order = rng("plan", name, "order").permutation(len(drafts))
    drafts = [drafts[i] for i in order]
    # fill up to the number of photos: one more view, in the order of the cases
    short = total - sum(len(d[4]["plan"]) for d in drafts)
    extra = [0] * len(drafts)
    able = [i for i, d in enumerate(drafts) if d[0] != "lot" and len(d[4]["plan"]) < _MOST_PHOTOS - 1]
    for k in range(max(0, short)):
        extra[able[k % len(able)]] += 1
    while short < 0:  # too many: shorten long plans, again in the order of the cases
        i = next(i for i, d in enumerate(drafts) if len(d[4]["plan"]) > 3)
        drafts[i][4]["plan"] = drafts[i][4]["plan"][:-1]
        short += 1
    out = []
    for n, (form, states, products, rows, levels) in enumerate(drafts):
        id_ = f"{PREFIX[name]}-{n + 1:04d}"
        things = [_make_item(id_, "abc"[k], family, "pack" if form == "lot" else form, s, p, r) for k, (s, p, r) in enumerate(zip(states, products, rows))]
        if form == "lot":
            g = rng(id_, "lay")
            gap = max(t.item.known()[0].pack_mm[0] for t in things) + 6
            placed = tuple(Placed(t.item, t.name, "front", (float((k - 1) * gap + g.normal(0, 1.5)), float(g.normal(0, 3))), float(g.normal(0, 3))) for k, t in enumerate(things))
        else:
            placed = (Placed(things[0].item, "a", "front"),)
        pose = levels.pop("pose")
        out.append(Case(id_, things, _shots(id_, family, levels["plan"], placed, levels, pose, extra[n]), levels))
    return out


def _pairs() -> list[Case]:
    """Thirty packs, each photographed four times: as it is, light from the other side, other white balance, other JPEG quality."""
    base = [c for c in cases("development") if c.things[0].item.form == "pack" and len(c.things) == 1]
    g = rng("plan", "pairs")
    by = {}
    for c in base:
        by.setdefault(c.things[0].state, []).append(c)
    chosen = [by[s][i] for s, n in (("sealed", 15), ("resealed", 11), ("counterfeit", 4)) for i in g.permutation(len(by[s]))[:n]]
    out = []
    for k, c in enumerate(chosen):
        identity = f"pair-{k + 1:02d}"
        thing = replace(c.things[0], item=replace(c.things[0].item, identity=identity))
        gk = rng("plan", "pairs", k)
        shot = replace(c.photos[0].parts[0], seed=identity, view="whole", placed=(Placed(thing.item, "a", "front", turn_deg=float(gk.normal(0, 3))),), long_px=1440, hide="none", sleeve="none",
                       light=LIGHTS[k % 4 if k % 4 != 1 else 3], tilt_deg=round(float(gk.uniform(3, 22)), 2), fill=0.9, focus=float(gk.uniform(0, 0.7)), wb=0.0)
        variants = {"base": (shot, (92, 84)), "side": (replace(shot, azimuth=(shot.azimuth + 0.5) % 1), (92, 84)), "wb": (replace(shot, wb=1.0), (92, 84)), "jpeg": (shot, (85, 45))}
        for name, (s, qualities) in variants.items():
            out.append(Case(f"pr-{k + 1:02d}-{name}", [thing], [Photo([s], "single", 1200, qualities, False)], {"pair": identity, "variant": name, "plan": "F"}))
    return out


def as_json(case: Case) -> dict:
    """The whole plan of a case as plain values."""

    def plain(v):
        if isinstance(v, dict):
            return {str(k): plain(w) for k, w in v.items()}
        if isinstance(v, (list, tuple)):
            return [plain(w) for w in v]
        if isinstance(v, (np.floating, float)):
            return round(float(v), 9)
        if isinstance(v, np.integer):
            return int(v)
        return v

    return plain({"id": case.id, "things": [asdict(t) for t in case.things], "photos": [asdict(p) for p in case.photos], "levels": case.levels})


def digest(case: Case) -> str:
    """SHA-256 of a case's plan."""
    return hashlib.sha256(json.dumps(as_json(case), sort_keys=True).encode()).hexdigest()


__all__ = ["Case", "Photo", "Thing", "SIZES", "as_json", "balanced", "cases", "digest", "spread", "covers"]
