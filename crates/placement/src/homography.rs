//! The plane-to-plane map from a face's millimetres to a photo's pixels.
//!
//! In: corners, point pairs or a matrix. Out: [`Homography`], checked to be finite, invertible and
//! not mirrored, with its local derivative. Never here: noise (see `covariance`), pictures, names.
//!
//! Face frame: origin at the top-left corner of the face, x right, y down, millimetres. Photo frame:
//! (0, 0) is the centre of the top-left pixel, x right, y down. Both frames turn the same way, so a
//! face seen from its printed side has a Jacobian with positive determinant everywhere.
//!
//! Source: [`hartley-zisserman2004`], chapters 2 and 4.

use crate::error::GeometryError;

/// A point: x, then y, in the unit of its frame.
pub type Point = [f64; 2];

/// Smallest area of a corner triangle, as a share of the quadrilateral's, below which four corners
/// count as collinear: 0.1 %; a real face seen at 89° still has more.
const MIN_TRIANGLE_SHARE: f64 = 1e-3;

/// A projective map of the plane, millimetres to pixels where nothing else is said.
///
/// Kept as a 3 × 3 matrix, rows first, acting on column vectors (x, y, 1). Its sign is chosen so that
/// the third coordinate is positive on the visible side of the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Homography {
    m: [[f64; 3]; 3],
}

impl Homography {
    /// A map from its matrix, scaled so that its last element is 1.
    ///
    /// # Errors
    /// [`GeometryError::NotFinite`]; [`GeometryError::Degenerate`] when the matrix cannot be inverted
    /// or sends the frame's origin to infinity.
    pub fn new(rows: [[f64; 3]; 3]) -> Result<Self, GeometryError> {
        if rows.iter().flatten().any(|v| !v.is_finite()) {
            return Err(GeometryError::NotFinite);
        }
        let norm = frobenius(&rows);
        let corner = rows[2][2];
        if corner.abs() <= norm * 1e-14 || norm == 0.0 {
            return Err(GeometryError::Degenerate("the origin lies on the horizon"));
        }
        let m = scaled(&rows, 1.0 / corner);
        let det = determinant(&m);
        let column = |k: usize| m.iter().map(|row| row[k] * row[k]).sum::<f64>().sqrt();
        let volume = column(0) * column(1) * column(2);
        if !det.is_finite() || volume == 0.0 || det.abs() <= 1e-13 * volume {
            return Err(GeometryError::Degenerate("the matrix cannot be inverted"));
        }
        Ok(Self { m })
    }

    /// A map that only scales and shifts: `px = offset + scale × mm`.
    #[must_use]
    pub fn scale_and_shift(scale: f64, offset: Point) -> Self {
        Self { m: [[scale, 0.0, offset[0]], [0.0, scale, offset[1]], [0.0, 0.0, 1.0]] }
    }

    /// The exact map that sends a face of `size_mm` onto four corners.
    ///
    /// # Input
    /// `corners_px`: top-left, top-right, bottom-right, bottom-left **of the face** (not of the
    /// photo), pixels. `size_mm`: width, height.
    ///
    /// # Errors
    /// [`GeometryError::Size`], [`GeometryError::NotFinite`], [`GeometryError::Degenerate`] for
    /// collinear, crossing or concave corners, [`GeometryError::Mirrored`] for corners in the other
    /// sense of rotation.
    ///
    /// # Example
    /// ```
    /// use placement::Homography;
    /// let corners = [[10.0, 10.0], [110.0, 20.0], [105.0, 190.0], [5.0, 180.0]];
    /// let h = Homography::from_four(corners, (65.0, 110.0)).unwrap();
    /// let p = h.map([65.0, 110.0]).unwrap();
    /// assert!((p[0] - 105.0).abs() < 1e-9 && (p[1] - 190.0).abs() < 1e-9);
    /// ```
    pub fn from_four(corners_px: [Point; 4], size_mm: (f64, f64)) -> Result<Self, GeometryError> {
        check_size(size_mm)?;
        if corners_px.iter().flatten().any(|v| !v.is_finite()) {
            return Err(GeometryError::NotFinite);
        }
        check_quad(&corners_px)?;
        let [p0, p1, p2, p3] = corners_px;
        // The unit square onto a quadrilateral in closed form (Heckbert 1989, section 2.2.3).
        let (dx1, dy1) = (p1[0] - p2[0], p1[1] - p2[1]);
        let (dx2, dy2) = (p3[0] - p2[0], p3[1] - p2[1]);
        let (sx, sy) = (p0[0] - p1[0] + p2[0] - p3[0], p0[1] - p1[1] + p2[1] - p3[1]);
        let det = dx1 * dy2 - dx2 * dy1;
        if det == 0.0 {
            return Err(GeometryError::Degenerate("three corners lie on one line"));
        }
        let g = (sx * dy2 - dx2 * sy) / det;
        let h = (dx1 * sy - sx * dy1) / det;
        let (w, t) = size_mm;
        let rows = [
            [(p1[0] - p0[0] + g * p1[0]) / w, (p3[0] - p0[0] + h * p3[0]) / t, p0[0]],
            [(p1[1] - p0[1] + g * p1[1]) / w, (p3[1] - p0[1] + h * p3[1]) / t, p0[1]],
            [g / w, h / t, 1.0],
        ];
        let map = Self::new(rows)?;
        map.check_over(size_mm)?;
        Ok(map)
    }

