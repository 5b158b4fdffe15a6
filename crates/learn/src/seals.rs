//! What the end seals of one genuine pack are like: height, ridges, cut.
//!
//! In: photos whose outline is known: the outline lies in the seals' plane, so its millimetres are the
//! seals'. Out: [`LearnedSeal`] with uncertainties from how photos and ends differ. Never here: what
//! other items show, makes.
//!
//! Ridges and cut are read by the examiners' own modules (`examine::crimp`, `examine::cut_edge`), without
//! a reference, since there is none yet. The height is where the ridges' amplitude falls to half.

use std::sync::Arc;

use casebook::catalogue::RidgeDirection;
use casebook::elementary::{cos, exp, hypot, sin};
use examine::crimp::reading::{EndFacts, EndReading, Located};
use examine::crimp::{CutLine, End, EndView, Pitch, Strip};
use examine::cut_edge::shape::{CutShape, shape};
use photo::Photo;
use placement::Homography;
use rayon::prelude::*;

use crate::learned::{LearnedSeal, Measured};

/// Beyond this angle foreshortening of the raised ends is no longer small.
const MAX_ANGLE_DEG: f64 = 45.0;
/// Height of the band in which ridges are looked for before any height is known, mm.
const USUAL_SEAL_MM: f64 = 9.0;
/// Band in which ridges have their full amplitude, mm from the cut, and where none are.
const PLATEAU_MM: (f64, f64) = (1.5, 5.0);
const BEYOND_MM: (f64, f64) = (12.0, 14.5);
/// Least ratio of the amplitude on the seal to that beyond.
const LEAST_RATIO: f64 = 1.8;
/// Length along the end over which waves are summed in step, mm.
const WINDOW_MM: f64 = 5.0;
/// Standard uncertainty of one reading of the height, mm: the pillow begins at the seal's inner border.
const HEIGHT_U_MM: f64 = 0.3;
/// Drift of the glints along a seal, in pitches, as the end-seal examiner has it.
const DRIFT_PITCHES: f64 = 0.3;

/// One face of the pack in one photo.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Face<'a> {
    pub(crate) photo: &'a Photo,
    /// By the outline.
    pub(crate) map: &'a Homography,
    pub(crate) size_mm: [f64; 2],
    pub(crate) angle_deg: f64,
    /// Standard uncertainty of a corner, mm.
    pub(crate) corner_u_mm: f64,
}

/// What one end of one photo says.
struct One {
    pitch: Option<(RidgeDirection, f64, f64)>,
    height: Option<f64>,
    cut: Option<CutShape>,
}

