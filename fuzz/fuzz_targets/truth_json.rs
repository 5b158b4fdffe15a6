//! Arbitrary bytes as a truth file in JSON. Laws: `laws/documents.rs`.

#![no_main]

#[path = "../laws/documents.rs"]
mod documents;

use casebook::document::Notation;
use casebook::truth::TruthFile;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = documents::holds::<TruthFile>(bytes, Notation::Json);
});
