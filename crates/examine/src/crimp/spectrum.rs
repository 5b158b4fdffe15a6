//! The two-dimensional spectrum of a strip's relative modulation and its peaks.
//!
//! In: a [`Strip`]. Out: [`Spectrum`], power by frequency in cycles per millimetre, and [`Peak`]s
//! told from the background around them. Never here: pitch with uncertainty (see `pitch`).
//!
//! Hann window both ways, zero padding, plain periodogram: a strip is short, so variance is lowered
//! later by regression over blocks and not here by averaging.

use std::f64::consts::PI;
use std::sync::Arc;

use casebook::elementary::{cos, hypot};
use realfft::RealFftPlanner;
use realfft::num_complex::Complex;
use rustfft::FftPlanner;

use super::strip::Strip;

/// Coarsest scale in samples per millimetre that the spectrum works on: 0.4 mm, the second harmonic
/// of the finest ridges, keeps 2.8 samples.
const ENOUGH_PX_PER_MM: f64 = 7.0;
/// Highest frequency that is looked at, cycles per millimetre: second harmonic of 0.8 mm ridges.
pub const TOP_FREQUENCY: f64 = 2.6;

/// A strip's relative modulation at the scale the spectrum works on.
#[derive(Debug, Clone)]
pub struct Modulation {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Relative modulation, 0 where unusable.
    pub value: Vec<f32>,
    /// Usable share of each sample, 0 to 1.
    pub weight: Vec<f32>,
    /// Samples per millimetre.
    pub px_per_mm: f64,
    /// Place of column 0, mm.
    pub x0_mm: f64,
    /// Place of row 0, mm.
    pub d0_mm: f64,
}

impl Modulation {
    /// The relative modulation of a strip, reduced by whole factors where it has samples to spare.
    #[must_use]
    pub fn of(strip: &Strip) -> Self {
        let relative = strip.relative();
        let factor = ((strip.px_per_mm / ENOUGH_PX_PER_MM).floor() as usize).max(1);
        let (width, height) = (strip.width / factor, strip.height / factor);
        if width == 0 || height == 0 {
            return Self {
                width: strip.width,
                height: strip.height,
                value: relative,
                weight: strip.usable.iter().map(|u| f32::from(u8::from(*u))).collect(),
                px_per_mm: strip.px_per_mm,
                x0_mm: strip.x0_mm,
                d0_mm: strip.d0_mm,
            };
        }
        let mut value = Vec::with_capacity(width * height);
        let mut weight = Vec::with_capacity(width * height);
        for row in 0..height {
            for column in 0..width {
                let (mut sum, mut used) = (0.0_f32, 0.0_f32);
                for y in row * factor..(row + 1) * factor {
                    for x in column * factor..(column + 1) * factor {
                        let at = y * strip.width + x;
                        if strip.usable[at] {
                            sum += relative[at];
                            used += 1.0;
                        }
                    }
                }
                value.push(if used > 0.0 { sum / used } else { 0.0 });
                weight.push(used / (factor * factor) as f32);
            }
        }
        let middle = (factor as f64 - 1.0) / 2.0;
        Self {
            width,
            height,
            value,
            weight,
            px_per_mm: strip.px_per_mm / factor as f64,
            x0_mm: strip.x_mm(middle),
            d0_mm: strip.d_mm(middle),
        }
    }

    /// Length and height in mm.
    #[must_use]
    pub fn size_mm(&self) -> (f64, f64) {
        (self.width as f64 / self.px_per_mm, self.height as f64 / self.px_per_mm)
    }
}

/// Power of a strip's modulation over the half plane of non-negative `x` frequency.
#[derive(Debug, Clone)]
pub struct Spectrum {
    /// Columns kept: frequencies 0 to [`TOP_FREQUENCY`] along the end.
    pub columns: usize,
    /// Rows: all frequencies inward, in FFT order.
    pub rows: usize,
    /// Power, row-major. A wave of amplitude a that fills the strip peaks at (a / 2)².
    pub power: Vec<f32>,
    /// Cycles per millimetre a column.
    pub step_x: f64,
    /// Cycles per millimetre a row.
    pub step_y: f64,
    /// Median power by size of frequency: (cycles per mm, power).
    background: Vec<(f64, f64)>,
}

