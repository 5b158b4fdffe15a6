//! One comparison, sealed against one alternative: choice of the model, the weight, its bounds and
//! its interval.
//!
//! In: rows of both classes and the item's cells. Out: [`PairWeight`].
//!
//! Sources: `stone1974` (cross-validation), `vergeer2016` (bounds), `rubin1981` (Bayesian bootstrap).

use super::Sample;
use super::calibrate::{Calibrator, ScorePoint};
use super::density::{ClassModel, Shape};
use super::outside::is_outside;
use crate::evaluate::{EmpiricalBounds, Scored, cllr, weighted_empirical_bounds};
use crate::numeric::order::quantile;
use crate::numeric::random::Random;
use crate::table::Cell;

/// Fewer specimens of a class than this give no density: the group then weighs nothing for it. Five
/// is the least at which leaving one out still leaves a spread and a correlation to estimate.
pub const MIN_SPECIMENS: usize = 5;
/// Resamples behind an interval: the 5 % point then rests on ten of them.
pub const RESAMPLES: usize = 200;
/// A kernel calibration must be cheaper by this much than the logistic one, being less stable.
const KERNEL_MARGIN: f64 = 0.02;
/// A row is used only when it has at least that share of the columns in question.
const MIN_SHARE_OF_COLUMNS: f64 = 0.5;

/// What cross-validation chose for one comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// The densities.
    pub shape: Shape,
    /// Whether scores are calibrated by kernel densities instead of logistic regression.
    pub kernel: bool,
    /// Cross-validated cost of the log likelihood ratio, unbounded.
    pub cllr: f64,
}

/// The weight of one item for sealed against one alternative.
#[derive(Debug, Clone, PartialEq)]
pub struct PairWeight {
    /// log10 likelihood ratio before bounding.
    pub unbounded: f64,
    /// After bounding.
    pub value: f64,
    /// Lower end of the 90 % interval, bounded.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The bounds that the specimens carry.
    pub bounds: EmpiricalBounds,
    /// Unbounded values under resampled specimens, for the interval of a sum.
    pub replicates: Vec<f64>,
    /// Distinct specimens of both classes.
    pub specimens: [usize; 2],
    /// Cross-validated cost for the very columns that were read.
    pub cllr: f64,
    /// Columns that were read and used.
    pub columns: usize,
    /// Whether the item is outside both classes; the weight is then 0.
    pub outside: bool,
}

/// Every candidate, simplest first.
fn candidates() -> impl Iterator<Item = Shape> {
    [1.0, 2.0, 0.0].into_iter().flat_map(|threshold| {
        [(false, false), (false, true), (true, false), (true, true)]
            .into_iter()
            .map(move |(own_scales, correlations)| Shape { own_scales, correlations, threshold })
    })
}

/// Number of distinct specimens of each class.
fn count(samples: &[Sample]) -> [usize; 2] {
    [0, 1].map(|class| {
        let mut ids: Vec<usize> = samples.iter().filter(|s| s.class == class).map(|s| s.specimen).collect();
        ids.sort_unstable();
        ids.dedup();
        ids.len()
    })
}

/// Chooses the model of least cross-validated cost, `None` when a class has too few specimens.
#[must_use]
pub fn choose(samples: &[Sample]) -> Option<Choice> {
    if count(samples).iter().any(|n| *n < MIN_SPECIMENS) {
        return None;
    }
    let mut best: Option<Choice> = None;
    for shape in candidates() {
        let Some(points) = left_out_scores(samples, shape) else { continue };
        for kernel in [false, true] {
            let ratios = left_out_ratios(samples, &points, kernel);
            let Some(ratios) = ratios else { continue };
            let cost = specimen_cllr(samples, &ratios);
            let margin = if kernel { KERNEL_MARGIN } else { 0.0 };
            if cost.is_finite() && best.is_none_or(|b| cost + margin < b.cllr - 1e-9) {
                best = Some(Choice { shape, kernel, cllr: cost });
            }
        }
    }
    best
}

