//! Why a face's geometry was refused. Each message says what was found and what to do.
//!
//! In: nothing. Out: [`GeometryError`]. Never here: "not found in this photo", which is no error but
//! an empty list of placements.

/// Numbers that describe no face seen from its printed side.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GeometryError {
    /// A size that is not positive and finite.
    #[error("a face of {} × {} mm has no area; give width and height in millimetres, both above 0", .found_mm.0, .found_mm.1)]
    Size {
        /// Width and height as given.
        found_mm: (f64, f64),
    },
    /// NaN or infinite coordinates.
    #[error("a coordinate is not a finite number; give all corners in pixels of the photo")]
    NotFinite,
    /// Points without area, or a matrix without inverse.
    #[error(
        "the points fix no plane ({0}); give four corners, no three on one line, in the order top-left, top-right, bottom-right, bottom-left of the face"
    )]
    Degenerate(&'static str),
    /// The corners turn the other way round.
    #[error(
        "the face would be seen from behind; give the corners in the order top-left, top-right, bottom-right, bottom-left of the face, as its print reads"
    )]
    Mirrored,
    /// The horizon of the face's plane crosses the face.
    #[error("part of the face would lie behind the camera; check the four corners")]
    Horizon,
    /// Too few point pairs, or lists of different length.
    #[error(
        "{found} point pairs do not fix the map; at least {needed} are needed, as many on the face as in the photo"
    )]
    TooFew {
        /// Pairs given.
        found: usize,
        /// Pairs needed.
        needed: usize,
    },
    /// An uncertainty that is not positive and finite.
    #[error("an uncertainty of {found_px} px is no length; give a standard uncertainty above 0")]
    Uncertainty {
        /// As given.
        found_px: f64,
    },
    /// A reference raster of a face that shows nothing to compare with.
    #[error(
        "the reference picture of {face} is {width} × {height} pixels; a flat scan of at least 64 × 64 is needed"
    )]
    Reference {
        /// The face.
        face: String,
        /// Width found.
        width: usize,
        /// Height found.
        height: usize,
    },
}
