//! The shape of a cut line: straight or toothed, how wavy, how square.
//!
//! In: a [`CutLine`]. Out: [`CutShape`], millimetres on the face. Never here: makes, words.
//!
//! What is taken away first is what pose and a lifted seal do to any line: the print's own line there,
//! and the cut's robust cubic course against it (a skewed or bent cut is a factory's). The
//! rest is split at the length of the longest tooth: below it teeth, above it waves.
//! Truth by construction: `tests/cut_shapes.rs`.

use std::f64::consts::PI;

use casebook::elementary::{atan, cos, hypot, sin};

use crate::crimp::CutLine;

/// Periods that are searched for teeth, mm: zig-zag knives are cut at about 1.2 to 3.2 mm.
pub const TOOTH_RANGE_MM: (f64, f64) = (0.9, 4.0);
/// Length of the mean that divides teeth from waves, mm, applied twice.
const WAVE_HALF_MM: f64 = 2.0;
/// Distance from line to mean beyond which a place is no film's edge (a hair, a printed line), mm.
const OUTLIER_MM: f64 = 1.5;
/// Peak-to-peak of a triangle over the amplitude of its fundamental: π² / 4.
const TRIANGLE: f64 = PI * PI / 4.0;
/// Correlation length of the traced line's noise, mm: its points share pixels.
const NOISE_LENGTH_MM: f64 = 0.25;

/// The shape of one cut line.
#[derive(Debug, Clone, PartialEq)]
pub struct CutShape {
    /// Distance from tooth to tooth of the best wave, mm.
    pub tooth_pitch_mm: f64,
    /// Its standard uncertainty, mm.
    pub tooth_pitch_u_mm: f64,
    /// Depth of teeth, from valley to tip, as of a triangle with that fundamental, mm.
    pub tooth_depth_mm: f64,
    /// Its standard uncertainty, mm.
    pub tooth_depth_u_mm: f64,
    /// Share of the short-wave variance that the wave and its harmonics explain, 0 to 1.
    pub toothed_share: f64,
    /// Root mean square of the line above tooth length, course removed, mm.
    pub waviness_mm: f64,
    /// Its standard uncertainty, mm.
    pub waviness_u_mm: f64,
    /// Root mean square of what neither teeth nor waves explain, mm.
    pub roughness_mm: f64,
    /// Slope of the course against the print's own cross direction, degrees.
    pub skew_deg: f64,
    /// Residual line, course removed: (x mm, mm outward).
    pub residual: Vec<(f64, f64)>,
    /// The wave through it: (x mm, mm outward).
    pub waves: Vec<(f64, f64)>,
}

/// Measures a cut line; `None` when less than half of it, or under 20 mm, was seen.
#[must_use]
pub fn shape(line: &CutLine) -> Option<CutShape> {
    let mut points: Vec<(f64, f64)> =
        line.points.iter().filter(|p| p.seen).map(|p| (p.x_mm, line.course_at(p.x_mm) - p.d_mm)).collect();
    if line.seen_share < 0.5 {
        return None;
    }
    let rough = smooth(&points);
    let kept: Vec<(f64, f64)> =
        points.iter().zip(&rough).filter(|(p, m)| (p.1 - *m).abs() <= OUTLIER_MM).map(|(p, _)| *p).collect();
    points = kept;
    let length = points.last()?.0 - points.first()?.0;
    if points.len() < 80 || length < 20.0 {
        return None;
    }
    let low = smooth(&points);
    let high: Vec<(f64, f64)> = points.iter().zip(&low).map(|((x, v), m)| (*x, v - m)).collect();
    let n = points.len() as f64;
    let mean_low = low.iter().sum::<f64>() / n;
    let waviness = (low.iter().map(|v| (v - mean_low) * (v - mean_low)).sum::<f64>() / n).sqrt();
    let (pitch, amplitude, explained) = best_wave(&high);
    let total = high.iter().map(|p| p.1 * p.1).sum::<f64>() / n;
    let roughness = (total * (1.0 - explained)).max(0.0).sqrt();
    // Independent points: one each noise length.
    let independent = (length / NOISE_LENGTH_MM).max(8.0);
    let amplitude_u = roughness * (2.0 / independent).sqrt();
    // Standard deviation of a frequency: √6 σ / (π T a √N) with T the length (`ieee1057`, Cramér–Rao).
    let frequency_u = 6.0_f64.sqrt() * roughness / (PI * length * amplitude.max(1e-4) * independent.sqrt());
    Some(CutShape {
        tooth_pitch_mm: pitch,
        tooth_pitch_u_mm: frequency_u * pitch * pitch,
        tooth_depth_mm: TRIANGLE * amplitude,
        tooth_depth_u_mm: (TRIANGLE * amplitude_u).max(0.02),
        toothed_share: explained,
        waviness_mm: waviness,
        // Waves of some 10 mm: as many independent ones as fit.
        waviness_u_mm: (waviness / (2.0 * (length / 10.0).max(2.0)).sqrt()).max(0.01),
        roughness_mm: roughness,
        skew_deg: atan(line.course[1] / line.frame_mm.1).to_degrees(),
        waves: points.iter().zip(&low).map(|((x, _), v)| (*x, *v)).collect(),
        residual: points,
    })
}

