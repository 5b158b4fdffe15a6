//! Whether the light over a sealed band is that of a straight strip.
//!
//! In: a band's [`Strip`]. Out: [`UnevenLight`], one number with its uncertainty. Never here: ridges, makes,
//! another end, what made the band uneven.
//!
//! A jaw presses one profile along the whole end, so a factory seal is straight inward and the light on it is,
//! with ridges averaged out, a profile along the end times a profile inward, whatever the lamp and
//! however worn the film is all over. Film that was opened and closed again buckles: dents, waves, a
//! second tool's marks and the rim of a tape put light where no such product has any. So the logarithm of the
//! smoothed light is taken, and in every window what remains beside a row's and a column's own mean (the
//! additive two-way layout; `tukey1949` tests for just this remainder). The median over
//! windows leaves out creases and single dents, which honest handling makes.

use casebook::elementary::{exp, ln};

use super::strip::Strip;

/// Side of a cell, mm: fine enough to follow a dent, and cheap.
const CELL_MM: f64 = 0.25;
/// Smoothing along the end, mm (standard deviation): no ridge of any pitch that is searched is left.
const ALONG_MM: f64 = 1.5;
/// Smoothing inward, mm.
const INWARD_MM: f64 = 0.3;
/// Length of a window, mm: longer than a dent, shorter than a bend of the whole pack.
const WINDOW_MM: f64 = 8.0;
/// Least usable share of a window, and of a smoothed cell's surroundings.
const MIN_USABLE: f64 = 0.6;
/// Light added before a logarithm: the dark end of an 8-bit code.
const FLOOR: f64 = 0.004;
/// Deviation (of ln light) that noise and 8-bit codes leave; keeps logarithms finite.
const NOISE: f64 = 0.01;
/// Rounds of taking rows' and columns' means away; with gaps they depend on each other.
const ROUNDS: usize = 4;

/// How far the light departs from a product of two profiles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnevenLight {
    /// ln of the median over windows of the standard deviation of what remains of ln light.
    pub value: f64,
    /// Its standard uncertainty, from how far windows differ.
    pub standard_uncertainty: f64,
}

impl UnevenLight {
    /// Reads a band; `None` when fewer than two windows can be used.
    #[must_use]
    pub fn of(band: &Strip) -> Option<Self> {
        let grid = Grid::of(band)?;
        let window = (WINDOW_MM / CELL_MM) as usize;
        let mut deviations: Vec<f64> = (0..)
            .map(|k| k * window / 2)
            .take_while(|from| from + window <= grid.width)
            .filter_map(|from| grid.remaining(from, from + window))
            .map(|deviation| ln(deviation + NOISE))
            .collect();
        if deviations.len() < 2 {
            return None;
        }
        deviations.sort_by(f64::total_cmp);
        let n = deviations.len();
        let value = f64::midpoint(deviations[(n - 1) / 2], deviations[n / 2]);
        let mean = deviations.iter().sum::<f64>() / n as f64;
        let variance = deviations.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / (n - 1) as f64;
        // Windows overlap by half; a median's error is 1.2533 of a mean's under a normal law.
        let standard_uncertainty = (1.253_3 * (variance / (n as f64 / 2.0)).sqrt()).max(0.02);
        Some(Self { value, standard_uncertainty })
    }

    /// What several photos of one end say together: each counts alike.
    #[must_use]
    pub fn mean(readings: &[Self]) -> Option<Self> {
        if readings.is_empty() {
            return None;
        }
        let n = readings.len() as f64;
        let value = readings.iter().map(|r| r.value).sum::<f64>() / n;
        let own = readings.iter().map(|r| r.standard_uncertainty * r.standard_uncertainty).sum::<f64>();
        let apart =
            readings.iter().map(|r| (r.value - value) * (r.value - value)).sum::<f64>() / (n - 1.0).max(1.0);
        Some(Self { value, standard_uncertainty: (own / (n * n)).max(apart / n).sqrt() })
    }
}

/// Smoothed ln light by cells, row-major; `None` where too little around a cell is usable.
struct Grid {
    width: usize,
    height: usize,
    light: Vec<Option<f64>>,
}

impl Grid {
    fn of(band: &Strip) -> Option<Self> {
        let cells = |count: usize| (count as f64 / band.px_per_mm / CELL_MM) as usize;
        let (width, height) = (cells(band.width), cells(band.height));
        if width == 0 || height < 3 {
            return None;
        }
        let edge = |i: usize| (i as f64 * CELL_MM * band.px_per_mm) as usize;
        // Sums of light and counts: smoothed alike, their ratio is the mean over what is usable.
        let (mut sum, mut count) = (vec![0.0; width * height], vec![0.0; width * height]);
        for row in 0..height {
            for y in edge(row)..edge(row + 1).max(edge(row) + 1).min(band.height) {
                for column in 0..width {
                    for x in edge(column)..edge(column + 1).max(edge(column) + 1).min(band.width) {
                        let at = y * band.width + x;
                        if band.usable[at] {
                            sum[row * width + column] += f64::from(band.luminance[at]);
                            count[row * width + column] += 1.0;
                        }
                    }
                }
            }
        }
        let whole = (CELL_MM * band.px_per_mm).max(1.0) * (CELL_MM * band.px_per_mm).max(1.0);
        let [sum, count] = [sum, count].map(|plane| {
            let along = smooth(&plane, width, height, ALONG_MM / CELL_MM, 1, width);
            smooth(&along, height, width, INWARD_MM / CELL_MM, width, 1)
        });
        let light = sum
            .iter()
            .zip(&count)
            .map(|(sum, count)| (*count >= MIN_USABLE * whole).then(|| ln((sum / count).max(0.0) + FLOOR)))
            .collect();
        Some(Self { width, height, light })
    }

