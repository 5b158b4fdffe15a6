//! What is known about one face in one photo.
//!
//! In: a map, its covariance, how it was found. Out: [`Placement`], which answers how large, from
//! what angle, how certain and how much of it is seen. Never here: how to find or refine one.
//!
//! **For which part it is exact.** A filled pack is a pillow: its printed body stands up to about
//! 3 mm above the plane of its end seals. Placements found by matching fit the *body's print*, so a
//! point of the body is where the map says, within its uncertainty. The seals lie deeper: seen at
//! angle θ they are displaced by up to 3 mm · tan θ (0.5 mm at 10°, 1.7 mm at 30°) along the tilt,
//! which the covariance does not include. Whoever measures seals or cut edges locates them by what is
//! seen there, starting from the placement, and may re-fit with [`Placement::with_map`].

use casebook::names::FaceId;

use crate::covariance::Covariance;
use crate::error::GeometryError;
use crate::homography::{Homography, Point};
use crate::polygon;
use crate::view::{ViewAngle, view_angle};

/// Who said where the face is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// A person drew the corners; nothing found automatically overrides them.
    Manual,
    /// Found by matching the face's print.
    Matched,
}

/// What speaks for a placement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Support {
    /// Local features of the photo compared with the face.
    pub matches: usize,
    /// Of these, the ones that agree with the map.
    pub inliers: usize,
    /// log10 of the expected number of maps as good as this in a photo without the face (number of
    /// false alarms); 0 or more is chance. `None` for manual corners.
    pub false_alarms_log10: Option<f64>,
    /// Blocks of the face with print to compare and a usable view of it.
    pub blocks: usize,
    /// Share of these blocks that show the same print, 0 to 1; `None` when none was compared.
    pub agreement: Option<f64>,
}

impl Support {
    /// Nothing but a person's word.
    pub const MANUAL: Self =
        Self { matches: 0, inliers: 0, false_alarms_log10: None, blocks: 0, agreement: None };
}

/// How a map came about and how well it is known.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// Covariance of the map's eight numbers (h33 = 1).
    pub covariance: Covariance,
    /// As [`Placement::residual_px`].
    pub residual_px: f64,
    /// What speaks for it.
    pub support: Support,
    /// Who said so.
    pub origin: Origin,
}

/// One face of one product, found or drawn in one photo.
#[derive(Debug, Clone)]
pub struct Placement {
    /// Which face.
    pub face: FaceId,
    /// Its size, width and height, mm.
    pub size_mm: (f64, f64),
    /// Millimetres on the face to pixels of the photo; see the module's head for where it is exact.
    pub mm_to_px: Homography,
    /// Covariance of the map's eight numbers (h33 = 1).
    pub covariance: Covariance,
    /// Standard deviation of one coordinate of one fitted feature or block about the map, pixels;
    /// for manual corners, their stated uncertainty.
    pub residual_px: f64,
    /// What speaks for it.
    pub support: Support,
    /// Pixels per millimetre at the face's centre, geometric mean over directions.
    pub px_per_mm: f64,
    /// Angle of view at the face's centre.
    pub angle: ViewAngle,
    /// Who said so.
    pub origin: Origin,
    /// The part of the face inside the frame, a convex polygon in face millimetres; not reduced by
    /// what lies on top of the face.
    pub visible: Vec<Point>,
}

impl Placement {
    /// A placement from its map.
    ///
    /// # Errors
    /// [`GeometryError`] when the map shows no face of this size from its printed side.
    pub fn new(
        face: FaceId,
        size_mm: (f64, f64),
        mm_to_px: Homography,
        evidence: Evidence,
        frame_px: (usize, usize),
    ) -> Result<Self, GeometryError> {
        let Evidence { covariance, residual_px, support, origin } = evidence;
        mm_to_px.check_over(size_mm)?;
        let centre = [size_mm.0 / 2.0, size_mm.1 / 2.0];
        let px_per_mm = mm_to_px.local_scale_px_per_mm(centre).ok_or(GeometryError::Horizon)?;
        let angle =
            view_angle(&mm_to_px, size_mm, frame_px, Some(&covariance)).ok_or(GeometryError::Horizon)?;
        let back = mm_to_px.inverse();
        let outline = mm_to_px.corners_px(size_mm)?;
        let visible = polygon::clip(&outline, &polygon::frame(frame_px.0, frame_px.1))
            .into_iter()
            .filter_map(|p| back.map(p))
            .collect();
        Ok(Self {
            face,
            size_mm,
            mm_to_px,
            covariance,
            residual_px,
            support,
            px_per_mm,
            angle,
            origin,
            visible,
        })
    }

    /// A placement from corners that a person drew.
    ///
    /// # Input
    /// `corners_px`: top-left, top-right, bottom-right, bottom-left of the face, pixels; they may lie
    /// outside the frame. `u_px`: standard uncertainty of either coordinate of a corner.
    /// `frame_px`: width and height of the photo.
    ///
    /// # Errors
    /// [`GeometryError`] when the corners show no face; its message says what to change.
    pub fn from_corners(
        face: FaceId,
        size_mm: (f64, f64),
        corners_px: [Point; 4],
        u_px: f64,
        frame_px: (usize, usize),
    ) -> Result<Self, GeometryError> {
        let map = Homography::from_four(corners_px, size_mm)?;
        let covariance = Covariance::from_corners(&map, size_mm, u_px)?;
        let evidence =
            Evidence { covariance, residual_px: u_px, support: Support::MANUAL, origin: Origin::Manual };
        Self::new(face, size_mm, map, evidence, frame_px)
    }

    /// The same face with a better map, for a caller that located part of it itself.
    ///
    /// # Errors
    /// As [`Placement::new`].
    pub fn with_map(
        &self,
        mm_to_px: Homography,
        covariance: Covariance,
        residual_px: f64,
        frame_px: (usize, usize),
    ) -> Result<Self, GeometryError> {
        let evidence = Evidence { covariance, residual_px, support: self.support, origin: self.origin };
        Self::new(self.face.clone(), self.size_mm, mm_to_px, evidence, frame_px)
    }

    /// The face's corners in the photo, pixels: top-left, top-right, bottom-right, bottom-left.
    #[must_use]
    pub fn outline_px(&self) -> Vec<Point> {
        self.mm_to_px.corners_px(self.size_mm).map_or_else(|_| Vec::new(), |c| c.to_vec())
    }

    /// Share of the face inside the frame, 0 to 1.
    #[must_use]
    pub fn visible_share(&self) -> f64 {
        (polygon::signed_area(&self.visible).abs() / (self.size_mm.0 * self.size_mm.1)).min(1.0)
    }

    /// Pixels per millimetre along the face's x and y at a point of the face.
    #[must_use]
    pub fn px_per_mm_at(&self, at_mm: Point) -> Option<[f64; 2]> {
        self.mm_to_px.axis_scales_px_per_mm(at_mm)
    }

    /// Standard uncertainty of where a point of the face's print lies, mm along x and y.
    #[must_use]
    pub fn position_u_mm(&self, at_mm: Point) -> Option<[f64; 2]> {
        self.covariance.point_u_mm(&self.mm_to_px, at_mm)
    }
}
