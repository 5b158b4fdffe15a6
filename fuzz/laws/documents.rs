//! What every document parser must keep, for the fuzz targets and for the ordinary replay of their
//! inputs (`crates/casebook/tests/fuzz_corpus.rs`).
//!
//! Laws: arbitrary bytes give a document or an error, never a panic. The error names the file. A
//! document that was read prints, the print reads back, and that is the same document in the same
//! words, in both notations.

use std::fmt::Debug;
use std::path::Path;

use casebook::document::{Document, Notation, parse, print};

/// Holds `bytes` to the laws. `Err` says why it was no document, which is no fault.
pub(crate) fn holds<D: Document + PartialEq + Debug>(bytes: &[u8], notation: Notation) -> Result<(), String> {
    let text = std::str::from_utf8(bytes).map_err(|error| error.to_string())?;
    let document: D = match parse(text, Path::new("input.txt"), notation) {
        Ok(document) => document,
        Err(error) => {
            let message = error.to_string();
            assert!(message.starts_with("input.txt: "), "an error that does not name the file: {message}");
            return Err(message);
        }
    };
    for written in [Notation::Toml, Notation::Json] {
        let once = print(&document, written)
            .unwrap_or_else(|error| panic!("read but cannot be printed as {written:?}: {error}"));
        let again: D = parse(&once, Path::new("printed.txt"), written)
            .unwrap_or_else(|error| panic!("its own print is refused: {error}\n{once}"));
        assert_eq!(document, again, "print and parse changed it; printed:\n{once}");
        let twice = print(&again, written)
            .unwrap_or_else(|error| panic!("printed once but not twice as {written:?}: {error}"));
        assert_eq!(once, twice, "the second print differs from the first");
    }
    Ok(())
}
