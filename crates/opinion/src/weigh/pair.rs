//! One comparison, sealed against one alternative: choice of the model, the weight, its bounds and
//! its interval.
//!
//! In: rows of both classes and the item's cells. Out: [`PairWeight`].
//!
//! Sources: `stone1974` (cross-validation), `vergeer2016` (bounds), `rubin1981` (Bayesian bootstrap).

use rayon::prelude::*;

use super::Sample;
use super::calibrate::{Calibrator, ScorePoint, Way};
use super::density::{Base, ClassModel, Kin, Shape};
use super::outside::{is_outside, widening};
use crate::either_end::OpenedShares;
use crate::evaluate::{EmpiricalBounds, Scored, cllr, weighted_empirical_bounds};
use crate::numeric::order::quantile;
use crate::numeric::random::Random;
use crate::table::Cell;

/// Fewer specimens of a class than this give no density: the group then weighs nothing for it. Five
/// is the least at which leaving one out still leaves a spread and a correlation to estimate.
pub const MIN_SPECIMENS: usize = 5;
/// Resamples behind an interval: the 5 % point then rests on six of them.
pub const RESAMPLES: usize = 120;
/// Resampled weights are spread by this factor around the weight. Resampling holds the chosen model
/// and the cross-validated scores fixed, so its own spread is too small: over the generating models
/// of `tests/simulated.rs` (2026-11) plain 90 % intervals covered 79 %, with 1.5 they cover about 90 %.
const SPREAD: f64 = 1.5;
/// Fewer specimens of a class than this give no kernel and no stepwise calibration: with sixteen and
/// eight of the demonstration a kernel had the lowest cross-validated cost by chance and a higher one on
/// those left out. A library with as many of its own chooses its forms itself.
pub const MIN_FOR_OWN_FORM: usize = 30;
/// Of all candidates within that many standard errors of the cheapest, the simplest is taken: the
/// cheapest of many is so partly by luck. Source: `breiman1984` (its rule uses one).
const SIMPLER_WITHIN: f64 = 0.5;
/// A comparison speaks only when its cost lies that many standard errors below 1, the cost of
/// silence.
const BETTER_THAN_SILENCE: f64 = 1.0;
/// Up to so many specimens each is left out alone; more are left out in that many lots.
const MOST_FOLDS: usize = 100;
/// A row is used only when it has at least that share of the columns in question.
const MIN_SHARE_OF_COLUMNS: f64 = 0.5;

/// What cross-validation chose for one comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// The densities.
    pub shape: Shape,
    /// How scores become likelihood ratios.
    pub way: Way,
    /// Whether the classes could not be told apart surely enough: the comparison then weighs nothing.
    pub silent: bool,
    /// Whether the pack is weighed end by end and mixed over which of them was opened, instead of by the
    /// densities of both ends together.
    pub either_end: bool,
    /// Cost of the log likelihood ratio, unbounded: mean of the cross-validated one and of those on the
    /// sets that were held out.
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
    /// Unbounded values under resampled specimens, for the interval of a sum; see [`SPREAD`] in the
    /// source for how they are spread.
    pub replicates: Vec<f64>,
    /// Distinct specimens of both classes.
    pub specimens: [usize; 2],
    /// Cross-validated cost for the very columns that were read.
    pub cllr: f64,
    /// Whether cross-validation could not tell the classes apart; the weight is then 0.
    pub silent: bool,
    /// Columns that were read and used.
    pub columns: usize,
    /// Whether the item is outside both classes; the weight is then 0.
    pub outside: bool,
}

impl PairWeight {
    /// The weight of a pack from those of its ends, by what `mix` makes of their log10 ratios.
    ///
    /// A resample counts the same specimens in both ends, so that what they share stays shared.
    pub(crate) fn mixed(ends: &[&Self], mix: impl Fn(&[f64]) -> f64) -> Self {
        let of = |pick: fn(&Self) -> f64| mix(&ends.iter().map(|end| pick(end)).collect::<Vec<_>>());
        let resamples = ends.iter().map(|end| end.replicates.len()).min().unwrap_or(0);
        let replicates: Vec<f64> = (0..resamples)
            .map(|at| mix(&ends.iter().map(|end| end.replicates[at]).collect::<Vec<_>>()))
            .collect();
        let bounds = EmpiricalBounds { lower: of(|e| e.bounds.lower), upper: of(|e| e.bounds.upper) };
        let (unbounded, value) = (of(|e| e.unbounded), of(|e| e.value));
        let bound = |x: f64| x.clamp(bounds.lower, bounds.upper);
        let outside = ends.iter().all(|end| end.outside);
        let [low, high] = [0.05, 0.95].map(|q| if outside { 0.0 } else { bound(quantile(&replicates, q)) });
        Self {
            unbounded,
            value,
            low: low.min(value),
            high: high.max(value),
            bounds,
            replicates,
            specimens: [0, 1].map(|class| ends.iter().map(|e| e.specimens[class]).min().unwrap_or(0)),
            cllr: ends.iter().map(|e| e.cllr).fold(0.0, f64::max),
            silent: ends.iter().all(|e| e.silent),
            columns: ends.iter().map(|e| e.columns).sum(),
            outside,
        }
    }
}

