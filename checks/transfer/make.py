"""Transfer curves, RGB matrices, adaptation and CIELAB as colour-science computes them.

The printed values of the standards stand in printed.csv, which nothing here writes.
"""

import colour
import numpy as np

from oracle import Table, main

colour.utilities.filter_warnings(*[True] * 4)

SPACES = {"srgb": "sRGB", "display_p3": "Display P3", "adobe_rgb": "Adobe RGB (1998)"}


def space(name):
    found = colour.RGB_COLOURSPACES[SPACES[name]].copy()
    found.use_derived_transformation_matrices(True)
    return found


def curves():
    rows = []
    for name in SPACES:
        decode, encode = space(name).cctf_decoding, space(name).cctf_encoding
        for code in range(0, 256, 3):
            light = float(decode(code / 255))
            rows.append([name, code, light, float(encode(light))])
    return rows


def matrices():
    rows = []
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    for name in SPACES:
        primaries = colour.RGB_COLOURSPACES[SPACES[name]].primaries
        assert np.allclose(d65, [0.3127, 0.3290])
        matrix = colour.normalised_primary_matrix(primaries, d65)
        rows += [[name, r, c, float(matrix[r, c])] for r in range(3) for c in range(3)]
    white = colour.xy_to_XYZ(d65)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        np.array([0.9642, 1.0, 0.8249]), white, transform="Bradford"
    )
    rows += [["bradford_d50_d65", r, c, float(adapt[r, c])] for r in range(3) for c in range(3)]
    return rows


def grid():
    return [np.array([r, g, b]) / 4 for r in range(5) for g in range(5) for b in range(5)]


def lab():
    """CIELAB of linear Rec. 709 light, D65 white."""
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    to_xyz = colour.normalised_primary_matrix(colour.RGB_COLOURSPACES["sRGB"].primaries, d65)
    rows = []
    for rgb in grid():
        value = colour.XYZ_to_Lab(to_xyz @ rgb, d65)
        rows.append([*map(float, rgb), *map(float, value)])
    return rows


def same_colour():
    """One light, written in three spaces: codes 0 to 1 of each. Only colours that all three hold."""
    rows = []
    srgb = space("srgb")
    for rgb in grid():
        light = 0.02 + 0.9 * rgb
        xyz = srgb.matrix_RGB_to_XYZ @ light
        row = [*map(float, light)]
        for name in SPACES:
            linear = space(name).matrix_XYZ_to_RGB @ xyz
            assert linear.min() >= 0 and linear.max() <= 1, (name, linear)
            row += map(float, space(name).cctf_encoding(linear))
        rows.append(row)
    return rows


COLOURS = [f"{name}_{channel}" for name in SPACES for channel in "rgb"]

main(
    __doc__,
    {
        "curves.csv": Table(
            ["space", "code", "light", "encoded"], curves(), {"light": 1e-12, "encoded": 1e-12}
        ),
        "matrices.csv": Table(["matrix", "row", "column", "value"], matrices(), {"value": 1e-12}),
        "lab.csv": Table(
            ["r", "g", "b", "l", "a", "lab_b"], lab(), {"l": 1e-9, "a": 1e-9, "lab_b": 1e-9}
        ),
        "same_colour.csv": Table(
            ["r", "g", "b", *COLOURS], same_colour(), {name: 1e-9 for name in COLOURS}
        ),
    },
    libraries=[colour, np],
)
