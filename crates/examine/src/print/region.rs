//! One named region of a face: its scale, shift and turn against its surroundings, and its likeness.
//!
//! In: the comparison of one photo and a rectangle on the face. Out: [`RegionReading`].
//! Never here: several photos (that is `joint`), what a displaced region means, words.
//!
//! The displacement field of the face is fitted again **without** the blocks that touch the region, so
//! it predicts where the region's print should lie if it belongs to the rest. What is measured is the
//! similarity that the region needs on top. Start: the best of a search over shifts and scales on a
//! reduced grid; then Gauss–Newton on the locally normalised lightness with free gain and level.
//! Uncertainty: residuals are summed by squares of [`CLUSTER_MM`], so that shading and creases which
//! disturb neighbouring pixels together count once (a sandwich with clusters); the prediction's own
//! covariance is added.
//! Sources: `evangelidis2008` (alignment with free gain and level), `lucas1981`, `liang1986`
//! (sandwich covariance with clusters).

use casebook::elementary::{cos, sin};
use casebook::units::RectMm;
use photo::Plane;

use crate::compare::align::Alignment;
use crate::compare::field::{DISCREPANCY_MM, Field, Term};
use crate::compare::filter::{normalise, reduce, smooth};
use crate::compare::grid::{Grid, Pixels};
use crate::compare::linear::Symmetric;

/// Print around the rectangle that is looked at with it, mm.
const RIM_MM: f64 = 0.8;
/// Largest displacement searched, mm.
const REACH_MM: f64 = 3.0;
/// Scales searched.
const SCALES: [f64; 7] = [0.85, 0.90, 0.95, 1.0, 1.05, 1.10, 1.16];
/// Scales beside the best of them from which the fit starts as well.
const NUDGES: [f64; 3] = [0.0, -0.025, 0.025];
/// Which of them is 1.
const NOMINAL: usize = 3;
/// Blocks whose centre is nearer than this to the region take no part in the prediction, mm: half a
/// block, and what a displaced region drags along.
const CLEAR_MM: f64 = 5.0;
/// Side of the squares by which residuals are summed, mm.
const CLUSTER_MM: f64 = 2.5;
/// Light that changes slower than this is taken out, mm.
const LIGHT_MM: f64 = 3.0;
const FLOOR: f32 = 0.03;
/// Points of the search and of the fit.
const SEARCH_POINTS: usize = 600;
const ROUGH_POINTS: usize = 1_500;
const FIT_POINTS: usize = 4_500;
/// A start other than "where it should be" must correlate better by this much.
const BETTER: f64 = 0.06;
/// Least usable share of a region.
const USABLE: f64 = 0.6;

/// Shift in mm, scale − 1, turn in radians (from x towards y), about the region's centre.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Similarity {
    /// x, y, scale − 1, turn.
    pub value: [f64; 4],
    /// Their covariance.
    pub covariance: [[f64; 4]; 4],
}

/// What one photo shows of a region.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RegionReading {
    /// What the region needs on top of its surroundings.
    pub similarity: Similarity,
    /// Correlation of the pattern after that, −1 to 1.
    pub likeness: f64,
    /// Standard uncertainty of the likeness' Fisher z.
    pub likeness_u: f64,
    /// Correlation that the pattern finds by chance elsewhere: mean and standard deviation.
    pub chance: (f64, f64),
    /// Share of the region that was usable.
    pub usable: f64,
    /// Contrast of the reference there (standard deviation of the root of luminance).
    pub contrast: f64,
}

/// Both pictures' lightness, prepared once a face and photo.
#[derive(Debug)]
pub struct Lightness<'a> {
    /// Reference, as blurred as the photo, no margin.
    pub reference: Plane<f32>,
    /// Photo with its margin, not warped.
    pub photo: &'a Plane<f32>,
    /// 1 where the photo is usable, with margin (not warped): inside the frame and not clipped.
    pub usable: &'a Plane<f32>,
    /// The margin, pixels.
    pub margin_px: usize,
}

