//! The sealed band of an end, straightened along its own cut line, print divided out.
//!
//! In: the photo's view of an end, the reference's, and how they lie. Out: [`Band`], a [`Strip`] in
//! millimetres of film with what hides parts of it. Never here: ridges.
//!
//! Frame: x in millimetres of film from the face's left edge, d inward from the cut line. Ink on
//! metallised film dims ridges and lands alike, so the reference's print is divided out: what is left
//! is light and shape.

use casebook::elementary::{exp32, ln32};

use super::cells::Cells;
use super::edge::CutLine;
use super::register::Registration;
use super::strip::Strip;
use super::view::EndView;

/// Margin from the pack's sides, mm: the sides are folded and shaded.
const SIDE_MARGIN_MM: f64 = 1.0;
/// Margin from the cut line, mm: cut film frays and curls.
pub const CUT_MARGIN_MM: f64 = 0.6;
/// Margin from the seal's nominal inner border, mm: jaws end a little sooner or later.
pub const INNER_MARGIN_MM: f64 = 1.0;
/// Reflectance below which print is taken as this dark, so that black ink does not blow up noise.
const DARKEST_PRINT: f32 = 0.03;
/// Side of the squares in which cover and glare are judged, mm.
const PATCH_MM: f64 = 2.0;
/// Share of a square at the file's top code from which on it is glare: ridges that glint alternate.
const GLARE_SHARE: f64 = 0.8;
/// Distance in colour (e-folds of red/green and blue/green) from the print under the end's own white
/// balance, from which on a square shows something else. Coloured surroundings mirrored in foil reach
/// 0.25 on specimens.
const FOREIGN_COLOUR: f32 = 0.42;

/// Agreement of a stretch's lettering from which on its print is surely seen.
const SURE_LIKENESS: f64 = 0.25;
/// And below which it is hidden: under covers stretches stay below 0.07, 2 % of the specimens' weakest
/// stretches lie below 0.08.
const UNSEEN_LIKENESS: f64 = 0.07;

/// A band with what hides it.
#[derive(Debug, Clone)]
pub struct Band {
    /// The samples; unusable where hidden.
    pub strip: Strip,
    /// Share of the band outside the photo's frame.
    pub outside: f64,
    /// Share hidden by glare.
    pub glare: f64,
    /// Share that shows something other than the pack's print.
    pub covered: f64,
    /// How much of the print's contrast is seen, 0 to about 1.
    pub print_seen: f64,
}

/// Where a band lies: nominal height of the seal and width of the face, mm.
#[derive(Debug, Clone, Copy)]
pub struct BandFrame {
    /// Width of the face.
    pub face_width_mm: f64,
    /// Height of the seal.
    pub seal_mm: f64,
}

/// Cuts the band out of a view.
#[must_use]
pub fn cut_band(
    view: &EndView,
    cells: &Cells,
    reference: Option<(&EndView, &Cells)>,
    lie: &Registration,
    line: &CutLine,
    frame: BandFrame,
) -> Option<Band> {
    let scale = view.px_per_mm;
    let (x0, d0) = (SIDE_MARGIN_MM, CUT_MARGIN_MM);
    let width = ((frame.face_width_mm - 2.0 * SIDE_MARGIN_MM) * scale) as usize;
    let height = ((frame.seal_mm - CUT_MARGIN_MM - INNER_MARGIN_MM) * scale) as usize;
    let mut strip = Strip::new(width, height, vec![0.0; width.checked_mul(height)?], scale)?;
    strip.x0_mm = x0;
    strip.d0_mm = d0;
    let follow = line.seen_share >= 0.4;
    let mut clipped = vec![false; width * height];
    let mut print = vec![1.0_f32; width * height];
    for column in 0..width {
        let film_x = strip.x_mm(column as f64);
        let x = lie.to_view(film_x, frame.face_width_mm);
        let printed_cut = lie.cut_at(x, frame.face_width_mm);
        let cut = if follow { line.course_at(x) } else { printed_cut };
        for row in 0..height {
            let at = row * width + column;
            let d = cut + strip.d_mm(row as f64);
            let Some(light) = luminance(view, x, d) else {
                strip.usable[at] = false;
                continue;
            };
            strip.luminance[at] = light.0;
            clipped[at] = light.1;
            if let Some((reference, _)) = reference
                && let Some((r, _)) = luminance(reference, film_x, d - printed_cut)
            {
                print[at] = r.max(DARKEST_PRINT);
            }
        }
    }
    let all = (width * height).max(1) as f64;
    let outside = strip.usable.iter().filter(|u| !**u).count() as f64 / all;
    let mut print_seen = 0.0;
    if reference.is_some() {
        print_seen = f64::from(divide_print(&mut strip, &print));
    }
    let glare = hide_glare(&mut strip, &clipped);
    let covered = match reference {
        Some((_, reference)) => hide_foreign(&mut strip, cells, reference, lie, line, follow, frame),
        None => 0.0,
    };
    Some(Band { strip, outside, glare: glare / all, covered: covered / all, print_seen })
}

