//! From rows of features to a bounded weight with its interval.
//!
//! Steps, each in its file: `density` fits robust, regularised class densities; `score` takes their
//! ratio, leaving out whole specimens; `calibrate` turns scores into log10 likelihood ratios;
//! `pair` chooses among the candidates by cross-validated cost, bounds the weight by what the number
//! of specimens can carry and resamples specimens for its interval; `outside` tests whether the item
//! fits any class at all.
//!
//! In: a table and the item's cells. Out: [`PairWeight`]. Never here: findings, words.
//!
//! Sources: `brummer2006`, `vergeer2016`, `morrison2013` (scores to likelihood ratios by logistic
//! regression).

mod calibrate;
mod density;
mod outside;
mod pair;

pub use calibrate::{Calibrator, ScorePoint, Way, kde_log10_lr, silverman_bandwidth};
pub use density::{Base, ClassModel, Densities, Kin, Shape};
pub use outside::{OUTSIDE_RATE, is_outside, widening};
pub(crate) use pair::count;
pub use pair::{
    BothEnds, Choice, MIN_FOR_OWN_FORM, MIN_SPECIMENS, PairModel, PairWeight, RESAMPLES, choose,
    choose_either_end,
};

use crate::table::Cell;

/// One training row for one comparison, restricted to the columns in use.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Index of the specimen; rows of one specimen share it.
    pub specimen: usize,
    /// Index of the line.
    pub line: usize,
    /// Index of the product.
    pub product: usize,
    /// Which class: 0 sealed, 1 the alternative.
    pub class: usize,
    /// One cell a column.
    pub cells: Vec<Option<Cell>>,
}
