//! Smaller versions of a photo by area averaging.
//!
//! In: a photo and a size. Out: planes, and the scale that leads back to the photo. Never here:
//! enlarging, sharpening, geometry beyond the scale.
//!
//! A place (x, y) of the reduction lies at ((x + 0.5)·scale − 0.5, likewise y) in the photo.

use rayon::prelude::*;

use crate::photo::{Codes, Photo};
use crate::plane::Plane;

/// Weights of red, green and blue codes in luma. Source: `itu-bt709`, 3.2.
const LUMA: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Output rows that one task works on.
const ROWS: usize = 16;

impl Photo {
    /// A small grey version for finding things: luma of the **codes** (not light), 0 to 1.
    ///
    /// # Input
    /// `long_side`: length of the result's longer side in pixels, at least 1.
    ///
    /// # Result
    /// The plane and its scale in photo pixels per plane pixel, at least 1: a photo that is smaller
    /// already is not enlarged. Each value is the mean over exactly scale × scale photo pixels; what
    /// is left over at the right and bottom edges, under one plane pixel, is dropped.
    #[must_use]
    pub fn small_luma(&self, long_side: usize) -> (Plane<f32>, f64) {
        let long = self.width.max(self.height) as f64;
        let scale = (long / long_side.max(1) as f64).max(1.0);
        let columns = Spans::new(self.width, scale);
        let rows = Spans::new(self.height, scale);
        let mut out = vec![0.0_f32; columns.spans.len() * rows.spans.len()];
        match &self.codes {
            Codes::Eight(codes) => luma_rows(codes, self.width, &columns, &rows, 255.0, &mut out),
            Codes::Sixteen(codes) => luma_rows(codes, self.width, &columns, &rows, 65_535.0, &mut out),
        }
        let plane = Plane::from_vec(columns.spans.len(), rows.spans.len(), out);
        (plane.unwrap_or_else(|| Plane::filled(0, 0, 0.0)), scale)
    }

    /// Linear Rec. 709 light averaged over `factor` × `factor` pixels: red, green, blue planes.
    ///
    /// # Input
    /// `factor`: 1 or more; 0 is taken as 1. What is left over at the right and bottom is dropped.
    ///
    /// # Result
    /// Planes of ⌊width / factor⌋ × ⌊height / factor⌋; empty when the factor is larger than a side.
    #[must_use]
    pub fn reduced_linear(&self, factor: usize) -> [Plane<f32>; 3] {
        let factor = factor.max(1);
        let (w, h) = (self.width / factor, self.height / factor);
        let mut pixels = vec![[0.0_f32; 3]; w * h];
        match &self.codes {
            Codes::Eight(codes) => self.light_sums(codes, factor, &mut pixels),
            Codes::Sixteen(codes) => self.light_sums(codes, factor, &mut pixels),
        }
        [0, 1, 2].map(|c| {
            let data = pixels.iter().map(|p| p[c]).collect();
            Plane::from_vec(w, h, data).unwrap_or_else(|| Plane::filled(0, 0, 0.0))
        })
    }
}

impl Photo {
    fn light_sums<T: Copy + Into<usize> + Sync>(&self, codes: &[T], factor: usize, out: &mut [[f32; 3]]) {
        let share = 1.0 / (factor * factor) as f32;
        let [r, g, b] = &self.tables.light;
        let w = (self.width / factor).max(1);
        out.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            for line in y * factor..(y + 1) * factor {
                let line = &codes[3 * line * self.width..3 * (line + 1) * self.width];
                for (sum, pixels) in row.iter_mut().zip(line.chunks_exact(3 * factor)) {
                    for p in pixels.as_chunks::<3>().0 {
                        sum[0] += r[p[0].into()];
                        sum[1] += g[p[1].into()];
                        sum[2] += b[p[2].into()];
                    }
                }
            }
            for sum in row.iter_mut() {
                *sum = self.tables.to_rec709(sum.map(|v| v * share));
            }
        });
    }
}

/// For each output place the input places it covers: first, last (included), and the shares of the
/// two; those in between count whole.
struct Spans {
    spans: Vec<(usize, usize, f32, f32)>,
    /// Input places that one output place covers: the scale, or the whole size where that is less.
    cover: f32,
}

impl Spans {
    fn new(size: usize, scale: f64) -> Self {
        // The small excess keeps a count like 4000 / 2.5 whole when the quotient is rounded down.
        let count = ((size as f64 / scale + 1e-9) as usize).max(1);
        let span = |i: usize| {
            let (start, end) = (i as f64 * scale, ((i + 1) as f64 * scale).min(size as f64));
            let first = (start as usize).min(size - 1);
            let last = (((end - 1e-9).max(start)) as usize).min(size - 1);
            if first == last {
                return (first, last, (end - start) as f32, 0.0);
            }
            let head = (first + 1) as f64 - start;
            let tail = end - last as f64;
            (first, last, head as f32, tail as f32)
        };
        Self { spans: (0..count).map(span).collect(), cover: scale.min(size as f64) as f32 }
    }
}

