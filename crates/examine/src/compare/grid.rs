//! The millimetre grid on which a photo and its reference are laid over each other.
//!
//! In: a face's size and a resolution. Out: pixel ↔ millimetre, and which pixels a rectangle covers.
//! Never here: values.

use casebook::units::RectMm;

/// A raster over one face: square pixels, origin at the face's top-left **corner**, so the centre of
/// pixel (i, j) lies at ((i + ½) / s, (j + ½) / s) mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Resolution s.
    pub px_per_mm: f64,
    /// Size of the face, mm.
    pub size_mm: [f64; 2],
}

/// A half-open block of pixels: columns `x0..x1`, rows `y0..y1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pixels {
    /// First column.
    pub x0: usize,
    /// First row.
    pub y0: usize,
    /// Column after the last.
    pub x1: usize,
    /// Row after the last.
    pub y1: usize,
}

impl Pixels {
    /// Columns.
    #[must_use]
    pub fn width(&self) -> usize {
        self.x1.saturating_sub(self.x0)
    }

    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.y1.saturating_sub(self.y0)
    }

    /// Number of pixels.
    #[must_use]
    pub fn area(&self) -> usize {
        self.width() * self.height()
    }
}

impl Grid {
    /// A grid over a face of `size_mm` at `px_per_mm`.
    #[must_use]
    pub fn over(size_mm: [f64; 2], px_per_mm: f64) -> Self {
        let count = |mm: f64| ((mm * px_per_mm).round().max(1.0)) as usize;
        Self { width: count(size_mm[0]), height: count(size_mm[1]), px_per_mm, size_mm }
    }

    /// Number of pixels.
    #[must_use]
    pub fn len(&self) -> usize {
        self.width * self.height
    }

    /// Whether there are none; never true for a grid made by [`Grid::over`].
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Centre of a pixel (given as a real number), mm.
    #[must_use]
    pub fn mm(&self, x: f64, y: f64) -> (f64, f64) {
        ((x + 0.5) / self.px_per_mm, (y + 0.5) / self.px_per_mm)
    }

    /// Place of a point of the face, in pixels.
    #[must_use]
    pub fn px(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        (x_mm * self.px_per_mm - 0.5, y_mm * self.px_per_mm - 0.5)
    }

    /// Pixels whose centre lies in the rectangle grown by `margin_mm`, cut off at the face.
    #[must_use]
    pub fn pixels(&self, rect: &RectMm, margin_mm: f64) -> Pixels {
        let s = self.px_per_mm;
        let at = |mm: f64, limit: usize| ((mm * s).round().max(0.0) as usize).min(limit);
        Pixels {
            x0: at(rect.x - margin_mm, self.width),
            y0: at(rect.y - margin_mm, self.height),
            x1: at(rect.x + rect.width + margin_mm, self.width),
            y1: at(rect.y + rect.height + margin_mm, self.height),
        }
    }
}
