//! A face at one resolution, cut into blocks that can be found again to a fraction of a pixel.
//!
//! In: a reference picture, a photo and a rough map. Out: for each block a [`Reading`]: how far off
//! it lies, how certainly, and how well it agrees. Never here: what the readings add up to.
//!
//! Each block is fitted on its own: `photo = gain · reference(x + shift) + offset`, linear in gain,
//! offset and gain · shift by the reference's gradient. That is the inverse-compositional step of
//! [`baker-matthews2004`] for the criterion of [`evangelidis2008`] (correlation, blind to gain and
//! offset), a block at a time, so that neither a lamp's slope nor a patch of glare reaches the others.

use casebook::elementary::ln;
use photo::Plane;

use crate::grey::{Grey, Seen};
use crate::homography::{Homography, Point};

/// Blocks along a face's shorter side.
const BLOCKS_ACROSS: f64 = 10.0;
/// Least share of a block's pixels that must be usable.
const MIN_USABLE: f64 = 0.6;
/// Least spread of the reference's tone in a block (0 to 1): below it there is no print to find.
const MIN_SPREAD: f32 = 0.02;
/// Pixels per independent observation: neighbours are alike after smoothing.
const PIXELS_PER_OBSERVATION: f64 = 9.0;
/// Squared correlation from which a block counts as showing the same print. With the 40 or so
/// independent observations of a block and three fitted numbers, chance exceeds it once in 1,000 (Beta
/// distribution with 3/2 and 18 degrees of freedom).
pub(crate) const AGREES: f64 = 0.35;
/// Largest shift that the linear model can read, pixels.
const MAX_SHIFT: f64 = 2.5;

/// Tone of a face: luma of the codes, close to what an eye sees; linear light is for the examiners.
#[derive(Debug, Clone)]
pub(crate) struct Template {
    pub(crate) px_per_mm: f64,
    tone: Plane<f32>,
    slope_x: Vec<f32>,
    slope_y: Vec<f32>,
    blocks: Vec<BlockAt>,
}

#[derive(Debug, Clone)]
struct BlockAt {
    x: usize,
    y: usize,
    width: usize,
    height: usize,
    printed: bool,
}

/// What one block says.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    /// Centre on the face, mm.
    pub(crate) at_mm: Point,
    /// The photo shows at `at_mm` what the reference has at `at_mm + shift_mm`.
    pub(crate) shift_mm: Point,
    /// Covariance of the shift from the block's own residuals, mm²: xx, xy, yy.
    pub(crate) covariance_mm2: [f64; 3],
    /// Squared correlation with the shifted reference, 0 where the gain is negative.
    pub(crate) agreement: f64,
    /// ½ n ln(1 / (1 − R²)): how much better than chance the block fits, in nats.
    pub(crate) gain_nats: f64,
}

/// Smooths by a 3 × 3 binomial.
fn smoothed(mut t: Plane<f32>) -> Plane<f32> {
    let (w, h) = (t.width(), t.height());
    if w < 3 || h < 3 {
        return t;
    }
    for y in 0..h {
        let row = t.row_mut(y);
        let mut before = row[0];
        for x in 0..w {
            let (v, after) = (row[x], row[(x + 1).min(w - 1)]);
            row[x] = 0.25 * before + 0.5 * v + 0.25 * after;
            before = v;
        }
    }
    let mut before = t.row(0).to_vec();
    for y in 0..h {
        let row = t.row(y).to_vec();
        let after = t.row((y + 1).min(h - 1)).to_vec();
        for (x, v) in t.row_mut(y).iter_mut().enumerate() {
            *v = 0.25 * before[x] + 0.5 * row[x] + 0.25 * after[x];
        }
        before = row;
    }
    t
}

impl Template {
    /// A face's reference at a resolution.
    pub(crate) fn new(raster: &Grey, mm_to_px: &Homography, size_mm: (f64, f64), px_per_mm: f64) -> Self {
        Self::laid_out(smoothed(raster.warp(mm_to_px, size_mm, px_per_mm).tone), size_mm, px_per_mm)
    }

    /// From a tone that was kept; nothing when it is not that of a face of this size.
    pub(crate) fn of_tone(tone: Plane<f32>, size_mm: (f64, f64), px_per_mm: f64) -> Option<Self> {
        let fits = |px: usize, mm: f64| ((mm * px_per_mm).round().max(1.0) - px as f64).abs() < 0.5;
        (fits(tone.width(), size_mm.0) && fits(tone.height(), size_mm.1))
            .then(|| Self::laid_out(tone, size_mm, px_per_mm))
    }

    /// The smoothed tone.
    pub(crate) fn tone(&self) -> &Plane<f32> {
        &self.tone
    }

    fn laid_out(tone: Plane<f32>, size_mm: (f64, f64), px_per_mm: f64) -> Self {
        let (w, h) = (tone.width(), tone.height());
        let (mut slope_x, mut slope_y) = (vec![0.0; w * h], vec![0.0; w * h]);
        for y in 1..h.saturating_sub(1) {
            for x in 1..w.saturating_sub(1) {
                let at = y * w + x;
                slope_x[at] = (tone.data()[at + 1] - tone.data()[at - 1]) / 2.0;
                slope_y[at] = (tone.data()[at + w] - tone.data()[at - w]) / 2.0;
            }
        }
        let side = (size_mm.0.min(size_mm.1) / BLOCKS_ACROSS * px_per_mm).max(8.0);
        let (columns, rows) =
            ((w as f64 / side).round().max(1.0) as usize, (h as f64 / side).round().max(1.0) as usize);
        let mut blocks = Vec::with_capacity(columns * rows);
        for j in 0..rows {
            for i in 0..columns {
                let (x, y) = ((i * w / columns).max(1), (j * h / rows).max(1));
                let (x1, y1) =
                    (((i + 1) * w / columns).min(w.max(1) - 1), ((j + 1) * h / rows).min(h.max(1) - 1));
                let (width, height) = (x1.saturating_sub(x), y1.saturating_sub(y));
                let printed = spread(&tone, x, y, width, height) > MIN_SPREAD;
                blocks.push(BlockAt { x, y, width, height, printed });
            }
        }
        Self { px_per_mm, tone, slope_x, slope_y, blocks }
    }

