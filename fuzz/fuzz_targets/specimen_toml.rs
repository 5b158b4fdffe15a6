//! Arbitrary bytes as a specimen in TOML. Laws: `laws/documents.rs`.

#![no_main]

#[path = "../laws/documents.rs"]
mod documents;

use casebook::document::Notation;
use casebook::specimen::SpecimenFile;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = documents::holds::<SpecimenFile>(bytes, Notation::Toml);
});
