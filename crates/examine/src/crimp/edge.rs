//! The outer cut line of an end: where pack ends and background begins.
//!
//! In: an [`EndView`], its [`Cells`], and about where the line lies. Out: [`CutLine`], a place every
//! tenth of a millimetre with how clearly it was seen. Never here: teeth, waviness, a verdict.
//!
//! First a path over coarse cells (ridges averaged out) by dynamic programming: strong steps of colour,
//! near the print's own place, without jumps. Then, column by column, the light between a millimetre
//! outside and a millimetre inside is projected on the difference of both and the line put where the
//! areas balance: below a pixel, and without a threshold on either colour.

use casebook::elementary::ln32;

use super::cells::{CELLS_PER_MM, Cells};
use super::register::Registration;
use super::view::EndView;

/// Distance between points of the line, mm.
pub const POINT_STEP_MM: f64 = 0.1;
/// How far the coarse path may lie from the print's place, mm: miscut, wave and lift together.
const REACH_MM: f64 = 2.5;
/// Standard deviation of that distance, mm.
const SPREAD_MM: f64 = 1.2;
/// A step of half an e-fold in one colour ratio is half of what counts as certain.
const HALF_SURE_STEP: f32 = 0.25;
/// Weights of ln luminance and both colour ratios.
const WEIGHT: [f32; 3] = [0.5, 1.0, 1.0];
/// How far the fine search goes outward and inward from the coarse path, mm.
const FINE_MM: (f64, f64) = (1.3, 0.95);
/// Step of colour that a place must show to count as seen.
const MIN_STEP: f32 = 0.12;

/// One place of the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutPoint {
    /// Along the end, mm in the view.
    pub x_mm: f64,
    /// Inward from the nominal cut edge, mm in the view.
    pub d_mm: f64,
    /// Step of colour across the line, e-folds.
    pub step: f32,
    /// Whether the step is large enough and inside the frame.
    pub seen: bool,
}

/// The outer cut line of an end.
#[derive(Debug, Clone, PartialEq)]
pub struct CutLine {
    /// Places, from left to right.
    pub points: Vec<CutPoint>,
    /// Smooth course of the cut against the print's line: d = c0 + c1 t + c2 t² + c3 t³ with t the place
    /// from the middle in half widths.
    pub course: [f64; 4],
    /// The print's line where the cut nominally lies: (x mm, d mm).
    pub print_mm: Vec<(f64, f64)>,
    /// Middle of the end along it and half its width, mm.
    pub frame_mm: (f64, f64),
    /// Share of the places that were seen.
    pub seen_share: f64,
}

impl CutLine {
    /// Smooth course of the line at a place, mm: the print's line and the cut's course against it.
    #[must_use]
    pub fn course_at(&self, x_mm: f64) -> f64 {
        let t = (x_mm - self.frame_mm.0) / self.frame_mm.1;
        let [a, b, c, d] = self.course;
        along(&self.print_mm, x_mm) + a + t * (b + t * (c + t * d))
    }
}

/// Traces the cut line of an end.
#[must_use]
pub fn trace(view: &EndView, cells: &Cells, registration: &Registration) -> CutLine {
    let width_mm = view.face_mm[0];
    let (from, to) = (registration.to_view(0.6, width_mm), registration.to_view(width_mm - 0.6, width_mm));
    let path = coarse(cells, registration, width_mm, (from, to));
    let frame_mm = ((from + to) / 2.0, (to - from).max(1.0) / 2.0);
    let points = fine(view, &path, (from, to));
    let seen = points.iter().filter(|p| p.seen).count();
    let print_mm: Vec<(f64, f64)> =
        points.iter().step_by(10).map(|p| (p.x_mm, registration.cut_at(p.x_mm, width_mm))).collect();
    let relative: Vec<CutPoint> =
        points.iter().map(|p| CutPoint { d_mm: p.d_mm - along(&print_mm, p.x_mm), ..*p }).collect();
    let course = course(&relative, frame_mm).unwrap_or([0.0; 4]);
    let seen_share = seen as f64 / points.len().max(1) as f64;
    CutLine { points, course, print_mm, frame_mm, seen_share }
}

