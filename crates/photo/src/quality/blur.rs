//! How blurred the edges of a block are, by blurring them once more.
//!
//! In: relative luminance of a block with a margin. Out: the blur of each tile's sharper edges, as the
//! standard deviation of a Gaussian in pixels, with its uncertainty. Never here: the whole photo.
//!
//! A step edge seen through a Gaussian of variance v has the slope 1/√(2πv) at its middle. Blurring
//! once more by a known variance w lowers it to 1/√(2π(v + w)); the ratio R of the two slopes gives
//! v = w / (R² − 1), whatever the contrast. We compare two binomial blurs (variances 1 and 2) instead
//! of the picture and one blur, which costs some sharpness of the reading and buys most of the noise;
//! the first blur and the slope filter are taken off again as variances. Soft edges are read on the
//! picture reduced by 2.
//!
//! What it takes for an edge: slope well above the noise of the tile, highest across the edge, no
//! opposite edge beside it (thin lines read too sharp), neither side clipped.
//! Bias and spread on edges of known blur: `tests/blur_known.rs`.
//!
//! Sources: `zhuo2011` (ratio of slopes after re-blurring).

use super::TILE_PX;

/// Pixels around a block that its edges may draw on.
pub(crate) const MARGIN: usize = 12;
/// Fewest edge pixels that make a reading.
const MIN_EDGES: usize = 12;
/// Most edge pixels of a tile that are kept; more add nothing.
const MAX_EDGES: usize = 1024;
/// An edge's slope is at least this many times the noise's.
const SLOPE_OVER_NOISE: f32 = 8.0;
/// ... and at least this share of the tile's steepest.
const SLOPE_SHARE: f32 = 0.25;
/// Luminance from which a side of an edge counts as clipped: code 253 of 255 in light.
const CLIPPED_LIGHT: f32 = 0.98;
/// Blur in pixels above which the reading is taken from the reduced picture.
const SOFT_PX: f32 = 2.0;
/// Neighbouring edge pixels that tell the same story: they share most of their blur's support.
const RUN: f32 = 8.0;
/// Blur of the pixel's own square, 1/√12: nothing seen through pixels is sharper.
const PIXEL_SIGMA: f32 = 0.288_675_13;
/// Added by the second binomial blur (px²).
const STEP: f32 = 1.0;
/// Taken off again: the first binomial blur (px²).
const FIRST: f32 = 1.0;
/// Variance of the slope filter (x + 1) − (x − 1) along an axis (px²).
const SLOPE: f32 = 1.0 / 3.0;

/// Mean of |picture − first blur| over the noise's standard deviation: √(2/π)·√(1 − 2·k₀ + Σk²) with
/// the binomial's middle weight k₀ = (6/16)² and Σk² = (70/256)².
const RESIDUAL: f32 = 0.711;
/// Variance of the slope after the first blur over that of the noise: 2·(70/256)·(70 − 28)/256.
const SLOPE_NOISE: f32 = 0.0897;

/// How a level's edges are read.
struct How {
    /// Photo pixels a pixel of the level.
    scale: f32,
    /// Variance (photo px²) that reducing the picture added.
    reduction: f32,
    /// Share of a tile's edges that are sharper than the reading: the sharper edges tell of the
    /// camera, the softer ones of the print as well; lower shares follow the noise.
    sharper: f32,
    /// Relative standard uncertainty of the model: edges are not steps, blurs not Gaussian, noise
    /// makes a wide crest look sharper. From the biases that `tests/blur_known.rs` prints.
    model_u: f32,
}

/// The picture as it is: biases within 5 % from 0.7 to 2 px, noise of 1 % of white and JPEG included.
const FINE: How = How { scale: 1.0, reduction: 0.0, sharper: 0.35, model_u: 0.05 };
/// The picture averaged over 2 × 2 pixels (variance 1/4): biases within 3 % without noise; with noise
/// of 1 % of white down to −8 % at 3 px and −17 % at 4 px.
const REDUCED: How = How { scale: 2.0, reduction: 0.25, sharper: 0.5, model_u: 0.10 };

/// A reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Blur {
    pub(crate) sigma: f32,
    pub(crate) u: f32,
}

/// Luminance of a block, [`MARGIN`] pixels wider on each side.
pub(crate) struct Field {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

impl Field {
    /// A black field for a block of `width` × `height` without the margin.
    pub(crate) fn new(width: usize, height: usize) -> Self {
        let (width, height) = (width + 2 * MARGIN, height + 2 * MARGIN);
        Self { width, height, data: vec![0.0; width * height] }
    }

    /// All lines, margins included, top first.
    pub(crate) fn lines_mut(&mut self) -> impl Iterator<Item = &mut [f32]> {
        self.data.chunks_exact_mut(self.width)
    }

    /// Line `y` of the block itself.
    pub(crate) fn line(&self, y: usize) -> &[f32] {
        let at = (y + MARGIN) * self.width + MARGIN;
        &self.data[at..at + self.width - 2 * MARGIN]
    }

