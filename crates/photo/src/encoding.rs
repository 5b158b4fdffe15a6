//! What a photo's code values mean: three transfer functions, a matrix to our light, and where this
//! knowledge comes from.
//!
//! In: what the file says of its colour. Out: an [`Encoding`], and the tables that turn codes into
//! light. Never here: pixels, files.
//!
//! Our light: linear, Rec. 709 primaries, D65, 1.0 = white of the file. Colours outside Rec. 709 come
//! out below 0 or above 1 and are kept.
//!
//! Sources: `iec61966-2-1`, `smpte-eg432-1`, `adobergb1998`, `itu-h273` (code points).

use std::sync::Arc;

use crate::colour::{Matrix3, RgbSpace, Transfer, WhitePoint};

/// How the meaning of the codes is known. Colour findings may rest on [`Basis::Embedded`] and
/// [`Basis::Declared`]; under the other two they carry the doubt that is named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Basis {
    /// An ICC profile in the file, by the name it gives itself.
    Embedded {
        /// The profile's description.
        profile: String,
    },
    /// A mark in the file (EXIF colour space, PNG chunk, HEIC code points), or the caller.
    Declared {
        /// Which mark.
        by: String,
    },
    /// The file says nothing; sRGB is assumed, as browsers do.
    Assumed,
    /// The file says something that we cannot use; sRGB is taken instead.
    Fallback {
        /// What was wrong.
        reason: String,
    },
}

impl Basis {
    /// Whether the file (or the caller) said what the codes mean and we followed it.
    #[must_use]
    pub const fn is_stated(&self) -> bool {
        matches!(self, Self::Embedded { .. } | Self::Declared { .. })
    }
}

impl std::fmt::Display for Basis {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Embedded { profile } => write!(f, "embedded ICC profile \"{profile}\""),
            Self::Declared { by } => write!(f, "declared by {by}"),
            Self::Assumed => f.write_str("sRGB assumed: the file states no colour space"),
            Self::Fallback { reason } => write!(f, "sRGB taken instead: {reason}"),
        }
    }
}

/// Transfer functions and matrix from a photo's codes to linear Rec. 709 light.
#[derive(Debug, Clone, PartialEq)]
pub struct Encoding {
    transfer: [Transfer; 3],
    to_rec709: Matrix3,
    basis: Basis,
}

impl Encoding {
    /// An encoding from its parts; the matrix leads from linear RGB of the file to linear Rec. 709.
    #[must_use]
    pub const fn new(transfer: [Transfer; 3], to_rec709: Matrix3, basis: Basis) -> Self {
        Self { transfer, to_rec709, basis }
    }

    /// sRGB, assumed.
    #[must_use]
    pub const fn srgb() -> Self {
        Self {
            transfer: [Transfer::Srgb, Transfer::Srgb, Transfer::Srgb],
            to_rec709: Matrix3::IDENTITY,
            basis: Basis::Assumed,
        }
    }

    /// Display P3: P3 primaries at D65 with the sRGB curve, as the caller states.
    #[must_use]
    pub fn display_p3() -> Self {
        Self::in_space(Transfer::Srgb, RgbSpace::P3_D65, "the caller")
    }

    /// Adobe RGB (1998), as the caller states.
    #[must_use]
    pub fn adobe_rgb() -> Self {
        Self::in_space(Transfer::adobe_rgb(), RgbSpace::ADOBE, "the caller")
    }

    /// Codes that are proportional to light already, Rec. 709 primaries, as the caller states.
    #[must_use]
    pub fn linear() -> Self {
        Self::in_space(Transfer::Power(1.0), RgbSpace::REC709, "the caller")
    }

    pub(crate) fn in_space(transfer: Transfer, space: RgbSpace, by: &str) -> Self {
        // The spaces named in this crate all have a matrix; a test says so.
        let to_rec709 = space.to_rec709().unwrap_or(Matrix3::IDENTITY);
        let basis = Basis::Declared { by: by.into() };
        Self { transfer: [transfer.clone(), transfer.clone(), transfer], to_rec709, basis }
    }

    /// The same meaning, known from elsewhere.
    #[must_use]
    pub fn with_basis(mut self, basis: Basis) -> Self {
        self.basis = basis;
        self
    }

    /// How the meaning is known.
    #[must_use]
    pub const fn basis(&self) -> &Basis {
        &self.basis
    }

    /// The transfer functions of red, green and blue.
    #[must_use]
    pub const fn transfer(&self) -> &[Transfer; 3] {
        &self.transfer
    }

    /// The matrix from linear RGB of the file to linear Rec. 709.
    #[must_use]
    pub const fn to_rec709(&self) -> &Matrix3 {
        &self.to_rec709
    }

    /// Linear Rec. 709 light of a code triple, each 0 to 1; the reference for the tables.
    #[must_use]
    pub fn to_linear(&self, codes: [f64; 3]) -> [f64; 3] {
        let light = [0, 1, 2].map(|c| self.transfer[c].to_linear(codes[c]));
        self.to_rec709.apply(light)
    }
}

