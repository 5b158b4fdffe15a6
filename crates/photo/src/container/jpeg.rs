//! Walks the markers of a JPEG file from its start to its end-of-image marker.
//!
//! In: the bytes. Out: size and kind of the frame, or what is missing. Never here: entropy decoding.
//!
//! Sources: `itu-t81` (annex B; marker codes in table B.1).

use super::{SAVE_RGB, Survey, Trouble, take};

/// More scans than any encoder writes (progressive files have about ten); each costs a pass over
/// the picture, so a small file with thousands would keep the decoder busy for hours.
const MAX_SCANS: usize = 64;

pub(crate) fn survey(bytes: &[u8]) -> Result<Survey, Trouble> {
    let mut at = 2;
    let mut frame: Option<Frame> = None;
    let mut scans = 0;
    loop {
        let marker =
            next_marker(bytes, &mut at).ok_or_else(|| Trouble::Truncated(missing(frame.is_some(), scans)))?;
        match marker {
            0xd9 => break,
            0x01 | 0xd0..=0xd8 => continue,
            _ => {}
        }
        let length = take::<2>(bytes, at).map(u16::from_be_bytes);
        let length = length.ok_or_else(|| Trouble::Truncated(missing(frame.is_some(), scans)))?;
        if length < 2 {
            return Err(Trouble::Damaged(format!("a segment of {length} bytes")));
        }
        let body = bytes.get(at + 2..at + usize::from(length));
        let body = body.ok_or_else(|| Trouble::Truncated(missing(frame.is_some(), scans)))?;
        match marker {
            0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf => {
                if frame.is_some() {
                    return Err(Trouble::Damaged("two frame headers".into()));
                }
                frame = Some(Frame::read(marker, body)?);
            }
            0xda => {
                scans += 1;
                if scans > MAX_SCANS {
                    return Err(Trouble::Variety(
                        format!("a JPEG with more than {MAX_SCANS} scans"),
                        SAVE_RGB,
                    ));
                }
            }
            _ => {}
        }
        at += usize::from(length);
    }
    let Some(frame) = frame else {
        return Err(Trouble::Damaged("no frame header".into()));
    };
    if scans == 0 {
        return Err(Trouble::Damaged("no picture data".into()));
    }
    // Raster, plus the coefficients of a progressive file (2 bytes each, up to 3 a pixel).
    let coefficients = if frame.progressive { 6 } else { 0 };
    Ok(Survey { width: frame.width, height: frame.height, bytes_per_pixel: 4 + coefficients, declared: None })
}

fn missing(frame: bool, scans: usize) -> String {
    match (frame, scans) {
        (false, _) => "before the picture's size".into(),
        (true, 0) => "before the picture data".into(),
        (true, _) => "no end mark after the picture data".into(),
    }
}

/// Moves behind the next marker code and gives it. In entropy-coded data `FF 00` stands for a byte
/// FF; restart markers are skipped by the caller.
fn next_marker(bytes: &[u8], at: &mut usize) -> Option<u8> {
    loop {
        let rest = bytes.get(*at..)?;
        *at += rest.iter().position(|b| *b == 0xff)?;
        while bytes.get(*at) == Some(&0xff) {
            *at += 1;
        }
        let code = *bytes.get(*at)?;
        *at += 1;
        if code != 0 {
            return Some(code);
        }
    }
}

struct Frame {
    width: u64,
    height: u64,
    progressive: bool,
}

impl Frame {
    fn read(marker: u8, body: &[u8]) -> Result<Self, Trouble> {
        let damaged = || Trouble::Damaged("frame header too short".into());
        let precision = *body.first().ok_or_else(damaged)?;
        let height = u16::from_be_bytes(take::<2>(body, 1).ok_or_else(damaged)?);
        let width = u16::from_be_bytes(take::<2>(body, 3).ok_or_else(damaged)?);
        let components = *body.get(5).ok_or_else(damaged)?;
        let kind = match marker {
            0xc0..=0xc2 => None,
            0xc3 | 0xc7 | 0xcb | 0xcf => Some("a lossless JPEG"),
            0xc5 | 0xc6 | 0xcd | 0xce => Some("a hierarchical JPEG"),
            _ => Some("an arithmetic-coded JPEG"),
        };
        if let Some(kind) = kind {
            return Err(Trouble::Variety(kind.into(), SAVE_RGB));
        }
        if precision != 8 {
            return Err(Trouble::Variety(format!("a {precision}-bit JPEG"), SAVE_RGB));
        }
        match components {
            1 | 3 => {}
            4 => return Err(Trouble::Variety("a CMYK (print) JPEG".into(), SAVE_RGB)),
            n => return Err(Trouble::Variety(format!("a JPEG with {n} colour channels"), SAVE_RGB)),
        }
        if width == 0 || height == 0 {
            return Err(Trouble::Damaged(format!("a size of {width} × {height} pixels")));
        }
        Ok(Self { width: width.into(), height: height.into(), progressive: marker == 0xc2 })
    }
}