fn luma_rows<T: Copy + Into<f32> + Sync>(
    codes: &[T],
    width: usize,
    columns: &Spans,
    rows: &Spans,
    top: f32,
    out: &mut [f32],
) {
    let stride = 3 * width;
    let w = columns.spans.len();
    let norm = 1.0 / (top * columns.cover * rows.cover);
    let arch = pulp::Arch::new();
    out.par_chunks_mut(w * ROWS).enumerate().for_each(|(task, out)| {
        let mut sums = vec![0.0_f32; stride];
        let mut luma = vec![0.0_f32; width];
        for (i, out) in out.chunks_mut(w).enumerate() {
            let (first, last, head, tail) = rows.spans[task * ROWS + i];
            let lines = &codes[first * stride..(last + 1) * stride];
            arch.dispatch(LumaOfLines { lines, head, tail, sums: &mut sums, luma: &mut luma });
            for (value, (first, last, head, tail)) in out.iter_mut().zip(&columns.spans) {
                let mut sum = luma[*first] * head;
                if last > first {
                    for l in &luma[first + 1..*last] {
                        sum += l;
                    }
                    sum += luma[*last] * tail;
                }
                *value = sum * norm;
            }
        }
    });
}

/// Adds up lines of codes, the first and last by their shares, and takes the luma of the sums.
struct LumaOfLines<'a, T> {
    lines: &'a [T],
    head: f32,
    tail: f32,
    sums: &'a mut [f32],
    luma: &'a mut [f32],
}

impl<T: Copy + Into<f32>> pulp::NullaryFnOnce for LumaOfLines<'_, T> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let stride = self.sums.len();
        let last = (self.lines.len() / stride).saturating_sub(1);
        for (y, line) in self.lines.chunks_exact(stride).enumerate() {
            match y {
                0 => start_row(self.sums, line, self.head),
                y if y == last => add_row(self.sums, line, self.tail),
                _ => add_row(self.sums, line, 1.0),
            }
        }
        for (l, rgb) in self.luma.iter_mut().zip(self.sums.as_chunks::<3>().0) {
            *l = LUMA[0] * rgb[0] + LUMA[1] * rgb[1] + LUMA[2] * rgb[2];
        }
    }
}

#[inline(always)]
fn start_row<T: Copy + Into<f32>>(sums: &mut [f32], line: &[T], weight: f32) {
    for (s, v) in sums.iter_mut().zip(line) {
        *s = weight * (*v).into();
    }
}

#[inline(always)]
fn add_row<T: Copy + Into<f32>>(sums: &mut [f32], line: &[T], weight: f32) {
    for (s, v) in sums.iter_mut().zip(line) {
        *s += weight * (*v).into();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encoding::Encoding;

    fn ramp(w: usize, h: usize) -> Photo {
        let mut codes = Vec::new();
        for y in 0..h {
            for x in 0..w {
                codes.extend([(40 * x + 11 * y) as u16; 3]);
            }
        }
        Photo::from_codes("ramp", w, h, Codes::Sixteen(codes), Encoding::linear()).unwrap()
    }

    /// The mean of a linear ramp over a square is its value at the square's centre: this fixes both
    /// the weights and the geometry of the scale. A pixel is a square of one value, so at a scale that
    /// is not whole the mean may be off by what the ramp rises over f·(1 − f)/(2·scale) pixels, f the
    /// part of a pixel that is cut: at most an eighth of a pixel over the scale.
    #[test]
    fn a_ramp_keeps_its_place_at_any_scale() {
        let photo = ramp(403, 301);
        for long in [403, 400, 201, 160, 100, 37, 1] {
            let (small, scale) = photo.small_luma(long);
            assert_eq!(small.width(), long);
            for y in 0..small.height() {
                for x in 0..small.width() {
                    let px = (x as f64 + 0.5) * scale - 0.5;
                    let py = (y as f64 + 0.5) * scale - 0.5;
                    let want = (40.0 * px + 11.0 * py) / 65_535.0;
                    let got = f64::from(*small.get(x, y).unwrap());
                    let whole = (scale - scale.round()).abs() < 1e-12;
                    let tolerance = if whole { 2e-6 } else { 51.0 / 8.0 / scale / 65_535.0 + 2e-6 };
                    // The single row of a size-1 reduction is cut at the photo's edge.
                    let tolerance = if long == 1 { 0.02 } else { tolerance };
                    assert!((got - want).abs() < tolerance, "{long}: ({x}, {y}) {got} {want}");
                }
            }
        }
        assert_eq!(photo.small_luma(5000).1, 1.0);
    }

    #[test]
    fn reduced_light_is_the_mean_light() {
        let photo = ramp(40, 31);
        let [r, _, b] = photo.reduced_linear(4);
        assert_eq!((r.width(), r.height()), (10, 7));
        let want = (40.0 * (4.0 * 3.0 + 1.5) + 11.0 * (4.0 * 2.0 + 1.5)) / 65_535.0;
        assert!((f64::from(*b.get(3, 2).unwrap()) - want).abs() < 1e-6);
        assert!(photo.reduced_linear(100)[0].data().is_empty());
    }
}
