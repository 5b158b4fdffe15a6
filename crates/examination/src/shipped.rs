//! The calibration that the program brings along, so that a library without specimens has weights.
//!
//! In: `data/calibration.json`, written by `untorn calibrate` (the command stands in
//! `families/README.md`). Out: [`shipped`]. Never here: a user's own specimens; they join it when a
//! [`crate::Shelf`] is taken.

use std::path::Path;
use std::sync::OnceLock;

use casebook::calibration::CalibrationFile;
use casebook::document::{self, Notation};

/// Where the file lies in the source tree, for messages.
const NAME: &str = "crates/examination/data/calibration.json";
/// Its bytes.
pub(crate) const BYTES: &str = include_str!("../data/calibration.json");

/// The shipped calibration; `None` were its file not to be read, which a test excludes.
pub(crate) fn shipped() -> Option<&'static CalibrationFile> {
    static FILE: OnceLock<Option<CalibrationFile>> = OnceLock::new();
    FILE.get_or_init(|| document::parse(BYTES, Path::new(NAME), Notation::Json).ok()).as_ref()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_read_and_says_where_it_comes_from() {
        let file: CalibrationFile = document::parse(BYTES, Path::new(NAME), Notation::Json).unwrap();
        assert!(file.faults().is_empty(), "{:?}", file.faults());
        assert!(!file.fitted_on.is_empty() && !file.chosen_on.is_empty());
        assert!(file.forms.iter().any(|form| !form.silent), "some features weigh");
    }
}