    /// The matrix, rows first. For a map of a placed face its last element is 1.
    #[must_use]
    pub fn rows(&self) -> [[f64; 3]; 3] {
        self.m
    }

    /// Where a point lands; `None` on or behind the horizon.
    #[must_use]
    #[inline]
    pub fn map(&self, p: Point) -> Option<Point> {
        let m = &self.m;
        let w = m[2][0] * p[0] + m[2][1] * p[1] + m[2][2];
        if w <= 0.0 {
            return None;
        }
        let q = [
            (m[0][0] * p[0] + m[0][1] * p[1] + m[0][2]) / w,
            (m[1][0] * p[0] + m[1][1] * p[1] + m[1][2]) / w,
        ];
        (q[0].is_finite() && q[1].is_finite()).then_some(q)
    }

    /// The map back, pixels to millimetres.
    #[must_use]
    pub fn inverse(&self) -> Self {
        let m = &self.m;
        let mut a = [[0.0; 3]; 3];
        for (i, row) in a.iter_mut().enumerate() {
            for (j, v) in row.iter_mut().enumerate() {
                let (r0, r1) = ((j + 1) % 3, (j + 2) % 3);
                let (c0, c1) = ((i + 1) % 3, (i + 2) % 3);
                *v = m[r0][c0] * m[r1][c1] - m[r0][c1] * m[r1][c0];
            }
        }
        // The true inverse keeps the sign of the third coordinate; only a positive factor is free.
        let det = determinant(m);
        let norm = frobenius(&a);
        let mut inverse = scaled(&a, det.signum() / norm);
        let corner = inverse[2][2];
        if corner > 1e-14 {
            inverse = scaled(&inverse, 1.0 / corner);
        }
        Self { m: inverse }
    }

    /// This map first, then `next`.
    ///
    /// # Errors
    /// [`GeometryError::NotFinite`] or [`GeometryError::Degenerate`] when the product is no map.
    pub fn then(&self, next: &Homography) -> Result<Self, GeometryError> {
        let mut m = [[0.0; 3]; 3];
        for (i, row) in m.iter_mut().enumerate() {
            for (j, v) in row.iter_mut().enumerate() {
                *v = (0..3).map(|k| next.m[i][k] * self.m[k][j]).sum();
            }
        }
        Self::new(m)
    }

    /// The derivative of the map at a point: rows are photo x and y, columns face x and y, px/mm.
    #[must_use]
    #[inline]
    pub fn jacobian(&self, at: Point) -> Option<[[f64; 2]; 2]> {
        let m = &self.m;
        let w = m[2][0] * at[0] + m[2][1] * at[1] + m[2][2];
        let q = self.map(at)?;
        let row = |i: usize, k: usize| (m[i][k] - q[i] * m[2][k]) / w;
        Some([[row(0, 0), row(0, 1)], [row(1, 0), row(1, 1)]])
    }

    /// Pixels per millimetre at a point: the geometric mean over directions, √|det J|.
    #[must_use]
    pub fn local_scale_px_per_mm(&self, at_mm: Point) -> Option<f64> {
        let j = self.jacobian(at_mm)?;
        Some((j[0][0] * j[1][1] - j[0][1] * j[1][0]).abs().sqrt())
    }

    /// Pixels per millimetre along the face's x and y axes at a point.
    #[must_use]
    pub fn axis_scales_px_per_mm(&self, at_mm: Point) -> Option<[f64; 2]> {
        let j = self.jacobian(at_mm)?;
        let length = |a: f64, b: f64| (a * a + b * b).sqrt();
        Some([length(j[0][0], j[1][0]), length(j[0][1], j[1][1])])
    }

    /// The face's corners in the photo: top-left, top-right, bottom-right, bottom-left.
    ///
    /// # Errors
    /// [`GeometryError::Horizon`] when a corner lies on or behind the horizon.
    pub fn corners_px(&self, size_mm: (f64, f64)) -> Result<[Point; 4], GeometryError> {
        let mut out = [[0.0; 2]; 4];
        for (q, p) in out.iter_mut().zip(corners_mm(size_mm)) {
            *q = self.map(p).ok_or(GeometryError::Horizon)?;
        }
        Ok(out)
    }