/// The encoding for code points of ITU-T H.273: `Ok(None)` when they say nothing, a fallback for
/// spaces that we do not know, `Err` with its name for high dynamic range, whose codes no table of
/// ours would read rightly.
pub(crate) fn from_code_points(primaries: u16, transfer: u16, by: &str) -> Result<Option<Encoding>, String> {
    let curve = match transfer {
        16 => return Err("high dynamic range (PQ)".into()),
        18 => return Err("high dynamic range (HLG)".into()),
        2 | 13 => Some(Transfer::Srgb),
        1 | 6 | 14 | 15 => Some(rec709_curve()),
        4 => Some(Transfer::Power(2.2)),
        5 => Some(Transfer::Power(2.8)),
        8 => Some(Transfer::Power(1.0)),
        _ => None,
    };
    let space = match primaries {
        1 | 2 => Some(RgbSpace::REC709),
        9 => Some(REC2020),
        12 => Some(RgbSpace::P3_D65),
        _ => None,
    };
    if (primaries, transfer) == (2, 2) {
        return Ok(None);
    }
    Ok(Some(match (curve, space) {
        (Some(curve), Some(space)) => Encoding::in_space(curve, space, by),
        _ => Encoding::srgb().with_basis(Basis::Fallback {
            reason: format!("{by} {primaries}/{transfer} is not a colour space that we know"),
        }),
    }))
}

/// Rec. 2020 primaries, D65. Source: `itu-h273`, table 2, value 9.
const REC2020: RgbSpace =
    RgbSpace { primaries: [[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]], white: WhitePoint::D65 };

/// The inverse of the Rec. 709 camera curve. Source: `itu-h273`, table 3, value 1.
fn rec709_curve() -> Transfer {
    Transfer::Parametric {
        g: 1.0 / 0.45,
        a: 1.0 / 1.099,
        b: 0.099 / 1.099,
        c: 1.0 / 4.5,
        d: 0.081,
        e: 0.0,
        f: 0.0,
    }
}

/// Light by code, one table a channel; equal curves share one.
#[derive(Debug, Clone)]
pub(crate) struct Tables {
    pub(crate) light: [Arc<[f32]>; 3],
    /// The matrix, or nothing when it changes nothing.
    pub(crate) matrix: Option<[[f32; 3]; 3]>,
}

impl Tables {
    /// Tables for codes 0 to `max_code`.
    pub(crate) fn new(encoding: &Encoding, max_code: u16) -> Self {
        let table = |t: &Transfer| -> Arc<[f32]> {
            let top = f64::from(max_code);
            (0..=max_code).map(|code| t.to_linear(f64::from(code) / top) as f32).collect()
        };
        let [r, g, b] = &encoding.transfer;
        let red = table(r);
        let green = if g == r { red.clone() } else { table(g) };
        let blue = if b == r {
            red.clone()
        } else if b == g {
            green.clone()
        } else {
            table(b)
        };
        let identity = encoding.to_rec709 == Matrix3::IDENTITY;
        let matrix = (!identity).then(|| encoding.to_rec709.0.map(|row| row.map(|v| v as f32)));
        Self { light: [red, green, blue], matrix }
    }

    /// From linear RGB of the file to linear Rec. 709.
    #[inline]
    pub(crate) fn to_rec709(&self, rgb: [f32; 3]) -> [f32; 3] {
        match &self.matrix {
            None => rgb,
            Some(m) => m.map(|row| row[0] * rgb[0] + row[1] * rgb[1] + row[2] * rgb[2]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_space_that_we_name_has_a_matrix() {
        for space in [RgbSpace::REC709, RgbSpace::P3_D65, RgbSpace::ADOBE, REC2020] {
            assert!(space.to_rec709().is_some());
        }
    }

    #[test]
    fn tables_hold_the_transfer_at_every_code() {
        for encoding in [Encoding::srgb(), Encoding::adobe_rgb(), Encoding::display_p3()] {
            for max_code in [255, 65_535] {
                let tables = Tables::new(&encoding, max_code);
                assert_eq!(tables.light[1].len(), usize::from(max_code) + 1);
                for code in (0..=max_code).step_by(17) {
                    let x = f64::from(code) / f64::from(max_code);
                    let light = tables.light[0][usize::from(code)];
                    assert!((f64::from(light) - encoding.transfer[0].to_linear(x)).abs() < 1e-7);
                }
            }
        }
    }

    #[test]
    fn code_points_by_their_meaning() {
        assert_eq!(from_code_points(2, 2, "x"), Ok(None));
        assert!(from_code_points(9, 16, "x").is_err());
        assert!(from_code_points(9, 18, "x").is_err());
        let p3 = from_code_points(12, 13, "x").unwrap().unwrap();
        assert_eq!(p3.to_rec709(), Encoding::display_p3().to_rec709());
        let unknown = from_code_points(22, 13, "x").unwrap().unwrap();
        assert!(!unknown.basis().is_stated());
    }
}
