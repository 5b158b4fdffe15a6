//! One case from its folder to an opinion: reads the photos, places the faces, sorts them by item, lets
//! every examiner look, and hands the findings to `opinion`.
//!
//! In: a case's files and an open library. Out: an [`casebook::opinion::Examination`] with pictures.
//! Never here: how anything is measured or weighed, what a page looks like, a clock.
//!
//! Way in: [`CaseFolder::read`], [`Shelf::take`], [`examine`]. The command line and the desk both
//! stand on this crate.

pub mod assign;
mod error;
pub mod features;
mod folder;
mod look;
mod matter;
mod progress;
mod reader;
mod reconsider;
mod run;
mod screen;
mod shelf;
mod shipped;
mod specimens;
pub mod tables;
mod thumbnail;

pub use error::ExaminationError;
pub use folder::{CaseFolder, MAX_PHOTOS};
pub use matter::ProductMatter;
pub use progress::{Progress, Silent};
pub use reader::{Reader, WORDS_MODEL};
pub use reconsider::reconsider;
pub use run::{DecodedPhotos, Outcome, PROGRAM, SmallCopies, examine, examine_decoded};
pub use screen::{PhotoKind, probe, screen_copy};
pub use shelf::{Products, Shelf};
pub use specimens::MEASURED_BY;
pub use thumbnail::Thumbnail;
