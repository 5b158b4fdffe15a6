//! Which way a feature points and what its surroundings look like.
//!
//! In: an octave and a [`Spot`]. Out: directions, and 128 numbers of 8 bits. Never here: matching.
//!
//! The surroundings are resampled to a fixed grid of 22 × 22, turned by the feature's direction, a
//! sample every ¾ σ; 20 × 20 gradients go into 4 × 4 places of 3 σ and 8 directions, shared between
//! neighbours. Sources: [`lowe2004`], sections 5 and 6; [`arandjelovic2012`].

use std::f32::consts::PI;

use casebook::elementary::{cos32, exp32, sin32};
use pulp::{Arch, Simd, WithSimd};

use super::detect::Spot;
use super::pyramid::Octave;
use super::{LENGTH, direction};

const BINS: usize = 36;
/// A second direction counts from this share of the first on. Source: [`lowe2004`], section 5.
const SECOND_PEAK: f32 = 0.8;
/// Most directions of one spot.
const MAX_DIRECTIONS: usize = 2;
/// Samples along the grid, and gradients along it.
const GRID: usize = 22;
const INNER: usize = GRID - 2;
/// Distance of samples in units of the spot's σ: 4 places of 3 σ hold 16 samples.
const STEP: f32 = 0.75;
/// Samples along one place.
const PER_PLACE: f32 = 4.0;
/// No single number may carry more of the whole. Source: [`lowe2004`], section 6.1.
const CEILING: f32 = 0.2;
/// Length of a description after rounding.
pub(crate) const NORM: f32 = 512.0;

/// Strongest gradient directions around a spot, radians, strongest first.
pub(crate) fn directions(octave: &Octave, spot: &Spot) -> Vec<f32> {
    let (w, h) = (octave.width as isize, octave.height as isize);
    let picture = &octave.blurred[spot.level];
    let radius = (4.5 * spot.sigma).round() as isize;
    let (cx, cy) = (spot.x.round() as isize, spot.y.round() as isize);
    let falloff = -1.0 / (2.0 * (1.5 * spot.sigma) * (1.5 * spot.sigma));
    let weight: Vec<f32> = (0..=radius).map(|i| exp32((i * i) as f32 * falloff)).collect();
    let mut bins = [0.0f32; BINS];
    for j in (cy - radius).max(1)..(cy + radius + 1).min(h - 1) {
        for i in (cx - radius).max(1)..(cx + radius + 1).min(w - 1) {
            let at = (j * w + i) as usize;
            let gx = picture[at + 1] - picture[at - 1];
            let gy = picture[at + w as usize] - picture[at - w as usize];
            let share = weight[(i - cx).unsigned_abs()] * weight[(j - cy).unsigned_abs()];
            let bin = (direction(gy, gx) + PI) * (BINS as f32 / (2.0 * PI));
            bins[(bin as usize).min(BINS - 1)] += share * (gx * gx + gy * gy).sqrt();
        }
    }
    for _ in 0..2 {
        let old = bins;
        for (k, b) in bins.iter_mut().enumerate() {
            *b = 0.25 * old[(k + BINS - 1) % BINS] + 0.5 * old[k] + 0.25 * old[(k + 1) % BINS];
        }
    }
    let top = bins.iter().copied().fold(0.0f32, f32::max);
    if top <= 0.0 {
        return Vec::new();
    }
    let mut peaks: Vec<(f32, f32)> = Vec::new();
    for k in 0..BINS {
        let (a, b, c) = (bins[(k + BINS - 1) % BINS], bins[k], bins[(k + 1) % BINS]);
        if b > a && b >= c && b >= SECOND_PEAK * top {
            let shift = 0.5 * (a - c) / (a - 2.0 * b + c);
            peaks.push((b, (k as f32 + 0.5 + shift) * (2.0 * PI / BINS as f32) - PI));
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks.truncate(MAX_DIRECTIONS);
    peaks.into_iter().map(|(_, angle)| angle).collect()
}

/// The description of a spot seen along one direction.
pub(crate) fn describe(octave: &Octave, spot: &Spot, angle: f32) -> [u8; LENGTH] {
    Arch::new().dispatch(Describe { octave, spot, angle })
}

/// One description, compiled for what the machine has.
struct Describe<'a> {
    octave: &'a Octave,
    spot: &'a Spot,
    angle: f32,
}

impl WithSimd for Describe<'_> {
    type Output = [u8; LENGTH];

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> [u8; LENGTH] {
        let patch = resample(self.octave, self.spot, self.angle);
        quantise(histogram(&patch))
    }
}

