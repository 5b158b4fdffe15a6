"""The demo's offers: what a seller shows and writes. Every name, price and sentence is invented."""
from __future__ import annotations

import numpy as np

from common import rng
from scenes import Cover, Placed
from sets import Case, Thing, box, counterfeit_pack, genuine_pack, shot

QUALITY = (66, 84)
_PREFIX = "pf-"


def _p(thing: Thing, up: str, at=(0.0, 0.0), turn=0.0) -> Placed:
    return Placed(thing.item, thing.name, up, at, turn)


def _shots(id_: str, thing: Thing, plan: str):
    """Photos by letters: f front, b back, t/d close-up of the top/bottom end (front), T/D of the back,
    x front with both ends cut off, s/S front with a sticker over the top/bottom end, g/G the same with
    fingers; for boxes c/C the two corner views, and 1-6 one face each."""
    out = []
    for i, letter in enumerate(plan):
        n = i + 1
        g = rng(id_, n, "size")
        size = int(g.choice([1150, 1300, 1450, 1600, 1750], p=[0.2, 0.3, 0.25, 0.15, 0.1]))
        if letter in "cC":
            out.append((shot(id_, n, (_p(thing, "stand" if letter == "c" else "stand-under"),), size, QUALITY, "corner" if letter == "c" else "corner-under", jitter=False), []))
            continue
        if letter in "123456":
            face = ("front", "back", "left", "right", "top", "bottom")[int(letter) - 1]
            out.append((shot(id_, n, (_p(thing, face),), size, QUALITY), []))
            continue
        up = "back" if letter in "bTD" else "front"
        view = {"t": "top-end", "T": "top-end", "d": "bottom-end", "D": "bottom-end", "x": "cut-off"}.get(letter, "whole")
        cover = {"s": Cover("sticker", thing.name, "top"), "S": Cover("sticker", thing.name, "bottom"),
                 "g": Cover("fingers", thing.name, "top"), "G": Cover("fingers", thing.name, "bottom")}.get(letter)
        if view in ("top-end", "bottom-end"):
            size = int(np.clip(size, 1150, 1450))
        out.append((shot(id_, n, (_p(thing, up),), size, QUALITY, view, cover), []))
    return out


_NAME = {"first-soundings": "First Soundings", "brass-estuary": "Brass Estuary", "night-dredge": "Night Dredge"}
_TITLES_PACK = (
    "Kelpwright {r} pack, sealed", "Kelpwright - {r} - factory sealed card pack", "{r} Kelpwright pack unopened 11 cards",
    "Kelpwright {r} single pack", "Sealed pack Kelpwright {r}", "Kelpwright {r} booster pack new",
)
_TITLES_BOX = ("Kelpwright {r} box, 36 packs, sealed", "Kelpwright {r} sealed display box 36 packs", "Full box Kelpwright {r}, still in its film")
_TEXTS = (
    "Bought at release and kept in a drawer since. You get the one in the photos.",
    "From my late uncle's shelf. I know little about cards. Never opened as far as I can tell.",
    "Smoke-free home. Posted in a stiff envelope within two days.",
    "Selling my doubles. Ask if you need more photos.",
    "Part of a collection that I am breaking up. No swaps please.",
    "Found while moving house. Sold as seen in the pictures.",
    "Will send tracked. Please look at the photos, they are part of the description.",
)
_SELLERS = ("marsh_attic", "tallow-and-rope", "ninefathoms", "the.card.cupboard", "Ostrava_J", "pier27goods", "hollowreed", "quiet_harbour", "bramblecount", "o.lindqvist", "saltbox-finds", "gearwife")
_VALUES = {"pack": {"first-soundings": 24.0, "brass-estuary": 13.0, "night-dredge": 9.5}, "box": {"first-soundings": 690.0, "brass-estuary": 390.0, "night-dredge": 260.0}}


