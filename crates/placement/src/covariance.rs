//! How well a map is known: the 8 × 8 covariance of its eight free numbers, carried to any point.
//!
//! In: a [`Homography`] with last element 1 and the covariance of its corners or its fit. Out:
//! standard uncertainties of points, lengths and scale in pixels or millimetres. Never here: how the
//! map was found.
//!
//! Order of the eight numbers: h11, h12, h13, h21, h22, h23, h31, h32 (rows first, h33 = 1 fixed).
//! Sources: [`hartley-zisserman2004`], chapter 5; first-order propagation as in [`jcgm100`].

use nalgebra::{SMatrix, SVector};

use crate::error::GeometryError;
use crate::homography::{Homography, Point, corners_mm};

pub(crate) type Matrix8 = SMatrix<f64, 8, 8>;

/// Covariance of h11 … h32 at h33 = 1; pixels and millimetres mixed, so read it through its methods.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariance(pub(crate) Matrix8);

/// The derivative of a mapped point by the eight numbers, 2 × 8.
pub(crate) fn by_parameters(h: &Homography, at: Point) -> Option<SMatrix<f64, 2, 8>> {
    let q = h.map(at)?;
    let r = h.rows();
    let w = r[2][0] * at[0] + r[2][1] * at[1] + r[2][2];
    let (x, y) = (at[0] / w, at[1] / w);
    Some(SMatrix::<f64, 2, 8>::from_row_slice(&[
        x,
        y,
        1.0 / w,
        0.0,
        0.0,
        0.0,
        -q[0] * x,
        -q[0] * y, //
        0.0,
        0.0,
        0.0,
        x,
        y,
        1.0 / w,
        -q[1] * x,
        -q[1] * y,
    ]))
}

impl Covariance {
    /// The covariance of a map drawn by its four corners, each known to `u_px` (standard
    /// uncertainty of either coordinate, independent).
    ///
    /// # Errors
    /// [`GeometryError::Uncertainty`] unless `u_px` is finite and positive;
    /// [`GeometryError::Degenerate`] or [`GeometryError::Horizon`] for a map that shows no face.
    pub fn from_corners(h: &Homography, size_mm: (f64, f64), u_px: f64) -> Result<Self, GeometryError> {
        if !(u_px.is_finite() && u_px > 0.0) {
            return Err(GeometryError::Uncertainty { found_px: u_px });
        }
        Self::from_corner_covariance(h, size_mm, &(Matrix8::identity() * (u_px * u_px)))
    }

    /// From the covariance of the corners x1, y1, x2, … (top-left, top-right, bottom-right,
    /// bottom-left), pixels².
    pub(crate) fn from_corner_covariance(
        h: &Homography,
        size_mm: (f64, f64),
        corners: &Matrix8,
    ) -> Result<Self, GeometryError> {
        let j = corner_derivative(h, size_mm)?;
        let inverse = j.try_inverse().ok_or(GeometryError::Degenerate("the corners do not fix the map"))?;
        Ok(Self(inverse * corners * inverse.transpose()))
    }

    /// The eight rows and columns, in the order of the module's head.
    #[must_use]
    pub fn rows(&self) -> [[f64; 8]; 8] {
        let mut out = [[0.0; 8]; 8];
        for (i, row) in out.iter_mut().enumerate() {
            for (j, v) in row.iter_mut().enumerate() {
                *v = self.0[(i, j)];
            }
        }
        out
    }

    /// Covariance of a mapped point, pixels²: xx, xy; yx, yy. `None` behind the horizon.
    #[must_use]
    pub fn at(&self, h: &Homography, at_mm: Point) -> Option<[[f64; 2]; 2]> {
        let j = by_parameters(h, at_mm)?;
        let c = j * self.0 * j.transpose();
        Some([[c[(0, 0)], c[(0, 1)]], [c[(1, 0)], c[(1, 1)]]])
    }

    /// Standard uncertainty of a mapped point, pixels: root of the mean of both variances.
    #[must_use]
    pub fn point_u_px(&self, h: &Homography, at_mm: Point) -> Option<f64> {
        let c = self.at(h, at_mm)?;
        Some(((c[0][0] + c[1][1]) / 2.0).max(0.0).sqrt())
    }

