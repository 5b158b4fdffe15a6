//! Evenness of ridges on synthetic bands: a flattened patch shows, light does not.
//!
//! Truth by construction: bands are ruled from a formula; the patch, the light and the mirror are known.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use casebook::elementary::{cos, exp, sin};
use examine::crimp::Strip;
use examine::crimp::evenness::{Evenness, Seen, evenness};
use examine::crimp::map::RidgeMap;
use proptest::prelude::*;
use std::f64::consts::PI;

const WIDTH_MM: f64 = 65.0;
const PITCH_MM: f64 = 1.1;

/// Even noise in −1..1 that belongs to a sample.
fn noise(at: usize, seed: u64) -> f64 {
    let mut z = (at as u64).wrapping_add(seed << 32).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// A band of 63 × 7 mm at 9 px/mm: ridges of contrast `depth(x, d)` under a light `gain(x, d)`.
fn band(depth: impl Fn(f64, f64) -> f64, gain: impl Fn(f64, f64) -> f64) -> Strip {
    let px_per_mm = 9.0;
    let (width, height) = ((63.0 * px_per_mm) as usize, (7.0 * px_per_mm) as usize);
    let light = (0..width * height)
        .map(|at| {
            let (x, d) = (1.0 + (at % width) as f64 / px_per_mm, (at / width) as f64 / px_per_mm);
            let ridge = cos(2.0 * PI * x / PITCH_MM) + 0.2 * cos(4.0 * PI * x / PITCH_MM + 1.0);
            (gain(x, d) * (1.0 + depth(x, d) * ridge + 0.05 * noise(at, 5))).max(0.0) as f32
        })
        .collect();
    let mut strip = Strip::new(width, height, light, px_per_mm).unwrap();
    strip.x0_mm = 1.0;
    strip
}

fn read(strip: &Strip, back: bool) -> Evenness {
    let map = RidgeMap::of(strip, 1.0 / PITCH_MM, 0.0);
    let seen = Seen { map: &map, back, weight: 1.0, step_coherence: 0.95, other_wave: 0.05, light: None };
    evenness(&[seen], WIDTH_MM).unwrap()
}

fn patch(x: f64, centre: f64, width: f64) -> f64 {
    if (x - centre).abs() < width / 2.0 { 0.12 } else { 1.0 }
}

#[test]
fn a_flattened_patch_of_four_millimetres_is_found_where_it_is() {
    let even = read(&band(|_, _| 0.3, |_, _| 0.3), false);
    assert!(even.low_tail > -0.1, "{}", even.low_tail);
    assert_eq!(even.flat_share, 0.0);
    for centre in [12.0, 31.5, 50.0] {
        let flat = read(&band(|x, _| 0.3 * patch(x, centre, 4.0), |_, _| 0.3), false);
        let lowest = flat.places.iter().min_by(|a, b| a.dip.total_cmp(&b.dip)).unwrap();
        assert!((lowest.x_mm - centre).abs() < 2.0, "patch at {centre}, found at {}", lowest.x_mm);
        assert!(lowest.dip < -0.8, "{}", lowest.dip);
        assert!(flat.low_tail < even.low_tail - 0.2, "{} {}", flat.low_tail, even.low_tail);
        assert!(flat.spread > even.spread + 0.5);
    }
}

/// Gain, a light that falls to a fifth along the end, one from the side of the cut, a soft lamp in the
/// middle: the local numbers stay where they are.
#[test]
fn light_does_not_move_the_features() {
    let depth = |x: f64, _: f64| 0.3 * (0.55 + 0.45 * patch(x, 40.0, 4.0));
    let plain = read(&band(depth, |_, _| 0.3), false);
    type Gain = fn(f64, f64) -> f64;
    let lights: [(&str, Gain); 4] = [
        ("dim", |_, _| 0.02),
        ("falling off", |x, _| 0.5 * exp(-x / 40.0)),
        ("from the cut", |_, d| 0.4 - 0.04 * d),
        ("soft lamp", |x, _| 0.2 + 0.15 * sin(PI * x / 63.0)),
    ];
    for (name, gain) in lights {
        let lit = read(&band(depth, gain), false);
        for (what, a, b) in [
            ("ridge odds", plain.ridge_odds, lit.ridge_odds),
            ("low tail", plain.low_tail, lit.low_tail),
            ("spread", plain.spread, lit.spread),
        ] {
            assert!((a - b).abs() < 0.06, "{name}: {what} {a} became {b}");
        }
    }
}

/// A dip that front and back both show is shape; one that a single photo shows counts half.
#[test]
fn the_back_is_laid_over_the_front_mirrored() {
    let front = band(|x, _| 0.3 * patch(x, 20.0, 4.0), |_, _| 0.3);
    let back = band(|x, _| 0.3 * patch(x, WIDTH_MM - 20.0, 4.0), |_, _| 0.3);
    let maps = [RidgeMap::of(&front, 1.0 / PITCH_MM, 0.0), RidgeMap::of(&back, 1.0 / PITCH_MM, 0.0)];
    let seen = |i: usize, back: bool| Seen {
        map: &maps[i],
        back,
        weight: 1.0,
        step_coherence: 0.9,
        other_wave: 0.1,
        light: None,
    };
    let right = evenness(&[seen(0, false), seen(1, true)], WIDTH_MM).unwrap();
    let wrong = evenness(&[seen(0, false), seen(1, false)], WIDTH_MM).unwrap();
    let lowest = |e: &Evenness| e.places.iter().map(|p| p.dip).fold(0.0, f64::min);
    assert!(lowest(&right) < 1.5 * lowest(&wrong), "{} {}", lowest(&right), lowest(&wrong));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Twice the light is the same seal, and so is its mirror image.
    #[test]
    fn gain_and_mirror(gain in 0.1f32..3.0, centre in 10.0f64..55.0) {
        let strip = band(|x, _| 0.3 * patch(x, centre, 5.0), |_, _| 0.3);
        let plain = read(&strip, false);
        let mut bright = strip.clone();
        bright.luminance.iter_mut().for_each(|v| *v *= gain);
        prop_assert!((read(&bright, false).low_tail - plain.low_tail).abs() < 1e-4);
        let mut mirrored = strip.clone();
        for line in mirrored.luminance.chunks_exact_mut(strip.width) {
            line.reverse();
        }
        let turned = read(&mirrored, true);
        prop_assert!((turned.ridge_odds - plain.ridge_odds).abs() < 0.05);
        prop_assert!((turned.low_tail - plain.low_tail).abs() < 0.12, "{} {}", turned.low_tail, plain.low_tail);
    }
}