def _words(id_: str, thing: Thing, title: str | None = None, text: str | None = None, count: int = 1) -> dict:
    g = rng(id_, "words")
    r, form = thing.item.release, thing.item.form
    worth = _VALUES[form][r] * count
    titles = _TITLES_PACK if form == "pack" else _TITLES_BOX
    price = worth * g.uniform(0.55, 1.1)
    day = int(g.integers(2, 27))
    bids = []
    if g.random() < 0.55:
        amount = price * g.uniform(0.35, 0.6)
        for i in range(int(g.integers(2, 7))):
            amount *= g.uniform(1.04, 1.2)
            who = f"{'abcdefghjkmnprstvw'[g.integers(18)]}***{'adehiklmnorstuy'[g.integers(15)]}"
            bids.append((who, f"{amount:.2f}", f"2026-10-{day:02d}T{7 + 2 * i:02d}:{int(g.integers(60)):02d}:00Z"))
        price = float(bids[-1][1])
    return {
        "title": title or titles[g.integers(len(titles))].format(r=_NAME[r]),
        "description": text or _TEXTS[g.integers(len(_TEXTS))],
        "price": f"{price:.2f}", "shipping": f"{(2.9 if form == 'pack' else 8.5) + g.choice([0, 1, 2]):.2f}",
        "captured": f"2026-10-{day:02d}T21:{int(g.integers(60)):02d}:00Z",
        "returns": int(g.choice([0, 0, 14, 30])), "buyer_pays": bool(g.random() < 0.6),
        "seller": _SELLERS[g.integers(len(_SELLERS))], "since": int(g.integers(2009, 2026)), "ratings": int(np.exp(g.uniform(1, 7))),
        "bids": bids,
        "values": (f"{worth:.2f}", f"{worth * 0.18:.2f}", f"{worth * 0.02:.2f}"), "refund": round(float(g.uniform(0.4, 0.8)), 2),
    }


def _single(build, plan, title=None, text=None, hidden=()):
    def make(id_: str) -> Case:
        thing = build(id_)
        thing.hidden = list(hidden)
        return Case(id_, [thing], _shots(id_, thing, plan), _words(id_, thing, title, text))

    return make


def _lot(id_: str) -> Case:
    """Three packs in a row, the middle one re-closed."""
    things = [
        genuine_pack(f"{id_}-a", "first-soundings", "eastmere", 0.15, name="a"),
        genuine_pack(f"{id_}-b", "brass-estuary", "north", 0.20, {"top": ("iron", 0.92)}, name="b"),
        genuine_pack(f"{id_}-c", "night-dredge", "eastmere", 0.25, name="c"),
    ]
    g = rng(id_, "row")
    shots = []
    for n, up in ((1, "front"), (2, "back")):
        row = tuple(_p(t, up, (76.0 * (i - 1) + float(g.normal(0, 1.5)), float(g.normal(0, 2.5))), float(g.normal(0, 2))) for i, t in enumerate(things))
        shots.append((shot(id_, n, row, 2300, QUALITY), []))
    words = _words(id_, things[0], "Three Kelpwright packs, one of each release, sealed", "One First Soundings, one Brass Estuary, one Night Dredge. Fronts and backs in the same order. Sold together.", 2)
    words["items"] = ["a", "b", "c"]
    return Case(id_, things, shots, words)


def _manual(id_: str) -> Case:
    """A clean pack with its corners marked by hand (from the truth) in the first photo."""
    thing = genuine_pack(id_, "first-soundings", "eastmere", 0.12)
    shots = _shots(id_, thing, "fbt")

    def corners(photo):
        if not photo:
            return None
        m = np.asarray(next(f for f in photo["faces"] if f["face"] == "front")["seal_mm_to_px"])
        out = []
        for x, y in ((0, 0), (65, 0), (65, 112), (0, 112)):
            p = m @ [x, y, 1]
            out.append((p[0] / p[2], p[1] / p[2]))
        return out

    shots[0] = (shots[0][0], [{"item": "a", "face": "front", "corners": corners}])
    words = _words(id_, thing)
    words["items"] = ["a"]
    return Case(id_, [thing], shots, words)


