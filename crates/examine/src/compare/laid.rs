//! A photo laid over its reference, with what regions are measured on.
//!
//! In: [`Reference`] and the photo's [`Layer`]. Out: [`Laid`]. Never here: findings.

use photo::Plane;

use super::comparison::{CLIPPED, Comparison, Lack, Reference};
use super::layer::Layer;

/// A comparison and the photo's lightness before it was warped.
#[derive(Debug, Clone)]
pub struct Laid {
    /// The comparison.
    pub comparison: Comparison,
    /// The photo's lightness with its margin, not warped.
    pub lightness: Plane<f32>,
    /// 1 where the photo is inside the frame and no channel is clipped, same shape.
    pub free: Plane<f32>,
    /// The margin, pixels.
    pub margin_px: usize,
}

impl Laid {
    /// Lays a photo over its reference.
    ///
    /// # Errors
    /// The [`Lack`] that stood in the way; never a panic.
    pub fn of(reference: &Reference, photo: &Layer) -> Result<Self, Lack> {
        let comparison = Comparison::of(reference, photo)?;
        let [r, g, b] = &photo.rgb;
        let free: Vec<f32> = r
            .data()
            .iter()
            .zip(g.data())
            .zip(b.data())
            .zip(photo.usable.data())
            .map(|(((r, g), b), u)| if *u > 0.99 && r.max(*g).max(*b) < CLIPPED { 1.0 } else { 0.0 })
            .collect();
        Ok(Self {
            comparison,
            lightness: photo.lightness(),
            free: Plane::from_vec(r.width(), r.height(), free).unwrap_or_else(|| Plane::filled(0, 0, 0.0)),
            margin_px: photo.margin_px,
        })
    }
}
