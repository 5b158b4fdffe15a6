//! Pitch on gratings of known pitch: bias, honest uncertainty, traps and laws.
//!
//! Truth by construction: strips are synthesised from a formula with slants, gain fields, blur,
//! noise, jitter of single ridges and second glints. The generator knows nothing of the measurement.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use casebook::catalogue::RidgeDirection;
use casebook::elementary::{cos, exp, ln, pow, sin};
use examine::crimp::{NoRidges, Pitch, Strip, measure_pitch};
use proptest::prelude::*;
use std::f64::consts::PI;

/// A small seeded generator (SplitMix64), so that every strip is the same on every machine.
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * ln(1.0 - self.unit())).sqrt() * cos(2.0 * PI * self.unit())
    }
}

#[derive(Debug, Clone)]
struct Grating {
    direction: RidgeDirection,
    pitch_mm: f64,
    slant_deg: f64,
    px_per_mm: f64,
    contrast: f64,
    /// Amplitude at half the pitch, relative to that at the pitch.
    second_glint: f64,
    noise: f64,
    /// Random walk of single ridges' places, standard deviation of the independent part, mm.
    jitter_mm: f64,
    seed: u64,
}

impl Grating {
    fn new(pitch_mm: f64, px_per_mm: f64) -> Self {
        Self {
            direction: RidgeDirection::Along,
            pitch_mm,
            slant_deg: 0.0,
            px_per_mm,
            contrast: 0.3,
            second_glint: 0.2,
            noise: 0.02,
            jitter_mm: 0.0,
            seed: 1,
        }
    }

    /// 62 × 7 mm of it under a light that falls off and turns.
    fn strip(&self) -> Strip {
        let (length, height) = (62.0, 7.0);
        let (width, rows) = ((length * self.px_per_mm) as usize, (height * self.px_per_mm) as usize);
        let mut random = Seeded(self.seed);
        let (phase, light, tilt) = (random.unit(), random.between(0.0, 2.0 * PI), random.between(-0.5, 0.5));
        // Every ridge is a little out of place; between ridges the places are joined by lines.
        let places: Vec<f64> = (0..400).map(|_| self.jitter_mm * random.normal()).collect();
        let angle = self.slant_deg.to_radians();
        let mut luminance = Vec::with_capacity(width * rows);
        for row in 0..rows {
            for column in 0..width {
                let (x, d) = (column as f64 / self.px_per_mm, row as f64 / self.px_per_mm);
                let along = match self.direction {
                    RidgeDirection::Along => x * cos(angle) + d * sin(angle),
                    RidgeDirection::Across => d * cos(angle) - x * sin(angle),
                };
                let n = along / self.pitch_mm + 100.0;
                let (whole, part) = (n.floor(), n - n.floor());
                let at = whole.clamp(0.0, 398.0) as usize;
                let shift = places[at] * (1.0 - part) + places[at + 1] * part;
                let u = n + phase + shift / self.pitch_mm;
                let ridge = cos(2.0 * PI * u) + self.second_glint * cos(4.0 * PI * u + 1.0);
                let gain = 0.25 * (1.0 + 0.6 * sin(light + x / 14.0)) * (1.0 + tilt * d / height);
                let value = gain * (1.0 + self.contrast * ridge) + self.noise * random.normal() * 0.25;
                luminance.push(value.max(0.0) as f32);
            }
        }
        Strip::new(width, rows, luminance, self.px_per_mm).unwrap()
    }

    fn measure(&self) -> Pitch {
        measure_pitch(&self.strip()).unwrap_or_else(|e| panic!("{self:?}: {e:?}"))
    }
}

