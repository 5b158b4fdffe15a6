//! From scores to log10 likelihood ratios.
//!
//! Three ways: logistic regression, regularised towards leaving the score as it is; kernel densities;
//! and pool adjacent violators. Which one is used is decided by cross-validated cost (see `pair`).
//!
//! Sources: `brummer2006`, `morrison2013` (logistic), `silverman1986` (bandwidth), `ayer1955` (pool
//! adjacent violators).

pub use casebook::calibration::Way;
use casebook::elementary::{exp, ln, log10, pow};

/// A score with its class (0 sealed, 1 alternative) and weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScorePoint {
    /// Natural log of the density ratio.
    pub score: f64,
    /// 0 or 1.
    pub class: usize,
    /// How much it counts.
    pub weight: f64,
}

/// A fitted way from a score to a log10 likelihood ratio.
#[derive(Debug, Clone, PartialEq)]
pub enum Calibrator {
    /// `offset + slope × score`, natural logarithms.
    Logistic {
        /// Natural log units.
        offset: f64,
        /// At least 0: a larger score never weighs less.
        slope: f64,
    },
    /// Ratio of two kernel densities.
    Kernel {
        /// Scores of the sealed specimens and their bandwidth.
        first: (Vec<f64>, f64),
        /// Scores of the alternative and their bandwidth.
        second: (Vec<f64>, f64),
    },
    /// Steps: up to each score the log10 likelihood ratio beside it, the last one beyond all.
    Steps(Vec<(f64, f64)>),
}

/// Scores are cut here before they are calibrated: beyond it they carry no further information.
const SCORE_LIMIT: f64 = 60.0;

impl Calibrator {
    /// Regularised logistic regression with both classes weighing the same.
    ///
    /// The penalty is that of normal priors of unit width on `offset` around 0 and on `slope` around
    /// 1, against as many observations as the smaller class has specimens: perfectly separated
    /// scores then give a finite slope.
    #[must_use]
    pub fn logistic(points: &[ScorePoint]) -> Self {
        let total = |class| points.iter().filter(|p| p.class == class).map(|p| p.weight).sum::<f64>();
        let (n0, n1) = (total(0), total(1));
        let carried = n0.min(n1);
        let (mut offset, mut slope) = (0.0, 1.0);
        if carried <= 0.0 {
            return Self::Logistic { offset, slope: 0.0 };
        }
        for _ in 0..50 {
            // Gradient and Hessian of the penalised negative log likelihood.
            let (mut g0, mut g1) = (offset, slope - 1.0);
            let (mut h00, mut h01, mut h11) = (1.0, 0.0, 1.0);
            for p in points {
                let weight = p.weight * carried / if p.class == 0 { n0 } else { n1 };
                let x = p.score.clamp(-SCORE_LIMIT, SCORE_LIMIT);
                let probability = 1.0 / (1.0 + exp(-(offset + slope * x)));
                let target = if p.class == 0 { 1.0 } else { 0.0 };
                let gradient = weight * (probability - target);
                let curvature = weight * probability * (1.0 - probability);
                g0 += gradient;
                g1 += gradient * x;
                h00 += curvature;
                h01 += curvature * x;
                h11 += curvature * x * x;
            }
            let determinant = h00 * h11 - h01 * h01;
            let step0 = (h11 * g0 - h01 * g1) / determinant;
            let step1 = (h00 * g1 - h01 * g0) / determinant;
            // The problem is convex: the step is halved until it lowers the cost.
            let before = penalised_cost(points, [n0, n1], offset, slope);
            let mut length = 1.0;
            while length > 1e-6
                && penalised_cost(points, [n0, n1], offset - length * step0, slope - length * step1) > before
            {
                length *= 0.5;
            }
            offset -= length * step0;
            slope -= length * step1;
            if step0.abs() + step1.abs() < 1e-7 {
                break;
            }
        }
        Self::Logistic { offset, slope: slope.max(0.0) }
    }

