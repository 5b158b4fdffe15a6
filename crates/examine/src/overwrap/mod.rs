//! The clear film round a box: whether the factory's printed mark lies over the print, and how it repeats.
//!
//! In: an item's placed photos, laid over their references. Out: findings on the mark, its repeat and its
//! direction, with pictures. Never here: a weight, whether a box was opened, how a comparison works.
//!
//! Read `examiner` (which photos, which questions); then `residual` (what lies over the print), `shifts`
//! (how like itself that is under every shift, photos together), `lattice` (two shifts that repeat), `cell`
//! (one mark, averaged from all). Seams and end folds are not measured: the finding says so.

pub mod cell;
pub mod correlation;
mod examiner;
mod findings;
pub mod lattice;
mod pictures;
pub mod residual;
pub mod shifts;

pub use examiner::{CLEAR, Overwrap};
