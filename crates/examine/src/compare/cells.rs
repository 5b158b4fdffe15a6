//! Small flat cells of a face, each with its colour in the photo and in the reference.
//!
//! In: aligned planes of linear light on one grid. Out: [`Cell`]s. Averages over a square millimetre
//! hardly feel blur, noise or a tenth of a millimetre of misalignment; what they do feel is stated.
//! Never here: a model of the camera, a judgement.

use photo::Plane;
use photo::colour::{Lab, lab_from_linear};

use super::grid::Grid;

/// Side of a cell, mm.
pub const CELL_MM: f64 = 1.25;
/// Least usable share of a cell.
const USABLE: f32 = 0.85;
/// How far print may lie off its place after alignment, in cell sides: the share of a cell's own
/// contrast that shows up as a wrong mean.
const MISPLACED: f64 = 0.12;

/// One square of the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Its centre, mm.
    pub at_mm: [f64; 2],
    /// Mean linear light in the photo.
    pub photo: [f64; 3],
    /// Mean linear light in the reference.
    pub reference: [f64; 3],
    /// The reference's colour.
    pub lab: Lab,
    /// Standard deviation of the mean that misalignment alone could cause, in units of L*.
    pub unsure: f64,
    /// Contrast of the reference within the cell and just around it, in units of L*.
    pub contrast: f64,
}

/// Cuts the face into cells; those that are partly unusable are left out.
///
/// # Input
/// `usable`: 1 where the photo shows print at its diffuse colour (no clipping, no highlight, no cover).
#[must_use]
pub fn cells(
    grid: &Grid,
    reference: &[Plane<f32>; 3],
    photo: &[Plane<f32>; 3],
    usable: &Plane<f32>,
) -> Vec<Cell> {
    let n = ((CELL_MM * grid.px_per_mm).round() as usize).max(2);
    let (columns, rows) = (grid.width / n, grid.height / n);
    let mut out = Vec::new();
    for j in 0..rows {
        for i in 0..columns {
            let (x0, y0) = (i * n, j * n);
            if let Some(cell) = one(grid, reference, photo, usable, (x0, y0), n) {
                out.push(cell);
            }
        }
    }
    out
}

fn one(
    grid: &Grid,
    reference: &[Plane<f32>; 3],
    photo: &[Plane<f32>; 3],
    usable: &Plane<f32>,
    (x0, y0): (usize, usize),
    n: usize,
) -> Option<Cell> {
    let mut sums = [[0.0_f64; 3]; 2];
    let mut weight = 0.0_f32;
    for y in y0..y0 + n {
        let u = &usable.row(y)[x0..x0 + n];
        weight += u.iter().sum::<f32>();
        for c in 0..3 {
            let (r, p) = (&reference[c].row(y)[x0..x0 + n], &photo[c].row(y)[x0..x0 + n]);
            for k in 0..n {
                sums[0][c] += f64::from(u[k] * p[k]);
                sums[1][c] += f64::from(u[k] * r[k]);
            }
        }
    }
    if weight < USABLE * (n * n) as f32 {
        return None;
    }
    let mean = |s: [f64; 3]| s.map(|v| v / f64::from(weight));
    let (photo_mean, reference_mean) = (mean(sums[0]), mean(sums[1]));
    // Contrast over the cell and a rim of a fifth, in L*, from the extremes of 3 × 3 part means.
    let rim = n / 5;
    let (ax, ay) = (x0.saturating_sub(rim), y0.saturating_sub(rim));
    let (bx, by) = ((x0 + n + rim).min(grid.width), (y0 + n + rim).min(grid.height));
    let (mut sum, mut square, mut count) = ([0.0_f64; 3], [0.0_f64; 3], 0.0_f64);
    let part = |a: usize, b: usize, k: usize| a + (b - a) * k / 3;
    for q in 0..3 {
        for p in 0..3 {
            let (px0, px1) = (part(ax, bx, p), part(ax, bx, p + 1));
            let (py0, py1) = (part(ay, by, q), part(ay, by, q + 1));
            let mut light = [0.0_f64; 3];
            let mut m = 0.0;
            for y in py0..py1 {
                for c in 0..3 {
                    light[c] += f64::from(reference[c].row(y)[px0..px1].iter().sum::<f32>());
                }
                m += (px1 - px0) as f64;
            }
            if m > 0.0 {
                let lab = lab_from_linear(light.map(|v| v / m));
                for (k, v) in [lab.l, lab.a, lab.b].into_iter().enumerate() {
                    sum[k] += v;
                    square[k] += v * v;
                }
                count += 1.0;
            }
        }
    }
    let variance: f64 =
        (0..3).map(|k| (square[k] / count - (sum[k] / count) * (sum[k] / count)).max(0.0)).sum();
    let contrast = variance.sqrt();
    let (cx, cy) = grid.mm(x0 as f64 + (n as f64 - 1.0) / 2.0, y0 as f64 + (n as f64 - 1.0) / 2.0);
    Some(Cell {
        at_mm: [cx, cy],
        photo: photo_mean,
        reference: reference_mean,
        lab: lab_from_linear(reference_mean),
        unsure: MISPLACED * contrast,
        contrast,
    })
}
