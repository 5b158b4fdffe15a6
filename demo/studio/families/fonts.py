"""The fonts of the families: which Debian packages hold them, unpacked beside the studio, not committed."""
from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

from families.draw import FONTS

PACKAGES = (
    "fonts-dancingscript", "fonts-oldstandard", "fonts-bebas-neue", "fonts-cabin", "fonts-linuxlibertine", "fonts-kaushanscript", "fonts-vollkorn", "fonts-league-spartan", "fonts-adf-tribun", "fonts-lato",
    "fonts-comfortaa", "fonts-roboto-slab", "fonts-yanone-kaffeesatz", "fonts-quattrocento", "fonts-open-sans", "fonts-comic-neue", "fonts-jura", "fonts-dosis", "fonts-cherrybomb", "fonts-goudybookletter",
    "fonts-adf-oldania", "fonts-adf-mekanus", "fonts-adf-universalis", "fonts-prociono", "fonts-lemonada", "fonts-courier-prime", "fonts-cardo", "fonts-play",
)
FILES = (
    "DancingScript-Bold.otf", "OldStandard-Bold.ttf", "BebasNeue-Bold.otf", "Cabin-Regular.otf", "Cabin-Bold.otf", "LinLibertine_RB.otf", "KaushanScript-Regular.otf", "Vollkorn-ExtraBold.ttf", "LeagueSpartan-ExtraBold.otf",
    "TribunADFStd-ExtraBold.otf", "Lato-Regular.ttf", "Lato-Bold.ttf", "Comfortaa-Bold.ttf", "RobotoSlab-Bold.otf", "YanoneKaffeesatz-Bold.otf", "Quattrocento-Regular.otf", "OpenSans-Regular.ttf", "OpenSans-Bold.ttf",
    "LinBiolinum_RB.otf", "ComicNeue-Bold.otf", "ComicNeue-Regular.otf", "Jura-Bold.otf", "Dosis-ExtraBold.otf", "Dosis-Book.otf", "CherryBomb-Regular.otf", "GoudyBookletter1911.otf", "OldaniaADFStd-Bold.otf",
    "MekanusADFStd-Bold.otf", "MekanusADFStd-Regular.otf", "UniversalisADFStd-Bold.otf", "UniversalisADFStd-Regular.otf", "Prociono.otf", "Lemonada-Bold.otf", "Courier Prime Bold.otf", "Cardob101.ttf", "Play-Bold.ttf", "Play-Regular.ttf",
)


def unpack() -> int:
    """Downloads the packages by apt-get and copies the files; 1 when one is missing."""
    FONTS.mkdir(parents=True, exist_ok=True)
    missing = [f for f in FILES if not (FONTS / f).exists()]
    if missing:
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(["apt-get", "download", "-qq", *PACKAGES], cwd=folder, check=True)
            for deb in sorted(Path(folder).glob("*.deb")):
                subprocess.run(["dpkg", "-x", str(deb), folder + "/x"], check=True)
            found = {p.name: p for p in Path(folder, "x").rglob("*") if p.is_file()}
            for f in missing:
                if f in found:
                    shutil.copyfile(found[f], FONTS / f)
    missing = [f for f in FILES if not (FONTS / f).exists()]
    print(f"{len(FILES) - len(missing)} fonts in {FONTS}" + (f"; missing: {', '.join(missing)}" if missing else ""))
    return 1 if missing else 0
