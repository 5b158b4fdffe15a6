//! Reads an ICC profile into an [`Encoding`].
//!
//! In: the profile's bytes. Out: transfer curves and a matrix to linear Rec. 709 at D65, or why this
//! profile gives none. Never here: pixels, rendering intents, black point compensation.
//!
//! Read: RGB profiles by matrix and curves, grey ones by their curve. Not read: profiles that describe
//! RGB by a table alone, CMYK and device links; the caller then takes sRGB and says so.
//! The container is parsed by `moxcms`; curves and matrices are evaluated here, so that a colour
//! comes out with the same bits everywhere.
//!
//! Sources: `icc1-2022` (7.2 header, 9.2 tags, 10.6 curves, 10.18 parametric curves, annex E and F).

use moxcms::{ColorProfile, DataColorSpace, ProfileText, ToneReprCurve};

use crate::colour::space::{bradford, xyz_to_rec709};
use crate::colour::{Matrix3, Transfer, WhitePoint};
use crate::encoding::{Basis, Encoding};

/// How far the three colorants may add up beside the D50 white; the profiles of cameras, scanners
/// and screens that were looked at keep within 0.001 (rounding of the 15.16 numbers gives 3e-5).
const WHITE_TOLERANCE: f64 = 0.02;
/// Longest profile name kept.
const NAME_LENGTH: usize = 80;

/// What the raster holds, as the profile must fit it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Raster {
    Grey,
    Rgb,
}

/// The encoding that a profile describes, or why there is none, in words for a person.
pub(crate) fn encoding(bytes: &[u8], raster: Raster) -> Result<Encoding, String> {
    let profile = ColorProfile::new_from_slice(bytes).map_err(|e| format!("damaged ICC profile ({e})"))?;
    let name = name(&profile);
    let basis = Basis::Embedded { profile: name.clone() };
    match (profile.color_space, raster) {
        (DataColorSpace::Rgb, _) => {}
        (DataColorSpace::Gray, Raster::Grey) => {
            let curve = profile.gray_trc.as_ref().ok_or("grey ICC profile without a curve")?;
            let curve = transfer(curve)?;
            return Ok(Encoding::new([curve.clone(), curve.clone(), curve], Matrix3::IDENTITY, basis));
        }
        (space, _) => return Err(format!("ICC profile \"{name}\" is for {space:?} data")),
    }
    if profile.pcs != DataColorSpace::Xyz {
        return Err(format!("ICC profile \"{name}\" describes RGB by a table"));
    }
    let curves = [&profile.red_trc, &profile.green_trc, &profile.blue_trc];
    let [Some(red), Some(green), Some(blue)] = curves else {
        return Err(format!("ICC profile \"{name}\" describes RGB by a table"));
    };
    let colorants = Matrix3(profile.colorant_matrix().v);
    let white = colorants.apply([1.0; 3]);
    let off = white.iter().zip(WhitePoint::D50_ICC.xyz).map(|(a, b)| (a - b).abs());
    // Written so that a NaN is refused too.
    if !off.fold(0.0, f64::max).le(&WHITE_TOLERANCE) || colorants.inverse().is_none() {
        return Err(format!("ICC profile \"{name}\" has primaries that do not add up to its white"));
    }
    let matrix = bradford(WhitePoint::D50_ICC, WhitePoint::D65)
        .zip(xyz_to_rec709())
        .map(|(adapt, to_rgb)| to_rgb * adapt * colorants)
        .ok_or("no matrix")?;
    Ok(Encoding::new([transfer(red)?, transfer(green)?, transfer(blue)?], matrix, basis))
}

fn transfer(curve: &ToneReprCurve) -> Result<Transfer, String> {
    let transfer = match curve {
        ToneReprCurve::Lut(table) => match table.as_slice() {
            [] => Transfer::Power(1.0),
            // A single entry is an exponent, 8 bits before and 8 behind the point.
            [gamma] => Transfer::Power(f64::from(*gamma) / 256.0),
            entries => Transfer::Table(entries.iter().map(|v| f64::from(*v) / 65_535.0).collect()),
        },
        ToneReprCurve::Parametric(p) => {
            let p: Vec<f64> = p.iter().map(|v| f64::from(*v)).collect();
            let (a, b, c, d, e, f) = match p.as_slice() {
                [_] => (1.0, 0.0, 0.0, 0.0, 0.0, 0.0),
                [_, a, b] => (*a, *b, 0.0, -b / a, 0.0, 0.0),
                [_, a, b, c] => (*a, *b, 0.0, -b / a, *c, *c),
                [_, a, b, c, d] => (*a, *b, *c, *d, 0.0, 0.0),
                [_, a, b, c, d, e, f] => (*a, *b, *c, *d, *e, *f),
                _ => return Err("ICC profile with a curve of unknown form".into()),
            };
            Transfer::Parametric { g: p[0], a, b, c, d, e, f }
        }
    };
    // A curve must lead from darker to lighter and reach light at all.
    let samples: Vec<f64> = (0..=64).map(|i| transfer.to_linear(f64::from(i) / 64.0)).collect();
    let rises = samples.windows(2).all(|w| w[1] >= w[0] - 1e-3);
    if rises && samples[64] > samples[0] + 0.1 {
        Ok(transfer)
    } else {
        Err("ICC profile with a curve that does not rise".into())
    }
}

fn name(profile: &ColorProfile) -> String {
    let text = match &profile.description {
        Some(ProfileText::PlainString(s)) => s.clone(),
        Some(ProfileText::Localizable(all)) => {
            let english = all.iter().find(|s| s.language.starts_with("en")).or(all.first());
            english.map(|s| s.value.clone()).unwrap_or_default()
        }
        Some(ProfileText::Description(d)) => d.ascii_string.clone(),
        None => String::new(),
    };
    let clean: String = text.chars().filter(|c| !c.is_control()).take(NAME_LENGTH).collect();
    let clean = clean.trim();
    if clean.is_empty() { "unnamed".into() } else { clean.into() }
}
