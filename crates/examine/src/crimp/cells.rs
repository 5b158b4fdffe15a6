//! A coarse picture of an end: logarithms of light and colour by cells, ridges averaged out.
//!
//! In: an [`EndView`]. Out: [`Cells`]. Never here: what is compared with what.
//!
//! Ridges alternate faster than print does along the end; a mean over about a ridge's pitch along the
//! end leaves film, print and background.

use casebook::elementary::ln32;

use super::view::EndView;

/// Cells per mm.
pub const CELLS_PER_MM: f64 = 4.0;
/// Half of the averaging length along the end, cells: 1.25 mm in all.
const HALF_ALONG: usize = 2;
/// Light added before a logarithm, relative to white: the dark end of an 8-bit code.
const FLOOR: f32 = 0.004;

/// Cells of an end; three channels: ln luminance, ln(red / green), ln(blue / green).
#[derive(Debug, Clone)]
pub struct Cells {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Channels, row-major.
    pub channel: [Vec<f32>; 3],
    /// Whether the cell lies inside the frame.
    pub inside: Vec<bool>,
    /// Place of the centre of column 0 and row 0, mm.
    pub origin_mm: [f64; 2],
}

impl Cells {
    /// The same with left and right exchanged.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let mut out = self.clone();
        for row in out.inside.chunks_exact_mut(self.width.max(1)) {
            row.reverse();
        }
        for channel in &mut out.channel {
            for row in channel.chunks_exact_mut(self.width.max(1)) {
                row.reverse();
            }
        }
        out
    }

    /// Averages a view into cells.
    #[must_use]
    pub fn of(view: &EndView) -> Self {
        let side = 1.0 / CELLS_PER_MM;
        let width = (view.width as f64 / view.px_per_mm / side) as usize;
        let height = (view.height as f64 / view.px_per_mm / side) as usize;
        let edge = |i: usize| (i as f64 * side * view.px_per_mm).round() as usize;
        let mut light = vec![[0.0_f32; 4]; width * height];
        for row in 0..height {
            for y in edge(row)..edge(row + 1).max(edge(row) + 1).min(view.height) {
                for column in 0..width {
                    let cell = &mut light[row * width + column];
                    for x in edge(column)..edge(column + 1).max(edge(column) + 1).min(view.width) {
                        let at = y * view.width + x;
                        if view.inside[at] {
                            cell[0] += view.rgb[0][at];
                            cell[1] += view.rgb[1][at];
                            cell[2] += view.rgb[2][at];
                            cell[3] += 1.0;
                        }
                    }
                }
            }
        }
        let mut channel = [0, 1, 2].map(|_| Vec::with_capacity(width * height));
        let mut inside = Vec::with_capacity(width * height);
        for row in 0..height {
            for column in 0..width {
                let mut sum = [0.0_f32; 4];
                let (from, to) = (column.saturating_sub(HALF_ALONG), (column + HALF_ALONG + 1).min(width));
                for cell in &light[row * width + from..row * width + to] {
                    for k in 0..4 {
                        sum[k] += cell[k];
                    }
                }
                let seen = sum[3] > 0.0 && light[row * width + column][3] > 0.0;
                let mean = [0, 1, 2].map(|k| if sum[3] > 0.0 { (sum[k] / sum[3]).max(0.0) } else { 0.0 });
                let y = 0.2126 * mean[0] + 0.7152 * mean[1] + 0.0722 * mean[2];
                let green = ln32(mean[1] + FLOOR);
                channel[0].push(ln32(y + FLOOR));
                channel[1].push(ln32(mean[0] + FLOOR) - green);
                channel[2].push(ln32(mean[2] + FLOOR) - green);
                inside.push(seen);
            }
        }
        let first = 0.5 * side - 0.5 / view.px_per_mm;
        Self {
            width,
            height,
            channel,
            inside,
            origin_mm: [view.origin_mm[0] + first, view.origin_mm[1] + first],
        }
    }

    /// Column whose centre is nearest to a place, not yet bounded.
    #[must_use]
    pub fn column(&self, x_mm: f64) -> isize {
        ((x_mm - self.origin_mm[0]) * CELLS_PER_MM).round() as isize
    }

    /// Row whose centre is nearest to a place, not yet bounded.
    #[must_use]
    pub fn row(&self, d_mm: f64) -> isize {
        ((d_mm - self.origin_mm[1]) * CELLS_PER_MM).round() as isize
    }

    /// Index of a cell inside the grid and the frame.
    #[must_use]
    pub fn at(&self, column: isize, row: isize) -> Option<usize> {
        if column < 0 || row < 0 || column >= self.width as isize || row >= self.height as isize {
            return None;
        }
        let at = row as usize * self.width + column as usize;
        self.inside[at].then_some(at)
    }
}
