//! What the tests of this crate share: tables under `checks/`, sample files, small encoders.
#![allow(dead_code, unreachable_pub, reason = "each test uses its own part")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use std::io::Cursor;
use std::path::PathBuf;

use image::{ExtendedColorType, ImageEncoder};

/// A file under the repository's `checks/`, as text.
pub fn check(path: &str) -> String {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../checks").join(path);
    std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display()))
}

/// Rows of a comma-separated table without its header; lines that begin with # are comments.
pub fn rows(path: &str) -> Vec<Vec<String>> {
    let text = check(path);
    let lines = text.lines().filter(|l| !l.starts_with('#') && !l.is_empty());
    lines.skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// A number of a table.
pub fn number(cell: &str) -> f64 {
    cell.parse().unwrap_or_else(|_| panic!("{cell:?} is no number"))
}

/// A sample file's bytes.
pub fn sample(name: &str) -> Vec<u8> {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/samples").join(name);
    std::fs::read(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display()))
}

/// Every sample that is a still photo in a format that we read, by its name.
pub const STILLS: [&str; 14] = [
    "baseline.jpg",
    "full_chroma.jpg",
    "progressive.jpg",
    "grey.jpg",
    "phone.jpg",
    "palette.png",
    "alpha.png",
    "lossy.webp",
    "lossless.webp",
    "profile.heic",
    "plain.heic",
    "full_chroma.heic",
    "phone.heic",
    "ten_bit.heic",
];

/// A PNG of 16-bit RGB, with a profile if one is given.
pub fn png16(width: u32, height: u32, codes: &[u16], icc: Option<Vec<u8>>) -> Vec<u8> {
    let bytes: Vec<u8> = codes.iter().flat_map(|c| c.to_ne_bytes()).collect();
    let mut out = Vec::new();
    let mut encoder = image::codecs::png::PngEncoder::new(Cursor::new(&mut out));
    if let Some(icc) = icc {
        encoder.set_icc_profile(icc).unwrap();
    }
    encoder.write_image(&bytes, width, height, ExtendedColorType::Rgb16).unwrap();
    out
}

/// A PNG of 8-bit RGB.
pub fn png8(width: u32, height: u32, codes: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let encoder = image::codecs::png::PngEncoder::new(Cursor::new(&mut out));
    encoder.write_image(codes, width, height, ExtendedColorType::Rgb8).unwrap();
    out
}

/// A JPEG of quality 95 with an EXIF block (from the TIFF header on) if one is given.
pub fn jpeg(width: u32, height: u32, codes: &[u8], exif: Option<Vec<u8>>) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 95);
    if let Some(exif) = exif {
        encoder.set_exif_metadata(exif).unwrap();
    }
    encoder.write_image(codes, width, height, ExtendedColorType::Rgb8).unwrap();
    out
}

/// An EXIF block with one entry: the orientation.
pub fn orientation_block(value: u16) -> Vec<u8> {
    let mut block = b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01".to_vec();
    block.extend(value.to_be_bytes());
    block.extend([0, 0, 0, 0, 0, 0]);
    block
}
