//! How much more alike than by chance a film is to itself, shift by shift, from several photos at once.
//!
//! In: the [`Residual`]s of photos of one box. Out: [`ShiftMap`]. Never here: which shifts belong together.
//!
//! The phase of a repeated mark drops out of an autocorrelation, so photos and faces add up without being
//! laid over each other: the film runs round the box, and a lattice is its own mirror through a point. Every
//! photo's map is put in units of its own spread over all shifts: that spread holds what grain and leftover
//! print do by chance in this very photo.

use rayon::prelude::*;

use super::correlation::Autocorrelation;
use super::residual::{Residual, median};

/// Step of the map, mm: a third of a drawn line.
pub const STEP_MM: f64 = 0.25;
/// Shifts shorter than this lie within one emblem and one letter, mm.
pub const LEAST_SHIFT_MM: f64 = 5.0;
/// Least share of the weight that must overlap at a shift.
const LEAST_OVERLAP: f64 = 0.06;
/// Fewest shifts that make a spread.
const FEW: usize = 200;
/// Half length of the stretch along either axis that a ridge is judged by, and of the gap round the place, mm.
const RIDGE_MM: (f64, f64) = (5.0, 1.25);

/// Likeness of a film to itself over shifts (x, y), |x| ≤ reach and 0 ≤ y ≤ reach.
#[derive(Debug, Clone)]
pub struct ShiftMap {
    /// Largest shift, steps of [`STEP_MM`].
    reach: usize,
    /// Excess over chance, in chance's own standard deviations; rows by y, the middle column is x = 0.
    excess: Vec<f64>,
    /// Excess that a mark of unit veil power would show; 0 where nothing is known.
    strength: Vec<f64>,
}

impl ShiftMap {
    /// The map of all photos together, for shifts up to `reach_mm`; nothing when no photo tells anything.
    #[must_use]
    pub fn pooled(residuals: &[&Residual], reach_mm: f64) -> Option<Self> {
        let reach = (reach_mm / STEP_MM).floor().max(1.0) as usize;
        let single: Vec<Option<Sums>> =
            residuals.par_iter().map(|residual| Sums::of(residual, reach)).collect();
        let size = (2 * reach + 1) * (reach + 1);
        let (mut sum, mut variance, mut strength) = (vec![0.0; size], vec![0.0; size], vec![0.0; size]);
        for sums in single.iter().flatten() {
            for at in 0..size {
                // Each photo's veil power weighs by its inverse variance.
                let weight = if sums.variance[at] > 0.0 { sums.overlap[at] / sums.variance[at] } else { 0.0 };
                sum[at] += weight * sums.product[at];
                variance[at] += weight * weight * sums.variance[at];
                strength[at] += weight * sums.overlap[at];
            }
        }
        for at in 0..size {
            let deviation = variance[at].sqrt();
            if deviation > 0.0 {
                sum[at] /= deviation;
                strength[at] /= deviation;
            }
        }
        let mut map = Self { reach, excess: sum, strength };
        map.level_ridges();
        let (middle, spread) = map.chance()?;
        for at in 0..size {
            if map.strength[at] > 0.0 {
                map.excess[at] = (map.excess[at] - middle) / spread;
                map.strength[at] /= spread;
            }
        }
        Some(map)
    }

    /// Largest shift along an axis, mm.
    #[must_use]
    pub fn reach_mm(&self) -> f64 {
        self.reach as f64 * STEP_MM
    }

    /// (excess, strength) at a shift, bilinear; zeros beyond the reach.
    #[must_use]
    pub fn at(&self, [x, y]: [f64; 2]) -> (f64, f64) {
        let (x, y) = if y < 0.0 { (-x, -y) } else { (x, y) };
        let (column, row) = (x / STEP_MM + self.reach as f64, y / STEP_MM);
        if column < 0.0 || column >= (2 * self.reach) as f64 || row >= self.reach as f64 {
            return (0.0, 0.0);
        }
        let (c, r) = (column as usize, row as usize);
        let (tx, ty) = (column - c as f64, row - r as f64);
        let width = 2 * self.reach + 1;
        let mix = |map: &[f64]| {
            let corner = |dc: usize, dr: usize| map[(r + dr) * width + c + dc];
            let (top, bottom) = (
                corner(0, 0) + (corner(1, 0) - corner(0, 0)) * tx,
                corner(0, 1) + (corner(1, 1) - corner(0, 1)) * tx,
            );
            top + (bottom - top) * ty
        };
        (mix(&self.excess), mix(&self.strength))
    }

    /// The highest shifts between two lengths, highest first: (shift mm, excess).
    #[must_use]
    pub fn peaks(&self, from_mm: f64, to_mm: f64, most: usize) -> Vec<([f64; 2], f64)> {
        let width = 2 * self.reach + 1;
        let mut found = Vec::new();
        for row in 0..self.reach {
            for column in 1..width - 1 {
                let value = self.excess[row * width + column];
                if value < LEAST_PEAK || self.strength[row * width + column] <= 0.0 {
                    continue;
                }
                let shift = self.shift(column, row);
                let far = super::residual::length(shift);
                // On the axis a shift and its opposite are both there.
                if far < from_mm || far > to_mm || row == 0 && shift[0] < 0.0 {
                    continue;
                }
                let highest = (row.saturating_sub(1)..=row + 1)
                    .all(|r| (column - 1..=column + 1).all(|c| self.excess[r * width + c] <= value));
                if highest {
                    found.push((shift, value));
                }
            }
        }
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found.truncate(most);
        found
    }

