//! The ridges taken out of a merged picture's seals: a reference shows print, and other items' ridges
//! are read by dividing it out.
//!
//! In: linear light of a face, the height of its seals. Out: the same with the ridges' waves gone,
//! lettering kept. Never here: whether ridges are right.
//!
//! The wave vector is measured on the picture itself. Each harmonic is brought to rest, smoothed over a
//! pitch and a half, brought back and taken away from the logarithm of light: what goes is the ridges'
//! own narrow band.

use casebook::catalogue::RidgeDirection;
use casebook::elementary::{cos32, exp32, ln32, sin32};
use examine::compare::filter::smooth_weighted;
use examine::crimp::{Strip, measure_pitch};
use photo::Plane;

use crate::learned::LearnedSeal;

/// Light added before logarithms.
const TOE: f32 = 0.003;
/// Harmonics taken out: a ridge glints twice, and its profile is steep.
const HARMONICS: usize = 4;
/// Length over which a wave keeps its amplitude and phase, pitches.
const SMOOTH_PITCHES: f64 = 1.5;
/// Over which the seal's inner border is faded, mm.
const FADE_MM: f64 = 0.8;
/// Height where none was measured, mm.
const USUAL_SEAL_MM: f64 = 9.0;

/// Takes the ridges of both ends out of a face's picture.
pub(crate) fn unridge(rgb: &mut [Plane<f32>; 3], px_per_mm: f64, seal: &LearnedSeal) {
    let Some((direction, pitch)) = &seal.ridges else { return };
    let height_mm = seal.height_mm.map_or(USUAL_SEAL_MM, |h| h.value) + 0.5;
    let rows = ((height_mm * px_per_mm).ceil() as usize).min(rgb[0].height() / 3);
    for bottom in [false, true] {
        end(rgb, px_per_mm, rows, bottom, *direction, pitch.value);
    }
}

fn end(
    rgb: &mut [Plane<f32>; 3],
    px_per_mm: f64,
    rows: usize,
    bottom: bool,
    direction: RidgeDirection,
    pitch_mm: f64,
) {
    let (width, height) = (rgb[0].width(), rgb[0].height());
    let row_of = |r: usize| if bottom { height - 1 - r } else { r };
    let mut luminance = Vec::with_capacity(width * rows);
    for r in 0..rows {
        let y = row_of(r);
        for x in 0..width {
            let at = |c: usize| rgb[c].row(y)[x];
            luminance.push(0.2126 * at(0) + 0.7152 * at(1) + 0.0722 * at(2));
        }
    }
    let logs: Vec<f32> = luminance.iter().map(|v| ln32(v.max(0.0) + TOE)).collect();
    let nominal = match direction {
        RidgeDirection::Along => (1.0 / pitch_mm, 0.0),
        RidgeDirection::Across => (0.0, 1.0 / pitch_mm),
    };
    // The picture's own wave, when it is the one that was learned.
    let own = Strip::new(width, rows, luminance, px_per_mm)
        .and_then(|s| measure_pitch(&s).ok())
        .filter(|p| p.direction == direction && (p.pitch_mm / pitch_mm - 1.0).abs() < 0.06)
        .map(|p| (p.fx, p.fy));
    let (fx, fy) = own.unwrap_or(nominal);
    let fade = (FADE_MM * px_per_mm).max(1.0) as f32;
    let weights = Plane::from_fn(width, rows, |_, r| {
        // Full on the seal, faded out over its inner border.
        ((rows - r) as f32 / fade).min(1.0)
    });
    let sigma = SMOOTH_PITCHES * pitch_mm * px_per_mm;
    let mut rest = logs;
    for k in 1..=HARMONICS {
        let (wx, wy) = (k as f64 * fx / px_per_mm, k as f64 * fy / px_per_mm);
        if wx.abs().max(wy.abs()) > 0.45 {
            break;
        }
        let phase = |x: usize, r: usize| {
            // Reduced before the multiplication, so that f32 keeps the phase.
            let turns = wx * x as f64 + wy * r as f64;
            (2.0 * std::f64::consts::PI * (turns - turns.floor())) as f32
        };
        // What is smooth must not leak into the demodulated wave.
        let own = Plane::from_vec(width, rows, rest.clone()).unwrap_or_else(|| Plane::filled(0, 0, 0.0));
        let ones = Plane::filled(width, rows, 1.0f32);
        let (broad, _) = smooth_weighted(&own, &ones, sigma / 1.5);
        let real = Plane::from_fn(width, rows, |x, r| (own.row(r)[x] - broad.row(r)[x]) * cos32(phase(x, r)));
        let imaginary =
            Plane::from_fn(width, rows, |x, r| -(own.row(r)[x] - broad.row(r)[x]) * sin32(phase(x, r)));
        let (re, _) = smooth_weighted(&real, &ones, sigma);
        let (im, _) = smooth_weighted(&imaginary, &ones, sigma);
        for r in 0..rows {
            for x in 0..width {
                let p = phase(x, r);
                let wave = 2.0 * (re.row(r)[x] * cos32(p) - im.row(r)[x] * sin32(p));
                rest[r * width + x] -= weights.row(r)[x] * wave;
            }
        }
    }
    for r in 0..rows {
        let y = row_of(r);
        for x in 0..width {
            let light = {
                let at = |c: usize| rgb[c].row(y)[x];
                0.2126 * at(0) + 0.7152 * at(1) + 0.0722 * at(2)
            };
            let gain = exp32(rest[r * width + x] - ln32(light.max(0.0) + TOE));
            for plane in rgb.iter_mut() {
                plane.row_mut(y)[x] *= gain;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::learned::Measured;

    #[test]
    fn ridges_go_and_lettering_stays() {
        let (w, h, s) = (650, 1120, 10.0);
        let letters = |x: usize, y: usize| if (x / 9 + y / 17).is_multiple_of(3) { 0.2f32 } else { 0.5 };
        let ridge = |x: usize| 1.0 + 0.3 * sin32(2.0 * std::f32::consts::PI * x as f32 / 11.0);
        let plain = Plane::from_fn(w, h, letters);
        let ridged =
            Plane::from_fn(w, h, |x, y| letters(x, y) * if y < 90 || y >= h - 90 { ridge(x) } else { 1.0 });
        let mut rgb = [ridged.clone(), ridged.clone(), ridged.clone()];
        let seal = LearnedSeal {
            height_mm: Some(Measured { value: 9.0, u: 0.2 }),
            ridges: Some((RidgeDirection::Along, Measured { value: 1.1, u: 0.01 })),
            cut: None,
            readings: 1,
        };
        unridge(&mut rgb, s, &seal);
        let error = |p: &Plane<f32>| {
            let mut sum = 0.0f64;
            for y in 20..70 {
                for x in 30..w - 30 {
                    sum += f64::from((p.row(y)[x] - plain.row(y)[x]).abs());
                }
            }
            sum / (50.0 * (w - 60) as f64)
        };
        assert!(error(&rgb[0]) < 0.35 * error(&ridged), "{} of {}", error(&rgb[0]), error(&ridged));
        assert_eq!(rgb[0].row(500), plain.row(500), "the body is untouched");
    }
}
