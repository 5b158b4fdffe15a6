#!/usr/bin/env python3
"""Makes, renders and measures the sets of the three families. See README.md, "Families".

    render_set.py fonts                        unpack the fonts (needs apt-get download)
    render_set.py faces SET --out DIR          catalogue and reference faces of the set's family
    render_set.py lines --out DIR              40 further lines, 1,000 faces, for placement only
    render_set.py render SET --out DIR         photos, truth.json, detail.json, case.toml (resumable)
    render_set.py features SET --out DIR --untorn PROGRAM       the table of `untorn features`
    render_set.py all SET --out DIR --untorn PROGRAM            faces, render, features in one go
    render_set.py manifest SET [--check]       hashes of plan, geometry and truth, in families/
    render_set.py independence SET [--out DIR] that states come with no condition; leak test on photos
    render_set.py sheet SET --out DIR          a contact sheet
    render_set.py pack --out DIR               the regression pack from `development`
    render_set.py targets --out DIR            gratings, slanted edges and chart, flat and curved
    render_set.py sanity [--out DIR]           energy, colour, sharpness; needs no GPU

SET is calibration, development, test, pairs or spectral.
"""
from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # many processes side by side; and sums in one order

SETS = ("calibration", "development", "test", "pairs", "spectral")
MANIFESTS = HERE.parent.parent / "families"


def arguments() -> argparse.Namespace:
    """The command line."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("verb", choices=("fonts", "faces", "lines", "render", "features", "all", "manifest", "independence", "sheet", "pack", "targets", "sanity"))
    p.add_argument("set", nargs="?", choices=SETS)
    p.add_argument("--out", type=Path, default=None, help="folder of the sets")
    p.add_argument("--variant", default="llvm_ad_rgb", help="Mitsuba variant: llvm_ad_rgb, cuda_ad_rgb; for `spectral` its _spectral twin is taken")
    p.add_argument("--spp", type=int, default=24, help="samples a pixel, in passes of 12")
    p.add_argument("--scale", type=float, default=1.0, help="scale of the photo sizes, for quick looks")
    p.add_argument("--jobs", type=int, default=1, help="processes side by side")
    p.add_argument("--threads", type=int, default=0, help="threads a process (llvm only; 0: all)")
    p.add_argument("--first", type=int, default=None, help="only the first N cases; any prefix is balanced")
    p.add_argument("--only", default="", help="only cases whose id starts so")
    p.add_argument("--minutes", type=float, default=None, help="begin no photo after so many minutes")
    p.add_argument("--untorn", type=Path, default=None, help="the program, for features")
    p.add_argument("--check", action="store_true", help="manifest: compare instead of writing")
    return p.parse_args()


def main() -> int:
    """Runs a verb; exit code 2 for wrong usage, 1 when something failed."""
    a = arguments()
    verb = a.verb
    from families import plan, run, texts, world

    if verb == "fonts":
        from families import fonts

        return fonts.unpack()
    if verb == "sanity":
        from families import sanity

        return sanity.run(a.variant, a.out)
    if verb == "lines":
        from families import more_lines

        n = run.faces(a.out / "lines", more_lines.lines(), 6.0, "lines", False, a.jobs)
        print(f"{n} faces of {len(more_lines.lines())} lines in {a.out / 'lines'}")
        return 0
    if verb == "targets":
        from families import targets

        return targets.render(a.out / "targets", a.variant, a.spp, a.scale)
    if verb == "pack":
        from families import regression

        return regression.write(a.out)
    if a.set is None:
        print(f"render_set.py {verb} needs a set: {', '.join(SETS)}", file=sys.stderr)
        return 2
    family = "development" if a.set in ("pairs", "spectral") else a.set
    cases = [c for c in plan.cases(a.set)[: a.first] if c.id.startswith(a.only)]
    if verb == "manifest":
        return manifest(a, cases)
    if verb == "independence" and a.set == "pairs":
        print("pairs: four photos of one geometry each, so no condition is drawn apart from another", file=sys.stderr)
        return 2
    if verb == "independence" and a.out is None:
        from families import independence

        return independence.planned(a.set, cases)
    if a.out is None:
        print(f"render_set.py {verb} needs --out DIR", file=sys.stderr)
        return 2
    root, art_root, prints = a.out / a.set, a.out / f"family-{family}", a.out / ".prints" / family
    if verb in ("faces", "all"):
        n = run.faces(art_root, world.lines(family), 12.0, "", True, min(a.jobs, 8))
        print(f"{n} faces in {art_root}")
    failed = 0
    if verb in ("render", "all"):
        variant = a.variant.replace("_rgb", "_spectral") if a.set == "spectral" else a.variant
        failed = run.render(a.set, cases, root, prints, variant, a.spp, a.scale, a.jobs, a.threads, a.minutes)
        done, photos = texts.write_set(root, cases)
        print(f"{a.set}: {done} whole cases of {len(cases)}, {photos} photos in {root}")
    if verb in ("features", "all"):
        if a.untorn is None:
            print("features needs --untorn PROGRAM (cargo build --release: target/release/untorn)", file=sys.stderr)
            return 2
        run.features(a.untorn, art_root, root, a.out / f"{a.set}.features.csv")
    if verb == "independence":
        from families import independence

        return independence.rendered(a.set, cases, root)
    if verb == "sheet":
        from families import sheet

        sheet.write(root, a.out / f"{a.set}.contact.jpg")
    return 1 if failed else 0


def manifest(a, cases) -> int:
    """Writes or checks families/SET.manifest.json."""
    from families import run

    path = MANIFESTS / f"{a.set}.manifest.json"
    if not a.check:
        from families.texts import write_text

        made = run.manifest(a.set, cases, a.jobs)
        text = json.dumps(made, indent=None, separators=(",", ":")).replace('},"', '},\n"')
        write_text(path, text + "\n")
        print(f"{path}: {len(made['cases'])} cases, {made['photos']} photos")
        return 0
    known = json.loads(path.read_text())["cases"]
    made = run.manifest(a.set, cases, a.jobs)["cases"]
    wrong = [k for k, v in made.items() if known.get(k) != v]
    print(f"{a.set}: {len(made)} cases made again, {len(wrong)} differ from {path.name}" + (": " + ", ".join(wrong[:10]) if wrong else ""))
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
