"""Whether a state comes with a condition: tests on the plan, and a leak test on rendered photos.

Every pair (something true of the items, some condition) is tested by the correlation over cases
against permutations of whole cases within their form, and the p values are corrected after Holm.
The leak test tries to tell sealed from the rest by background, file size, EXIF and pose alone. A
balanced design makes its area fall a little below 0.5 in small sets: what the folds learn is what the
fold left out must make up for. Only an interval above 0.5 is a leak.
Sources: Holm 1979 (Scand. J. Statist. 6, 65), from memory.
"""
from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from PIL import Image

from common import rng
from families.plan import Case

PERMUTATIONS = 9999


def _indicators(values: list, name: str) -> dict[str, np.ndarray]:
    return {f"{name}={v}": np.array([x == v for x in values], float) for v in sorted(set(map(str, values)))} if not isinstance(values[0], (int, float)) else {name: np.array(values, float)}


def table(cases: list[Case]) -> tuple[dict, dict, np.ndarray]:
    """Truths and conditions by case, and the form of each (permutations stay within)."""
    truths = {
        "sealed": [np.mean([t.state == "sealed" for t in c.things]) for c in cases],
        "resealed": [np.mean([t.state == "resealed" for t in c.things]) for c in cases],
        "counterfeit": [np.mean([t.state in ("counterfeit", "never-made") for t in c.things]) for c in cases],
        "severity": [np.mean([t.severity for t in c.things]) for c in cases],
        "ways": [np.mean([any(j.by == "iron" for j in t.item.history.jobs.values()) for t in c.things]) for c in cases],
    }
    cond: dict[str, np.ndarray] = {}
    for key in ("camera", "light", "table", "sleeve", "hide", "sold"):
        cond |= _indicators([c.levels[key] for c in cases], key)
    shots = [[s for p in c.photos for s in p.parts] for c in cases]
    mean = {
        "photos": [len(c.photos) for c in cases], "close-ups": [np.mean([s.view.endswith("-end") for s in x]) for x in shots], "tilt": [np.mean([s.tilt_deg for s in x]) for x in shots], "steepest": [max(s.tilt_deg for s in x) for x in shots],
        "roll": [np.mean([abs(s.roll_deg) for s in x]) for x in shots], "fill": [np.mean([s.fill for s in x]) for x in shots], "focus": [np.mean([s.focus for s in x]) for x in shots], "exposure": [np.mean([s.ev for s in x]) for x in shots],
        "light from x": [np.mean([np.cos(2 * np.pi * s.azimuth) for s in x]) for x in shots], "light from y": [np.mean([np.sin(2 * np.pi * s.azimuth) for s in x]) for x in shots], "white balance": [c.levels["wb"] for c in cases],
        "size": [np.mean([p.long_px for p in c.photos]) for c in cases], "quality": [np.mean([p.qualities[-1] for p in c.photos]) for c in cases], "collage": [any(p.layout == "collage" for p in c.photos) * 1.0 for c in cases],
        "ends cut off": [any(s.view == "cut-off" for s in x) * 1.0 for x in shots], "wear": [np.mean([t.item.history.wear for t in c.things]) for c in cases], "pressure": [np.mean([t.item.history.pressure for t in c.things]) for c in cases],
        "gloss": [np.mean([t.item.gloss for t in c.things]) for c in cases],
    }
    cond |= {k: np.array(v, float) for k, v in mean.items()}
    cond |= _indicators([c.things[0].item.line for c in cases], "line")
    form = np.array(["lot" if len(c.things) > 1 else c.things[0].item.form for c in cases])
    return {k: np.array(v, float) for k, v in truths.items()}, cond, form


def _standard(m: np.ndarray) -> np.ndarray:
    m = m - m.mean(axis=0)
    s = np.sqrt((m**2).sum(axis=0))
    return m / np.where(s > 1e-12, s, np.inf)


def permuted(truths: dict, cond: dict, form: np.ndarray, seed: str) -> list[tuple[float, float, str, str]]:
    """(p after Holm, correlation, truth, condition) of every pair, smallest p first."""
    x, y = np.stack(list(truths.values()), 1), np.stack(list(cond.values()), 1)
    # within forms: means of each form are taken away on both sides
    for f in np.unique(form):
        x[form == f] -= x[form == f].mean(axis=0)
        y[form == f] -= y[form == f].mean(axis=0)
    x, y = _standard(x), _standard(y)
    r = x.T @ y
    g = rng("independence", seed)
    groups = [np.where(form == f)[0] for f in np.unique(form)]
    beyond = np.zeros_like(r)
    index = np.arange(len(form))
    for _ in range(PERMUTATIONS):
        for k in groups:
            index[k] = g.permutation(k)
        beyond += np.abs(x[index].T @ y) >= np.abs(r) - 1e-12
    p = (beyond + 1) / (PERMUTATIONS + 1)
    flat = [(p[i, j], r[i, j], a, b) for i, a in enumerate(truths) for j, b in enumerate(cond) if np.isfinite(r[i, j]) and np.abs(y[:, j]).sum() > 0]
    flat.sort(key=lambda t: t[0])
    out, worst, m = [], 0.0, len(flat)
    for k, (value, corr, a, b) in enumerate(flat):
        worst = max(worst, min(1.0, value * (m - k)))
        out.append((worst, corr, a, b))
    return out


