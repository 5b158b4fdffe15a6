//! What a camera and the light did to a print, and how to undo it.
//!
//! In: [`Cell`]s with their ink labels. Out: a [`Response`] that turns the photo's linear light into
//! the reference's, with the covariance of its parameters and how much each ink pulls at it.
//! Never here: which residual is too large, words, other photos.
//!
//! Model, for photo light p at place x: q = h(p) · e^(−ℓ(x)), reference ≈ A q + b + v(x).
//! h is one tone curve for all channels; ℓ a smooth field of light (and a slope of its tint); A a
//! 3 × 3 matrix, b an offset and v a smooth grey veil. Everything a plausible camera could do is given
//! to the camera: local tone mapping is inside ℓ, a haze on the film inside v. Priors say what is
//! plausible. Residuals are CIEDE2000's own L, C and H terms about the reference colour; cells count by
//! Student's t, and clipped ones never enter.
//! Sources: `sharma2005` (weighting functions), `lange1989` (Student's t), `nocedal2006` (Gauss–Newton
//! with damping, 10.3).

use casebook::elementary::{exp, ln};
use photo::Plane;
use photo::colour::{Lab, RgbSpace, WhitePoint, lab_from_linear};
use rayon::prelude::*;

use super::cells::Cell;
use super::field::Basis;
use super::grid::Grid;
use super::linear::{Factor, Symmetric};

/// Added to light before its logarithm is taken: keeps the noise of shadows out of the tone curve.
const TOE: f64 = 0.01;
/// Middle of the tone curve's expansion: ln of 18 % grey.
const TONE_CENTRE: f64 = -1.7;
/// Prior standard deviations of the tone curve's slope, curvature and third-order term in ln–ln.
/// Origin: span between a straight line and the steep curves that phones apply.
const TONE_PRIOR: [f64; 3] = [0.30, 0.10, 0.03];
/// Length over which light and local tone mapping keep their value, mm.
const LIGHT_LENGTH_MM: f64 = 24.0;
/// Prior standard deviation of the light's logarithm, and of its slope per 50 mm.
const LIGHT_PRIOR: f64 = 0.45;
/// Prior standard deviation of the tint's slope (ln red/green, blue/green) per 50 mm.
const TINT_PRIOR: f64 = 0.06;
/// Prior standard deviation of the veil's terms, of white.
const VEIL_PRIOR: f64 = 0.03;
/// Prior standard deviation of ln of a channel's gain about its robust first guess.
const GAIN_PRIOR: f64 = 0.7;
/// Prior standard deviation of an off-diagonal term over the gain of its column: how far one
/// camera's channels may leak into another's after its own colour correction.
const LEAK_PRIOR: f64 = 0.12;
/// Prior standard deviation of the offset, of white.
const OFFSET_PRIOR: f64 = 0.04;
/// Degrees of freedom of Student's t.
const STUDENT_DF: f64 = 4.0;
/// Standard deviation of a good cell about the model, ΔE00, before it is estimated.
const START_SCALE: f64 = 2.0;
/// Range of that estimate.
const SCALE_RANGE: (f64, f64) = (0.5, 8.0);
/// Rounds on all cells.
const ROUNDS: usize = 3;
/// Rounds on a sample.
const SAMPLE_ROUNDS: usize = 12;
/// Cells of the sample.
const SAMPLE_CELLS: usize = 700;
/// Fewest cells that can carry the model.
pub const MIN_CELLS: usize = 120;

const A: usize = 0;
const B: usize = 9;
const TONE: usize = 12;
const TINT: usize = 15;
const VEIL: usize = 19;
const VEILS: usize = 5;
const LIGHT: usize = VEIL + VEILS;

/// The fitted response of one photo of one face.
#[derive(Debug, Clone)]
pub struct Response {
    theta: Vec<f64>,
    basis: Basis,
    size_mm: [f64; 2],
    /// Standard deviation of a good cell about the model, ΔE00.
    pub scale: f64,
    /// For each cell given: residual (photo with response removed − reference) along CIEDE2000's
    /// L, C and H, and the weight it ended with.
    pub residuals: Vec<CellResidual>,
    /// For each ink label: what is left of it when the camera is judged without that ink.
    pub left_out: Vec<Option<LeftOut>>,
}

