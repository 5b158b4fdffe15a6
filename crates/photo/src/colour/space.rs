//! RGB spaces by their primaries, the matrices to and from XYZ, and Bradford adaptation.
//!
//! In: chromaticities as the standards print them. Out: 3×3 matrices that follow from them, never
//! copied from a table. XYZ is scaled so that white has Y = 1.
//! Never here: transfer functions, code values.
//!
//! Sources: `smpte-rp177` (matrix from primaries), `iec61966-2-1`, `smpte-eg432-1`, `adobergb1998`,
//! `icc1-2022` (D50 of the connection space), `lam1985` (Bradford).

use std::ops::Mul;

/// A 3×3 matrix in double precision, rows first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Matrix3(pub [[f64; 3]; 3]);

impl Matrix3 {
    /// The matrix that changes nothing.
    pub const IDENTITY: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);

    /// The matrix with the given numbers on its diagonal.
    #[must_use]
    pub const fn diagonal(d: [f64; 3]) -> Self {
        Self([[d[0], 0.0, 0.0], [0.0, d[1], 0.0], [0.0, 0.0, d[2]]])
    }

    /// Matrix times column vector.
    #[must_use]
    pub fn apply(&self, v: [f64; 3]) -> [f64; 3] {
        self.0.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
    }

    /// The inverse, or nothing when the matrix is singular or not finite.
    #[must_use]
    pub fn inverse(&self) -> Option<Self> {
        let m = &self.0;
        let minor =
            |r: [usize; 2], c: [usize; 2]| m[r[0]][c[0]] * m[r[1]][c[1]] - m[r[0]][c[1]] * m[r[1]][c[0]];
        let cofactors = [
            [minor([1, 2], [1, 2]), -minor([1, 2], [0, 2]), minor([1, 2], [0, 1])],
            [-minor([0, 2], [1, 2]), minor([0, 2], [0, 2]), -minor([0, 2], [0, 1])],
            [minor([0, 1], [1, 2]), -minor([0, 1], [0, 2]), minor([0, 1], [0, 1])],
        ];
        let determinant = m[0][0] * cofactors[0][0] + m[0][1] * cofactors[0][1] + m[0][2] * cofactors[0][2];
        if !determinant.is_finite() || determinant.abs() < 1e-12 {
            return None;
        }
        let mut inverse = [[0.0; 3]; 3];
        for (r, row) in inverse.iter_mut().enumerate() {
            for (c, value) in row.iter_mut().enumerate() {
                *value = cofactors[c][r] / determinant;
            }
        }
        Some(Self(inverse))
    }

    /// Largest absolute difference between two matrices' elements.
    #[must_use]
    pub fn distance(&self, other: &Self) -> f64 {
        let mut most = 0.0_f64;
        for (a, b) in self.0.iter().flatten().zip(other.0.iter().flatten()) {
            most = most.max((a - b).abs());
        }
        most
    }

    fn transposed(&self) -> Self {
        let m = &self.0;
        Self([[m[0][0], m[1][0], m[2][0]], [m[0][1], m[1][1], m[2][1]], [m[0][2], m[1][2], m[2][2]]])
    }
}

impl Mul for Matrix3 {
    type Output = Self;

    fn mul(self, right: Self) -> Self {
        let columns = right.transposed();
        Self(self.0.map(|row| columns.0.map(|col| row[0] * col[0] + row[1] * col[1] + row[2] * col[2])))
    }
}

/// A white by its CIE 1931 chromaticity, or by XYZ where a standard fixes that instead.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WhitePoint {
    /// XYZ with Y = 1.
    pub xyz: [f64; 3],
}

impl WhitePoint {
    /// D65 as the RGB standards print it: x = 0.3127, y = 0.3290. Source: `iec61966-2-1`.
    pub const D65: Self = Self::from_xy(0.3127, 0.3290);
    /// D50 of the ICC connection space: XYZ 0.9642, 1, 0.8249. Source: `icc1-2022`, 6.3.4.3.
    pub const D50_ICC: Self = Self { xyz: [0.9642, 1.0, 0.8249] };

    /// The white with chromaticity (x, y) and Y = 1.
    #[must_use]
    pub const fn from_xy(x: f64, y: f64) -> Self {
        Self { xyz: [x / y, 1.0, (1.0 - x - y) / y] }
    }
}

/// Red, green and blue primaries by CIE 1931 chromaticity (x, y), and the white they add up to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RgbSpace {
    /// Chromaticities of red, green, blue.
    pub primaries: [[f64; 2]; 3],
    /// What equal amounts of the three give.
    pub white: WhitePoint,
}

