//! Local features that survive scale, rotation and moderate tilt.
//!
//! In: a grey plane, 0 to 1. Out: [`Features`]: extrema of the difference of Gaussians with their
//! size and direction, and a 128-number description of each in 8 bits. Never here: what they belong
//! to. The same plane gives the same bits on every machine: no fused operations, no library
//! functions of the platform, results in the order of the rows.
//!
//! Read `pyramid`, `detect`, `describe`. The patch that is described is resampled to a fixed grid,
//! unlike in the paper, so that its cost does not grow with the feature.
//! Sources: [`lowe2004`], [`arandjelovic2012`] (square-root descriptors).

mod describe;
mod detect;
mod pyramid;

use photo::Plane;
use rayon::prelude::*;

/// Numbers in one description: 4 × 4 places × 8 directions.
pub(crate) const LENGTH: usize = 128;

/// One feature; lengths in pixels of the plane it was found in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Feature {
    /// Centre.
    pub(crate) x: f32,
    pub(crate) y: f32,
    /// Standard deviation of the Gaussian at which it stands out.
    pub(crate) sigma: f32,
    /// Direction of its strongest gradient, radians from x towards y.
    pub(crate) angle: f32,
    /// Height of the extremum.
    pub(crate) strength: f32,
}

/// Features of one plane, strongest first, with their descriptions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Features {
    pub(crate) points: Vec<Feature>,
    pub(crate) descriptions: Vec<[u8; LENGTH]>,
}

/// What to look for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted {
    /// Most features kept, strongest first.
    pub(crate) most: usize,
    /// Least height of an extremum, share of white. Lowe's 0.03 is too high for print under glare;
    /// noise of σ = 0.01 in the plane stays below a third of this after the first Gaussian.
    pub(crate) contrast: f32,
    /// Enlarge the plane twice first: finds the finest features, at four times the cost.
    pub(crate) enlarge: bool,
}

/// Finds and describes.
pub(crate) fn find(plane: &Plane<f32>, wanted: Wanted) -> Features {
    if plane.width() < 16 || plane.height() < 16 {
        return Features::default();
    }
    let octaves = pyramid::build(plane, wanted.enlarge);
    let mut spots: Vec<(usize, detect::Spot)> = Vec::new();
    for (o, octave) in octaves.iter().enumerate() {
        spots.extend(detect::spots(octave, wanted.contrast).into_iter().map(|s| (o, s)));
    }
    // Strongest first; ties by place, so that the order is one.
    spots.sort_by(|(oa, a), (ob, b)| {
        b.strength.total_cmp(&a.strength).then(oa.cmp(ob)).then(a.y.total_cmp(&b.y)).then(a.x.total_cmp(&b.x))
    });
    spots.truncate(wanted.most);
    let found: Vec<Vec<(Feature, [u8; LENGTH])>> = spots
        .par_iter()
        .map(|(o, spot)| {
            let octave = &octaves[*o];
            describe::directions(octave, spot)
                .into_iter()
                .map(|angle| {
                    let feature = Feature {
                        x: spot.x * octave.scale,
                        y: spot.y * octave.scale,
                        sigma: spot.sigma * octave.scale,
                        angle,
                        strength: spot.strength,
                    };
                    (feature, describe::describe(octave, spot, angle))
                })
                .collect()
        })
        .collect();
    let (points, descriptions) = found.into_iter().flatten().unzip();
    Features { points, descriptions }
}

/// Angle of (x, y) from x towards y in −π..π, to about 1e-4 rad: a polynomial, so the same
/// everywhere and quick in bulk. Minimax fit on 0..1, [`abramowitz-stegun`] 4.4.49.
#[inline(always)]
pub(crate) fn direction(y: f32, x: f32) -> f32 {
    use std::f32::consts::{FRAC_PI_2, PI};
    let (ax, ay) = (x.abs(), y.abs());
    let (low, high) = if ax > ay { (ay, ax) } else { (ax, ay) };
    let t = low / (high + 1e-30);
    let s = t * t;
    let mut a = ((((0.020_835_1 * s - 0.085_133) * s + 0.180_141) * s - 0.330_299_5) * s + 0.999_866) * t;
    if ay > ax {
        a = FRAC_PI_2 - a;
    }
    if x < 0.0 {
        a = PI - a;
    }
    if y < 0.0 { -a } else { a }
}
