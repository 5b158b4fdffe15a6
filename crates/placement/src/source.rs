//! Reading a photo as linear light, a small part at a time.
//!
//! In: a [`Photo`] and a quadrilateral of pixels. Out: a [`Block`] of linear values, averaged over
//! whole blocks of pixels where asked, with bilinear samples. Never here: millimetres.

use photo::Photo;

use crate::homography::Point;

/// Most values of one block: a tile's part of the photo above it is treated as unseen.
const MAX_BLOCK_PIXELS: usize = 16_000_000;

/// From this share of the top code on a sample counts as clipped, as in `photo`'s sampling.
const CLIP_SHARE: f64 = 254.0 / 255.0;

/// A photo to read from: 8-bit codes go through three tables, others through the photo itself.
pub(crate) struct Source<'a> {
    photo: &'a Photo,
    width: usize,
    height: usize,
    codes: Option<&'a [u8]>,
    light: [[f32; 256]; 3],
    to_working: [[f32; 3]; 3],
}

impl<'a> Source<'a> {
    pub(crate) fn of(photo: &'a Photo) -> Self {
        let encoding = photo.encoding();
        let mut light = [[0.0; 256]; 3];
        for (table, transfer) in light.iter_mut().zip(encoding.transfer()) {
            for (code, v) in table.iter_mut().enumerate() {
                *v = transfer.to_linear(code as f64 / 255.0) as f32;
            }
        }
        let codes = photo.codes8();
        let identity = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        let to_working = match codes {
            Some(_) => encoding.to_rec709().0.map(|row| row.map(|v| v as f32)),
            None => identity,
        };
        Self { photo, width: photo.width(), height: photo.height(), codes, light, to_working }
    }

    /// From the values that a block holds to the working space.
    #[inline(always)]
    pub(crate) fn working(&self, v: [f32; 3]) -> [f32; 3] {
        self.to_working.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
    }

    /// Adds the linear values of `row[x0..x1]` of the photo to sums over `step` columns each; the
    /// fourth sum counts clipped pixels.
    #[inline(always)]
    fn add_row(&self, y: usize, x0: usize, x1: usize, step: usize, sums: &mut [[f32; 4]]) {
        match self.codes {
            Some(codes) => {
                let row = &codes[(y * self.width + x0) * 3..(y * self.width + x1) * 3];
                let [red, green, blue] = &self.light;
                for (s, pixels) in sums.iter_mut().zip(row.chunks(3 * step)) {
                    for c in pixels.chunks_exact(3) {
                        s[0] += red[usize::from(c[0])];
                        s[1] += green[usize::from(c[1])];
                        s[2] += blue[usize::from(c[2])];
                        s[3] += f32::from(u8::from(c[0].max(c[1]).max(c[2]) >= 254));
                    }
                }
            }
            None => {
                let top = f64::from(self.photo.codes().max_code()) * CLIP_SHARE;
                for x in x0..x1 {
                    let v = self.photo.linear_at(x, y).unwrap_or_default();
                    let s = &mut sums[(x - x0) / step];
                    for k in 0..3 {
                        s[k] += v[k];
                    }
                    if let photo::Codes::Sixteen(codes) = self.photo.codes() {
                        let at = 3 * (y * self.width + x);
                        let clipped = codes[at..at + 3].iter().any(|c| f64::from(*c) >= top);
                        s[3] += f32::from(u8::from(clipped));
                    }
                }
            }
        }
    }
}

/// A rectangle of a photo in linear light: red, green, blue (of the file's primaries), clipped share.
#[derive(Default)]
pub(crate) struct Block {
    values: Vec<[f32; 4]>,
    width: usize,
    height: usize,
    /// First block column and row.
    first: (usize, usize),
    step: usize,
    /// The frame's outer edges in pixels.
    frame: (f64, f64),
}

impl Block {
    /// Loads what bilinear samples inside the quadrilateral need; `false` when it is outside the frame.
    pub(crate) fn load(&mut self, source: &Source<'_>, quad: &[Point; 4], step: usize) -> bool {
        let low = |k: usize| quad.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
        let high = |k: usize| quad.iter().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
        let side = [source.width, source.height];
        let mut range = [(0usize, 0usize); 2];
        for k in 0..2 {
            let blocks = side[k].div_ceil(step);
            // Block b is centred on pixel b · step + (step − 1) / 2.
            let to_block = |v: f64| (v - (step as f64 - 1.0) / 2.0) / step as f64;
            let (a, b) = (to_block(low(k)).floor() - 1.0, to_block(high(k)).ceil() + 1.0);
            if !(a.is_finite() && b.is_finite()) || b < 0.0 || a > blocks as f64 - 1.0 {
                return false;
            }
            range[k] = (a.max(0.0) as usize, (b as usize).min(blocks - 1) + 1);
        }
        let [(bx0, bx1), (by0, by1)] = range;
        (self.width, self.height) = (bx1 - bx0, by1 - by0);
        if self.width * self.height > MAX_BLOCK_PIXELS {
            return false;
        }
        self.first = (bx0, by0);
        self.step = step;
        self.frame = (source.width as f64 - 0.5, source.height as f64 - 0.5);
        self.values.clear();
        self.values.resize(self.width * self.height, [0.0; 4]);
        let (x0, x1) = (bx0 * step, (bx1 * step).min(source.width));
        for (j, sums) in self.values.chunks_exact_mut(self.width).enumerate() {
            let y0 = (by0 + j) * step;
            let rows = y0..(y0 + step).min(source.height);
            let tall = rows.len();
            for y in rows {
                source.add_row(y, x0, x1, step, sums);
            }
            if step > 1 {
                for (i, s) in sums.iter_mut().enumerate() {
                    let wide = step.min(x1 - (x0 + i * step));
                    *s = s.map(|v| v / (wide * tall) as f32);
                }
            }
        }
        true
    }

    /// The value at a photo pixel (fractional), bilinear; nothing outside the frame's outer edges.
    #[inline(always)]
    pub(crate) fn sample(&self, x: f64, y: f64) -> Option<[f32; 4]> {
        // Written so that a NaN is outside.
        if !(x >= -0.5 && y >= -0.5 && x <= self.frame.0 && y <= self.frame.1) {
            return None;
        }
        let shift = (self.step as f64 - 1.0) / 2.0;
        let scale = 1.0 / self.step as f64;
        let u = ((x - shift) * scale - self.first.0 as f64).clamp(0.0, (self.width - 1) as f64);
        let v = ((y - shift) * scale - self.first.1 as f64).clamp(0.0, (self.height - 1) as f64);
        let (i, j) = (u as usize, v as usize);
        let (fx, fy) = ((u - i as f64) as f32, (v - j as f64) as f32);
        let (i1, j1) = ((i + 1).min(self.width - 1), (j + 1).min(self.height - 1));
        let (a, b) = (self.values[j * self.width + i], self.values[j * self.width + i1]);
        let (c, d) = (self.values[j1 * self.width + i], self.values[j1 * self.width + i1]);
        let mut out = [0.0f32; 4];
        for k in 0..4 {
            let top = a[k] + (b[k] - a[k]) * fx;
            let bottom = c[k] + (d[k] - c[k]) * fx;
            out[k] = top + (bottom - top) * fy;
        }
        Some(out)
    }
}
