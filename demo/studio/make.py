"""Command of the studio: `python demo/studio/make.py faces|prints|prelim|specimens|offers`.

See README.md in this folder. Sets are resumable: a photo that exists is not rendered again.
"""
from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))


def faces_command() -> None:
    """Write `demo/faces/*.jpg` and `demo/catalogue/**.toml`."""
    import catalogue
    import faces
    from common import DEMO, RELEASES

    folder = DEMO / "faces"
    folder.mkdir(parents=True, exist_ok=True)
    regions = {}
    for release in RELEASES:
        forms = [("pack", faces.PACK_FACES)] + ([("box", faces.BOX_FACES)] if release in catalogue.BOXED else [])
        for form, names in forms:
            for face in names:
                ink, metal, found = faces.draw(release, form, face)
                regions[(release, form, face)] = found
                quality = 92 if form == "pack" else 80
                faces.flat_scan(ink, metal).save(folder / f"{release}-{form}-{face}.jpg", quality=quality, optimize=True)
    catalogue.write(regions)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=("faces", "prints", "prelim", "specimens", "offers"))
    parser.add_argument("--variant", default="llvm_ad_rgb", help="Mitsuba variant: llvm_ad_rgb, cuda_ad_rgb or scalar_rgb")
    parser.add_argument("--only", default="", help="render only ids that start with this")
    parser.add_argument("--spp", type=int, default=96, help="samples a pixel")
    parser.add_argument("--scale", type=float, default=1.0, help="scale of the photo sizes, for quick looks")
    parser.add_argument("--out", type=Path, default=None, help="output folder (default: demo/)")
    parser.add_argument("--prints", type=Path, default=None, help="folder of print layers (default: demo/studio/.prints)")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--texts", action="store_true", help="write only the TOML and truth files, from photos that are there")
    arguments = parser.parse_args()
    if arguments.set == "faces":
        faces_command()
        return 0
    import sets

    return sets.command(arguments)


if __name__ == "__main__":
    raise SystemExit(main())
