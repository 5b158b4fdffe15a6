//! The smooth displacement of a whole print: how far each place lies from where a flat face would
//! show it, because the pack is pillowed, bent or creased.
//!
//! In: displacements of many small blocks ([`Shift`]) with their information. Out: a [`Field`] with
//! the covariance of its coefficients. It can be fitted without the blocks of one region, so that a
//! region is judged against its surroundings and not against itself.
//! Never here: pixels, what a displaced region means.
//!
//! A Gaussian process with Matérn covariance (ν = 5/2: smooth, but free to change beyond what its
//! neighbours say), written as a sum of sines over a domain
//! somewhat larger than the face, plus a plane; its amplitude is chosen by marginal likelihood. Blocks
//! count by Student's t, so a displaced wordmark does not pull the field along.
//! Sources: `solin2020` (sum of sines), `rasmussen2006` (marginal likelihood, 5.4), `lange1989`
//! (Student's t as reweighting).

use casebook::elementary::{ln, sin};
use std::f64::consts::PI;

use super::linear::{Factor, Symmetric, dot};

/// Length over which the pillow of a filled pack keeps its displacement, mm. Origin: chosen between
/// 15 and 60 mm on rendered genuine packs; packs are 60 to 70 mm wide and pillow once across.
const LENGTH_MM: f64 = 30.0;
/// Amplitudes tried, mm: from a rigid box to a well-filled pack seen from the side.
const AMPLITUDES_MM: [f64; 6] = [0.03, 0.08, 0.2, 0.45, 1.0, 2.2];
/// Standard deviation of what a block shows beyond any smooth field (small creases), mm.
pub const DISCREPANCY_MM: f64 = 0.06;
/// Prior standard deviation of the plane's terms, mm (constant, and per [`SLOPE_MM`]).
const PLANE_MM: f64 = 4.0;
/// Distance over which the plane's slopes are counted, mm.
const SLOPE_MM: f64 = 50.0;
/// Sines are kept while (1 + ω²ℓ²/5) stays below it: the rest holds under 2 % of the variance.
const TOP_BASE: f64 = 4.6;
/// Degrees of freedom of Student's t. Source: `lange1989` recommend small integers; 4 is usual.
const STUDENT_DF: f64 = 4.0;
const ROUNDS: usize = 8;

/// Displacement of one block: the print of `at_mm` is found at `at_mm + d_mm`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Centre of the block on the face, mm.
    pub at_mm: [f64; 2],
    /// Displacement, mm.
    pub d_mm: [f64; 2],
    /// Inverse of its covariance: xx, xy, yy, mm⁻².
    pub information: [f64; 3],
    /// Normalised correlation there, −1 to 1.
    pub correlation: f64,
}

/// The functions that make up a field over one face.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    size_mm: [f64; 2],
    pad_mm: f64,
    /// Counts of sines along x and y.
    terms: Vec<(usize, usize)>,
    /// Prior variance of each sine at amplitude 1.
    variance: Vec<f64>,
}

impl Basis {
    /// The basis for a face of `size_mm`.
    #[must_use]
    pub fn over(size_mm: [f64; 2]) -> Self {
        Self::with_length(size_mm, LENGTH_MM)
    }

    /// A basis whose functions keep their value over about `length_mm`.
    #[must_use]
    pub fn with_length(size_mm: [f64; 2], length_mm: f64) -> Self {
        let pad_mm = 0.8 * length_mm;
        let domain = size_mm.map(|s| s + 2.0 * pad_mm);
        let (mut terms, mut variance) = (Vec::new(), Vec::new());
        for j in 1..40_usize {
            for i in 1..40_usize {
                let (wx, wy) = (PI * i as f64 / domain[0], PI * j as f64 / domain[1]);
                let base = 1.0 + length_mm * length_mm * (wx * wx + wy * wy) / 5.0;
                if base < TOP_BASE {
                    terms.push((i, j));
                    variance.push(2.0 * PI * length_mm * length_mm / (base * base * base * base.sqrt()));
                }
            }
        }
        Self { size_mm, pad_mm, terms, variance }
    }

    /// Number of functions for one axis.
    #[must_use]
    pub fn len(&self) -> usize {
        3 + self.terms.len()
    }

