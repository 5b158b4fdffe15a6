//! Whether an item's features lie outside every class of specimens.
//!
//! In: squared distances from fitted class densities. Out: yes or no. Outside is no sign of guilt:
//! it says that the library has nothing like it.

use super::density::{DEGREES, Densities};
use crate::numeric::special::fisher_tail;

/// An item is outside a class when so small a share of that class's own fitted distribution would
/// lie as far out: 1 in 1,000.
pub const OUTSIDE_RATE: f64 = 0.001;

/// Whether the row is outside both classes. Under a multivariate Student density in d dimensions the
/// squared distance divided by d follows Fisher's F with (d, degrees of freedom). Source: `kotz2004`.
#[must_use]
pub fn is_outside(densities: &Densities) -> bool {
    if densities.columns == 0 {
        return false;
    }
    let d = densities.columns as f64;
    densities.squared_distance.iter().all(|distance| fisher_tail(distance / d, d, DEGREES) < OUTSIDE_RATE)
}