/// To which ink a cell belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Labels {
    /// The ink that it shows, when it is flat and near to one.
    pub ink: Option<usize>,
    /// The ink that its colour is nearest to: left out together with that ink.
    pub kin: Option<usize>,
}

/// What is left over in one cell.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CellResidual {
    /// ΔL/S_L, ΔC/S_C, ΔH/S_H.
    pub lch: [f64; 3],
    /// Weight in the fit, 0 to 1.75.
    pub weight: f64,
}

/// The residual of one ink, the camera being fitted to all others.
///
/// A lower bound where the ink is mostly seen in cells that it shares with others: those stay in the
/// fit (without them foil and few inks leave the camera too free), and pull it towards a wrong ink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftOut {
    /// Mean ΔL/S_L, ΔC/S_C, ΔH/S_H.
    pub lch: [f64; 3],
    /// Covariance that the camera's parameters bring in; own scatter is not included.
    pub camera: [[f64; 3]; 3],
    /// The plain residual, this ink taking part in the fit.
    pub within: [f64; 3],
    /// Scatter of the ink's own cells about its mean, as variance of the mean over independent spots.
    pub scatter: [f64; 3],
    /// Area that was seen, mm².
    pub area_mm2: f64,
}

/// Rows of one cell's Jacobian and its residual.
struct Linearised {
    e: [f64; 3],
    rows: [Vec<f64>; 3],
}

/// CIEDE2000's axes at a reference colour: turns (ΔL, Δa, Δb) into (ΔL/S_L, ΔC/S_C, ΔH/S_H).
#[must_use]
pub fn axes(lab: Lab) -> [[f64; 3]; 3] {
    let chroma = (lab.a * lab.a + lab.b * lab.b).sqrt();
    let c7 = {
        let c2 = chroma * chroma;
        c2 * c2 * c2 * chroma
    };
    let g = 0.5 * (1.0 - (c7 / (c7 + 6_103_515_625.0)).sqrt());
    let a = (1.0 + g) * lab.a;
    let c = (a * a + lab.b * lab.b).sqrt();
    let (ca, cb) = if c > 1e-9 { (a / c, lab.b / c) } else { (1.0, 0.0) };
    let off = (lab.l - 50.0) * (lab.l - 50.0);
    let sl = 1.0 + 0.015 * off / (20.0 + off).sqrt();
    let sc = 1.0 + 0.045 * c;
    // T's hue terms from the double, triple and fourfold angle.
    let (h1, h2) = ((ca, cb), turn((ca, cb), (ca, cb)));
    let h3 = turn(h2, h1);
    let h4 = turn(h2, h2);
    let t =
        1.0 - 0.17 * at_angle(h1, 30.0) + 0.24 * h2.0 + 0.32 * at_angle(h3, -6.0) - 0.20 * at_angle(h4, 63.0);
    let sh = 1.0 + 0.015 * c * t;
    [[1.0 / sl, 0.0, 0.0], [0.0, (1.0 + g) * ca / sc, cb / sc], [0.0, -(1.0 + g) * cb / sh, ca / sh]]
}