/// Moving mean over [`WAVE_HALF_MM`] each way, applied twice: a triangle of 8 mm that leaves a 10 mm
/// wave at half and a 2.5 mm one below a hundredth.
fn smooth(points: &[(f64, f64)]) -> Vec<f64> {
    let once = mean_near(points, WAVE_HALF_MM / 2.0 + 0.5);
    let again: Vec<(f64, f64)> = points.iter().zip(&once).map(|(p, v)| (p.0, *v)).collect();
    mean_near(&again, WAVE_HALF_MM / 2.0 + 0.5)
}

fn mean_near(points: &[(f64, f64)], half: f64) -> Vec<f64> {
    let (mut from, mut to, mut sum) = (0, 0, 0.0);
    let mut out = Vec::with_capacity(points.len());
    for (x, _) in points {
        while to < points.len() && points[to].0 <= x + half {
            sum += points[to].1;
            to += 1;
        }
        while points[from].0 < x - half {
            sum -= points[from].1;
            from += 1;
        }
        out.push(sum / (to - from).max(1) as f64);
    }
    out
}

/// Period, amplitude and explained share of the best wave with its second and third harmonics.
fn best_wave(points: &[(f64, f64)]) -> (f64, f64, f64) {
    let total: f64 = points.iter().map(|p| p.1 * p.1).sum();
    let length = points.last().map_or(1.0, |p| p.0) - points.first().map_or(0.0, |p| p.0);
    let step = 0.2 / length.max(1.0);
    let (low, high) = (1.0 / TOOTH_RANGE_MM.1, 1.0 / TOOTH_RANGE_MM.0);
    let power = |f: f64| {
        let (re, im) = wave(points, f);
        re * re + im * im
    };
    let mut best = (0.0, low);
    let mut f = low;
    while f <= high {
        let p = power(f);
        if p > best.0 {
            best = (p, f);
        }
        f += step;
    }
    // Between samples by a parabola, twice.
    let mut at = best.1;
    let mut span = step;
    for _ in 0..3 {
        let (a, b, c) = (power(at - span), power(at), power(at + span));
        let bend = a - 2.0 * b + c;
        if bend < 0.0 {
            at += span * (0.5 * (a - c) / bend).clamp(-1.0, 1.0);
        }
        span /= 3.0;
    }
    let n = points.len() as f64;
    let explained: f64 = [1.0, 2.0, 3.0].iter().map(|k| n / 2.0 * power(k * at)).sum();
    (1.0 / at, power(at).sqrt(), if total > 0.0 { (explained / total).min(1.0) } else { 0.0 })
}

/// Amplitudes of cosine and sine at a frequency (points nearly evenly spaced over many periods).
fn wave(points: &[(f64, f64)], f: f64) -> (f64, f64) {
    let (mut re, mut im) = (0.0, 0.0);
    for (x, v) in points {
        let angle = 2.0 * PI * f * x;
        re += v * cos(angle);
        im += v * sin(angle);
    }
    let n = points.len().max(1) as f64;
    (2.0 * re / n, 2.0 * im / n)
}

impl CutShape {
    /// Whether regular teeth stand out from the line's roughness: most of the short waves are one
    /// wave, and it is deeper than ridges press into a straight edge.
    #[must_use]
    pub fn is_toothed(&self) -> bool {
        self.toothed_share > 0.4 && self.tooth_depth_mm > MIN_TOOTH_MM
    }

    /// Combined departure from a straight line, mm.
    #[must_use]
    pub fn unevenness_mm(&self) -> f64 {
        hypot(self.waviness_mm, self.roughness_mm)
    }
}

/// Least depth of a tooth, mm: ridges that run into a straight cut leave scallops up to 0.25 mm.
pub const MIN_TOOTH_MM: f64 = 0.35;