def planned(name: str, cases: list[Case]) -> int:
    """Prints the strongest pairs of a plan; 1 when one is significant at 1 % after Holm."""
    rows = permuted(*table(cases), name)
    worst = rows[0]
    strongest = max(rows, key=lambda r: abs(r[1]))
    print(f"{name}: {len(cases)} cases, {len(rows)} pairs, {PERMUTATIONS} permutations within forms; smallest p after Holm {worst[0]:.3g} ({worst[2]} with {worst[3]}); strongest correlation {strongest[1]:+.3f} ({strongest[2]} with {strongest[3]})")
    return 1 if worst[0] < 0.01 else 0


# ----------------------------------------------------------------------------- leak test


def _look(path: Path, note: dict) -> list[float]:
    """Background, size, EXIF and pose of a photo; nothing of the item."""
    with Image.open(path) as image:
        exif = image.getexif()
        more = exif.get_ifd(0x8769)
        small = np.asarray(image.convert("RGB").resize((64, 64), Image.BOX), float) / 255
        width, height = image.size
    inside = np.zeros((64, 64), bool)
    yy, xx = np.mgrid[0:64, 0:64]
    for f in note["faces"]:  # only what lies well outside of every face
        m = np.linalg.inv(np.asarray(f["mm_to_px"]))
        q = np.stack([xx * width / 64, yy * height / 64, np.ones_like(xx)], -1) @ m.T
        u, v = q[..., 0] / q[..., 2], q[..., 1] / q[..., 2]
        inside |= (u > -8) & (u < 160) & (v > -8) & (v < 150)
    rim = ~inside
    if rim.sum() < 30:
        rim = np.zeros_like(inside)
        rim[:2], rim[-2:], rim[:, :2], rim[:, -2:] = True, True, True, True
    back = small[rim]
    pose = note["pose"]
    f = max(note["faces"], key=lambda f: f["visible"], default={"angle_deg": 0, "px_per_mm": 0})
    return [*back.mean(0), *back.std(0), np.log(len(path.read_bytes())), np.log(width * height), width / height, float(bool(exif)), float(more.get(0x8827, 0) or 0), float(more.get(0x829A, 0) or 0), float(more.get(0x920A, 0) or 0),
            pose["tilt_deg"], np.cos(np.deg2rad(pose["phi_deg"])), np.sin(np.deg2rad(pose["phi_deg"])), pose["roll_deg"], pose["fill"], f["angle_deg"], np.log(max(f["px_per_mm"], 0.1))]


def _logistic(x: np.ndarray, y: np.ndarray, ridge: float = 3.0) -> np.ndarray:
    """Ridge logistic regression by Newton steps; standardised input with a column of ones."""
    w = np.zeros(x.shape[1])
    penalty = ridge * np.eye(x.shape[1])
    penalty[0, 0] = 1e-6
    for _ in range(25):
        p = 1 / (1 + np.exp(-np.clip(x @ w, -30, 30)))
        w = w + np.linalg.solve(x.T @ (x * (p * (1 - p))[:, None]) + penalty, x.T @ (y - p) - penalty @ w)
    return w


def _auc(score: np.ndarray, y: np.ndarray) -> float:
    order = np.argsort(score, kind="stable")
    rank = np.empty(len(score))
    rank[order] = np.arange(1, len(score) + 1)
    for v in np.unique(score[np.isin(score, score)]):
        same = score == v
        if same.sum() > 1:
            rank[same] = rank[same].mean()
    pos = y > 0.5
    return float((rank[pos].sum() - pos.sum() * (pos.sum() + 1) / 2) / (pos.sum() * (~pos).sum()))


def _auc_within(score: np.ndarray, y: np.ndarray, fold: np.ndarray) -> float:
    """Share of the pairs of one fold that are in order; 0.5 where no fold has both states."""
    won, pairs = 0.0, 0
    for k in np.unique(fold):
        pos, neg = (y > 0.5) & (fold == k), (y < 0.5) & (fold == k)
        n = int(pos.sum() * neg.sum())
        if n:
            won, pairs = won + n * _auc(score[pos | neg], y[pos | neg]), pairs + n
    return won / pairs if pairs else 0.5


def _seen(cases: list[Case], root: Path) -> tuple[list[Case], np.ndarray, np.ndarray, np.ndarray]:
    """Wholly rendered cases; and of those with one item a photo: what surrounds it, whether sealed, its case."""
    rows, labels, owner, kept = [], [], [], []
    for c in cases:
        notes = [root / c.id / f"{i + 1:02d}.truth.json" for i in range(len(c.photos))]
        if not all(n.exists() for n in notes):
            continue
        kept.append(c)
        if len(c.things) > 1:
            continue
        for n in notes:
            rows.append(_look(n.with_name(n.name.replace(".truth.json", ".jpg")), json.loads(n.read_text())))
            labels.append(c.things[0].state == "sealed")
            owner.append(c.id)
    return kept, np.array(rows), np.array(labels, float), np.array(owner)