fn turn(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

/// cos(angle − degrees) of a unit vector.
fn at_angle(v: (f64, f64), degrees: f64) -> f64 {
    let r = degrees * std::f64::consts::PI / 180.0;
    v.0 * casebook::elementary::cos(r) + v.1 * casebook::elementary::sin(r)
}

impl Response {
    /// Fits the response.
    ///
    /// # Input
    /// `cells`: of one photo; at least [`MIN_CELLS`]. `inks`: the labels of each cell, below `ink_count`. `usable` cells only; clipped ones must be left out.
    ///
    /// # Cannot tell
    /// Nothing when there are too few cells or the fit does not hold.
    #[must_use]
    pub fn fit(size_mm: [f64; 2], cells: &[Cell], inks: &[Labels], ink_count: usize) -> Option<Self> {
        if cells.len() < MIN_CELLS || inks.len() != cells.len() {
            return None;
        }
        let basis = Basis::with_length(size_mm, LIGHT_LENGTH_MM);
        let (mut theta, mean, precision) = start(cells, &basis)?;
        let prior = Prior { mean: &mean, precision: &precision };
        let mut scale = START_SCALE;
        // Most rounds on an even sample of the cells, the last on all of them.
        let step = cells.len().div_ceil(SAMPLE_CELLS);
        let sample: Vec<Cell> = cells.iter().step_by(step).copied().collect();
        // Each cell of the sample stands for its neighbours.
        Problem::new(&sample, &basis, size_mm, step as f64).solve(
            &mut theta,
            &mut scale,
            &prior,
            SAMPLE_ROUNDS,
        )?;
        let problem = Problem::new(cells, &basis, size_mm, 1.0);
        let errors = problem.solve(&mut theta, &mut scale, &prior, ROUNDS)?;
        let variances: Vec<f64> = cells.iter().map(|c| scale * scale + c.unsure * c.unsure).collect();
        let weights = problem.student(&errors, &variances);
        let residuals = errors
            .iter()
            .zip(&weights)
            .zip(&variances)
            .map(|((e, w), v)| CellResidual { lch: *e, weight: w * v * SPOT_CELLS })
            .collect();
        let left_out = problem.leave_each_out(&theta, &errors, &weights, &prior, inks, ink_count);
        Some(Self { theta, basis, size_mm, scale, residuals, left_out })
    }

    /// The photo with the response removed, as the reference's linear light.
    #[must_use]
    #[allow(clippy::needless_range_loop)] // Three planes are read at one place.
    pub fn remove(&self, grid: &Grid, photo: &[Plane<f32>; 3]) -> [Plane<f32>; 3] {
        let table = ToneTable::new(&self.theta);
        let light = self.lattice(grid);
        let (w, h) = (grid.width, grid.height);
        let rows: Vec<[Vec<f32>; 3]> = (0..h)
            .into_par_iter()
            .map(|y| {
                let mut out = [vec![0.0_f32; w], vec![0.0_f32; w], vec![0.0_f32; w]];
                let a = &self.theta[A..A + 9];
                let b = &self.theta[B..B + 3];
                for x in 0..w {
                    let [lr, lg, lb, veil] = light.at(x, y);
                    let q = [
                        table.at(photo[0].row(y)[x]) * lr,
                        table.at(photo[1].row(y)[x]) * lg,
                        table.at(photo[2].row(y)[x]) * lb,
                    ];
                    for c in 0..3 {
                        out[c][x] = a[3 * c] as f32 * q[0]
                            + a[3 * c + 1] as f32 * q[1]
                            + a[3 * c + 2] as f32 * q[2]
                            + b[c] as f32
                            + veil;
                    }
                }
                out
            })
            .collect();
        let mut planes = [Vec::new(), Vec::new(), Vec::new()];
        for row in rows {
            for (plane, values) in planes.iter_mut().zip(row) {
                plane.extend(values);
            }
        }
        planes.map(|data| Plane::from_vec(w, h, data).unwrap_or_else(|| Plane::filled(0, 0, 0.0)))
    }

    /// The 3 × 3 matrix from tone-corrected photo light to reference light, row by row.
    #[must_use]
    pub fn matrix(&self) -> [f64; 9] {
        let mut out = [0.0; 9];
        out.copy_from_slice(&self.theta[A..A + 9]);
        out
    }

    fn lattice(&self, grid: &Grid) -> Lattice {
        const STEP: usize = 8;
        let (nx, ny) = (grid.width / STEP + 2, grid.height / STEP + 2);
        let mut values = Vec::with_capacity(nx * ny);
        for j in 0..ny {
            for i in 0..nx {
                let (x, y) = grid.mm((i * STEP) as f64, (j * STEP) as f64);
                let phi = self.basis.at(x, y);
                let place = place([x, y], self.size_mm);
                let logs = log_light(&self.theta, &phi, place);
                let veil: f64 = (0..VEILS).map(|k| self.theta[VEIL + k] * veils(place)[k]).sum();
                values.push([exp(-logs[0]) as f32, exp(-logs[1]) as f32, exp(-logs[2]) as f32, veil as f32]);
            }
        }
        Lattice { nx, step: STEP, values }
    }
}

struct Lattice {
    nx: usize,
    step: usize,
    values: Vec<[f32; 4]>,
}

impl Lattice {
    fn at(&self, x: usize, y: usize) -> [f32; 4] {
        let (i, j) = (x / self.step, y / self.step);
        let (tx, ty) = ((x % self.step) as f32 / self.step as f32, (y % self.step) as f32 / self.step as f32);
        let k = j * self.nx + i;
        let (a, b, c, d) =
            (self.values[k], self.values[k + 1], self.values[k + self.nx], self.values[k + self.nx + 1]);
        let mut out = [0.0; 4];
        for n in 0..4 {
            let top = a[n] + (b[n] - a[n]) * tx;
            let bottom = c[n] + (d[n] - c[n]) * tx;
            out[n] = top + (bottom - top) * ty;
        }
        out
    }
}

/// The tone curve on equal steps of the square root of light, so that shadows are fine enough.
struct ToneTable(Vec<f32>);

impl ToneTable {
    const N: usize = 2048;
    const TOP: f32 = 1.2;

    fn new(theta: &[f64]) -> Self {
        Self(
            (0..=Self::N + 1)
                .map(|i| {
                    let root = i as f64 / Self::N as f64;
                    exp(log_tone(theta, root * root * f64::from(Self::TOP))) as f32
                })
                .collect(),
        )
    }

    fn at(&self, p: f32) -> f32 {
        let root = (p.clamp(0.0, Self::TOP) / Self::TOP).sqrt() * Self::N as f32;
        let i = root as usize;
        let t = root - i as f32;
        self.0[i] + (self.0[i + 1] - self.0[i]) * t
    }
}

fn tone_terms(p: f64) -> (f64, [f64; 3]) {
    let x = ln(p.max(0.0) + TOE) - TONE_CENTRE;
    (x + TONE_CENTRE, [x, x * x, x * x * x])
}

fn log_tone(theta: &[f64], p: f64) -> f64 {
    let (x, terms) = tone_terms(p);
    x + (0..3).map(|k| theta[TONE + k] * terms[k]).sum::<f64>()
}

/// Slope of the tone curve in ln–ln stays above a fifth over the range of a file.
fn tone_is_monotone(theta: &[f64]) -> bool {
    (0..=16).all(|i| {
        let x = ln(TOE) - TONE_CENTRE + (ln(1.0 + TOE) - ln(TOE)) * f64::from(i) / 16.0;
        1.0 + theta[TONE] + 2.0 * theta[TONE + 1] * x + 3.0 * theta[TONE + 2] * x * x > 0.2
    })
}

/// A place on the face in units of 50 mm from its centre.
fn place(at_mm: [f64; 2], size_mm: [f64; 2]) -> [f64; 2] {
    [(at_mm[0] - size_mm[0] / 2.0) / 50.0, (at_mm[1] - size_mm[1] / 2.0) / 50.0]
}

fn veils([u, v]: [f64; 2]) -> [f64; VEILS] {
    [u, v, u * u, u * v, v * v]
}

/// ln of light in red, green, blue at a place.
fn log_light(theta: &[f64], phi: &[f64], [u, v]: [f64; 2]) -> [f64; 3] {
    let common: f64 = phi.iter().zip(&theta[LIGHT..]).map(|(p, t)| p * t).sum();
    let t = &theta[TINT..TINT + 4];
    [common + t[0] * u + t[1] * v, common, common + t[2] * u + t[3] * v]
}

/// First guess, prior mean and prior precision.
fn start(cells: &[Cell], basis: &Basis) -> Option<(Vec<f64>, Vec<f64>, Vec<f64>)> {
    let mut gains = [0.0; 3];
    for (c, gain) in gains.iter_mut().enumerate() {
        // Median of the ratio, over cells that are not dark in either.
        let mut ratios: Vec<f64> = cells
            .iter()
            .filter(|cell| cell.photo[c] > 0.02 && cell.reference[c] > 0.02)
            .map(|cell| cell.reference[c] / cell.photo[c])
            .collect();
        if ratios.len() < 20 {
            ratios = cells.iter().map(|cell| (cell.reference[c] + 0.01) / (cell.photo[c] + 0.01)).collect();
        }
        ratios.sort_by(f64::total_cmp);
        *gain = *ratios.get(ratios.len() / 2)?;
    }
    let n = LIGHT + basis.len();
    let mut theta = vec![0.0; n];
    let mut precision = vec![0.0; n];
    let sd = |s: f64| 1.0 / (s * s);
    for i in 0..3 {
        for j in 0..3 {
            if i == j {
                theta[A + 4 * i] = gains[i];
            }
            let relative = if i == j { GAIN_PRIOR } else { LEAK_PRIOR };
            precision[A + 3 * i + j] = sd(relative * gains[j].max(1e-3));
        }
        // The tone curve of a camera without one still adds the toe.
        theta[B + i] = -TOE * gains[i];
        precision[B + i] = sd(OFFSET_PRIOR);
        precision[TONE + i] = sd(TONE_PRIOR[i]);
    }
    precision[TINT..TINT + 4].fill(sd(TINT_PRIOR));
    precision[VEIL..VEIL + VEILS].fill(sd(VEIL_PRIOR));
    for (p, v) in precision[LIGHT..].iter_mut().zip(basis.variances(LIGHT_PRIOR, LIGHT_PRIOR)) {
        *p = 1.0 / v;
    }
    // The constant of the light is the matrix's gain over again.
    precision[LIGHT] = sd(1e-3);
    let mean = theta.clone();
    Some((theta, mean, precision))
}

struct Prior<'a> {
    mean: &'a [f64],
    precision: &'a [f64],
}

