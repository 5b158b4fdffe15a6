//! Arbitrary bytes as a case in TOML. Laws: `laws/documents.rs`.

#![no_main]

#[path = "../laws/documents.rs"]
mod documents;

use casebook::case::CaseFile;
use casebook::document::Notation;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = documents::holds::<CaseFile>(bytes, Notation::Toml);
});