/// Every density, simplest first: strong shrinkage before weak, shared before own scales. Where each class
/// is large enough to show its tails, normal ones are tried too, at the middle strength only.
fn shapes(enough: bool) -> Vec<Shape> {
    let forms = [(false, false), (false, true), (true, false), (true, true)];
    let of = |threshold: f64, normal: bool| {
        forms.map(|(own_scales, correlations)| Shape { own_scales, correlations, threshold, normal })
    };
    let mut all = [of(2.0, false), of(1.0, false), of(0.0, false)].concat();
    if enough {
        all.extend(of(1.0, true));
    }
    all
}

/// Number of distinct specimens of each class.
pub(crate) fn count(samples: &[Sample]) -> [usize; 2] {
    [0, 1].map(|class| {
        let mut ids: Vec<usize> = samples.iter().filter(|s| s.class == class).map(|s| s.specimen).collect();
        ids.sort_unstable();
        ids.dedup();
        ids.len()
    })
}

/// Chooses the model by its cost, `None` when a class has too few specimens.
///
/// # Input
/// `samples`: the specimens that are fitted. `held_out`: sets that share no specimen with them, over the
/// same columns; a form is judged by the mean of its cross-validated cost and of its cost on each of
/// these. A set that lacks a class is passed over.
#[must_use]
pub fn choose(samples: &[Sample], held_out: &[Vec<Sample>]) -> Option<Choice> {
    if count(samples).iter().any(|n| *n < MIN_SPECIMENS) {
        return None;
    }
    let enough = count(samples).iter().all(|n| *n >= MIN_FOR_OWN_FORM);
    let shapes = shapes(enough);
    let scores = left_out_scores(samples, &shapes)?;
    let held: Vec<(&[Sample], Vec<Vec<f64>>)> = held_out
        .iter()
        .filter(|set| count(set).iter().all(|n| *n >= MIN_SPECIMENS))
        .map(|set| Some((set.as_slice(), scores_of(samples, set, &shapes)?)))
        .collect::<Option<_>>()?;
    let ways: &[Way] = if enough { &[Way::Logistic, Way::Kernel, Way::Steps] } else { &[Way::Logistic] };
    let all: Vec<(Way, usize)> = ways.iter().flat_map(|way| (0..shapes.len()).map(|at| (*way, at))).collect();
    let tried: Vec<Option<(Shape, Way, Cost)>> = all
        .par_iter()
        .map(|(way, at)| {
            let own = &scores[*at].scores;
            let mut costs = vec![specimen_cost(samples, &left_out_ratios(samples, own, *way)?)];
            if !held.is_empty() {
                let fitted = calibrator(&points(samples, own, |_| 1.0), *way)?;
                for (set, of_set) in &held {
                    let ratios: Vec<f64> = of_set[*at].iter().map(|s| fitted.log10_lr(*s)).collect();
                    costs.push(specimen_cost(set, &ratios));
                }
            }
            Some((shapes[*at], *way, Cost::mean_of(&costs)))
        })
        .collect();
    let tried: Vec<(Shape, Way, Cost)> = tried.into_iter().flatten().collect();
    let best = tried.iter().map(|(.., cost)| *cost).min_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let limit = best.mean + SIMPLER_WITHIN * best.error;
    let (shape, way, cost) = tried.into_iter().find(|(.., cost)| cost.mean <= limit)?;
    Some(Choice { shape, way, silent: cost.is_silent(), either_end: false, cllr: cost.mean })
}

