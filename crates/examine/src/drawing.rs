//! Straightened light as an encoded picture.
//!
//! In: planes of linear light. Out: JPEG content. Never here: what it shows.

use std::sync::LazyLock;

use casebook::picture::{Content, Mark};
use image::ImageEncoder;
use photo::Plane;
use photo::colour::transfer::srgb_code;

/// Quality of pictures in reports: artefacts are smaller than what is to be seen.
const JPEG_QUALITY: u8 = 86;

/// Entries of the table from light to code. Indexed by the root of the light, neighbours differ by
/// less than half a code everywhere.
const TABLE: usize = 4_096;

/// The 8-bit sRGB code of a linear value, by table: half a code off at most, for pictures.
pub(crate) fn code(light: f32) -> u8 {
    static CODES: LazyLock<Vec<u8>> = LazyLock::new(|| {
        (0..TABLE).map(|i| i as f32 / (TABLE - 1) as f32).map(|root| srgb_code(root * root)).collect()
    });
    let root = light.clamp(0.0, 1.0).sqrt(); // NaN stays NaN and indexes 0
    CODES.get((root * (TABLE - 1) as f32 + 0.5) as usize).copied().unwrap_or(0)
}

/// Planes of linear light (1.0 = white) as an sRGB JPEG with shapes over it.
pub(crate) fn jpeg(rgb: &[Plane<f32>; 3], px_per_mm: Option<f64>, marks: Vec<Mark>) -> Option<Content> {
    let (w, h) = (rgb[0].width(), rgb[0].height());
    let mut pixels = Vec::with_capacity(3 * w * h);
    for y in 0..h {
        let rows = [rgb[0].row(y), rgb[1].row(y), rgb[2].row(y)];
        for x in 0..w {
            pixels.extend(rows.map(|r| code(r[x])));
        }
    }
    let (width, height) = (u32::try_from(w).ok()?, u32::try_from(h).ok()?);
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY)
        .write_image(&pixels, width, height, image::ExtendedColorType::Rgb8)
        .ok()?;
    Some(Content::Image { media_type: "image/jpeg", bytes, width, height, px_per_mm, marks })
}