impl RgbSpace {
    /// Rec. 709 primaries, D65: the space of sRGB and the one we work in. Source: `iec61966-2-1`.
    pub const REC709: Self =
        Self { primaries: [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], white: WhitePoint::D65 };
    /// P3 primaries, D65 (Display P3). Source: `smpte-eg432-1`.
    pub const P3_D65: Self =
        Self { primaries: [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]], white: WhitePoint::D65 };
    /// Adobe RGB (1998). Source: `adobergb1998`, 4.3.1.1.
    pub const ADOBE: Self =
        Self { primaries: [[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]], white: WhitePoint::D65 };

    /// The matrix from linear RGB to XYZ, or nothing when the primaries lie on one line.
    /// Source: `smpte-rp177`.
    #[must_use]
    pub fn to_xyz(&self) -> Option<Matrix3> {
        let columns = self.primaries.map(|[x, y]| [x / y, 1.0, (1.0 - x - y) / y]);
        let unscaled = Matrix3(columns).transposed();
        let amounts = unscaled.inverse()?.apply(self.white.xyz);
        let matrix = unscaled * Matrix3::diagonal(amounts);
        matrix.0.iter().flatten().all(|v| v.is_finite()).then_some(matrix)
    }

    /// The matrix from this space's linear RGB to linear Rec. 709 at D65, adapting the white by
    /// Bradford where it differs; nothing when the primaries lie on one line.
    #[must_use]
    pub fn to_rec709(&self) -> Option<Matrix3> {
        if *self == Self::REC709 {
            return Some(Matrix3::IDENTITY);
        }
        let adapt = if self.white == WhitePoint::D65 {
            Matrix3::IDENTITY
        } else {
            bradford(self.white, WhitePoint::D65)?
        };
        Some(xyz_to_rec709()? * adapt * self.to_xyz()?)
    }
}

/// XYZ (D65, Y of white = 1) to linear Rec. 709.
#[must_use]
pub fn xyz_to_rec709() -> Option<Matrix3> {
    RgbSpace::REC709.to_xyz()?.inverse()
}

/// Cone responses of the Bradford transform. Source: `lam1985`, as printed in `icc1-2022` annex E.
pub const BRADFORD: Matrix3 =
    Matrix3([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]);

/// The linear Bradford adaptation of XYZ from one white to another.
#[must_use]
pub fn bradford(from: WhitePoint, to: WhitePoint) -> Option<Matrix3> {
    let (source, target) = (BRADFORD.apply(from.xyz), BRADFORD.apply(to.xyz));
    let gains = [target[0] / source[0], target[1] / source[1], target[2] / source[2]];
    if !gains.iter().all(|g| g.is_finite()) {
        return None;
    }
    Some(BRADFORD.inverse()? * Matrix3::diagonal(gains) * BRADFORD)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_is_white_in_every_space() {
        for space in [RgbSpace::REC709, RgbSpace::P3_D65, RgbSpace::ADOBE] {
            let xyz = space.to_xyz().unwrap().apply([1.0; 3]);
            for (got, want) in xyz.iter().zip(WhitePoint::D65.xyz) {
                assert!((got - want).abs() < 1e-14);
            }
            let rgb = space.to_rec709().unwrap().apply([1.0; 3]);
            assert!(rgb.iter().all(|v| (v - 1.0).abs() < 1e-13), "{rgb:?}");
        }
    }

    #[test]
    fn a_matrix_times_its_inverse_is_the_identity() {
        let m = RgbSpace::P3_D65.to_xyz().unwrap();
        assert!((m * m.inverse().unwrap()).distance(&Matrix3::IDENTITY) < 1e-14);
        assert!(Matrix3([[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [1.0, 1.0, 1.0]]).inverse().is_none());
    }

    #[test]
    fn primaries_on_one_line_are_refused() {
        let flat = RgbSpace { primaries: [[0.2, 0.2], [0.3, 0.3], [0.4, 0.4]], white: WhitePoint::D65 };
        assert!(flat.to_xyz().is_none());
        let nonsense = RgbSpace { primaries: [[0.2, 0.0], [0.3, 0.3], [0.4, 0.4]], white: WhitePoint::D65 };
        assert!(nonsense.to_xyz().is_none());
    }

    #[test]
    fn adapting_there_and_back_changes_nothing() {
        let there = bradford(WhitePoint::D50_ICC, WhitePoint::D65).unwrap();
        let back = bradford(WhitePoint::D65, WhitePoint::D50_ICC).unwrap();
        assert!((there * back).distance(&Matrix3::IDENTITY) < 1e-14);
        let white = there.apply(WhitePoint::D50_ICC.xyz);
        assert!(white.iter().zip(WhitePoint::D65.xyz).all(|(a, b)| (a - b).abs() < 1e-14));
    }
}