impl Prior<'_> {
    fn add(&self, mut normal: Symmetric, mut gradient: Vec<f64>, theta: &[f64]) -> (Symmetric, Vec<f64>) {
        for i in 0..theta.len() {
            normal.add(i, i, self.precision[i]);
            gradient[i] += self.precision[i] * (theta[i] - self.mean[i]);
        }
        (normal, gradient)
    }

    fn cost(&self, errors: &[[f64; 3]], weights: &[f64], theta: &[f64]) -> f64 {
        let fit: f64 =
            errors.iter().zip(weights).map(|(e, w)| w * (e[0] * e[0] + e[1] * e[1] + e[2] * e[2])).sum();
        let prior: f64 = (0..theta.len())
            .map(|i| self.precision[i] * (theta[i] - self.mean[i]) * (theta[i] - self.mean[i]))
            .sum();
        fit + prior
    }
}

struct Problem<'a> {
    cells: &'a [Cell],
    phis: Vec<Vec<f64>>,
    frames: Vec<[[f64; 3]; 3]>,
    size_mm: [f64; 2],
    /// Cells that each one stands for.
    stands_for: f64,
}

impl<'a> Problem<'a> {
    fn new(cells: &'a [Cell], basis: &Basis, size_mm: [f64; 2], stands_for: f64) -> Self {
        Self {
            cells,
            phis: cells.iter().map(|c| basis.at(c.at_mm[0], c.at_mm[1])).collect(),
            frames: cells.iter().map(|c| axes(c.lab)).collect(),
            size_mm,
            stands_for,
        }
    }

