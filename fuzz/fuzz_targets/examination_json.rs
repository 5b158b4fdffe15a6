//! Arbitrary bytes as an examination in JSON. Laws: `laws/documents.rs`.

#![no_main]

#[path = "../laws/documents.rs"]
mod documents;

use casebook::document::Notation;
use casebook::opinion::Examination;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = documents::holds::<Examination>(bytes, Notation::Json);
});
