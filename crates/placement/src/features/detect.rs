//! Extrema of the difference of Gaussians, to a fraction of a pixel.
//!
//! In: an octave. Out: [`Spot`]s. Never here: directions, descriptions. Source: [`lowe2004`], section 4.

use rayon::prelude::*;

use super::pyramid::{INTERVALS, Octave, sigma_of};

/// Largest ratio of the two principal curvatures. Source: [`lowe2004`], section 4.1.
const EDGE_RATIO: f32 = 10.0;
/// Moves to a neighbouring pixel before a spot is given up.
const MAX_MOVES: usize = 4;
/// Border in which no spot is looked for, pixels of the octave.
const BORDER: usize = 5;

/// An extremum in an octave's pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spot {
    pub(crate) x: f32,
    pub(crate) y: f32,
    pub(crate) sigma: f32,
    pub(crate) strength: f32,
    /// Gaussian picture closest to its size.
    pub(crate) level: usize,
}

pub(crate) fn spots(octave: &Octave, contrast: f32) -> Vec<Spot> {
    let (w, h) = (octave.width, octave.height);
    if w <= 2 * BORDER || h <= 2 * BORDER {
        return Vec::new();
    }
    let rough = 0.5 * contrast;
    (BORDER..h - BORDER)
        .into_par_iter()
        .map(|y| {
            let mut found = Vec::new();
            for level in 1..=INTERVALS {
                let row = |l: usize| &octave.blurred[l][y * w + BORDER..(y + 1) * w - BORDER];
                for (x, (a, b)) in row(level).iter().zip(row(level + 1)).enumerate() {
                    let (x, v) = (x + BORDER, b - a);
                    if v.abs() > rough && is_extremum(octave, level, x, y, v) {
                        found.extend(settle(octave, level, x, y, contrast));
                    }
                }
            }
            found
        })
        .collect::<Vec<_>>()
        .into_iter()
        .flatten()
        .collect()
}

/// Largest of its 26 neighbours when positive, smallest when negative; of equals, none.
fn is_extremum(octave: &Octave, level: usize, x: usize, y: usize, v: f32) -> bool {
    let w = octave.width;
    // Its own picture first: most places fail there.
    for l in [level, level - 1, level + 1] {
        for j in y - 1..=y + 1 {
            let at = j * w + x - 1..j * w + x + 2;
            let (below, above) = (&octave.blurred[l][at.clone()], &octave.blurred[l + 1][at]);
            for (i, (a, b)) in below.iter().zip(above).enumerate() {
                if l == level && j == y && i == 1 {
                    continue;
                }
                let n = b - a;
                if (v > 0.0 && n >= v) || (v < 0.0 && n <= v) {
                    return false;
                }
            }
        }
    }
    true
}

/// The extremum of the parabola through the neighbours; nothing on edges or below the contrast.
fn settle(octave: &Octave, mut level: usize, mut x: usize, mut y: usize, contrast: f32) -> Option<Spot> {
    let w = octave.width;
    for _ in 0..=MAX_MOVES {
        let d = |l: isize, j: isize, i: isize| {
            let at = (y as isize + j) as usize * w + (x as isize + i) as usize;
            octave.difference((level as isize + l) as usize, at)
        };
        let v = d(0, 0, 0);
        let g = [
            (d(0, 0, 1) - d(0, 0, -1)) / 2.0,
            (d(0, 1, 0) - d(0, -1, 0)) / 2.0,
            (d(1, 0, 0) - d(-1, 0, 0)) / 2.0,
        ];
        let xx = d(0, 0, 1) + d(0, 0, -1) - 2.0 * v;
        let yy = d(0, 1, 0) + d(0, -1, 0) - 2.0 * v;
        let ss = d(1, 0, 0) + d(-1, 0, 0) - 2.0 * v;
        let xy = (d(0, 1, 1) - d(0, 1, -1) - d(0, -1, 1) + d(0, -1, -1)) / 4.0;
        let xs = (d(1, 0, 1) - d(1, 0, -1) - d(-1, 0, 1) + d(-1, 0, -1)) / 4.0;
        let ys = (d(1, 1, 0) - d(1, -1, 0) - d(-1, 1, 0) + d(-1, -1, 0)) / 4.0;
        let o = solve([[xx, xy, xs], [xy, yy, ys], [xs, ys, ss]], [-g[0], -g[1], -g[2]])?;
        if o.iter().all(|v| v.abs() <= 0.5) {
            let strength = (v + 0.5 * (g[0] * o[0] + g[1] * o[1] + g[2] * o[2])).abs();
            let (trace, det) = (xx + yy, xx * yy - xy * xy);
            if strength < contrast
                || det <= 0.0
                || trace * trace * EDGE_RATIO >= (EDGE_RATIO + 1.0) * (EDGE_RATIO + 1.0) * det
            {
                return None;
            }
            let at = level as f32 + o[2];
            return Some(Spot {
                x: x as f32 + o[0],
                y: y as f32 + o[1],
                sigma: sigma_of(at),
                strength,
                level: (at + 0.5).floor().clamp(0.0, (INTERVALS + 2) as f32) as usize,
            });
        }
        let step = |at: usize, o: f32| (at as isize + o.clamp(-1.0, 1.0).round() as isize) as usize;
        (x, y, level) = (step(x, o[0]), step(y, o[1]), step(level, o[2]));
        if !(1..=INTERVALS).contains(&level)
            || x < BORDER
            || y < BORDER
            || x >= w - BORDER
            || y >= octave.height - BORDER
        {
            return None;
        }
    }
    None
}

/// Cramer's rule for three unknowns.
fn solve(a: [[f32; 3]; 3], b: [f32; 3]) -> Option<[f32; 3]> {
    let det = |m: [[f32; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let d = det(a);
    if d.abs() < 1e-20 {
        return None;
    }
    let mut out = [0.0; 3];
    for (k, v) in out.iter_mut().enumerate() {
        let mut m = a;
        for (row, b) in m.iter_mut().zip(b) {
            row[k] = b;
        }
        *v = det(m) / d;
    }
    Some(out)
}