/// The score of each row under densities fitted without its specimen.
fn left_out_scores(samples: &[Sample], shape: Shape) -> Option<Vec<f64>> {
    let all: Vec<&Sample> = samples.iter().collect();
    let top = samples.iter().map(|s| s.specimen + 1).max()?;
    let mut scores = vec![0.0; samples.len()];
    for specimen in 0..top {
        let own: Vec<usize> = (0..samples.len()).filter(|at| samples[*at].specimen == specimen).collect();
        if own.is_empty() {
            continue;
        }
        let rest: Vec<&Sample> = all.iter().copied().filter(|s| s.specimen != specimen).collect();
        let model = ClassModel::fit(&rest, &[], shape)?;
        for at in own {
            let densities = model.log_densities(&samples[at].cells, Some(samples[at].product));
            scores[at] = densities.log[0] - densities.log[1];
        }
    }
    Some(scores)
}

/// Rows of one specimen share its weight.
fn row_weights(samples: &[Sample]) -> Vec<f64> {
    let top = samples.iter().map(|s| s.specimen + 1).max().unwrap_or(0);
    let mut rows = vec![0.0_f64; top];
    for sample in samples {
        rows[sample.specimen] += 1.0;
    }
    samples.iter().map(|s| 1.0 / rows[s.specimen]).collect()
}

fn points(samples: &[Sample], scores: &[f64], multiplicity: impl Fn(usize) -> f64) -> Vec<ScorePoint> {
    let weights = row_weights(samples);
    samples
        .iter()
        .zip(scores)
        .zip(weights)
        .map(|((s, score), weight)| ScorePoint {
            score: *score,
            class: s.class,
            weight: weight * multiplicity(s.specimen),
        })
        .collect()
}

fn calibrator(points: &[ScorePoint], kernel: bool) -> Option<Calibrator> {
    if kernel { Calibrator::kernel(points) } else { Some(Calibrator::logistic(points)) }
}

/// The log10 likelihood ratio of each row, calibrated without its specimen.
fn left_out_ratios(samples: &[Sample], scores: &[f64], kernel: bool) -> Option<Vec<f64>> {
    let top = samples.iter().map(|s| s.specimen + 1).max()?;
    let mut ratios = vec![0.0; samples.len()];
    for specimen in 0..top {
        if !samples.iter().any(|s| s.specimen == specimen) {
            continue;
        }
        let rest = points(samples, scores, |s| if s == specimen { 0.0 } else { 1.0 });
        let fitted = calibrator(&rest, kernel)?;
        for (at, sample) in samples.iter().enumerate() {
            if sample.specimen == specimen {
                ratios[at] = fitted.log10_lr(scores[at]);
            }
        }
    }
    Some(ratios)
}

/// Cost over specimens: the mean over a specimen's rows counts once.
fn specimen_cllr(samples: &[Sample], ratios: &[f64]) -> f64 {
    let weights = row_weights(samples);
    let mut costs = [0.0; 2];
    let mut totals = [0.0; 2];
    for ((sample, ratio), weight) in samples.iter().zip(ratios).zip(weights) {
        // The cost of a single ratio on its own side: twice the half that cllr gives it.
        let one = if sample.class == 0 {
            cllr(&Scored { first: vec![*ratio], second: vec![f64::NEG_INFINITY] })
        } else {
            cllr(&Scored { first: vec![f64::INFINITY], second: vec![*ratio] })
        };
        costs[sample.class] += weight * 2.0 * one;
        totals[sample.class] += weight;
    }
    (costs[0] / totals[0] + costs[1] / totals[1]) / 2.0
}

/// Keeps the columns that were read, and the rows that have most of them.
fn restrict(samples: &[Sample], cells: &[Option<Cell>]) -> (Vec<Sample>, Vec<Option<Cell>>) {
    let used: Vec<usize> = (0..cells.len()).filter(|c| cells[*c].is_some()).collect();
    let needed = MIN_SHARE_OF_COLUMNS * used.len() as f64;
    let rows = samples
        .iter()
        .map(|s| Sample {
            cells: used.iter().map(|c| s.cells.get(*c).copied().flatten()).collect(),
            ..s.clone()
        })
        .filter(|s| s.cells.iter().flatten().count() as f64 >= needed.max(1.0))
        .collect();
    (rows, used.iter().map(|c| cells[*c]).collect())
}