    /// Damped Gauss–Newton from `theta`; the residuals at the end.
    fn solve(
        &self,
        theta: &mut Vec<f64>,
        scale: &mut f64,
        prior: &Prior<'_>,
        rounds: usize,
    ) -> Option<Vec<[f64; 3]>> {
        let mut damping = 1e-3;
        let mut errors = self.errors(theta);
        for round in 0..rounds {
            if round > 0 {
                *scale = robust_scale(&errors, self.cells).clamp(SCALE_RANGE.0, SCALE_RANGE.1);
            }
            let variances: Vec<f64> =
                self.cells.iter().map(|c| *scale * *scale + c.unsure * c.unsure).collect();
            let weights = self.student(&errors, &variances);
            let (normal, gradient) = self.normal(theta, &weights, None);
            let (normal, gradient) = prior.add(normal, gradient, theta);
            let cost = prior.cost(&errors, &weights, theta);
            // A step that does not help is shortened by more damping.
            let mut gained = 0.0;
            for _ in 0..6 {
                let mut damped = normal.clone();
                for i in 0..theta.len() {
                    damped.add(i, i, damping * normal.at(i, i));
                }
                let step = damped.factor()?.solve(&gradient);
                let next: Vec<f64> = theta.iter().zip(&step).map(|(t, s)| t - s).collect();
                let trial = self.errors(&next);
                let value = prior.cost(&trial, &weights, &next);
                if value.is_finite() && value <= cost && tone_is_monotone(&next) {
                    gained = cost - value;
                    *theta = next;
                    errors = trial;
                    damping = (damping * 0.2).max(1e-7);
                    break;
                }
                damping = (damping * 8.0).min(1e4);
            }
            if gained < 1e-4 * cost && round > 1 {
                break;
            }
        }
        Some(errors)
    }