def _rows():
    fs, be, nd = "first-soundings", "brass-estuary", "night-dredge"

    def pack(r, m, w, **k):
        return lambda id_: genuine_pack(id_, r, m, w, **k)

    def fake(r, maker, w=0.15):
        return lambda id_: counterfeit_pack(id_, r, maker, w)

    ends = {"top": "top-end-seal", "bottom": "bottom-end-seal"}
    return [
        # genuine, clean
        _manual,
        _single(pack(fs, "eastmere", 0.05), "fb"),
        _single(pack(be, "north", 0.10), "fbd"),
        _single(pack(nd, "eastmere", 0.15), "fbtd"),
        _single(pack(nd, "eastmere", 0.08), "fb"),
        _single(pack(be, "north", 0.18, shift=(0.9, 0.7)), "fbt"),
        # genuine, worn
        _single(pack(fs, "eastmere", 0.85), "fbt", text="A much-travelled pack: creased and rubbed, but never opened."),
        _single(pack(be, "north", 0.70), "fb"),
        _single(pack(nd, "eastmere", 0.95, miscut=0.8), "fbtd", text="Carried in a coat pocket for a year, so it looks its part."),
        # genuine, toothed make
        _single(pack(be, "quay", 0.12), "fb"),
        _single(pack(be, "quay", 0.40), "fbt"),
        # re-closed, blatant
        _single(pack(fs, "eastmere", 0.15, ends={"top": ("iron", 0.95)}), "fbt"),
        _single(pack(be, "north", 0.25, ends={"bottom": ("crimper", 0.90)}), "fb"),
        _single(pack(nd, "eastmere", 0.20, ends={"top": ("glue", 0.95)}), "fbtd"),
        _single(pack(be, "quay", 0.15, ends={"bottom": ("iron", 0.85)}), "fbd"),
        _single(pack(fs, "eastmere", 0.35, ends={"bottom": ("crimper", 0.85)}), "fb"),
        # re-closed, moderate
        _single(pack(nd, "eastmere", 0.20, ends={"bottom": ("iron", 0.55)}), "fbd"),
        _single(pack(fs, "eastmere", 0.40, ends={"top": ("glue", 0.50)}), "fb"),
        # re-closed, subtle
        _single(pack(be, "north", 0.20, ends={"top": ("iron", 0.22)}), "fbt"),
        # counterfeit packs, blatant
        _single(fake(fs, "ash"), "fb"),
        _single(fake(be, "birch"), "fbt"),
        _single(fake(nd, "dogwood", 0.25), "fbd"),
        # boxes that never were
        _single(lambda id_: box(id_, nd, 0.10, "birch", "never-made"), "cC1", title="Kelpwright Night Dredge box, 36 packs, factory sealed"),
        _single(lambda id_: box(id_, nd, 0.25, "ash", "never-made"), "c15", hidden=["back", "left", "bottom"], title="Night Dredge display box Kelpwright unopened"),
        # hidden views
        _single(pack(fs, "eastmere", 0.15), "f", hidden=["back"]),
        _single(pack(be, "north", 0.20, ends={"top": ("iron", 0.9)}), "sg", hidden=["back", ends["top"]], text="Price label will come off easily."),
        _single(pack(nd, "eastmere", 0.20), "xx", hidden=["back", ends["top"], ends["bottom"]]),
        _single(pack(fs, "eastmere", 0.30, ends={"bottom": ("glue", 0.9)}), "GS", hidden=["back", ends["bottom"]]),
        # boxes
        _single(lambda id_: box(id_, fs, 0.08), "cC12"),
        _single(lambda id_: box(id_, be, 0.35), "cC125"),
        _single(lambda id_: box(id_, be, 0.15, "ash", "counterfeit"), "cC12"),
        # a lot
        _lot,
    ]


def offers() -> list[Case]:
    """Every offer, under numbers in a shuffled order."""
    rows = _rows()
    order = rng("offers", "order").permutation(len(rows))
    return sorted((make(f"{_PREFIX}{2041 + 7 * int(order[i])}") for i, make in enumerate(rows)), key=lambda c: c.id)
