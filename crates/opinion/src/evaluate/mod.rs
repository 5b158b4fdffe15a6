//! Figures of merit of weights: do they mean what they say, and how well do they tell apart.
//!
//! In: [`Scored`], log10 likelihood ratios with known truth. Out: numbers and curves.
//! Never here: how a weight came about.
//!
//! Outside check: `tests/evaluate_lir.rs`, `tests/quantiles_scipy.rs`.

mod bounds;
mod cllr;
mod pav;
mod proportion;
mod roc;
mod set;
mod steps;

pub use bounds::{EmpiricalBounds, empirical_bounds, weighted_empirical_bounds};
pub use cllr::{cllr, min_cllr};
pub use pav::pav_log10_lr;
pub use proportion::{Proportion, clopper_pearson};
pub use roc::{auc, equal_error_rate};
pub use set::{compare, comparisons, decisions, labelled, scored, slices};
pub use steps::{StepRates, rates_by_step};

/// Log10 likelihood ratios with known truth. Infinite values are allowed, NaN is not.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Scored {
    /// Of items for which the first hypothesis (here: sealed) holds.
    pub first: Vec<f64>,
    /// Of items for which the alternative holds.
    pub second: Vec<f64>,
}

impl Scored {
    /// Whether both sides have something to judge.
    #[must_use]
    pub fn is_usable(&self) -> bool {
        !self.first.is_empty() && !self.second.is_empty()
    }
}
