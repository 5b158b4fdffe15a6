//! One mark out of many: a residual folded onto one cell of its lattice.
//!
//! In: a [`Residual`] and a [`Lattice`]. Out: [`Cell`]. Never here: whether the lattice is right.
//!
//! Averaged over n cells, weighted by what each place can tell, the mark stands and everything that does
//! not repeat fades with √n.

use super::lattice::Lattice;
use super::residual::{Residual, length};

/// Places of a cell, a millimetre.
const PER_MM: f64 = 3.0;
/// Most places along a vector of the lattice.
const MOST: usize = 400;
/// Radius within which an emblem's lines lie, mm.
const EMBLEM_MM: f64 = 3.0;

/// A folded cell, in coordinates along the lattice's two vectors.
#[derive(Debug, Clone)]
pub struct Cell {
    lattice: Lattice,
    columns: usize,
    rows: usize,
    sum: Vec<f64>,
    weight: Vec<f64>,
}

impl Cell {
    /// Folds a residual; nothing when the lattice has no area or the residual tells nothing.
    #[must_use]
    pub fn fold(residual: &Residual, lattice: &Lattice) -> Option<Self> {
        let count = |v: [f64; 2]| ((length(v) * PER_MM).round() as usize).clamp(1, MOST);
        let (columns, rows) = (count(lattice.a), count(lattice.b));
        let mut cell = Self {
            lattice: *lattice,
            columns,
            rows,
            sum: vec![0.0; columns * rows],
            weight: vec![0.0; columns * rows],
        };
        let s = residual.px_per_mm;
        let mut whole = 0.0;
        for y in 0..residual.value.height() {
            let (values, weights) = (residual.value.row(y), residual.weight.row(y));
            for (x, (value, weight)) in values.iter().zip(weights).enumerate() {
                if *weight > 0.0 {
                    let at = cell.place([(x as f64 + 0.5) / s, (y as f64 + 0.5) / s])?;
                    cell.sum[at] += f64::from(*value);
                    cell.weight[at] += f64::from(*weight);
                    whole += f64::from(*weight);
                }
            }
        }
        (whole > 0.0).then_some(cell)
    }

    /// Mean veil at a place of the face, L* at mid print; nothing where no cell was seen.
    #[must_use]
    pub fn veil(&self, mm: [f64; 2]) -> Option<f64> {
        let at = self.place(mm)?;
        (self.weight[at] > 0.0).then(|| self.sum[at] / self.weight[at])
    }

    /// Mean square of the cell over its variance: about 1 by chance.
    #[must_use]
    pub fn power(&self) -> f64 {
        let seen: Vec<f64> =
            self.sum.iter().zip(&self.weight).filter(|(_, w)| **w > 0.0).map(|(s, w)| s * s / w).collect();
        seen.iter().sum::<f64>() / seen.len().max(1) as f64
    }

    /// Where a mark lies: the middle of the strongest emblem, mm on the face; add vectors of the lattice for
    /// the others.
    #[must_use]
    pub fn centre(&self) -> [f64; 2] {
        let step = 1.0 / PER_MM;
        let reach = (EMBLEM_MM / step) as i32;
        let mut best = (f64::NEG_INFINITY, [0.0, 0.0]);
        for r in (0..self.rows).step_by(2) {
            for c in (0..self.columns).step_by(2) {
                let middle = self.mm(c as f64 / self.columns as f64, r as f64 / self.rows as f64);
                let (mut sum, mut count) = (0.0, 0.0);
                for j in (-reach..=reach).step_by(2) {
                    for i in (-reach..=reach).step_by(2) {
                        let (i, j) = (f64::from(i) * step, f64::from(j) * step);
                        if i * i + j * j <= EMBLEM_MM * EMBLEM_MM
                            && let Some(at) = self.place([middle[0] + i, middle[1] + j])
                            && self.weight[at] > 0.0
                        {
                            sum += self.sum[at] * self.sum[at] / self.weight[at];
                            count += 1.0;
                        }
                    }
                }
                if count > 0.0 && sum / count > best.0 {
                    best = (sum / count, middle);
                }
            }
        }
        best.1
    }

    fn mm(&self, u: f64, v: f64) -> [f64; 2] {
        let Lattice { a, b } = self.lattice;
        [u * a[0] + v * b[0], u * a[1] + v * b[1]]
    }

    fn place(&self, [x, y]: [f64; 2]) -> Option<usize> {
        let Lattice { a, b } = self.lattice;
        let area = a[0] * b[1] - a[1] * b[0];
        if area.abs() < 1e-6 {
            return None;
        }
        let (u, v) = ((x * b[1] - y * b[0]) / area, (a[0] * y - a[1] * x) / area);
        let at = |t: f64, n: usize| (((t - t.floor()) * n as f64) as usize).min(n - 1);
        Some(at(v, self.rows) * self.columns + at(u, self.columns))
    }
}
