//! The one error type of this crate.

/// Why a calibration could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum OpinionError {
    /// A library's specimen has the name of a shipped one.
    #[error(
        "specimen \"{specimen}\" has the name of one in the calibration that was shipped; give it another id, or both would count as one"
    )]
    NameTwice {
        /// The name.
        specimen: String,
    },
}
