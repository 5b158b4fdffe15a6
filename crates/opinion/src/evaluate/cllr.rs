//! The cost of the log likelihood ratio, and the least cost that a monotone change of the same
//! ratios could reach.
//!
//! Sources: `brummer2006`.

use casebook::elementary::{exp10, ln_1p};

use super::{Scored, pav_log10_lr};

/// log2(1 + 10^x) without overflow.
fn log2_1p_exp10(x: f64) -> f64 {
    let ln_2 = std::f64::consts::LN_2;
    if x > 0.0 {
        x * std::f64::consts::LN_10 / ln_2 + ln_1p(exp10(-x)) / ln_2
    } else {
        ln_1p(exp10(x)) / ln_2
    }
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let n = values.len();
    values.sum::<f64>() / n as f64
}

/// Cost of the log likelihood ratio: 0 for certain truth, 1 for saying nothing, more for misleading.
/// NaN when a side is empty.
///
/// # Source
/// `brummer2006`.
///
/// # Example
/// ```
/// let silent = opinion::evaluate::Scored { first: vec![0.0], second: vec![0.0] };
/// assert!((opinion::evaluate::cllr(&silent) - 1.0).abs() < 1e-15);
/// ```
#[must_use]
pub fn cllr(scored: &Scored) -> f64 {
    let first = mean(scored.first.iter().map(|x| log2_1p_exp10(-x)));
    let second = mean(scored.second.iter().map(|x| log2_1p_exp10(*x)));
    (first + second) / 2.0
}

/// [`cllr`] after the best monotone calibration of these very ratios: what discrimination costs.
#[must_use]
pub fn min_cllr(scored: &Scored) -> f64 {
    cllr(&pav_log10_lr(scored))
}
