//! One picture on the grid: linear light, and where it can be used.
//!
//! In: rectified light, possibly wider than the face by a margin. Out: the same, warped, reduced to
//! lightness. Never here: which picture it is.

use photo::Plane;
use rayon::prelude::*;

use super::field::Field;
use super::filter::reduce;
use super::grid::Grid;

/// Added to luminance before the root, so that the noise of shadows stays small.
const TOE: f32 = 0.002;

/// Linear light over a grid, with a margin of `margin_px` pixels on every side.
#[derive(Debug, Clone)]
pub struct Layer {
    /// Red, green, blue: linear, 1.0 = file white.
    pub rgb: [Plane<f32>; 3],
    /// 1 where the picture shows the face, 0 outside the frame.
    pub usable: Plane<f32>,
    /// Pixels that the planes reach beyond the face on every side.
    pub margin_px: usize,
}

impl Layer {
    /// Square root of luminance: near to how print is seen, and cheap.
    #[must_use]
    pub fn lightness(&self) -> Plane<f32> {
        let [r, g, b] = &self.rgb;
        let data: Vec<f32> = r
            .data()
            .iter()
            .zip(g.data())
            .zip(b.data())
            .map(|((r, g), b)| (0.2126 * r + 0.7152 * g + 0.0722 * b + TOE).max(0.0).sqrt())
            .collect();
        Plane::from_vec(r.width(), r.height(), data).unwrap_or_else(|| Plane::filled(0, 0, 0.0))
    }

    /// This layer without its margin, each place taken from where the field says it lies.
    #[must_use]
    pub fn warped(&self, grid: &Grid, field: &Field) -> Self {
        let at = Places::of(grid, field);
        let [r, g, b] = &self.rgb;
        let planes = [r, g, b].map(|p| at.cubic(p, self.margin_px));
        Self { rgb: planes, usable: at.linear(&self.usable, self.margin_px), margin_px: 0 }
    }
}

/// Where each pixel of a grid lies in a layer without margin: its own place plus the field.
pub struct Places {
    width: usize,
    height: usize,
    step: usize,
    nx: usize,
    /// Displacement in pixels on a coarse lattice.
    lattice: Vec<[f32; 2]>,
}

impl Places {
    /// Evaluates the field on a lattice of 8 pixels.
    #[must_use]
    pub fn of(grid: &Grid, field: &Field) -> Self {
        let step = 8;
        let (nx, ny) = (grid.width / step + 2, grid.height / step + 2);
        let lattice = (0..nx * ny)
            .into_par_iter()
            .map(|k| {
                let (x, y) = grid.mm(((k % nx) * step) as f64, ((k / nx) * step) as f64);
                field.at(x, y).map(|d| (d * grid.px_per_mm) as f32)
            })
            .collect();
        Self { width: grid.width, height: grid.height, step, nx, lattice }
    }

    /// Displacements of the pixels of a row, pixels.
    fn displacements(&self, y: usize, out: &mut [[f32; 2]]) {
        let first = y / self.step * self.nx;
        let ty = (y % self.step) as f32 / self.step as f32;
        let (upper, lower) = (&self.lattice[first..], &self.lattice[first + self.nx..]);
        let cells = upper.windows(2).zip(lower.windows(2));
        for (out, (upper, lower)) in out.chunks_mut(self.step).zip(cells) {
            let ([a, b], [c, d]) = ([upper[0], upper[1]], [lower[0], lower[1]]);
            let (ab, cd) = ([b[0] - a[0], b[1] - a[1]], [d[0] - c[0], d[1] - c[1]]);
            for (i, out) in out.iter_mut().enumerate() {
                let tx = i as f32 / self.step as f32;
                for n in 0..2 {
                    let (top, bottom) = (a[n] + ab[n] * tx, c[n] + cd[n] * tx);
                    out[n] = top + (bottom - top) * ty;
                }
            }
        }
    }

    /// A plane (with margin) at the displaced places, bilinear; outside repeats the edge.
    #[must_use]
    pub fn linear(&self, plane: &Plane<f32>, margin: usize) -> Plane<f32> {
        self.sampled(plane, margin, |p, x, y| {
            let (x0, y0) = (x.floor(), y.floor());
            let (tx, ty) = (x - x0, y - y0);
            let (x0, y0) = (x0 as isize, y0 as isize);
            let at = |i: isize, j: isize| p.nearest(i, j).unwrap_or(0.0);
            let top = at(x0, y0) + (at(x0 + 1, y0) - at(x0, y0)) * tx;
            let bottom = at(x0, y0 + 1) + (at(x0 + 1, y0 + 1) - at(x0, y0 + 1)) * tx;
            top + (bottom - top) * ty
        })
    }

    /// The same with Catmull–Rom's cubic, which keeps fine print sharp.
    #[must_use]
    pub fn cubic(&self, plane: &Plane<f32>, margin: usize) -> Plane<f32> {
        self.sampled(plane, margin, |p, x, y| {
            let (x0, y0) = (x.floor(), y.floor());
            let (wx, wy) = (catmull_rom(x - x0), catmull_rom(y - y0));
            let (x0, y0) = (x0 as isize - 1, y0 as isize - 1);
            let inside = x0 >= 0 && y0 >= 0 && x0 + 4 <= p.width() as isize && y0 + 4 <= p.height() as isize;
            let mut sum = 0.0;
            for (j, wy) in wy.iter().enumerate() {
                let row = if inside {
                    let r = &p.row(y0 as usize + j)[x0 as usize..x0 as usize + 4];
                    wx[0] * r[0] + wx[1] * r[1] + wx[2] * r[2] + wx[3] * r[3]
                } else {
                    let at = |i: isize| p.nearest(x0 + i, y0 + j as isize).unwrap_or(0.0);
                    wx[0] * at(0) + wx[1] * at(1) + wx[2] * at(2) + wx[3] * at(3)
                };
                sum += wy * row;
            }
            sum
        })
    }

    fn sampled(
        &self,
        plane: &Plane<f32>,
        margin: usize,
        f: impl Fn(&Plane<f32>, f32, f32) -> f32 + Sync,
    ) -> Plane<f32> {
        let mut out = Plane::filled(self.width, self.height, 0.0_f32);
        let m = margin as f32;
        out.data_mut().par_chunks_mut(self.width.max(1)).enumerate().for_each_init(
            || vec![[0.0_f32; 2]; self.width],
            |displaced, (y, row)| {
                self.displacements(y, displaced);
                for (x, (v, [dx, dy])) in row.iter_mut().zip(displaced.iter()).enumerate() {
                    *v = f(plane, x as f32 + m + dx, y as f32 + m + dy);
                }
            },
        );
        out
    }
}

fn catmull_rom(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [-0.5 * t + t2 - 0.5 * t3, 1.0 - 2.5 * t2 + 1.5 * t3, 0.5 * t + 2.0 * t2 - 1.5 * t3, -0.5 * t2 + 0.5 * t3]
}

/// A plane with its margin reduced by `n`; the margin must be a multiple of `n`.
#[must_use]
pub fn coarse(plane: &Plane<f32>, n: usize) -> Plane<f32> {
    if n == 1 { plane.clone() } else { reduce(plane, n) }
}
