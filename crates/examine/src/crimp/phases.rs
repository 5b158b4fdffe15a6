//! Phases of a known wave over the blocks of a strip, and their regression.
//!
//! In: a [`Modulation`] and a wave vector. Out: [`Blocks`] (a complex amplitude each) and their
//! [`Regression`] on place, which says how far the wave vector is off and how sure that is.
//! Never here: which wave to look for.
//!
//! A block is about [`BLOCK_PITCHES`] ridges long under a Hann window, so that its phase is not pulled
//! by what lies beside the wave in frequency. Blocks do not overlap: their noise is independent, and
//! what still keeps together from block to block (uneven film, drifting light) widens the variance.
//! Source: [`ieee1057`].

use std::f64::consts::PI;

use casebook::catalogue::RidgeDirection;
use casebook::elementary::{atan2, cos, hypot, sin};
use nalgebra::{DMatrix, DVector};

use super::spectrum::Modulation;

/// Length of a block in ridges, where ridges run inward and there are many.
pub const BLOCK_PITCHES: f64 = 4.0;
/// And where they run along the end, so that a band of seven ridges still has lines to compare.
const BLOCK_PITCHES_ACROSS: f64 = 2.0;
/// Height of a block along the ridges, mm.
const BLOCK_HEIGHT_MM: f64 = 3.2;
/// Share of a block that must be usable.
const MIN_BLOCK_USABLE: f64 = 0.5;
/// Residual phase in cycles beyond which a block counts less (Huber).
const HUBER_CYCLES: f64 = 0.08;
/// Blocks along one direction from which on a bend of the phase is fitted as well.
const BLOCKS_FOR_BEND: usize = 6;

/// One block's reading.
#[derive(Debug, Clone, Copy)]
pub struct Block {
    /// Centre along the end, mm.
    pub x_mm: f64,
    /// Centre inward, mm.
    pub d_mm: f64,
    /// Index along the ridges' normal.
    pub index_n: usize,
    /// Index along the ridges.
    pub index_t: usize,
    /// Real part of the wave.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
    /// Usable share, 0 to 1.
    pub usable: f64,
}

impl Block {
    /// Amplitude of the relative modulation.
    #[must_use]
    pub fn amplitude(&self) -> f64 {
        hypot(self.re, self.im)
    }
}

/// All blocks of a strip for one wave.
#[derive(Debug, Clone)]
pub struct Blocks {
    /// Blocks with enough usable samples, by index along the ridges, then along the normal.
    pub blocks: Vec<Block>,
    fx: f64,
    fy: f64,
    along_n: usize,
    along_t: usize,
}

/// A regression of phase on place.
#[derive(Debug, Clone)]
pub struct Regression {
    /// Correction of the frequency along the end, cycles per mm.
    pub slope_x: f64,
    /// Correction inward.
    pub slope_d: f64,
    /// Covariance of both slopes: xx, xd, dd.
    covariance: [f64; 3],
    /// Mean resultant length of the residual phases.
    pub coherence: f64,
    /// Blocks used.
    pub used: usize,
}

impl Regression {
    /// Variance of the slope in a direction (unit vector), (cycles per mm)².
    #[must_use]
    pub fn variance_of_slope(&self, ux: f64, uy: f64) -> f64 {
        let [xx, xd, dd] = self.covariance;
        (ux * ux * xx + 2.0 * ux * uy * xd + uy * uy * dd).max(0.0)
    }
}

/// How many blocks of at least `least` mm fit into `length` mm, at least `floor`.
fn count(length: f64, least: f64, floor: usize) -> usize {
    ((length / least) as usize).max(floor)
}

fn turning(frequency: f64, origin: f64, px_per_mm: f64, count: usize) -> Vec<(f64, f64)> {
    (0..count)
        .map(|i| {
            let angle = -2.0 * PI * frequency * (origin + i as f64 / px_per_mm);
            (cos(angle), sin(angle))
        })
        .collect()
}

