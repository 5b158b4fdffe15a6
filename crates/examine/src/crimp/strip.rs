//! A strip of one end of a pack, flat, in linear light, with what may be used of it.
//!
//! In: samples. Out: [`Strip`], its relative modulation and its parts. Never here: where the strip
//! came from, ridges, a verdict.
//!
//! Frame of a strip: `x` along the end, millimetres from the face's left edge; `d` inward from the
//! nominal cut edge, millimetres, so that the bottom end is turned over and both ends read alike.
//! Row 0 lies outermost. Sample (column, row) sits at `x = x0 + column / px_per_mm`,
//! `d = d0 + row / px_per_mm`.

/// Half-width in mm of the neighbourhood whose mean a sample is compared with. A local mean must
/// span at least two ridges of the coarsest pitch that is searched and stay below the size of a
/// flattened patch; 1.6 mm gives a window of 3.2 mm, applied twice.
pub const LOCAL_MEAN_HALF_MM: f64 = 1.6;

/// A rectified strip with square samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Columns, along the end.
    pub width: usize,
    /// Rows, inward.
    pub height: usize,
    /// Linear luminance, 1 is the file's white; row-major.
    pub luminance: Vec<f32>,
    /// Whether a sample may be used: inside the photo, on the item, no glare, not covered.
    pub usable: Vec<bool>,
    /// Samples per millimetre, the same both ways.
    pub px_per_mm: f64,
    /// Place of column 0, mm.
    pub x0_mm: f64,
    /// Place of row 0, mm.
    pub d0_mm: f64,
}

impl Strip {
    /// A strip from its samples, all usable, with its first sample at (0, 0) mm.
    ///
    /// `None` when the sizes do not fit, are zero, or the scale is not a positive number.
    #[must_use]
    pub fn new(width: usize, height: usize, luminance: Vec<f32>, px_per_mm: f64) -> Option<Self> {
        let area = width.checked_mul(height)?;
        if area == 0 || luminance.len() != area || !(px_per_mm.is_finite() && px_per_mm > 0.0) {
            return None;
        }
        let usable = luminance.iter().map(|v| v.is_finite()).collect();
        Some(Self { width, height, luminance, usable, px_per_mm, x0_mm: 0.0, d0_mm: 0.0 })
    }

    /// Place of a column along the end, mm.
    #[must_use]
    pub fn x_mm(&self, column: f64) -> f64 {
        self.x0_mm + column / self.px_per_mm
    }

    /// Place of a row inward, mm.
    #[must_use]
    pub fn d_mm(&self, row: f64) -> f64 {
        self.d0_mm + row / self.px_per_mm
    }

    /// Share of the samples that may be used.
    #[must_use]
    pub fn usable_share(&self) -> f64 {
        let used = self.usable.iter().filter(|u| **u).count();
        used as f64 / self.usable.len().max(1) as f64
    }

    /// The part between two places, cut at whole samples; `None` when nothing is left.
    #[must_use]
    pub fn part(&self, x_mm: (f64, f64), d_mm: (f64, f64)) -> Option<Self> {
        let span = |from: f64, to: f64, origin: f64, count: usize| {
            let first = ((from - origin) * self.px_per_mm).ceil().max(0.0) as usize;
            let end = ((to - origin) * self.px_per_mm).floor() + 1.0;
            let end = (end.max(0.0) as usize).min(count);
            (first < end).then_some((first, end))
        };
        let (left, right) = span(x_mm.0, x_mm.1, self.x0_mm, self.width)?;
        let (top, bottom) = span(d_mm.0, d_mm.1, self.d0_mm, self.height)?;
        let mut luminance = Vec::new();
        let mut usable = Vec::new();
        for row in top..bottom {
            let at = row * self.width;
            luminance.extend_from_slice(&self.luminance[at + left..at + right]);
            usable.extend_from_slice(&self.usable[at + left..at + right]);
        }
        Some(Self {
            width: right - left,
            height: bottom - top,
            luminance,
            usable,
            px_per_mm: self.px_per_mm,
            x0_mm: self.x_mm(left as f64),
            d0_mm: self.d_mm(top as f64),
        })
    }

