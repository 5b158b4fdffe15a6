//! What reading kept weights must keep, for the fuzz target and for the ordinary replay of its inputs
//! (`crates/opinion/tests/fuzz_corpus.rs`).
//!
//! Laws: arbitrary text gives a calibration or an error, never a panic. What was read is written back as
//! the same value, and its specimens can be counted.

use opinion::{Calibration, CalibrationFile};

/// Holds text to the laws; whether it was a calibration.
pub(crate) fn holds(bytes: &[u8]) -> bool {
    let Ok(file) = serde_json::from_slice::<CalibrationFile>(bytes) else { return false };
    let Ok(calibration) = Calibration::from_file(file.clone()) else { return false };
    let again = calibration.to_file();
    let back = Calibration::from_file(again.clone()).unwrap_or_else(|e| panic!("read once only: {e}"));
    assert!(back == calibration && back.to_file() == again, "written back as another calibration");
    let all: u32 = calibration.counts().iter().map(|c| c.count).fold(0, u32::saturating_add);
    let rows = file.tables.iter().map(|t| t.rows.len()).sum::<usize>();
    assert!(all as usize <= rows, "{all} specimens in {rows} rows");
    true
}