impl Blocks {
    /// Reads the wave (`fx`, `fy`) in every block.
    #[must_use]
    pub fn of(field: &Modulation, direction: RidgeDirection, fx: f64, fy: f64) -> Self {
        let pitch = 1.0 / hypot(fx, fy);
        let (length, height) = field.size_mm();
        let (in_x, in_d) = match direction {
            RidgeDirection::Along => {
                (count(length, BLOCK_PITCHES * pitch, 2), count(height, BLOCK_HEIGHT_MM, 1))
            }
            RidgeDirection::Across => {
                (count(length, BLOCK_HEIGHT_MM, 1), count(height, BLOCK_PITCHES_ACROSS * pitch, 2))
            }
        };
        let turn_x = turning(fx, field.x0_mm, field.px_per_mm, field.width);
        let turn_d = turning(fy, field.d0_mm, field.px_per_mm, field.height);
        let mut blocks = Vec::new();
        for b in 0..in_d {
            let rows = (b * field.height / in_d, (b + 1) * field.height / in_d);
            for a in 0..in_x {
                let columns = (a * field.width / in_x, (a + 1) * field.width / in_x);
                let (index_n, index_t) = match direction {
                    RidgeDirection::Along => (a, b),
                    RidgeDirection::Across => (b, a),
                };
                if let Some(mut block) = read(field, direction, columns, rows, &turn_x, &turn_d) {
                    block.index_n = index_n;
                    block.index_t = index_t;
                    blocks.push(block);
                }
            }
        }
        blocks.sort_by_key(|b| (b.index_t, b.index_n));
        let (along_n, along_t) = match direction {
            RidgeDirection::Along => (in_x, in_d),
            RidgeDirection::Across => (in_d, in_x),
        };
        Self { blocks, fx, fy, along_n, along_t }
    }

    /// Phases in cycles, made continuous from block to block along the normal, and from line to line.
    fn unwrapped(&self) -> Vec<f64> {
        let mut phases: Vec<f64> = Vec::with_capacity(self.blocks.len());
        for (at, block) in self.blocks.iter().enumerate() {
            let raw = atan2(block.im, block.re) / (2.0 * PI);
            // The strongest of the neighbours already read is followed.
            let mut near: Option<(f64, f64)> = None;
            for (other, phase) in self.blocks[..at].iter().zip(&phases) {
                let same_line = other.index_t == block.index_t && block.index_n - other.index_n <= 2;
                let line_above = other.index_n == block.index_n && block.index_t - other.index_t == 1;
                if same_line || line_above {
                    let strength = other.amplitude() / (1 + block.index_n.abs_diff(other.index_n)) as f64;
                    if near.is_none_or(|(best, _)| strength > best) {
                        near = Some((strength, *phase));
                    }
                }
            }
            let reference = near.map_or(0.0, |(_, phase)| phase);
            phases.push(raw + (reference - raw).round());
        }
        phases
    }