/// Measures a region.
///
/// # Cannot tell
/// Nothing when under [`USABLE`] of it is usable, when the reference has no pattern there, or when the
/// fit leaves the range searched.
#[must_use]
pub fn measure(
    grid: &Grid,
    light: &Lightness,
    alignment: &Alignment,
    rect: &RectMm,
) -> Option<RegionReading> {
    let predicted = predict(alignment, rect)?;
    let inner = grid.pixels(rect, RIM_MM);
    if inner.width() < 8 || inner.height() < 8 {
        return None;
    }
    let reach = (REACH_MM * grid.px_per_mm / 2.0).ceil() as usize * 2;
    let window = Window::cut(grid, light, &predicted, inner, reach);
    let usable = window.usable_share();
    if usable < USABLE {
        return None;
    }
    let coarse = window.reduced();
    let start = coarse.search(grid.px_per_mm / 2.0)?;
    let rough = NUDGES
        .iter()
        .filter_map(|nudge| {
            let from = [start.value[0] / 2.0, start.value[1] / 2.0, start.value[2] + nudge, 0.0];
            coarse.fit(from, 6, ROUGH_POINTS)
        })
        .reduce(|a, b| if b.correlation > a.correlation { b } else { a })?;
    let fine = window.fit(
        [2.0 * rough.theta[0], 2.0 * rough.theta[1], rough.theta[2], rough.theta[3]],
        6,
        FIT_POINTS,
    )?;
    let s = grid.px_per_mm;
    let limit = (reach as f64) * 1.2;
    if fine.theta[0].abs() > limit || fine.theta[1].abs() > limit || fine.theta[2].abs() > 0.3 {
        return None;
    }
    let unit = [1.0 / s, 1.0 / s, 1.0, 1.0];
    let mut covariance = prediction_covariance(&predicted, rect);
    for i in 0..4 {
        for j in 0..4 {
            covariance[i][j] += fine.covariance[i][j] * unit[i] * unit[j];
        }
    }
    // Small creases move a region as a whole, too: what blocks show beyond the field counts once more.
    let crease = DISCREPANCY_MM * DISCREPANCY_MM;
    let lever = 0.25 * (rect.width * rect.width + rect.height * rect.height);
    for (i, own) in [crease, crease, crease / lever, crease / lever].into_iter().enumerate() {
        covariance[i][i] += own;
    }
    let value = [0, 1, 2, 3].map(|i| fine.theta[i] * unit[i]);
    let independent = (window.inner_area() as f64 * usable / (s * s)).max(4.0);
    Some(RegionReading {
        similarity: Similarity { value, covariance },
        likeness: fine.correlation,
        likeness_u: 1.0 / (independent - 3.0).max(1.0).sqrt(),
        chance: start.chance,
        usable,
        contrast: window.contrast,
    })
}

/// The face's displacement as its other parts speak for it.
fn predict(alignment: &Alignment, rect: &RectMm) -> Option<Field> {
    let near = |at: [f64; 2]| {
        at[0] > rect.x - CLEAR_MM
            && at[0] < rect.x + rect.width + CLEAR_MM
            && at[1] > rect.y - CLEAR_MM
            && at[1] < rect.y + rect.height + CLEAR_MM
    };
    Field::without(&alignment.basis, &alignment.shifts, |s| near(s.at_mm))
}

