//! Checks the RIFF frame of a WebP file and reads its size.
//!
//! In: the bytes. Out: size, or what is missing. Never here: decoding.
//!
//! Sources: `rfc9649` (2.3 RIFF, 2.5 to 2.7 chunks).

use super::{ONE_FRAME, Survey, Trouble, take};

/// Bit of the VP8X flags that marks an animation.
const ANIMATION: u8 = 0x02;

pub(crate) fn survey(bytes: &[u8]) -> Result<Survey, Trouble> {
    let early = || Trouble::Truncated("within the header".into());
    let stated = u64::from(u32::from_le_bytes(take::<4>(bytes, 4).ok_or_else(early)?)) + 8;
    let got = bytes.len() as u64;
    if stated > got {
        return Err(Trouble::Truncated(format!("{got} of {stated} bytes")));
    }
    let kind = take::<4>(bytes, 12).ok_or_else(early)?;
    let size = u32::from_le_bytes(take::<4>(bytes, 16).ok_or_else(early)?) as usize;
    let end = size.checked_add(20).ok_or_else(early)?;
    let body = bytes.get(20..end).ok_or_else(early)?;
    let (width, height) = match &kind {
        b"VP8X" => {
            let flags = *body.first().ok_or_else(early)?;
            if flags & ANIMATION != 0 {
                return Err(Trouble::Variety("an animated WebP".into(), ONE_FRAME));
            }
            let side = |at| take::<3>(body, at).map(|b| u32::from_le_bytes([b[0], b[1], b[2], 0]) + 1);
            (side(4).ok_or_else(early)?, side(7).ok_or_else(early)?)
        }
        b"VP8L" => {
            let bits = u32::from_le_bytes(take::<4>(body, 1).ok_or_else(early)?);
            ((bits & 0x3fff) + 1, ((bits >> 14) & 0x3fff) + 1)
        }
        b"VP8 " => {
            let side = |at| take::<2>(body, at).map(|b| u32::from(u16::from_le_bytes(b) & 0x3fff));
            (side(6).ok_or_else(early)?, side(8).ok_or_else(early)?)
        }
        _ => return Err(Trouble::Damaged("no picture chunk".into())),
    };
    if width == 0 || height == 0 {
        return Err(Trouble::Damaged(format!("a size of {width} × {height} pixels")));
    }
    // Raster with alpha, the decoder's own planes or 32-bit pixels, our copy without alpha.
    Ok(Survey { width: width.into(), height: height.into(), bytes_per_pixel: 11, declared: None })
}
