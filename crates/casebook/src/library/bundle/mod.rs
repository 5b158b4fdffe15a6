//! Products that travel from library to library: one zip file with photos, facts, sources and hashes.
//!
//! In: a product of this library, or a bundle file. Out: the bundle, or what it brought. Never here:
//! what is in a photo.
//!
//! Read `read` (a bundle is checked whole before anything of it is kept), `write`, then `exchange`
//! (what the library does with it: what is there already is never overwritten).
//! Laws: `fuzz/laws/bundles.rs`. Source: `pkware-appnote` (the container).

mod error;
mod exchange;
mod read;
mod write;

pub use error::BundleError;
pub use exchange::Imported;
pub use read::{Bundle, Limits};
pub use write::{Packed, pack};
