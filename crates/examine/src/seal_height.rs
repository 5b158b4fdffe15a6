//! How high the end seals of a product are, by its catalogue.
//!
//! In: a product. Out: the heights that its makes state, or the usual one. Never here: photos.

use casebook::catalogue::{Form, Product};

/// Height of a pack's end seal where the catalogue does not state one, mm. Origin: common practice,
/// no source; the demo's makes state 8 and 9 mm.
pub const USUAL_SEAL_MM: f64 = 9.0;
/// Heights outside this range (mm) are no end seal's, whatever a catalogue says. Origin: common
/// practice, no source.
const RANGE_MM: (f64, f64) = (4.0, 14.0);

/// Nominal heights of the end seals over all makes, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SealHeight {
    /// Of the make with the lowest seals.
    pub least: f64,
    /// Of the make with the highest.
    pub most: f64,
    /// Of the make with the highest at the end of its tolerance.
    pub reach: f64,
}

impl SealHeight {
    /// What the catalogue says; nothing for a product without end seals.
    #[must_use]
    pub fn of(product: &Product) -> Option<Self> {
        let stated: Vec<_> = product.makes.iter().filter_map(|make| make.end_seal.as_ref()).collect();
        if stated.is_empty() {
            let usual = Self { least: USUAL_SEAL_MM, most: USUAL_SEAL_MM, reach: USUAL_SEAL_MM };
            return (product.form == Form::Pack).then_some(usual);
        }
        let heights = || stated.iter().map(|seal| seal.height_mm.value.clamp(RANGE_MM.0, RANGE_MM.1));
        let most = heights().fold(0.0, f64::max);
        let reach = stated.iter().map(|seal| seal.height_mm.value + seal.height_mm.tolerance);
        Some(Self {
            least: heights().fold(f64::INFINITY, f64::min),
            most,
            reach: reach.fold(0.0, f64::max).clamp(most, RANGE_MM.1),
        })
    }
}
