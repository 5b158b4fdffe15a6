//! One colour written in three spaces, with three profiles, comes out as one light.
//! Codes: `checks/transfer/same_colour.csv` (colour-science). Profiles: those that moxcms writes.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]
#![expect(clippy::disallowed_methods, reason = "the truth of a test may come from the standard library")]

mod common;

use common::{number, png16};
use moxcms::{ColorProfile, ToneReprCurve};
use photo::{Basis, Encoding, Limits, Photo, decode};

/// A profile holds its primaries at D50 in steps of 1/65536 and its white as three four-digit
/// numbers; a matrix that undoes both is off by up to a few units in the fourth decimal.
const PROFILE_TOLERANCE: f64 = 6e-4;

fn rows() -> Vec<Vec<f64>> {
    let rows = common::rows("transfer/same_colour.csv");
    assert_eq!(rows.len(), 125);
    rows.iter().map(|r| r.iter().map(|c| number(c)).collect()).collect()
}

/// A picture of one colour that is large enough to be read.
fn plain(codes: &[f64]) -> Vec<u16> {
    let pixel: Vec<u16> = codes.iter().map(|c| (c * 65_535.0).round() as u16).collect();
    pixel.repeat(64 * 64)
}

fn light(photo: &Photo) -> [f64; 3] {
    photo.linear_at(31, 7).unwrap().map(f64::from)
}

#[test]
fn three_profiles_give_one_light() {
    let limits = Limits::default();
    let profiles = [ColorProfile::new_srgb(), ColorProfile::new_display_p3(), ColorProfile::new_adobe_rgb()];
    let mut worst = [0.0_f64; 3];
    for row in rows().iter().step_by(6) {
        for (i, profile) in profiles.iter().enumerate() {
            let codes = plain(&row[3 + 3 * i..6 + 3 * i]);
            let file = png16(64, 64, &codes, Some(profile.encode().unwrap()));
            let photo = decode(&file, "colour.png", &limits).unwrap();
            assert!(
                matches!(photo.encoding().basis(), Basis::Embedded { .. }),
                "{}",
                photo.encoding().basis()
            );
            for (got, want) in light(&photo).iter().zip(&row[..3]) {
                worst[i] = worst[i].max((got - want).abs());
            }
        }
    }
    println!("worst: sRGB {:.1e}, Display P3 {:.1e}, Adobe RGB {:.1e}", worst[0], worst[1], worst[2]);
    assert!(worst.iter().all(|w| *w < PROFILE_TOLERANCE), "{worst:?}");
}

/// Without a profile in between, the spaces that we know are exact to the rounding of the tables.
#[test]
fn our_own_encodings_give_one_light() {
    for row in rows() {
        let spaces = [Encoding::srgb(), Encoding::display_p3(), Encoding::adobe_rgb()];
        for (i, encoding) in spaces.iter().enumerate() {
            let got = encoding.to_linear([row[3 + 3 * i], row[4 + 3 * i], row[5 + 3 * i]]);
            for (got, want) in got.iter().zip(&row[..3]) {
                assert!((got - want).abs() < 1e-9, "{i}: {got} {want}");
            }
        }
    }
}

/// What a profile may hold: a table of 1024 entries, a plain exponent, a curve by parameters.
#[test]
fn every_form_of_curve_is_read() {
    let table: Vec<u16> =
        (0..1024).map(|i| (65_535.0 * (f64::from(i) / 1023.0).powf(1.8)).round() as u16).collect();
    let curves = [
        (ToneReprCurve::Lut(table), 1.8, 2e-5),
        (ToneReprCurve::Lut(vec![(1.8_f64 * 256.0).round() as u16]), (1.8_f64 * 256.0).round() / 256.0, 1e-6),
        (ToneReprCurve::Parametric(vec![1.8]), 1.8, 2e-5),
    ];
    for (curve, gamma, tolerance) in curves {
        let mut profile = ColorProfile::new_srgb();
        profile.red_trc = Some(curve.clone());
        profile.green_trc = Some(curve.clone());
        profile.blue_trc = Some(curve);
        profile.cicp = None;
        let file = png16(64, 64, &plain(&[0.3; 3]), Some(profile.encode().unwrap()));
        let photo = decode(&file, "curve.png", &Limits::default()).unwrap();
        let want = ((0.3 * 65_535.0_f64).round() / 65_535.0).powf(gamma);
        for got in light(&photo) {
            // The matrix of the profile moves grey by its rounding.
            assert!((got - want).abs() < tolerance + 3e-4 * want, "{gamma}: {got} {want}");
        }
    }
}

#[test]
fn a_profile_that_cannot_be_followed_is_named_and_srgb_taken() {
    let limits = Limits::default();
    let srgb = ColorProfile::new_srgb().encode().unwrap();
    let mut cases: Vec<(&str, Vec<u8>)> = vec![
        ("nonsense", b"this is no profile".to_vec()),
        ("cut", srgb[..srgb.len() / 2].to_vec()),
        ("grey profile on RGB", ColorProfile::new_gray_with_gamma(2.2).encode().unwrap()),
    ];
    let mut dark = ColorProfile::new_srgb();
    dark.red_colorant.x = 3.0;
    cases.push(("primaries off white", dark.encode().unwrap()));
    for (what, icc) in cases {
        let photo = decode(&png16(64, 64, &plain(&[0.5; 3]), Some(icc)), "x.png", &limits).unwrap();
        let basis = photo.encoding().basis();
        assert!(matches!(basis, Basis::Fallback { .. }), "{what}: {basis}");
        assert!(!basis.is_stated());
        assert!((light(&photo)[0] - 0.214_04).abs() < 1e-4, "{what}");
    }
}