/// The strongest smooth path over cells: (x mm, d mm) a column.
fn coarse(cells: &Cells, registration: &Registration, width_mm: f64, span: (f64, f64)) -> Vec<(f64, f64)> {
    let (first, last) = (cells.column(span.0), cells.column(span.1));
    let half = (REACH_MM * CELLS_PER_MM) as isize;
    let states = (2 * half + 1) as usize;
    let x_of = |column: isize| cells.origin_mm[0] + column as f64 / CELLS_PER_MM;
    let mut costs: Vec<Vec<f32>> = Vec::new();
    let mut bases = Vec::new();
    for column in first..=last {
        let base = cells.row(registration.cut_at(x_of(column), width_mm));
        bases.push(base);
        costs.push((-half..=half).map(|k| step_cost(cells, column, base + k, k)).collect());
    }
    let mut best = costs.first().cloned().unwrap_or_default();
    let mut from: Vec<Vec<u8>> = Vec::new();
    for at in 1..costs.len() {
        // The base itself steps with the slope; compare in rows.
        let drift = bases[at] - bases[at - 1];
        let mut next = vec![f32::MAX; states];
        let mut back = vec![0_u8; states];
        for s in 0..states {
            for jump in -2_isize..=2 {
                let p = s as isize + jump + drift;
                if p < 0 || p >= states as isize {
                    continue;
                }
                let cost = best[p as usize] + 0.06 * (jump * jump) as f32;
                if cost < next[s] {
                    next[s] = cost;
                    back[s] = p as u8;
                }
            }
            next[s] += costs[at][s];
        }
        best = next;
        from.push(back);
    }
    let mut state = (0..best.len()).min_by(|a, b| best[*a].total_cmp(&best[*b])).unwrap_or(0);
    let mut path = Vec::new();
    for at in (0..costs.len()).rev() {
        let row = bases[at] + state as isize - half;
        // The step was taken between this row and the one outside it.
        let d = cells.origin_mm[1] + (row as f64 - 0.5) / CELLS_PER_MM;
        path.push((x_of(first + at as isize), d));
        if at > 0 {
            state = usize::from(from[at - 1][state]);
        }
    }
    path.reverse();
    path
}

/// Cost of a line between `row` and the row outside it: small where colour steps, and near the print.
fn step_cost(cells: &Cells, column: isize, row: isize, off: isize) -> f32 {
    let mean = |from: isize, to: isize| {
        let mut sum = [0.0_f32; 3];
        let mut n = 0.0_f32;
        for r in from..to {
            if let Some(at) = cells.at(column, r) {
                for (s, channel) in sum.iter_mut().zip(&cells.channel) {
                    *s += channel[at];
                }
                n += 1.0;
            }
        }
        (n > 0.0).then(|| sum.map(|s| s / n))
    };
    let away = off as f32 / CELLS_PER_MM as f32;
    let prior = 0.5 * (away * away) / (SPREAD_MM * SPREAD_MM) as f32;
    let (Some(inner), Some(outer)) = (mean(row, row + 3), mean(row - 3, row)) else {
        return 1.0 + 0.4 * prior;
    };
    let step = distance(&inner, &outer);
    HALF_SURE_STEP / (HALF_SURE_STEP + step) + 0.4 * prior
}

fn distance(a: &[f32; 3], b: &[f32; 3]) -> f32 {
    let mut sum = 0.0;
    for k in 0..3 {
        sum += WEIGHT[k] * (a[k] - b[k]) * (a[k] - b[k]);
    }
    sum.sqrt()
}

/// Colour of a sample as the cells hold it.
fn colour(rgb: [f32; 3]) -> [f32; 3] {
    const FLOOR: f32 = 0.004;
    let y = 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
    let green = ln32(rgb[1].max(0.0) + FLOOR);
    [ln32(y.max(0.0) + FLOOR), ln32(rgb[0].max(0.0) + FLOOR) - green, ln32(rgb[2].max(0.0) + FLOOR) - green]
}

