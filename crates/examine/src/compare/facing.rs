//! From a placed photo to layers on the grid.
//!
//! In: photos and maps. Out: [`Layer`]s. Never here: comparison.

use casebook::units::RectMm;
use photo::{Photo, Plane};
use placement::{Homography, Patch, rectify};

use super::grid::Grid;
use super::layer::Layer;

/// How far a photo's layer reaches beyond the face, mm: placement error and pillow together.
const MARGIN_MM: f64 = 4.0;

/// A flat reference picture (its edges are the face's edges) on the grid.
#[must_use]
pub fn reference_layer(reference: &Photo, grid: &Grid) -> Option<Layer> {
    let [w, h] = grid.size_mm;
    let (sx, sy) = (reference.width() as f64 / w, reference.height() as f64 / h);
    let map = Homography::new([[sx, 0.0, -0.5], [0.0, sy, -0.5], [0.0, 0.0, 1.0]]).ok()?;
    let patch = rectify(reference, &map, RectMm::new(0.0, 0.0, w, h), grid.px_per_mm);
    let mut layer = layer(patch, grid.width, grid.height, 0)?;
    // The outermost pixel may lie half outside by rounding; the whole reference is usable.
    layer.usable = Plane::filled(grid.width, grid.height, 1.0);
    Some(layer)
}

/// A placed photo on the grid, with a margin that is a multiple of four pixels.
#[must_use]
pub fn photo_layer(photo: &Photo, mm_to_px: &Homography, grid: &Grid) -> Option<Layer> {
    let margin = (MARGIN_MM * grid.px_per_mm / 4.0).ceil() as usize * 4;
    let m = margin as f64 / grid.px_per_mm;
    let (w, h) = (grid.width + 2 * margin, grid.height + 2 * margin);
    let rect = RectMm::new(-m, -m, w as f64 / grid.px_per_mm, h as f64 / grid.px_per_mm);
    layer(rectify(photo, mm_to_px, rect, grid.px_per_mm), w, h, margin)
}

/// Where a photo's frame shows the face: 1 inside, 0 outside, on the grid.
#[must_use]
pub fn frame(photo: &Photo, mm_to_px: &Homography, grid: &Grid) -> Plane<f32> {
    let (right, bottom) = (photo.width() as f64 - 0.5, photo.height() as f64 - 0.5);
    Plane::from_fn(grid.width, grid.height, |x, y| {
        let (x, y) = grid.mm(x as f64, y as f64);
        let inside =
            mm_to_px.map([x, y]).is_some_and(|[u, v]| u >= -0.5 && v >= -0.5 && u <= right && v <= bottom);
        if inside { 1.0 } else { 0.0 }
    })
}

/// Takes a patch over; a rounding difference of one row or column is repeated or cut off.
fn layer(patch: Patch, width: usize, height: usize, margin_px: usize) -> Option<Layer> {
    if patch.width() == 0 || patch.width().abs_diff(width) > 1 || patch.height().abs_diff(height) > 1 {
        return None;
    }
    let usable = patch.usable.map(|u| if *u { 1.0_f32 } else { 0.0 });
    let fit = |p: Plane<f32>| -> Plane<f32> {
        if p.width() == width && p.height() == height {
            return p;
        }
        Plane::from_fn(width, height, |x, y| p.nearest(x as isize, y as isize).unwrap_or(0.0))
    };
    let [r, g, b] = patch.rgb;
    Some(Layer { rgb: [fit(r), fit(g), fit(b)], usable: fit(usable), margin_px })
}
