"""The demo's sets: which items exist, what happened to them, and which photos show them.

States and severities are chosen here by hand; cameras, lights, tables and poses are drawn from the
photo's id in `shots`, in a permuted order of its own that no state enters.
"""
from __future__ import annotations

import json
import multiprocessing
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import prints
from camera import CAMERAS
from catalogue import MAKES, Make, make_of
from common import DEMO, LINE, rng
from damage import End, History
from lights import LIGHTS
from scenes import Cover, Item, Placed, Shot

BAD_JAWS = {
    "ash": Make("ash", "", "", 9.0, "along", 1.60, 0.12),
    "birch": Make("birch", "", "", 8.0, "along", 0.80, 0.09, 1.6, 0.7),
    "cedar": Make("cedar", "", "", 10.0, "across", 1.45, 0.16),
    "dogwood": Make("dogwood", "", "", 7.5, "along", 1.90, 0.14, 2.6, 0.9),
}
"""The counterfeiters' jaws and knives."""


@dataclass
class Thing:
    """An item with its truth."""

    item: Item
    state: str
    name: str = "a"
    severity: float = 0.0
    hidden: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    @property
    def product(self) -> str:
        return f"{LINE}/{self.item.release}/{self.item.form}"

    def truth(self) -> dict:
        """The item's entry in truth.json."""
        h = self.item.history
        out = {"state": self.state, "product": self.product}
        if self.state in ("sealed", "resealed"):
            out["make"] = self.item.make.id if self.item.make else "eastmere"
        out["severity"] = self.severity
        out["wear"] = h.wear
        out["ends"] = {k: {"by": e.by, "severity": e.severity} for k, e in h.ends.items()}
        out["hidden"] = self.hidden
        out["faults"] = self.faults
        return out


def genuine_pack(identity, release, make, wear, ends=None, shift=(0.0, 0.0), miscut=0.0, name="a") -> Thing:
    """A genuine pack, re-closed where `ends` says so."""
    ends = {k: End(*v) for k, v in (ends or {}).items()}
    faults = []
    if shift != (0.0, 0.0):
        faults.append("print shifted by {:.1f}, {:.1f} mm".format(*shift))
    if miscut:
        faults.append(f"cut skewed by {miscut:.1f} mm")
    item = Item(identity, "pack", release, "", make_of(release, make), History(wear, ends, shift, miscut))
    severity = max((e.severity for e in ends.values()), default=0.0)
    return Thing(item, "resealed" if ends else "sealed", name, severity, [], faults)


def counterfeit_pack(identity, release, maker, wear, name="a") -> Thing:
    """A counterfeit pack of a maker."""
    jaw = BAD_JAWS[maker]
    faults = prints.forgery(maker, release).faults() + [f"ridges {jaw.direction} at {jaw.pitch_mm} mm"]
    if jaw.tooth_pitch_mm:
        faults.append(f"toothed cut at {jaw.tooth_pitch_mm} mm")
    return Thing(Item(identity, "pack", release, maker, jaw, History(wear)), "counterfeit", name, 0.9, [], faults)


def box(identity, release, wear, maker="", state="sealed", name="a") -> Thing:
    """A box; with a maker it is that maker's, without the film's mark."""
    faults = (prints.forgery(maker, release).faults() if release != "night-dredge" else []) + ["film without mark"] if maker else []
    return Thing(Item(identity, "box", release, maker, None, History(wear), not maker), state, name, 0.9 if maker else 0.0, [], faults)


@dataclass
class Case:
    """A folder of photos: things, shots, and the words around them."""

    id: str
    things: list[Thing]
    shots: list[tuple[Shot, list[dict]]]
    """Shot and, for specimens or manual marks, what it shows."""
    words: dict = field(default_factory=dict)


def shot(case: str, number: int, placed, long_px: int, quality, view="whole", cover=None, cameras=None, jitter=True) -> Shot:
    """A shot whose camera, light and pose come from its seed alone."""
    seed = f"{case}/{number:02d}"
    g = rng(seed, "choice")
    owner = rng(case, "cameras").permutation(len(CAMERAS))
    name = CAMERAS[owner[0] if cameras is None else owner[cameras]].name
    light = LIGHTS[int(g.integers(len(LIGHTS)))]
    if jitter:
        placed = tuple(Placed(p.item, p.name, p.up, p.at, p.turn_deg + float(g.normal(0, 3.5))) for p in placed)
    long_px = int(long_px * g.uniform(0.95, 1.05)) // 4 * 4
    return Shot(seed, tuple(placed), long_px, quality, name, light, view, cover)


# --------------------------------------------------------------------------- specimens

