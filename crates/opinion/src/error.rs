//! The one error type of this crate.

/// Why a saved calibration could not be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum OpinionError {
    /// The calibration was written by another version.
    #[error(
        "calibration: schema is \"{found}\", expected \"{expected}\"; compute it again from the specimens"
    )]
    Schema {
        /// What stands in the file.
        found: String,
        /// What this version reads.
        expected: &'static str,
    },
    /// A row does not fit its table.
    #[error(
        "calibration: table \"{table}\", specimen \"{specimen}\": {fault}; compute it again from the specimens"
    )]
    Row {
        /// The table.
        table: String,
        /// The specimen of the row.
        specimen: String,
        /// What is wrong.
        fault: &'static str,
    },
}
