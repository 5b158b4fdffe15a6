//! Where the print of an end really lies in a view: the flat reference laid over it.
//!
//! In: cells of the photo's end and of the reference's. Out: [`Registration`], the shift along the end
//! and the line that the nominal cut edge follows, with how alike both are. Never here: ridges.
//!
//! The film's print is the ruler: panels and lettering of the seal zone and of the first millimetres of
//! the body. Compared by correlation of logarithms (light and two colour ratios), so that gain, white
//! balance and smooth tone curves do not matter; in three sections along the end, so that a turned
//! seal is followed.

use super::cells::{CELLS_PER_MM, Cells};

/// Largest shift that is searched, mm: what a pillowed body of 3 mm can hide at 45°.
const REACH_D_MM: f64 = 4.0;
/// Largest shift along the end.
const REACH_X_MM: f64 = 2.5;
/// Weights of ln luminance and of the two colour ratios: highlights move light far more than colour.
const WEIGHT: [f64; 3] = [0.5, 1.0, 1.0];
/// Depth from the cut edge that is compared, mm.
const DEPTH_MM: f64 = 13.0;
/// Sections along the end.
const SECTIONS: usize = 3;

/// Where a reference's end lies in a view.
#[derive(Debug, Clone, PartialEq)]
pub struct Registration {
    /// A place x of the reference lies at `W/2 + shift_x_mm + scale_x · (x − W/2)` in the view.
    pub shift_x_mm: f64,
    /// Millimetres of the view for one of film, along the end: the seal lies below the body that the
    /// map was fitted to, so it is seen a little smaller, or larger on a curled end.
    pub scale_x: f64,
    /// Standard uncertainty of that scale.
    pub scale_u: f64,
    /// The nominal cut edge (d = 0 of the reference) lies at `shift_d_mm + slope · (x − W/2)`.
    pub shift_d_mm: f64,
    /// Slope of that line.
    pub slope: f64,
    /// Correlation at the best shift, −1 to 1.
    pub likeness: f64,
    /// Where the print lies off that line, place by place: (x mm, mm inward). A seal that lifts off the
    /// table carries its print and its cut along; only what the cut does beside that is the cut's.
    pub local_mm: Vec<(f64, f64)>,
    /// How alike the print of the seal itself is, stretch by stretch: (film x mm, −1 to 1). Stretches
    /// whose reference shows nothing to compare are left out.
    pub seal_likeness: Vec<(f64, f64)>,
    /// The same for the whole end; `None` when the reference shows nothing to compare.
    pub seal_whole: Option<f64>,
    /// What lettering that is not there reaches at this end: see [`Registration::lettering_is_seen`].
    pub seal_chance: Option<f64>,
}

impl Registration {
    /// Whether the lettering of the seal stands out from chance; `None` when there is nothing to compare.
    ///
    /// Chance is what the same search gives for the mirrored lettering at other places along the end:
    /// foil, ridges and light are the same for both, so faint lettering on bright foil is not taken for
    /// hidden. The bound is their mean and three standard deviations (about 1 in 700 one-sided, if normal).
    #[must_use]
    pub fn lettering_is_seen(&self) -> Option<bool> {
        let whole = self.seal_whole?;
        Some(whole >= SURE_WHOLE || self.seal_chance.is_some_and(|chance| whole > chance))
    }

    /// Where the nominal cut edge lies in the view at a place along it by the print there, mm.
    #[must_use]
    pub fn cut_at(&self, x_mm: f64, face_width_mm: f64) -> f64 {
        self.shift_d_mm + self.slope * (x_mm - face_width_mm / 2.0) + interpolate(&self.local_mm, x_mm)
    }

    /// Where a place along the film lies in the view, mm.
    #[must_use]
    pub fn to_view(&self, film_x_mm: f64, face_width_mm: f64) -> f64 {
        let middle = face_width_mm / 2.0;
        middle + self.shift_x_mm + self.scale_x * (film_x_mm - middle)
    }

    /// Which place of the film lies at a place of the view, mm.
    #[must_use]
    pub fn to_film(&self, x_mm: f64, face_width_mm: f64) -> f64 {
        let middle = face_width_mm / 2.0;
        middle + (x_mm - middle - self.shift_x_mm) / self.scale_x
    }
}

