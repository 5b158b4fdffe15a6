//! A rectangle of a face, seen straight on, in linear light.
//!
//! In: a photo, a map, a rectangle on the face and a resolution. Out: a [`Patch`]. Never here: colour
//! correction, glare (ask the photo's quality map), comparison with anything.
//!
//! Light is averaged before it is interpolated: where the photo is finer than the patch, whole blocks
//! of pixels are averaged first (a power of two chosen for the finest place of the rectangle), then
//! each patch pixel is the mean of a grid of bilinear samples dense enough for the coarsest direction.
//! Work goes by tiles of the patch, so that only a small part of the photo is linear at any time.

use casebook::units::RectMm;
use photo::{Photo, Plane};
use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use crate::homography::{Homography, Point};
use crate::source::{Block, Source};

/// Side of the square tiles, patch pixels: with its part of the photo a tile stays in the cache.
const TILE: usize = 64;

/// Most samples along one direction of a patch pixel; beyond it (views close to 90°) rows alias.
const MAX_SAMPLES: usize = 8;

/// Steps between samples in averaged blocks: a bilinear sample is a triangle two blocks wide, so that
/// steps of one and a half still overlap.
const BLOCKS_PER_SAMPLE: f64 = 1.5;

/// Most pixels of one patch; a request above it is answered with an empty patch.
pub const MAX_PATCH_PIXELS: usize = 64_000_000;

/// A rectangle of a face in linear light.
///
/// The centre of pixel (i, j) lies at `origin_mm + (i + ½, j + ½) / px_per_mm` on the face.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Red, green, blue: linear light, Rec. 709 primaries, D65, 1.0 = file white. 0 where unusable.
    pub rgb: [Plane<f32>; 3],
    /// Whether the photo shows this place: `false` outside the frame. Glare is not marked here.
    pub usable: Plane<bool>,
    /// Whether the place rests on a photo pixel with a channel at its top code: its light is a lower
    /// bound. `false` where unusable.
    pub clipped: Plane<bool>,
    /// Resolution of the patch.
    pub px_per_mm: f64,
    /// The rectangle's top-left corner on the face, mm.
    pub origin_mm: Point,
    /// Photo pixels per millimetre in the middle of the rectangle along x and y: what was there to be
    /// seen, whatever the patch's own resolution. 0 when the middle is behind the horizon.
    pub seen_px_per_mm: [f64; 2],
}

impl Patch {
    /// Pixels in a row.
    #[must_use]
    pub fn width(&self) -> usize {
        self.usable.width()
    }

    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.usable.height()
    }

    /// Where a patch pixel (fractional allowed) lies on the face, mm.
    #[must_use]
    pub fn mm_of(&self, x: f64, y: f64) -> Point {
        [self.origin_mm[0] + (x + 0.5) / self.px_per_mm, self.origin_mm[1] + (y + 0.5) / self.px_per_mm]
    }

    /// Where a place on the face lies in the patch, pixels.
    #[must_use]
    pub fn px_of(&self, mm: Point) -> Point {
        [
            (mm[0] - self.origin_mm[0]) * self.px_per_mm - 0.5,
            (mm[1] - self.origin_mm[1]) * self.px_per_mm - 0.5,
        ]
    }

    /// Share of the patch inside the photo's frame, 0 to 1.
    #[must_use]
    pub fn usable_share(&self) -> f64 {
        let n = self.usable.data().len();
        if n == 0 { 0.0 } else { self.usable.data().iter().filter(|u| **u).count() as f64 / n as f64 }
    }

    /// Luminance Y of every pixel: 0.2126 R + 0.7152 G + 0.0722 B, linear light.
    ///
    /// Source: [`iec61966-2-1`]
    #[must_use]
    pub fn luminance(&self) -> Plane<f32> {
        let [r, g, b] = &self.rgb;
        let data = r
            .data()
            .iter()
            .zip(g.data())
            .zip(b.data())
            .map(|((r, g), b)| 0.2126 * r + 0.7152 * g + 0.0722 * b)
            .collect();
        Plane::from_vec(self.width(), self.height(), data).unwrap_or_else(|| Plane::filled(0, 0, 0.0))
    }
}