    /// Regresses the phases on place by robust weighted least squares.
    #[must_use]
    pub fn regress(&self) -> Option<Regression> {
        let used = self.blocks.len();
        if used < 4 {
            return None;
        }
        let phases = DVector::from_vec(self.unwrapped());
        let design = self.design();
        let columns = design.ncols();
        if used <= columns {
            return None;
        }
        let mut amplitudes: Vec<f64> = self.blocks.iter().map(Block::amplitude).collect();
        let middle = amplitudes.len() / 2;
        let (_, median, _) = amplitudes.select_nth_unstable_by(middle, f64::total_cmp);
        let scale = median.max(1e-12);
        let base: Vec<f64> = self
            .blocks
            .iter()
            .map(|b| {
                let relative = (b.amplitude() / scale).min(1.5);
                b.usable * relative * relative
            })
            .collect();
        let mut weights = base.clone();
        let mut solution = None;
        for _ in 0..4 {
            let (beta, inverse) = solve(&design, &phases, &weights)?;
            let residual = &phases - &design * &beta;
            for ((w, b), r) in weights.iter_mut().zip(&base).zip(residual.iter()) {
                *w = b * (HUBER_CYCLES / r.abs().max(HUBER_CYCLES));
            }
            solution = Some((beta, inverse, residual));
        }
        let (beta, inverse, residual) = solution?;
        let (mut rss, mut weight) = (0.0, 0.0);
        for (w, r) in weights.iter().zip(residual.iter()) {
            rss += w * r * r;
            weight += w;
        }
        let freedom = (used - columns) as f64;
        let scatter = rss / freedom;
        let (between, lines) =
            self.line_scatter(&residual, &weights, if self.along_n >= BLOCKS_FOR_BEND { 3.0 } else { 2.0 });
        // What a slope along the normal rests on: single blocks, or lines of blocks that move together.
        let variance = scatter.max(between) * self.inflation(&residual, &weights) * small_sample(lines);
        let covariance = [inverse[(1, 1)] * variance, inverse[(1, 2)] * variance, inverse[(2, 2)] * variance];
        let coherence = mean_resultant(residual.iter().copied());
        (weight > 0.0).then_some(Regression {
            slope_x: beta[1],
            slope_d: beta[2],
            covariance,
            coherence,
            used,
        })
    }

    fn centre(&self) -> (f64, f64) {
        let n = self.blocks.len().max(1) as f64;
        let sum = self.blocks.iter().fold((0.0, 0.0), |(x, d), b| (x + b.x_mm, d + b.d_mm));
        (sum.0 / n, sum.1 / n)
    }

    /// Columns: 1, x, d; where there are blocks enough, a bend along the normal (the pitch drifts) and
    /// bends along the ridges (the seal bows), each made orthogonal to 1.
    fn design(&self) -> DMatrix<f64> {
        let (cx, cd) = self.centre();
        let frequency = hypot(self.fx, self.fy);
        let (ux, ud) = (self.fx / frequency, self.fy / frequency);
        let normal = |b: &Block| (b.x_mm - cx) * ux + (b.d_mm - cd) * ud;
        let tangent = |b: &Block| (b.d_mm - cd) * ux - (b.x_mm - cx) * ud;
        let mut columns: Vec<Vec<f64>> = vec![
            vec![1.0; self.blocks.len()],
            self.blocks.iter().map(|b| b.x_mm - cx).collect(),
            self.blocks.iter().map(|b| b.d_mm - cd).collect(),
        ];
        let mut power = |place: &dyn Fn(&Block) -> f64, exponent: usize| {
            let values: Vec<f64> =
                self.blocks.iter().map(|b| (0..exponent).fold(1.0, |p, _| p * place(b) / 10.0)).collect();
            let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
            columns.push(values.iter().map(|v| v - mean).collect());
        };
        if self.along_n >= BLOCKS_FOR_BEND {
            power(&normal, 2);
        }
        if self.along_t >= BLOCKS_FOR_BEND {
            power(&tangent, 2);
            power(&tangent, 3);
        }
        DMatrix::from_fn(self.blocks.len(), columns.len(), |row, column| columns[column][row])
    }

    /// How well neighbouring blocks keep step, 0 to 1: length of the mean of unit vectors of the phase
    /// from block to block along the normal and along the ridges, each about its own mean. No phase
    /// needs to be made continuous for it, and a bow of the whole seal does not lower it.
    #[must_use]
    pub fn step_coherence(&self) -> f64 {
        let mut sums = [(0.0, 0.0, 0.0); 2];
        for (at, b) in self.blocks.iter().enumerate() {
            for other in &self.blocks[at + 1..] {
                let along = other.index_t == b.index_t && other.index_n == b.index_n + 1;
                let beside = other.index_n == b.index_n && other.index_t == b.index_t + 1;
                if !along && !beside {
                    continue;
                }
                let (re, im) = (b.re * other.re + b.im * other.im, b.re * other.im - b.im * other.re);
                let length = hypot(re, im);
                if length > 0.0 {
                    let sum = &mut sums[usize::from(beside)];
                    sum.0 += re / length;
                    sum.1 += im / length;
                    sum.2 += 1.0;
                }
            }
        }
        let pairs: f64 = sums.iter().map(|s| s.2).sum();
        if pairs < 3.0 { 0.0 } else { sums.iter().map(|s| hypot(s.0, s.1)).sum::<f64>() / pairs }
    }

