//! What lies over a face's print: the light that the reference does not explain, with its chance.
//!
//! In: one photo's [`Comparison`]. Out: [`Residual`]. Never here: a lattice, a finding.
//!
//! Three things stand between a photo and its reference besides a film's mark: print that lies a little
//! beside its place, another sharpness, and grain. The first two are fitted, block by block, with the
//! reference's own slopes and curvature, and taken out; the third is measured where the print is as steep,
//! so that the rims of letters, where most of what is left lies, count no more than they tell.

use casebook::elementary::hypot;
use nalgebra::{Matrix4, Vector4};
use photo::Plane;
use rayon::prelude::*;

use crate::compare::Comparison;
use crate::compare::filter::{gradient, smooth, smooth_weighted, zip};
use crate::compare::grid::Grid;

/// Light that changes slower than this is camera and lamp, standard deviation, mm.
const SLOW_MM: f64 = 2.5;
/// Side of the blocks in which misplacement and sharpness are fitted, mm: larger than an emblem.
const BLOCK_MM: f64 = 12.0;
/// Window in which grain is measured, standard deviation, mm.
const GRAIN_MM: f64 = 4.0;
/// Places this near to glare, the frame or the rim are left out, mm.
const RIM_MM: f64 = 0.5;
/// Steepness classes of the print in which grain is measured.
const CLASSES: usize = 12;
/// Residuals beyond this many standard deviations count as this many.
const CLIP: f32 = 4.0;
/// A veil of white shows by how far print is from white; this is the L* below white that counts as one.
const HALF_WAY: f32 = 50.0;
/// Least and most that print's darkness counts.
const GAIN: (f32, f32) = (0.05, 2.0);
/// Fewest usable pixels of a block, or of a class.
const FEW: usize = 40;
/// Resolution above which half of it is enough, pixels a millimetre: a drawn line is half a millimetre wide.
const FINE: f64 = 4.5;
/// Standard deviation that is added to the grain, L*: what the camera's smoothing hides, or a blurred photo
/// without a trace of a thin line would count as the quietest and outweigh the sharp ones.
const HIDDEN: f32 = 0.5;
/// Least standard deviation of grain, L*.
const LEAST_GRAIN: f32 = 1e-3;

/// What lies over the print of one photo, weighted by what it can tell.
#[derive(Debug, Clone)]
pub struct Residual {
    /// Left-over lightness × gain ÷ variance: sums of it, over sums of `weight`, are the veil's strength.
    pub value: Plane<f32>,
    /// Gain² ÷ variance; 0 where nothing can be told.
    pub weight: Plane<f32>,
    /// Left-over lightness itself, L*, for pictures.
    pub lightness: Plane<f32>,
    /// Pixels a millimetre: the comparison's, or half of it where that is fine enough.
    pub px_per_mm: f64,
}

impl Residual {
    /// What a photo shows beyond its reference.
    #[must_use]
    pub fn of(grid: &Grid, comparison: &Comparison) -> Self {
        Self::from_lightness(
            grid.px_per_mm,
            &comparison.corrected_lab[0],
            &comparison.reference_lab[0],
            &comparison.usable,
        )
    }

    /// The same from planes of lightness (L*, one shape); `usable` is 1 where both may be compared.
    #[must_use]
    pub fn from_lightness(
        px_per_mm: f64,
        photo: &Plane<f32>,
        reference: &Plane<f32>,
        usable: &Plane<f32>,
    ) -> Self {
        if px_per_mm > FINE {
            let half = |p: &Plane<f32>| crate::compare::filter::reduce(p, 2);
            let whole = half(usable).map(|u| if *u > 0.99 { 1.0 } else { 0.0 });
            return Self::from_lightness(px_per_mm / 2.0, &half(photo), &half(reference), &whole);
        }
        let s = px_per_mm;
        let usable = smooth(usable, RIM_MM * s).map(|u| if *u > 0.97 { 1.0 } else { 0.0 });
        let fast = |plane: &Plane<f32>| {
            let (slow, _) = smooth_weighted(plane, &usable, SLOW_MM * s);
            zip(&zip(plane, &slow, |v, m| v - m), &usable, |v, u| v * u)
        };
        let (mut left, pattern) =
            rayon::join(|| fast(&zip(photo, reference, |a, b| a - b)), || fast(reference));
        let (gx, gy) = gradient(reference);
        let (gxx, _) = gradient(&gx);
        let (_, gyy) = gradient(&gy);
        let bend = zip(&gxx, &gyy, |a, b| a + b);
        explain(&mut left, [&gx, &gy, &bend, &pattern], &usable, (BLOCK_MM * s).round().max(8.0) as usize);
        let left = fast(&left);
        let steep = zip(&gx, &gy, |a, b| (a * a + b * b).sqrt());
        let steep = smooth(&steep, 0.25 * s);
        let grain = grain(&left, &steep, &usable, GRAIN_MM * s);
        let (w, h) = (left.width(), left.height());
        let mut value = Plane::filled(w, h, 0.0_f32);
        let mut weight = Plane::filled(w, h, 0.0_f32);
        let all = left.data().iter().zip(grain.data()).zip(reference.data()).zip(usable.data());
        for ((((left, grain), l), u), (v, p)) in
            all.zip(value.data_mut().iter_mut().zip(weight.data_mut().iter_mut()))
        {
            if *u > 0.5 && left.is_finite() {
                let gain = ((100.0 - l) / HALF_WAY).clamp(GAIN.0, GAIN.1);
                *v = gain * (left / grain).clamp(-CLIP, CLIP) / grain;
                *p = gain * gain / (grain * grain);
            }
        }
        Self { value, weight, lightness: left, px_per_mm }
    }
}

