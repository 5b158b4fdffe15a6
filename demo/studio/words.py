"""The text files beside the photos: specimen.toml, case.toml and the set's truth.json."""
from __future__ import annotations

import json
from pathlib import Path

from catalogue import _q

KNOWN_BY = {
    "sealed": "rendered as closed by the factory",
    "resealed": "rendered as opened and closed again",
    "counterfeit": "rendered as a counterfeit",
    "never-made": "rendered as a product that was never made",
}


def _specimen(case, folder: Path) -> None:
    t = case.things[0]
    out = ['schema = "untorn.specimen/1"', f"id = {_q(case.id)}", f"product = {_q(t.product)}"]
    make = t.truth().get("make")
    if make:
        out.append(f"make = {_q(make)}")
    out += [f"state = {_q(t.state)}", f"known_by = {_q(KNOWN_BY[t.state])}", 'origin = "rendered"']
    notes = [f"wear {t.item.history.wear:.2f} of 1"]
    notes += [f"{end} end: {e.by}, severity {e.severity:.2f} of 1" for end, e in t.item.history.ends.items()]
    notes += t.faults
    out.append("notes = [" + ", ".join(_q(n) for n in notes) + "]")
    for i, (_, shown) in enumerate(case.shots):
        marks = ", ".join(f"{{ item = {_q(s['item'])}, face = {_q(s['face'])} }}" for s in shown)
        out += ["", "[[photos]]", f'file = "{i + 1:02d}.jpg"', 'group = "same"', f"shows = [{marks}]"]
    (folder / "specimen.toml").write_text("\n".join(out) + "\n")


def _money(amount: str) -> str:
    return f'{{ amount = "{amount}", currency = "EUR" }}'


def _case(case, folder: Path, photos: dict) -> None:
    w = case.words
    out = ["# An invented offer, rendered. Written by demo/studio.", 'schema = "untorn.case/3"', f"id = {_q(case.id)}"]
    out += ["", "[offer]", f"title = {_q(w['title'])}", f"description = {_q(w['description'])}", 'venue = "Pennyferry Market"',
            f"price = {_money(w['price'])}", f"shipping = {_money(w['shipping'])}", f"captured = {_q(w['captured'])}"]
    returns = f"accepted = {str(w['returns'] > 0).lower()}" + (f", days = {w['returns']}" if w["returns"] else "") + f", buyer_pays_postage = {str(w['buyer_pays']).lower()}"
    out.append(f"returns = {{ {returns} }}")
    out.append(f"seller = {{ name = {_q(w['seller'])}, since_year = {w['since']}, ratings = {w['ratings']} }}")
    for bidder, amount, at in w["bids"]:
        out += ["", "[[offer.bids]]", f"bidder = {_q(bidder)}", f"amount = {_money(amount)}", f"at = {_q(at)}"]
    for name in w.get("items", []):
        out += ["", "[[items]]", f"id = {_q(name)}"]
    manual = any(shown for _, shown in case.shots)
    if manual:
        for i, (_, shown) in enumerate(case.shots):
            out += ["", "[[photos]]", f'file = "{i + 1:02d}.jpg"']
            for s in shown:
                out += ["", "[[photos.shows]]", f"item = {_q(s['item'])}", f"face = {_q(s['face'])}"]
                corners = s["corners"](photos[f"{i + 1:02d}.jpg"]) if "corners" in s else None
                if corners:
                    out.append("corners_px = [" + ", ".join(f"[{x:.1f}, {y:.1f}]" for x, y in corners) + "]")
    out += ["", "[values]", f"sealed = {_money(w['values'][0])}", f"resealed = {_money(w['values'][1])}", f"counterfeit = {_money(w['values'][2])}",
            f"refund_probability = {w['refund']}"]
    (folder / "case.toml").write_text("\n".join(out) + "\n")


def write(set_name: str, cases, root: Path) -> None:
    """Write every text of a set; photos' truth notes are read from beside the photos and gathered."""
    truth = {"schema": "untorn.truth/1", "cases": {}}
    for case in cases:
        folder = root / case.id
        folder.mkdir(parents=True, exist_ok=True)
        photos = {}
        for i in range(len(case.shots)):
            note = folder / f"{i + 1:02d}.truth.json"
            if note.exists():
                photos[f"{i + 1:02d}.jpg"] = json.loads(note.read_text())
        truth["cases"][case.id] = {"items": {t.name: t.truth() for t in case.things}, "photos": photos}
        if set_name == "specimens":
            _specimen(case, folder)
        elif set_name == "offers":
            _case(case, folder, photos)
    text = json.dumps(truth, indent=1)
    (root / "truth.json").write_text(text + "\n")
