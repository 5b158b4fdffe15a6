//! Procedural artwork and cameras for the tests of print: everything known by construction.
#![allow(
    dead_code,
    unreachable_pub,
    missing_docs,
    clippy::many_single_char_names,
    clippy::needless_range_loop
)]

use casebook::elementary::{exp, ln, pow, sin};
use examine::compare::grid::Grid;
use examine::compare::layer::Layer;
use photo::Plane;

/// A small generator of numbers, the same everywhere.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }

    /// 0 to 1.
    pub fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal, by twelve uniforms.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// One drawn thing, in mm.
#[derive(Clone)]
pub enum Thing {
    Disc { at: [f64; 2], r: f64, ink: usize },
    Bar { at: [f64; 2], half: [f64; 2], ink: usize },
}

/// A face made of inks and things, drawn at any place with any displacement.
#[derive(Clone)]
pub struct Art {
    pub size: [f64; 2],
    pub inks: Vec<[f64; 3]>,
    pub things: Vec<Thing>,
}

/// The named region of [`Art::new`]: a group of bars like lettering. x, y, width, height.
pub const WORDMARK: [f64; 4] = [10.0, 14.0, 40.0, 10.0];

impl Art {
    /// Five inks, some hundred things, and one "wordmark" of bars and discs.
    pub fn new(seed: u64) -> Self {
        let mut dice = Dice::new(seed);
        let inks = vec![
            [0.05, 0.16, 0.22],
            [0.55, 0.09, 0.05],
            [0.70, 0.52, 0.16],
            [0.82, 0.80, 0.70],
            [0.02, 0.03, 0.07],
            [0.10, 0.32, 0.14],
        ];
        let size = [60.0, 100.0];
        let mut things = Vec::new();
        for k in 0..170 {
            let at = [dice.between(0.0, 60.0), dice.between(28.0, 100.0)];
            let ink = 1 + k % 5;
            if k % 3 == 0 {
                things.push(Thing::Disc { at, r: dice.between(0.8, 3.6), ink });
            } else {
                things.push(Thing::Bar { at, half: [dice.between(0.5, 4.5), dice.between(0.4, 2.2)], ink });
            }
        }
        things.extend(wordmark(seed, 1.0, [0.0, 0.0]));
        Self { size, inks, things }
    }

    /// Ink on a place.
    pub fn ink_at(&self, x: f64, y: f64) -> usize {
        let mut ink = 0;
        for thing in &self.things {
            let inside = match thing {
                Thing::Disc { at, r, .. } => (x - at[0]) * (x - at[0]) + (y - at[1]) * (y - at[1]) < r * r,
                Thing::Bar { at, half, .. } => (x - at[0]).abs() < half[0] && (y - at[1]).abs() < half[1],
            };
            if inside {
                ink = match thing {
                    Thing::Disc { ink, .. } | Thing::Bar { ink, .. } => *ink,
                };
            }
        }
        ink
    }

    /// Linear light on a grid; each pixel the mean of 3 × 3 places, each displaced by `warp`.
    pub fn draw(&self, grid: &Grid, margin: usize, warp: impl Fn(f64, f64) -> [f64; 2]) -> Layer {
        let (w, h) = (grid.width + 2 * margin, grid.height + 2 * margin);
        let mut planes =
            [Plane::filled(w, h, 0.0_f32), Plane::filled(w, h, 0.0_f32), Plane::filled(w, h, 0.0_f32)];
        for j in 0..h {
            for i in 0..w {
                let mut sum = [0.0; 3];
                for b in 0..3 {
                    for a in 0..3 {
                        let (x, y) = grid.mm(
                            i as f64 - margin as f64 + (f64::from(a) - 1.0) / 3.0,
                            j as f64 - margin as f64 + (f64::from(b) - 1.0) / 3.0,
                        );
                        let d = warp(x, y);
                        let ink = self.inks[self.ink_at(x - d[0], y - d[1])];
                        for c in 0..3 {
                            sum[c] += ink[c] / 9.0;
                        }
                    }
                }
                for c in 0..3 {
                    planes[c].row_mut(j)[i] = sum[c] as f32;
                }
            }
        }
        Layer { rgb: planes, usable: Plane::filled(w, h, 1.0), margin_px: margin }
    }
}