/// A peak of the spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// Cycles per millimetre along the end, never negative.
    pub fx: f64,
    /// Cycles per millimetre inward.
    pub fy: f64,
    /// Power at the peak.
    pub power: f64,
    /// Power over the median power at frequencies of like size.
    pub prominence: f64,
}

impl Peak {
    /// Cycles per millimetre across the ridges.
    #[must_use]
    pub fn frequency(&self) -> f64 {
        hypot(self.fx, self.fy)
    }
}

fn padded(length: usize) -> usize {
    // A multiple of 32 has fast factors; half again as long samples each peak finely enough.
    (length + length / 2 + 16).div_ceil(32) * 32
}

fn hann(count: usize) -> Vec<f64> {
    (0..count).map(|i| 0.5 - 0.5 * cos(2.0 * PI * (i as f64 + 0.5) / count as f64)).collect()
}

impl Spectrum {
    /// The periodogram of a modulation.
    #[must_use]
    pub fn of(field: &Modulation) -> Self {
        let (nx, ny) = (padded(field.width), padded(field.height));
        let step_x = field.px_per_mm / nx as f64;
        let step_y = field.px_per_mm / ny as f64;
        let columns = ((TOP_FREQUENCY / step_x) as usize + 1).min(nx / 2);
        let (window_x, window_y) = (hann(field.width), hann(field.height));
        let forward = RealFftPlanner::<f64>::new().plan_fft_forward(nx);
        let mut line = forward.make_input_vec();
        let mut bins = forward.make_output_vec();
        let mut grid = vec![Complex::new(0.0, 0.0); ny * columns];
        let mut total = 0.0;
        for row in 0..field.height {
            line.fill(0.0);
            for column in 0..field.width {
                let at = row * field.width + column;
                let w = window_x[column] * window_y[row] * f64::from(field.weight[at]);
                line[column] = w * f64::from(field.value[at]);
                total += w;
            }
            if forward.process(&mut line, &mut bins).is_ok() {
                for (column, bin) in bins.iter().take(columns).enumerate() {
                    grid[column * ny + row] = *bin;
                }
            }
        }
        let down: Arc<dyn rustfft::Fft<f64>> = FftPlanner::new().plan_fft_forward(ny);
        for column in grid.chunks_exact_mut(ny) {
            down.process(column);
        }
        let norm = if total > 0.0 { 1.0 / (total * total) } else { 0.0 };
        let mut power = vec![0.0; columns * ny];
        for column in 0..columns {
            for row in 0..ny {
                power[row * columns + column] = (grid[column * ny + row].norm_sqr() * norm) as f32;
            }
        }
        let mut spectrum = Self { columns, rows: ny, power, step_x, step_y, background: Vec::new() };
        spectrum.background = spectrum.rings();
        spectrum
    }

    fn fy(&self, row: usize) -> f64 {
        let signed = if row > self.rows / 2 { row as f64 - self.rows as f64 } else { row as f64 };
        signed * self.step_y
    }

    fn at(&self, column: usize, row: isize) -> f64 {
        let row = row.rem_euclid(self.rows as isize) as usize;
        f64::from(self.power[row * self.columns + column])
    }

    /// Median power by size of frequency, in rings that grow with it.
    fn rings(&self) -> Vec<(f64, f64)> {
        let mut rings: Vec<(f64, Vec<f32>)> = Vec::new();
        let mut edge = 0.18;
        while edge < TOP_FREQUENCY {
            rings.push((edge, Vec::new()));
            edge *= 1.22;
        }
        for row in 0..self.rows {
            let fy = self.fy(row);
            if fy.abs() > TOP_FREQUENCY {
                continue;
            }
            for column in 0..self.columns {
                let fx = column as f64 * self.step_x;
                let f = hypot(fx, fy);
                let ring = rings.iter().rposition(|(from, _)| f >= *from);
                if let Some(ring) = ring {
                    rings[ring].1.push(self.power[row * self.columns + column]);
                }
            }
        }
        rings
            .into_iter()
            .filter(|(_, values)| values.len() >= 8)
            .map(|(from, mut values)| {
                let middle = values.len() / 2;
                let (_, median, _) = values.select_nth_unstable_by(middle, f32::total_cmp);
                (from * 1.1, f64::from(*median))
            })
            .collect()
    }

