//! Smoothing, reduction and local normalisation of planes.
//!
//! In: single-channel planes. Out: planes. The same bits whatever the number of threads: every output
//! value is one sum in a fixed order. `Arch::dispatch` compiles the loops for the processor's wider
//! registers as well and takes what the machine has; the sums stay the same.
//! Never here: colour, millimetres, a judgement.

use casebook::elementary::exp;
use photo::Plane;
use pulp::Arch;
use rayon::prelude::*;

/// From this standard deviation on (pixels) three running means stand in for the Gaussian.
const BOX_FROM: f64 = 3.0;

/// Gaussian smoothing, standard deviation `sigma` pixels; edges repeat the outermost value.
///
/// From [`BOX_FROM`] on it is three running means whose variances sum to `sigma²` up to rounding to
/// odd widths; the sides then differ from a Gaussian by a few percent, which no use here notices.
#[must_use]
pub fn smooth(plane: &Plane<f32>, sigma: f64) -> Plane<f32> {
    if sigma < 0.2 || plane.data().is_empty() {
        return plane.clone();
    }
    if sigma < BOX_FROM { fir(plane, &gaussian(sigma)) } else { boxes(plane, sigma) }
}

/// Weighted smoothing: smooth(values × weights) ÷ smooth(weights). Where hardly any weight is near,
/// the value is 0 and the second plane (the smoothed weight) says so.
#[must_use]
pub fn smooth_weighted(plane: &Plane<f32>, weights: &Plane<f32>, sigma: f64) -> (Plane<f32>, Plane<f32>) {
    let (top, bottom) =
        rayon::join(|| smooth(&zip(plane, weights, |v, w| v * w), sigma), || smooth(weights, sigma));
    (over(top, &bottom), bottom)
}

/// Smoothed products over the smoothed weights; 0 where hardly any weight is near.
fn over(mut products: Plane<f32>, weights: &Plane<f32>) -> Plane<f32> {
    for (t, b) in products.data_mut().iter_mut().zip(weights.data()) {
        *t = if *b > 1e-3 { *t / *b } else { 0.0 };
    }
    products
}

/// `f` of two planes of one shape, place by place.
#[must_use]
pub fn zip(a: &Plane<f32>, b: &Plane<f32>, f: impl Fn(f32, f32) -> f32) -> Plane<f32> {
    let data: Vec<f32> = a.data().iter().zip(b.data()).map(|(x, y)| f(*x, *y)).collect();
    Plane::from_vec(a.width(), a.height(), data).unwrap_or_else(|| Plane::filled(0, 0, 0.0))
}

/// Means of blocks of `n` × `n` pixels; what is left over at the right and bottom is dropped.
#[must_use]
pub fn reduce(plane: &Plane<f32>, n: usize) -> Plane<f32> {
    let n = n.max(1);
    let (w, h) = (plane.width() / n, plane.height() / n);
    let scale = 1.0 / (n * n) as f32;
    let mut out = Plane::filled(w, h, 0.0_f32);
    for y in 0..h {
        let target = out.row_mut(y);
        for k in 0..n {
            let row = plane.row(y * n + k);
            for (x, t) in target.iter_mut().enumerate() {
                *t += row[x * n..(x + 1) * n].iter().sum::<f32>();
            }
        }
        for t in target {
            *t *= scale;
        }
    }
    out
}

/// (value − local mean) ÷ (local standard deviation + `floor`), both within `sigma` pixels and over
/// usable places only; 0 where unusable. Makes a picture blind to light that changes slowly.
#[must_use]
pub fn normalise(plane: &Plane<f32>, usable: &Plane<f32>, sigma: f64, floor: f32) -> Plane<f32> {
    let (mean, weights) = smooth_weighted(plane, usable, sigma);
    let apart = zip(plane, &mean, |v, m| v - m);
    let variance = over(smooth(&zip(&apart, usable, |v, w| v * v * w), sigma), &weights);
    let mut out = zip(&apart, &variance, |v, s| v / (s.max(0.0).sqrt() + floor));
    for (o, u) in out.data_mut().iter_mut().zip(usable.data()) {
        if *u < 0.5 {
            *o = 0.0;
        }
    }
    out
}

/// Central differences, per pixel, in x and y; 0 on the border.
#[must_use]
pub fn gradient(plane: &Plane<f32>) -> (Plane<f32>, Plane<f32>) {
    let (w, h) = (plane.width(), plane.height());
    let mut gx = Plane::filled(w, h, 0.0_f32);
    let mut gy = Plane::filled(w, h, 0.0_f32);
    for y in 1..h.saturating_sub(1) {
        let (above, here, below) = (plane.row(y - 1), plane.row(y), plane.row(y + 1));
        let (rx, ry) = (gx.row_mut(y), gy.row_mut(y));
        for x in 1..w.saturating_sub(1) {
            rx[x] = 0.5 * (here[x + 1] - here[x - 1]);
            ry[x] = 0.5 * (below[x] - above[x]);
        }
    }
    (gx, gy)
}