    /// Weight of each cell: Student's t over three dimensions, over the cell's variance and its repeats.
    fn student(&self, errors: &[[f64; 3]], variances: &[f64]) -> Vec<f64> {
        errors
            .iter()
            .zip(variances)
            .map(|(e, v)| {
                let q = (e[0] * e[0] + e[1] * e[1] + e[2] * e[2]) / v;
                (STUDENT_DF + 3.0) / (STUDENT_DF + q) / (v * SPOT_CELLS) * self.stands_for
            })
            .collect()
    }

    fn errors(&self, theta: &[f64]) -> Vec<[f64; 3]> {
        (0..self.cells.len()).into_par_iter().with_min_len(128).map(|i| self.error(theta, i).0).collect()
    }

    /// Residual, q and the estimate of the reference's light.
    fn error(&self, theta: &[f64], i: usize) -> ([f64; 3], [f64; 3], [f64; 3]) {
        let cell = &self.cells[i];
        let place = place(cell.at_mm, self.size_mm);
        let light = log_light(theta, &self.phis[i], place);
        let mut q = [0.0; 3];
        for c in 0..3 {
            q[c] = exp((log_tone(theta, cell.photo[c]) - light[c]).clamp(-20.0, 5.0));
        }
        let veil: f64 = veils(place).iter().zip(&theta[VEIL..]).map(|(v, t)| v * t).sum();
        let mut estimate = [0.0; 3];
        for c in 0..3 {
            let a = &theta[A + 3 * c..A + 3 * c + 3];
            estimate[c] = a[0] * q[0] + a[1] * q[1] + a[2] * q[2] + theta[B + c] + veil;
        }
        let lab = lab_from_linear(estimate);
        let d = [lab.l - cell.lab.l, lab.a - cell.lab.a, lab.b - cell.lab.b];
        (apply(&self.frames[i], d), q, estimate)
    }

    fn linearise(&self, theta: &[f64], i: usize) -> Linearised {
        let cell = &self.cells[i];
        let (e, q, estimate) = self.error(theta, i);
        let place = place(cell.at_mm, self.size_mm);
        let k = product(&self.frames[i], &lab_jacobian(estimate));
        let n = theta.len();
        let mut rows = [vec![0.0; n], vec![0.0; n], vec![0.0; n]];
        // Columns of K A diag(q): what a change of ln q in each channel does.
        let mut channel = [[0.0; 3]; 3];
        for r in 0..3 {
            for c in 0..3 {
                let ka: f64 = (0..3).map(|m| k[r][m] * theta[A + 3 * m + c]).sum();
                channel[r][c] = ka * q[c];
            }
        }
        let terms = [0, 1, 2].map(|c| tone_terms(cell.photo[c]).1);
        let veil = veils(place);
        for r in 0..3 {
            let row = &mut rows[r];
            for m in 0..3 {
                for c in 0..3 {
                    row[A + 3 * m + c] = k[r][m] * q[c];
                }
                row[B + m] = k[r][m];
                row[TONE + m] = (0..3).map(|c| channel[r][c] * terms[c][m]).sum();
            }
            row[TINT] = -channel[r][0] * place[0];
            row[TINT + 1] = -channel[r][0] * place[1];
            row[TINT + 2] = -channel[r][2] * place[0];
            row[TINT + 3] = -channel[r][2] * place[1];
            let grey: f64 = k[r].iter().sum();
            for (t, v) in row[VEIL..VEIL + VEILS].iter_mut().zip(veil) {
                *t = grey * v;
            }
            let all: f64 = channel[r].iter().sum();
            for (t, p) in row[LIGHT..].iter_mut().zip(&self.phis[i]) {
                *t = -all * p;
            }
        }
        Linearised { e, rows }
    }

