//! Cut lines of known shape: teeth, waves, skew and hairs come out as they were drawn.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use casebook::elementary::sin;
use examine::crimp::{CutLine, CutPoint};
use examine::cut_edge::shape::{CutShape, shape};
use std::f64::consts::PI;

/// Even noise in −1..1 that belongs to a point.
fn noise(at: usize) -> f64 {
    let mut z = (at as u64 + 77).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// A line over 63.8 mm with a known course (`skew` mm over the half width, a bend) and a shape on it.
fn line(skew: f64, bend: f64, on_it: impl Fn(f64) -> f64) -> CutLine {
    let (middle, half) = (32.5, 31.9);
    let points = (0..639)
        .map(|i| {
            let x = 0.6 + 0.1 * i as f64;
            let t = (x - middle) / half;
            let d_mm = 0.4 + skew * t + bend * t * t - on_it(x) + 0.03 * noise(i);
            CutPoint { x_mm: x, d_mm, step: 0.5, seen: true }
        })
        .collect();
    CutLine {
        points,
        course: [0.4, skew, bend, 0.0],
        print_mm: Vec::new(),
        frame_mm: (middle, half),
        seen_share: 1.0,
    }
}

fn read(line: &CutLine) -> CutShape {
    shape(line).unwrap()
}

/// A zigzag of a pitch and a depth from valley to tip.
fn teeth(x: f64, pitch: f64, depth: f64) -> f64 {
    let u = x / pitch - (x / pitch).floor();
    depth * (2.0 * (u - 0.5).abs() - 0.5)
}

#[test]
fn teeth_come_out_with_pitch_and_depth() {
    for (pitch, depth) in [(1.3, 0.5), (2.0, 0.8), (2.0, 0.45), (3.1, 1.2)] {
        let s = read(&line(0.3, -0.2, |x| teeth(x, pitch, depth)));
        assert!(s.is_toothed(), "{pitch} {depth}: {} {}", s.toothed_share, s.tooth_depth_mm);
        assert!((s.tooth_pitch_mm / pitch - 1.0).abs() < 0.004, "{pitch}: {}", s.tooth_pitch_mm);
        assert!((s.tooth_depth_mm - depth).abs() < 0.08 * depth, "{depth}: {}", s.tooth_depth_mm);
        assert!(s.waviness_mm < 0.06, "teeth are no waves: {}", s.waviness_mm);
    }
}

#[test]
fn a_straight_cut_has_neither_teeth_nor_waves() {
    let s = read(&line(0.0, 0.0, |_| 0.0));
    assert!(!s.is_toothed());
    assert!(s.tooth_depth_mm < 0.05 && s.waviness_mm < 0.02, "{s:?}");
    // Scallops that ridges press into a straight edge are no teeth.
    assert!(!read(&line(0.0, 0.0, |x| 0.06 * sin(2.0 * PI * x / 1.1))).is_toothed());
}

#[test]
fn waves_are_measured_and_skew_is_not_one() {
    let s = read(&line(1.0, 0.3, |x| 0.3 * sin(2.0 * PI * x / 16.0)));
    // The triangle of 6 mm leaves a wave of 16 mm at 0.89; its rms is 0.3 / √2.
    let expected = 0.3 / 2.0_f64.sqrt();
    assert!((0.8..=1.02).contains(&(s.waviness_mm / expected)), "{} {expected}", s.waviness_mm);
    assert!(!s.is_toothed());
    assert!((s.skew_deg - (1.0_f64 / 31.9).to_degrees()).abs() < 0.05, "{}", s.skew_deg);
    assert!(read(&line(1.0, 0.3, |_| 0.0)).waviness_mm < 0.02);
}

#[test]
fn a_hair_across_the_cut_is_left_out_and_a_hidden_line_cannot_tell() {
    let mut with_hair = line(0.0, 0.0, |_| 0.0);
    for p in &mut with_hair.points[300..306] {
        p.d_mm -= 2.4;
    }
    assert!(read(&with_hair).waviness_mm < 0.12, "{}", read(&with_hair).waviness_mm);
    let mut hidden = line(0.0, 0.0, |_| 0.0);
    hidden.seen_share = 0.3;
    assert!(shape(&hidden).is_none());
    let mut short = line(0.0, 0.0, |_| 0.0);
    short.points.truncate(150);
    assert!(shape(&short).is_none());
}
