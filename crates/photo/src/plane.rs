//! A rectangle of values: one channel, one map, one mask.
//!
//! In: width, height and values, rows first. Out: the same by row, by pixel, mapped. Never here:
//! colour, units, files.

/// `height` rows of `width` values, row-major, without padding. (0, 0) is top-left.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane<T> {
    width: usize,
    height: usize,
    data: Vec<T>,
}

impl<T> Plane<T> {
    /// A plane over existing values; nothing when there are not exactly width × height of them.
    #[must_use]
    pub fn from_vec(width: usize, height: usize, data: Vec<T>) -> Option<Self> {
        (width.checked_mul(height)? == data.len()).then_some(Self { width, height, data })
    }

    /// A plane with the value of `f(x, y)` at each place, computed row by row.
    #[must_use]
    pub fn from_fn(width: usize, height: usize, mut f: impl FnMut(usize, usize) -> T) -> Self {
        let mut data = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                data.push(f(x, y));
            }
        }
        Self { width, height, data }
    }

    /// Values in a row.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.height
    }

    /// All values, rows first.
    #[must_use]
    pub fn data(&self) -> &[T] {
        &self.data
    }

    /// All values, rows first, to change.
    pub fn data_mut(&mut self) -> &mut [T] {
        &mut self.data
    }

    /// The values, without the rectangle.
    #[must_use]
    pub fn into_vec(self) -> Vec<T> {
        self.data
    }

    /// One row, or an empty one below the last.
    #[must_use]
    pub fn row(&self, y: usize) -> &[T] {
        if y < self.height { &self.data[y * self.width..(y + 1) * self.width] } else { &[] }
    }

    /// One row to change, or an empty one below the last.
    pub fn row_mut(&mut self, y: usize) -> &mut [T] {
        if y < self.height { &mut self.data[y * self.width..(y + 1) * self.width] } else { &mut [] }
    }

    /// The value at (x, y), if that is inside.
    #[must_use]
    pub fn get(&self, x: usize, y: usize) -> Option<&T> {
        if x < self.width { self.row(y).get(x) } else { None }
    }

    /// A plane of the same shape with `f` of each value.
    #[must_use]
    pub fn map<U>(&self, f: impl FnMut(&T) -> U) -> Plane<U> {
        Plane { width: self.width, height: self.height, data: self.data.iter().map(f).collect() }
    }
}

impl<T: Clone> Plane<T> {
    /// A plane with one value everywhere.
    #[must_use]
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self { width, height, data: vec![value; width * height] }
    }

    /// The values of the rectangle from (x, y), cut off at this plane's edges.
    #[must_use]
    pub fn crop(&self, x: usize, y: usize, width: usize, height: usize) -> Self {
        let right = x.saturating_add(width).min(self.width);
        let bottom = y.saturating_add(height).min(self.height);
        let (left, top) = (x.min(right), y.min(bottom));
        let mut data = Vec::with_capacity((right - left) * (bottom - top));
        for row in top..bottom {
            data.extend_from_slice(&self.row(row)[left..right]);
        }
        Self { width: right - left, height: bottom - top, data }
    }
}

impl<T: Copy> Plane<T> {
    /// The value at (x, y), or that of the nearest place inside. Only an empty plane has none.
    #[must_use]
    pub fn nearest(&self, x: isize, y: isize) -> Option<T> {
        if self.data.is_empty() {
            return None;
        }
        let x = (x.max(0) as usize).min(self.width - 1);
        let y = (y.max(0) as usize).min(self.height - 1);
        Some(self.data[y * self.width + x])
    }
}

impl Plane<f32> {
    /// The value at a place between pixel centres, bilinear; nothing outside the outermost pixels'
    /// edges (−0.5 to width − 0.5). The half pixel beyond the outermost centres repeats them.
    #[must_use]
    #[inline]
    pub fn sample(&self, x: f64, y: f64) -> Option<f32> {
        let (w, h) = (self.width as f64, self.height as f64);
        // Written so that a NaN is outside.
        if !(x >= -0.5 && y >= -0.5 && x <= w - 0.5 && y <= h - 0.5) || self.data.is_empty() {
            return None;
        }
        let (x, y) = (x.clamp(0.0, w - 1.0), y.clamp(0.0, h - 1.0));
        let (x0, y0) = (x as usize, y as usize);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (tx, ty) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let at = |x: usize, y: usize| self.data[y * self.width + x];
        let top = at(x0, y0) + (at(x1, y0) - at(x0, y0)) * tx;
        let bottom = at(x0, y1) + (at(x1, y1) - at(x0, y1)) * tx;
        Some(top + (bottom - top) * ty)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrong_counts_are_refused_and_edges_hold() {
        assert!(Plane::from_vec(2, 3, vec![0; 5]).is_none());
        assert!(Plane::<u8>::from_vec(usize::MAX, 2, vec![]).is_none());
        let p = Plane::from_fn(3, 2, |x, y| (10 * y + x) as f32);
        assert_eq!(p.get(2, 1), Some(&12.0));
        assert_eq!(p.get(3, 0), None);
        assert_eq!(p.get(0, 2), None);
        assert_eq!(p.nearest(-5, 9), Some(10.0));
        assert_eq!(p.crop(1, 1, 9, 9).data(), &[11.0, 12.0]);
        assert_eq!(p.crop(7, 0, 2, 2).data(), &[] as &[f32]);
        assert_eq!(p.sample(0.5, 0.5), Some(5.5));
        assert_eq!(p.sample(-0.5, 0.0), Some(0.0));
        assert_eq!(p.sample(-0.51, 0.0), None);
        assert_eq!(p.sample(f64::NAN, 0.0), None);
    }
}
