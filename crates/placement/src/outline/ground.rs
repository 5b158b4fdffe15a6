//! Background against what lies on it, by the colour that the photo's border shows.
//!
//! In: a photo and a reduction. Out: [`Ground`] and the [`Piece`]s that stand out. Never here: sides,
//! sub-pixel places.
//!
//! Colour is ln luminance and two log ratios. The background's course over the frame is a quadric for
//! each, fitted to the border by reweighting, so that a thing that touches the border, or a plank's
//! edge, is left out; then again to all that the border leads to.

use casebook::elementary::ln32;
use nalgebra::{SMatrix, SVector};
use photo::Photo;

use crate::homography::Point;

/// Light added before the logarithm: an 8-bit code near black, so that noise does not stand out.
const TOE: f32 = 0.004;
/// Width of the border, share of the shorter side.
const BORDER: f64 = 0.035;
/// Squared distance beyond which a pixel is no background: 99.9 % of χ² with 3 degrees of freedom.
const FAR: f64 = 16.27;
/// Scatter that is always allowed for, e-folds of luminance and of a ratio: shading and compression.
const FLOOR: [f64; 3] = [0.05, 0.02, 0.02];
/// Rounds of reweighting, and of growing.
const ROUNDS: usize = 10;
const GROWTHS: usize = 2;

type Row = SVector<f64, 6>;

/// A photo reduced, with each pixel's squared distance from the background.
pub(super) struct Ground {
    width: usize,
    height: usize,
    /// Stands out and is not reached from the border.
    apart: Vec<bool>,
}

/// One connected thing.
pub(super) struct Piece {
    /// Its boundary pixels, reduced pixels.
    pub(super) points: Vec<Point>,
    /// Its pixels.
    pub(super) area: usize,
    /// Boundary pixels at the edge of the frame.
    pub(super) on_border: usize,
}

impl Ground {
    /// Tells the background from the rest; nothing for a photo too small to have a border.
    pub(super) fn of(photo: &Photo, factor: usize) -> Option<Self> {
        let [r, g, b] = photo.reduced_linear(factor);
        let (width, height) = (r.width(), r.height());
        if width < 32 || height < 32 {
            return None;
        }
        let light = r.data().iter().zip(g.data()).zip(b.data());
        let colours: Vec<[f64; 3]> = light
            .map(|((r, g), b)| {
                let [r, g, b] = [r, g, b].map(|v| ln32(v.max(0.0) + TOE));
                [0.2126 * r + 0.7152 * g + 0.0722 * b, r - g, b - g].map(f64::from)
            })
            .collect();
        let border = ((BORDER * width.min(height) as f64) as usize).max(2);
        let mut used: Vec<bool> = (0..width * height)
            .map(|i| {
                let (x, y) = (i % width, i / width);
                x < border || y < border || x + border >= width || y + border >= height
            })
            .collect();
        let mut reached = used.clone();
        for _ in 0..=GROWTHS {
            let course = Course::fit(&colours, &used, width, height)?;
            let near: Vec<bool> =
                (0..colours.len()).map(|i| course.distance2(&colours[i], i, width, height) < FAR).collect();
            reached = flood(&near, width, height);
            used = reached.clone();
        }
        let apart = reached.iter().map(|r| !r).collect();
        Some(Self { width, height, apart })
    }

    pub(super) fn pixels(&self) -> usize {
        self.width * self.height
    }

    /// Connected things of at least so many pixels, thin bridges cut, the largest first.
    pub(super) fn pieces(&self, least: usize) -> Vec<Piece> {
        let (w, h) = (self.width, self.height);
        let radius = (w.max(h) / 90).max(2);
        let core = eroded(&self.apart, w, h, radius);
        let (labels, sizes) = labelled(&core, w, h);
        let mut pieces = Vec::new();
        for (label, size) in sizes.iter().enumerate() {
            if *size < least / 2 {
                continue;
            }
            let own: Vec<bool> = labels.iter().map(|l| *l == label + 1).collect();
            let grown = dilated(&own, w, h, radius);
            let mask: Vec<bool> = grown.iter().zip(&self.apart).map(|(g, a)| *g && *a).collect();
            let area = mask.iter().filter(|m| **m).count();
            if area < least {
                continue;
            }
            let (mut points, mut on_border) = (Vec::new(), 0);
            for y in 0..h {
                for x in 0..w {
                    if !mask[y * w + x] {
                        continue;
                    }
                    let edge = x == 0 || y == 0 || x + 1 == w || y + 1 == h;
                    let open = edge
                        || !mask[y * w + x - 1]
                        || !mask[y * w + x + 1]
                        || !mask[(y - 1) * w + x]
                        || !mask[(y + 1) * w + x];
                    if open {
                        points.push([x as f64, y as f64]);
                        on_border += usize::from(edge);
                    }
                }
            }
            pieces.push(Piece { points, area, on_border });
        }
        pieces.sort_by_key(|p| std::cmp::Reverse(p.area));
        pieces
    }
}

/// The background's colour over the frame.
struct Course {
    coefficients: SMatrix<f64, 6, 3>,
    information: SMatrix<f64, 3, 3>,
}

fn row(i: usize, width: usize, height: usize) -> Row {
    let x = (i % width) as f64 / width as f64 * 2.0 - 1.0;
    let y = (i / width) as f64 / height as f64 * 2.0 - 1.0;
    Row::from_row_slice(&[1.0, x, y, x * x, x * y, y * y])
}

