//! Transfer curves, matrices, adaptation and CIELAB against what the standards print and what
//! colour-science computes; `checks/transfer/README.md` says where the values come from.
//! Sources: `iec61966-2-1`, `smpte-eg432-1`, `adobergb1998`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]
#![expect(clippy::disallowed_methods, reason = "the truth of a test may come from the standard library")]

mod common;

use common::number;
use photo::colour::space::{Matrix3, RgbSpace, WhitePoint, bradford};
use photo::colour::transfer::{adobe_from_linear, srgb_from_linear};
use photo::colour::{Transfer, lab_from_linear};

fn matrix(name: &str) -> Matrix3 {
    match name {
        "srgb" | "srgb_to_xyz" => RgbSpace::REC709.to_xyz().unwrap(),
        "display_p3" => RgbSpace::P3_D65.to_xyz().unwrap(),
        "adobe_rgb" | "adobe_rgb_to_xyz" => RgbSpace::ADOBE.to_xyz().unwrap(),
        "bradford_d50_d65" => bradford(WhitePoint::D50_ICC, WhitePoint::D65).unwrap(),
        other => panic!("no matrix {other}"),
    }
}

#[test]
fn the_printed_values_of_the_standards() {
    let rows = common::rows("transfer/printed.csv");
    assert_eq!(rows.len(), 26, "a shorter file would prove less");
    for row in &rows {
        let (r, c) = (row[1].parse::<usize>().unwrap(), row[2].parse::<usize>().unwrap());
        let got = match row[0].as_str() {
            "display_p3_primaries" => RgbSpace::P3_D65.primaries[r][c],
            "display_p3_white" => {
                let [x, y, z] = WhitePoint::D65.xyz;
                [x, y][c] / (x + y + z)
            }
            name => matrix(name).0[r][c],
        };
        // Half the last printed digit, and the rounding of one double.
        let tolerance = number(&row[4]) + 1e-15;
        assert!((got - number(&row[3])).abs() <= tolerance, "{row:?}: got {got}");
    }
}

#[test]
fn the_knees_of_srgb_lie_where_the_standard_puts_them() {
    // IEC 61966-2-1: the straight part ends at code 0.04045 and light 0.0031308, slope 12.92.
    assert!((Transfer::Srgb.to_linear(0.040_449) - 0.040_449 / 12.92).abs() < 1e-15);
    assert!((srgb_from_linear(0.003_130_7) - 12.92 * 0.003_130_7).abs() < 1e-15);
    // Above it the power law; both parts meet within the rounding of the printed knee.
    let above = Transfer::Srgb.to_linear(0.040_451);
    assert!((above - ((0.040_451_f64 + 0.055) / 1.055).powf(2.4)).abs() < 1e-15);
    assert!((above - 0.040_451 / 12.92).abs() < 3e-8);
}

#[test]
fn curves_as_colour_science_has_them() {
    let rows = common::rows("transfer/curves.csv");
    assert_eq!(rows.len(), 258);
    for row in &rows {
        let (code, light, encoded) = (number(&row[1]) / 255.0, number(&row[2]), number(&row[3]));
        let (curve, back) = match row[0].as_str() {
            "adobe_rgb" => (Transfer::adobe_rgb(), adobe_from_linear(light)),
            _ => (Transfer::Srgb, srgb_from_linear(light)),
        };
        assert!((curve.to_linear(code) - light).abs() < 1e-12, "{row:?}");
        assert!((back - encoded).abs() < 1e-12, "{row:?}: {back}");
    }
}

#[test]
fn matrices_as_colour_science_derives_them() {
    let rows = common::rows("transfer/matrices.csv");
    assert_eq!(rows.len(), 36);
    for row in &rows {
        let (r, c) = (row[1].parse::<usize>().unwrap(), row[2].parse::<usize>().unwrap());
        let got = matrix(&row[0]).0[r][c];
        assert!((got - number(&row[3])).abs() < 1e-12, "{row:?}: got {got}");
    }
}

#[test]
fn cielab_as_colour_science_computes_it() {
    let rows = common::rows("transfer/lab.csv");
    assert_eq!(rows.len(), 125);
    for row in &rows {
        let v: Vec<f64> = row.iter().map(|c| number(c)).collect();
        let got = lab_from_linear([v[0], v[1], v[2]]);
        for (got, want) in [got.l, got.a, got.b].iter().zip(&v[3..]) {
            assert!((got - want).abs() < 1e-9, "{row:?}: got {got}");
        }
    }
}
