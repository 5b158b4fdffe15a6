//! Structural similarity against scikit-image (`checks/print/ssim.csv`; the README there says how).
#![allow(clippy::panic)]

use std::path::Path;

use photo::Plane;

/// Both sum in double precision over single-precision pictures, in different order.
const TOLERANCE: f64 = 1e-6;

fn picture(width: usize, height: usize, a: usize, b: usize, m: usize) -> Plane<f32> {
    Plane::from_fn(width, height, |x, y| {
        let k = (x * a + y * b + (x * y) % 17 * 5 + (x / 7) * 31) % m;
        (k * 255 / (m - 1)) as f32 / 255.0
    })
}

fn second(kind: &str, first: &Plane<f32>) -> Plane<f32> {
    let (w, h) = (first.width(), first.height());
    match kind {
        "same" => first.clone(),
        "half-contrast" => first.map(|v| 0.5 * v + 0.25),
        "shifted" => Plane::from_fn(w, h, |x, y| first.row((y + h - 1) % h)[(x + w - 2) % w]),
        "negative" => first.map(|v| 1.0 - v),
        "speckled" => {
            Plane::from_fn(w, h, |x, y| first.row(y)[x] + (((x * 7 + y * 13) % 5) as f32 - 2.0) / 16.0)
        }
        other => panic!("no such second picture: {other}"),
    }
}

#[test]
fn agrees_on_every_pair_both_ways() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../checks/print/ssim.csv");
    let text = std::fs::read_to_string(&file).expect("checks/print/ssim.csv");
    let rows: Vec<Vec<&str>> =
        text.lines().filter(|l| !l.starts_with('#')).skip(1).map(|l| l.split(',').collect()).collect();
    assert_eq!(rows.len(), 20, "a shorter table would prove less");
    let mut misses = String::new();
    for row in rows {
        let n = |i: usize| row[i].parse::<usize>().expect("a count");
        let first = picture(n(0), n(1), n(2), n(3), n(4));
        let other = second(row[5], &first);
        let wanted: f64 = row[6].parse().expect("a number");
        for got in [examine::print::ssim(&first, &other, 1.0), examine::print::ssim(&other, &first, 1.0)] {
            let got = got.expect("large enough");
            if (got - wanted).abs() > TOLERANCE {
                misses += &format!("{row:?}: got {got:.9}\n");
            }
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn other_shapes_are_refused() {
    let a = picture(20, 20, 1, 2, 9);
    assert_eq!(examine::print::ssim(&a, &picture(20, 21, 1, 2, 9), 1.0), None);
    assert_eq!(examine::print::ssim(&picture(10, 20, 1, 2, 9), &picture(10, 20, 1, 2, 9), 1.0), None);
}