/// Half of a Gaussian kernel from its centre outwards, sum of the whole = 1.
fn gaussian(sigma: f64) -> Vec<f32> {
    let radius = (3.0 * sigma).ceil() as usize;
    let raw: Vec<f64> = (0..=radius).map(|i| exp(-0.5 * (i as f64 / sigma) * (i as f64 / sigma))).collect();
    let sum = raw[0] + 2.0 * raw[1..].iter().sum::<f64>();
    raw.iter().map(|v| (v / sum) as f32).collect()
}

fn fir(plane: &Plane<f32>, half: &[f32]) -> Plane<f32> {
    let (w, h) = (plane.width(), plane.height());
    let radius = half.len() - 1;
    let mut across = Plane::filled(w, h, 0.0_f32);
    across.data_mut().par_chunks_mut(w).zip(plane.data().par_chunks(w)).for_each_init(
        || vec![0.0_f32; w + 2 * radius],
        |padded, (target, row)| {
            Arch::new().dispatch(|| {
                padded[..radius].fill(row[0]);
                padded[radius..radius + w].copy_from_slice(row);
                padded[radius + w..].fill(row[w - 1]);
                for (t, v) in target.iter_mut().zip(&padded[radius..]) {
                    *t = half[0] * v;
                }
                for (i, k) in half.iter().enumerate().skip(1) {
                    let (left, right) = (&padded[radius - i..], &padded[radius + i..]);
                    for ((t, l), r) in target.iter_mut().zip(left).zip(right) {
                        *t += k * (l + r);
                    }
                }
            })
        },
    );
    let mut out = Plane::filled(w, h, 0.0_f32);
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, target)| {
        Arch::new().dispatch(|| {
            for (t, v) in target.iter_mut().zip(across.row(y)) {
                *t = half[0] * v;
            }
            for (i, k) in half.iter().enumerate().skip(1) {
                let (above, below) = (across.row(y.saturating_sub(i)), across.row((y + i).min(h - 1)));
                for ((t, a), b) in target.iter_mut().zip(above).zip(below) {
                    *t += k * (a + b);
                }
            }
        })
    });
    out
}