#[inline(always)]
fn resample(octave: &Octave, spot: &Spot, angle: f32) -> [[f32; GRID]; GRID] {
    let picture = &octave.blurred[spot.level];
    let (w, h) = (octave.width, octave.height);
    let (right, bottom) = ((w - 1) as f32 - 1e-3, (h - 1) as f32 - 1e-3);
    let step = STEP * spot.sigma;
    let (c, s) = (cos32(angle) * step, sin32(angle) * step);
    let middle = (GRID as f32 - 1.0) / 2.0;
    let mut patch = [[0.0f32; GRID]; GRID];
    for (j, row) in patch.iter_mut().enumerate() {
        let v = j as f32 - middle;
        for (i, out) in row.iter_mut().enumerate() {
            let u = i as f32 - middle;
            let x = (spot.x + c * u - s * v).clamp(0.0, right);
            let y = (spot.y + s * u + c * v).clamp(0.0, bottom);
            let (x0, y0) = (x as usize, y as usize);
            let (fx, fy) = (x - x0 as f32, y - y0 as f32);
            let at = y0 * w + x0;
            let (a, b, d, e) = (picture[at], picture[at + 1], picture[at + w], picture[at + w + 1]);
            let top = a + (b - a) * fx;
            *out = top + (d + (e - d) * fx - top) * fy;
        }
    }
    patch
}

#[inline(always)]
fn histogram(patch: &[[f32; GRID]; GRID]) -> [f32; LENGTH] {
    // Share of each grid column in places k and k + 1, and its distance from the middle.
    let place = |i: usize| {
        let p = (i as f32 - (INNER as f32 - 1.0) / 2.0) / PER_PLACE + 1.5;
        let low = p.floor();
        (low as isize, p - low)
    };
    let falloff = |i: usize| {
        let d = i as f32 - (INNER as f32 - 1.0) / 2.0;
        d * d / (2.0 * (2.0 * PER_PLACE) * (2.0 * PER_PLACE))
    };
    let mut out = [0.0f32; LENGTH];
    for j in 0..INNER {
        let mut size = [0.0f32; INNER];
        let mut turn = [0.0f32; INNER];
        for i in 0..INNER {
            let gx = patch[j + 1][i + 2] - patch[j + 1][i];
            let gy = patch[j + 2][i + 1] - patch[j][i + 1];
            size[i] = (gx * gx + gy * gy).sqrt();
            turn[i] = (direction(gy, gx) + PI) * (8.0 / (2.0 * PI));
        }
        let (pj, fj) = place(j);
        for i in 0..INNER {
            // 1 / (1 + d + d²/2) follows the Gaussian e^−d within 4 % and needs no exponential.
            let d = falloff(i) + falloff(j);
            let m = size[i] / (1.0 + d + 0.5 * d * d);
            let (pi, fi) = place(i);
            let t = turn[i].min(7.999_9);
            let (k, ft) = (t as usize, t - t.floor());
            for (row, wj) in [(pj, 1.0 - fj), (pj + 1, fj)] {
                if !(0..4).contains(&row) {
                    continue;
                }
                for (column, wi) in [(pi, 1.0 - fi), (pi + 1, fi)] {
                    if !(0..4).contains(&column) {
                        continue;
                    }
                    let at = (row as usize * 4 + column as usize) * 8;
                    let v = m * wj * wi;
                    out[at + k] += v * (1.0 - ft);
                    out[at + (k + 1) % 8] += v * ft;
                }
            }
        }
    }
    out
}

/// Length 1, no peak above the ceiling, square root of the share of the sum, 8 bits.
#[inline(always)]
fn quantise(mut d: [f32; LENGTH]) -> [u8; LENGTH] {
    let length = d.iter().map(|v| v * v).sum::<f32>().sqrt();
    if length <= 0.0 {
        return [0; LENGTH];
    }
    for v in &mut d {
        *v = (*v / length).min(CEILING);
    }
    let sum = d.iter().sum::<f32>();
    d.map(|v| (NORM * (v / sum).sqrt() + 0.5).min(255.0) as u8)
}
