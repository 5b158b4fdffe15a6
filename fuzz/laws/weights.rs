//! What reading a calibration must keep, for the fuzz target and for the ordinary replay of its inputs
//! (`crates/opinion/tests/fuzz_corpus.rs`).
//!
//! Laws: arbitrary text gives a calibration or an error, never a panic. What was read is written back as
//! the same value, and its specimens can be counted.

use std::path::Path;

use casebook::calibration::CalibrationFile;
use casebook::document::{self, Notation};
use opinion::Calibration;

/// Holds text to the laws; whether it was a calibration.
pub(crate) fn holds(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else { return false };
    let Ok(file) = document::parse::<CalibrationFile>(text, Path::new("x.json"), Notation::Json) else {
        return false;
    };
    let calibration = Calibration::from_file(&file);
    let again = calibration.to_file("law", Vec::new(), Vec::new());
    let back = Calibration::from_file(&again);
    assert!(
        back == calibration && back.to_file("law", Vec::new(), Vec::new()) == again,
        "written back as another calibration"
    );
    let all: u32 = calibration.counts().iter().map(|c| c.count).fold(0, u32::saturating_add);
    assert!(all as usize <= file.sittings.len(), "{all} specimens in {} sittings", file.sittings.len());
    true
}
