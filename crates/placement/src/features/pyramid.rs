//! The scale space: octaves of Gaussian pictures, whose differences are looked at.
//!
//! In: a grey plane. Out: [`Octave`]s. Never here: features. Edges repeat the outermost pixels.
//! Source: [`lowe2004`], section 3.

use casebook::elementary::{exp32, pow32};
use photo::Plane;
use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

/// Intervals per octave. Source: [`lowe2004`], figure 3.
pub(crate) const INTERVALS: usize = 3;
/// Blur of an octave's first picture, pixels. Source: [`lowe2004`], section 3.3.
pub(crate) const FIRST_SIGMA: f32 = 1.6;
/// Blur that a plane is taken to have already: the pixel's own extent.
const OWN_SIGMA: f32 = 0.5;
/// Pictures in an octave.
pub(crate) const LEVELS: usize = INTERVALS + 3;

/// One octave.
pub(crate) struct Octave {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Pixels of the input per pixel of the octave; place x of the octave is x · scale of the input.
    pub(crate) scale: f32,
    /// Gaussian pictures, [`LEVELS`] of them. Their differences are taken where they are looked at: kept
    /// ones would be the larger half of the memory of an octave, and cost more to fetch than to make.
    pub(crate) blurred: Vec<Vec<f32>>,
}

impl Octave {
    /// The difference of Gaussians `level` (0 to [`LEVELS`] − 2) at an index.
    #[inline(always)]
    pub(crate) fn difference(&self, level: usize, at: usize) -> f32 {
        self.blurred[level + 1][at] - self.blurred[level][at]
    }
}

/// Blur of level `k` (fractional allowed) in pixels of its octave.
pub(crate) fn sigma_of(level: f32) -> f32 {
    FIRST_SIGMA * pow32(2.0, level / INTERVALS as f32)
}

pub(crate) fn build(plane: &Plane<f32>, enlarge: bool) -> Vec<Octave> {
    let (mut width, mut height, mut scale) = (plane.width(), plane.height(), 1.0);
    let mut own = OWN_SIGMA;
    let mut base = plane.data().to_vec();
    if enlarge {
        base = doubled(&base, width, height);
        (width, height, scale, own) = (2 * width, 2 * height, 0.5, 2.0 * own);
    }
    let mut first = blur(&base, width, height, (FIRST_SIGMA * FIRST_SIGMA - own * own).sqrt());
    let mut octaves = Vec::new();
    while width.min(height) >= 16 && octaves.len() < 8 {
        let mut blurred = vec![first];
        for k in 1..LEVELS {
            let (a, b) = (sigma_of(k as f32 - 1.0), sigma_of(k as f32));
            let next = blur(&blurred[k - 1], width, height, (b * b - a * a).sqrt());
            blurred.push(next);
        }
        first = halved(&blurred[INTERVALS], width, height);
        octaves.push(Octave { width, height, scale, blurred });
        (width, height, scale) = (width.div_ceil(2), height.div_ceil(2), scale * 2.0);
    }
    octaves
}

/// Every second pixel of every second row.
fn halved(data: &[f32], width: usize, height: usize) -> Vec<f32> {
    (0..height).step_by(2).flat_map(|y| data[y * width..(y + 1) * width].iter().step_by(2).copied()).collect()
}

/// Twice as large, linear; place x of the result is x / 2 of the input.
fn doubled(data: &[f32], width: usize, height: usize) -> Vec<f32> {
    let at = |x: usize, y: usize| data[y.min(height - 1) * width + x.min(width - 1)];
    let mut out = Vec::with_capacity(4 * data.len());
    for y in 0..2 * height {
        for x in 0..2 * width {
            let (i, j, a, b) = (x / 2, y / 2, x % 2, y % 2);
            out.push((at(i, j) + at(i + a, j) + at(i, j + b) + at(i + a, j + b)) / 4.0);
        }
    }
    out
}

/// Half of a Gaussian kernel: centre first, sum of the whole kernel 1.
fn kernel(sigma: f32) -> Vec<f32> {
    let radius = (3.5 * sigma).ceil().max(1.0) as usize;
    let mut k: Vec<f32> = (0..=radius).map(|i| exp32(-((i * i) as f32) / (2.0 * sigma * sigma))).collect();
    let sum = k[0] + 2.0 * k[1..].iter().sum::<f32>();
    k.iter_mut().for_each(|v| *v /= sum);
    k
}

/// Gaussian blur, rows in parallel.
pub(crate) fn blur(data: &[f32], width: usize, height: usize, sigma: f32) -> Vec<f32> {
    const BAND: usize = 16;
    let k = kernel(sigma);
    let radius = k.len() - 1;
    let mut out = vec![0.0f32; data.len()];
    let arch = Arch::new();
    out.par_chunks_mut(width * BAND).enumerate().for_each_init(
        || vec![0.0f32; width + 2 * radius],
        |padded, (band, rows)| {
            arch.dispatch(Band { data, width, height, first: band * BAND, kernel: &k, padded, rows });
        },
    );
    out
}

/// Rows to blur, compiled for what the machine has.
struct Band<'a> {
    data: &'a [f32],
    width: usize,
    height: usize,
    first: usize,
    kernel: &'a [f32],
    padded: &'a mut [f32],
    rows: &'a mut [f32],
}

impl WithSimd for Band<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        for (j, row) in self.rows.chunks_exact_mut(self.width).enumerate() {
            blur_row(self.data, self.width, self.height, self.first + j, self.kernel, self.padded, row);
        }
    }
}

#[inline(always)]
fn blur_row(
    data: &[f32],
    width: usize,
    height: usize,
    y: usize,
    k: &[f32],
    padded: &mut [f32],
    row: &mut [f32],
) {
    let radius = k.len() - 1;
    let line = |y: usize| &data[y * width..(y + 1) * width];
    let middle = &mut padded[radius..radius + width];
    for (m, v) in middle.iter_mut().zip(line(y)) {
        *m = k[0] * v;
    }
    for (i, w) in k.iter().enumerate().skip(1) {
        let (a, b) = (line(y.saturating_sub(i)), line((y + i).min(height - 1)));
        for ((m, a), b) in middle.iter_mut().zip(a).zip(b) {
            *m += w * (a + b);
        }
    }
    let (first, last) = (padded[radius], padded[radius + width - 1]);
    padded[..radius].fill(first);
    padded[radius + width..].fill(last);
    for (r, v) in row.iter_mut().zip(&padded[radius..radius + width]) {
        *r = k[0] * v;
    }
    for (i, w) in k.iter().enumerate().skip(1) {
        let (a, b) = (&padded[radius - i..radius - i + width], &padded[radius + i..radius + i + width]);
        for ((r, a), b) in row.iter_mut().zip(a).zip(b) {
            *r += w * (a + b);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blur_of_a_point_has_the_variance_asked_for() {
        let n = 61;
        let mut data = vec![0.0f32; n * n];
        data[30 * n + 30] = 1.0;
        for sigma in [0.8f32, 1.6, 2.5] {
            let out = blur(&data, n, n, sigma);
            let sum: f32 = out.iter().sum();
            let var: f32 =
                (0..n * n).map(|i| out[i] * ((i % n) as f32 - 30.0) * ((i % n) as f32 - 30.0)).sum();
            assert!((sum - 1.0).abs() < 1e-4);
            // The kernel ends at 3.5 σ, which takes 0.6 % from the variance.
            assert!((var / (sigma * sigma) - 1.0).abs() < 0.02, "{sigma}: {var}");
        }
    }
}