/// Lays a reference's end over the photo's.
///
/// `None` when less than half of the compared area lies inside the frame at every shift.
#[must_use]
pub fn register(photo: &Cells, reference: &Cells, face_width_mm: f64) -> Option<Registration> {
    let whole = (2.0, face_width_mm - 2.0);
    let steps_x = (REACH_X_MM * CELLS_PER_MM) as isize;
    let steps_d = (REACH_D_MM * CELLS_PER_MM) as isize;
    let mut best: Option<(f64, isize, isize)> = None;
    for sx in (-steps_x..=steps_x).step_by(2) {
        for sd in (-steps_d..=steps_d).step_by(2) {
            if let Some(score) = likeness(photo, reference, whole, sx, sd, 2)
                && best.is_none_or(|(top, _, _)| score > top)
            {
                best = Some((score, sx, sd));
            }
        }
    }
    let (_, cx, cd) = best?;
    best = None;
    for sx in cx - 1..=cx + 1 {
        for sd in cd - 1..=cd + 1 {
            if let Some(score) = likeness(photo, reference, whole, sx, sd, 1)
                && best.is_none_or(|(top, _, _)| score > top)
            {
                best = Some((score, sx, sd));
            }
        }
    }
    let (score, sx, sd) = best?;
    let sections = sections(photo, reference, face_width_mm, sx, sd);
    let at_d: Vec<_> = sections.iter().map(|s| (s.centre_mm, s.d_mm, s.likeness)).collect();
    let at_x: Vec<_> = sections.iter().map(|s| (s.centre_mm, s.x_mm, s.likeness)).collect();
    let (shift_d_mm, slope) = line(&at_d).unwrap_or((sd as f64 / CELLS_PER_MM, 0.0));
    let (shift_x_mm, stretch) = line(&at_x).unwrap_or((sx as f64 / CELLS_PER_MM, 0.0));
    // Sections 40 mm apart, each good to a third of a cell.
    let scale_u = if sections.len() == SECTIONS { 0.003 } else { 0.01 };
    let mut lie = Registration {
        shift_x_mm,
        // More than 3 % is no height of a seal but a false match.
        scale_x: 1.0 + stretch.clamp(-0.03, 0.03),
        scale_u,
        shift_d_mm,
        // A seal turned by more than 3° against the body's print is a false match.
        slope: slope.clamp(-0.05, 0.05),
        likeness: score,
        local_mm: Vec::new(),
        seal_likeness: Vec::new(),
        seal_whole: None,
        seal_chance: None,
    };
    lie.local_mm = local(photo, reference, &lie, face_width_mm);
    (lie.seal_whole, lie.seal_likeness) = seal_likeness(photo, reference, &lie, face_width_mm);
    if lie.seal_whole.is_some_and(|whole| whole < SURE_WHOLE) {
        lie.seal_chance = seal_chance(photo, reference, &lie, face_width_mm);
    }
    Some(lie)
}

/// Half-length of the stretch whose print is compared for [`Registration::local_mm`], mm.
const LOCAL_HALF_MM: f64 = 3.5;
/// Distance from stretch to stretch, mm.
const LOCAL_STEP_MM: f64 = 2.5;

/// Where the print of short stretches lies off the line, smoothed over three of them.
fn local(photo: &Cells, reference: &Cells, lie: &Registration, width: f64) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut film = 2.0 + LOCAL_HALF_MM;
    while film <= width - 2.0 - LOCAL_HALF_MM {
        let x = lie.to_view(film, width);
        let span = (film - LOCAL_HALF_MM, film + LOCAL_HALF_MM);
        let sx = ((x - film) * CELLS_PER_MM).round() as isize;
        let base = lie.shift_d_mm + lie.slope * (x - width / 2.0);
        let sd = (base * CELLS_PER_MM).round() as isize;
        let scores: Vec<f64> =
            (-6..=6).map(|k| likeness(photo, reference, span, sx, sd + k, 1).unwrap_or(-1.0)).collect();
        let top = (1..scores.len() - 1).max_by(|a, b| scores[*a].total_cmp(&scores[*b])).unwrap_or(6);
        if scores[top] > 0.35 {
            let fine = between(scores[top - 1], scores[top], scores[top + 1]);
            let d = (sd as f64 + top as f64 - 6.0 + fine) / CELLS_PER_MM;
            found.push((x, d - base));
        }
        film += LOCAL_STEP_MM;
    }
    (0..found.len())
        .map(|i| {
            // The median of three drops a single false match, their mean the noise.
            let near = &found[i.saturating_sub(1)..(i + 2).min(found.len())];
            let mut values: Vec<f64> = near.iter().map(|p| p.1).collect();
            values.sort_by(f64::total_cmp);
            (
                found[i].0,
                0.5 * values[values.len() / 2] + 0.5 * values.iter().sum::<f64>() / values.len() as f64,
            )
        })
        .collect()
}

