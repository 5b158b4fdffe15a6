//! A photo in grey at the size that a comparison needs, and faces cut out of it.
//!
//! In: a photo and a scale. Out: [`Grey`], and through a map [`Seen`]. Never here: linear light: what
//! is measured is cut out by [`crate::rectify`]; this is for finding where.

use photo::{Photo, Plane};
use pulp::{Arch, NullaryFnOnce};
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
        let (pw, ph, data) = (self.plane.width(), self.plane.height(), self.plane.data());
        let mut tone = vec![0.0f32; w * h];
        let mut usable = vec![false; w * h];
        if pw < 2 || ph < 2 {
            return Seen { tone: Plane::filled(w, h, 0.0), usable: Plane::filled(w, h, false) };
        }
        let across: Vec<f64> = (0..w).map(|i| (i as f64 + 0.5) / px_per_mm).collect();
        let arch = Arch::new();
        tone.par_chunks_mut(w * ROWS).zip(usable.par_chunks_mut(w * ROWS)).enumerate().for_each(
            |(band, (tones, uses))| {
                let mut places = vec![Place { at: OUTSIDE, fx: 0.0, fy: 0.0 }; w];
                for (j, (row, uses)) in tones.chunks_exact_mut(w).zip(uses.chunks_exact_mut(w)).enumerate() {
                    let y = ((band * ROWS + j) as f64 + 0.5) / px_per_mm;
                    let base = [m[0][1] * y + m[0][2], m[1][1] * y + m[1][2], m[2][1] * y + m[2][2]];
                    let slope = [m[0][0], m[1][0], m[2][0]];
                    let (to_plane, size) = ((k, o), (pw, ph));
                    arch.dispatch(Row { across: &across, slope, base, to_plane, size, places: &mut places });
                    for ((out, usable), place) in row.iter_mut().zip(uses.iter_mut()).zip(&places) {
                        let at = place.at as usize;
                        if place.at == OUTSIDE || at + pw + 1 >= data.len() {
                            continue;
                        }
                        let (upper, lower) = (&data[at..at + 2], &data[at + pw..at + pw + 2]);
                        let (a, b, c, d) = (upper[0], upper[1], lower[0], lower[1]);
                        let top = a + (b - a) * place.fx;
                        *out = top + (c + (d - c) * place.fx - top) * place.fy;
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

/// Where a pixel of a face lies in the plane: index of the upper left of the four around it, and how far
/// from it.
#[derive(Clone, Copy)]
struct Place {
    at: u32,
    fx: f32,
    fy: f32,
}

/// Index of a pixel outside the plane.
const OUTSIDE: u32 = u32::MAX;

/// The places of one row of a face, without a branch, so that several are computed at once.
struct Row<'a> {
    /// Along the row, mm.
    across: &'a [f64],
    /// What a millimetre along the row adds to the homogeneous place, and that place at its start.
    slope: [f64; 3],
    base: [f64; 3],
    /// Factor and offset from photo pixels to the plane's.
    to_plane: (f64, f64),
    /// Width and height of the plane.
    size: (usize, usize),
    places: &'a mut [Place],
}

impl NullaryFnOnce for Row<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self { across, slope, base, to_plane: (k, o), size: (w, h), places } = self;
        let (right, bottom) = (w as f64 - 0.5, h as f64 - 0.5);
        let (last_x, last_y) = (w as f64 - 1.0, h as f64 - 1.0);
        // 32 bits hold every index: a photo's plane has at most some hundred million places.
        let (cell_x, cell_y, stride) = (w as i32 - 2, h as i32 - 2, w as u32);
        for (place, x) in places.iter_mut().zip(across) {
            let q = slope[2] * x + base[2];
            let r = k / q;
            let (u, v) = ((slope[0] * x + base[0]) * r + o, (slope[1] * x + base[1]) * r + o);
            // Written so that a NaN is outside.
            let inside = (q > 0.0) & (u >= -0.5) & (v >= -0.5) & (u <= right) & (v <= bottom);
            let (u, v) = (u.max(0.0).min(last_x), v.max(0.0).min(last_y));
            let (x0, y0) = ((u as i32).min(cell_x), (v as i32).min(cell_y));
            let at = (y0 as u32).wrapping_mul(stride).wrapping_add(x0 as u32);
            *place = Place {
                at: if inside { at } else { OUTSIDE },
                fx: (u - f64::from(x0)) as f32,
                fy: (v - f64::from(y0)) as f32,
            };
        }
    }
}
