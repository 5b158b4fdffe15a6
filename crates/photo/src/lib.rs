//! From a photo file to linear light: decoding, orientation, colour management, quality maps, CIE
//! colour and resampling.
//!
//! In: the bytes of one file, or a path. Out: a [`Photo`] that keeps the decoded codes and knows
//! how to turn any of them into linear light (Rec. 709 primaries, D65, 1.0 = file white), how sharp
//! and how exposed each part is, and which bytes it came from.
//! Never here: products, faces, millimetres, evidence, a network, a clock.
//!
//! Way in: [`read`] and [`decode`], then [`Photo`]. A file is input from strangers: what it is comes
//! from its content, sizes are checked before anything is allocated, and a decoder that panics
//! becomes [`PhotoError::DecoderFailed`].
//!
//! Pixel coordinates: x right, y down, (0, 0) is the **centre** of the top-left pixel.

pub mod colour;
mod container;
mod decode;
mod encoding;
mod error;
mod exif;
mod fingerprint;
mod icc;
mod limits;
mod once;
mod photo;
mod plane;
pub mod quality;
mod raster;
mod reduce;
mod sampling;
mod seams;
mod sniff;

pub use decode::{decode, read};
pub use encoding::{Basis, Encoding};
pub use error::PhotoError;
pub use exif::Exif;
pub use fingerprint::{Fingerprint, fingerprint};
pub use limits::Limits;
pub use once::Once;
pub use photo::{Codes, Photo, PhotoHash};
pub use plane::Plane;
pub use quality::{Quality, TileQuality};
pub use sampling::Seen;
pub use seams::{CollageTile, collage_tiles};
pub use sniff::Format;