    /// Residual phases of the blocks after their own regression: (x mm, d mm, cycles, amplitude).
    #[must_use]
    pub fn residuals(&self, _last: &Regression) -> Vec<(f64, f64, f64, f64)> {
        let design = self.design();
        let phases = DVector::from_vec(self.unwrapped());
        let weights: Vec<f64> = self.blocks.iter().map(|b| b.usable * b.amplitude()).collect();
        let Some((beta, _)) = solve(&design, &phases, &weights) else { return Vec::new() };
        let residual = &phases - &design * &beta;
        let pairs = self.blocks.iter().zip(residual.iter());
        pairs.map(|(b, r)| (b.x_mm, b.d_mm, *r, b.amplitude())).collect()
    }

    /// Residuals averaged along the ridges: (weighted sum, weight) a line.
    fn lines(&self, residual: &DVector<f64>, weights: &[f64]) -> Vec<(f64, f64)> {
        let mut lines = vec![(0.0, 0.0); self.along_n];
        for ((b, r), w) in self.blocks.iter().zip(residual.iter()).zip(weights) {
            lines[b.index_n].0 += w * r;
            lines[b.index_n].1 += w;
        }
        lines
    }

    /// Variance of a block of unit weight as the lines of blocks show it, and the lines' degrees of
    /// freedom. Blocks above one another see the same ridge; where a ridge is out of place they are so
    /// together, and their number says nothing.
    fn line_scatter(&self, residual: &DVector<f64>, weights: &[f64], terms: f64) -> (f64, f64) {
        let lines = self.lines(residual, weights);
        let used = lines.iter().filter(|l| l.1 > 0.0).count() as f64;
        let squares: f64 = lines.iter().filter(|l| l.1 > 0.0).map(|l| l.0 * l.0 / l.1).sum();
        let freedom = used - terms;
        if freedom < 1.0 { (0.0, 1.0) } else { (squares / freedom, freedom) }
    }

    /// How much neighbouring lines keep together, as a factor on the variance of a slope:
    /// (1 + ρ) / (1 − ρ) with the lag-one correlation ρ along the normal.
    fn inflation(&self, residual: &DVector<f64>, weights: &[f64]) -> f64 {
        let lines = self.lines(residual, weights);
        let means: Vec<f64> = lines.iter().filter(|l| l.1 > 0.0).map(|l| l.0 / l.1).collect();
        if means.len() < BLOCKS_FOR_BEND {
            return 1.0;
        }
        let power: f64 = means.iter().map(|m| m * m).sum();
        let lag: f64 = means.windows(2).map(|p| p[0] * p[1]).sum();
        let n = means.len() as f64;
        // Residuals of a fit with a bend are pushed apart by about −3 / n; undo that.
        let rho = (lag / power.max(1e-30) * n / (n - 1.0) + 3.0 / n).clamp(0.0, 0.75);
        (1.0 + rho) / (1.0 - rho)
    }

    /// Mean amplitude at the wave and at twice its frequency.
    #[must_use]
    pub fn mean_amplitudes(&self, field: &Modulation, direction: RidgeDirection) -> (f64, f64) {
        let mean =
            |blocks: &[Block]| blocks.iter().map(Block::amplitude).sum::<f64>() / blocks.len().max(1) as f64;
        let first = mean(&self.blocks);
        if 2.0 * hypot(self.fx, self.fy) > 0.48 * field.px_per_mm {
            return (first, 0.0);
        }
        let doubled = Self::of(field, direction, 2.0 * self.fx, 2.0 * self.fy);
        (first, mean(&doubled.blocks))
    }
}

