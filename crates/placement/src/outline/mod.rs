//! The four-sided outline of a thing on a background, when nobody knows its print yet.
//!
//! In: a photo. Out: [`Outline`]s, the largest first: four corners with their covariance, or why there
//! is none. Never here: what the thing is, millimetres, matching.
//!
//! 1. `ground`: the background is what the frame's border shows, a smooth course of colour with its
//!    scatter; what differs and is not reached from the border stands out.
//! 2. `hull`: each piece's convex hull, reduced to four sides.
//! 3. `sides`: along each side the outermost line of sharp edges that most places agree on; shadows
//!    are soft and lose against it. Corners are where the lines meet, with the lines' uncertainty.
//!
//! Sources: [`jcgm100`] (propagation); background by robust regression, [`lange1989`].

mod ground;
mod hull;
mod sides;

use casebook::names::FaceId;
use photo::Photo;

use crate::covariance::{Covariance, Matrix8};
use crate::error::GeometryError;
use crate::homography::{Homography, Point};
use crate::placement::{Evidence, Origin, Placement, Support};
use crate::polygon::signed_area;

/// Longer side at which background and thing are told apart, pixels.
const SEARCH_SIDE: usize = 420;
/// Smallest thing, share of the frame: an ID-1 card beside a box that fills the frame.
const LEAST_SHARE: f64 = 0.012;
/// Least share of its four-sided outline that a thing fills. A waisted pack fills 0.95.
const LEAST_FILL: f64 = 0.80;

/// How the sides run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sides {
    /// Straight from corner to corner: boxes.
    #[default]
    Straight,
    /// The two longer sides draw in between the ends, so only their ends are fitted: filled packs.
    Waisted,
    /// Corners are rounded, so that only the middle of each side is fitted: cards.
    Rounded,
}

/// Why no outline was found; none of it is an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoOutline {
    /// Nothing stands out from what the border of the photo shows.
    NothingStandsOut,
    /// What stands out leaves the frame.
    LeavesFrame,
    /// What stands out has no four straight sides.
    NotFourSided,
}

impl NoOutline {
    /// What to do about it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NothingStandsOut => {
                "nothing stands out from the background; lay it on a plain surface of another colour, or set its corners"
            }
            Self::LeavesFrame => {
                "it leaves the frame; step back until all four corners are in, or set its corners"
            }
            Self::NotFourSided => {
                "no four straight sides stand out; photograph one face from the front, or set its corners"
            }
        }
    }
}

/// A four-sided outline.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Corners in photo pixels, clockwise as seen, beginning with the one at the top left of the photo.
    pub corners_px: [Point; 4],
    /// Covariance of x1, y1, x2, …, pixels².
    covariance: Matrix8,
    /// Share of the outline that the thing fills, 0 to 1.
    pub fill: f64,
}

impl Outline {
    /// Standard uncertainty of a corner, pixels: root of the mean of both variances.
    #[must_use]
    pub fn corner_u_px(&self, corner: usize) -> f64 {
        let k = 2 * (corner % 4);
        ((self.covariance[(k, k)] + self.covariance[(k + 1, k + 1)]) / 2.0).max(0.0).sqrt()
    }

    /// Mean standard uncertainty of the corners, pixels.
    #[must_use]
    pub fn u_px(&self) -> f64 {
        (0..4).map(|c| self.corner_u_px(c)).sum::<f64>() / 4.0
    }

    /// Lengths of the sides, pixels: top, right, bottom, left.
    #[must_use]
    pub fn sides_px(&self) -> [f64; 4] {
        let c = &self.corners_px;
        [0, 1, 2, 3].map(|k| {
            let (a, b) = (c[k], c[(k + 1) % 4]);
            ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
        })
    }

    /// Area, pixels².
    #[must_use]
    pub fn area_px(&self) -> f64 {
        signed_area(&self.corners_px).abs()
    }

