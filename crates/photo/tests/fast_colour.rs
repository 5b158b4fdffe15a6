//! The fast colour kernels against the scalar reference, within the bounds that they state.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]
#![expect(clippy::disallowed_methods, reason = "the truth of a test may come from the standard library")]

use photo::colour::fast::MAX_ERROR;
use photo::colour::{Lab, delta_e_2000, delta_e_2000_slice, lab_from_linear, linear_to_lab_slice};
use proptest::prelude::*;

/// Both ways of the fast kernel on one list of pairs; the largest distance to the reference.
fn worst(pairs: &[(Lab, Lab)]) -> (f64, String) {
    let plane = |f: &dyn Fn(&(Lab, Lab)) -> f64| pairs.iter().map(|p| f(p) as f32).collect::<Vec<f32>>();
    let first = [plane(&|p| p.0.l), plane(&|p| p.0.a), plane(&|p| p.0.b)];
    let second = [plane(&|p| p.1.l), plane(&|p| p.1.a), plane(&|p| p.1.b)];
    let mut got = vec![0.0; pairs.len()];
    delta_e_2000_slice(first.each_ref().map(Vec::as_slice), second.each_ref().map(Vec::as_slice), &mut got);
    let mut most = (0.0, String::new());
    for (i, got) in got.iter().enumerate() {
        // The same single-precision input on both sides: the error is that of the kernel alone.
        let lab = |p: &[Vec<f32>; 3]| Lab::new(p[0][i].into(), p[1][i].into(), p[2][i].into());
        let (p, q) = (lab(&first), lab(&second));
        let off = (f64::from(*got) - delta_e_2000(p, q)).abs();
        if off.is_nan() || off > most.0 {
            most = (off, format!("{p:?} {q:?}: fast {got}, reference {}", delta_e_2000(p, q)));
        }
    }
    most
}

#[test]
fn every_pair_of_a_coarse_cube() {
    let steps: Vec<f64> = (0..6).map(|i| f64::from(i) / 5.0).collect();
    let mut colours = Vec::new();
    for r in &steps {
        for g in &steps {
            for b in &steps {
                colours.push(lab_from_linear([*r, *g, *b]));
            }
        }
    }
    let mut pairs = Vec::new();
    for p in &colours {
        for q in &colours {
            pairs.push((*p, *q));
        }
    }
    let (most, which) = worst(&pairs);
    println!("{} pairs of a cube: largest error {most:.2e}", pairs.len());
    assert!(most <= f64::from(MAX_ERROR), "{most}: {which}");
}

#[test]
fn small_differences_and_opposite_hues() {
    let mut pairs = Vec::new();
    for i in 0..3600 {
        let angle = f64::from(i) * std::f64::consts::PI / 1800.0;
        for chroma in [1e-4, 0.01, 0.5, 5.0, 40.0, 120.0] {
            let p = Lab::new(50.0, chroma * angle.cos(), chroma * angle.sin());
            pairs.push((p, Lab::new(50.3, p.a + 0.2, p.b - 0.1)));
            pairs.push((p, Lab::new(49.0, p.a * 1.01, p.b * 1.01)));
            // Opposite within rounding, and by up to two degrees to either side.
            for turn in [0.0, 1e-7, 1e-3, 9e-3, 1.1e-2, -1e-7, -9e-3, -1.1e-2, 3.5e-2] {
                let b = angle + std::f64::consts::PI + turn;
                pairs.push((p, Lab::new(60.0, 0.7 * chroma * b.cos(), 0.7 * chroma * b.sin())));
            }
            pairs.push((p, Lab::new(50.0, 0.0, 0.0)));
        }
    }
    let (most, which) = worst(&pairs);
    println!("{} small or opposite pairs: largest error {most:.2e}", pairs.len());
    assert!(most <= f64::from(MAX_ERROR), "{most}: {which}");
}

#[test]
fn lab_within_its_stated_bound() {
    let n = 40;
    let mut rgb = [Vec::new(), Vec::new(), Vec::new()];
    for r in 0..n {
        for g in 0..n {
            for b in 0..n {
                for (plane, v) in rgb.iter_mut().zip([r, g, b]) {
                    // Denser towards black, where the cube root is steepest.
                    let v = v as f32 / (n - 1) as f32;
                    plane.push(v * v * v);
                }
            }
        }
    }
    let count = rgb[0].len();
    let mut lab = [vec![0.0; count], vec![0.0; count], vec![0.0; count]];
    let [l, a, b] = &mut lab;
    linear_to_lab_slice(rgb.each_ref().map(Vec::as_slice), [l, a, b]);
    let mut most = [0.0_f64; 3];
    for i in 0..count {
        let want = lab_from_linear([rgb[0][i].into(), rgb[1][i].into(), rgb[2][i].into()]);
        for (most, (got, want)) in most.iter_mut().zip(lab.iter().zip([want.l, want.a, want.b])) {
            *most = most.max((f64::from(got[i]) - want).abs());
        }
    }
    println!("largest error: L* {:.1e}, a* {:.1e}, b* {:.1e}", most[0], most[1], most[2]);
    assert!(most[0] < 2e-4 && most[1] < 5e-4 && most[2] < 5e-4, "{most:?}");
}

proptest! {
    #[test]
    fn any_pair_within_the_bound(
        p in (0.0..100.0_f64, -128.0..128.0_f64, -128.0..128.0_f64),
        q in (0.0..100.0_f64, -128.0..128.0_f64, -128.0..128.0_f64),
    ) {
        let (most, which) = worst(&[(Lab::new(p.0, p.1, p.2), Lab::new(q.0, q.1, q.2))]);
        prop_assert!(most <= f64::from(MAX_ERROR), "{most}: {which}");
    }
}

#[test]
fn a_nan_stays_one_and_a_short_plane_ends_the_work() {
    let mut out = [7.0; 3];
    delta_e_2000_slice([&[f32::NAN, 1.0], &[0.0; 2], &[0.0; 2]], [&[1.0; 3], &[0.0; 3], &[0.0; 3]], &mut out);
    assert!(out[0].is_nan());
    assert_eq!(out[1..], [0.0, 7.0]);
}