    fn shift(&self, column: usize, row: usize) -> [f64; 2] {
        [(column as f64 - self.reach as f64) * STEP_MM, row as f64 * STEP_MM]
    }

    /// Takes out what goes on along a row or a column of the map. Print runs along the face's sides: what is
    /// left of a line of text or a frame is like itself under every shift along it, a mark only under its
    /// own.
    fn level_ridges(&mut self) {
        let (width, rows) = (2 * self.reach + 1, self.reach + 1);
        let (far, near) = ((RIDGE_MM.0 / STEP_MM) as isize, (RIDGE_MM.1 / STEP_MM) as isize);
        let raw = self.excess.clone();
        let level = |column: usize, row: usize, dc: isize, dr: isize| -> Option<f64> {
            let mut around: Vec<f64> = Vec::with_capacity(2 * far as usize);
            for k in (-far..=far).filter(|k| k.abs() > near) {
                let (mut c, mut r) = (column as isize + k * dc, row as isize + k * dr);
                if r < 0 {
                    // Below the axis lies the opposite shift.
                    (c, r) = (2 * self.reach as isize - c, -r);
                }
                if c >= 0 && r >= 0 && (c as usize) < width && (r as usize) < rows {
                    let at = r as usize * width + c as usize;
                    if self.strength[at] > 0.0 {
                        around.push(raw[at]);
                    }
                }
            }
            (around.len() >= far as usize).then(|| median(around))
        };
        let levelled: Vec<f64> = (0..raw.len())
            .into_par_iter()
            .map(|at| {
                if self.strength[at] <= 0.0 {
                    return raw[at];
                }
                let (column, row) = (at % width, at / width);
                let along = level(column, row, 1, 0).unwrap_or(0.0);
                let down = level(column, row, 0, 1).unwrap_or(0.0);
                // The stronger ridge only: two weak ones are grain, and taking both would add theirs.
                raw[at] - if along.abs() > down.abs() { along } else { down }
            })
            .collect();
        self.excess = levelled;
    }

    /// Middle and robust spread of the excess over all shifts beyond one emblem.
    fn chance(&self) -> Option<(f64, f64)> {
        let width = 2 * self.reach + 1;
        let known: Vec<f64> = (0..self.excess.len())
            .filter(|at| {
                self.strength[*at] > 0.0
                    && super::residual::length(self.shift(at % width, at / width)) > LEAST_SHIFT_MM
            })
            .map(|at| self.excess[at])
            .collect();
        spread(known)
    }
}

/// Least excess of a peak that is worth trying as a lattice's.
const LEAST_PEAK: f64 = 2.0;

/// Middle and robust spread; nothing of too few or of values that do not spread.
fn spread(values: Vec<f64>) -> Option<(f64, f64)> {
    if values.len() < FEW {
        return None;
    }
    let middle = median(values.clone());
    let spread = 1.4826 * median(values.iter().map(|v| (v - middle).abs()).collect());
    (spread.is_finite() && spread > 0.0).then_some((middle, spread))
}

/// One photo's sums on the map's steps, its chance taken into the variance.
struct Sums {
    product: Vec<f64>,
    variance: Vec<f64>,
    overlap: Vec<f64>,
}

impl Sums {
    fn of(residual: &Residual, reach: usize) -> Option<Self> {
        let s = residual.px_per_mm;
        let pixels = (reach as f64 * STEP_MM * s).ceil() as usize + 1;
        let auto = Autocorrelation::of(&residual.value, &residual.weight, pixels)?;
        let (wide, width) = (auto.width(), 2 * reach + 1);
        let whole = auto.overlap.get(auto.reach).copied().filter(|o| *o > 0.0)?;
        let size = width * (reach + 1);
        let mut sums = Self { product: vec![0.0; size], variance: vec![0.0; size], overlap: vec![0.0; size] };
        let mut ratios = Vec::new();
        for row in 0..=reach {
            for column in 0..width {
                let x = (column as f64 - reach as f64) * STEP_MM * s + auto.reach as f64;
                let y = row as f64 * STEP_MM * s;
                let (c, r) = (x as usize, y as usize);
                let (tx, ty) = (x - c as f64, y - r as f64);
                let mix = |map: &[f64]| {
                    let corner =
                        |dc: usize, dr: usize| map.get((r + dr) * wide + c + dc).copied().unwrap_or(0.0);
                    let top = corner(0, 0) + (corner(1, 0) - corner(0, 0)) * tx;
                    let bottom = corner(0, 1) + (corner(1, 1) - corner(0, 1)) * tx;
                    top + (bottom - top) * ty
                };
                let (variance, overlap) = (mix(&auto.variance), mix(&auto.overlap));
                if overlap < LEAST_OVERLAP * whole || variance <= 0.0 {
                    continue;
                }
                let at = row * width + column;
                sums.product[at] = mix(&auto.product);
                sums.variance[at] = variance;
                sums.overlap[at] = overlap;
                let far =
                    super::residual::length([(column as f64 - reach as f64) * STEP_MM, row as f64 * STEP_MM]);
                if far > LEAST_SHIFT_MM {
                    ratios.push(sums.product[at] / variance.sqrt());
                }
            }
        }
        let (middle, spread) = spread(ratios)?;
        for at in 0..size {
            sums.product[at] -= middle * sums.variance[at].sqrt();
            sums.variance[at] *= spread * spread;
        }
        Some(sums)
    }
}