    /// Never true.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        false
    }

    /// The functions' values at a place.
    #[must_use]
    pub fn at(&self, x_mm: f64, y_mm: f64) -> Vec<f64> {
        let mut out = Vec::with_capacity(self.len());
        out.push(1.0);
        out.push((x_mm - self.size_mm[0] / 2.0) / SLOPE_MM);
        out.push((y_mm - self.size_mm[1] / 2.0) / SLOPE_MM);
        let (dx, dy) = (self.size_mm[0] + 2.0 * self.pad_mm, self.size_mm[1] + 2.0 * self.pad_mm);
        let count = |f: fn(&(usize, usize)) -> usize| self.terms.iter().map(f).max().unwrap_or(0);
        let sines = |n: usize, x: f64, d: f64| -> Vec<f64> {
            let scale = (2.0 / d).sqrt();
            (0..=n).map(|i| scale * sin(PI * i as f64 * (x + self.pad_mm) / d)).collect()
        };
        let sx = sines(count(|t| t.0), x_mm, dx);
        let sy = sines(count(|t| t.1), y_mm, dy);
        out.extend(self.terms.iter().map(|&(i, j)| sx[i] * sy[j]));
        out
    }

    /// Prior variance of each function at amplitude 1; the plane's three terms get `plane`.
    #[must_use]
    pub fn variances(&self, amplitude: f64, plane: f64) -> Vec<f64> {
        let mut out = vec![plane * plane; 3];
        out.extend(self.variance.iter().map(|v| amplitude * amplitude * v));
        out
    }

    fn prior_precision(&self, amplitude: f64) -> Vec<f64> {
        self.variances(amplitude, PLANE_MM).iter().map(|v| 1.0 / v).collect()
    }
}

/// A displacement field with its uncertainty.
#[derive(Debug, Clone)]
pub struct Field {
    basis: Basis,
    /// Coefficients of x, then of y.
    coefficients: Vec<f64>,
    factor: Factor,
    /// Amplitude that the blocks speak for, mm.
    pub amplitude_mm: f64,
    /// Root mean square of what the blocks show beyond the field, robust, mm.
    pub residual_mm: f64,
    /// Weight that each shift ended with, 0 to about 1.25, in the order given.
    pub weights: Vec<f64>,
}

impl Field {
    /// No displacement anywhere, known to `PLANE_MM` only: what holds before any block is read.
    #[must_use]
    pub fn flat(size_mm: [f64; 2]) -> Option<Self> {
        Self::fit(&Basis::over(size_mm), &[], &[])
    }

    /// Fits a field to blocks.
    ///
    /// # Input
    /// `included`: one flag a shift; missing flags count as included.
    ///
    /// # Result
    /// The posterior mean with its covariance; nothing only when numbers are not finite.
    #[must_use]
    pub fn fit(basis: &Basis, shifts: &[Shift], included: &[bool]) -> Option<Self> {
        Self::fit_in(basis, shifts, included, ROUNDS, 0)
    }

    /// The field as the blocks outside some part speak for it: amplitude and weights are theirs alone.
    /// The amplitude is taken one step above the likeliest, because nothing bounds it inside the part:
    /// with the likeliest itself the stated uncertainty of a pillowed region came out half too small.
    #[must_use]
    pub fn without(basis: &Basis, shifts: &[Shift], excluded: impl Fn(&Shift) -> bool) -> Option<Self> {
        let included: Vec<bool> = shifts.iter().map(|s| !excluded(s)).collect();
        Self::fit_in(basis, shifts, &included, ROUNDS / 2, 1)
    }

    fn fit_in(
        basis: &Basis,
        shifts: &[Shift],
        included: &[bool],
        rounds: usize,
        steps_up: usize,
    ) -> Option<Self> {
        let m = basis.len();
        let values: Vec<Vec<f64>> = shifts.iter().map(|s| basis.at(s.at_mm[0], s.at_mm[1])).collect();
        let information: Vec<[f64; 3]> = shifts.iter().map(|s| with_discrepancy(s.information)).collect();
        let mut weights: Vec<f64> = (0..shifts.len())
            .map(|i| if included.get(i).copied().unwrap_or(true) { 1.0 } else { 0.0 })
            .collect();
        let used = weights.clone();
        let mut amplitude = 1.0;
        let mut best: Option<(Vec<f64>, Factor)> = None;
        for round in 0..rounds {
            let normal = Normal::build(m, shifts, &values, &information, &weights);
            if round == 0 || round == rounds / 2 {
                amplitude = choose_amplitude(basis, &normal, steps_up)?;
            }
            let (coefficients, factor) = normal.solve(&basis.prior_precision(amplitude))?;
            for i in 0..shifts.len() {
                let r = residual(&shifts[i], &values[i], &coefficients, m);
                let q = quadratic(information[i], r);
                weights[i] = used[i] * (STUDENT_DF + 2.0) / (STUDENT_DF + q);
            }
            best = Some((coefficients, factor));
        }
        let (coefficients, factor) = best?;
        let (mut square, mut sum) = (0.0, 0.0);
        for i in 0..shifts.len() {
            let r = residual(&shifts[i], &values[i], &coefficients, m);
            square += weights[i] * 0.5 * (r[0] * r[0] + r[1] * r[1]);
            sum += weights[i];
        }
        let residual_mm = if sum > 0.0 { (square / sum).sqrt() } else { 0.0 };
        coefficients.iter().all(|c| c.is_finite()).then_some(Self {
            basis: basis.clone(),
            coefficients,
            factor,
            amplitude_mm: amplitude,
            residual_mm,
            weights,
        })
    }