    /// The same with the corner at `first` as top-left of the face, `first` quarter turns on.
    #[must_use]
    pub fn turned(&self, first: usize) -> Self {
        let first = first % 4;
        let corners_px = [0, 1, 2, 3].map(|k| self.corners_px[(k + first) % 4]);
        let mut covariance = Matrix8::zeros();
        for i in 0..8 {
            for j in 0..8 {
                covariance[(i, j)] = self.covariance[((i + 2 * first) % 8, (j + 2 * first) % 8)];
            }
        }
        Self { corners_px, covariance, fill: self.fill }
    }

    /// The outline from corners that a person set, each known to `u_px`.
    #[must_use]
    pub fn by_hand(corners_px: [Point; 4], u_px: f64) -> Self {
        Self { corners_px, covariance: Matrix8::identity() * (u_px * u_px), fill: 1.0 }
    }

    /// The placement of a face of that size whose edges are this outline.
    ///
    /// # Errors
    /// [`GeometryError`] when the corners show no face.
    pub fn placement(
        &self,
        face: FaceId,
        size_mm: (f64, f64),
        frame_px: (usize, usize),
    ) -> Result<Placement, GeometryError> {
        let map = Homography::from_four(self.corners_px, size_mm)?;
        let covariance = Covariance::from_corner_covariance(&map, size_mm, &self.covariance)?;
        let evidence = Evidence {
            covariance,
            residual_px: self.u_px(),
            support: Support::MANUAL,
            origin: Origin::Matched,
        };
        Placement::new(face, size_mm, map, evidence, frame_px)
    }
}

/// Finds four-sided things on a background.
///
/// # Input
/// A photo whose border shows the background for the most part. `sides`: how the sides run.
///
/// # Result
/// The things, the largest first; corners with their covariance from how far the edges lie from the
/// lines through them.
///
/// # Cannot tell
/// [`NoOutline`], with what to do.
///
/// # Errors
/// None but the above: it is a plain answer.
pub fn outlines(photo: &Photo, sides: Sides) -> Result<Vec<Outline>, NoOutline> {
    let factor = photo.width().max(photo.height()).div_ceil(SEARCH_SIDE).max(1);
    let ground = ground::Ground::of(photo, factor).ok_or(NoOutline::NothingStandsOut)?;
    let least = (LEAST_SHARE * ground.pixels() as f64) as usize;
    let pieces = ground.pieces(least);
    if pieces.is_empty() {
        return Err(NoOutline::NothingStandsOut);
    }
    let mut found = Vec::new();
    let mut why = NoOutline::NotFourSided;
    for piece in &pieces {
        let Some(rough) = hull::four_sides(&piece.points) else { continue };
        let area = signed_area(&rough).abs();
        if piece.area as f64 <= LEAST_FILL * area {
            continue;
        }
        if piece.on_border > piece.points.len() / 6 {
            why = NoOutline::LeavesFrame;
            continue;
        }
        let scale = factor as f64;
        let rough = rough.map(|p| p.map(|v| (v + 0.5) * scale - 0.5));
        if let Some((corners_px, covariance)) = sides::fit(photo, &rough, sides) {
            let fill = (piece.area as f64 * scale * scale / signed_area(&corners_px).abs().max(1.0)).min(1.0);
            found.push(upright(&Outline { corners_px, covariance, fill }));
        }
    }
    found.sort_by(|a, b| b.area_px().total_cmp(&a.area_px()));
    if found.is_empty() { Err(why) } else { Ok(found) }
}

/// Begins with the corner whose following side points most to the right.
fn upright(outline: &Outline) -> Outline {
    let c = &outline.corners_px;
    let rightward = |k: usize| {
        let (a, b) = (c[k], c[(k + 1) % 4]);
        let (x, y) = (b[0] - a[0], b[1] - a[1]);
        x / (x * x + y * y).sqrt().max(1e-9)
    };
    let mut best = 0;
    for k in 1..4 {
        if rightward(k) > rightward(best) {
            best = k;
        }
    }
    outline.turned(best)
}
