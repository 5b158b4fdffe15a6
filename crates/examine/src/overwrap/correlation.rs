//! How like itself a field is when it is laid over itself, shifted: masked, weighted autocorrelation.
//!
//! In: a field of values with weights on a millimetre grid, zero where nothing is known. Out: for every
//! shift up to a reach, the sum of products, its variance by chance, and how much weight overlaps.
//! Never here: what the field shows.
//!
//! Sums by the fast Fourier transform over a rectangle padded by the reach, so that nothing wraps round
//! (Source: `padfield2012`, for masked pictures). Outside check: `tests/film_scipy.rs`.

use photo::Plane;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

/// Sums over all pairs of places that lie one shift apart, for shifts (x, y) with |x| ≤ `reach` and
/// 0 ≤ y ≤ `reach`; a shift and its opposite have the same sums. Rows by y; the middle column is x = 0.
#[derive(Debug, Clone)]
pub struct Autocorrelation {
    /// Largest shift, pixels.
    pub reach: usize,
    /// Σ value(p) · value(p + shift).
    pub product: Vec<f64>,
    /// Σ value(p)² · value(p + shift)²: the variance of the product where values are independent.
    pub variance: Vec<f64>,
    /// Σ weight(p) · weight(p + shift).
    pub overlap: Vec<f64>,
}

impl Autocorrelation {
    /// Autocorrelation of a field.
    ///
    /// # Input
    /// `value`, `weight`: planes of one shape; a weight is at least 0, both are 0 where nothing is known.
    /// `reach`: pixels; shifts beyond the field have sums of 0.
    ///
    /// # Result
    /// Sums, to the rounding of transforms in double precision. Nothing for shapes that differ or are empty.
    #[must_use]
    pub fn of(value: &Plane<f32>, weight: &Plane<f32>, reach: usize) -> Option<Self> {
        let (w, h) = (value.width(), value.height());
        if w == 0 || h == 0 || weight.width() != w || weight.height() != h {
            return None;
        }
        let transform = Transform::new(smooth_length(w + reach), smooth_length(h + reach));
        let sums = |of: &dyn Fn(usize) -> f64| transform.products(w, h, reach, of);
        let (values, weights) = (value.data(), weight.data());
        Some(Self {
            reach,
            product: sums(&|at| f64::from(values[at])),
            variance: sums(&|at| f64::from(values[at]) * f64::from(values[at])),
            overlap: sums(&|at| f64::from(weights[at])),
        })
    }

    /// Columns of each sum.
    #[must_use]
    pub fn width(&self) -> usize {
        2 * self.reach + 1
    }
}

struct Transform {
    nx: usize,
    ny: usize,
    forward: [Arc<dyn Fft<f64>>; 2],
    inverse: [Arc<dyn Fft<f64>>; 2],
}

impl Transform {
    fn new(nx: usize, ny: usize) -> Self {
        let mut planner = FftPlanner::new();
        Self {
            nx,
            ny,
            forward: [planner.plan_fft_forward(nx), planner.plan_fft_forward(ny)],
            inverse: [planner.plan_fft_inverse(nx), planner.plan_fft_inverse(ny)],
        }
    }

