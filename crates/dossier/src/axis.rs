//! Axes: round tick values, and the place of a value in per cent of a drawing.
//!
//! In: a range. Out: ticks and places. Never here: what is drawn.

use casebook::elementary::{exp10, log10};

use crate::number::fixed;

/// A linear axis over `low..high`, laid between two places.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// An axis whose `low` lies at `from` and `high` at `to`. An empty or broken range is widened
    /// so that every place is finite.
    pub(crate) fn new(low: f64, high: f64, from: f64, to: f64) -> Self {
        let (low, high) =
            if low.is_finite() && high.is_finite() { (low.min(high), low.max(high)) } else { (0.0, 1.0) };
        let span = high - low;
        // A span below this share of the values would be lost in rounding.
        let least = 1e-9 * low.abs().max(high.abs()).max(1e-3);
        let (low, high) = if span > least { (low, high) } else { (low - 0.5 - least, high + 0.5 + least) };
        Self { low, high, from, to }
    }

    /// Where a value lies. Values outside the range lie outside the axis.
    pub(crate) fn place(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// [`Axis::place`], held to the axis.
    pub(crate) fn held(&self, value: f64) -> f64 {
        self.place(value.clamp(self.low, self.high))
    }

    /// Whether a value lies on the axis.
    pub(crate) fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// At most about `most` round values (1, 2 or 5 times a power of ten) with their text.
    pub(crate) fn ticks(&self, most: u32) -> Vec<(f64, String)> {
        let rough = (self.high - self.low) / f64::from(most.max(1));
        let power = exp10(log10(rough).floor());
        let step = [1.0, 2.0, 5.0]
            .map(|m| m * power)
            .into_iter()
            .find(|s| *s >= rough * 0.999)
            .unwrap_or(10.0 * power);
        let decimals = if step < 0.999 { (-log10(step * 1.001)).ceil().clamp(0.0, 8.0) as usize } else { 0 };
        let first = (self.low / step - 1e-9).ceil();
        let last = (self.high / step + 1e-9).floor();
        let count = (last - first).clamp(0.0, 100.0) as u32;
        (0..=count)
            .map(|index| (first + f64::from(index)) * step)
            .filter(|value| self.place(*value).is_finite() && *value <= self.high + step * 1e-6)
            .map(|value| (value, fixed(value, decimals)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let rows: [(f64, f64, u32, &[&str]); 5] = [
            (0.0, 60.0, 6, &["0", "10", "20", "30", "40", "50", "60"]),
            (0.0, 1.0, 5, &["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]),
            (-0.03, 0.04, 4, &["−0.02", "0.00", "0.02", "0.04"]),
            (5.0, 5.0, 2, &["4.5", "5.0", "5.5"]),
            (f64::NAN, 3.0, 2, &["0.0", "0.5", "1.0"]),
        ];
        for (low, high, most, expected) in rows {
            let got: Vec<String> =
                Axis::new(low, high, 0.0, 100.0).ticks(most).into_iter().map(|(_, t)| t).collect();
            assert_eq!(got, expected, "{low}..{high}");
        }
    }

    #[test]
    fn places_are_finite_for_any_range() {
        for (low, high) in [(0.0, 0.0), (1e300, -1e300), (f64::INFINITY, 1.0), (1e-300, 2e-300)] {
            let axis = Axis::new(low, high, 0.0, 100.0);
            assert!(axis.held(0.5).is_finite(), "{low}..{high}");
            assert!(axis.ticks(5).len() < 102);
        }
    }
}