    /// The displacement at a place, mm.
    #[must_use]
    pub fn at(&self, x_mm: f64, y_mm: f64) -> [f64; 2] {
        let values = self.basis.at(x_mm, y_mm);
        let m = values.len();
        [dot(&values, &self.coefficients[..m]), dot(&values, &self.coefficients[m..])]
    }

    /// Covariances of linear functions of the field.
    ///
    /// # Input
    /// Each functional is a list of (place, weights of the displacement's x and y there).
    ///
    /// # Result
    /// Row by row, one row and column a functional.
    #[must_use]
    pub fn covariance(&self, functionals: &[Vec<Term>]) -> Vec<Vec<f64>> {
        let m = self.basis.len();
        let solved: Vec<Vec<f64>> = functionals
            .iter()
            .map(|terms| {
                let mut row = vec![0.0; 2 * m];
                for term in terms {
                    let values = self.basis.at(term.at_mm[0], term.at_mm[1]);
                    for (k, v) in values.iter().enumerate() {
                        row[k] += term.weight[0] * v;
                        row[m + k] += term.weight[1] * v;
                    }
                }
                self.factor.forward(&row)
            })
            .collect();
        solved.iter().map(|a| solved.iter().map(|b| dot(a, b)).collect()).collect()
    }
}

/// One place of a linear functional of the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Where.
    pub at_mm: [f64; 2],
    /// Weights of the displacement's x and y.
    pub weight: [f64; 2],
}

struct Normal {
    m: usize,
    blocks: [Symmetric; 3],
    right: Vec<f64>,
    square: f64,
}

impl Normal {
    fn build(
        m: usize,
        shifts: &[Shift],
        values: &[Vec<f64>],
        information: &[[f64; 3]],
        weights: &[f64],
    ) -> Self {
        let mut blocks = [Symmetric::zeros(m), Symmetric::zeros(m), Symmetric::zeros(m)];
        let mut right = vec![0.0; 2 * m];
        let mut square = 0.0;
        for (((shift, phi), info), w) in shifts.iter().zip(values).zip(information).zip(weights) {
            if *w <= 0.0 {
                continue;
            }
            for (block, i) in blocks.iter_mut().zip(info) {
                block.add_outer(phi, w * i);
            }
            let d = shift.d_mm;
            let (bx, by) = (w * (info[0] * d[0] + info[1] * d[1]), w * (info[1] * d[0] + info[2] * d[1]));
            for (k, p) in phi.iter().enumerate() {
                right[k] += bx * p;
                right[m + k] += by * p;
            }
            square += w * quadratic(*info, d);
        }
        Self { m, blocks, right, square }
    }

    #[allow(clippy::needless_range_loop)] // Two triangles and a square are filled by index.
    fn solve(&self, prior: &[f64]) -> Option<(Vec<f64>, Factor)> {
        let m = self.m;
        let mut whole = Symmetric::zeros(2 * m);
        for i in 0..m {
            for j in 0..=i {
                whole.add(i, j, self.blocks[0].at(i, j));
                whole.add(m + i, m + j, self.blocks[2].at(i, j));
            }
            for j in 0..m {
                whole.add(m + i, j, self.blocks[1].at(i, j));
            }
            whole.add(i, i, prior[i]);
            whole.add(m + i, m + i, prior[i]);
        }
        let factor = whole.factor()?;
        Some((factor.solve(&self.right), factor))
    }
}

/// The amplitude with the largest marginal likelihood, given the weights of the blocks, or so many
/// steps above it.
fn choose_amplitude(basis: &Basis, normal: &Normal, steps_up: usize) -> Option<f64> {
    let mut best: Option<(f64, usize)> = None;
    for (k, amplitude) in AMPLITUDES_MM.into_iter().enumerate() {
        let prior = basis.prior_precision(amplitude);
        let (coefficients, factor) = normal.solve(&prior)?;
        let ln_prior: f64 = 2.0 * prior.iter().map(|p| ln(*p)).sum::<f64>();
        let fit = normal.square - dot(&normal.right, &coefficients);
        let evidence = 0.5 * (ln_prior - factor.ln_determinant() - fit);
        if best.is_none_or(|(top, _)| evidence > top) {
            best = Some((evidence, k));
        }
    }
    best.map(|(_, k)| AMPLITUDES_MM[(k + steps_up).min(AMPLITUDES_MM.len() - 1)])
}

fn residual(shift: &Shift, values: &[f64], coefficients: &[f64], m: usize) -> [f64; 2] {
    [shift.d_mm[0] - dot(values, &coefficients[..m]), shift.d_mm[1] - dot(values, &coefficients[m..])]
}