    /// Standard deviation of what rows' and columns' means leave of a window.
    fn remaining(&self, from: usize, to: usize) -> Option<f64> {
        let span = to - from;
        let mut cells: Vec<Option<f64>> = Vec::with_capacity(span * self.height);
        for row in 0..self.height {
            cells.extend_from_slice(&self.light[row * self.width + from..row * self.width + to]);
        }
        let used = cells.iter().flatten().count();
        if (used as f64) < MIN_USABLE * cells.len() as f64 {
            return None;
        }
        for _ in 0..ROUNDS {
            for row in 0..self.height {
                centre(&mut cells, row * span..(row + 1) * span, 1);
            }
            for column in 0..span {
                centre(&mut cells, column..self.height * span, span);
            }
        }
        Some((cells.iter().flatten().map(|v| v * v).sum::<f64>() / used as f64).sqrt())
    }
}

/// Takes the mean of every `step`-th cell of a range away from these.
fn centre(cells: &mut [Option<f64>], range: std::ops::Range<usize>, step: usize) {
    let (mut sum, mut n) = (0.0, 0.0);
    for value in cells[range.clone()].iter().step_by(step).flatten() {
        sum += value;
        n += 1.0;
    }
    if n > 0.0 {
        for value in cells[range].iter_mut().step_by(step).flatten() {
            *value -= sum / n;
        }
    }
}

/// Gaussian smoothing of `lines` lines of `length` cells; `next` leads along a line, `line` to the next one.
/// Edges repeat the outermost value.
fn smooth(plane: &[f64], length: usize, lines: usize, sigma: f64, next: usize, line: usize) -> Vec<f64> {
    let radius = (3.0 * sigma).ceil() as usize;
    let half: Vec<f64> = (0..=radius).map(|i| exp(-0.5 * (i as f64 / sigma) * (i as f64 / sigma))).collect();
    let total = half[0] + 2.0 * half[1..].iter().sum::<f64>();
    let mut out = vec![0.0; plane.len()];
    for l in 0..lines {
        let at = |i: usize| plane[l * line + i.min(length - 1) * next];
        for i in 0..length {
            let mut sum = half[0] * at(i);
            for (k, weight) in half.iter().enumerate().skip(1) {
                sum += weight * (at(i.saturating_sub(k)) + at(i + k));
            }
            out[l * line + i * next] = sum / total;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]

    use super::*;

    /// A band of 50 × 6 mm at 8 px/mm whose light is `light(x, d)` in mm.
    fn band(light: impl Fn(f64, f64) -> f64) -> Strip {
        let (w, h, s) = (400, 48, 8.0);
        let luminance = (0..w * h).map(|i| light((i % w) as f64 / s, (i / w) as f64 / s) as f32).collect();
        Strip::new(w, h, luminance, s).unwrap()
    }

    /// Ridges along the end under a bright spot, fading inward: a product of profiles.
    fn straight(x: f64, d: f64) -> f64 {
        let ridges = 1.0 + 0.6 * casebook::elementary::sin(std::f64::consts::TAU * x / 1.1);
        let spot = 0.2 + exp(-0.5 * (x - 20.0) * (x - 20.0) / 36.0);
        0.4 * ridges * spot * (1.0 - 0.08 * d)
    }

    #[test]
    fn light_on_a_straight_seal_leaves_nothing() {
        let read = UnevenLight::of(&band(straight)).unwrap();
        assert!(exp(read.value) < 0.03, "{read:?}");
    }

    #[test]
    fn dents_show_whatever_the_gain_and_however_deep_the_ridges() {
        let dents = |x: f64, d: f64| {
            1.0 + 0.3 * casebook::elementary::sin(x / 1.6) * casebook::elementary::sin(d * 1.1 + x / 3.0)
        };
        let dented = UnevenLight::of(&band(|x, d| straight(x, d) * dents(x, d))).unwrap();
        assert!(exp(dented.value) > 0.06, "{dented:?}");
        let bright = UnevenLight::of(&band(|x, d| 2.0 * straight(x, d) * dents(x, d))).unwrap();
        assert!((bright.value - dented.value).abs() < 0.05, "{bright:?} {dented:?}");
    }

    #[test]
    fn one_crease_is_handling() {
        let creased = |x: f64, d: f64| if (x - 30.0 - 0.7 * d).abs() < 0.3 { 3.0 } else { 1.0 };
        let read = UnevenLight::of(&band(|x, d| straight(x, d) * creased(x, d))).unwrap();
        assert!(exp(read.value) < 0.04, "{read:?}");
    }

    #[test]
    fn a_band_of_which_little_is_usable_says_nothing() {
        let mut hidden = band(straight);
        for (at, usable) in hidden.usable.iter_mut().enumerate() {
            *usable = at % 400 < 70;
        }
        assert_eq!(UnevenLight::of(&hidden), None);
        assert_eq!(UnevenLight::of(&Strip::new(3, 2, vec![0.5; 6], 8.0).unwrap()), None);
    }
}
