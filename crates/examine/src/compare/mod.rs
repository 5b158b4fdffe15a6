//! A photo of a face laid over its reference: alignment, camera response, what is left over.
//!
//! In: one placed photo of a face and the face's flat reference. Out: a [`Comparison`]: both on one
//! millimetre grid, aligned, equally sharp, the photo with the camera's response removed.
//! Never here: findings, words, a product's name, another examiner; examiners build on this.
//!
//! Read [`Comparison::of`]; then `align` (where each piece of print lies), `response` (what camera and
//! light did), `structure` (where the pattern disagrees).

pub mod align;
pub mod blocks;
pub mod cells;
pub mod facing;
pub mod field;
pub mod filter;
pub mod grid;
pub mod inks;
pub mod layer;
pub mod linear;
pub mod patches;
pub mod response;
pub mod structure;

mod comparison;
mod laid;

pub use comparison::{Comparison, Lack, Reference, lab};
pub use laid::Laid;