/// Luminance at a place by bilinear interpolation, and whether it rests on a clipped sample.
fn luminance(view: &EndView, x_mm: f64, d_mm: f64) -> Option<(f32, bool)> {
    let x = (x_mm - view.origin_mm[0]) * view.px_per_mm;
    let y = (d_mm - view.origin_mm[1]) * view.px_per_mm;
    if !(x >= 0.0 && y >= 0.0) {
        return None;
    }
    let (c, r) = (x as usize, y as usize);
    if c + 1 >= view.width || r + 1 >= view.height {
        return None;
    }
    let at = r * view.width + c;
    let four = [at, at + 1, at + view.width, at + view.width + 1];
    if four.iter().any(|i| !view.inside[*i]) {
        return None;
    }
    let (tx, ty) = ((x - c as f64) as f32, (y - r as f64) as f32);
    let l = four.map(|i| view.luminance(i));
    let top = l[0] + (l[1] - l[0]) * tx;
    let bottom = l[2] + (l[3] - l[2]) * tx;
    Some((top + (bottom - top) * ty, four.iter().any(|i| view.clipped[*i])))
}

/// Divides the print out as far as the photo shows it: L · (local mean of R / R)^β with β from the
/// regression of ln L on ln R, both about their local means. Returns β.
fn divide_print(strip: &mut Strip, print: &[f32]) -> f32 {
    let floor = 0.002_f32;
    let logs = |values: &[f32]| -> Vec<f32> { values.iter().map(|v| ln32(v.max(floor))).collect() };
    let mut field = strip.clone();
    field.luminance = logs(&strip.luminance);
    let high = |field: &Strip| -> Vec<f32> {
        let mean = field.local_mean();
        field.luminance.iter().zip(mean).map(|(v, m)| v - m).collect()
    };
    let light = high(&field);
    field.luminance = logs(print);
    let print = high(&field);
    let (mut cross, mut power) = (0.0_f64, 0.0_f64);
    for ((l, p), used) in light.iter().zip(&print).zip(&strip.usable) {
        if *used {
            cross += f64::from(l * p);
            power += f64::from(p * p);
        }
    }
    if power < 1e-9 {
        return 0.0;
    }
    let beta = (cross / power).clamp(0.0, 1.2) as f32;
    for (l, p) in strip.luminance.iter_mut().zip(&print) {
        *l *= exp32(-beta * p);
    }
    beta
}

/// Calls `judge` on every square of [`PATCH_MM`] and marks it unusable where it says so; returns the
/// number of samples newly hidden.
fn hide_squares(
    strip: &mut Strip,
    mut judge: impl FnMut(&Strip, (usize, usize), (usize, usize)) -> bool,
) -> f64 {
    let side = ((PATCH_MM * strip.px_per_mm) as usize).max(2);
    let mut hidden = 0.0;
    for top in (0..strip.height).step_by(side) {
        let rows = (top, (top + side).min(strip.height));
        for left in (0..strip.width).step_by(side) {
            let columns = (left, (left + side).min(strip.width));
            if !judge(strip, columns, rows) {
                continue;
            }
            for row in rows.0..rows.1 {
                for used in &mut strip.usable[row * strip.width + columns.0..row * strip.width + columns.1] {
                    hidden += f64::from(u8::from(*used));
                    *used = false;
                }
            }
        }
    }
    hidden
}

