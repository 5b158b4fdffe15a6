//! What reading a kept face description must keep, for the fuzz target and for the ordinary replay of
//! its inputs (`crates/placement/tests/fuzz_corpus.rs`).
//!
//! Laws: arbitrary bytes give a description or nothing, never a panic. What was read is written back
//! as the same bytes, and can be looked for in a photo.

use casebook::names::FaceId;
use photo::{Codes, Encoding, Photo};
use placement::{FaceDescription, FaceIndex, ReferenceFace};

/// Size of the face that the bytes are said to describe, mm.
pub(crate) const SIZE_MM: (f64, f64) = (60.0, 100.0);

/// Its name.
pub(crate) fn face() -> FaceId {
    let product = "line/release/pack".parse().unwrap_or_else(|e| panic!("{e}"));
    FaceId { product, face: "front".parse().unwrap_or_else(|e| panic!("{e}")) }
}

/// A small drawn picture: squares of changing size and shade.
pub(crate) fn drawing(width: usize, height: usize) -> Photo {
    let shade = |x: usize, y: usize| -> u8 {
        let (i, j) = (x / 9, y / 11);
        let dark = (x % 9 > 2 + i % 4) && (y % 11 > 2 + j % 5);
        if dark { (40 + 37 * (i * 7 + j * 3) % 90) as u8 } else { (150 + 29 * (i + j * 5) % 90) as u8 }
    };
    let codes = (0..width * height).flat_map(|k| [shade(k % width, k / width); 3]).collect();
    Photo::from_codes("drawing", width, height, Codes::Eight(codes), Encoding::srgb())
        .unwrap_or_else(|| panic!("a drawing of {width} × {height}"))
}

/// Holds `bytes` to the laws; whether they were a description.
pub(crate) fn holds(bytes: &[u8]) -> bool {
    let Some(description) = FaceDescription::from_bytes(face(), SIZE_MM, bytes) else { return false };
    assert!(description.to_bytes() == bytes, "written back as other bytes");
    let none: Vec<ReferenceFace> = Vec::new();
    let index = FaceIndex::new(vec![description]);
    for placed in index.place(&drawing(96, 160), &none) {
        assert!(placed.px_per_mm.is_finite() && placed.px_per_mm > 0.0, "{placed:?}");
    }
    true
}