    /// The reading of each tile, rows first; `inside` is the part of the block within the photo.
    pub(crate) fn blur_by_tile(&self, tiles: (usize, usize), inside: (usize, usize)) -> Vec<Option<Blur>> {
        let arch = pulp::Arch::new();
        let fine = arch.dispatch(Blurring { width: self.width, picture: self.data.clone() });
        let (half_width, half) = self.halved();
        let coarse = arch.dispatch(Blurring { width: half_width, picture: half });
        let mut readings = Vec::with_capacity(tiles.0 * tiles.1);
        for row in 0..tiles.1 {
            for column in 0..tiles.0 {
                let (left, top) = (column * TILE_PX, row * TILE_PX);
                let width = TILE_PX.min(inside.0.saturating_sub(left));
                let height = TILE_PX.min(inside.1.saturating_sub(top));
                let tile = Window { left: left + MARGIN, top: top + MARGIN, width, height };
                let reading = fine.reading(&tile, &FINE);
                readings.push(match reading {
                    Some(sharp) if sharp.sigma <= SOFT_PX => Some(sharp),
                    other => coarse.reading(&tile.halved(), &REDUCED).or(other),
                });
            }
        }
        readings
    }

    /// Averages 2 × 2 pixels. The margin is even, so tiles stay on whole pixels.
    fn halved(&self) -> (usize, Vec<f32>) {
        let (w, h) = (self.width / 2, self.height / 2);
        let mut half = Vec::with_capacity(w * h);
        for y in 0..h {
            let (a, b) = self.data[2 * y * self.width..2 * (y + 1) * self.width].split_at(self.width);
            let pairs = a.as_chunks::<2>().0.iter().zip(b.as_chunks::<2>().0);
            half.extend(pairs.map(|(a, b)| 0.25 * ((a[0] + a[1]) + (b[0] + b[1]))));
        }
        (w, half)
    }
}

/// A tile in a level's own pixels, margin counted.
struct Window {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
}

impl Window {
    const fn halved(&self) -> Self {
        Self { left: self.left / 2, top: self.top / 2, width: self.width / 2, height: self.height / 2 }
    }
}

/// One resolution: the picture, its two blurs, and the squared slope of the first.
struct Level {
    width: usize,
    height: usize,
    picture: Vec<f32>,
    first: Vec<f32>,
    second: Vec<f32>,
    slope2: Vec<f32>,
}

/// Makes a level of a picture.
struct Blurring {
    width: usize,
    picture: Vec<f32>,
}

impl pulp::NullaryFnOnce for Blurring {
    type Output = Level;

    #[inline(always)]
    fn call(self) -> Level {
        let Self { width, picture } = self;
        let height = picture.len() / width;
        let mut scratch = vec![0.0; picture.len()];
        let mut first = vec![0.0; picture.len()];
        let mut second = vec![0.0; picture.len()];
        binomial(width, &picture, &mut scratch, &mut first);
        binomial(width, &first, &mut scratch, &mut second);
        let mut slope2 = scratch;
        slope2.fill(0.0);
        for y in 1..height - 1 {
            let line = |y: usize| &first[y * width..(y + 1) * width];
            let (above, here, below) = (line(y - 1), line(y), line(y + 1));
            let n = width - 2;
            let (left, right) = (&here[..n], &here[2..n + 2]);
            let (above, below) = (&above[1..=n], &below[1..=n]);
            let out = &mut slope2[y * width + 1..(y + 1) * width - 1];
            for x in 0..n {
                let (gx, gy) = (right[x] - left[x], below[x] - above[x]);
                out[x] = gx * gx + gy * gy;
            }
        }
        Level { width, height, picture, first, second, slope2 }
    }
}

impl Level {
    /// The blur of a window's sharper edges in photo pixels.
    fn reading(&self, window: &Window, how: &How) -> Option<Blur> {
        let mut edges = self.edges(window);
        if edges.len() < MIN_EDGES {
            return None;
        }
        let count = edges.len();
        let mut at = |share: f32| {
            let i = ((count - 1) as f32 * share) as usize;
            *edges.select_nth_unstable_by(i, f32::total_cmp).1
        };
        let (low, value, high) = (at(how.sharper - 0.25), at(how.sharper), at(how.sharper + 0.25));
        let variance = |v: f32| how.scale * how.scale * v - how.reduction;
        let sigma = variance(value).max(PIXEL_SIGMA * PIXEL_SIGMA).sqrt();
        // The two outer quantiles lie 1.4 standard deviations apart.
        let spread = (variance(high) - variance(low)).max(0.0) / 1.4;
        let of_mean = spread / (2.0 * sigma) / (count as f32 / RUN).sqrt();
        let of_model = how.model_u * sigma;
        Some(Blur { sigma, u: (of_mean * of_mean + of_model * of_model).sqrt() })
    }

