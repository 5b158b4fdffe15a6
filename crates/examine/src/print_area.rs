//! The part of a face whose print can be compared: neither end seals and what they gather, nor the
//! sides that turn away from the camera.
//!
//! In: a product's facts and a grid. Out: a mask. Never here: photos.

use casebook::catalogue::{Face, Product};
use photo::Plane;

use crate::compare::grid::Grid;
use crate::seal_height::SealHeight;

/// Print this near to a pack's side turns away from the camera, mm.
const PACK_RIM_MM: f64 = 3.0;
/// The same for a box: the rounded edge.
const BOX_RIM_MM: f64 = 1.5;
/// Print this near to an end seal is gathered by it, mm.
const SEAL_RIM_MM: f64 = 2.5;

/// 1 where print is compared.
#[must_use]
pub(crate) fn compared(product: &Product, face: &Face, grid: &Grid) -> Plane<f32> {
    let seal = SealHeight::of(product);
    let ends = seal.map_or(BOX_RIM_MM, |seal| seal.reach + SEAL_RIM_MM);
    let sides = seal.map_or(BOX_RIM_MM, |_| PACK_RIM_MM);
    let [w, h] = face.size_mm;
    Plane::from_fn(grid.width, grid.height, |x, y| {
        let (x, y) = grid.mm(x as f64, y as f64);
        if x > sides && x < w - sides && y > ends && y < h - ends { 1.0 } else { 0.0 }
    })
}
