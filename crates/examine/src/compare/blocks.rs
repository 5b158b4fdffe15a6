//! Displacement of small blocks by normalised correlation.
//!
//! In: two locally normalised planes of one grid (0 where unusable). Out: [`Shift`]s with information.
//! Never here: smoothness (that is `field`), what a displacement means.
//!
//! The correlation of a block is computed at every whole-pixel shift of a search range; a paraboloid
//! through the top and its eight neighbours gives the fraction. Information: for Gaussian noise the
//! likelihood of a shift is (1 − ρ²)^(−N/2), so its curvature is N ρ / (1 − ρ²) × that of −ρ, with N
//! the number of independent pixels (correlated ones counted once).
//! Source: `cox1974` (profile likelihood of a regression with free gain), textbook form.

use photo::Plane;
use rayon::prelude::*;

use super::field::Shift;
use super::grid::Grid;

/// What to look for where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Side of a block, pixels.
    pub block_px: usize,
    /// Distance between blocks, pixels.
    pub stride_px: usize,
    /// Largest shift tried in each direction, pixels.
    pub reach_px: usize,
    /// Pixels that count as one independent one (area of the noise's correlation).
    pub correlated_px: f64,
    /// Least share of a block that must be usable.
    pub usable: f64,
    /// Correlation below which a block says nothing.
    pub least_correlation: f64,
}

/// Finds the displacement of every block of the grid that shows enough.
///
/// # Input
/// `reference`, `photo`: normalised planes on `grid`. `usable`: 1 where the photo can be used.
///
/// # Result
/// In row order of the blocks. A block whose best shift lies on the border of the range is left out.
#[must_use]
pub fn shifts(
    grid: &Grid,
    reference: &Plane<f32>,
    photo: &Plane<f32>,
    usable: &Plane<f32>,
    search: &Search,
) -> Vec<Shift> {
    let (w, h) = (grid.width, grid.height);
    let n = search.block_px.max(4);
    if w < n || h < n {
        return Vec::new();
    }
    let starts = |length: usize| -> Vec<usize> {
        let span = length - n;
        let count = span / search.stride_px.max(1) + 1;
        (0..=count).map(|i| i * span / count).collect()
    };
    let energy = Integral::of_squares(photo);
    let (xs, ys) = (starts(w), starts(h));
    let places: Vec<(usize, usize)> = ys.iter().flat_map(|y| xs.iter().map(move |x| (*x, *y))).collect();
    let found: Vec<Option<Shift>> = places
        .par_iter()
        .map(|&(x, y)| one(grid, reference, (photo, &energy), usable, search, (x, y)))
        .collect();
    found.into_iter().flatten().collect()
}

fn one(
    grid: &Grid,
    reference: &Plane<f32>,
    photo: (&Plane<f32>, &Integral),
    usable: &Plane<f32>,
    search: &Search,
    (x0, y0): (usize, usize),
) -> Option<Shift> {
    let n = search.block_px.max(4);
    let seen: f32 = (y0..y0 + n).map(|y| usable.row(y)[x0..x0 + n].iter().sum::<f32>()).sum();
    let area = (n * n) as f64;
    if f64::from(seen) < search.usable * area {
        return None;
    }
    let surface = Surface::compute(reference, photo, (x0, y0), n, search.reach_px as isize)?;
    let (i, j, top) = surface.top();
    let reach = search.reach_px as isize;
    if top < search.least_correlation || i.abs() >= reach || j.abs() >= reach {
        return None;
    }
    let peak = surface.refine(i, j)?;
    let rho = peak.value.clamp(0.05, 0.995);
    let independent = f64::from(seen) / search.correlated_px.max(1.0);
    let gain = independent * rho / (1.0 - rho * rho);
    let s = grid.px_per_mm;
    let s2 = s * s;
    let (cx, cy) = grid.mm(x0 as f64 + (n as f64 - 1.0) / 2.0, y0 as f64 + (n as f64 - 1.0) / 2.0);
    Some(Shift {
        at_mm: [cx, cy],
        d_mm: [peak.dx / s, peak.dy / s],
        information: [
            gain * peak.curvature[0] * s2,
            gain * peak.curvature[1] * s2,
            gain * peak.curvature[2] * s2,
        ],
        correlation: peak.value,
    })
}