/// Depth of the seal zone whose print is compared, mm.
const SEAL_ZONE_MM: (f64, f64) = (0.5, 7.8);
/// Least standard deviation (weighted e-folds) of the reference along the end for it to be compared.
const MIN_DETAIL: f64 = 0.02;

/// How alike the print of the seal zone is, stretch by stretch and as a whole.
///
/// Only what changes along the end is compared (lettering, dots): anything laid over the end has an
/// inner border that may pass for the seal's own, but not its lettering.
fn seal_likeness(
    photo: &Cells,
    reference: &Cells,
    lie: &Registration,
    width: f64,
) -> (Option<f64>, Vec<(f64, f64)>) {
    let best = |from: f64, to: f64| best_detail(photo, reference, lie, width, (from, to), 0.0);
    let mut found = Vec::new();
    let mut film = 1.0 + 2.0 * LOCAL_HALF_MM;
    while film <= width - 1.0 - 2.0 * LOCAL_HALF_MM {
        found.extend(
            best(film - 2.0 * LOCAL_HALF_MM, film + 2.0 * LOCAL_HALF_MM).map(|likeness| (film, likeness)),
        );
        film += 2.0 * LOCAL_STEP_MM;
    }
    (whole_detail(photo, reference, lie, width, 0.0), found)
}

/// From this agreement on, chance is not asked. Ends under opaque covers gave −0.04 to 0.09 (rendered,
/// 2026-11); for foil without its lettering no figure was taken.
const SURE_WHOLE: f64 = 0.3;
/// Places along the end, mm, at which mirrored lettering is sought.
const CHANCE_AT_MM: [f64; 8] = [-10.0, -7.5, -5.0, -2.5, 2.5, 5.0, 7.5, 10.0];
/// Standard deviations above chance at which lettering counts as seen.
const CHANCE_SPREADS: f64 = 3.0;

/// What the search finds of lettering that is not there: mean and three standard deviations over
/// [`CHANCE_AT_MM`]; `None` with fewer than four places to look at.
fn seal_chance(photo: &Cells, reference: &Cells, lie: &Registration, width: f64) -> Option<f64> {
    let mirrored = reference.mirrored();
    let values: Vec<f64> =
        CHANCE_AT_MM.iter().filter_map(|at| whole_detail(photo, &mirrored, lie, width, *at)).collect();
    let n = values.len() as f64;
    if values.len() < 4 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0);
    Some(mean + CHANCE_SPREADS * variance.sqrt())
}

/// Agreement of the seal's lettering over the whole end, the reference moved along it by `by_mm`.
///
/// In thirds, so that a stretched seal does not smear the lettering of its ends.
fn whole_detail(photo: &Cells, reference: &Cells, lie: &Registration, width: f64, by_mm: f64) -> Option<f64> {
    let third = (width - 4.0) / 3.0;
    let thirds: Vec<f64> = (0..3)
        .map(|k| (2.0 + third * f64::from(k), 2.0 + third * f64::from(k + 1)))
        .filter_map(|span| best_detail(photo, reference, lie, width, span, by_mm))
        .collect();
    // Moved, the outermost third may leave the frame; two tell what chance does as well.
    let needed = if by_mm == 0.0 { 3 } else { 2 };
    (thirds.len() >= needed).then(|| thirds.iter().sum::<f64>() / thirds.len() as f64)
}