    /// Variance of the blur (px² of this level) at each edge pixel of a window.
    fn edges(&self, window: &Window) -> Vec<f32> {
        let w = self.width;
        let mut steepest = 0.0_f32;
        for y in window.top..window.top + window.height {
            for s in &self.slope2[y * w + window.left..y * w + window.left + window.width] {
                steepest = steepest.max(*s);
            }
        }
        let noise = self.noise(window);
        let over_noise = SLOPE_OVER_NOISE * SLOPE_OVER_NOISE * SLOPE_NOISE * noise * noise;
        let enough = over_noise.max(SLOPE_SHARE * SLOPE_SHARE * steepest).max(1e-7);
        let mut edges = Vec::new();
        if steepest < enough {
            return edges;
        }
        for y in window.top..window.top + window.height {
            for x in window.left..window.left + window.width {
                let at = y * w + x;
                if self.slope2[at] >= enough
                    && let Some(variance) = self.edge(at)
                {
                    edges.push(variance);
                    if edges.len() == MAX_EDGES {
                        return edges;
                    }
                }
            }
        }
        edges
    }

    /// The variance at a pixel, if it is the crest of an isolated, unclipped edge.
    fn edge(&self, at: usize) -> Option<f32> {
        let w = self.width;
        let slope = |picture: &[f32], at: usize| {
            (picture[at + 1] - picture[at - 1], picture[at + w] - picture[at - w])
        };
        let (gx, gy) = slope(&self.first, at);
        let across = gx.abs() >= gy.abs();
        // One pixel along the axis that the edge crosses more steeply.
        let step = if across { 1 } else { w };
        let here = self.slope2[at];
        if self.slope2[at - step] > here || self.slope2[at + step] >= here {
            return None;
        }
        let along = |at: usize| if across { slope(&self.first, at).0 } else { slope(&self.first, at).1 };
        let own = along(at);
        for offset in [2, 3, 4] {
            for at in [at - offset * step, at + offset * step] {
                if along(at) * own < -0.3 * own * own || self.picture[at] > CLIPPED_LIGHT {
                    return None;
                }
            }
        }
        let (hx, hy) = slope(&self.second, at);
        let ratio2 = here / (hx * hx + hy * hy);
        let (x2, y2) = (gx * gx, gy * gy);
        // An axis filter blurs an oblique edge less: cos⁴ + sin⁴ of its direction.
        let slope_variance = SLOPE * (x2 * x2 + y2 * y2) / (here * here);
        if ratio2 <= 1.0 {
            return None;
        }
        // The crest pixel lies up to half a pixel beside the edge itself, where both slopes have
        // fallen, the steeper one more. The mean square of that offset across the edge is 1/12 of
        // the axis step's share across it.
        let offset2 = x2.max(y2) / here / 12.0;
        let seen = STEP / (ratio2 - 1.0);
        let on_crest = ratio2 * (1.0 + offset2 * (1.0 / seen - 1.0 / (seen + STEP)));
        let variance = STEP / (on_crest - 1.0) - FIRST - slope_variance;
        variance.is_finite().then_some(variance)
    }

    /// Standard deviation of the noise: lower quartile over 8 × 8 cells of the mean distance to the
    /// first blur, so that cells with print on them do not count.
    fn noise(&self, window: &Window) -> f32 {
        const CELL: usize = 8;
        let mut cells = [0.0_f32; (TILE_PX / CELL) * (TILE_PX / CELL)];
        let mut count = 0;
        for top in (window.top..window.top + window.height).step_by(CELL) {
            for left in (window.left..window.left + window.width).step_by(CELL) {
                let right = (left + CELL).min(window.left + window.width);
                let bottom = (top + CELL).min(window.top + window.height).min(self.height);
                let mut sum = 0.0;
                for y in top..bottom {
                    let line = y * self.width + left..y * self.width + right;
                    for (p, f) in self.picture[line.clone()].iter().zip(&self.first[line]) {
                        sum += (p - f).abs();
                    }
                }
                cells[count] = sum / ((right - left) * (bottom - top)).max(1) as f32;
                count += 1;
            }
        }
        if count == 0 {
            return 0.0;
        }
        *cells[..count].select_nth_unstable_by(count / 4, f32::total_cmp).1 / RESIDUAL
    }
}

/// 1 4 6 4 1 over 16, down then across. Two pixels at each border keep only the blur that fits.
#[inline(always)]
fn binomial(width: usize, input: &[f32], scratch: &mut [f32], out: &mut [f32]) {
    scratch.copy_from_slice(input);
    let height = input.len() / width;
    for y in 2..height - 2 {
        let line = |dy: usize| &input[(y + dy - 2) * width..(y + dy - 1) * width];
        let (a, b, c, d, e) = (line(0), line(1), line(2), line(3), line(4));
        let target = &mut scratch[y * width..(y + 1) * width];
        for x in 0..width {
            target[x] = 0.0625 * ((a[x] + e[x]) + 4.0 * (b[x] + d[x]) + 6.0 * c[x]);
        }
    }
    for (from, to) in scratch.chunks_exact(width).zip(out.chunks_exact_mut(width)) {
        to.copy_from_slice(from);
        let n = width - 4;
        let (a, b, c, d, e) = (&from[..n], &from[1..=n], &from[2..n + 2], &from[3..n + 3], &from[4..]);
        let target = &mut to[2..n + 2];
        for x in 0..n {
            target[x] = 0.0625 * ((a[x] + e[x]) + 4.0 * (b[x] + d[x]) + 6.0 * c[x]);
        }
    }
}