/// Covariance that the prediction brings into (x, y, scale, turn).
fn prediction_covariance(field: &Field, rect: &RectMm) -> [[f64; 4]; 4] {
    const N: usize = 5;
    let (cx, cy) = rect.centre();
    let mut points = Vec::with_capacity(N * N);
    for j in 0..N {
        for i in 0..N {
            let (u, v) = (i as f64 / (N - 1) as f64 - 0.5, j as f64 / (N - 1) as f64 - 0.5);
            points.push((u * rect.width, v * rect.height));
        }
    }
    let n = points.len() as f64;
    let spread: f64 = points.iter().map(|(u, v)| u * u + v * v).sum();
    let functional = |weight: &dyn Fn(f64, f64) -> [f64; 2]| -> Vec<Term> {
        points.iter().map(|&(u, v)| Term { at_mm: [cx + u, cy + v], weight: weight(u, v) }).collect()
    };
    let rows = [
        functional(&|_, _| [1.0 / n, 0.0]),
        functional(&|_, _| [0.0, 1.0 / n]),
        functional(&|u, v| [u / spread, v / spread]),
        functional(&|u, v| [-v / spread, u / spread]),
    ];
    let whole = field.covariance(&rows);
    let mut out = [[0.0; 4]; 4];
    for i in 0..4 {
        for j in 0..4 {
            out[i][j] = whole[i][j];
        }
    }
    out
}

/// The region in both pictures: the reference's pixels, and the photo over a wider area, both
/// normalised; pixel frames share the inner block's top-left corner.
struct Window {
    reference: Plane<f32>,
    photo: Plane<f32>,
    usable: Plane<f32>,
    reach: usize,
    contrast: f64,
}

struct Start {
    value: [f64; 3],
    chance: (f64, f64),
}

struct Fitted {
    theta: [f64; 4],
    covariance: [[f64; 4]; 4],
    correlation: f64,
}

impl Window {
    fn cut(grid: &Grid, light: &Lightness, field: &Field, inner: Pixels, reach: usize) -> Self {
        let (w, h) = (inner.width() / 2 * 2, inner.height() / 2 * 2);
        let reference = light.reference.crop(inner.x0, inner.y0, w, h);
        let (ww, hh) = (w + 2 * reach, h + 2 * reach);
        // The field over the window, on a lattice of 8 pixels.
        let (step, nx) = (8_usize, ww / 8 + 2);
        let ny = hh / step + 2;
        let origin = (inner.x0 as f64 - reach as f64, inner.y0 as f64 - reach as f64);
        let lattice: Vec<[f64; 2]> = (0..nx * ny)
            .map(|k| {
                let (x, y) =
                    grid.mm(origin.0 + ((k % nx) * step) as f64, origin.1 + ((k / nx) * step) as f64);
                field.at(x, y).map(|d| d * grid.px_per_mm)
            })
            .collect();
        let m = light.margin_px as f64;
        let mut photo = Plane::filled(ww, hh, 0.0_f32);
        let mut usable = Plane::filled(ww, hh, 0.0_f32);
        for y in 0..hh {
            for x in 0..ww {
                let (i, j) = (x / step, y / step);
                let (tx, ty) = ((x % step) as f64 / step as f64, (y % step) as f64 / step as f64);
                let k = j * nx + i;
                let mix = |n: usize| {
                    let top = lattice[k][n] + (lattice[k + 1][n] - lattice[k][n]) * tx;
                    let bottom = lattice[k + nx][n] + (lattice[k + nx + 1][n] - lattice[k + nx][n]) * tx;
                    top + (bottom - top) * ty
                };
                let (px, py) = (origin.0 + x as f64 + m + mix(0), origin.1 + y as f64 + m + mix(1));
                if let (Some(p), Some(u)) = (light.photo.sample(px, py), light.usable.sample(px, py)) {
                    photo.row_mut(y)[x] = p;
                    usable.row_mut(y)[x] = if u > 0.7 { 1.0 } else { 0.0 };
                }
            }
        }
        let sigma = LIGHT_MM * grid.px_per_mm;
        let whole = Plane::filled(w, h, 1.0_f32);
        let contrast = deviation(&reference);
        Self {
            reference: normalise(&reference, &whole, sigma, FLOOR),
            photo: normalise(&photo, &usable, sigma, FLOOR),
            usable,
            reach,
            contrast,
        }
    }

    /// Half the resolution, slightly smoothed.
    fn reduced(&self) -> Self {
        let half = |p: &Plane<f32>| smooth(&reduce(p, 2), 0.7);
        Self {
            reference: half(&self.reference),
            photo: half(&self.photo),
            usable: reduce(&self.usable, 2),
            reach: self.reach / 2,
            contrast: self.contrast,
        }
    }

