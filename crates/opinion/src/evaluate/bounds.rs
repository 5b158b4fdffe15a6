//! Empirical lower and upper bounds: how large a weight the number of tested items can carry.
//!
//! A system that says "a million to one" after forty specimens extrapolates. The bounds are where
//! acting on the ratios stops being better than acting on none, once one misleading item is added
//! on each side.
//!
//! Sources: `vergeer2016`; steps and edges as in the `lir` library (`lir2021`).

use casebook::elementary::{exp10, log10};

use super::Scored;

/// Bounds of a weight, bans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EmpiricalBounds {
    /// At most 0.
    pub lower: f64,
    /// At least 0.
    pub upper: f64,
}

/// Ratios beyond this are treated as this, bans.
const EXTREME: f64 = 9.0;
/// Step of the thresholds that are tried, bans.
const STEP: f64 = 0.01;

/// The empirical bounds of the log10 likelihood ratios.
///
/// # Result
/// `lower` ≤ 0 ≤ `upper`. Never far beyond log10(n + 1) of the side that could mislead: with n items
/// of the alternative and none misleading, support for the first hypothesis stops near n + 1.
///
/// # Source
/// `vergeer2016`, one misleading item added on each side.
#[must_use]
pub fn empirical_bounds(scored: &Scored) -> EmpiricalBounds {
    let unit = |values: &[f64]| values.iter().map(|x| (*x, 1.0)).collect::<Vec<_>>();
    weighted_empirical_bounds(&unit(&scored.first), &unit(&scored.second))
}

/// [`empirical_bounds`] of (log10 ratio, weight) pairs; the number of items on a side is the sum of
/// its weights, so that a specimen measured three times counts once.
#[must_use]
pub fn weighted_empirical_bounds(first: &[(f64, f64)], second: &[(f64, f64)]) -> EmpiricalBounds {
    if first.is_empty() || second.is_empty() {
        return EmpiricalBounds { lower: 0.0, upper: 0.0 };
    }
    let (first, second) = (Side::new(first), Side::new(second));
    let lowest = first.lowest().min(second.lowest());
    let highest = first.highest().max(second.highest());
    let from = ((lowest.max(-log10(first.total + 1.0)) / STEP).floor() as i64).min(0);
    let to = ((highest.min(log10(second.total + 1.0)) / STEP).floor() as i64 + 1).max(0);
    let mut lower = from as f64 * STEP;
    let mut upper = to as f64 * STEP;
    for step in from..=to {
        let rho = step as f64 * STEP;
        let threshold = exp10(rho);
        let neutral = if threshold < 1.0 { threshold } else { 1.0 };
        // One accepted item is added to the second side, one rejected to the first.
        let rejected_first = 1.0 - first.above(threshold) / (first.total + 1.0);
        let accepted_second = (second.above(threshold) + 1.0) / (second.total + 1.0);
        let system = rejected_first + threshold * accepted_second;
        if neutral / system < 1.0 {
            if step <= 0 {
                lower = lower.max(rho + STEP);
            }
            if step >= 0 {
                upper = upper.min(rho - STEP);
            }
        }
    }
    EmpiricalBounds { lower: lower.min(0.0), upper: upper.max(0.0) }
}

/// Likelihood ratios of one side, sorted, with the weight from each to the end.
struct Side {
    ratios: Vec<f64>,
    from_here: Vec<f64>,
    total: f64,
}

impl Side {
    fn new(pairs: &[(f64, f64)]) -> Self {
        let mut sorted: Vec<(f64, f64)> = pairs.iter().map(|p| (p.0.clamp(-EXTREME, EXTREME), p.1)).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut from_here = vec![0.0; sorted.len() + 1];
        for at in (0..sorted.len()).rev() {
            from_here[at] = from_here[at + 1] + sorted[at].1;
        }
        let total = from_here[0];
        Self { ratios: sorted.iter().map(|p| exp10(p.0)).collect(), from_here, total }
    }

    fn above(&self, threshold: f64) -> f64 {
        self.from_here[self.ratios.partition_point(|x| *x <= threshold)]
    }

    fn lowest(&self) -> f64 {
        self.ratios.first().map_or(0.0, |x| log10(*x))
    }

    fn highest(&self) -> f64 {
        self.ratios.last().map_or(0.0, |x| log10(*x))
    }
}
