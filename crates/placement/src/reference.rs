//! The flat reference picture of a face: what its print should look like.
//!
//! In: a scan whose edges are the edges of the face. Out: [`ReferenceFace`] with its map. Never here:
//! files, makes, regions.

use std::sync::Arc;

use casebook::names::FaceId;
use photo::Photo;

use crate::error::GeometryError;
use crate::homography::{Homography, check_size};

/// Shortest side of a reference raster: below it there is nothing to match.
const MIN_SIDE_PX: usize = 64;

/// One face as it should look; copies share the picture.
#[derive(Debug, Clone)]
pub struct ReferenceFace {
    /// Which face.
    pub face: FaceId,
    /// Width and height, mm.
    pub size_mm: (f64, f64),
    /// A flat scan: the raster's outer edges are the face's edges.
    pub raster: Arc<Photo>,
}

impl ReferenceFace {
    /// Millimetres on the face to pixels of the raster: the raster's outer edges are the face's.
    ///
    /// # Errors
    /// [`GeometryError::Size`]; [`GeometryError::Reference`] for a raster too small to match.
    pub fn mm_to_px(&self) -> Result<Homography, GeometryError> {
        check_size(self.size_mm)?;
        let (w, h) = (self.raster.width(), self.raster.height());
        if w < MIN_SIDE_PX || h < MIN_SIDE_PX {
            return Err(GeometryError::Reference { face: self.face.to_string(), width: w, height: h });
        }
        let (sx, sy) = (w as f64 / self.size_mm.0, h as f64 / self.size_mm.1);
        Homography::new([[sx, 0.0, -0.5], [0.0, sy, -0.5], [0.0, 0.0, 1.0]])
    }
}

/// Where reference faces come from when one is needed: a list, or a library that reads a picture
/// only when it is asked for.
pub trait References: Sync {
    /// A face's reference; nothing when it is not there or cannot be read.
    fn reference(&self, face: &FaceId) -> Option<ReferenceFace>;
}

impl References for [ReferenceFace] {
    fn reference(&self, face: &FaceId) -> Option<ReferenceFace> {
        self.iter().find(|reference| reference.face == *face).cloned()
    }
}

impl References for Vec<ReferenceFace> {
    fn reference(&self, face: &FaceId) -> Option<ReferenceFace> {
        self.as_slice().reference(face)
    }
}
