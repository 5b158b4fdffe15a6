//! Straightened light as an encoded picture.
//!
//! In: planes of linear light. Out: JPEG content. Never here: what it shows.

use casebook::picture::{Content, Mark};
use image::ImageEncoder;
use photo::Plane;
use photo::colour::transfer::srgb_code;

/// Quality of pictures in reports: artefacts are smaller than what is to be seen.
const JPEG_QUALITY: u8 = 86;

/// Planes of linear light (1.0 = white) as an sRGB JPEG with shapes over it.
pub(crate) fn jpeg(rgb: &[Plane<f32>; 3], px_per_mm: Option<f64>, marks: Vec<Mark>) -> Option<Content> {
    let (w, h) = (rgb[0].width(), rgb[0].height());
    let codes: Vec<u8> = (0..=4096_u16).map(|i| srgb_code(f32::from(i) / 4096.0)).collect();
    let code = |v: f32| codes.get((v.clamp(0.0, 1.0) * 4096.0) as usize).copied().unwrap_or(0);
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
