//! What is printed: artwork, places, sizes and colours of every face, judged through somebody else's
//! camera.
//!
//! In: an item's placed photos and the flat references of its faces. Out: for every face one joint
//! reading of how well the print matches, one of its inks, and one of each named region's presence,
//! size and place. Several photos of a face give one reading.
//! Never here: the end seals and seams (other examiners), text and codes, a verdict, a weight.
//!
//! Read `examiner` (what is asked and answered), then `region`, `joint`; the comparison itself is
//! `crate::compare`. Pictures are drawn in `pictures`, words in `findings`.

mod examiner;
mod findings;
mod joint;
mod pictures;
mod region;
mod ssim;

pub use examiner::Print;
pub use region::{Lightness, RegionReading, Similarity, measure as measure_region};
pub use ssim::ssim;
