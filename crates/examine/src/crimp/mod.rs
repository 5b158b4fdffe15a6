//! End seals: the ridges that a sealing jaw pressed into both ends of a flow-wrapped pack.
//!
//! In: an [`crate::ItemView`] of a pack. Out: findings on ridge pitch, on how even the ridges are, and on
//! whether both ends look alike, each with its uncertainty or what the photos lack. Never here: the
//! artwork, the offer, a weight, a verdict.
//!
//! The way through: [`joint::gather`] takes every photo; [`reading::Located`] finds an end in it
//! (`view` cuts it out, `register` lays the reference's print over it, `edge` traces the cut line);
//! [`reading::EndReading`] straightens the sealed band (`band`) and measures it (`spectrum`, [`measure_pitch`],
//! `map`, [`light`]); [`evenness`] joins the maps of all photos; `findings` puts it into words, `pictures` shows it.
//! The module `cut_edge` reads the same located ends.

pub mod band;
pub mod bootstrap;
pub mod cells;
pub mod edge;
pub mod evenness;
mod examiner;
pub(crate) mod findings;
pub mod joint;
pub mod light;
pub mod map;
pub mod phases;
pub(crate) mod pictures;
pub mod pitch;
pub mod reading;
pub mod register;
pub mod spectrum;
pub mod strip;
pub mod view;

pub use band::Band;
pub use edge::{CutLine, CutPoint};
pub use examiner::EndSeal;
pub use pitch::{MIN_PX_PER_RIDGE, NoRidges, PITCH_RANGE_MM, Pitch, measure_pitch};
pub use strip::Strip;
pub use view::{End, EndView};