    fn inner_area(&self) -> usize {
        self.reference.width() * self.reference.height()
    }

    fn usable_share(&self) -> f64 {
        let (w, h) = (self.reference.width(), self.reference.height());
        let inner = self.usable.crop(self.reach, self.reach, w, h);
        inner.data().iter().map(|v| f64::from(*v)).sum::<f64>() / (w * h).max(1) as f64
    }

    /// Evenly spread points of the reference, about `count` of them.
    fn points(&self, count: usize) -> Vec<(usize, usize)> {
        let (w, h) = (self.reference.width(), self.reference.height());
        let step = (((w * h) as f64 / count as f64).sqrt().floor() as usize).max(1);
        (0..h).step_by(step).flat_map(|y| (0..w).step_by(step).map(move |x| (x, y))).collect()
    }

    /// Map from reference pixels to the wide plane under a similarity about the centre.
    fn places(&self, theta: &[f64; 4]) -> impl Fn(f64, f64) -> (f64, f64) + use<> {
        let (cx, cy) = self.centre();
        let (c, s) = ((1.0 + theta[2]) * cos(theta[3]), (1.0 + theta[2]) * sin(theta[3]));
        let (x0, y0) = (self.reach as f64 + cx + theta[0], self.reach as f64 + cy + theta[1]);
        move |x, y| {
            let (u, v) = (x - cx, y - cy);
            (x0 + c * u - s * v, y0 + s * u + c * v)
        }
    }

    fn centre(&self) -> (f64, f64) {
        ((self.reference.width() as f64 - 1.0) / 2.0, (self.reference.height() as f64 - 1.0) / 2.0)
    }

    /// Best shift and scale on this (reduced) window; value in pixels of the full grid.
    fn search(&self, px_per_mm: f64) -> Option<Start> {
        let points = self.points(SEARCH_POINTS);
        let reach = (REACH_MM * px_per_mm) as isize / 2 * 2;
        let (mut nominal, mut sum, mut square, mut count) = (-2.0_f64, 0.0, 0.0, 0.0);
        let mut best = ([0_isize; 2], 0_usize, -2.0_f64);
        let bases: Vec<Vec<(isize, isize, f32)>> = SCALES
            .iter()
            .map(|scale| {
                let place = self.places(&[0.0, 0.0, scale - 1.0, 0.0]);
                points
                    .iter()
                    .map(|&(x, y)| {
                        let (px, py) = place(x as f64, y as f64);
                        ((px + 0.5).floor() as isize, (py + 0.5).floor() as isize, self.reference.row(y)[x])
                    })
                    .collect()
            })
            .collect();
        // Every second pixel first, then the neighbours of the best.
        for (k, base) in bases.iter().enumerate() {
            for j in (-reach..=reach).step_by(2) {
                for i in (-reach..=reach).step_by(2) {
                    let Some(rho) = self.correlate(base, i, j) else { continue };
                    if SCALES[k] == 1.0 && (i * i + j * j) as f64 > (1.2 * px_per_mm) * (1.2 * px_per_mm) {
                        sum += rho;
                        square += rho * rho;
                        count += 1.0;
                    }
                    if rho > best.2 {
                        best = ([i, j], k, rho);
                    }
                }
            }
        }
        let [bi, bj] = best.0;
        for j in -1..=1_isize {
            for i in -1..=1_isize {
                if let Some(rho) = self.correlate(&bases[best.1], bi + i, bj + j)
                    && rho > best.2
                {
                    best = ([bi + i, bj + j], best.1, rho);
                }
                if let Some(rho) = self.correlate(&bases[NOMINAL], i, j) {
                    nominal = nominal.max(rho);
                }
            }
        }
        if best.2 <= -2.0 || count < 4.0 {
            return None;
        }
        let mean = sum / count;
        let chance = (mean, (square / count - mean * mean).max(1e-6).sqrt());
        let found = [2.0 * best.0[0] as f64, 2.0 * best.0[1] as f64, SCALES[best.1] - 1.0];
        let value = if nominal + BETTER > best.2 { [0.0; 3] } else { found };
        Some(Start { value, chance })
    }

