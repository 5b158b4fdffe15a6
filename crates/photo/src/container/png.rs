//! Walks the chunks of a PNG file from its header to IEND.
//!
//! In: the bytes. Out: size, depth, the colour that chunks other than iCCP state, or what is missing.
//! Never here: inflating.
//!
//! Sources: `png3` (chunk layout 5.3, IHDR 11.2.1, colour chunks 11.3.2, precedence 12.1).

use super::{ONE_FRAME, SAVE_RGB, Survey, Trouble, take};
use crate::colour::{RgbSpace, Transfer, WhitePoint};
use crate::encoding::{Basis, Encoding, from_code_points};

const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

pub(crate) fn survey(bytes: &[u8]) -> Result<Survey, Trouble> {
    if bytes.len() < SIGNATURE.len() {
        return Err(Trouble::Truncated("within the signature".into()));
    }
    if !bytes.starts_with(SIGNATURE) {
        return Err(Trouble::Damaged("line ends were changed on the way (sent as text)".into()));
    }
    let mut header = None;
    let mut colour = Colour::default();
    let mut at = SIGNATURE.len();
    loop {
        let chunk = Chunk::read(bytes, at)?;
        let first = header.is_none();
        match &chunk.kind {
            b"IHDR" if first => header = Some(Header::read(chunk.body)?),
            _ if first => return Err(Trouble::Damaged("does not begin with its header".into())),
            b"IEND" => break,
            b"acTL" => {
                return Err(Trouble::Variety("an animated PNG".into(), ONE_FRAME));
            }
            b"sRGB" => colour.srgb = true,
            b"gAMA" => colour.gamma = take::<4>(chunk.body, 0).map(u32::from_be_bytes),
            b"cHRM" => colour.chromaticities = chromaticities(chunk.body),
            b"cICP" => colour.code_points = take::<4>(chunk.body, 0),
            _ => {}
        }
        at = chunk.end;
    }
    let Some(header) = header else {
        return Err(Trouble::Damaged("no header".into()));
    };
    Ok(Survey {
        width: header.width,
        height: header.height,
        bytes_per_pixel: header.bytes_per_pixel,
        declared: colour.encoding()?,
    })
}

struct Chunk<'a> {
    kind: [u8; 4],
    body: &'a [u8],
    end: usize,
}

impl<'a> Chunk<'a> {
    fn read(bytes: &'a [u8], at: usize) -> Result<Self, Trouble> {
        let early = || Trouble::Truncated("no IEND chunk".into());
        let length = u32::from_be_bytes(take::<4>(bytes, at).ok_or_else(early)?) as usize;
        let kind = take::<4>(bytes, at + 4).ok_or_else(early)?;
        if !kind.iter().all(u8::is_ascii_alphabetic) {
            return Err(Trouble::Damaged("a chunk without a name".into()));
        }
        let start = at + 8;
        let body = start.checked_add(length).and_then(|end| bytes.get(start..end)).ok_or_else(early)?;
        let end = start + length + 4;
        if end > bytes.len() {
            return Err(early());
        }
        Ok(Self { kind, body, end })
    }
}

struct Header {
    width: u64,
    height: u64,
    bytes_per_pixel: u64,
}

impl Header {
    fn read(body: &[u8]) -> Result<Self, Trouble> {
        let short = || Trouble::Damaged("header too short".into());
        let width = u32::from_be_bytes(take::<4>(body, 0).ok_or_else(short)?);
        let height = u32::from_be_bytes(take::<4>(body, 4).ok_or_else(short)?);
        let depth = *body.get(8).ok_or_else(short)?;
        let colour_type = *body.get(9).ok_or_else(short)?;
        if width == 0 || height == 0 {
            return Err(Trouble::Damaged(format!("a size of {width} × {height} pixels")));
        }
        let channels = match colour_type {
            0 => 2, // grey, perhaps with a transparent value
            2 => 4, // RGB, perhaps with a transparent value
            3 => 4, // palette, expanded
            4 => 2,
            6 => 4,
            other => return Err(Trouble::Damaged(format!("colour type {other}"))),
        };
        let sample = if depth == 16 { 2 } else { 1 };
        Ok(Self { width: width.into(), height: height.into(), bytes_per_pixel: sample * (channels + 3) })
    }
}

#[derive(Default)]
struct Colour {
    srgb: bool,
    gamma: Option<u32>,
    chromaticities: Option<[f64; 8]>,
    code_points: Option<[u8; 4]>,
}

/// White x, y, then red, green, blue, each in hundred-thousandths.
fn chromaticities(body: &[u8]) -> Option<[f64; 8]> {
    let mut values = [0.0; 8];
    for (i, value) in values.iter_mut().enumerate() {
        *value = f64::from(u32::from_be_bytes(take::<4>(body, 4 * i)?)) / 100_000.0;
    }
    Some(values)
}

impl Colour {
    /// By precedence: cICP, (iCCP, which the caller reads first,) sRGB, gAMA with cHRM.
    fn encoding(&self) -> Result<Option<Encoding>, Trouble> {
        if let Some([primaries, transfer, _, _]) = self.code_points {
            return from_code_points(primaries.into(), transfer.into(), "PNG cICP chunk")
                .map_err(|what| Trouble::Variety(format!("a PNG in {what}"), SAVE_RGB));
        }
        if self.srgb {
            return Ok(Some(Encoding::srgb().with_basis(declared("PNG sRGB chunk"))));
        }
        let Some(gamma) = self.gamma.filter(|g| (10_000..=1_000_000).contains(g)) else {
            return Ok(None);
        };
        // 45455 is what programs write for sRGB without the sRGB chunk; PNG says to read it so.
        let transfer = if (45_000..=46_000).contains(&gamma) {
            Transfer::Srgb
        } else {
            Transfer::Power(100_000.0 / f64::from(gamma))
        };
        let space = self.chromaticities.map_or(RgbSpace::REC709, |c| RgbSpace {
            primaries: [[c[2], c[3]], [c[4], c[5]], [c[6], c[7]]],
            white: WhitePoint::from_xy(c[0], c[1]),
        });
        let near_709 = self.chromaticities.is_none_or(|c| {
            let standard = [0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06];
            c.iter().zip(standard).all(|(a, b)| (a - b).abs() < 2e-4)
        });
        let matrix = if near_709 { RgbSpace::REC709.to_rec709() } else { space.to_rec709() };
        let basis = declared("PNG gAMA and cHRM chunks");
        Ok(match matrix {
            Some(matrix) => {
                Some(Encoding::new([transfer.clone(), transfer.clone(), transfer], matrix, basis))
            }
            None => Some(Encoding::srgb().with_basis(Basis::Fallback {
                reason: "the PNG cHRM chunk describes no colour space".into(),
            })),
        })
    }
}

fn declared(by: &str) -> Basis {
    Basis::Declared { by: by.into() }
}
