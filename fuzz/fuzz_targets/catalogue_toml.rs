//! Arbitrary bytes as a catalogue in TOML. Laws: `laws/documents.rs`.

#![no_main]

#[path = "../laws/documents.rs"]
mod documents;

use casebook::catalogue::Catalogue;
use casebook::document::Notation;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = documents::holds::<Catalogue>(bytes, Notation::Toml);
});
