//! The structural similarity index, as published.
//!
//! In: two planes of one shape and the range of their values. Out: the mean index.
//! Never here: masks, alignment, what a low index means.
//!
//! The joint reading uses its own masked structure term (`crate::compare::structure`); this one exists
//! to be compared with other programs and is quoted in the words of a finding.
//! Source: `wang2004`. Outside check: `tests/print_ssim_skimage.rs`.

use casebook::elementary::exp;
use photo::Plane;

/// Standard deviation of the window, pixels. Source: `wang2004`.
const SIGMA: f64 = 1.5;
/// Half width of the window: 11 × 11 pixels. Source: `wang2004`.
const RADIUS: usize = 5;
/// Constants against division by zero, over the range. Source: `wang2004`.
const K1: f64 = 0.01;
const K2: f64 = 0.03;

/// Mean structural similarity of two planes.
///
/// # Input
/// Planes of one shape, at least 11 × 11; `range`: largest possible value less the smallest.
///
/// # Result
/// −1 to 1, 1 for equal planes; the mean over all places where the whole window lies inside.
/// Population covariances. Nothing for planes of different shape or too small.
///
/// # Example
/// ```
/// use photo::Plane;
/// let a = Plane::from_fn(20, 20, |x, y| ((x * y) % 7) as f32 / 7.0);
/// let same = examine::print::ssim(&a, &a, 1.0).unwrap_or(0.0);
/// assert!((same - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn ssim(first: &Plane<f32>, second: &Plane<f32>, range: f64) -> Option<f64> {
    let (w, h) = (first.width(), first.height());
    if second.width() != w || second.height() != h || w <= 2 * RADIUS || h <= 2 * RADIUS {
        return None;
    }
    let kernel = kernel();
    let (c1, c2) = ((K1 * range) * (K1 * range), (K2 * range) * (K2 * range));
    let products: [fn(f64, f64) -> f64; 5] = [|a, _| a, |_, b| b, |a, _| a * a, |_, b| b * b, |a, b| a * b];
    let means = products.map(|f| window_means(first, second, f, &kernel));
    let mut sum = 0.0;
    for ((((a, b), aa), bb), ab) in
        means[0].iter().zip(&means[1]).zip(&means[2]).zip(&means[3]).zip(&means[4])
    {
        let (va, vb, cov) = (aa - a * a, bb - b * b, ab - a * b);
        sum += ((2.0 * a * b + c1) * (2.0 * cov + c2)) / ((a * a + b * b + c1) * (va + vb + c2));
    }
    Some(sum / means[0].len() as f64)
}

fn kernel() -> Vec<f64> {
    let raw: Vec<f64> = (0..=2 * RADIUS)
        .map(|i| {
            let d = (i as f64 - RADIUS as f64) / SIGMA;
            exp(-0.5 * d * d)
        })
        .collect();
    let sum: f64 = raw.iter().sum();
    raw.iter().map(|v| v / sum).collect()
}

/// Weighted means of `f` over every window that lies inside, row by row.
fn window_means(a: &Plane<f32>, b: &Plane<f32>, f: fn(f64, f64) -> f64, kernel: &[f64]) -> Vec<f64> {
    let (w, h) = (a.width(), a.height());
    let (ow, oh) = (w - 2 * RADIUS, h - 2 * RADIUS);
    let mut across = Vec::with_capacity(ow * h);
    for y in 0..h {
        let values: Vec<f64> =
            a.row(y).iter().zip(b.row(y)).map(|(x, y)| f(f64::from(*x), f64::from(*y))).collect();
        across.extend(
            values.windows(kernel.len()).map(|v| v.iter().zip(kernel).map(|(v, k)| v * k).sum::<f64>()),
        );
    }
    let mut out = vec![0.0; ow * oh];
    for y in 0..oh {
        let target = &mut out[y * ow..(y + 1) * ow];
        for (i, k) in kernel.iter().enumerate() {
            for (t, v) in target.iter_mut().zip(&across[(y + i) * ow..(y + i + 1) * ow]) {
                *t += k * v;
            }
        }
    }
    out
}