    /// Kernel densities with Silverman's bandwidth, each class by itself.
    #[must_use]
    pub fn kernel(points: &[ScorePoint]) -> Option<Self> {
        let of = |class| {
            let values: Vec<f64> = points
                .iter()
                .filter(|p| p.class == class && p.weight > 0.0)
                .map(|p| p.score.clamp(-SCORE_LIMIT, SCORE_LIMIT))
                .collect();
            let bandwidth = silverman_bandwidth(&values);
            (values.len() > 2 && bandwidth > 0.0).then_some((values, bandwidth))
        };
        Some(Self::Kernel { first: of(0)?, second: of(1)? })
    }

    /// Pool adjacent violators, with one misleading specimen added on each side so that no step is
    /// infinite. Steps meet half-way between the scores on either side.
    #[must_use]
    pub fn steps(points: &[ScorePoint]) -> Option<Self> {
        let mut all: Vec<(f64, [f64; 2])> = points
            .iter()
            .filter(|p| p.weight > 0.0)
            .map(|p| {
                let own = if p.class == 0 { [p.weight, 0.0] } else { [0.0, p.weight] };
                (p.score.clamp(-SCORE_LIMIT, SCORE_LIMIT), own)
            })
            .collect();
        all.push((-SCORE_LIMIT - 1.0, [1.0, 0.0]));
        all.push((SCORE_LIMIT + 1.0, [0.0, 1.0]));
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let totals = all.iter().fold([0.0, 0.0], |sum, (_, w)| [sum[0] + w[0], sum[1] + w[1]]);
        if totals[0] <= 1.0 || totals[1] <= 1.0 {
            return None;
        }
        // Blocks: first and last score, weights of both classes; the share of sealed must rise.
        let share = |w: &[f64; 2]| (w[0] / totals[0]) / (w[0] / totals[0] + w[1] / totals[1]);
        let mut blocks: Vec<(f64, f64, [f64; 2])> = Vec::new();
        for (score, weight) in all {
            match blocks.last_mut() {
                Some(last) if last.1 == score => last.2 = [last.2[0] + weight[0], last.2[1] + weight[1]],
                _ => blocks.push((score, score, weight)),
            }
            // A tie may still grow, so violators are pooled when the next score comes or at the end.
        }
        let mut pooled: Vec<(f64, f64, [f64; 2])> = Vec::new();
        for block in blocks {
            pooled.push(block);
            while let [.., before, last] = pooled.as_slice()
                && share(&before.2) >= share(&last.2)
            {
                let merged = (before.0, last.1, [before.2[0] + last.2[0], before.2[1] + last.2[1]]);
                pooled.truncate(pooled.len() - 2);
                pooled.push(merged);
            }
        }
        // The added specimens keep every share between 0 and 1 once their blocks hold both classes; a
        // block of one class alone takes the ratio that one specimen of the other would leave.
        let ratio = |w: &[f64; 2]| {
            let held = [w[0].max(0.5), w[1].max(0.5)];
            log10((held[0] / totals[0]) / (held[1] / totals[1]))
        };
        let steps = pooled
            .iter()
            .enumerate()
            .map(|(at, block)| {
                let end = pooled.get(at + 1).map_or(f64::INFINITY, |next| (block.1 + next.0) / 2.0);
                (end, ratio(&block.2))
            })
            .collect();
        Some(Self::Steps(steps))
    }

