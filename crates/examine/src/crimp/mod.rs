//! End seals: the ridges that a sealing jaw pressed into both ends of a flow-wrapped pack.
//!
//! In: an [`crate::ItemView`] of a pack. Out: findings on ridge pitch, on how even the ridges are, and on
//! whether both ends look alike, each with its uncertainty or what the photos lack. Never here: the
//! artwork, the offer, a weight, a verdict.
//!
//! Start at [`measure_pitch`].

pub mod band;
pub mod cells;
pub mod edge;
pub mod evenness;
pub mod joint;
pub mod map;
mod phases;
mod pitch;
pub mod reading;
pub mod register;
pub mod spectrum;
mod strip;
pub mod view;

pub use pitch::{MIN_PX_PER_RIDGE, NoRidges, PITCH_RANGE_MM, Pitch, measure_pitch};
pub use strip::Strip;