/// How often each specimen counts in one resample: exponential deviates, the same in every group
/// for the same specimen name.
fn multiplicities(names: &[String], seed: u64, replicate: usize) -> Vec<f64> {
    names
        .iter()
        .map(|name| {
            // FNV-1a of the name picks the stream.
            let hash = name
                .bytes()
                .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
            let mut random = Random::new(hash ^ seed.rotate_left(17) ^ (replicate as u64).wrapping_mul(0x9e37_79b9));
            random.bits();
            -casebook::elementary::ln(1.0 - random.uniform())
        })
        .collect()
}

/// Multiplicities scaled so that each class counts as many specimens as it has.
fn scaled(samples: &[Sample], mut multiplicity: Vec<f64>) -> Vec<f64> {
    for class in 0..2 {
        let mut ids: Vec<usize> = samples.iter().filter(|s| s.class == class).map(|s| s.specimen).collect();
        ids.sort_unstable();
        ids.dedup();
        let sum: f64 = ids.iter().map(|id| multiplicity[*id]).sum();
        for id in &ids {
            multiplicity[*id] *= ids.len() as f64 / sum;
        }
    }
    multiplicity
}

/// Weighs an item for sealed against one alternative.
///
/// # Input
/// `samples`: rows of both classes over all columns of the table; `names`: the specimens' names by
/// index; `cells`, `product`: the item; `choice`: from [`choose`]; `seed`: of the resamples.
///
/// # Result
/// Calibration and bounds are recomputed for exactly the columns that the item has, so a weight from
/// few features rests on how those few tell specimens apart. `None` when a class has fewer than
/// [`MIN_SPECIMENS`] specimens with these columns, or nothing was read.
#[must_use]
pub fn weigh_pair(
    samples: &[Sample],
    names: &[String],
    cells: &[Option<Cell>],
    product: Option<usize>,
    choice: &Choice,
    seed: u64,
) -> Option<PairWeight> {
    let (samples, cells) = restrict(samples, cells);
    let specimens = count(&samples);
    if cells.is_empty() || specimens.iter().any(|n| *n < MIN_SPECIMENS) {
        return None;
    }
    let all: Vec<&Sample> = samples.iter().collect();
    let scores = left_out_scores(&samples, choice.shape)?;
    let ratios = left_out_ratios(&samples, &scores, choice.kernel)?;
    let weights = row_weights(&samples);
    let side = |class: usize| -> Vec<(f64, f64)> {
        samples
            .iter()
            .zip(&ratios)
            .zip(&weights)
            .filter(|((s, _), _)| s.class == class)
            .map(|((_, ratio), weight)| (*ratio, *weight))
            .collect()
    };
    let bounds = weighted_empirical_bounds(&side(0), &side(1));

    let model = ClassModel::fit(&all, &[], choice.shape)?;
    let densities = model.log_densities(&cells, product);
    let fitted = calibrator(&points(&samples, &scores, |_| 1.0), choice.kernel)?;
    let outside = is_outside(&densities);
    let unbounded = fitted.log10_lr(densities.log[0] - densities.log[1]);
    let mut replicates = Vec::new();
    for replicate in 0..RESAMPLES {
        let multiplicity = scaled(&samples, multiplicities(names, seed, replicate));
        let Some(model) = ClassModel::fit(&all, &multiplicity, choice.shape) else { continue };
        let densities = model.log_densities(&cells, product);
        let Some(fitted) = calibrator(&points(&samples, &scores, |s| multiplicity[s]), choice.kernel) else {
            continue;
        };
        replicates.push(fitted.log10_lr(densities.log[0] - densities.log[1]));
    }
    let bound = |x: f64| if outside { 0.0 } else { x.clamp(bounds.lower, bounds.upper) };
    Some(PairWeight {
        unbounded,
        value: bound(unbounded),
        low: bound(quantile(&replicates, 0.05).min(unbounded)),
        high: bound(quantile(&replicates, 0.95).max(unbounded)),
        bounds,
        replicates,
        specimens,
        cllr: specimen_cllr(&samples, &ratios),
        columns: cells.len(),
        outside,
    })
}