    /// JᵀWJ and JᵀWe over all cells, or over those of one label. Fixed chunks keep the sums' order.
    fn normal(
        &self,
        theta: &[f64],
        weights: &[f64],
        only: Option<(&[Labels], usize)>,
    ) -> (Symmetric, Vec<f64>) {
        const CHUNK: usize = 256;
        let n = theta.len();
        let count = self.cells.len();
        let parts: Vec<(Symmetric, Vec<f64>)> = (0..count.div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                pulp::Arch::new().dispatch(|| {
                    let mut normal = Symmetric::zeros(n);
                    let mut gradient = vec![0.0; n];
                    for i in chunk * CHUNK..((chunk + 1) * CHUNK).min(count) {
                        if only.is_some_and(|(inks, ink)| inks[i].kin != Some(ink)) {
                            continue;
                        }
                        let l = self.linearise(theta, i);
                        for r in 0..3 {
                            normal.add_outer(&l.rows[r], weights[i]);
                            let f = weights[i] * l.e[r];
                            for (g, v) in gradient.iter_mut().zip(&l.rows[r]) {
                                *g += f * v;
                            }
                        }
                    }
                    (normal, gradient)
                })
            })
            .collect();
        let mut normal = Symmetric::zeros(n);
        let mut gradient = vec![0.0; n];
        for (part, g) in parts {
            normal.add_scaled(&part, 1.0);
            for (a, b) in gradient.iter_mut().zip(g) {
                *a += b;
            }
        }
        (normal, gradient)
    }

    fn leave_each_out(
        &self,
        theta: &[f64],
        errors: &[[f64; 3]],
        weights: &[f64],
        prior: &Prior<'_>,
        inks: &[Labels],
        ink_count: usize,
    ) -> Vec<Option<LeftOut>> {
        let (all, gradient) = self.normal(theta, weights, None);
        let (all, gradient) = prior.add(all, gradient, theta);
        (0..ink_count)
            .map(|ink| {
                let own: Vec<usize> = (0..inks.len()).filter(|i| inks[*i].ink == Some(ink)).collect();
                if own.len() < 6 {
                    return None;
                }
                let (part, pull) = self.normal(theta, weights, Some((inks, ink)));
                let mut rest = all.clone();
                rest.add_scaled(&part, -1.0);
                let without: Vec<f64> = gradient.iter().zip(&pull).map(|(g, p)| g - p).collect();
                let factor = rest.factor()?;
                let step = factor.solve(&without);
                self.left_out(theta, errors, weights, &own, &factor, &step)
            })
            .collect()
    }

    fn left_out(
        &self,
        theta: &[f64],
        errors: &[[f64; 3]],
        weights: &[f64],
        own: &[usize],
        factor: &Factor,
        step: &[f64],
    ) -> Option<LeftOut> {
        let n = theta.len();
        // Cells of one ink by the variance that alignment leaves them, spots of a centimetre as one.
        let mut sum = 0.0;
        let mut mean_e = [0.0; 3];
        let mut mean_rows = [vec![0.0; n], vec![0.0; n], vec![0.0; n]];
        let robust = |i: usize| weights[i];
        for &i in own {
            let w = robust(i);
            let l = self.linearise(theta, i);
            sum += w;
            for r in 0..3 {
                mean_e[r] += w * errors[i][r];
                for (m, v) in mean_rows[r].iter_mut().zip(&l.rows[r]) {
                    *m += w * v;
                }
            }
        }
        if sum <= 0.0 || sum.is_nan() {
            return None;
        }
        let mut lch = [0.0; 3];
        let mut within = [0.0; 3];
        for r in 0..3 {
            within[r] = mean_e[r] / sum;
            for m in &mut mean_rows[r] {
                *m /= sum;
            }
            let moved: f64 = mean_rows[r].iter().zip(step).map(|(m, s)| m * s).sum();
            lch[r] = within[r] - moved;
        }
        let halves: Vec<Vec<f64>> = mean_rows.iter().map(|row| factor.forward(row)).collect();
        let mut camera = [[0.0; 3]; 3];
        for r in 0..3 {
            for c in 0..3 {
                camera[r][c] = halves[r].iter().zip(&halves[c]).map(|(a, b)| a * b).sum::<f64>();
            }
        }
        let scatter = self.scatter(own, errors, weights, within);
        let side = super::cells::CELL_MM;
        Some(LeftOut { lch, camera, within, scatter, area_mm2: own.len() as f64 * side * side })
    }

    /// Variance of an ink's mean from the scatter of spot means ([`SPOT_MM`] squares).
    fn scatter(&self, own: &[usize], errors: &[[f64; 3]], weights: &[f64], mean: [f64; 3]) -> [f64; 3] {
        let columns = (self.size_mm[0] / SPOT_MM).ceil().max(1.0) as usize + 1;
        let rows = (self.size_mm[1] / SPOT_MM).ceil().max(1.0) as usize + 1;
        let mut spots = vec![(0.0_f64, [0.0_f64; 3]); columns * rows];
        for &i in own {
            let at = self.cells[i].at_mm;
            let spot = (at[1] / SPOT_MM) as usize * columns + (at[0] / SPOT_MM) as usize;
            if let Some(s) = spots.get_mut(spot) {
                s.0 += weights[i];
                for r in 0..3 {
                    s.1[r] += weights[i] * (errors[i][r] - mean[r]);
                }
            }
        }
        let total: f64 = spots.iter().map(|s| s.0).sum();
        let filled = spots.iter().filter(|s| s.0 > 0.0).count() as f64;
        let mut out = [0.0; 3];
        for (r, o) in out.iter_mut().enumerate() {
            let square: f64 = spots.iter().map(|s| s.1[r] * s.1[r]).sum();
            *o = if filled > 1.5 {
                square / (total * total) * filled / (filled - 1.0)
            } else {
                // One spot says nothing of its scatter: the scale of a cell stands in.
                4.0
            };
        }
        out
    }
}

