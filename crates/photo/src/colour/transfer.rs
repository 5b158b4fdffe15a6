//! Transfer functions: from a code value in 0..1 to relative light in 0..1 and back.
//!
//! In: a code value, 0 to 1. Out: linear light, 0 to 1 of the encoding's white, and the reverse.
//! Never here: primaries, bit depths, tables.
//!
//! Sources: `iec61966-2-1` (sRGB), `adobergb1998`, `icc1-2022` (parametric curves).

use casebook::elementary::pow;

/// sRGB: code value below which the curve is a straight line. Source: `iec61966-2-1`.
pub const SRGB_CODE_KNEE: f64 = 0.04045;
/// sRGB: linear value below which the inverse is a straight line. Source: `iec61966-2-1`.
pub const SRGB_LINEAR_KNEE: f64 = 0.003_130_8;
/// sRGB: slope of the straight part, code over light. Source: `iec61966-2-1`.
pub const SRGB_SLOPE: f64 = 12.92;
/// Adobe RGB (1998): exponent, 2 + 51/256. Source: `adobergb1998`, 4.3.1.2.
pub const ADOBE_GAMMA: f64 = 563.0 / 256.0;

/// How code values map to light.
#[derive(Debug, Clone, PartialEq)]
pub enum Transfer {
    /// The curve of IEC 61966-2-1; Display P3 uses it too.
    Srgb,
    /// A pure power: light = code to the given exponent.
    Power(f64),
    /// An ICC parametric curve in its fullest form (type 4): `(a·x + b)^g + e` from `d` on,
    /// `c·x + f` below.
    Parametric {
        /// Exponent.
        g: f64,
        /// Factor inside the power.
        a: f64,
        /// Offset inside the power.
        b: f64,
        /// Slope of the straight part.
        c: f64,
        /// Code value at which the power part begins.
        d: f64,
        /// Offset of the power part.
        e: f64,
        /// Offset of the straight part.
        f: f64,
    },
    /// Light at equally spaced code values from 0 to 1 (two or more), linear in between.
    Table(Vec<f64>),
}

impl Transfer {
    /// The curve of Adobe RGB (1998).
    #[must_use]
    pub const fn adobe_rgb() -> Self {
        Self::Power(ADOBE_GAMMA)
    }

    /// Linear light of a code value; both 0 to 1. Codes outside are taken at the nearest end and the
    /// result is kept within 0 to 1, as no file can hold more.
    ///
    /// # Example
    /// ```
    /// use photo::colour::Transfer;
    /// assert!((Transfer::Srgb.to_linear(0.5) - 0.214_041_140_482_232_5).abs() < 1e-15);
    /// ```
    #[must_use]
    pub fn to_linear(&self, code: f64) -> f64 {
        let x = if code.is_nan() { 0.0 } else { code.clamp(0.0, 1.0) };
        let y = match self {
            Self::Srgb => srgb_to_linear(x),
            Self::Power(g) => pow(x, *g),
            Self::Parametric { g, a, b, c, d, e, f } => {
                if x < *d {
                    c * x + f
                } else {
                    pow((a * x + b).max(0.0), *g) + e
                }
            }
            Self::Table(light) => interpolate(light, x),
        };
        if y.is_nan() { 0.0 } else { y.clamp(0.0, 1.0) }
    }
}

/// sRGB code value (0 to 1) to linear light. Source: `iec61966-2-1`.
#[must_use]
pub fn srgb_to_linear(code: f64) -> f64 {
    if code <= SRGB_CODE_KNEE { code / SRGB_SLOPE } else { pow((code + 0.055) / 1.055, 2.4) }
}

/// Linear light (0 to 1) to sRGB code value. Source: `iec61966-2-1`.
#[must_use]
pub fn srgb_from_linear(light: f64) -> f64 {
    if light <= SRGB_LINEAR_KNEE { light * SRGB_SLOPE } else { 1.055 * pow(light, 1.0 / 2.4) - 0.055 }
}

/// Adobe RGB (1998) code value (0 to 1) to linear light. Source: `adobergb1998`.
#[must_use]
pub fn adobe_to_linear(code: f64) -> f64 {
    pow(code, ADOBE_GAMMA)
}

/// Linear light (0 to 1) to Adobe RGB (1998) code value. Source: `adobergb1998`.
#[must_use]
pub fn adobe_from_linear(light: f64) -> f64 {
    pow(light, 1.0 / ADOBE_GAMMA)
}

/// The 8-bit sRGB code nearest to a linear value; for pictures that people look at.
///
/// # Input
/// Linear light; below 0 and above 1 are clipped, NaN becomes 0.
#[must_use]
pub fn srgb_code(light: f32) -> u8 {
    let light = if light.is_nan() { 0.0 } else { f64::from(light).clamp(0.0, 1.0) };
    (srgb_from_linear(light) * 255.0 + 0.5).floor() as u8
}

fn interpolate(table: &[f64], x: f64) -> f64 {
    let Some(last) = table.len().checked_sub(1) else { return x };
    let at = x * last as f64;
    let low = (at.floor() as usize).min(last);
    let high = (low + 1).min(last);
    let t = at - low as f64;
    table[low] + (table[high] - table[low]) * t
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_of_a_straight_line_changes_nothing() {
        let line = Transfer::Table((0..17).map(|i| f64::from(i) / 16.0).collect());
        for i in 0..=1000 {
            let x = f64::from(i) / 1000.0;
            assert!((line.to_linear(x) - x).abs() < 1e-12);
        }
    }

    #[test]
    fn srgb_written_as_an_icc_parametric_curve_is_the_same_curve() {
        let parametric = Transfer::Parametric {
            g: 2.4,
            a: 1.0 / 1.055,
            b: 0.055 / 1.055,
            c: 1.0 / 12.92,
            d: SRGB_CODE_KNEE,
            e: 0.0,
            f: 0.0,
        };
        for i in 0..=255 {
            let x = f64::from(i) / 255.0;
            assert!((parametric.to_linear(x) - Transfer::Srgb.to_linear(x)).abs() < 1e-12);
        }
    }

    #[test]
    fn there_and_back_again() {
        for i in 0..=1000 {
            let x = f64::from(i) / 1000.0;
            // The standard's two knees are rounded, so the round trip is off by up to 3e-8 there.
            assert!((srgb_to_linear(srgb_from_linear(x)) - x).abs() < 1e-7);
            assert!((adobe_to_linear(adobe_from_linear(x)) - x).abs() < 1e-12);
        }
        for code in 0..=255u8 {
            let light = srgb_to_linear(f64::from(code) / 255.0);
            assert_eq!(srgb_code(light as f32), code);
        }
    }
}
