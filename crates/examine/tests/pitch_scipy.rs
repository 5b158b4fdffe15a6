//! Pitch, contrast and explained share against NumPy and SciPy on the same seeded strips.
//!
//! `checks/ridges/strips.csv` holds each strip's recipe and the libraries' readings; its README says how
//! they were made. The strips are rebuilt here from the recipe.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use casebook::elementary::cos;
use examine::crimp::map::{RidgeMap, WINDOW_MM};
use examine::crimp::{Strip, measure_pitch};
use std::f64::consts::PI;

const STRIPS: &str = include_str!("../../../checks/ridges/strips.csv");
/// The figures: both sides see the same strip, so what differs is the method.
const PITCH_TOLERANCE: f64 = 0.002;
const CONTRAST_TOLERANCE: f64 = 0.01;
const LENGTH_MM: f64 = 62.0;
const HEIGHT_MM: f64 = 7.0;
/// Left end of the window that the libraries measured, mm.
const WINDOW_FROM_MM: f64 = 20.0;

struct Row {
    seed: u32,
    pitch: f64,
    scale: f64,
    contrast: f64,
    second: f64,
    grain: f64,
    phase: f64,
    scipy_pitch: f64,
    read: [f64; 3],
}

fn rows() -> Vec<Row> {
    let lines = STRIPS.lines().filter(|l| !l.starts_with('#') && !l.starts_with("seed"));
    lines
        .map(|line| {
            let v: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
            Row {
                seed: v[0] as u32,
                pitch: v[1],
                scale: v[2],
                contrast: v[3],
                second: v[4],
                grain: v[5],
                phase: v[6],
                scipy_pitch: v[7],
                read: [v[8], v[9], v[10]],
            }
        })
        .collect()
}

impl Row {
    fn strip(&self) -> Strip {
        let (width, height) = ((LENGTH_MM * self.scale) as usize, (HEIGHT_MM * self.scale) as usize);
        let mut state = self.seed;
        let mut light = Vec::with_capacity(width * height);
        for at in 0..width * height {
            let u = 2.0 * PI * ((at % width) as f64 / self.scale / self.pitch + self.phase);
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state) / 2_147_483_648.0 - 1.0;
            let line = 0.3 * (1.0 + self.contrast * (cos(u) + self.second * cos(2.0 * u + 0.7)));
            light.push((line + 0.3 * self.grain * noise).max(0.0) as f32);
        }
        Strip::new(width, height, light, self.scale).unwrap()
    }
}

#[test]
fn pitch_agrees_with_scipy() {
    let rows = rows();
    assert_eq!(rows.len(), 40, "a shorter file would prove less");
    let (mut misses, mut worst) = (String::new(), 0.0_f64);
    for row in &rows {
        let off = match measure_pitch(&row.strip()) {
            Ok(pitch) => pitch.pitch_mm / row.scipy_pitch - 1.0,
            Err(e) => {
                misses += &format!("strip {}: {e:?}\n", row.seed);
                continue;
            }
        };
        worst = worst.max(off.abs());
        if off.abs() > PITCH_TOLERANCE {
            misses += &format!(
                "strip {}: SciPy {:.5} mm, off by {:.3} %\n",
                row.seed,
                row.scipy_pitch,
                100.0 * off
            );
        }
    }
    println!("largest distance from SciPy's pitch: {:.4} %", 100.0 * worst);
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn contrast_and_explained_share_agree_with_numpy() {
    let mut misses = String::new();
    for row in rows() {
        let strip = row.strip();
        // One window alone: the part is as long as a window, so that the map has a single column.
        let left = (WINDOW_FROM_MM * row.scale).round() as usize;
        let right = ((WINDOW_FROM_MM + WINDOW_MM) * row.scale).round() as usize;
        let mut part = Strip::new(
            right - left,
            strip.height,
            strip.luminance.chunks_exact(strip.width).flat_map(|line| &line[left..right]).copied().collect(),
            row.scale,
        )
        .unwrap();
        part.x0_mm = left as f64 / row.scale;
        let map = RidgeMap::whole(&part, 1.0 / row.pitch, 0.0).unwrap();
        for (name, got, want) in [
            ("contrast", map.contrast, row.read[0]),
            ("second harmonic", map.second, row.read[1]),
            ("explained share", map.explained, row.read[2]),
        ] {
            // Relative, with the floor of a thousandth for harmonics that are not there.
            let off = (got - want).abs() / want.max(0.1);
            if off > CONTRAST_TOLERANCE {
                misses += &format!("strip {}: {name} NumPy {want:.5}, got {got:.5}\n", row.seed);
            }
        }
    }
    assert!(misses.is_empty(), "{misses}");
}