    fn correlate(&self, base: &[(isize, isize, f32)], i: isize, j: isize) -> Option<f64> {
        let (mut cross, mut own, mut reference) = (0.0_f32, 0.0_f32, 0.0_f32);
        let mut met = 0_usize;
        let (w, h) = (self.photo.width() as isize, self.photo.height() as isize);
        let data = self.photo.data();
        for &(x, y, r) in base {
            let (x, y) = (x + i, y + j);
            if x >= 0 && y >= 0 && x < w && y < h {
                let p = data[(y * w + x) as usize];
                cross += p * r;
                own += p * p;
                reference += r * r;
                met += 1;
            }
        }
        (met * 10 >= base.len() * 7 && own * reference > 0.0)
            .then(|| f64::from(cross) / f64::from(own * reference).sqrt())
    }

    /// Gauss–Newton with free gain and level.
    fn fit(&self, start: [f64; 4], rounds: usize, count: usize) -> Option<Fitted> {
        let points = self.points(count);
        let (gx, gy) = crate::compare::filter::gradient(&self.photo);
        let (cx, cy) = self.centre();
        let mut theta = start;
        let mut scale = f64::INFINITY;
        let half = cx.max(cy).max(1.0);
        let mut settled = false;
        for round in 0..=rounds {
            let mut normal = Symmetric::zeros(6);
            let mut right = [0.0; 6];
            let mut squares: Vec<f64> = Vec::with_capacity(points.len());
            let mut rows: Vec<([f64; 6], f64, f64, usize)> = Vec::with_capacity(points.len());
            let (c, s) = (cos(theta[3]), sin(theta[3]));
            let (mut wt, mut ww, mut tt, mut n) = (0.0, 0.0, 0.0, 0.0);
            let (mut sw, mut st) = (0.0, 0.0);
            let place = self.places(&theta);
            for &(x, y) in &points {
                let (px, py) = place(x as f64, y as f64);
                let (Some(w), Some(u)) = (self.photo.sample(px, py), self.usable.sample(px, py)) else {
                    continue;
                };
                let (Some(ix), Some(iy)) = (gx.sample(px, py), gy.sample(px, py)) else { continue };
                if u < 0.5 {
                    continue;
                }
                let (w, t) = (f64::from(w), f64::from(self.reference.row(y)[x]));
                let (ix, iy) = (f64::from(ix), f64::from(iy));
                let (u, v) = (x as f64 - cx, y as f64 - cy);
                let k = 1.0 + theta[2];
                // Columns: x, y, scale, turn (the last two over `half` pixels), gain, level.
                let row = [
                    ix,
                    iy,
                    (ix * (c * u - s * v) + iy * (s * u + c * v)) / half,
                    k * (ix * (-s * u - c * v) + iy * (c * u - s * v)) / half,
                    -t,
                    -1.0,
                ];
                let cluster = self.cluster(x, y);
                rows.push((row, w, t, cluster));
                wt += w * t;
                ww += w * w;
                tt += t * t;
                sw += w;
                st += t;
                n += 1.0;
            }
            if n < 60.0 {
                return None;
            }
            let (cov, var_w, var_t) = (wt - sw * st / n, ww - sw * sw / n, tt - st * st / n);
            if !(var_w > 0.0 && var_t > 0.0) {
                return None;
            }
            let gain = cov / var_t;
            let level = (sw - gain * st) / n;
            let correlation = cov / (var_w * var_t).sqrt();
            for (row, w, t, _) in &rows {
                let r = w - gain * t - level;
                squares.push(r * r);
                let weight = if scale.is_finite() { 6.0 / (5.0 + r * r / (scale * scale)) } else { 1.0 };
                normal.add_outer(row, weight);
                for (b, v) in right.iter_mut().zip(row) {
                    *b -= weight * r * v;
                }
            }
            let mut sorted = squares.clone();
            sorted.sort_by(f64::total_cmp);
            scale = (sorted[sorted.len() / 2] / 0.455).sqrt().max(1e-4);
            for i in 0..6 {
                normal.add(i, i, 1e-9 * n);
            }
            // A weak pull towards no scale and no turn keeps small texts from wandering: 10 %, 6°.
            let pull = scale * scale;
            normal.add(2, 2, pull / (0.10 * half * 0.10 * half));
            normal.add(3, 3, pull / (0.10 * half * 0.10 * half));
            right[2] -= theta[2] * half * pull / (0.10 * half * 0.10 * half);
            right[3] -= theta[3] * half * pull / (0.10 * half * 0.10 * half);
            let factor = normal.factor()?;
            if round == rounds || settled {
                let covariance = sandwich(&factor, &rows, gain, level, scale, half);
                return Some(Fitted { theta, covariance, correlation });
            }
            let step = factor.solve(&right);
            let long = (step[0].abs().max(step[1].abs()) / 3.0)
                .max(step[2].abs() / (0.08 * half))
                .max(step[3].abs() / (0.08 * half));
            let shorten = if long > 1.0 { 1.0 / long } else { 1.0 };
            let still = step[0].abs().max(step[1].abs()) < 2e-3 && step[2].abs().max(step[3].abs()) < 2e-3;
            theta[0] += shorten * step[0];
            theta[1] += shorten * step[1];
            theta[2] += shorten * step[2] / half;
            theta[3] += shorten * step[3] / half;
            if theta.iter().any(|t| !t.is_finite()) || theta[2].abs() > 0.4 {
                return None;
            }
            settled = still;
        }
        None
    }

