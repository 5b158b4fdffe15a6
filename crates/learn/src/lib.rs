//! A product of the library from a few hand-held photos of one genuine item: faces, sizes, reference
//! pictures without glare, facts of the seals, proposed regions.
//!
//! In: photos and what a person says of them (`casebook::learn`). Out: [`Learned`], and [`write()`]
//! lays it into a folder as the catalogue, reference pictures and specimen that anybody could have
//! written by hand and may correct. Never here: another item's findings, a weight, an opinion, a clock.
//!
//! Programs come in by [`learn_folder`]. The way through, see [`learn()`]: `find` (which photo shows which face, by outline and print),
//! `size` (typed in, or from a card beside it), `merge` (all photos of a face in one picture, each
//! part from those that saw it best), `seals` (heights, ridges, cut), `unridge` (the ridges taken out of
//! the reference, so that other items' ridges can be read over it), `regions` (what might be named).
//!
//! Sources: [`iso7810`] (size of the card), [`jcgm100`].

mod error;
mod find;
mod folder;
mod front;
mod known;
mod learned;
mod merge;
mod names;
mod regions;
mod run;
mod seals;
mod size;
mod unridge;
mod write;

pub use error::LearnError;
pub use folder::{LearnFolder, MAX_PHOTOS};
pub use front::{Asked, Outcome, learn_folder};
pub use known::{Agreement, Known, compare_make};
pub use learned::{Learned, LearnedFace, LearnedSeal, Measured, Used};
pub use merge::{Merged, View, merge};
pub use names::Names;
pub use run::{Progress, Wanted, learn};
pub use size::{ID1_MM, Size};
pub use write::{Beside, Written, write};