/// How densely to read the photo for a patch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Density {
    /// Photo pixels averaged along either side before interpolation; a power of two.
    pub(crate) block: usize,
    /// Samples along the patch's x and y in each patch pixel.
    pub(crate) samples: [usize; 2],
}

/// From the map's scales over the rectangle (photo pixels per patch pixel).
pub(crate) fn density(h: &Homography, rect: &RectMm, px_per_mm: f64) -> Density {
    let (mut finest, mut coarsest) = (f64::INFINITY, [0.0f64; 2]);
    for (fx, fy) in [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.5, 0.5)] {
        if let Some(s) = h.axis_scales_px_per_mm([rect.x + fx * rect.width, rect.y + fy * rect.height]) {
            for k in 0..2 {
                let ratio = s[k] / px_per_mm;
                finest = finest.min(ratio);
                coarsest[k] = coarsest[k].max(ratio);
            }
        }
    }
    let mut block = 1;
    // A block may not be coarser than a patch pixel anywhere, so nothing seen is lost.
    while finest.is_finite() && (2 * block) as f64 <= finest * 1.05 && block < 64 {
        block *= 2;
    }
    let samples = coarsest
        .map(|c| ((c / block as f64 / BLOCKS_PER_SAMPLE - 0.01).ceil().max(1.0) as usize).min(MAX_SAMPLES));
    Density { block, samples }
}

/// Cuts a rectangle of a face out of a photo, seen straight on.
///
/// # Input
/// `mm_to_px`: face millimetres to photo pixels. `rect_mm`: may reach beyond the face and the frame.
/// `px_per_mm`: resolution wanted; above the photo's own it only enlarges.
///
/// # Result
/// Linear light; `usable` is `false` outside the frame. Empty (0 × 0) for a rectangle without area,
/// a resolution that is not positive, or more than [`MAX_PATCH_PIXELS`].
///
/// # Example
/// ```no_run
/// # fn show(photo: &photo::Photo, placement: &placement::Placement) {
/// use casebook::units::RectMm;
/// let top_seal = RectMm { x: 0.0, y: 0.0, width: 65.0, height: 12.0 };
/// let patch = placement::rectify(photo, &placement.mm_to_px, top_seal, 20.0);
/// assert_eq!((patch.width(), patch.height()), (1300, 240));
/// # }
/// ```
#[must_use]
pub fn rectify(photo: &Photo, mm_to_px: &Homography, rect_mm: RectMm, px_per_mm: f64) -> Patch {
    rectify_source(&Source::of(photo), mm_to_px, rect_mm, px_per_mm)
}

pub(crate) fn rectify_source(source: &Source<'_>, h: &Homography, rect: RectMm, px_per_mm: f64) -> Patch {
    let (width, height) = patch_size(&rect, px_per_mm);
    let d = density(h, &rect, px_per_mm);
    let columns = width.div_ceil(TILE);
    let arch = Arch::new();
    let tiles: Vec<Tile> = (0..columns * height.div_ceil(TILE))
        .into_par_iter()
        .map_init(Block::default, |block, t| {
            let (x0, y0) = (t % columns * TILE, t / columns * TILE);
            let area = (x0, y0, TILE.min(width - x0), TILE.min(height - y0));
            arch.dispatch(Cut { source, map: h, rect: &rect, px_per_mm, density: d, area, block })
        })
        .collect();
    let mut rgb = [0, 1, 2].map(|_| Plane::filled(width, height, 0.0f32));
    let mut usable = Plane::filled(width, height, false);
    let mut clipped = Plane::filled(width, height, false);
    for (t, (values, inside)) in tiles.iter().enumerate() {
        let (x0, y0) = (t % columns * TILE, t / columns * TILE);
        let w = TILE.min(width - x0);
        for (j, (row, inside)) in values.chunks_exact(w).zip(inside.chunks_exact(w)).enumerate() {
            for (k, plane) in rgb.iter_mut().enumerate() {
                for (out, v) in plane.row_mut(y0 + j)[x0..x0 + w].iter_mut().zip(row) {
                    *out = v[k];
                }
            }
            usable.row_mut(y0 + j)[x0..x0 + w].copy_from_slice(inside);
            for (out, v) in clipped.row_mut(y0 + j)[x0..x0 + w].iter_mut().zip(row) {
                *out = v[3] > 0.0;
            }
        }
    }
    let middle = [rect.x + rect.width / 2.0, rect.y + rect.height / 2.0];
    Patch {
        rgb,
        usable,
        clipped,
        px_per_mm,
        origin_mm: [rect.x, rect.y],
        seen_px_per_mm: h.axis_scales_px_per_mm(middle).unwrap_or([0.0; 2]),
    }
}