/// A class's rows of packs with both ends read: the ends of one sitting, top first.
#[derive(Debug, Clone)]
pub struct BothEnds {
    /// Index of the specimen among those of the single ends; one that is not among them lies beyond.
    pub specimen: usize,
    /// 0 sealed, 1 re-closed.
    pub class: usize,
    /// Its line and product.
    pub kin: Kin,
    /// Cells of each end over the columns of the table of single ends.
    pub ends: [Vec<Option<Cell>>; 2],
}

/// The choice for packs that are weighed end by end, judged like any other form: by the mean of its cost on
/// the specimens, each left out of everything in turn, and of its cost on each held-out set.
///
/// # Input
/// `single`: rows of single ends; `choice`: their form; `packs` and `held_out`: packs with both ends read.
///
/// # Result
/// `None` when the single ends cannot be told apart, or a class has too few packs.
#[must_use]
pub fn choose_either_end(
    single: &[Sample],
    choice: &Choice,
    shares: OpenedShares,
    packs: &[BothEnds],
    held_out: &[Vec<BothEnds>],
) -> Option<Choice> {
    let enough = |packs: &[BothEnds]| {
        let rows: Vec<Sample> = packs.iter().map(as_row).collect();
        count(&rows).iter().all(|n| *n >= MIN_SPECIMENS)
    };
    if choice.silent || !enough(packs) {
        return None;
    }
    let scores = left_out_scores(single, &[choice.shape])?.pop()?.scores;
    let mut costs = vec![cost_of(packs, &left_out_packs(single, &scores, choice, shares, packs)?)];
    let model = ClassModel::fit(&single.iter().collect::<Vec<_>>(), &[], choice.shape)?;
    let fitted = calibrator(&points(single, &scores, |_| 1.0), choice.way)?;
    for set in held_out.iter().filter(|set| enough(set)) {
        let ratios: Vec<f64> = set.iter().map(|pack| pack_ratio(pack, &model, &fitted, shares)).collect();
        costs.push(cost_of(set, &ratios));
    }
    let cost = Cost::mean_of(&costs);
    Some(Choice { silent: cost.is_silent(), either_end: true, cllr: cost.mean, ..*choice })
}

fn as_row(pack: &BothEnds) -> Sample {
    let Kin { line, product } = pack.kin;
    let [line, product] = [line, product].map(|at| at.unwrap_or(usize::MAX - 1));
    Sample { specimen: pack.specimen, line, product, class: pack.class, cells: Vec::new() }
}

/// Cost over packs; specimens are renumbered, because one of a held-out set may lie beyond all.
fn cost_of(packs: &[BothEnds], ratios: &[f64]) -> Cost {
    let mut ids: Vec<usize> = packs.iter().map(|p| p.specimen).collect();
    ids.sort_unstable();
    ids.dedup();
    let rows: Vec<Sample> = packs
        .iter()
        .map(|pack| Sample { specimen: ids.partition_point(|id| *id < pack.specimen), ..as_row(pack) })
        .collect();
    specimen_cost(&rows, ratios)
}

fn pack_ratio(pack: &BothEnds, model: &ClassModel, fitted: &Calibrator, shares: OpenedShares) -> f64 {
    let ends = pack.ends.each_ref().map(|cells| {
        let densities = model.log_densities(cells, pack.kin);
        fitted.log10_lr(densities.log[0] - densities.log[1])
    });
    shares.of_both(ends)
}

/// The log10 ratio of each pack with its specimen left out of the densities and of their calibration.
fn left_out_packs(
    single: &[Sample],
    scores: &[f64],
    choice: &Choice,
    shares: OpenedShares,
    packs: &[BothEnds],
) -> Option<Vec<f64>> {
    let fold = folds(single);
    let fold_of = |pack: &BothEnds| fold.get(pack.specimen).copied().unwrap_or(0);
    let lots: Vec<usize> = (0..MOST_FOLDS).collect();
    let of_lots: Vec<Option<Vec<(usize, f64)>>> = lots
        .par_iter()
        .map(|left| {
            let own: Vec<usize> = (0..packs.len()).filter(|at| fold_of(&packs[*at]) == *left).collect();
            if own.is_empty() {
                return Some(Vec::new());
            }
            let rest: Vec<&Sample> = single.iter().filter(|s| fold[s.specimen] != *left).collect();
            let model = ClassModel::fit(&rest, &[], choice.shape)?;
            let points = points(single, scores, |s| if fold[s] == *left { 0.0 } else { 1.0 });
            let fitted = calibrator(&points, choice.way)?;
            Some(own.into_iter().map(|at| (at, pack_ratio(&packs[at], &model, &fitted, shares))).collect())
        })
        .collect();
    let mut out = vec![0.0; packs.len()];
    for lot in of_lots {
        for (at, ratio) in lot? {
            out[at] = ratio;
        }
    }
    Some(out)
}