_WEARS = (0.05, 0.15, 0.30, 0.45, 0.65, 0.90)
_JOBS = {
    ("first-soundings", "eastmere"): [{"top": ("iron", 0.9)}, {"bottom": ("crimper", 0.85)}, {"top": ("glue", 0.7)}, {"bottom": ("iron", 0.45)}],
    ("brass-estuary", "north"): [{"bottom": ("iron", 0.8)}, {"top": ("crimper", 0.9)}, {"bottom": ("glue", 0.9)}, {"top": ("crimper", 0.4)}],
    ("brass-estuary", "quay"): [{"top": ("iron", 0.7)}, {"bottom": ("crimper", 0.75)}, {"top": ("glue", 0.85)}, {"bottom": ("glue", 0.5)}],
    ("night-dredge", "eastmere"): [{"bottom": ("iron", 0.95)}, {"top": ("crimper", 0.7)}, {"bottom": ("glue", 0.8)}, {"top": ("iron", 0.5)}],
}
_FAKES = {
    ("first-soundings", "eastmere"): ("ash", "birch"),
    ("brass-estuary", "north"): ("cedar", "dogwood"),
    ("brass-estuary", "quay"): ("birch", "ash"),
    ("night-dredge", "eastmere"): ("dogwood", "cedar"),
}
_SHORT = {"first-soundings": "fs", "brass-estuary": "be", "night-dredge": "nd"}
SPECIMEN_PX, SPECIMEN_QUALITY = 1100, (59, 73)
BOX_SPECIMEN_PX = 1200


def _pack_shots(case: str, thing: Thing, two: bool):
    out, n = [], 0
    for k in range(2 if two else 1):
        for face in ("front", "back"):
            n += 1
            s = shot(case, n, (Placed(thing.item, "a", face),), SPECIMEN_PX, SPECIMEN_QUALITY, cameras=k)
            out.append((s, [{"item": "a", "face": face}]))
    return out


def _box_shots(case: str, thing: Thing, two: bool):
    """All six faces from two corners with one camera, front and back face on with another."""
    out = []
    for n, (view, up, shown) in enumerate((("corner", "stand", ("front", "right", "top")), ("corner-under", "stand-under", ("back", "left", "bottom")))):
        s = shot(case, n + 1, (Placed(thing.item, "a", up),), BOX_SPECIMEN_PX, SPECIMEN_QUALITY, view, cameras=0, jitter=False)
        out.append((s, [{"item": "a", "face": f} for f in shown]))
    for n, face in enumerate(("front", "back") if two else ("front",)):
        s = shot(case, n + 3, (Placed(thing.item, "a", face),), BOX_SPECIMEN_PX, SPECIMEN_QUALITY, cameras=1)
        out.append((s, [{"item": "a", "face": face}]))
    return out


def specimens() -> list[Case]:
    """Every specimen of the demo library."""
    out = []
    for (release, make), jobs in _JOBS.items():
        stem = f"{_SHORT[release]}-{make}"
        things = []
        for i, wear in enumerate(_WEARS):
            shift, miscut = ((1.1, -0.8), 0.0) if i == 2 else ((0.0, 0.0), 1.0 if i == 3 else 0.0)
            things.append((lambda id_, w=wear, s=shift, m=miscut: genuine_pack(id_, release, make, w, None, s, m), True))
        for i, ends in enumerate(jobs):
            wear = (0.1, 0.35, 0.2, 0.55)[i]
            things.append((lambda id_, w=wear, e=ends: genuine_pack(id_, release, make, w, e), False))
        for i, maker in enumerate(_FAKES[(release, make)]):
            things.append((lambda id_, m=maker, w=(0.1, 0.3)[i]: counterfeit_pack(id_, release, m, w), False))
        order = rng(stem, "order").permutation(len(things))
        for place, which in enumerate(order):
            id_ = f"{stem}-{place + 1:02d}"
            build, two = things[which]
            thing = build(id_)
            out.append(Case(id_, [thing], _pack_shots(id_, thing, two)))
    for release, makers in (("first-soundings", ("ash", "dogwood")), ("brass-estuary", ("birch",))):
        stem = f"{_SHORT[release]}-box"
        wears = [0.05, 0.2, 0.45, 0.8]
        kinds = [(w, "") for w in wears] + [(0.15, m) for m in makers]
        for place, which in enumerate(rng(stem, "order").permutation(len(kinds))):
            wear, maker = kinds[which]
            id_ = f"{stem}-{place + 1:02d}"
            thing = box(id_, release, wear, maker, "counterfeit" if maker else "sealed")
            out.append(Case(id_, [thing], _box_shots(id_, thing, not maker)))
    return out