struct Surface {
    reach: isize,
    rho: Vec<f64>,
}

struct Peak {
    dx: f64,
    dy: f64,
    value: f64,
    /// −∂²ρ: xx, xy, yy, per pixel².
    curvature: [f64; 3],
}

impl Surface {
    fn compute(
        reference: &Plane<f32>,
        (photo, energies): (&Plane<f32>, &Integral),
        (x0, y0): (usize, usize),
        n: usize,
        reach: isize,
    ) -> Option<Self> {
        let (w, h) = (photo.width() as isize, photo.height() as isize);
        let energy: f64 = (y0..y0 + n).map(|y| f64::from(square(&reference.row(y)[x0..x0 + n]))).sum();
        if energy < 1e-6 {
            return None;
        }
        let side = (2 * reach + 1) as usize;
        let mut rho = vec![-1.0; side * side];
        for j in -reach..=reach {
            for i in -reach..=reach {
                let (px, py) = (x0 as isize + i, y0 as isize + j);
                if px < 0 || py < 0 || px + n as isize > w || py + n as isize > h {
                    continue;
                }
                let (px, py) = (px as usize, py as usize);
                let mut cross = 0.0_f64;
                for k in 0..n {
                    let (r, p) = (&reference.row(y0 + k)[x0..x0 + n], &photo.row(py + k)[px..px + n]);
                    cross += f64::from(product(r, p));
                }
                let own = energies.sum(px, py, n);
                if own > 1e-6 {
                    rho[((j + reach) as usize) * side + (i + reach) as usize] = cross / (energy * own).sqrt();
                }
            }
        }
        Some(Self { reach, rho })
    }

    fn at(&self, i: isize, j: isize) -> f64 {
        let side = 2 * self.reach + 1;
        self.rho[((j + self.reach) * side + i + self.reach) as usize]
    }

    fn top(&self) -> (isize, isize, f64) {
        let mut best = (0, 0, -2.0);
        for j in -self.reach..=self.reach {
            for i in -self.reach..=self.reach {
                let v = self.at(i, j);
                let nearer = i * i + j * j < best.0 * best.0 + best.1 * best.1;
                if v > best.2 || (v == best.2 && nearer) {
                    best = (i, j, v);
                }
            }
        }
        best
    }

    /// Least-squares paraboloid through the 3 × 3 values about (i, j).
    fn refine(&self, i: isize, j: isize) -> Option<Peak> {
        let v = |a: isize, b: isize| self.at(i + a, j + b);
        if (-1..=1).any(|b| (-1..=1).any(|a| v(a, b) <= -1.0)) {
            return None;
        }
        let rows = |f: fn(isize) -> f64, g: fn(isize) -> f64| -> f64 {
            (-1..=1).map(|b| (-1..=1).map(|a| f(a) * g(b) * v(a, b)).sum::<f64>()).sum()
        };
        let one = |_: isize| 1.0;
        let lin = |a: isize| a as f64;
        let curve = |a: isize| (a * a) as f64 - 2.0 / 3.0;
        let mean = rows(one, one) / 9.0;
        let (gx, gy) = (rows(lin, one) / 6.0, rows(one, lin) / 6.0);
        let (hxx, hyy) = (rows(curve, one), rows(one, curve));
        let hxy = rows(lin, lin) / 4.0;
        let determinant = hxx * hyy - hxy * hxy;
        if !(hxx < 0.0 && hyy < 0.0 && determinant > 0.0) {
            return None;
        }
        let dx = (-(hyy * gx) + hxy * gy) / determinant;
        let dy = (hxy * gx - hxx * gy) / determinant;
        if dx.abs() > 1.0 || dy.abs() > 1.0 {
            return None;
        }
        let at_centre = mean - (hxx + hyy) / 3.0;
        let value = at_centre + 0.5 * (gx * dx + gy * dy);
        Some(Peak { dx: i as f64 + dx, dy: j as f64 + dy, value, curvature: [-hxx, -hxy, -hyy] })
    }
}