/// Side of a spot: cells within it share their light, gloss and grain.
const SPOT_MM: f64 = 8.0;
/// Cells that count as one independent one: a third of a spot's. Every weight is divided by it, so
/// that the priors keep their say against thousands of cells that repeat each other.
const SPOT_CELLS: f64 = 12.0;

fn apply(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|r| m[r][0] * v[0] + m[r][1] * v[1] + m[r][2] * v[2])
}

fn product(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let mut out = [[0.0; 3]; 3];
    for r in 0..3 {
        for c in 0..3 {
            out[r][c] = (0..3).map(|k| a[r][k] * b[k][c]).sum();
        }
    }
    out
}

/// ∂(L, a, b)/∂(R, G, B) of linear Rec. 709 light.
fn lab_jacobian(rgb: [f64; 3]) -> [[f64; 3]; 3] {
    let to_xyz = to_xyz();
    let white = WhitePoint::D65.xyz;
    let mut slope = [0.0; 3];
    for k in 0..3 {
        let t = (to_xyz[k][0] * rgb[0] + to_xyz[k][1] * rgb[1] + to_xyz[k][2] * rgb[2]) / white[k];
        slope[k] = if t > 216.0 / 24_389.0 {
            let root = casebook::elementary::cbrt(t);
            1.0 / (3.0 * root * root)
        } else {
            841.0 / 108.0
        } / white[k];
    }
    let mut out = [[0.0; 3]; 3];
    for c in 0..3 {
        let [x, y, z] = [0, 1, 2].map(|k| slope[k] * to_xyz[k][c]);
        out[0][c] = 116.0 * y;
        out[1][c] = 500.0 * (x - y);
        out[2][c] = 200.0 * (y - z);
    }
    out
}

fn to_xyz() -> [[f64; 3]; 3] {
    static MATRIX: std::sync::OnceLock<[[f64; 3]; 3]> = std::sync::OnceLock::new();
    *MATRIX.get_or_init(|| {
        RgbSpace::REC709.to_xyz().map_or([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], |m| m.0)
    })
}

/// Standard deviation of the flat cells about the model: from the median of the squared length
/// (2.366 is the median of χ² with three degrees of freedom).
fn robust_scale(errors: &[[f64; 3]], cells: &[Cell]) -> f64 {
    let mut squares: Vec<f64> = errors
        .iter()
        .zip(cells)
        .filter(|(_, c)| c.unsure < 1.0)
        .map(|(e, _)| e[0] * e[0] + e[1] * e[1] + e[2] * e[2])
        .collect();
    if squares.len() < 30 {
        squares = errors.iter().map(|e| e[0] * e[0] + e[1] * e[1] + e[2] * e[2]).collect();
    }
    squares.sort_by(f64::total_cmp);
    squares.get(squares.len() / 2).map_or(START_SCALE, |m| (m / 2.366).sqrt())
}