/// Takes out of `left`, block by block, what the four patterns explain: least squares in two rounds, the
/// second with what stands out weighing less.
fn explain(left: &mut Plane<f32>, patterns: [&Plane<f32>; 4], usable: &Plane<f32>, side: usize) {
    let w = left.width();
    if w == 0 {
        return;
    }
    left.data_mut().par_chunks_mut(w * side).enumerate().for_each(|(band, rows)| {
        let y0 = band * side;
        let h = rows.len() / w;
        for x0 in (0..w).step_by(side) {
            let x1 = (x0 + side).min(w);
            let mut places = Vec::new();
            for y in 0..h {
                let row = usable.row(y0 + y);
                places.extend((x0..x1).filter(|x| row[*x] > 0.5).map(|x| (x, y)));
            }
            if places.len() < FEW {
                continue;
            }
            let at = |(x, y): (usize, usize)| patterns.map(|p| f64::from(p.row(y0 + y)[x]));
            let mut fit = Vector4::zeros();
            for round in 0..2 {
                let explained = |place: (usize, usize), fit: &Vector4<f64>| Vector4::from(at(place)).dot(fit);
                let apart: Vec<f64> =
                    places.iter().map(|p| f64::from(rows[p.1 * w + p.0]) - explained(*p, &fit)).collect();
                let spread = 1.4826 * median(apart.iter().map(|v| v.abs()).collect()) + 1e-6;
                let mut normal = Matrix4::identity() * 0.1;
                let mut right = Vector4::zeros();
                for (place, apart) in places.iter().zip(&apart) {
                    let r = apart / (2.0 * spread);
                    let weight = if round == 0 { 1.0 } else { 1.0 / (1.0 + r * r) };
                    let x = Vector4::from(at(*place));
                    normal += x * x.transpose() * weight;
                    right += x * (weight * f64::from(rows[place.1 * w + place.0]));
                }
                match normal.cholesky() {
                    Some(c) => fit = c.solve(&right),
                    None => break,
                }
            }
            for (x, y) in places {
                rows[y * w + x] -= Vector4::from(at((x, y))).dot(&fit) as f32;
            }
        }
    });
}

/// Standard deviation of what is left, place by place: by the print's steepness, then by the neighbourhood.
fn grain(left: &Plane<f32>, steep: &Plane<f32>, usable: &Plane<f32>, window_px: f64) -> Plane<f32> {
    let mut known: Vec<(f32, f32)> = left
        .data()
        .iter()
        .zip(steep.data())
        .zip(usable.data())
        .filter(|((left, _), u)| **u > 0.5 && left.is_finite())
        .map(|((left, steep), _)| (*steep, left.abs()))
        .collect();
    known.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let size = known.len().div_ceil(CLASSES).max(FEW);
    let classes: Vec<(f32, f32)> = known
        .chunks_mut(size)
        .map(|class| {
            let steep = class[class.len() / 2].0;
            let middle = class.len() / 2;
            let (_, (_, deviation), _) = class.select_nth_unstable_by(middle, |a, b| a.1.total_cmp(&b.1));
            (steep, 1.4826 * *deviation + LEAST_GRAIN)
        })
        .collect();
    let by_steepness = steep.map(|v| between(&classes, *v));
    let square = zip(left, &by_steepness, |l, g| {
        let r = (l / g).clamp(-3.0, 3.0);
        r * r
    });
    let (near, _) = smooth_weighted(&square, usable, window_px);
    zip(&by_steepness, &near, |g, n| {
        let grain = g * n.max(0.0).sqrt().max(0.3);
        (grain * grain + HIDDEN * HIDDEN).sqrt()
    })
}

/// Linear between the classes, constant beyond them.
fn between(classes: &[(f32, f32)], at: f32) -> f32 {
    let after = classes.partition_point(|c| c.0 <= at);
    match (after.checked_sub(1).and_then(|i| classes.get(i)), classes.get(after)) {
        (Some((x0, y0)), Some((x1, y1))) if x1 > x0 => y0 + (y1 - y0) * (at - x0) / (x1 - x0),
        (Some((_, y)), _) | (None, Some((_, y))) => *y,
        (None, None) => 1.0,
    }
}

/// Middle value; 0 of none.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Length of a vector.
pub(super) fn length(v: [f64; 2]) -> f64 {
    hypot(v[0], v[1])
}