/// Scores of the rows of a set under densities fitted on all samples, for each shape.
fn scores_of(samples: &[Sample], set: &[Sample], shapes: &[Shape]) -> Option<Vec<Vec<f64>>> {
    let base = Base::fit(&samples.iter().collect::<Vec<_>>(), &[])?;
    let score = |model: &ClassModel, s: &Sample| {
        let densities = model.log_densities(&s.cells, kin(s));
        densities.log[0] - densities.log[1]
    };
    Some(
        shapes
            .iter()
            .map(|shape| {
                let model = base.shaped(*shape);
                set.iter().map(|s| score(&model, s)).collect()
            })
            .collect(),
    )
}

const fn kin(sample: &Sample) -> Kin {
    Kin { line: Some(sample.line), product: Some(sample.product) }
}

/// Which specimens are left out together: each alone while they are few, else [`MOST_FOLDS`] lots.
fn folds(samples: &[Sample]) -> Vec<usize> {
    let mut ids: Vec<usize> = samples.iter().map(|s| s.specimen).collect();
    ids.sort_unstable();
    ids.dedup();
    let top = ids.last().map_or(0, |id| id + 1);
    let mut fold = vec![0; top];
    for (at, id) in ids.iter().enumerate() {
        fold[*id] = at % MOST_FOLDS;
    }
    fold
}

/// Of each row of a lot: its index, and for each shape its score and its squared distance from its
/// own class, per feature.
type LotScores = Vec<(usize, Vec<[f64; 2]>)>;

/// Scores of all rows and their squared distances from their own class, per feature.
struct LeftOut {
    scores: Vec<f64>,
    distances: Vec<f64>,
}