/// The line below a pixel, at every [`POINT_STEP_MM`].
fn fine(view: &EndView, path: &[(f64, f64)], span: (f64, f64)) -> Vec<CutPoint> {
    let count = ((span.1 - span.0) / POINT_STEP_MM).max(0.0) as usize + 1;
    let d_step = 1.0 / view.px_per_mm;
    let rows = ((FINE_MM.0 + FINE_MM.1) * view.px_per_mm) as usize + 1;
    // Colours over the search range, column by column of points.
    let mut lines: Vec<Vec<Option<[f32; 3]>>> = Vec::with_capacity(count);
    let mut centres = Vec::with_capacity(count);
    for i in 0..count {
        let x = span.0 + i as f64 * POINT_STEP_MM;
        let centre = along(path, x);
        centres.push((x, centre));
        lines.push((0..rows).map(|r| sample(view, x, centre - FINE_MM.0 + r as f64 * d_step)).collect());
    }
    let mean = |from: usize, to: usize, i: usize| {
        // Over 1.2 mm both ways along the end: a ridge and more, so that both colours are film's own.
        let reach = (1.2 / POINT_STEP_MM) as usize;
        let mut sum = [0.0_f32; 3];
        let mut n = 0.0_f32;
        for line in &lines[i.saturating_sub(reach)..(i + reach + 1).min(count)] {
            for c in line[from.min(rows)..to.min(rows)].iter().flatten() {
                for k in 0..3 {
                    sum[k] += c[k];
                }
                n += 1.0;
            }
        }
        (n > 0.0).then(|| sum.map(|s| s / n))
    };
    let row_at = |off: f64| ((off + FINE_MM.0) * view.px_per_mm).round().max(0.0) as usize;
    let mut points = Vec::with_capacity(count);
    for (i, (x, centre)) in centres.iter().enumerate() {
        let unseen = CutPoint { x_mm: *x, d_mm: *centre, step: 0.0, seen: false };
        let (Some(outer), Some(inner)) = (mean(0, row_at(-0.75), i), mean(row_at(0.45), rows, i)) else {
            points.push(unseen);
            continue;
        };
        let step = distance(&inner, &outer);
        let mut dot = [0.0_f32; 3];
        let mut norm = 0.0;
        for k in 0..3 {
            dot[k] = WEIGHT[k] * (inner[k] - outer[k]);
            norm += dot[k] * (inner[k] - outer[k]);
        }
        if norm <= 1e-6 || lines[i].iter().any(Option::is_none) {
            points.push(unseen);
            continue;
        }
        let mut area = 0.0;
        for c in lines[i].iter().flatten() {
            let t = (0..3).map(|k| dot[k] * (c[k] - outer[k])).sum::<f32>() / norm;
            // Steeper than the projection itself, so that texture on either side does not count.
            area += f64::from(((t - 0.25) / 0.5).clamp(0.0, 1.0));
        }
        let end = centre - FINE_MM.0 + (rows as f64 - 0.5) * d_step;
        points.push(CutPoint { x_mm: *x, d_mm: end - area * d_step, step, seen: step >= MIN_STEP });
    }
    points
}

/// Colour at a place, mean of three columns a tenth of a millimetre wide; `None` outside the frame.
fn sample(view: &EndView, x_mm: f64, d_mm: f64) -> Option<[f32; 3]> {
    let column = (x_mm - view.origin_mm[0]) * view.px_per_mm;
    let row = ((d_mm - view.origin_mm[1]) * view.px_per_mm).round();
    if row < 0.0 || row >= view.height as f64 {
        return None;
    }
    let reach = 0.1 * view.px_per_mm;
    let from = (column - reach).round().max(0.0) as usize;
    let to = ((column + reach).round() as usize + 1).min(view.width);
    let mut sum = [0.0_f32; 3];
    let mut n = 0.0;
    for x in from..to {
        let at = row as usize * view.width + x;
        if !view.inside[at] {
            return None;
        }
        for (s, plane) in sum.iter_mut().zip(&view.rgb) {
            *s += plane[at];
        }
        n += 1.0;
    }
    (n > 0.0).then(|| colour(sum.map(|s| s / n)))
}

/// Place of a path at x, between its points by straight lines.
fn along(path: &[(f64, f64)], x: f64) -> f64 {
    match path.iter().position(|p| p.0 >= x) {
        None => path.last().map_or(0.0, |p| p.1),
        Some(0) => path[0].1,
        Some(i) => {
            let ((x0, d0), (x1, d1)) = (path[i - 1], path[i]);
            d0 + (d1 - d0) * (x - x0) / (x1 - x0)
        }
    }
}

/// Robust cubic through the seen places.
fn course(points: &[CutPoint], frame_mm: (f64, f64)) -> Option<[f64; 4]> {
    let seen: Vec<(f64, f64)> =
        points.iter().filter(|p| p.seen).map(|p| ((p.x_mm - frame_mm.0) / frame_mm.1, p.d_mm)).collect();
    if seen.len() < 40 {
        return None;
    }
    let mut weights = vec![1.0; seen.len()];
    let mut course = [0.0; 4];
    for _ in 0..5 {
        let mut normal = nalgebra::SMatrix::<f64, 4, 4>::zeros();
        let mut right = nalgebra::SVector::<f64, 4>::zeros();
        for ((t, d), w) in seen.iter().zip(&weights) {
            let basis = [1.0, *t, t * t, t * t * t];
            for i in 0..4 {
                right[i] += w * basis[i] * d;
                for j in 0..4 {
                    normal[(i, j)] += w * basis[i] * basis[j];
                }
            }
        }
        let beta = normal.cholesky()?.solve(&right);
        course = [beta[0], beta[1], beta[2], beta[3]];
        for ((t, d), w) in seen.iter().zip(&mut weights) {
            let r = d - (beta[0] + t * (beta[1] + t * (beta[2] + t * beta[3])));
            // Half a millimetre: a tooth's depth. Beyond it a place counts less.
            *w = 0.5 / r.abs().max(0.5);
        }
    }
    Some(course)
}