fn quadratic(info: [f64; 3], r: [f64; 2]) -> f64 {
    info[0] * r[0] * r[0] + 2.0 * info[1] * r[0] * r[1] + info[2] * r[1] * r[1]
}

/// Information of a block with [`DISCREPANCY_MM`]² added to both diagonal terms of its covariance:
/// (I⁻¹ + δ²)⁻¹ = (I + δ² det I · 1) / (1 + δ² tr I + δ⁴ det I).
fn with_discrepancy([xx, xy, yy]: [f64; 3]) -> [f64; 3] {
    let d2 = DISCREPANCY_MM * DISCREPANCY_MM;
    let det = (xx * yy - xy * xy).max(0.0);
    let bottom = 1.0 + d2 * (xx + yy) + d2 * d2 * det;
    [(xx + d2 * det) / bottom, xy / bottom, (yy + d2 * det) / bottom]
}

#[cfg(test)]
mod tests {
    use super::*;
    use casebook::elementary::cos;

    fn pillow(x: f64, y: f64) -> [f64; 2] {
        [0.6 * sin(PI * x / 65.0 * 2.0) * sin(PI * y / 112.0), 0.4 * cos(PI * y / 112.0) + 0.004 * x]
    }

    fn lattice(noise_mm: f64) -> Vec<Shift> {
        let mut seed = 7_u64;
        let mut gauss = move || {
            // Sum of twelve uniforms from a linear congruential generator: good enough for noise.
            let mut sum = -6.0;
            for _ in 0..12 {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                sum += (seed >> 11) as f64 / (1_u64 << 53) as f64;
            }
            sum
        };
        let mut out = Vec::new();
        for j in 0..24 {
            for i in 0..14 {
                let (x, y) = (4.0 + 4.3 * f64::from(i), 5.0 + 4.3 * f64::from(j));
                let d = pillow(x, y);
                let inv = 1.0 / (noise_mm * noise_mm);
                out.push(Shift {
                    at_mm: [x, y],
                    d_mm: [d[0] + noise_mm * gauss(), d[1] + noise_mm * gauss()],
                    information: [inv, 0.0, inv],
                    correlation: 0.9,
                });
            }
        }
        out
    }

    #[test]
    fn follows_a_pillow_and_ignores_a_displaced_wordmark() {
        let mut shifts = lattice(0.05);
        for s in &mut shifts {
            if s.at_mm[1] < 25.0 && s.at_mm[1] > 12.0 {
                s.d_mm[1] += 1.5;
            }
        }
        let basis = Basis::over([65.0, 112.0]);
        let included: Vec<bool> = shifts.iter().map(|s| !(s.at_mm[1] < 27.0 && s.at_mm[1] > 10.0)).collect();
        let field = Field::fit(&basis, &shifts, &included).expect("fits");
        for (x, y) in [(32.0, 60.0), (10.0, 95.0), (60.0, 40.0)] {
            let (got, truth) = (field.at(x, y), pillow(x, y));
            assert!(
                (got[0] - truth[0]).abs() < 0.1 && (got[1] - truth[1]).abs() < 0.1,
                "{x} {y}: {got:?} {truth:?}"
            );
        }
        // Across the gap it may be off by no more than a few of its own standard uncertainties.
        let at = [32.0, 18.0];
        let functional = |weight| vec![Term { at_mm: at, weight }];
        let covariance = field.covariance(&[functional([1.0, 0.0]), functional([0.0, 1.0])]);
        let (got, truth) = (field.at(at[0], at[1]), pillow(at[0], at[1]));
        for k in 0..2 {
            let u = covariance[k][k].sqrt();
            assert!((got[k] - truth[k]).abs() < 3.0 * u && u < 0.6, "{k}: {got:?} {truth:?} u {u}");
        }
    }

    #[test]
    fn a_rigid_face_gets_a_small_amplitude() {
        let mut shifts = lattice(0.03);
        let noise: Vec<[f64; 2]> = shifts
            .iter()
            .map(|s| {
                let p = pillow(s.at_mm[0], s.at_mm[1]);
                [s.d_mm[0] - p[0], s.d_mm[1] - p[1]]
            })
            .collect();
        for (s, n) in shifts.iter_mut().zip(noise) {
            s.d_mm = [0.4 + n[0], -0.2 + 0.01 * s.at_mm[1] + n[1]];
        }
        let field = Field::fit(&Basis::over([65.0, 112.0]), &shifts, &[]).expect("fits");
        assert!(field.amplitude_mm <= 0.08, "{}", field.amplitude_mm);
        let got = field.at(20.0, 50.0);
        assert!((got[0] - 0.4).abs() < 0.03 && (got[1] - 0.3).abs() < 0.03, "{got:?}");
    }
}