/// Pixels of a patch, (0, 0) for an impossible request.
fn patch_size(rect: &RectMm, px_per_mm: f64) -> (usize, usize) {
    let (w, h) = ((rect.width * px_per_mm).round(), (rect.height * px_per_mm).round());
    let good = px_per_mm > 0.0 && w >= 1.0 && h >= 1.0 && w * h <= MAX_PATCH_PIXELS as f64;
    if good && rect.x.is_finite() && rect.y.is_finite() { (w as usize, h as usize) } else { (0, 0) }
}

/// Red, green, blue, clipped share of each pixel, and whether it is inside the frame.
type Tile = (Vec<[f32; 4]>, Vec<bool>);

/// One tile to cut out; its place and size in patch pixels.
struct Cut<'a> {
    source: &'a Source<'a>,
    map: &'a Homography,
    rect: &'a RectMm,
    px_per_mm: f64,
    density: Density,
    area: (usize, usize, usize, usize),
    block: &'a mut Block,
}

impl WithSimd for Cut<'_> {
    type Output = Tile;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Tile {
        tile(self)
    }
}

#[inline(always)]
fn tile(cut: Cut<'_>) -> Tile {
    let Cut { source, map: h, rect, px_per_mm, density: d, area: (x0, y0, w, t), block } = cut;
    let mut out = vec![[0.0f32; 4]; w * t];
    let mut inside = vec![false; w * t];
    let mm = |(i, j): (usize, usize)| [rect.x + i as f64 / px_per_mm, rect.y + j as f64 / px_per_mm];
    let ends = [(x0, y0), (x0 + w, y0), (x0 + w, y0 + t), (x0, y0 + t)];
    let mut corners = [[0.0; 2]; 4];
    for (c, end) in corners.iter_mut().zip(ends) {
        match h.map(mm(end)) {
            Some(p) => *c = p,
            None => return (out, inside),
        }
    }
    if !block.load(source, &corners, d.block) {
        return (out, inside);
    }
    let r = h.rows();
    let [nx, ny] = d.samples;
    let share = 1.0 / (nx * ny) as f32;
    let (sx, sy) = (1.0 / (px_per_mm * nx as f64), 1.0 / (px_per_mm * ny as f64));
    for (j, (row, inside)) in out.chunks_exact_mut(w).zip(inside.chunks_exact_mut(w)).enumerate() {
        inside.fill(true);
        for b in 0..ny {
            let y = rect.y + (((y0 + j) * ny + b) as f64 + 0.5) * sy;
            let base = [r[0][1] * y + r[0][2], r[1][1] * y + r[1][2], r[2][1] * y + r[2][2]];
            for (i, (v, inside)) in row.iter_mut().zip(inside.iter_mut()).enumerate() {
                for a in 0..nx {
                    let x = rect.x + (((x0 + i) * nx + a) as f64 + 0.5) * sx;
                    let q = 1.0 / (r[2][0] * x + base[2]);
                    match block.sample((r[0][0] * x + base[0]) * q, (r[1][0] * x + base[1]) * q) {
                        Some(s) => {
                            for k in 0..4 {
                                v[k] += s[k];
                            }
                        }
                        // A pixel counts only when every one of its samples was inside the frame.
                        None => *inside = false,
                    }
                }
            }
        }
        for (v, inside) in row.iter_mut().zip(inside.iter()) {
            let rgb = source.working([v[0] * share, v[1] * share, v[2] * share]);
            *v = if *inside { [rgb[0], rgb[1], rgb[2], v[3]] } else { [0.0; 4] };
        }
    }
    (out, inside)
}