/// Sums of squares over any block in four look-ups.
struct Integral {
    width: usize,
    sums: Vec<f64>,
}

impl Integral {
    fn of_squares(plane: &Plane<f32>) -> Self {
        let width = plane.width() + 1;
        let mut sums = vec![0.0_f64; width * (plane.height() + 1)];
        for y in 0..plane.height() {
            let mut row = 0.0;
            for (x, v) in plane.row(y).iter().enumerate() {
                row += f64::from(*v) * f64::from(*v);
                sums[(y + 1) * width + x + 1] = sums[y * width + x + 1] + row;
            }
        }
        Self { width, sums }
    }

    /// Over the n × n pixels from (x, y), which must lie inside.
    fn sum(&self, x: usize, y: usize, n: usize) -> f64 {
        let at = |x: usize, y: usize| self.sums[y * self.width + x];
        at(x + n, y + n) - at(x, y + n) - at(x + n, y) + at(x, y)
    }
}

/// Σ a² in eight fixed lanes.
fn square(a: &[f32]) -> f32 {
    product(a, a)
}

/// Σ a·b in eight fixed lanes.
fn product(a: &[f32], b: &[f32]) -> f32 {
    let mut cross = [0.0_f32; 8];
    let (ca, cb) = (a.chunks_exact(8), b.chunks_exact(8));
    let (ra, rb) = (ca.remainder(), cb.remainder());
    for (x, y) in ca.zip(cb) {
        for k in 0..8 {
            cross[k] += x[k] * y[k];
        }
    }
    for (k, (x, y)) in ra.iter().zip(rb).enumerate() {
        cross[k] += x * y;
    }
    cross.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::filter::{normalise, smooth};

    fn texture(w: usize, h: usize, dx: f64, dy: f64) -> Plane<f32> {
        // Smooth random blobs, drawn at real-valued places, so that the shift is exact.
        let mut seed = 3_u64;
        let mut next = move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        };
        let blobs: Vec<[f64; 4]> = (0..900)
            .map(|_| [next() * w as f64, next() * h as f64, 1.5 + 2.5 * next(), next() - 0.5])
            .collect();
        let mut out = Plane::filled(w, h, 0.0_f32);
        for [bx, by, s, a] in blobs {
            let (bx, by) = (bx + dx, by + dy);
            let r = (4.0 * s) as isize;
            for y in (by as isize - r).max(0)..(by as isize + r).min(h as isize) {
                for x in (bx as isize - r).max(0)..(bx as isize + r).min(w as isize) {
                    let q = ((x as f64 - bx) * (x as f64 - bx) + (y as f64 - by) * (y as f64 - by)) / (s * s);
                    out.row_mut(y as usize)[x as usize] += (a * casebook::elementary::exp(-0.5 * q)) as f32;
                }
            }
        }
        out
    }

    #[test]
    fn known_shifts_come_back() {
        let grid = Grid::over([40.0, 30.0], 6.0);
        let one = Plane::filled(grid.width, grid.height, 1.0);
        let flat = |p: &Plane<f32>| normalise(&smooth(p, 0.8), &one, 15.0, 1e-3);
        let reference = flat(&texture(grid.width, grid.height, 0.0, 0.0));
        for (dx, dy) in [(0.0, 0.0), (0.3, -0.7), (1.5, 2.25), (-2.6, 0.45)] {
            let moved = flat(&texture(grid.width, grid.height, dx, dy));
            let search = Search {
                block_px: 48,
                stride_px: 30,
                reach_px: 5,
                correlated_px: 8.0,
                usable: 0.6,
                least_correlation: 0.5,
            };
            let found = shifts(&grid, &reference, &moved, &one, &search);
            assert!(found.len() > 20, "{}", found.len());
            for s in found {
                let (ex, ey) = (s.d_mm[0] * 6.0 - dx, s.d_mm[1] * 6.0 - dy);
                assert!(
                    ex.abs() < 0.12 && ey.abs() < 0.12,
                    "{dx} {dy} at {:?}: off by {ex:.3} {ey:.3} px",
                    s.at_mm
                );
            }
        }
    }
}
