//! Photo files as a browser may show them: what a file is by its first bytes and its size in pixels,
//! and a copy of it that every browser can draw.
//!
//! In: a file from a stranger. Out: its kind and size, or the reason why it is refused; a JPEG.
//! Never here: what the photo shows.

use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

use casebook::names::PhotoFile;
use image::{ImageFormat, ImageReader};
use photo::Limits;

use crate::thumbnail::Thumbnail;

/// Bytes that tell what a file is.
const HEAD: usize = 32;

/// What a photo file is, as far as its header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhotoKind {
    /// `image/jpeg`, `image/png`, `image/webp` or `image/heic`.
    pub media_type: &'static str,
    /// Usual ending of such files.
    pub ending: &'static str,
    /// Width and height as stored, where the header was read (all but HEIC).
    pub size_px: Option<(u32, u32)>,
}

/// Reads a file's kind and size from its header; nothing is decoded.
///
/// # Errors
/// A sentence with the remedy: no photo that is read, or larger than [`Limits`] allows.
pub fn probe(path: &Path, name: &str) -> Result<PhotoKind, String> {
    let limits = Limits::default();
    let open = |error: std::io::Error| format!("{name}: cannot be read ({error}); send it again");
    let mut file = File::open(path).map_err(open)?;
    let bytes = file.metadata().map_err(open)?.len();
    if bytes > limits.max_bytes {
        return Err(format!(
            "{name}: {} MiB is over the limit of {} MiB for one photo; make it smaller",
            bytes >> 20,
            limits.max_bytes >> 20
        ));
    }
    let mut head = Vec::new();
    Read::by_ref(&mut file).take(HEAD as u64).read_to_end(&mut head).map_err(open)?;
    let (format, media_type, ending) = match head.as_slice() {
        [0xff, 0xd8, 0xff, ..] => (Some(ImageFormat::Jpeg), "image/jpeg", "jpg"),
        [0x89, b'P', b'N', b'G', ..] => (Some(ImageFormat::Png), "image/png", "png"),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => {
            (Some(ImageFormat::WebP), "image/webp", "webp")
        }
        [_, _, _, _, b'f', b't', b'y', b'p', b'h' | b'm', ..] => (None, "image/heic", "heic"),
        [] => return Err(format!("{name}: is empty; save or send it again")),
        _ => {
            return Err(format!(
                "{name}: is no JPEG, PNG, WebP or HEIC photo; save it as JPEG and give that"
            ));
        }
    };
    let size_px = match format {
        Some(format) => {
            file.rewind().map_err(open)?;
            let size = ImageReader::with_format(BufReader::new(file), format)
                .into_dimensions()
                .map_err(|_| format!("{name}: its header is damaged; save or send it again"))?;
            if u64::from(size.0) * u64::from(size.1) > limits.max_pixels
                || size.0.max(size.1) > limits.max_side
            {
                return Err(format!(
                    "{name}: {} × {} pixels is over the limit of {} megapixels; make it smaller",
                    size.0,
                    size.1,
                    limits.max_pixels / 1_000_000
                ));
            }
            Some(size)
        }
        None => None,
    };
    Ok(PhotoKind { media_type, ending, size_px })
}

/// A copy of a photo as a JPEG that every browser draws: upright, sRGB, without EXIF.
///
/// # Input
/// `long_side`: most pixels on the long side.
///
/// # Errors
/// A sentence with the remedy when the photo cannot be decoded.
pub fn screen_copy(path: &Path, long_side: usize) -> Result<Thumbnail, String> {
    let photo = photo::read(path, &Limits::default()).map_err(|error| error.to_string())?;
    let unnamed: PhotoFile =
        "photo".parse().map_err(|error: casebook::names::NameError| error.to_string())?;
    Thumbnail::at_most(&unnamed, &photo, long_side)
        .ok_or_else(|| "the photo cannot be drawn; save it as JPEG and give that".to_owned())
}