    /// The most prominent peaks between two frequencies, most prominent first.
    ///
    /// `keep` says which directions count: it gets (fx, fy).
    #[must_use]
    pub fn peaks(&self, from: f64, to: f64, count: usize, keep: impl Fn(f64, f64) -> bool) -> Vec<Peak> {
        let background = &self.background;
        let mut found: Vec<Peak> = Vec::new();
        for row in 0..self.rows {
            let fy = self.fy(row);
            for column in 0..self.columns {
                let fx = column as f64 * self.step_x;
                let f = hypot(fx, fy);
                if f < from || f > to || !keep(fx, fy) || (column == 0 && fy <= 0.0) {
                    continue;
                }
                let here = self.at(column, row as isize);
                if here > 0.0 && self.is_peak(column, row, here) {
                    found.push(self.refined(column, row, here / level(background, f)));
                }
            }
        }
        found.sort_by(|a, b| b.prominence.total_cmp(&a.prominence));
        found.truncate(count);
        found
    }

    /// Power at a frequency over the background there, the largest within one step.
    #[must_use]
    pub fn prominence_at(&self, fx: f64, fy: f64) -> (f64, f64) {
        let column = (fx / self.step_x).round() as isize;
        let row = (fy / self.step_y).round() as isize;
        let mut best = 0.0_f64;
        for c in column - 1..=column + 1 {
            if c < 0 || c >= self.columns as isize {
                continue;
            }
            for r in row - 1..=row + 1 {
                best = best.max(self.at(c as usize, r));
            }
        }
        (best, best / level(&self.background, hypot(fx, fy)))
    }

    fn is_peak(&self, column: usize, row: usize, here: f64) -> bool {
        for dc in -1_isize..=1 {
            for dr in -1_isize..=1 {
                let c = column as isize + dc;
                if (dc == 0 && dr == 0) || c < 0 || c >= self.columns as isize {
                    continue;
                }
                if self.at(c as usize, row as isize + dr) > here {
                    return false;
                }
            }
        }
        true
    }

    /// Place of the peak between samples, from a parabola through the logarithms of three.
    fn refined(&self, column: usize, row: usize, prominence: f64) -> Peak {
        let here = self.at(column, row as isize);
        let offset = |before: f64, after: f64| {
            let (a, b, c) = (log_floor(before), log_floor(here), log_floor(after));
            let bend = a - 2.0 * b + c;
            if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
        };
        let dx = if column > 0 && column + 1 < self.columns {
            offset(self.at(column - 1, row as isize), self.at(column + 1, row as isize))
        } else {
            0.0
        };
        let dy = offset(self.at(column, row as isize - 1), self.at(column, row as isize + 1));
        Peak {
            fx: (column as f64 + dx) * self.step_x,
            fy: self.fy(row) + dy * self.step_y,
            power: here,
            prominence,
        }
    }

    /// Power over the frequency across the ridges of one family: (cycles per mm, power), the largest
    /// over slants up to `slant_max_deg`. For the plot.
    #[must_use]
    pub fn section(&self, along: bool, to: f64) -> Vec<(f64, f64)> {
        let step = if along { self.step_x } else { self.step_y };
        let count = (to / step) as usize;
        let reach = |f: f64, other: f64| ((0.2 * f / other).ceil() as isize).max(1);
        (1..count)
            .filter_map(|k| {
                let f = k as f64 * step;
                let mut best = 0.0_f64;
                if along {
                    (k < self.columns).then_some(())?;
                    for r in -reach(f, self.step_y)..=reach(f, self.step_y) {
                        best = best.max(self.at(k, r));
                    }
                } else {
                    let most = (reach(f, self.step_x) as usize).min(self.columns.saturating_sub(1));
                    for c in 0..=most {
                        best = best.max(self.at(c, k as isize)).max(self.at(c, -(k as isize)));
                    }
                }
                Some((f, best))
            })
            .collect()
    }
}

fn log_floor(v: f64) -> f64 {
    casebook::elementary::ln(v.max(1e-30))
}

/// Background at a frequency, between rings by straight lines.
fn level(background: &[(f64, f64)], f: f64) -> f64 {
    let floor = 1e-12;
    let Some(after) = background.iter().position(|(at, _)| *at >= f) else {
        return background.last().map_or(floor, |(_, v)| v.max(floor));
    };
    if after == 0 {
        return background[0].1.max(floor);
    }
    let ((f0, v0), (f1, v1)) = (background[after - 1], background[after]);
    (v0 + (v1 - v0) * (f - f0) / (f1 - f0)).max(floor)
}
