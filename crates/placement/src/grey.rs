//! A photo in grey at the size that a comparison needs, and faces cut out of it.
//!
//! In: a photo and a scale. Out: [`Grey`], and through a map [`Seen`]. Never here: linear light: what
//! is measured is cut out by [`crate::rectify`]; this is for finding where.

use photo::{Photo, Plane};
use rayon::prelude::*;

use crate::homography::Homography;

/// Luma from which a place counts as clipped: some channel, averaged over some pixels, is at its top.
const CLIPPED: f32 = 0.985;
/// Plane pixels per pixel compared: a little finer, so that interpolation costs no sharpness.
const FINER: f64 = 1.2;
/// A plane this much coarser than wanted still serves.
const COARSE_ENOUGH: f64 = 0.8;
/// Rows that one task works on.
const ROWS: usize = 32;

/// Luma of a photo's codes, reduced.
pub(crate) struct Grey {
    plane: Plane<f32>,
    /// Photo pixels per pixel of the plane.
    scale: f64,
}

/// A face seen straight on.
pub(crate) struct Seen {
    pub(crate) tone: Plane<f32>,
    /// Inside the frame and not clipped.
    pub(crate) usable: Plane<bool>,
}

impl Grey {
    pub(crate) fn new(photo: &Photo, long_side: usize) -> Self {
        let (plane, scale) = photo.small_luma(long_side);
        Self { plane, scale }
    }

    /// For comparing at `wanted_px_per_mm` what the photo shows at `seen_px_per_mm`.
    pub(crate) fn for_scale(photo: &Photo, seen_px_per_mm: f64, wanted_px_per_mm: f64) -> Self {
        let side = photo.width().max(photo.height()) as f64;
        let long = (side * FINER * wanted_px_per_mm / seen_px_per_mm).ceil();
        Self::new(photo, if long.is_finite() { long.clamp(64.0, side) as usize } else { 64 })
    }

    /// Whether this plane is fine enough for that, or as fine as the photo itself.
    pub(crate) fn serves(&self, seen_px_per_mm: f64, wanted_px_per_mm: f64) -> bool {
        self.scale <= 1.0 + 1e-9 || seen_px_per_mm / self.scale >= COARSE_ENOUGH * wanted_px_per_mm
    }

    pub(crate) fn plane(&self) -> &Plane<f32> {
        &self.plane
    }

    pub(crate) fn scale(&self) -> f64 {
        self.scale
    }

    /// The whole face through a map from its millimetres to photo pixels.
    pub(crate) fn warp(&self, map: &Homography, size_mm: (f64, f64), px_per_mm: f64) -> Seen {
        let size = |mm: f64| ((mm * px_per_mm).round().max(1.0) as usize).min(8192);
        let (w, h) = (size(size_mm.0), size(size_mm.1));
        let m = map.rows();
        // Photo pixel p lies at (p + ½) / scale − ½ of the plane.
        let (k, o) = (1.0 / self.scale, 0.5 / self.scale - 0.5);
        let (right, bottom) = (self.plane.width() as f64 - 0.5, self.plane.height() as f64 - 0.5);
        let (pw, ph, data) = (self.plane.width(), self.plane.height(), self.plane.data());
        let mut tone = vec![0.0f32; w * h];
        let mut usable = vec![false; w * h];
        if pw < 2 || ph < 2 {
            return Seen { tone: Plane::filled(w, h, 0.0), usable: Plane::filled(w, h, false) };
        }
        tone.par_chunks_mut(w * ROWS).zip(usable.par_chunks_mut(w * ROWS)).enumerate().for_each(
            |(band, (tones, uses))| {
                for (j, (row, uses)) in tones.chunks_exact_mut(w).zip(uses.chunks_exact_mut(w)).enumerate() {
                    let y = ((band * ROWS + j) as f64 + 0.5) / px_per_mm;
                    let base = [m[0][1] * y + m[0][2], m[1][1] * y + m[1][2], m[2][1] * y + m[2][2]];
                    for (i, (out, usable)) in row.iter_mut().zip(uses.iter_mut()).enumerate() {
                        let x = (i as f64 + 0.5) / px_per_mm;
                        let q = m[2][0] * x + base[2];
                        let r = k / q;
                        let (u, v) = ((m[0][0] * x + base[0]) * r + o, (m[1][0] * x + base[1]) * r + o);
                        // Written so that a NaN is outside.
                        if !(q > 0.0 && u >= -0.5 && v >= -0.5 && u <= right && v <= bottom) {
                            continue;
                        }
                        let (u, v) = (u.clamp(0.0, pw as f64 - 1.0), v.clamp(0.0, ph as f64 - 1.0));
                        let (x0, y0) = ((u as usize).min(pw - 2), (v as usize).min(ph - 2));
                        let (fx, fy) = ((u - x0 as f64) as f32, (v - y0 as f64) as f32);
                        let at = y0 * pw + x0;
                        let (a, b, c, d) = (data[at], data[at + 1], data[at + pw], data[at + pw + 1]);
                        let top = a + (b - a) * fx;
                        *out = top + (c + (d - c) * fx - top) * fy;
                        *usable = a.max(b).max(c).max(d) < CLIPPED;
                    }
                }
            },
        );
        Seen {
            tone: Plane::from_vec(w, h, tone).unwrap_or_else(|| Plane::filled(w, h, 0.0)),
            usable: Plane::from_vec(w, h, usable).unwrap_or_else(|| Plane::filled(w, h, false)),
        }
    }
}
