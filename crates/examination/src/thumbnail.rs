//! Small copies of photos for reports: re-encoded, so that no EXIF leaves with them.

use std::sync::LazyLock;

use casebook::names::PhotoFile;
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};
use photo::Photo;

/// Longest side of a small copy, pixels.
const LONG_SIDE: usize = 1_000;
/// JPEG quality of small copies.
const QUALITY: u8 = 82;

/// Entries of the table from light to code. Indexed by the root of the light, neighbours differ by
/// less than half a code everywhere.
const TABLE: usize = 4_096;

/// The 8-bit sRGB code of a linear value, by table.
fn to_code(light: f32) -> u8 {
    static CODES: LazyLock<Vec<u8>> = LazyLock::new(|| {
        (0..TABLE)
            .map(|i| i as f32 / (TABLE - 1) as f32)
            .map(|root| photo::colour::transfer::srgb_code(root * root))
            .collect()
    });
    let root = light.clamp(0.0, 1.0).sqrt(); // NaN stays NaN and indexes 0
    CODES.get((root * (TABLE - 1) as f32 + 0.5) as usize).copied().unwrap_or(0)
}

/// A small copy of one photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Thumbnail {
    /// The photo's file in the case.
    pub file: PhotoFile,
    /// The encoded copy.
    pub jpeg: Vec<u8>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// The copy's width over the photo's.
    pub scale: f64,
}

impl Thumbnail {
    /// The small copy of a photo: reduced in linear light by a whole factor, sRGB.
    #[must_use]
    pub fn of(file: &PhotoFile, photo: &Photo) -> Option<Self> {
        Self::at_most(file, photo, LONG_SIDE)
    }

    /// A copy with at most so many pixels on the long side (at least 1), as [`Thumbnail::of`].
    #[must_use]
    pub fn at_most(file: &PhotoFile, photo: &Photo, long_side: usize) -> Option<Self> {
        let factor = photo.width().max(photo.height()).div_ceil(long_side.max(1)).max(1);
        let [red, green, blue] = photo.reduced_linear(factor);
        let (width, height) = (red.width(), red.height());
        let mut codes = vec![0; 3 * width * height];
        for (pixel, ((r, g), b)) in
            codes.chunks_exact_mut(3).zip(red.data().iter().zip(green.data()).zip(blue.data()))
        {
            for (code, light) in pixel.iter_mut().zip([r, g, b]) {
                *code = to_code(*light);
            }
        }
        Self::encode(file, &codes, width, height, 1.0 / factor as f64)
    }

    /// A still smaller copy with at most so many pixels on the long side.
    #[must_use]
    pub fn smaller(&self, long_side: u32) -> Option<Self> {
        let whole = image::load_from_memory_with_format(&self.jpeg, image::ImageFormat::Jpeg).ok()?;
        let small = whole.thumbnail(long_side, long_side).to_rgb8();
        let (width, height) = (small.width() as usize, small.height() as usize);
        let scale = self.scale * f64::from(small.width()) / f64::from(self.width.max(1));
        Self::encode(&self.file, small.as_raw(), width, height, scale)
    }

    fn encode(file: &PhotoFile, codes: &[u8], width: usize, height: usize, scale: f64) -> Option<Self> {
        let (width, height) = (u32::try_from(width).ok()?, u32::try_from(height).ok()?);
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
            .write_image(codes, width, height, ExtendedColorType::Rgb8)
            .ok()?;
        Some(Self { file: file.clone(), jpeg, width, height, scale })
    }
}
