//! CIELAB from XYZ and from our linear light.
//!
//! In: XYZ with Y of white = 1, or linear Rec. 709 (D65). Out: L* 0 to 100, a*, b*, relative to the
//! **D65** white unless another is given: our light is D65, so nothing needs adapting.
//! Never here: differences.
//!
//! Sources: `cie15-2018` (8.2.1), `iec61966-2-1`.

use casebook::elementary::cbrt;
use std::sync::OnceLock;

use super::space::{Matrix3, RgbSpace, WhitePoint, xyz_to_rec709};

/// (6/29)³: the ratio below which the cube root is replaced by a line. Source: `cie15-2018`.
const KNEE: f64 = 216.0 / 24_389.0;
/// (29/6)² / 3: slope of that line. Source: `cie15-2018`.
const SLOPE: f64 = 841.0 / 108.0;

/// A colour in CIELAB.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Lab {
    /// Lightness, 0 (black) to 100 (white).
    pub l: f64,
    /// Green (negative) to red (positive).
    pub a: f64,
    /// Blue (negative) to yellow (positive).
    pub b: f64,
}

impl Lab {
    /// The colour from its three coordinates.
    #[must_use]
    pub const fn new(l: f64, a: f64, b: f64) -> Self {
        Self { l, a, b }
    }
}

/// CIELAB of XYZ (Y of white = 1) relative to a white. Source: `cie15-2018`, 8.2.1.1.
#[must_use]
pub fn lab_from_xyz(xyz: [f64; 3], white: WhitePoint) -> Lab {
    let f = |i: usize| {
        let t = xyz[i] / white.xyz[i];
        if t > KNEE { cbrt(t) } else { SLOPE * t + 4.0 / 29.0 }
    };
    let (fx, fy, fz) = (f(0), f(1), f(2));
    Lab { l: 116.0 * fy - 16.0, a: 500.0 * (fx - fy), b: 200.0 * (fy - fz) }
}

/// XYZ (Y of white = 1) of a CIELAB colour. Source: `cie15-2018`, 8.2.1.2 (annex F).
#[must_use]
pub fn xyz_from_lab(lab: Lab, white: WhitePoint) -> [f64; 3] {
    let fy = (lab.l + 16.0) / 116.0;
    let inverse = |f: f64| if f > 6.0 / 29.0 { f * f * f } else { (f - 4.0 / 29.0) / SLOPE };
    [
        white.xyz[0] * inverse(fy + lab.a / 500.0),
        white.xyz[1] * inverse(fy),
        white.xyz[2] * inverse(fy - lab.b / 200.0),
    ]
}

/// CIELAB (D65) of linear Rec. 709 light, 1.0 = white.
///
/// # Example
/// ```
/// use photo::colour::lab_from_linear;
/// let grey = lab_from_linear([0.184_186_518_512_444_2; 3]); // CIE L* = 50
/// assert!((grey.l - 50.0).abs() < 1e-9 && grey.a.abs() < 1e-9 && grey.b.abs() < 1e-9);
/// ```
#[must_use]
pub fn lab_from_linear(rgb: [f64; 3]) -> Lab {
    lab_from_xyz(rec709().0.apply(rgb), WhitePoint::D65)
}

/// Linear Rec. 709 light of a CIELAB (D65) colour; may lie outside 0 to 1.
#[must_use]
pub fn linear_from_lab(lab: Lab) -> [f64; 3] {
    rec709().1.apply(xyz_from_lab(lab, WhitePoint::D65))
}

/// Rec. 709 to XYZ and back. The primaries are fixed, so neither can be singular (a test says so).
fn rec709() -> &'static (Matrix3, Matrix3) {
    static MATRICES: OnceLock<(Matrix3, Matrix3)> = OnceLock::new();
    MATRICES.get_or_init(|| {
        (RgbSpace::REC709.to_xyz().unwrap_or(Matrix3::IDENTITY), xyz_to_rec709().unwrap_or(Matrix3::IDENTITY))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_black_and_the_way_back() {
        let white = lab_from_linear([1.0; 3]);
        assert!((white.l - 100.0).abs() < 1e-10 && white.a.abs() < 1e-10 && white.b.abs() < 1e-10);
        let black = lab_from_linear([0.0; 3]);
        assert!(black.l.abs() < 1e-12 && black.a.abs() < 1e-12 && black.b.abs() < 1e-12);
        for r in 0..8 {
            for g in 0..8 {
                for b in 0..8 {
                    let rgb = [r, g, b].map(|v| f64::from(v) / 7.0);
                    let back = linear_from_lab(lab_from_linear(rgb));
                    assert!(rgb.iter().zip(back).all(|(x, y)| (x - y).abs() < 1e-12));
                }
            }
        }
    }
}