    /// The log10 likelihood ratio of a score.
    #[must_use]
    pub fn log10_lr(&self, score: f64) -> f64 {
        let x = score.clamp(-SCORE_LIMIT, SCORE_LIMIT);
        match self {
            Self::Logistic { offset, slope } => (offset + slope * x) / std::f64::consts::LN_10,
            Self::Kernel { first, second } => {
                // Beyond the outermost scores kernels only compare their own tails.
                let all = || first.0.iter().chain(&second.0).copied();
                let (low, high) =
                    (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
                kde_log10_lr(x.max(low).min(high), &first.0, first.1, &second.0, second.1)
            }
            Self::Steps(steps) => {
                let at = steps.partition_point(|(end, _)| *end < x).min(steps.len().saturating_sub(1));
                steps.get(at).map_or(0.0, |step| step.1)
            }
        }
    }
}

/// What the logistic regression minimises.
fn penalised_cost(points: &[ScorePoint], totals: [f64; 2], offset: f64, slope: f64) -> f64 {
    let carried = totals[0].min(totals[1]);
    let mut cost = 0.5 * (offset * offset + (slope - 1.0) * (slope - 1.0));
    for p in points {
        let x = offset + slope * p.score.clamp(-SCORE_LIMIT, SCORE_LIMIT);
        // ln(1 + e^(∓x)) without overflow.
        let wrong = if p.class == 0 { -x } else { x };
        let loss = wrong.max(0.0) + casebook::elementary::ln_1p(exp(-wrong.abs()));
        cost += p.weight * carried / totals[p.class] * loss;
    }
    cost
}

/// Silverman's rule of thumb for a normal kernel: `σ (4 / 3n)^(1/5)`, with the standard deviation of
/// the values as they are (divisor n). Source: `silverman1986`.
#[must_use]
pub fn silverman_bandwidth(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
    variance.sqrt() * pow(4.0 / (3.0 * n), 0.2)
}

/// Natural log of a normal kernel density at `x`, by log-sum-exp so that far tails stay finite.
fn ln_kde(x: f64, values: &[f64], bandwidth: f64) -> f64 {
    let exponents: Vec<f64> = values
        .iter()
        .map(|v| {
            let z = (x - v) / bandwidth;
            -0.5 * z * z
        })
        .collect();
    let top = exponents.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = exponents.iter().map(|e| exp(e - top)).sum();
    top + ln(sum) - ln(values.len() as f64 * bandwidth * (2.0 * std::f64::consts::PI).sqrt())
}

/// Log10 ratio of two normal kernel densities at `x`.
#[must_use]
pub fn kde_log10_lr(x: f64, first: &[f64], h_first: f64, second: &[f64], h_second: f64) -> f64 {
    (ln_kde(x, first, h_first) - ln_kde(x, second, h_second)) / std::f64::consts::LN_10
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separated_scores_give_a_finite_slope() {
        let points: Vec<ScorePoint> = (0..40)
            .map(|i| ScorePoint {
                score: if i < 20 { 10.0 } else { -10.0 },
                class: usize::from(i >= 20),
                weight: 1.0,
            })
            .collect();
        let Calibrator::Logistic { offset, slope } = Calibrator::logistic(&points) else { unreachable!() };
        assert!(offset.abs() < 1e-6 && (1.0..1.5).contains(&slope), "{offset} {slope}");
    }

    #[test]
    fn steps_rise_and_stay_finite() {
        let points: Vec<ScorePoint> = (0..60)
            .map(|i| ScorePoint {
                score: f64::from(i % 30) / 3.0 - if i < 30 { 2.0 } else { 8.0 },
                class: usize::from(i >= 30),
                weight: 1.0,
            })
            .collect();
        let fitted = Calibrator::steps(&points).unwrap();
        let values: Vec<f64> = (-200..200).map(|i| fitted.log10_lr(f64::from(i) / 10.0)).collect();
        assert!(values.windows(2).all(|w| w[0] <= w[1] + 1e-12));
        // 30 and 30 items, one misleading on each side: no step beyond log10(2 · 31).
        assert!(values.iter().all(|v| v.is_finite() && v.abs() <= log10(62.0) + 1e-9), "{values:?}");
        assert!(values[0] < -0.5 && values[values.len() - 1] > 0.5);
        assert_eq!(Calibrator::steps(&points[..30]), None, "one class alone");
    }

    #[test]
    fn useless_scores_weigh_little() {
        let points: Vec<ScorePoint> = (0..80)
            .map(|i| ScorePoint { score: f64::from(i % 20) - 9.5, class: (i / 40) as usize, weight: 1.0 })
            .collect();
        let fitted = Calibrator::logistic(&points);
        assert!(fitted.log10_lr(9.5).abs() < 0.2, "{fitted:?}");
    }
}