    /// Relative modulation: how much brighter each sample is than its surroundings,
    /// `(L − m) / (L + m)` with `m` the mean of the usable surroundings (see [`LOCAL_MEAN_HALF_MM`]).
    ///
    /// Between −1 and 1, 0 where nothing can be used, and the same under any smooth gain: the form
    /// keeps a single glint from outshouting every ridge.
    #[must_use]
    pub fn relative(&self) -> Vec<f32> {
        let mean = self.local_mean();
        let pairs = self.luminance.iter().zip(&mean).zip(&self.usable);
        pairs.map(|((l, m), used)| if *used && l + m > 0.0 { (l - m) / (l + m) } else { 0.0 }).collect()
    }

    /// Mean of the usable surroundings of every sample, 0 where there are none.
    #[must_use]
    pub fn local_mean(&self) -> Vec<f32> {
        let half = ((LOCAL_MEAN_HALF_MM * self.px_per_mm) as usize).max(2);
        let value: Vec<f64> = self
            .luminance
            .iter()
            .zip(&self.usable)
            .map(|(l, u)| if *u { f64::from(*l) } else { 0.0 })
            .collect();
        let weight: Vec<f64> = self.usable.iter().map(|u| if *u { 1.0 } else { 0.0 }).collect();
        let blur = |data: Vec<f64>| {
            let once = box_sum(&data, self.width, self.height, half / 2);
            box_sum(&once, self.width, self.height, half.div_ceil(2))
        };
        let (value, weight) = (blur(value), blur(weight));
        value.iter().zip(&weight).map(|(v, w)| if *w > 0.5 { (v / w) as f32 } else { 0.0 }).collect()
    }
}

/// Sum over a square of `2 × half + 1` samples, cut at the borders, both ways.
fn box_sum(data: &[f64], width: usize, height: usize, half: usize) -> Vec<f64> {
    let mut across = vec![0.0; data.len()];
    for row in 0..height {
        let line = &data[row * width..(row + 1) * width];
        running_sum(line, &mut across[row * width..(row + 1) * width], half);
    }
    let mut out = vec![0.0; data.len()];
    // Row by row with one running sum a column, so that memory is walked in its own order.
    let mut sum = vec![0.0; width];
    let add = |sum: &mut [f64], row: usize, sign: f64| {
        for (s, v) in sum.iter_mut().zip(&across[row * width..(row + 1) * width]) {
            *s += sign * v;
        }
    };
    for row in 0..half.min(height) {
        add(&mut sum, row, 1.0);
    }
    for row in 0..height {
        if row + half < height {
            add(&mut sum, row + half, 1.0);
        }
        if row > half {
            add(&mut sum, row - half - 1, -1.0);
        }
        out[row * width..(row + 1) * width].copy_from_slice(&sum);
    }
    out
}

fn running_sum(line: &[f64], out: &mut [f64], half: usize) {
    let mut sum: f64 = line.iter().take(half).sum();
    for (at, slot) in out.iter_mut().enumerate() {
        if let Some(entering) = line.get(at + half) {
            sum += entering;
        }
        if at > half {
            sum -= line[at - half - 1];
        }
        *slot = sum;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn box_sum_counts_the_neighbours_there_are() {
        let ones = vec![1.0; 5 * 4];
        let sums = box_sum(&ones, 5, 4, 1);
        assert_eq!(&sums[..5], &[4.0, 6.0, 6.0, 6.0, 4.0]);
        assert_eq!(&sums[5..10], &[6.0, 9.0, 9.0, 9.0, 6.0]);
        assert_eq!(box_sum(&ones, 5, 4, 9), vec![20.0; 20]);
    }

    #[test]
    fn a_part_keeps_its_place() {
        let strip = Strip::new(40, 20, (0..800).map(|v| v as f32).collect(), 4.0).unwrap();
        let part = strip.part((2.0, 5.0), (1.0, 3.0)).unwrap();
        assert_eq!((part.width, part.height), (13, 9));
        assert_eq!((part.x0_mm, part.d0_mm), (2.0, 1.0));
        assert_eq!(part.luminance[0], strip.luminance[4 * 40 + 8]);
        assert!(strip.part((20.0, 30.0), (0.0, 1.0)).is_none());
    }
}