    /// Σ f(p) · f(p + shift) for every shift of the half plane.
    fn products(&self, w: usize, h: usize, reach: usize, f: &dyn Fn(usize) -> f64) -> Vec<f64> {
        let (nx, ny) = (self.nx, self.ny);
        let mut rows = vec![Complex::new(0.0, 0.0); nx * h];
        for y in 0..h {
            for x in 0..w {
                rows[y * nx + x].re = f(y * w + x);
            }
        }
        self.forward[0].process(&mut rows);
        // Column by column: the spectrum's power and back at once. A real field's spectrum repeats
        // itself, so half of the columns suffice; the inverse of a row is then real.
        let half = nx / 2 + 1;
        let mut columns = vec![Complex::new(0.0, 0.0); half * (reach + 1)];
        let mut column = vec![Complex::new(0.0, 0.0); ny];
        for x in 0..half {
            for (y, c) in column.iter_mut().enumerate() {
                *c = if y < h { rows[y * nx + x] } else { Complex::new(0.0, 0.0) };
            }
            self.forward[1].process(&mut column);
            for c in &mut column {
                *c = Complex::new(c.norm_sqr(), 0.0);
            }
            self.inverse[1].process(&mut column);
            for y in 0..=reach {
                columns[y * half + x] = column.get(y).copied().unwrap_or_default();
            }
        }
        let scale = 1.0 / (nx * ny) as f64;
        let mut out = vec![0.0; (2 * reach + 1) * (reach + 1)];
        let mut row = vec![Complex::new(0.0, 0.0); nx];
        for y in 0..=reach.min(h.saturating_sub(1)) {
            // The power is real: its transform at −x is the conjugate of that at x.
            row[..half].copy_from_slice(&columns[y * half..(y + 1) * half]);
            for x in half..nx {
                row[x] = row[nx - x].conj();
            }
            self.inverse[0].process(&mut row);
            for dx in 0..=reach.min(w.saturating_sub(1)) {
                out[y * (2 * reach + 1) + reach + dx] = row[dx].re * scale;
                if dx > 0 {
                    out[y * (2 * reach + 1) + reach - dx] = row[nx - dx].re * scale;
                }
            }
        }
        out
    }
}

/// The least length of at least `n` whose factors are 2, 3 and 5: short transforms.
fn smooth_length(n: usize) -> usize {
    let smooth = |mut m: usize| {
        for factor in [2, 3, 5] {
            while m.is_multiple_of(factor) {
                m /= factor;
            }
        }
        m == 1
    };
    (n.max(2)..).find(|m| smooth(*m)).unwrap_or(n)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sums written out, pair by pair, on a small field with holes.
    #[test]
    fn sums_are_those_of_all_pairs() {
        let (w, h, reach) = (13_usize, 9_usize, 15_usize);
        let weight =
            Plane::from_fn(w, h, |x, y| if (x * 5 + y * 3) % 7 == 0 { 0.0 } else { 1.0 + x as f32 * 0.1 });
        let value = Plane::from_fn(w, h, |x, y| weight.row(y)[x] * (((x * 31 + y * 17) % 11) as f32 - 5.0));
        let found = Autocorrelation::of(&value, &weight, reach).expect("same shape");
        for dy in 0..=reach {
            for dx in -(reach as isize)..=reach as isize {
                let (mut product, mut variance, mut overlap) = (0.0, 0.0, 0.0);
                for y in 0..h.saturating_sub(dy) {
                    for x in 0..w {
                        let Some(x2) = x.checked_add_signed(dx).filter(|x2| *x2 < w) else { continue };
                        let pair = |p: &Plane<f32>| f64::from(p.row(y)[x]) * f64::from(p.row(y + dy)[x2]);
                        product += pair(&value);
                        variance += pair(&value) * pair(&value);
                        overlap += pair(&weight);
                    }
                }
                let at = dy * found.width() + reach.checked_add_signed(dx).expect("in the reach");
                assert!((found.product[at] - product).abs() < 1e-8, "{dx} {dy}");
                assert!((found.variance[at] - variance).abs() < 1e-6, "{dx} {dy}");
                assert!((found.overlap[at] - overlap).abs() < 1e-8, "{dx} {dy}");
            }
        }
    }

    #[test]
    fn shapes_that_differ_give_nothing() {
        let (a, b) = (Plane::filled(4, 4, 1.0_f32), Plane::filled(4, 5, 1.0_f32));
        assert!(Autocorrelation::of(&a, &b, 3).is_none());
        assert!(Autocorrelation::of(&Plane::filled(0, 0, 0.0), &Plane::filled(0, 0, 0.0), 3).is_none());
    }
}
