//! What genuine specimens of a product show of one quantity.
//!
//! In: an [`ItemView`]. Out: measured values, and the range expected of them. Never here: other specimens.

use casebook::finding::{Expected, Finding, Place, Reading};
use casebook::hypothesis::State;
use casebook::names::Slug;

use crate::ItemView;

/// Fewest genuine specimens that make an expected range.
pub(crate) const MIN_SPECIMENS: usize = 4;

/// The finite values that were measured of genuine specimens in the findings that are `wanted`.
pub(crate) fn values(view: &ItemView<'_>, wanted: impl Fn(&Finding) -> bool) -> Vec<f64> {
    view.specimens
        .iter()
        .filter(|s| s.state == State::Sealed)
        .flat_map(|s| &s.findings)
        .filter(|f| wanted(f))
        .filter_map(|f| match &f.reading {
            Reading::Measured { value, .. } if value.is_finite() => Some(*value),
            _ => None,
        })
        .collect()
}

/// Range of a quantity at a place; nothing with fewer than [`MIN_SPECIMENS`].
pub(crate) fn expected(view: &ItemView<'_>, quantity: &Slug, place: &Place) -> Option<Expected> {
    let values =
        values(view, |f| f.quantity == *quantity && f.place.face == place.face && f.place.part == place.part);
    if values.len() < MIN_SPECIMENS {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let sd = (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0)).sqrt();
    Some(Expected {
        low: mean - 2.0 * sd,
        high: mean + 2.0 * sd,
        basis: format!("mean ± 2 standard deviations of {} sittings of genuine specimens", values.len()),
    })
}