/// Factor on a variance so that one standard uncertainty still holds 68 % when few degrees of freedom
/// speak for it: the square of Student's t at 68.27 %, by its expansion in 1 / freedom.
///
/// Source: [`jcgm100`], G.3 and table G.2: 1.84, 1.32, 1.20, 1.14, 1.11 for 1 to 5.
fn small_sample(freedom: f64) -> f64 {
    let t = 1.0 + 0.43 / freedom + 0.41 / (freedom * freedom * freedom);
    t * t
}

/// Length of the mean of unit vectors at these phases (cycles), 0 to 1.
#[must_use]
pub fn mean_resultant(phases: impl Iterator<Item = f64>) -> f64 {
    let (mut c, mut s, mut n) = (0.0, 0.0, 0.0);
    for phase in phases {
        c += cos(2.0 * PI * phase);
        s += sin(2.0 * PI * phase);
        n += 1.0;
    }
    if n > 0.0 { hypot(c, s) / n } else { 0.0 }
}

fn read(
    field: &Modulation,
    direction: RidgeDirection,
    columns: (usize, usize),
    rows: (usize, usize),
    turn_x: &[(f64, f64)],
    turn_d: &[(f64, f64)],
) -> Option<Block> {
    let (wide, tall) = (columns.1 - columns.0, rows.1 - rows.0);
    if wide == 0 || tall == 0 {
        return None;
    }
    let long = match direction {
        RidgeDirection::Along => wide,
        RidgeDirection::Across => tall,
    };
    let window: Vec<f64> =
        (0..long).map(|i| 0.5 - 0.5 * cos(2.0 * PI * (i as f64 + 0.5) / long as f64)).collect();
    let (mut re, mut im, mut weight, mut used) = (0.0, 0.0, 0.0, 0.0);
    for row in rows.0..rows.1 {
        let (mut line_re, mut line_im) = (0.0, 0.0);
        for column in columns.0..columns.1 {
            let at = row * field.width + column;
            let share = f64::from(field.weight[at]);
            let hann = match direction {
                RidgeDirection::Along => window[column - columns.0],
                RidgeDirection::Across => window[row - rows.0],
            };
            let w = share * hann;
            let v = w * f64::from(field.value[at]);
            line_re += v * turn_x[column].0;
            line_im += v * turn_x[column].1;
            weight += w;
            used += share;
        }
        let (c, s) = turn_d[row];
        re += line_re * c - line_im * s;
        im += line_re * s + line_im * c;
    }
    let usable = used / (wide * tall) as f64;
    if usable < MIN_BLOCK_USABLE || weight <= 0.0 {
        return None;
    }
    let middle = |range: (usize, usize)| (range.0 + range.1 - 1) as f64 / 2.0;
    Some(Block {
        x_mm: field.x0_mm + middle(columns) / field.px_per_mm,
        d_mm: field.d0_mm + middle(rows) / field.px_per_mm,
        index_n: 0,
        index_t: 0,
        // Twice: a real wave of amplitude a has a / 2 at its frequency.
        re: 2.0 * re / weight,
        im: 2.0 * im / weight,
        usable,
    })
}

/// Weighted least squares: the solution and the inverse normal matrix.
fn solve(design: &DMatrix<f64>, y: &DVector<f64>, weights: &[f64]) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let n = design.ncols();
    let mut normal = DMatrix::zeros(n, n);
    let mut right = DVector::zeros(n);
    for (row, w) in weights.iter().enumerate() {
        for i in 0..n {
            right[i] += w * design[(row, i)] * y[row];
            for j in 0..n {
                normal[(i, j)] += w * design[(row, i)] * design[(row, j)];
            }
        }
    }
    // One line of blocks says nothing of the slope along the ridges: hold that slope at zero.
    for i in 0..n {
        if normal[(i, i)] <= 1e-9 {
            normal[(i, i)] = 1.0;
        }
    }
    let inverse = normal.try_inverse()?;
    let beta = &inverse * right;
    beta.iter().all(|v| v.is_finite()).then_some((beta, inverse))
}