/// Bias below 0.3 % (the figure) over pitches, scales and slants, both ways of ridges.
#[test]
fn no_bias_over_pitch_scale_and_slant() {
    let mut misses = String::new();
    let mut seed = 100;
    for direction in [RidgeDirection::Along, RidgeDirection::Across] {
        for pitch_mm in [0.7, 0.95, 1.1, 1.25, 1.6] {
            for px_per_mm in [4.0, 6.0, 8.0, 12.0, 16.0] {
                // Across a band of 7 mm, 1.6 mm ridges repeat four times: too few by our own rule.
                let few = direction == RidgeDirection::Across && pitch_mm > 1.25;
                if few || px_per_mm * pitch_mm < 2.8 {
                    continue;
                }
                let mut sum = 0.0;
                for slant_deg in [-6.0, -2.0, 0.0, 3.0, 7.0] {
                    seed += 1;
                    let grating = Grating { direction, slant_deg, seed, ..Grating::new(pitch_mm, px_per_mm) };
                    let pitch = grating.measure();
                    assert_eq!(pitch.direction, direction, "{grating:?}");
                    assert!((pitch.slant_deg.abs() - slant_deg.abs()).abs() < 1.0, "{slant_deg} {pitch:?}");
                    sum += pitch.pitch_mm / pitch_mm - 1.0;
                }
                if (sum / 5.0).abs() > 0.003 {
                    misses +=
                        &format!("{direction:?} {pitch_mm} mm at {px_per_mm} px/mm: {:.3} %\n", sum * 20.0);
                }
            }
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

/// A stated uncertainty is a promise: over seeded strips with noise and uneven ridges the truth lies
/// within 1 u in 60 to 76 % and within 2 u in at least 90 %.
#[test]
fn stated_uncertainty_is_honest() {
    let (mut within_1, mut within_2, mut count, mut unread) = (0, 0, 0, 0);
    let mut by = std::collections::BTreeMap::<String, Vec<f64>>::new();
    let mut random = Seeded(7);
    for seed in 0..320 {
        let direction = if seed % 4 == 3 { RidgeDirection::Across } else { RidgeDirection::Along };
        let pitch_mm = random.between(0.8, 1.35);
        let grating = Grating {
            direction,
            slant_deg: random.between(-5.0, 5.0),
            contrast: random.between(0.08, 0.4),
            second_glint: random.between(0.0, 0.5),
            noise: random.between(0.05, 0.4),
            // Seven ridges a tenth of a pitch out of place each are no grating any more.
            jitter_mm: if direction == RidgeDirection::Across { 0.02 } else { random.between(0.02, 0.1) },
            seed: 1000 + seed,
            ..Grating::new(pitch_mm, random.between(4.5, 12.0))
        };
        let Ok(pitch) = measure_pitch(&grating.strip()) else {
            unread += 1;
            continue;
        };
        let off = (pitch.pitch_mm - pitch_mm).abs() / pitch.standard_uncertainty_mm;
        by.entry(format!("{direction:?}")).or_default().push(off);
        within_1 += i32::from(off <= 1.0);
        within_2 += i32::from(off <= 2.0);
        count += 1;
    }
    let share = |n: i32| 100.0 * f64::from(n) / f64::from(count);
    assert!(unread <= 16, "{unread} of 320 not read");
    println!("unread: {unread}");
    println!("within 1 u: {:.1} %, within 2 u: {:.1} % of {count}", share(within_1), share(within_2));
    for (name, offs) in &by {
        println!("{name}: {:.3}", offs.iter().filter(|o| **o <= 1.0).count() as f64 / offs.len() as f64);
    }
    assert!((60.0..=76.0).contains(&share(within_1)), "{:.1} % within 1 u", share(within_1));
    assert!(share(within_2) >= 90.0, "{:.1} % within 2 u", share(within_2));
}

/// A ridge that glints on both flanks shows half its pitch most strongly; the pitch is the ridge's.
#[test]
fn half_the_pitch_is_not_the_pitch() {
    for (seed, second_glint) in [(1, 1.5), (2, 3.0), (3, 5.0), (4, 8.0)] {
        let contrast = 0.35 / second_glint;
        let grating = Grating { second_glint, contrast, seed, ..Grating::new(1.1, 10.0) };
        let pitch = grating.measure();
        assert!((pitch.pitch_mm - 1.1).abs() < 0.01, "glint {second_glint}: {pitch:?}");
        assert!(pitch.second_harmonic > 1.0, "{}", pitch.second_harmonic);
    }
}

/// Wrinkles and plain noise have no pitch.
#[test]
fn wrinkles_and_noise_are_no_ridges() {
    for seed in 0..12 {
        let mut random = Seeded(seed);
        let (width, rows, px_per_mm) = (620, 70, 10.0);
        let mut luminance = vec![0.3_f32; width * rows];
        for _ in 0..40 {
            let (cx, cd) = (random.between(0.0, 62.0), random.between(0.0, 7.0));
            let (angle, wide) = (random.between(0.0, PI), random.between(0.15, 0.8));
            let (strength, length) = (random.between(-0.2, 0.3), random.between(1.0, 6.0));
            for (at, value) in luminance.iter_mut().enumerate() {
                let (x, d) = ((at % width) as f64 / px_per_mm - cx, (at / width) as f64 / px_per_mm - cd);
                let (u, v) = (x * cos(angle) + d * sin(angle), d * cos(angle) - x * sin(angle));
                if u.abs() < 3.0 * wide && v.abs() < 3.0 * length {
                    *value += (strength * exp(-pow(u / wide, 2.0) - pow(v / length, 2.0))) as f32;
                }
            }
        }
        for value in &mut luminance {
            *value = (*value + 0.01 * random.normal() as f32).max(0.0);
        }
        let strip = Strip::new(width, rows, luminance, px_per_mm).unwrap();
        let read = measure_pitch(&strip);
        let none = matches!(read, Err(NoRidges::NoPeak { .. } | NoRidges::OutOfStep { .. }));
        assert!(none, "seed {seed}: {read:?}");
    }
}

#[test]
fn a_coarse_or_short_strip_cannot_tell() {
    let coarse = Grating::new(1.1, 1.0).strip();
    assert!(matches!(measure_pitch(&coarse), Err(NoRidges::Coarse { .. })));
    let mut covered = Grating::new(1.1, 8.0).strip();
    let count = covered.usable.len();
    for used in &mut covered.usable[..count * 9 / 10] {
        *used = false;
    }
    assert!(matches!(measure_pitch(&covered), Err(NoRidges::Short { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// More light is no other pitch, and a mirrored strip has the same pitch with the slant turned.
    #[test]
    fn gain_and_mirror(seed in 0u64..1000, pitch_mm in 0.8f64..1.4, gain in 0.05f32..3.0, slant in -6.0f64..6.0) {
        let grating = Grating { seed, slant_deg: slant, jitter_mm: 0.03, ..Grating::new(pitch_mm, 8.0) };
        let strip = grating.strip();
        let plain = measure_pitch(&strip).unwrap();
        let mut bright = strip.clone();
        bright.luminance.iter_mut().for_each(|v| *v *= gain);
        let brighter = measure_pitch(&bright).unwrap();
        prop_assert!((brighter.pitch_mm / plain.pitch_mm - 1.0).abs() < 1e-5);
        let mut mirrored = strip.clone();
        for line in mirrored.luminance.chunks_exact_mut(strip.width) {
            line.reverse();
        }
        let turned = measure_pitch(&mirrored).unwrap();
        prop_assert!((turned.pitch_mm / plain.pitch_mm - 1.0).abs() < 3e-4, "{} {}", turned.pitch_mm, plain.pitch_mm);
        prop_assert!((turned.slant_deg + plain.slant_deg).abs() < 0.1);
    }

    /// Whatever the samples, an answer or a lack, never a panic.
    #[test]
    fn hostile_samples(width in 1usize..90, height in 1usize..40, px_per_mm in 0.5f64..20.0, fill in prop::collection::vec(prop_oneof![Just(f32::NAN), Just(f32::INFINITY), Just(0.0f32), -1.0f32..2.0], 1..60)) {
        let luminance = (0..width * height).map(|i| fill[i % fill.len()]).collect();
        let strip = Strip::new(width, height, luminance, px_per_mm).unwrap();
        if let Ok(pitch) = measure_pitch(&strip) {
            prop_assert!(pitch.pitch_mm.is_finite() && pitch.standard_uncertainty_mm.is_finite());
        }
    }
}
