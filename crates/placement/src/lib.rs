//! Which face of which product a photo shows, and where: the map from the face's millimetres to the
//! photo's pixels, with its uncertainty.
//!
//! In: decoded photos and flat reference pictures of faces. Out: [`Placement`]s, rectified
//! [`Patch`]es in linear light. Never here: what a difference means, a price, a seller, a file, a
//! clock, hidden randomness: the same photo and faces give the same bits on every machine.
//!
//! Way in: [`FaceIndex::build`], then [`FaceIndex::place`]; or [`Placement::from_corners`] for corners
//! that a person drew, then [`refine`]. Every examiner looks through [`rectify`].
//!
//! Frames: a face's origin is its top-left corner, x right, y down, millimetres. In a photo (0, 0) is
//! the centre of the top-left pixel, x right, y down.

mod chance;
pub mod covariance;
mod description;
mod error;
mod features;
mod fit;
mod grey;
mod homography;
mod index;
mod matching;
pub mod outline;
mod placement;
pub mod polygon;
mod rectify;
mod reference;
mod refine;
mod robust;
mod source;
mod template;
mod view;
mod views;
mod votes;

pub use covariance::Covariance;
pub use description::FaceDescription;
pub use error::GeometryError;
pub use fit::{Fit, fit_weighted};
pub use homography::{Homography, Point, corners_mm};
pub use index::FaceIndex;
pub use placement::{Evidence, Origin, Placement, Support};
pub use rectify::{MAX_PATCH_PIXELS, Patch, rectify};
pub use reference::{ReferenceFace, References};
pub use refine::refine;
pub use view::{FOCAL_PRIOR_MM35, ViewAngle, view_angle};