    /// Whether a face of this size can be seen through this map.
    ///
    /// # Errors
    /// [`GeometryError::Horizon`] when the horizon crosses the face, [`GeometryError::Mirrored`] when
    /// the face is seen from behind, [`GeometryError::Degenerate`] when its picture has no area.
    pub fn check_over(&self, size_mm: (f64, f64)) -> Result<(), GeometryError> {
        check_size(size_mm)?;
        let corners = self.corners_px(size_mm)?;
        check_quad(&corners)
    }
}

/// The corners of a face in its own frame: top-left, top-right, bottom-right, bottom-left.
#[must_use]
pub fn corners_mm(size_mm: (f64, f64)) -> [Point; 4] {
    let (w, h) = size_mm;
    [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]
}

pub(crate) fn check_size(size_mm: (f64, f64)) -> Result<(), GeometryError> {
    let good = |v: f64| v.is_finite() && v > 0.0;
    if good(size_mm.0) && good(size_mm.1) { Ok(()) } else { Err(GeometryError::Size { found_mm: size_mm }) }
}

fn cross(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Convex, with area, and turning as the face does.
fn check_quad(q: &[Point; 4]) -> Result<(), GeometryError> {
    let turns =
        [cross(q[0], q[1], q[2]), cross(q[1], q[2], q[3]), cross(q[2], q[3], q[0]), cross(q[3], q[0], q[1])];
    let area = crate::polygon::signed_area(q);
    if turns.iter().all(|t| *t < 0.0) {
        return Err(GeometryError::Mirrored);
    }
    if turns.iter().any(|t| *t <= area.abs() * MIN_TRIANGLE_SHARE) {
        return Err(GeometryError::Degenerate("the corners are collinear, crossing or not convex"));
    }
    Ok(())
}

fn determinant(m: &[[f64; 3]; 3]) -> f64 {
    m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
}

fn frobenius(m: &[[f64; 3]; 3]) -> f64 {
    m.iter().flatten().map(|v| v * v).sum::<f64>().sqrt()
}

fn scaled(m: &[[f64; 3]; 3], by: f64) -> [[f64; 3]; 3] {
    m.map(|row| row.map(|v| v * by))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: (f64, f64) = (65.0, 110.0);

    #[test]
    fn refuses_what_cannot_be_a_face() {
        let rows: [([Point; 4], GeometryError); 5] = [
            ([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [30.0, 0.0]], GeometryError::Degenerate("")),
            ([[5.0, 5.0]; 4], GeometryError::Degenerate("")),
            ([[100.0, 0.0], [0.0, 0.0], [0.0, 100.0], [100.0, 100.0]], GeometryError::Mirrored),
            ([[0.0, 0.0], [100.0, 100.0], [100.0, 0.0], [0.0, 100.0]], GeometryError::Degenerate("")),
            ([[0.0, 0.0], [100.0, 0.0], [f64::NAN, 100.0], [0.0, 100.0]], GeometryError::NotFinite),
        ];
        for (corners, expected) in rows {
            let got = Homography::from_four(corners, SIZE).expect_err("must be refused");
            assert_eq!(std::mem::discriminant(&got), std::mem::discriminant(&expected), "{corners:?}: {got}");
        }
        let bad_size = Homography::from_four([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]], (0.0, 3.0));
        assert!(matches!(bad_size, Err(GeometryError::Size { .. })));
        // The horizon x = 40 mm crosses a face 65 mm wide.
        let h = Homography::new([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-1.0 / 40.0, 0.0, 1.0]]).unwrap();
        assert_eq!(h.check_over(SIZE), Err(GeometryError::Horizon));
    }

    #[test]
    fn jacobian_agrees_with_finite_differences() {
        let h = Homography::from_four([[100.0, 80.0], [700.0, 120.0], [650.0, 1100.0], [60.0, 980.0]], SIZE)
            .unwrap();
        let step = 1e-5;
        for at in [[0.0, 0.0], [30.0, 50.0], [65.0, 110.0]] {
            let j = h.jacobian(at).unwrap();
            for k in 0..2 {
                let (mut a, mut b) = (at, at);
                a[k] -= step;
                b[k] += step;
                let (a, b) = (h.map(a).unwrap(), h.map(b).unwrap());
                for i in 0..2 {
                    assert!((j[i][k] - (b[i] - a[i]) / (2.0 * step)).abs() < 1e-5);
                }
            }
        }
    }
}
