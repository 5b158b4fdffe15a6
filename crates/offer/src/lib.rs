//! What an offer's own words say: which product they name, whether that product was ever made, which
//! codes they quote, on which terms it is sold.
//!
//! In: the offer's text ([`casebook::case::OfferFacts`]), the catalogue, and the products that
//! `placement` found in the photos. Out: [`Claims`] and findings.
//! Never here: pixels, a weight, a decision, an accusation. What a seller writes is not the item:
//! only the existence of a release in a form is a fact about it; the rest is passed on in words.
//!
//! Start at [`claims`], then [`findings`]. Reading order below them: `tokens` (folding), `distance`
//! (typos), `names` (lines and releases), `forms` (pack, box, …), `existence`, `stated` (what the case
//! names), `codes`, `terms`.
//! [`page`] reads a saved web page into the offer's facts.

mod claims;
mod codes;
mod distance;
mod existence;
mod forms;
mod markup;
mod names;
pub mod page;
mod stated;
mod terms;
mod tokens;

pub use claims::{Claims, ProductClaim, Standing, claims};
pub use codes::{CodeClaim, CodeMatch};
pub use distance::within;
pub use existence::{CATALOGUE_ERROR_RATE, findings};
pub use stated::{another_shown, not_covered, unreadable};
pub use terms::{SaleWord, SaleWordKind};
pub use tokens::{Part, Span};
