//! Proportions with their exact interval.
//!
//! Sources: `clopper1934`.

use crate::numeric::special::beta_quantile;

/// A counted proportion with its Clopper–Pearson interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proportion {
    /// How many.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The Clopper–Pearson interval of `count` out of `of` that holds the true proportion with at least
/// `confidence` probability.
///
/// # Example
/// ```
/// // No misleading item of 24: the 95 % interval still reaches 14 %.
/// let none = opinion::evaluate::clopper_pearson(0, 24, 0.95);
/// assert!((none.high - 0.1425).abs() < 1e-4 && none.low == 0.0);
/// ```
#[must_use]
pub fn clopper_pearson(count: u64, of: u64, confidence: f64) -> Proportion {
    let tail = (1.0 - confidence) / 2.0;
    let (k, n) = (count.min(of) as f64, of as f64);
    let low = if k == 0.0 { 0.0 } else { beta_quantile(tail, k, n - k + 1.0) };
    let high = if k == n { 1.0 } else { beta_quantile(1.0 - tail, k + 1.0, n - k) };
    Proportion { count: count.min(of), of, low, high }
}
