//! Whether an item's features lie outside every class of specimens.
//!
//! Under a multivariate Student density in d dimensions the squared distance divided by d follows
//! Fisher's F with (d, degrees of freedom). A density fitted on few specimens is narrower than the
//! class, the more so the more features there are: so each class is widened until specimens that
//! were left out of the fit lie in it as often as they should.
//!
//! In: squared distances from fitted class densities. Out: yes or no. Outside is no sign of guilt:
//! it says that the library has nothing like it.
//!
//! Sources: `kotz2004` (distribution of the squared distance), `stone1974` (cross-validation).

use super::density::{DEGREES, Densities};
use crate::numeric::order::quantile;
use crate::numeric::special::{fisher_quantile, fisher_tail};

/// An item is outside a class when so small a share of that class's own fitted distribution would
/// lie as far out: 1 in 1,000.
pub const OUTSIDE_RATE: f64 = 0.001;

/// Where the spread of left-out specimens is compared with that of the fitted density.
const COMPARED_AT: [f64; 2] = [0.5, 0.9];

/// How much wider (in squared distance) a class is than its fitted density, from the squared
/// distances per feature of specimens that were left out; never less than 1.
#[must_use]
pub fn widening(left_out: &[f64], columns: usize) -> f64 {
    if left_out.is_empty() || columns == 0 {
        return 1.0;
    }
    COMPARED_AT
        .into_iter()
        .map(|p| quantile(left_out, p) / fisher_quantile(p, columns as f64, DEGREES))
        .fold(1.0, f64::max)
}

/// Whether the row is outside both classes, each widened by its factor.
#[must_use]
pub fn is_outside(densities: &Densities, widening: [f64; 2]) -> bool {
    if densities.columns == 0 {
        return false;
    }
    let d = densities.columns as f64;
    let mut distances = densities.squared_distance.iter().zip(widening);
    distances.all(|(distance, wider)| fisher_tail(distance / d / wider, d, DEGREES) < OUTSIDE_RATE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_class_is_widened_until_left_out_specimens_fit() {
        // Distances that lie just where F has its quantiles need no widening; four times as far, four.
        let expected: Vec<f64> =
            (1..100).map(|i| fisher_quantile(f64::from(i) / 100.0, 8.0, DEGREES)).collect();
        assert!((widening(&expected, 8) - 1.0).abs() < 0.02);
        let far: Vec<f64> = expected.iter().map(|x| 4.0 * x).collect();
        assert!((widening(&far, 8) - 4.0).abs() < 0.08);
        assert_eq!(widening(&[], 8), 1.0);
    }
}