    /// Standard uncertainty, on the face, of where a photo's point at `at_mm` lies: x and y, mm.
    #[must_use]
    pub fn point_u_mm(&self, h: &Homography, at_mm: Point) -> Option<[f64; 2]> {
        let c = self.at(h, at_mm)?;
        let j = h.jacobian(at_mm)?;
        let det = j[0][0] * j[1][1] - j[0][1] * j[1][0];
        if det == 0.0 {
            return None;
        }
        let i = [[j[1][1] / det, -j[0][1] / det], [-j[1][0] / det, j[0][0] / det]];
        let variance =
            |r: [f64; 2]| r[0] * r[0] * c[0][0] + 2.0 * r[0] * r[1] * c[0][1] + r[1] * r[1] * c[1][1];
        Some([variance(i[0]).max(0.0).sqrt(), variance(i[1]).max(0.0).sqrt()])
    }

    /// Relative standard uncertainty of the local scale (px/mm) at a point, by central differences
    /// of the map's derivative.
    #[must_use]
    pub fn scale_relative_u(&self, h: &Homography, at_mm: Point) -> Option<f64> {
        let base = h.local_scale_px_per_mm(at_mm)?;
        let r = h.rows();
        let flat = [r[0][0], r[0][1], r[0][2], r[1][0], r[1][1], r[1][2], r[2][0], r[2][1]];
        let mut gradient = SVector::<f64, 8>::zeros();
        for k in 0..8 {
            let step = self.0[(k, k)].max(0.0).sqrt() * 0.1 + flat[k].abs() * 1e-9 + 1e-12;
            let moved = |by: f64| {
                let mut f = flat;
                f[k] += by;
                Homography::new([[f[0], f[1], f[2]], [f[3], f[4], f[5]], [f[6], f[7], 1.0]])
                    .ok()
                    .and_then(|h| h.local_scale_px_per_mm(at_mm))
            };
            gradient[k] = (moved(step)? - moved(-step)?) / (2.0 * step);
        }
        Some((gradient.dot(&(self.0 * gradient))).max(0.0).sqrt() / base)
    }
}

/// The derivative of the four mapped corners by the eight numbers.
pub(crate) fn corner_derivative(h: &Homography, size_mm: (f64, f64)) -> Result<Matrix8, GeometryError> {
    let mut j = Matrix8::zeros();
    for (k, p) in corners_mm(size_mm).into_iter().enumerate() {
        let rows = by_parameters(h, p).ok_or(GeometryError::Horizon)?;
        j.fixed_rows_mut::<2>(2 * k).copy_from(&rows);
    }
    Ok(j)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: (f64, f64) = (65.0, 110.0);
    const CORNERS: [Point; 4] = [[100.0, 80.0], [700.0, 120.0], [650.0, 1100.0], [60.0, 980.0]];

    #[test]
    fn corners_get_back_their_uncertainty() {
        let h = Homography::from_four(CORNERS, SIZE).unwrap();
        let c = Covariance::from_corners(&h, SIZE, 1.5).unwrap();
        for p in corners_mm(SIZE) {
            assert!((c.point_u_px(&h, p).unwrap() - 1.5).abs() < 1e-6);
        }
        // The middle, where the diagonals cross, is known to about 1.5 / √2.
        assert!(c.point_u_px(&h, [32.0, 55.0]).unwrap() < 1.2);
        assert!(Covariance::from_corners(&h, SIZE, 0.0).is_err());
    }

    #[test]
    fn millimetres_follow_from_pixels_by_the_local_scale() {
        let h = Homography::scale_and_shift(8.0, [20.0, 30.0]);
        let c = Covariance::from_corners(&h, SIZE, 2.0).unwrap();
        let u = c.point_u_mm(&h, [0.0, 0.0]).unwrap();
        assert!((u[0] - 0.25).abs() < 1e-9 && (u[1] - 0.25).abs() < 1e-9);
    }
}