/// The score of each row under densities fitted without its specimen, for each shape.
fn left_out_scores(samples: &[Sample], shapes: &[Shape]) -> Option<Vec<LeftOut>> {
    let fold = folds(samples);
    let lots: Vec<usize> = (0..MOST_FOLDS).collect();
    let of_lots: Vec<Option<LotScores>> = lots
        .par_iter()
        .map(|left| {
            let own: Vec<usize> =
                (0..samples.len()).filter(|at| fold[samples[*at].specimen] == *left).collect();
            if own.is_empty() {
                return Some(Vec::new());
            }
            let rest: Vec<&Sample> = samples.iter().filter(|s| fold[s.specimen] != *left).collect();
            let base = Base::fit(&rest, &[])?;
            let models: Vec<ClassModel> = shapes.iter().map(|shape| base.shaped(*shape)).collect();
            let score = |model: &ClassModel, at: usize| {
                let densities = model.log_densities(&samples[at].cells, kin(&samples[at]));
                let own = densities.squared_distance[samples[at].class.min(1)];
                [densities.log[0] - densities.log[1], own / densities.columns.max(1) as f64]
            };
            Some(own.into_iter().map(|at| (at, models.iter().map(|m| score(m, at)).collect())).collect())
        })
        .collect();
    let blank = || vec![0.0; samples.len()];
    let mut scores: Vec<LeftOut> =
        shapes.iter().map(|_| LeftOut { scores: blank(), distances: blank() }).collect();
    for lot in of_lots {
        for (at, row) in lot? {
            for (out, [score, distance]) in scores.iter_mut().zip(row) {
                out.scores[at] = score;
                out.distances[at] = distance;
            }
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

fn calibrator(points: &[ScorePoint], way: Way) -> Option<Calibrator> {
    match way {
        Way::Logistic => Some(Calibrator::logistic(points)),
        Way::Kernel => Calibrator::kernel(points),
        Way::Steps => Calibrator::steps(points),
    }
}

/// The log10 likelihood ratio of each row, calibrated without its specimen.
fn left_out_ratios(samples: &[Sample], scores: &[f64], way: Way) -> Option<Vec<f64>> {
    let fold = folds(samples);
    let mut ratios = vec![0.0; samples.len()];
    for left in 0..MOST_FOLDS {
        if !samples.iter().any(|s| fold[s.specimen] == left) {
            continue;
        }
        let rest = points(samples, scores, |s| if fold[s] == left { 0.0 } else { 1.0 });
        let fitted = calibrator(&rest, way)?;
        for (at, sample) in samples.iter().enumerate() {
            if fold[sample.specimen] == left {
                ratios[at] = fitted.log10_lr(scores[at]);
            }
        }
    }
    Some(ratios)
}

/// A cost with its standard error over specimens.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cost {
    mean: f64,
    error: f64,
}

impl Cost {
    /// Mean of the costs on several sets that share no specimen.
    fn mean_of(costs: &[Self]) -> Self {
        let n = costs.len() as f64;
        let mean = costs.iter().map(|c| c.mean).sum::<f64>() / n;
        let error = costs.iter().map(|c| c.error * c.error).sum::<f64>().sqrt() / n;
        Self { mean, error }
    }

    /// Whether it does not lie surely below the cost of silence.
    fn is_silent(&self) -> bool {
        self.mean + BETTER_THAN_SILENCE * self.error >= 1.0
    }
}

/// Cost over specimens: the rows of one specimen count once, by their mean.
fn specimen_cost(samples: &[Sample], ratios: &[f64]) -> Cost {
    let weights = row_weights(samples);
    let top = samples.iter().map(|s| s.specimen + 1).max().unwrap_or(0);
    let mut costs = [vec![0.0; top], vec![0.0; top]];
    let mut there = [vec![false; top], vec![false; top]];
    for ((sample, ratio), weight) in samples.iter().zip(ratios).zip(weights) {
        // The cost of a single ratio on its own side: twice the half that cllr gives it.
        let one = if sample.class == 0 {
            cllr(&Scored { first: vec![*ratio], second: vec![f64::NEG_INFINITY] })
        } else {
            cllr(&Scored { first: vec![f64::INFINITY], second: vec![*ratio] })
        };
        costs[sample.class][sample.specimen] += weight * 2.0 * one;
        there[sample.class][sample.specimen] = true;
    }
    let mut total = Cost { mean: 0.0, error: 0.0 };
    for (costs, there) in costs.iter().zip(&there) {
        let own: Vec<f64> = costs.iter().zip(there).filter(|(_, t)| **t).map(|(c, _)| *c).collect();
        let n = own.len() as f64;
        let mean = own.iter().sum::<f64>() / n;
        let variance = own.iter().map(|c| (c - mean) * (c - mean)).sum::<f64>() / (n - 1.0).max(1.0);
        total.mean += mean / 2.0;
        total.error += variance / n / 4.0;
    }
    Cost { mean: total.mean, error: total.error.sqrt() }
}

/// The rows over some of the columns, without those that lack most of these.
fn restrict(samples: &[Sample], used: &[usize]) -> Vec<Sample> {
    let needed = (MIN_SHARE_OF_COLUMNS * used.len() as f64).max(1.0);
    samples
        .iter()
        .map(|s| Sample {
            cells: used.iter().map(|c| s.cells.get(*c).copied().flatten()).collect(),
            ..s.clone()
        })
        .filter(|s| s.cells.iter().flatten().count() as f64 >= needed)
        .collect()
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
            let mut random =
                Random::new(hash ^ seed.rotate_left(17) ^ (replicate as u64).wrapping_mul(0x9e37_79b9));
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

/// One comparison over one set of columns, ready to weigh items that have just these.
#[derive(Debug, Clone)]
pub struct PairModel {
    used: Vec<usize>,
    model: ClassModel,
    calibrator: Calibrator,
    resampled: Vec<(ClassModel, Calibrator)>,
    bounds: EmpiricalBounds,
    widening: [f64; 2],
    specimens: [usize; 2],
    cllr: f64,
    silent: bool,
}

impl PairModel {
    /// Fits, calibrates and bounds for exactly these columns, so that a weight from few features
    /// rests on how those few tell specimens apart.
    ///
    /// # Input
    /// `samples`: rows of both classes over all columns of the table; `names`: the specimens' names
    /// by index; `used`: the columns that the item has; `choice`: from [`choose`]; `seed`: of the
    /// resamples; `resamples`: how many, [`RESAMPLES`] for an interval, 0 where only the value counts.
    ///
    /// # Result
    /// `None` when a class has fewer than [`MIN_SPECIMENS`] specimens with these columns.
    #[must_use]
    pub fn prepare(
        samples: &[Sample],
        names: &[String],
        used: &[usize],
        choice: &Choice,
        seed: u64,
        resamples: usize,
    ) -> Option<Self> {
        let samples = restrict(samples, used);
        let specimens = count(&samples);
        if used.is_empty() || specimens.iter().any(|n| *n < MIN_SPECIMENS) {
            return None;
        }
        let all: Vec<&Sample> = samples.iter().collect();
        let LeftOut { scores, distances } = left_out_scores(&samples, &[choice.shape])?.pop()?;
        let widening = [0, 1].map(|class| {
            let own = samples.iter().zip(&distances).filter(|(s, _)| s.class == class);
            widening(&own.map(|(_, distance)| *distance).collect::<Vec<_>>(), used.len())
        });
        let ratios = left_out_ratios(&samples, &scores, choice.way)?;
        let mut resampled = Vec::new();
        let mut bounds = EmpiricalBounds { lower: 0.0, upper: 0.0 };
        if !choice.silent {
            let weights = row_weights(&samples);
            let side = |class: usize| -> Vec<(f64, f64)> {
                let rows = samples.iter().zip(&ratios).zip(&weights).filter(|((s, _), _)| s.class == class);
                rows.map(|((_, ratio), weight)| (*ratio, *weight)).collect()
            };
            bounds = weighted_empirical_bounds(&side(0), &side(1));
            let numbers: Vec<usize> = (0..resamples).collect();
            let models: Option<Vec<(ClassModel, Calibrator)>> = numbers
                .par_iter()
                .map(|replicate| {
                    let multiplicity = scaled(&samples, multiplicities(names, seed, *replicate));
                    let model = ClassModel::fit(&all, &multiplicity, choice.shape)?;
                    let points = points(&samples, &scores, |s| multiplicity[s]);
                    Some((model, calibrator(&points, choice.way)?))
                })
                .collect();
            resampled = models?;
        }
        Some(Self {
            used: used.to_vec(),
            model: ClassModel::fit(&all, &[], choice.shape)?,
            calibrator: calibrator(&points(&samples, &scores, |_| 1.0), choice.way)?,
            resampled,
            bounds,
            widening,
            specimens,
            cllr: specimen_cost(&samples, &ratios).mean,
            silent: choice.silent,
        })
    }

    /// The bounded weight alone; see [`PairModel::weigh`].
    #[must_use]
    pub fn value(&self, cells: &[Option<Cell>], kin: Kin) -> f64 {
        let cells: Vec<Option<Cell>> = self.used.iter().map(|c| cells.get(*c).copied().flatten()).collect();
        let densities = self.model.log_densities(&cells, kin);
        if self.silent || is_outside(&densities, self.widening) {
            return 0.0;
        }
        let unbounded = self.calibrator.log10_lr(densities.log[0] - densities.log[1]);
        unbounded.clamp(self.bounds.lower, self.bounds.upper)
    }

    /// Weighs an item for sealed against the alternative. `cells`: all columns of the table;
    /// `kin`: its line and product among those of the samples, where any specimen has them.
    #[must_use]
    pub fn weigh(&self, cells: &[Option<Cell>], kin: Kin) -> PairWeight {
        let cells: Vec<Option<Cell>> = self.used.iter().map(|c| cells.get(*c).copied().flatten()).collect();
        let ratio = |model: &ClassModel, calibrator: &Calibrator| {
            let densities = model.log_densities(&cells, kin);
            calibrator.log10_lr(densities.log[0] - densities.log[1])
        };
        let outside = is_outside(&self.model.log_densities(&cells, kin), self.widening);
        let unbounded = ratio(&self.model, &self.calibrator);
        let spread = |other: f64| unbounded + SPREAD * (other - unbounded);
        let replicates: Vec<f64> = self.resampled.iter().map(|(m, c)| spread(ratio(m, c))).collect();
        let bound = |x: f64| if outside { 0.0 } else { x.clamp(self.bounds.lower, self.bounds.upper) };
        PairWeight {
            unbounded,
            value: bound(unbounded),
            low: bound(unbounded.min(quantile(&replicates, 0.05))),
            high: bound(unbounded.max(quantile(&replicates, 0.95))),
            bounds: self.bounds,
            replicates,
            specimens: self.specimens,
            cllr: self.cllr,
            silent: self.silent,
            columns: self.used.len(),
            outside,
        }
    }
}
