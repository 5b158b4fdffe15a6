//! A stated uncertainty is a promise: over seeded trials the truth lies within 1 u in about 68 %, and
//! within 2 u in about 95 %. For fits of points with known noise, and for whole placements of drawn
//! faces.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{Camera, Random, SIZE, face, ground, paint, reference, shoot, view};
use placement::{Covariance, Homography, Placement, Point, fit_weighted, refine};

/// Shares within 1 u and 2 u.
fn shares(normalised: &[f64]) -> (f64, f64) {
    let share = |k: f64| normalised.iter().filter(|v| v.abs() <= k).count() as f64 / normalised.len() as f64;
    (share(1.0), share(2.0))
}

/// Errors of mapped points in units of their stated standard uncertainty.
fn normalised(map: &Homography, covariance: &Covariance, truth: &Homography, at: &[Point]) -> Vec<f64> {
    at.iter()
        .flat_map(|p| {
            let (a, b, c) = (map.map(*p).unwrap(), truth.map(*p).unwrap(), covariance.at(map, *p).unwrap());
            [(a[0] - b[0]) / c[0][0].sqrt(), (a[1] - b[1]) / c[1][1].sqrt()]
        })
        .collect()
}

const AT: [Point; 5] = [[0.0, 0.0], [65.0, 0.0], [32.0, 55.0], [65.0, 110.0], [0.0, 110.0]];

#[test]
fn fits_of_noisy_points_keep_their_promise() {
    let mut r = Random(21);
    let truth = view([600.0, 800.0], 8.0, 20.0, 35.0, 60.0);
    let mut all = Vec::new();
    for _ in 0..300 {
        let mm: Vec<Point> = (0..25).map(|_| [r.between(0.0, SIZE.0), r.between(0.0, SIZE.1)]).collect();
        let px: Vec<Point> = mm
            .iter()
            .map(|p| truth.map(*p).map(|q| [q[0] + 0.7 * r.normal(), q[1] + 0.7 * r.normal()]).unwrap())
            .collect();
        let fit = fit_weighted(&mm, &px, &[1.0; 25]).unwrap();
        all.extend(normalised(&fit.map, &fit.covariance, &truth, &AT));
    }
    let (one, two) = shares(&all);
    println!("points: {:.1} % within 1 u, {:.1} % within 2 u of {}", 100.0 * one, 100.0 * two, all.len());
    assert!((0.63..0.73).contains(&one), "{one}");
    assert!((0.92..0.98).contains(&two), "{two}");
}

#[test]
fn placements_of_drawn_faces_keep_their_promise() {
    let mut r = Random(5);
    let mut all = Vec::new();
    for trial in 0..40u64 {
        let canvas = face(1, 100 + trial % 5);
        let known = reference("release", &canvas);
        let truth = view(
            [r.between(230.0, 250.0), r.between(290.0, 310.0)],
            r.between(3.2, 4.2),
            r.between(-20.0, 20.0),
            r.between(0.0, 35.0),
            r.between(0.0, 180.0),
        );
        let mut scene = ground(480, 600, trial);
        paint(&mut scene, &canvas, &truth);
        let camera = Camera { gain: 0.9, fall: 0.15, blur_px: 0.8, noise: 6.0 };
        let photo = shoot(scene, camera, trial);
        // A hand-drawn start: each corner off by about a millimetre.
        let corners =
            truth.corners_px(SIZE).unwrap().map(|c| [c[0] + 2.5 * r.normal(), c[1] + 2.5 * r.normal()]);
        let start = Homography::from_four(corners, SIZE).unwrap();
        let placed: Placement = refine(&photo, &known, &start).unwrap();
        all.extend(normalised(&placed.mm_to_px, &placed.covariance, &truth, &AT));
    }
    let (one, two) = shares(&all);
    println!("faces: {:.1} % within 1 u, {:.1} % within 2 u of {}", 100.0 * one, 100.0 * two, all.len());
    assert!((0.60..0.76).contains(&one), "{one}");
    assert!(two > 0.88, "{two}");
}