def prelim() -> list[Case]:
    """A few packs for trying examiners out; not part of the demo."""
    out = []
    rows = [
        ("first-soundings", "eastmere", 0.1, None), ("first-soundings", "eastmere", 0.2, {"top": ("iron", 0.9)}),
        ("brass-estuary", "north", 0.7, None), ("brass-estuary", "north", 0.2, {"bottom": ("crimper", 0.9)}),
        ("brass-estuary", "quay", 0.2, None), ("brass-estuary", "quay", 0.1, {"bottom": ("glue", 0.9)}),
        ("night-dredge", "eastmere", 0.4, None), ("night-dredge", "eastmere", 0.3, {"top": ("iron", 0.45)}),
    ]
    for i, (release, make, wear, ends) in enumerate(rows):
        id_ = f"try-{i + 1:02d}"
        t = genuine_pack(id_, release, make, wear, ends)
        shots = [(shot(id_, 1, (Placed(t.item, "a", "front"),), 1400, (76, 88)), [{"item": "a", "face": "front"}]),
                 (shot(id_, 2, (Placed(t.item, "a", "back"),), 1400, (76, 88), cameras=1), [{"item": "a", "face": "back"}])]
        out.append(Case(id_, [t], shots))
    t = counterfeit_pack("try-09", "first-soundings", "ash", 0.1)
    out.append(Case("try-09", [t], [(shot("try-09", 1, (Placed(t.item, "a", "front"),), 1400, (76, 88)), [{"item": "a", "face": "front"}])]))
    t = box("try-10", "brass-estuary", 0.2)
    out.append(Case("try-10", [t], [(shot("try-10", 1, (Placed(t.item, "a", "stand"),), 1400, (76, 88), "corner", jitter=False), []),
                                    (shot("try-10", 2, (Placed(t.item, "a", "stand-under"),), 1400, (76, 88), "corner-under", jitter=False), []),
                                    (shot("try-10", 3, (Placed(t.item, "a", "left"),), 1400, (76, 88)), [])]))
    return out


def wanted_prints(cases: list[Case]) -> set[tuple[str, str, str]]:
    """Which print layers the cases need."""
    return {(t.item.release, t.item.form, t.item.print_of) for c in cases for t in c.things}


# --------------------------------------------------------------------------- running

_mi = None


def _start(variant: str) -> None:
    global _mi
    import mitsuba

    mitsuba.set_variant(variant)
    _mi = mitsuba


def _work(job):
    import scenes

    s, path, folder, spp, scale = job
    path = Path(path)
    note = path.with_suffix(".truth.json")
    if path.exists() and note.exists():
        return f"{s.seed} is there"
    t = time.time()
    data, truth = scenes.take(_mi, s, Path(folder), spp, scale)
    path.parent.mkdir(parents=True, exist_ok=True)
    note.write_text(json.dumps(truth))
    path.write_bytes(data)
    return f"{s.seed} {len(data)} bytes {time.time() - t:.1f} s"


def _render(cases: list[Case], arguments, out: Path) -> None:
    folder = arguments.prints or DEMO / "studio" / ".prints"
    jobs = [(s, str(out / c.id / f"{i + 1:02d}.jpg"), str(folder), arguments.spp, arguments.scale) for c in cases for i, (s, _) in enumerate(c.shots)]
    jobs = [j for j in jobs if not (Path(j[1]).exists() and Path(j[1]).with_suffix(".truth.json").exists())]
    if arguments.jobs > 1:
        context = multiprocessing.get_context("spawn")
        with context.Pool(arguments.jobs, _start, (arguments.variant,)) as pool:
            for line in pool.imap_unordered(_work, jobs, 1):
                print(line, flush=True)
    else:
        _start(arguments.variant)
        for j in jobs:
            print(_work(j), flush=True)


def _offers() -> list[Case]:
    import offers

    return offers.offers()


def command(arguments) -> int:
    """`prints`, `prelim`, `specimens` or `offers`."""
    import words

    sets = {"specimens": specimens, "offers": _offers, "prelim": prelim}
    if arguments.set == "prints":
        wanted = set().union(*(wanted_prints(make()) for make in sets.values()))
        prints.write(arguments.prints or DEMO / "studio" / ".prints", wanted)
        return 0
    cases = [c for c in sets[arguments.set]() if c.id.startswith(arguments.only)]
    root = (arguments.out or DEMO) / arguments.set
    if not arguments.texts:
        _render(cases, arguments, root)
    if not arguments.only:
        words.write(arguments.set, cases, root)
    print(f"{len(cases)} cases in {root}", file=sys.stderr)
    return 0


__all__ = ["Case", "Cover", "MAKES", "Thing", "box", "command", "counterfeit_pack", "genuine_pack", "shot"]