fn boxes(plane: &Plane<f32>, sigma: f64) -> Plane<f32> {
    // Three means of widths 2r + 1: variance 3 × ((2r + 1)² − 1) / 12; the last takes the rest.
    let ideal = ((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0;
    let low = ideal.floor().max(1.0) as usize;
    let variance = |r: usize| ((2 * r + 1) * (2 * r + 1) - 1) as f64 / 12.0;
    let rest = (sigma * sigma - 2.0 * variance(low)).max(0.0);
    let last = (((12.0 * rest + 1.0).sqrt() - 1.0) / 2.0).round().max(1.0) as usize;
    let mean = |plane: &Plane<f32>, radius: usize| running_columns(&running_rows(plane, radius), radius);
    mean(&mean(&mean(plane, low), low), last)
}

/// Some rows at a time, side by side: one sum waits for itself, several do not.
fn running_rows(plane: &Plane<f32>, radius: usize) -> Plane<f32> {
    const ROWS: usize = 8;
    let (w, h) = (plane.width(), plane.height());
    let mut out = Plane::filled(w, h, 0.0_f32);
    let scale = 1.0 / (2 * radius + 1) as f64;
    out.data_mut().par_chunks_mut(ROWS * w).zip(plane.data().par_chunks(ROWS * w)).for_each_init(
        || (vec![[0.0_f32; ROWS]; w + 2 * radius + 1], vec![[0.0_f32; ROWS]; w]),
        |(padded, means), (targets, rows)| {
            Arch::new().dispatch(|| {
                for (k, row) in rows.chunks_exact(w).enumerate() {
                    for p in &mut padded[..radius] {
                        p[k] = row[0];
                    }
                    for (p, v) in padded[radius..].iter_mut().zip(row) {
                        p[k] = *v;
                    }
                    for p in &mut padded[radius + w..] {
                        p[k] = row[w - 1];
                    }
                }
                let mut sum = [0.0_f64; ROWS];
                for p in &padded[..=2 * radius] {
                    for (s, v) in sum.iter_mut().zip(p) {
                        *s += f64::from(*v);
                    }
                }
                let (entering, leaving) = (&padded[2 * radius + 1..], &padded[..w]);
                for ((mean, enter), leave) in means.iter_mut().zip(entering).zip(leaving) {
                    for k in 0..ROWS {
                        mean[k] = (sum[k] * scale) as f32;
                        sum[k] += f64::from(enter[k]) - f64::from(leave[k]);
                    }
                }
                for (k, target) in targets.chunks_exact_mut(w).enumerate() {
                    for (t, mean) in target.iter_mut().zip(means.iter()) {
                        *t = mean[k];
                    }
                }
            })
        },
    );
    out
}

/// Columns by bands of columns, so that threads share nothing and rows are read in order.
fn running_columns(plane: &Plane<f32>, radius: usize) -> Plane<f32> {
    const BAND: usize = 64;
    let (w, h) = (plane.width(), plane.height());
    let scale = 1.0 / (2 * radius + 1) as f64;
    let bands: Vec<(usize, Vec<f32>)> = (0..w.div_ceil(BAND))
        .into_par_iter()
        .map(|band| {
            Arch::new().dispatch(|| {
                let (x0, x1) = (band * BAND, ((band + 1) * BAND).min(w));
                let n = x1 - x0;
                let r = radius as isize;
                let row = |y: isize| &plane.row(y.clamp(0, h as isize - 1) as usize)[x0..x1];
                let mut sum = vec![0.0_f64; n];
                for y in -r..=r {
                    for (s, v) in sum.iter_mut().zip(row(y)) {
                        *s += f64::from(*v);
                    }
                }
                let mut part = Vec::with_capacity(n * h);
                for y in 0..h as isize {
                    part.extend(sum.iter().map(|s| (s * scale) as f32));
                    for ((s, enter), leave) in sum.iter_mut().zip(row(y + r + 1)).zip(row(y - r)) {
                        *s += f64::from(*enter) - f64::from(*leave);
                    }
                }
                (x0, part)
            })
        })
        .collect();
    let mut out = Plane::filled(w, h, 0.0_f32);
    for (x0, part) in bands {
        let n = (w - x0).min(BAND);
        for y in 0..h {
            out.row_mut(y)[x0..x0 + n].copy_from_slice(&part[y * n..(y + 1) * n]);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both ways of smoothing spread a point to the variance that was asked for and keep its sum.
    #[test]
    fn a_point_spreads_to_the_stated_variance() {
        for sigma in [0.7, 1.5, 2.9, 3.5, 6.0, 11.3] {
            let n = 161;
            let point = Plane::from_fn(n, n, |x, y| if x == 80 && y == 80 { 1.0 } else { 0.0 });
            let spread = smooth(&point, sigma);
            let (mut sum, mut xx, mut yy) = (0.0, 0.0, 0.0);
            for y in 0..n {
                for (x, v) in spread.row(y).iter().enumerate() {
                    let v = f64::from(*v);
                    sum += v;
                    xx += v * (x as f64 - 80.0) * (x as f64 - 80.0);
                    yy += v * (y as f64 - 80.0) * (y as f64 - 80.0);
                }
            }
            assert!((sum - 1.0).abs() < 1e-4, "sigma {sigma}: sum {sum}");
            for variance in [xx, yy] {
                let got = (variance / sum).sqrt();
                assert!((got / sigma - 1.0).abs() < 0.06, "sigma {sigma}: spread {got}");
            }
        }
    }

    #[test]
    fn a_slope_keeps_its_values_inside() {
        let slope = Plane::from_fn(80, 60, |x, y| x as f32 * 0.5 + y as f32);
        for sigma in [1.0, 4.0] {
            let after = smooth(&slope, sigma);
            assert!((after.row(30)[40] - slope.row(30)[40]).abs() < 1e-3);
        }
        let halved = reduce(&slope, 2);
        assert!((halved.row(3)[5] - (10.5 * 0.5 + 6.5)).abs() < 1e-5);
    }

    #[test]
    fn normalising_forgets_gain_and_level() {
        let one = Plane::filled(64, 64, 1.0_f32);
        let a = Plane::from_fn(64, 64, |x, y| ((x * 7 + y * 13) % 11) as f32 * 0.1);
        let b = a.map(|v| 0.25 * v + 0.4);
        let (na, nb) = (normalise(&a, &one, 5.0, 1e-4), normalise(&b, &one, 5.0, 1e-4));
        let worst = na.data().iter().zip(nb.data()).map(|(x, y)| (x - y).abs()).fold(0.0, f32::max);
        assert!(worst < 0.01, "{worst}");
    }
}