fn hide_glare(strip: &mut Strip, clipped: &[bool]) -> f64 {
    hide_squares(strip, |strip, columns, rows| {
        let mut count = 0_usize;
        for row in rows.0..rows.1 {
            count += clipped[row * strip.width + columns.0..row * strip.width + columns.1]
                .iter()
                .filter(|c| **c)
                .count();
        }
        count as f64 >= GLARE_SHARE * ((columns.1 - columns.0) * (rows.1 - rows.0)) as f64
    })
}

/// Hides squares whose colour is not the print's under one white balance for the whole end.
fn hide_foreign(
    strip: &mut Strip,
    photo: &Cells,
    reference: &Cells,
    lie: &Registration,
    line: &CutLine,
    follow: bool,
    frame: BandFrame,
) -> f64 {
    let difference = |x_film: f64, d_band: f64| -> Option<[f32; 2]> {
        let x = lie.to_view(x_film, frame.face_width_mm);
        let printed = lie.cut_at(x, frame.face_width_mm);
        let d = if follow { line.course_at(x) } else { printed } + d_band;
        let a = photo.at(photo.column(x), photo.row(d))?;
        let b = reference.at(reference.column(x_film), reference.row(d - printed))?;
        Some([1, 2].map(|k| photo.channel[k][a] - reference.channel[k][b]))
    };
    // White balance comes from where the print is surely seen, so that a cover cannot set it.
    let sure: Vec<f64> = lie.seal_likeness.iter().filter(|s| s.1 >= SURE_LIKENESS).map(|s| s.0).collect();
    let mut all: [Vec<f32>; 2] = [Vec::new(), Vec::new()];
    let mut d = strip.d0_mm;
    while d < frame.seal_mm - INNER_MARGIN_MM {
        let mut x = strip.x0_mm;
        while x < frame.face_width_mm - SIDE_MARGIN_MM {
            let known = sure.is_empty() || sure.iter().any(|s| (s - x).abs() <= 4.0);
            if let Some(diff) = difference(x, d).filter(|_| known) {
                all[0].push(diff[0]);
                all[1].push(diff[1]);
            }
            x += 0.5;
        }
        d += 0.5;
    }
    let balance = all.map(|mut values| {
        let middle = values.len() / 2;
        if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f32::total_cmp).1 }
    });
    let lettered = lie.seal_chance.is_none();
    hide_squares(strip, |strip, columns, rows| {
        let middle = strip.x_mm((columns.0 + columns.1) as f64 / 2.0);
        let nearest =
            lie.seal_likeness.iter().min_by(|a, b| (a.0 - middle).abs().total_cmp(&(b.0 - middle).abs()));
        // A stretch without lettering tells something only at an end whose lettering is seen.
        if lettered && nearest.is_some_and(|s| s.1 < UNSEEN_LIKENESS) {
            return true;
        }
        let (mut sum, mut n) = ([0.0_f32; 2], 0.0_f32);
        for step in 0..16 {
            let (i, j) = (step % 4, step / 4);
            let at = |range: (usize, usize), k: usize| {
                range.0 as f64 + (range.1 - range.0) as f64 * (k as f64 + 0.5) / 4.0
            };
            if let Some(diff) = difference(strip.x_mm(at(columns, i)), strip.d_mm(at(rows, j))) {
                sum[0] += diff[0] - balance[0];
                sum[1] += diff[1] - balance[1];
                n += 1.0;
            }
        }
        n > 0.0 && (sum[0] * sum[0] + sum[1] * sum[1]).sqrt() / n > FOREIGN_COLOUR
    })
}