/// Bars and discs like lettering, about the middle of [`WORDMARK`].
pub fn wordmark(seed: u64, scale: f64, shift: [f64; 2]) -> Vec<Thing> {
    let mut dice = Dice::new(seed ^ 0xABCD);
    let centre = [WORDMARK[0] + WORDMARK[2] / 2.0, WORDMARK[1] + WORDMARK[3] / 2.0];
    let place = |x: f64, y: f64| [centre[0] + shift[0] + scale * x, centre[1] + shift[1] + scale * y];
    let mut out = Vec::new();
    for k in 0..9 {
        let x = -17.5 + 4.4 * f64::from(k);
        let h = dice.between(1.8, 4.0);
        out.push(Thing::Bar {
            at: place(x, dice.between(-0.8, 0.8)),
            half: [0.55 * scale, h * scale],
            ink: 3,
        });
        if k % 2 == 0 {
            out.push(Thing::Disc { at: place(x + 1.7, dice.between(-1.5, 1.5)), r: 1.3 * scale, ink: 3 });
        } else {
            out.push(Thing::Bar {
                at: place(x + 1.6, dice.between(-2.5, 2.5)),
                half: [1.3 * scale, 0.5 * scale],
                ink: 3,
            });
        }
    }
    out
}

/// A camera and its light, known by construction.
#[derive(Clone, Debug)]
pub struct Camera {
    pub matrix: [[f64; 3]; 3],
    pub gains: [f64; 3],
    pub gamma: f64,
    pub curve: f64,
    pub light: [f64; 5],
    pub haze: f64,
    pub noise: f64,
}

impl Camera {
    pub const PLAIN: Self = Self {
        matrix: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        gains: [0.7; 3],
        gamma: 1.0,
        curve: 0.0,
        light: [0.0; 5],
        haze: 0.0,
        noise: 0.0,
    };

    /// A plausible camera: channels that leak, an uncorrected white, a tone curve, uneven light.
    pub fn random(dice: &mut Dice) -> Self {
        let mut matrix = Self::PLAIN.matrix;
        for (i, row) in matrix.iter_mut().enumerate() {
            for (j, v) in row.iter_mut().enumerate() {
                *v += if i == j { dice.between(-0.08, 0.08) } else { dice.between(-0.07, 0.07) };
            }
        }
        let gain = dice.between(0.45, 0.8);
        Self {
            matrix,
            gains: [gain * dice.between(0.75, 1.2), gain, gain * dice.between(0.6, 1.2)],
            gamma: dice.between(0.85, 1.2),
            curve: dice.between(-0.06, 0.06),
            light: [0.0; 5].map(|_: f64| dice.between(-0.2, 0.2)),
            haze: dice.between(0.0, 0.02),
            noise: 0.008,
        }
    }

    /// White gains of a black body beside D65, by its chromaticity in Rec. 709 (fit good to a few percent).
    pub fn kelvin(mut self, kelvin: f64) -> Self {
        let t = kelvin / 6500.0;
        self.gains = [0.6 * pow(t, -0.45), 0.6, 0.6 * pow(t, 0.95)];
        let top = self.gains.iter().copied().fold(0.0, f64::max);
        self.gains = self.gains.map(|g| g * 0.75 / top);
        self
    }

    /// What it makes of a layer.
    pub fn shoot(&self, layer: &Layer, grid: &Grid, dice: &mut Dice) -> Layer {
        let (w, h) = (layer.usable.width(), layer.usable.height());
        let mut out = layer.clone();
        for j in 0..h {
            for i in 0..w {
                let (x, y) = grid.mm(i as f64 - layer.margin_px as f64, j as f64 - layer.margin_px as f64);
                let (u, v) = (x / grid.size_mm[0] - 0.5, y / grid.size_mm[1] - 0.5);
                let l = &self.light;
                let light = exp(l[0] * u * 2.0
                    + l[1] * v * 2.0
                    + l[2] * 2.0 * u * v
                    + l[3] * sin(5.0 * u) * 0.5
                    + l[4] * sin(6.0 * v) * 0.5);
                let scene = [0, 1, 2].map(|c| f64::from(layer.rgb[c].row(j)[i]));
                for c in 0..3 {
                    let m = &self.matrix[c];
                    let raw = (m[0] * scene[0] + m[1] * scene[1] + m[2] * scene[2]) * self.gains[c] * light
                        + self.haze;
                    let x = ln(raw.max(1e-4) / 0.18);
                    let toned = 0.18 * exp(self.gamma * x + self.curve * x * x);
                    // Noise on the root, as after a tone curve and JPEG.
                    let root = toned.max(0.0).sqrt() + self.noise * dice.normal();
                    out.rgb[c].row_mut(j)[i] = (root * root).clamp(0.0, 1.0) as f32;
                }
            }
        }
        out
    }
}