/// Best agreement of a stretch's lettering near where the print lies, the reference moved by `by_mm`.
fn best_detail(
    photo: &Cells,
    reference: &Cells,
    lie: &Registration,
    width: f64,
    (from, to): (f64, f64),
    by_mm: f64,
) -> Option<f64> {
    let middle = (from + to) / 2.0;
    let x = lie.to_view(middle, width);
    let sx = ((x - middle + by_mm) * CELLS_PER_MM).round() as isize;
    let sd = (lie.cut_at(x, width) * CELLS_PER_MM).round() as isize;
    let mut best: Option<f64> = None;
    for dd in -3..=3 {
        for dx in -2..=2 {
            let here = detail_likeness(photo, reference, (from, to), (sx + dx, sd + dd));
            best = match (best, here) {
                (Some(a), Some(b)) => Some(a.max(b)),
                (a, b) => a.or(b),
            };
        }
    }
    best
}

/// Correlation over the seal zone of what is left after every row's mean; `None` when under half of it
/// is inside the frame or the reference shows no detail along the end.
fn detail_likeness(
    photo: &Cells,
    reference: &Cells,
    x_mm: (f64, f64),
    (sx, sd): (isize, isize),
) -> Option<f64> {
    let (first, last) = (reference.column(x_mm.0), reference.column(x_mm.1));
    let (top, bottom) = (reference.row(SEAL_ZONE_MM.0), reference.row(SEAL_ZONE_MM.1));
    let offset_x = photo.column(reference.origin_mm[0]) + sx;
    let offset_d = photo.row(reference.origin_mm[1]) + sd;
    let mut sum = Correlation::default();
    let (mut count, mut all) = (0.0, 0.0);
    for row in top..=bottom {
        let mut pairs = Pairs::default();
        for column in (first..=last).step_by(2) {
            all += 1.0;
            if let (Some(a), Some(b)) =
                (reference.at(column, row), photo.at(column + offset_x, row + offset_d))
            {
                pairs.add(reference, a, photo, b);
            }
        }
        if pairs.count < 4.0 {
            continue;
        }
        count += pairs.count;
        sum.add(&pairs);
    }
    if count < 0.5 * all || sum.power_a < MIN_DETAIL * MIN_DETAIL * count {
        return None;
    }
    Some(sum.value().unwrap_or(0.0))
}

/// Sums over pairs of cells, by channel: a, b, a², b², ab.
#[derive(Debug, Clone, Copy, Default)]
struct Pairs {
    sums: [[f64; 5]; 3],
    count: f64,
}

impl Pairs {
    fn add(&mut self, reference: &Cells, a: usize, photo: &Cells, b: usize) {
        self.count += 1.0;
        for (k, s) in self.sums.iter_mut().enumerate() {
            let (u, v) = (f64::from(reference.channel[k][a]), f64::from(photo.channel[k][b]));
            s[0] += u;
            s[1] += v;
            s[2] += u * u;
            s[3] += v * v;
            s[4] += u * v;
        }
    }
}

/// Covariance and variances of pairs about their means, summed over channels by [`WEIGHT`].
#[derive(Debug, Clone, Copy, Default)]
struct Correlation {
    cross: f64,
    power_a: f64,
    power_b: f64,
}

impl Correlation {
    /// Adds pairs, about the means of these pairs alone.
    fn add(&mut self, pairs: &Pairs) {
        let n = pairs.count;
        for (s, w) in pairs.sums.iter().zip(WEIGHT) {
            self.cross += w * (s[4] - s[0] * s[1] / n);
            self.power_a += w * (s[2] - s[0] * s[0] / n);
            self.power_b += w * (s[3] - s[1] * s[1] / n);
        }
    }

    /// −1 to 1; nothing where one of both does not vary.
    fn value(&self) -> Option<f64> {
        let norm = (self.power_a * self.power_b).sqrt();
        (norm > 1e-9).then(|| self.cross / norm)
    }
}

/// Value at x between points by straight lines, the ends held; 0 without points.
fn interpolate(points: &[(f64, f64)], x: f64) -> f64 {
    match points.iter().position(|p| p.0 >= x) {
        None => points.last().map_or(0.0, |p| p.1),
        Some(0) => points[0].1,
        Some(i) => {
            let ((x0, y0), (x1, y1)) = (points[i - 1], points[i]);
            y0 + (y1 - y0) * (x - x0) / (x1 - x0)
        }
    }
}

