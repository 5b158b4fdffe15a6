"""Writes `data/spectra.json` from the published tables that the library colour-science carries.

Run once by hand (`pip install colour-science==0.4.7`, then `python demo/studio/families/make_data.py`);
the studio itself reads only the JSON. Everything is sampled at 5 nm from 380 to 730 nm.
"""
from __future__ import annotations

import json
from pathlib import Path

import colour
import numpy as np

NM = np.arange(380, 731, 5)
SHAPE = colour.SpectralShape(380, 730, 5)


def column(spectrum) -> list[float]:
    """A spectrum on the common grid; outside its own range it is held constant."""
    s = spectrum.copy().align(SHAPE, extrapolator_kwargs={"method": "Constant", "left": None, "right": None})
    return [float(f"{v:.6g}") for v in np.asarray(s.values)]


def main() -> None:
    """Collects and writes."""
    out: dict = {"nm": NM.tolist(), "origin": {}}
    cmf = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE)
    out["cie1931"] = {k: [float(f"{v:.6g}") for v in cmf.values[:, i]] for i, k in enumerate("xyz")}
    out["origin"]["cie1931"] = "CIE 018:2019, 2 degree observer, as in colour-science 0.4.7"
    basis = colour.colorimetry.SDS_BASIS_FUNCTIONS_CIE_ILLUMINANT_D_SERIES
    out["daylight"] = {k: column(basis[k]) for k in ("S0", "S1", "S2")}
    out["origin"]["daylight"] = "CIE 015:2018, components of daylight, as in colour-science 0.4.7"
    names = ("LED-B1", "LED-B3", "LED-B5", "LED-BH1", "LED-V1", "LED-V2", "FL2", "FL7", "FL11", "D50", "D65", "A")
    out["illuminants"] = {k: column(colour.SDS_ILLUMINANTS[k]) for k in names}
    out["origin"]["illuminants"] = "CIE 015:2018, as in colour-science 0.4.7"
    out["cameras"] = {}
    for name, key in (("Nikon 5100 (NPL)", "npl-a"), ("Sigma SDMerill (NPL)", "npl-b")):
        m = colour.MSDS_CAMERA_SENSITIVITIES[name].copy().align(SHAPE, extrapolator_kwargs={"method": "Constant", "left": 0, "right": 0})
        out["cameras"][key] = {k: [float(f"{max(v, 0):.6g}") for v in m.values[:, i]] for i, k in enumerate("rgb")}
    out["origin"]["cameras"] = "Darrodi, Finlayson, Goodman, Mackiewicz 2015 (J. Opt. Soc. Am. A 32, 381), measured at NPL, as in colour-science 0.4.7"
    out["patches"] = {k: column(s) for k, s in colour.SDS_COLOURCHECKERS["BabelColor Average"].items()}
    out["origin"]["patches"] = "BabelColor average of 30 charts, as in colour-science 0.4.7"
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    white = chart.illuminant
    lab = {k: [round(float(v), 3) for v in colour.XYZ_to_Lab(colour.xyY_to_XYZ(xyY), white)] for k, xyY in chart.data.items()}
    out["patch_lab_d50"] = lab
    out["origin"]["patch_lab_d50"] = "the maker's published CIELAB (D50, 2 degrees) for charts made after November 2014, as in colour-science 0.4.7"
    (Path(__file__).parent / "data" / "spectra.json").write_text(json.dumps(out, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
