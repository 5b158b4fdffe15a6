"""Print layers for the renderer, written beside the studio (not committed): ink as JPEG, metal as PNG."""
from __future__ import annotations

from pathlib import Path

import faces
from faces import Forgery

MAKERS = {
    "ash": {"forgery": Forgery(wordmark_scale=0.88, wordmark_shift_mm=(-1.6, 1.2), hue_degrees=24.0)},
    "birch": {"forgery": Forgery(emblem_of="next", legal="missing", hue_degrees=-20.0)},
    "cedar": {"forgery": Forgery(wordmark_scale=0.86, wordmark_shift_mm=(2.0, -0.8), legal="wrong-year", ink_gain=1.25, hue_degrees=12.0)},
    "dogwood": {"forgery": Forgery(emblem_of="next", wordmark_scale=0.90, hue_degrees=30.0)},
}
"""What each counterfeiter's print gets wrong."""
_NEXT = {"first-soundings": "night-dredge", "brass-estuary": "first-soundings", "night-dredge": "brass-estuary"}


def forgery(maker: str, release: str) -> Forgery:
    """A maker's print faults for a release."""
    from dataclasses import replace

    f = MAKERS[maker]["forgery"]
    return replace(f, emblem_of=_NEXT[release]) if f.emblem_of else f


def write(folder: Path, wanted: set[tuple[str, str, str]]) -> None:
    """Write the layers of every (release, form, maker) in `wanted`; an empty maker is genuine print."""
    folder.mkdir(parents=True, exist_ok=True)
    for release, form, maker in sorted(wanted):
        for face in faces.PACK_FACES if form == "pack" else faces.BOX_FACES:
            stem = folder / (f"{release}-{form}-{face}" + (f"-{maker}" if maker else ""))
            if stem.with_name(stem.name + ".jpg").exists():
                continue
            ink, metal, _ = faces.draw(release, form, face, forgery(maker, release) if maker else faces.GENUINE)
            if form == "box":
                flat = faces.flat_scan(ink, metal)
                flat = flat.resize((flat.width * 3 // 4, flat.height * 3 // 4), 1)
                flat.save(stem.with_name(stem.name + ".jpg"), quality=90, subsampling=0)
            else:
                metal.save(stem.with_name(stem.name + ".metal.png"), optimize=True)
                ink.save(stem.with_name(stem.name + ".jpg"), quality=95, subsampling=0)