    /// Number of the cluster square that a reference pixel lies in.
    fn cluster(&self, x: usize, y: usize) -> usize {
        // The window reaches REACH_MM beyond: that gives the scale without another field.
        let px = (CLUSTER_MM * self.reach as f64 / REACH_MM).max(1.0);
        let columns = (self.reference.width() as f64 / px) as usize + 1;
        (y as f64 / px) as usize * columns + (x as f64 / px) as usize
    }
}

/// H⁻¹ (Σ s sᵀ) H⁻¹ over clusters, for x, y (pixels), scale and turn.
fn sandwich(
    factor: &crate::compare::linear::Factor,
    rows: &[([f64; 6], f64, f64, usize)],
    gain: f64,
    level: f64,
    scale: f64,
    half: f64,
) -> [[f64; 4]; 4] {
    let clusters = rows.iter().map(|r| r.3).max().map_or(0, |m| m + 1);
    let mut sums = vec![[0.0; 6]; clusters];
    let mut filled = vec![false; clusters];
    for (row, w, t, cluster) in rows {
        let r = w - gain * t - level;
        let weight = 6.0 / (5.0 + r * r / (scale * scale));
        filled[*cluster] = true;
        for (s, v) in sums[*cluster].iter_mut().zip(row) {
            *s += weight * r * v;
        }
    }
    let used = filled.iter().filter(|f| **f).count() as f64;
    let small = if used > 7.0 { used / (used - 6.0) } else { 7.0 };
    let mut out = [[0.0; 4]; 4];
    for sum in &sums {
        let d = factor.solve(sum);
        let d = [d[0], d[1], d[2] / half, d[3] / half];
        for i in 0..4 {
            for j in 0..4 {
                out[i][j] += small * d[i] * d[j];
            }
        }
    }
    out
}

fn deviation(p: &Plane<f32>) -> f64 {
    let n = p.data().len().max(1) as f64;
    let mean = p.data().iter().map(|v| f64::from(*v)).sum::<f64>() / n;
    (p.data().iter().map(|v| (f64::from(*v) - mean) * (f64::from(*v) - mean)).sum::<f64>() / n).sqrt()
}