/// One section's own best shift.
struct Section {
    centre_mm: f64,
    x_mm: f64,
    d_mm: f64,
    likeness: f64,
}

fn sections(photo: &Cells, reference: &Cells, width: f64, sx: isize, sd: isize) -> Vec<Section> {
    let mut found = Vec::new();
    for section in 0..SECTIONS {
        let from = 2.0 + (width - 4.0) * section as f64 / SECTIONS as f64;
        let to = 2.0 + (width - 4.0) * (section + 1) as f64 / SECTIONS as f64;
        let score = |dx: isize, dd: isize| {
            likeness(photo, reference, (from, to), sx + dx, sd + dd, 1).unwrap_or(-1.0)
        };
        let mut best = (-1.0, 0, 0);
        for dd in -5..=5 {
            for dx in -3..=3 {
                let s = score(dx, dd);
                if s > best.0 {
                    best = (s, dx, dd);
                }
            }
        }
        let (top, dx, dd) = best;
        if top < 0.2 {
            continue;
        }
        let fine_x = between(score(dx - 1, dd), top, score(dx + 1, dd));
        let fine_d = between(score(dx, dd - 1), top, score(dx, dd + 1));
        found.push(Section {
            centre_mm: (from + to) / 2.0 - width / 2.0,
            x_mm: ((sx + dx) as f64 + fine_x) / CELLS_PER_MM,
            d_mm: ((sd + dd) as f64 + fine_d) / CELLS_PER_MM,
            likeness: top,
        });
    }
    found
}

/// Place of a peak between samples, from a parabola through three.
fn between(before: f64, here: f64, after: f64) -> f64 {
    let bend = before - 2.0 * here + after;
    if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// Line through (place, value, weight): value at 0 and slope; `None` with fewer than two points.
fn line(points: &[(f64, f64, f64)]) -> Option<(f64, f64)> {
    let weight: f64 = points.iter().map(|p| p.2).sum();
    if points.len() < 2 || weight <= 0.0 {
        return None;
    }
    let mean = |f: fn(&(f64, f64, f64)) -> f64| points.iter().map(|p| p.2 * f(p)).sum::<f64>() / weight;
    let (mx, my) = (mean(|p| p.0), mean(|p| p.1));
    let sxx: f64 = points.iter().map(|p| p.2 * (p.0 - mx) * (p.0 - mx)).sum();
    let sxy: f64 = points.iter().map(|p| p.2 * (p.0 - mx) * (p.1 - my)).sum();
    let slope = sxy / sxx.max(1e-9);
    Some((my - slope * mx, slope))
}

/// Correlation of both pictures over the depth that is compared, at a shift in cells; `None` when under
/// half of it is inside the frame.
///
/// `stride`: 1 looks at every row and every other column, 2 at half as many both ways.
fn likeness(
    photo: &Cells,
    reference: &Cells,
    x_mm: (f64, f64),
    sx: isize,
    sd: isize,
    stride: usize,
) -> Option<f64> {
    let (first, last) = (reference.column(x_mm.0), reference.column(x_mm.1));
    let (top, bottom) = (reference.row(0.3), reference.row(DEPTH_MM));
    let offset_x = photo.column(reference.origin_mm[0]) + sx;
    let offset_d = photo.row(reference.origin_mm[1]) + sd;
    let mut pairs = Pairs::default();
    let mut all = 0.0_f64;
    for row in (top..=bottom).step_by(stride) {
        // Every other column: cells are averaged over five columns anyway.
        for column in (first..=last).step_by(2 * stride) {
            all += 1.0;
            if let (Some(a), Some(b)) =
                (reference.at(column, row), photo.at(column + offset_x, row + offset_d))
            {
                pairs.add(reference, a, photo, b);
            }
        }
    }
    if pairs.count < 0.5 * all || pairs.count < 20.0 {
        return None;
    }
    let mut sum = Correlation::default();
    sum.add(&pairs);
    sum.value()
}
