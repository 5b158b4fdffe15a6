//! What the program talks about and how it is written down: domain types, units, the TOML and JSON
//! formats with their published schemas, and the library folder on disk.
//!
//! Never here: pixels. A photo is a file with a hash; what is in it is for `photo` and above.

pub mod atomic;
pub mod bundle;
pub mod calibration;
pub mod case;
pub mod catalogue;
pub mod document;
pub mod elementary;
pub mod evaluation;
pub mod finding;
pub mod gtin;
pub mod hypothesis;
pub mod learn;
pub mod library;
pub mod money;
pub mod names;
pub mod opinion;
pub mod outcome;
pub mod picture;
pub mod schemas;
pub mod specimen;
pub mod truth;
pub mod units;