def _columns(x: np.ndarray) -> np.ndarray:
    """Standardised columns behind a column of ones."""
    return np.c_[np.ones(len(x)), (x - x.mean(0)) / np.where(x.std(0) > 1e-9, x.std(0), 1)]


def _area(score: np.ndarray, y: np.ndarray, owner: np.ndarray, fold: dict, g: np.random.Generator) -> tuple[float, float, float]:
    """Area under ROC by case within folds, and its 95 % interval over cases drawn again."""
    ids = np.unique(owner)
    by, truth = (np.array([v[owner == i].mean() for i in ids]) for v in (score, y))
    folds = np.array([fold[i] for i in ids])
    boot = []
    for _ in range(2000):
        pick = g.integers(0, len(ids), len(ids))
        if 0 < truth[pick].mean() < 1:
            boot.append(_auc_within(by[pick], truth[pick], folds[pick]))
    return (_auc_within(by, truth, folds), *np.quantile(boot, [0.025, 0.975]))


def leak_within(name: str, x: np.ndarray, y: np.ndarray, owner: np.ndarray) -> tuple[float, float, float]:
    """Leak test inside one set: ten folds of whole cases, each with the set's share of every state.

    Only pairs of one fold are compared: pooled over unequal folds the area falls below 0.5 by itself
    (Parker, Guenter and Bedo 2007, BMC Bioinformatics 8:326, "Stratification bias in low signal
    microarray studies"). In a design that is balanced better than chance it still does: what is left
    out leans away from the rest.
    """
    g, ids, xs = rng("leak", name), np.unique(owner), _columns(x)
    truth = np.array([y[owner == i][0] for i in ids])
    fold_of = np.empty(len(ids), int)
    for state in (0.0, 1.0):
        at = np.flatnonzero(truth == state)
        fold_of[g.permutation(at)] = np.arange(len(at)) % 10
    fold = dict(zip(ids, fold_of))
    score, where = np.zeros(len(xs)), np.array([fold[o] for o in owner])
    for k in range(10):
        if (where == k).any() and 0 < y[where != k].mean() < 1:
            score[where == k] = xs[where == k] @ _logistic(xs[where != k], y[where != k])
    return _area(score, y, owner, fold, g)


def leak_across(name: str, learned: list[tuple[np.ndarray, np.ndarray]], x: np.ndarray, y: np.ndarray, owner: np.ndarray) -> tuple[float, float, float]:
    """Leak test from other families to this one: what gives the state away there must not do so here.

    The sets' designs are drawn apart, so that chance, not balance, decides the sign.
    """
    weights = np.mean([_logistic(_columns(a), b) for a, b in learned], axis=0)
    return _area(_columns(x) @ weights, y, owner, dict.fromkeys(np.unique(owner), 0), rng("leak-across", name))


def rendered(name: str, cases: list[Case], root: Path) -> int:
    """The plan's tests on what was rendered, with background and file size, and the leak tests."""
    from families import plan

    kept, x, y, owner = _seen(cases, root)
    ids = np.unique(owner)
    truths, cond, form = table(kept)
    names = {0: "background r", 1: "background g", 2: "background b", 3: "background spread", 6: "file size"}
    single = np.array([len(c.things) == 1 for c in kept])
    for k, label in names.items():
        cond[label] = np.zeros(len(kept))
        means = {i: x[owner == i, k].mean() for i in ids}
        cond[label][single] = [means[c.id] for c in np.array(kept, object)[single]]
    tests = permuted(truths, cond, form, name)
    worst = tests[0]
    print(f"{name}: {len(kept)} cases rendered; {len(tests)} pairs, smallest p after Holm {worst[0]:.3g} ({worst[2]} with {worst[3]}, r {worst[1]:+.3f})")
    good = worst[0] >= 0.01
    value, lo, hi = leak_within(name, x, y, owner)
    side = "contains 0.5" if lo <= 0.5 <= hi else "lies below 0.5: balanced better than chance" if hi < 0.5 else "LEAKS"
    print(f"  leak test within, {len(ids)} single items: area {value:.3f}, 95 % interval {lo:.3f} to {hi:.3f} {side}")
    good &= lo <= 0.5
    others = [s for s in ("calibration", "development", "test") if s != name and (root.parent / s).is_dir()]
    learned = [(a, b) for s in others for _, a, b, _ in [_seen(plan.cases(s), root.parent / s)] if 0 < b.mean() < 1]
    if learned:
        value, lo, hi = leak_across(name, learned, x, y, owner)
        inside = lo <= 0.5 <= hi
        print(f"  leak test learnt on {' and '.join(others)}: area {value:.3f}, 95 % interval {lo:.3f} to {hi:.3f} {'contains 0.5' if inside else 'does NOT contain 0.5'}")
        good &= inside
    print("  independent" if good else "  NOT independent")
    return 0 if good else 1