/// Reads both ends in every photo; nothing when no end could be read at all.
///
/// `size_u`: relative standard uncertainty of the item's size, common to all photos.
pub(crate) fn read(faces: &[Face<'_>], size_u: f64) -> Option<LearnedSeal> {
    let facts = EndFacts { seal_mm: USUAL_SEAL_MM, ridges: Vec::new() };
    let ends: Vec<One> = faces
        .par_iter()
        .filter(|f| f.angle_deg <= MAX_ANGLE_DEG)
        .flat_map_iter(|f| End::BOTH.map(|end| (f, end)))
        .filter_map(|(f, end)| one(f, end, &facts))
        .collect();
    if ends.is_empty() {
        return None;
    }
    let along = ends.iter().filter(|e| matches!(e.pitch, Some((RidgeDirection::Along, ..)))).count();
    let read = ends.iter().filter(|e| e.pitch.is_some()).count();
    let direction = if 2 * along >= read { RidgeDirection::Along } else { RidgeDirection::Across };
    let pitches: Vec<(f64, f64)> = ends
        .iter()
        .filter_map(|e| e.pitch)
        .filter(|p| p.0 == direction)
        .map(|(_, value, u)| (value, u))
        .collect();
    let pitches = of_one_pitch(pitches);
    let ridges =
        combined(&pitches).map(|m| (direction, Measured { value: m.value, u: hypot(m.u, size_u * m.value) }));
    let heights: Vec<(f64, f64)> = ends.iter().filter_map(|e| e.height).map(|h| (h, HEIGHT_U_MM)).collect();
    let height_mm = combined(&heights);
    Some(LearnedSeal { height_mm, ridges, cut: cut(&ends), readings: ends.len() })
}

fn one(face: &Face<'_>, end: End, facts: &EndFacts) -> Option<One> {
    let at = Located::of(face.photo, face.map, face.size_mm, end, None, facts)?;
    let cut = shape(&at.line);
    let (view, line) = (at.view.clone(), at.line.clone());
    let reading = EndReading::of(Arc::new(at), None, facts)?;
    let pitch = reading.pitch.as_ref().ok();
    let height = pitch.and_then(|p| band_height(&view, &line, p));
    let scale_u = std::f64::consts::SQRT_2 * face.corner_u_mm / face.size_mm[0];
    let stated = pitch.map(|p| {
        let ridges = match p.direction {
            RidgeDirection::Along => face.size_mm[0] / p.pitch_mm,
            RidgeDirection::Across => USUAL_SEAL_MM / p.pitch_mm,
        };
        let own = p.standard_uncertainty_mm / p.pitch_mm;
        let drift = DRIFT_PITCHES / ridges;
        (p.direction, p.pitch_mm, p.pitch_mm * (own * own + drift * drift + scale_u * scale_u).sqrt())
    });
    Some(One { pitch: stated, height, cut })
}

/// Readings within a tenth of their median: an end that shows its half or double pitch is left out.
fn of_one_pitch(mut pitches: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let mut sorted: Vec<f64> = pitches.iter().map(|p| p.0).collect();
    sorted.sort_by(f64::total_cmp);
    if let Some(middle) = sorted.get(sorted.len() / 2) {
        pitches.retain(|p| (p.0 / middle - 1.0).abs() < 0.1);
    }
    pitches
}

/// Weighted mean; readings that differ by more than they state widen the uncertainty (Birge's ratio).
///
/// Source: [`birge1932`].
pub(crate) fn combined(values: &[(f64, f64)]) -> Option<Measured> {
    if values.is_empty() {
        return None;
    }
    let weight: f64 = values.iter().map(|v| 1.0 / (v.1 * v.1)).sum();
    let mean = values.iter().map(|v| v.0 / (v.1 * v.1)).sum::<f64>() / weight;
    let chi2: f64 = values.iter().map(|v| (v.0 - mean) * (v.0 - mean) / (v.1 * v.1)).sum();
    let birge = if values.len() > 1 { (chi2 / (values.len() - 1) as f64).max(1.0).sqrt() } else { 1.0 };
    Some(Measured { value: mean, u: birge / weight.sqrt() })
}

/// The cut that most ends show.
fn cut(ends: &[One]) -> Option<Option<(Measured, Measured)>> {
    let cuts: Vec<&CutShape> = ends.iter().filter_map(|e| e.cut.as_ref()).collect();
    if cuts.is_empty() {
        return None;
    }
    let toothed: Vec<&&CutShape> = cuts.iter().filter(|c| c.is_toothed()).collect();
    if 2 * toothed.len() < cuts.len().max(1) {
        return Some(None);
    }
    let pitch: Vec<(f64, f64)> = toothed
        .iter()
        .map(|c| (c.tooth_pitch_mm, hypot(c.tooth_pitch_u_mm, 0.01 * c.tooth_pitch_mm)))
        .collect();
    let depth: Vec<(f64, f64)> =
        toothed.iter().map(|c| (c.tooth_depth_mm, c.tooth_depth_u_mm.max(0.03))).collect();
    Some(combined(&of_one_pitch(pitch)).zip(combined(&depth)))
}

/// Height of the sealed band from the cut line: where the amplitude of the ridges falls to half.
fn band_height(view: &EndView, line: &CutLine, pitch: &Pitch) -> Option<f64> {
    let luminance: Vec<f32> = (0..view.width * view.height).map(|i| view.luminance(i)).collect();
    let mut strip = Strip::new(view.width, view.height, luminance, view.px_per_mm)?;
    [strip.x0_mm, strip.d0_mm] = view.origin_mm;
    for (used, inside) in strip.usable.iter_mut().zip(&view.inside) {
        *used &= *inside;
    }
    let waves = strip.relative();
    let seen: Vec<f64> = line.points.iter().filter(|p| p.seen).map(|p| p.d_mm).collect();
    if seen.len() < 40 {
        return None;
    }
    let cut_mm = seen.iter().sum::<f64>() / seen.len() as f64;
    let amplitude = amplitudes(&strip, &waves, pitch, view.face_mm[0]);
    let mean = |from: f64, to: f64| {
        let mut values: Vec<f64> =
            amplitude.iter().filter(|(d, _)| (from..=to).contains(&(d - cut_mm))).map(|(_, a)| *a).collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let (on, off) = (mean(PLATEAU_MM.0, PLATEAU_MM.1)?, mean(BEYOND_MM.0, BEYOND_MM.1)?);
    if on < LEAST_RATIO * off {
        return None;
    }
    let half = (on + off) / 2.0;
    let mut last: Option<(f64, f64)> = None;
    for (d, a) in amplitude.iter().filter(|(d, _)| d - cut_mm >= 2.0) {
        if *a < half {
            let at = match last {
                Some((d0, a0)) if a0 > *a => d0 + (d - d0) * (a0 - half) / (a0 - a),
                _ => *d,
            };
            return Some(at - cut_mm);
        }
        last = Some((*d, *a));
    }
    None
}

/// Amplitude of the wave row by row: (d mm, amplitude).
fn amplitudes(strip: &Strip, waves: &[f32], pitch: &Pitch, face_mm: f64) -> Vec<(f64, f64)> {
    let window = (WINDOW_MM * strip.px_per_mm).round().max(4.0) as usize;
    let first = ((2.0 - strip.x0_mm) * strip.px_per_mm).max(0.0) as usize;
    let last = (((face_mm - 2.0 - strip.x0_mm) * strip.px_per_mm).max(0.0) as usize).min(strip.width);
    let spread_mm = match pitch.direction {
        RidgeDirection::Along => 0.25,
        RidgeDirection::Across => 0.7 * pitch.pitch_mm,
    };
    // In step along the end: one complex number a window and row.
    let windows: Vec<Vec<[f64; 2]>> = (first..last.saturating_sub(window - 1))
        .step_by(window)
        .map(|x0| {
            (0..strip.height)
                .map(|row| {
                    let mut sum = [0.0; 2];
                    for column in x0..x0 + window {
                        let (x, d) = (strip.x_mm(column as f64), strip.d_mm(row as f64));
                        let angle = 2.0 * std::f64::consts::PI * (pitch.fx * x + pitch.fy * d);
                        let v = f64::from(waves[row * strip.width + column]);
                        sum = [sum[0] + v * cos(angle), sum[1] - v * sin(angle)];
                    }
                    sum.map(|s| s / window as f64)
                })
                .collect()
        })
        .collect();
    let reach = (3.0 * spread_mm * strip.px_per_mm).ceil() as isize;
    let weight = |k: isize| {
        let t = k as f64 / (spread_mm * strip.px_per_mm);
        exp(-0.5 * t * t)
    };
    (0..strip.height)
        .map(|row| {
            let mut total = 0.0;
            for rows in &windows {
                let (mut sum, mut all) = ([0.0; 2], 0.0);
                for k in -reach..=reach {
                    let at = row as isize + k;
                    if at < 0 || at >= strip.height as isize {
                        continue;
                    }
                    let w = weight(k);
                    let c = rows[at as usize];
                    sum = [sum[0] + w * c[0], sum[1] + w * c[1]];
                    all += w;
                }
                total += hypot(sum[0], sum[1]) / all;
            }
            (strip.d_mm(row as f64), total / windows.len().max(1) as f64)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_widen_when_readings_disagree() {
        let same = combined(&[(1.0, 0.01), (1.0, 0.01)]).unwrap();
        assert!((same.value - 1.0).abs() < 1e-12 && (same.u - 0.01 / 2.0_f64.sqrt()).abs() < 1e-12);
        let apart = combined(&[(1.0, 0.01), (1.1, 0.01)]).unwrap();
        assert!(apart.u > 4.0 * same.u);
        assert_eq!(combined(&[]), None);
        assert_eq!(of_one_pitch(vec![(1.1, 0.1), (1.11, 0.1), (0.55, 0.1)]).len(), 2);
    }
}