    /// Reads every printed block that the photo shows usably.
    pub(crate) fn read(&self, photo: &Grey, map: &Homography) -> Vec<Reading> {
        let (w, h) = (self.tone.width(), self.tone.height());
        let Seen { tone, usable } =
            photo.warp(map, (w as f64 / self.px_per_mm, h as f64 / self.px_per_mm), self.px_per_mm);
        let seen = smoothed(tone);
        self.blocks.iter().filter(|b| b.printed).filter_map(|b| self.fit(b, &seen, &usable)).collect()
    }

    /// The linear fit of one block.
    fn fit(&self, b: &BlockAt, seen: &Plane<f32>, usable: &Plane<bool>) -> Option<Reading> {
        let width = self.tone.width();
        // Sums of products of (reference, slope x, slope y, photo), and their means.
        let mut sums = [0.0f64; 4];
        let mut products = [[0.0f64; 4]; 4];
        let mut n = 0usize;
        for y in b.y..b.y + b.height {
            let (usable, row) = (usable.row(y), seen.row(y));
            let (mut s, mut p) = ([0.0f32; 4], [[0.0f32; 4]; 4]);
            for x in b.x..b.x + b.width {
                if !usable[x] {
                    continue;
                }
                let at = y * width + x;
                let v = [self.tone.data()[at], self.slope_x[at], self.slope_y[at], row[x]];
                n += 1;
                for i in 0..4 {
                    s[i] += v[i];
                    for j in i..4 {
                        p[i][j] += v[i] * v[j];
                    }
                }
            }
            for i in 0..4 {
                sums[i] += f64::from(s[i]);
                for j in i..4 {
                    products[i][j] += f64::from(p[i][j]);
                }
            }
        }
        let all = b.width * b.height;
        if all == 0 || (n as f64) < MIN_USABLE * all as f64 || n < 30 {
            return None;
        }
        let c = |i: usize, j: usize| products[i.min(j)][i.max(j)] - sums[i] * sums[j] / n as f64;
        let total = c(3, 3).max(0.0);
        let observations = (n as f64 / PIXELS_PER_OBSERVATION).max(5.0);
        let at_mm = [
            (b.x as f64 + b.width as f64 / 2.0) / self.px_per_mm,
            (b.y as f64 + b.height as f64 / 2.0) / self.px_per_mm,
        ];
        let nothing = Reading {
            at_mm,
            shift_mm: [0.0; 2],
            covariance_mm2: [1e6, 0.0, 1e6],
            agreement: 0.0,
            gain_nats: 0.0,
        };
        // A view without any tone of its own (covered, or burnt out below the clip) disagrees.
        if total <= n as f64 * 1e-6 {
            return Some(nothing);
        }
        let m = nalgebra::Matrix3::new(
            c(0, 0),
            c(0, 1),
            c(0, 2),
            c(0, 1),
            c(1, 1),
            c(1, 2),
            c(0, 2),
            c(1, 2),
            c(2, 2),
        );
        // A small ridge keeps a block of stripes from claiming to know both directions.
        let ridge =
            nalgebra::Matrix3::from_diagonal(&nalgebra::Vector3::new(0.0, 1.0, 1.0)) * (n as f64 * 1e-6);
        let right = nalgebra::Vector3::new(c(0, 3), c(1, 3), c(2, 3));
        let inverse = (m + ridge).try_inverse()?;
        let k = inverse * right;
        if k[0] <= 1e-3 {
            return Some(nothing);
        }
        let explained = (k.dot(&right) / total).clamp(0.0, 0.999_999);
        let shift = [k[1] / k[0], k[2] / k[0]];
        if shift.iter().any(|s| s.abs() > MAX_SHIFT) {
            return Some(nothing);
        }
        let noise = total * (1.0 - explained) / n as f64 * (n as f64 / observations);
        let scale = noise / (k[0] * k[0]) / (self.px_per_mm * self.px_per_mm);
        Some(Reading {
            at_mm,
            shift_mm: [shift[0] / self.px_per_mm, shift[1] / self.px_per_mm],
            covariance_mm2: [inverse[(1, 1)] * scale, inverse[(1, 2)] * scale, inverse[(2, 2)] * scale],
            agreement: explained,
            gain_nats: -0.5 * observations * ln(1.0 - explained),
        })
    }
}

/// Standard deviation of the tone in a block.
fn spread(tone: &Plane<f32>, x: usize, y: usize, width: usize, height: usize) -> f32 {
    let n = (width * height).max(1) as f32;
    let (mut sum, mut squares) = (0.0f32, 0.0f32);
    for row in y..y + height {
        for v in &tone.row(row)[x..x + width] {
            sum += v;
            squares += v * v;
        }
    }
    (squares / n - (sum / n) * (sum / n)).max(0.0).sqrt()
}

/// Blocks that agree, all blocks read, and the summed gain of those that agree.
pub(crate) fn tally(readings: &[Reading]) -> (usize, usize, f64) {
    let agreeing = readings.iter().filter(|r| r.agreement >= AGREES);
    let (count, gain) = agreeing.fold((0, 0.0), |(n, g), r| (n + 1, g + r.gain_nats));
    (count, readings.len(), gain)
}