impl Course {
    fn fit(colours: &[[f64; 3]], used: &[bool], width: usize, height: usize) -> Option<Self> {
        // At most some ten thousand pixels: more say nothing more about ten numbers.
        let count = used.iter().filter(|u| **u).count();
        let step = count.div_ceil(12_000).max(1);
        let picked: Vec<usize> = (0..used.len()).filter(|i| used[*i]).step_by(step).collect();
        if picked.len() < 60 {
            return None;
        }
        let rows: Vec<Row> = picked.iter().map(|i| row(*i, width, height)).collect();
        let values: Vec<SVector<f64, 3>> =
            picked.iter().map(|i| SVector::<f64, 3>::from_row_slice(&colours[*i])).collect();
        let floor =
            SMatrix::<f64, 3, 3>::from_diagonal(&SVector::<f64, 3>::from_row_slice(&FLOOR.map(|f| f * f)));
        // From the medians, which half of the border must be wrong to mislead.
        let mut coefficients = SMatrix::<f64, 6, 3>::zeros();
        for k in 0..3 {
            let mut column: Vec<f64> = values.iter().map(|v| v[k]).collect();
            column.sort_by(f64::total_cmp);
            coefficients[(0, k)] = column[column.len() / 2];
        }
        let mut covariance = SMatrix::<f64, 3, 3>::identity() * 0.09 + floor;
        let mut information = covariance.try_inverse()?;
        for _ in 0..ROUNDS {
            let mut normal = SMatrix::<f64, 6, 6>::identity() * 1e-6;
            let mut right = SMatrix::<f64, 6, 3>::zeros();
            let mut scatter = SMatrix::<f64, 3, 3>::zeros();
            let mut weight = 0.0;
            for (row, value) in rows.iter().zip(&values) {
                let e = value - coefficients.transpose() * row;
                // Student's t with 3 degrees of freedom in 3 dimensions.
                let w = 6.0 / (3.0 + e.dot(&(information * e)));
                normal += row * row.transpose() * w;
                right += row * value.transpose() * w;
                if w > 0.4 {
                    scatter += e * e.transpose() * w;
                    weight += w;
                }
            }
            coefficients = normal.try_inverse()? * right;
            if weight > 0.0 {
                covariance = scatter / weight + floor;
            }
            information = covariance.try_inverse()?;
        }
        Some(Self { coefficients, information })
    }

    fn distance2(&self, colour: &[f64; 3], i: usize, width: usize, height: usize) -> f64 {
        let e =
            SVector::<f64, 3>::from_row_slice(colour) - self.coefficients.transpose() * row(i, width, height);
        e.dot(&(self.information * e))
    }
}

/// Pixels that the frame's edge leads to through `open` ones.
fn flood(open: &[bool], width: usize, height: usize) -> Vec<bool> {
    let mut reached = vec![false; open.len()];
    let edge = (0..width)
        .flat_map(|x| [x, (height - 1) * width + x])
        .chain((0..height).flat_map(|y| [y * width, y * width + width - 1]));
    let mut todo: Vec<usize> = edge.filter(|i| open[*i]).collect();
    for i in &todo {
        reached[*i] = true;
    }
    while let Some(i) = todo.pop() {
        for n in neighbours(i, width, height) {
            if open[n] && !reached[n] {
                reached[n] = true;
                todo.push(n);
            }
        }
    }
    reached
}

fn neighbours(i: usize, width: usize, height: usize) -> impl Iterator<Item = usize> {
    let (x, y) = (i % width, i / width);
    let left = (x > 0).then(|| i - 1);
    let right = (x + 1 < width).then_some(i + 1);
    let up = (y > 0).then(|| i - width);
    let down = (y + 1 < height).then_some(i + width);
    [left, right, up, down].into_iter().flatten()
}

/// Pixels whose whole square of that radius is set.
fn eroded(mask: &[bool], width: usize, height: usize, radius: usize) -> Vec<bool> {
    let inverse: Vec<bool> = mask.iter().map(|m| !m).collect();
    dilated(&inverse, width, height, radius).into_iter().map(|m| !m).collect()
}

/// Pixels within a square of that radius of a set one.
fn dilated(mask: &[bool], width: usize, height: usize, radius: usize) -> Vec<bool> {
    let mut across = vec![false; mask.len()];
    for y in 0..height {
        let line = &mask[y * width..(y + 1) * width];
        for x in 0..width {
            let (a, b) = (x.saturating_sub(radius), (x + radius + 1).min(width));
            across[y * width + x] = line[a..b].iter().any(|m| *m);
        }
    }
    let mut out = vec![false; mask.len()];
    for y in 0..height {
        let (a, b) = (y.saturating_sub(radius), (y + radius + 1).min(height));
        for x in 0..width {
            out[y * width + x] = (a..b).any(|r| across[r * width + x]);
        }
    }
    out
}

/// Label of each pixel (0: none) and the size of each label's piece.
fn labelled(mask: &[bool], width: usize, height: usize) -> (Vec<usize>, Vec<usize>) {
    let mut labels = vec![0; mask.len()];
    let mut sizes = Vec::new();
    for start in 0..mask.len() {
        if !mask[start] || labels[start] != 0 {
            continue;
        }
        let label = sizes.len() + 1;
        let mut size = 0;
        let mut todo = vec![start];
        labels[start] = label;
        while let Some(i) = todo.pop() {
            size += 1;
            for n in neighbours(i, width, height) {
                if mask[n] && labels[n] == 0 {
                    labels[n] = label;
                    todo.push(n);
                }
            }
        }
        sizes.push(size);
    }
    (labels, sizes)
}
