//! Arbitrary bytes as a learn file in TOML. Laws: `laws/documents.rs`.

#![no_main]

#[path = "../laws/documents.rs"]
mod documents;

use casebook::document::Notation;
use casebook::learn::LearnFile;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = documents::holds::<LearnFile>(bytes, Notation::Toml);
});
