//! What was learned of one item.
//!
//! In: nothing; these are the results of the other modules. Never here: how they came about.

use casebook::catalogue::{Form, Region, RidgeDirection};
use casebook::names::{PhotoFile, Slug};
use photo::Plane;
use placement::Point;

use crate::size::Size;

/// A value with its standard uncertainty (k = 1), in the field's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// Everything that was learned.
#[derive(Debug, Clone)]
pub struct Learned {
    /// What kind of package.
    pub form: Form,
    /// Its size.
    pub size: Size,
    /// Its faces, in the form's order.
    pub faces: Vec<LearnedFace>,
    /// Its end seals, when it has some and they could be read.
    pub seal: Option<LearnedSeal>,
    /// Where each face lies in each photo that was used.
    pub used: Vec<Used>,
    /// What was guessed and should be confirmed, in words.
    pub confirm: Vec<String>,
    /// What the photos lack, in words.
    pub lacking: Vec<String>,
}

/// One face.
#[derive(Debug, Clone)]
pub struct LearnedFace {
    /// Its name.
    pub id: Slug,
    /// Width and height, mm.
    pub size_mm: [f64; 2],
    /// Standard uncertainty of a corner of the outline, mm.
    pub corner_u_mm: f64,
    /// The reference picture: linear light, its edges are the face's edges.
    pub rgb: [Plane<f32>; 3],
    /// Its pixels per millimetre.
    pub px_per_mm: f64,
    /// Relative standard uncertainty of its light, by channel: how far the photos' cameras differ.
    pub colour_u: [f64; 3],
    /// Share of it that every photo shows under glare, 0 to 1.
    pub glare_left: f64,
    /// The photos that it was made from, the best first.
    pub photos: Vec<PhotoFile>,
    /// Regions to confirm.
    pub regions: Vec<Region>,
}

/// What the end seals are like.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnedSeal {
    /// Height of the sealed band, mm.
    pub height_mm: Option<Measured>,
    /// Direction and pitch of the ridges, mm.
    pub ridges: Option<(RidgeDirection, Measured)>,
    /// The cut: `None` inside means straight, else pitch and depth of the teeth, mm.
    pub cut: Option<Option<(Measured, Measured)>>,
    /// Readings behind it: ends seen in photos.
    pub readings: usize,
}

/// A face in a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Used {
    /// The photo.
    pub file: PhotoFile,
    /// The face.
    pub face: Slug,
    /// Its corners: top-left, top-right, bottom-right, bottom-left, pixels.
    pub corners_px: [Point; 4],
    /// Standard uncertainty of a corner, pixels.
    pub u_px: f64,
    /// Angle of view, degrees.
    pub angle_deg: f64,
}
