//! From the bytes of one file to a [`Photo`].
//!
//! In: a path or bytes, and limits. Out: a photo, or an error that names the file and the remedy.
//! Never here: a folder, a case, a second photo.
//!
//! Order of the work, so that a hostile file costs little: size of the file, kind by content, a walk
//! over the container (whole? still? RGB? within the limits?), and only then memory and decoding.
//! Third-party decoders run behind a guard that turns a panic into an error.

use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use image::codecs::{jpeg::JpegDecoder, png::PngDecoder, webp::WebPDecoder};
use image::{ColorType, ImageDecoder, ImageError, ImageResult};

use crate::container::{self, Survey, Trouble};
use crate::encoding::{Basis, Encoding};
use crate::error::PhotoError;
use crate::exif::{self, ColourTag, Orientation};
use crate::icc;
use crate::limits::Limits;
use crate::photo::{Codes, Photo, PhotoHash};
use crate::raster::{to_rgb, upright};
use crate::sniff::{Format, sniff};

/// Reads a photo from a file.
///
/// # Input
/// A regular file of at most `limits.max_bytes`. Its extension is not looked at.
///
/// # Errors
/// Those of [`decode`], and those of opening the file. The message names the file by its last part.
pub fn read(path: &Path, limits: &Limits) -> Result<Photo, PhotoError> {
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    let open = |source| PhotoError::Open { file: name.clone(), source };
    // Asked before opening: opening a pipe would wait for a writer.
    if !std::fs::metadata(path).map_err(open)?.is_file() {
        return Err(PhotoError::NotAFile { file: name });
    }
    let file = std::fs::File::open(path).map_err(open)?;
    let size = file.metadata().map_err(open)?.len();
    if size > limits.max_bytes {
        return Err(PhotoError::TooManyBytes { file: name, bytes: size, limit: limits.max_bytes });
    }
    let mut bytes = Vec::new();
    file.take(limits.max_bytes.saturating_add(1)).read_to_end(&mut bytes).map_err(open)?;
    decode(&bytes, &name, limits)
}

/// Decodes a photo from the bytes of its file.
///
/// # Input
/// `name`: how messages call the file. JPEG, PNG, WebP or HEIC by content.
///
/// # Result
/// Upright (EXIF orientation applied), RGB of 8 or 16 bits. Grey becomes RGB; transparency is laid
/// over white; colour follows, in this order, the ICC profile, what the container declares, the EXIF
/// colour space, else sRGB is assumed ([`Encoding::basis`] says which).
///
/// # Errors
/// A [`PhotoError`] for everything else: other formats, animations, CMYK, files cut short, sizes
/// over or under the limits, damage, a decoder's own fault. Never a panic.
pub fn decode(bytes: &[u8], name: &str, limits: &Limits) -> Result<Photo, PhotoError> {
    let file = || name.to_owned();
    if bytes.is_empty() {
        return Err(PhotoError::Empty { file: file() });
    }
    if bytes.len() as u64 > limits.max_bytes {
        return Err(PhotoError::TooManyBytes {
            file: file(),
            bytes: bytes.len() as u64,
            limit: limits.max_bytes,
        });
    }
    let format = sniff(bytes).map_err(|other| PhotoError::NotAPhoto {
        file: file(),
        found: other.found,
        remedy: other.remedy,
    })?;
    let job = Job { bytes, name, limits, format };
    let decoded = catch_unwind(AssertUnwindSafe(|| job.run()))
        .unwrap_or_else(|_| Err(PhotoError::DecoderFailed { file: file(), format: format.name() }))?;
    Ok(job.photo(decoded))
}

/// One file on its way.
struct Job<'a> {
    bytes: &'a [u8],
    name: &'a str,
    limits: &'a Limits,
    format: Format,
}

/// What the decoders give, before it is turned upright.
struct Decoded {
    codes: Codes,
    width: usize,
    height: usize,
    transparent_share: f64,
    grey: bool,
    icc: Option<Vec<u8>>,
    exif: exif::Exif,
    declared: Option<Encoding>,
}

impl Job<'_> {
    fn run(&self) -> Result<Decoded, PhotoError> {
        let survey = |s: Result<Survey, Trouble>| s.map_err(|t| self.trouble(t));
        match self.format {
            Format::Jpeg => {
                let survey = survey(container::jpeg::survey(self.bytes))?;
                self.within_limits(&survey)?;
                self.raster(survey, JpegDecoder::new(Cursor::new(self.bytes)))
            }
            Format::Png => {
                let survey = survey(container::png::survey(self.bytes))?;
                self.within_limits(&survey)?;
                let mut bounds = image::Limits::default();
                bounds.max_alloc = Some(self.limits.max_memory);
                self.raster(survey, PngDecoder::with_limits(Cursor::new(self.bytes), bounds))
            }
            Format::WebP => {
                let survey = survey(container::webp::survey(self.bytes))?;
                self.within_limits(&survey)?;
                self.raster(survey, WebPDecoder::new(Cursor::new(self.bytes)))
            }
            Format::Heic => self.heic(),
        }
    }

    /// Checks the size that the header states, before anything is allocated by it.
    fn within_limits(&self, survey: &Survey) -> Result<(), PhotoError> {
        let (width, height, limits) = (survey.width, survey.height, self.limits);
        let over = |limit| PhotoError::OverLimit { file: self.name.into(), width, height, limit };
        let pixels = width.saturating_mul(height);
        if width.max(height) > u64::from(limits.max_side) {
            return Err(over(format!("{} pixels a side", limits.max_side)));
        }
        if pixels > limits.max_pixels {
            return Err(over(format!("{:.1} megapixels", limits.max_pixels as f64 / 1e6)));
        }
        if pixels.saturating_mul(survey.bytes_per_pixel) > limits.max_memory {
            return Err(over(format!("{} MiB of memory for decoding", limits.max_memory >> 20)));
        }
        if width.min(height) < u64::from(limits.min_side) {
            return Err(PhotoError::TooSmall {
                file: self.name.into(),
                width,
                height,
                limit: limits.min_side,
            });
        }
        Ok(())
    }

    fn raster<D: ImageDecoder>(
        &self,
        survey: Survey,
        decoder: ImageResult<D>,
    ) -> Result<Decoded, PhotoError> {
        let mut decoder = decoder.map_err(|e| self.image_error(&e))?;
        let (width, height) = decoder.dimensions();
        if (u64::from(width), u64::from(height)) != (survey.width, survey.height) {
            return Err(self.damaged("the sizes in its headers differ".into()));
        }
        let icc = decoder.icc_profile().ok().flatten();
        let exif = decoder.exif_metadata().ok().flatten();
        let xmp = decoder.xmp_metadata().ok().flatten();
        let colour = decoder.color_type();
        let channels = usize::from(colour.channel_count());
        let mut buffer = self.zeroed(decoder.total_bytes())?;
        decoder.read_image(&mut buffer).map_err(|e| self.image_error(&e))?;
        let (codes, transparent_share) = match colour {
            ColorType::L8 | ColorType::La8 | ColorType::Rgb8 | ColorType::Rgba8 => {
                let (rgb, share) = to_rgb(buffer, channels);
                (Codes::Eight(rgb), share)
            }
            ColorType::L16 | ColorType::La16 | ColorType::Rgb16 | ColorType::Rgba16 => {
                let wide = buffer.as_chunks::<2>().0.iter().map(|b| u16::from_ne_bytes(*b)).collect();
                drop(buffer);
                let (rgb, share) = to_rgb(wide, channels);
                (Codes::Sixteen(rgb), share)
            }
            other => return Err(self.damaged(format!("samples of kind {other:?}"))),
        };
        Ok(Decoded {
            codes,
            width: width as usize,
            height: height as usize,
            transparent_share,
            grey: channels < 3,
            icc,
            exif: exif::read(exif.as_deref(), xmp.as_deref()),
            declared: survey.declared,
        })
    }

    fn heic(&self) -> Result<Decoded, PhotoError> {
        let contents = container::heic::survey(self.bytes).map_err(|t| self.trouble(t))?;
        self.within_limits(&contents.survey)?;
        let options = heifer::Options { max_threads: 0, max_pixels: self.limits.max_pixels };
        let (codes, width, height, transparent_share) = if contents.deep {
            let image = heifer::decode_with_options(self.bytes, &options).map_err(|e| self.heic_error(&e))?;
            let top = u32::from(image.max_value().max(1));
            // Widened to the full 16 bits, so that white stays white.
            let wide = |v: u16| ((u32::from(v) * 65_535 + top / 2) / top).min(65_535) as u16;
            let (rgb, share) = to_rgb(image.data.iter().map(|v| wide(*v)).collect(), 4);
            (Codes::Sixteen(rgb), image.width, image.height, share)
        } else {
            let image = heifer::decode_rgba8(self.bytes, &options).map_err(|e| self.heic_error(&e))?;
            let (rgb, share) = to_rgb(image.data, 4);
            (Codes::Eight(rgb), image.width, image.height, share)
        };
        let turned = Survey { width: width.into(), height: height.into(), ..contents.survey.clone() };
        self.within_limits(&turned)?;
        // The container's own turns are applied by the decoder; EXIF's copy of them must not be.
        let mut exif = exif::read(contents.exif.as_deref(), contents.xmp.as_deref());
        exif.orientation = Orientation::Upright;
        Ok(Decoded {
            codes,
            width: width as usize,
            height: height as usize,
            transparent_share,
            grey: false,
            icc: contents.icc,
            exif,
            declared: contents.survey.declared,
        })
    }

    fn photo(&self, decoded: Decoded) -> Photo {
        let encoding = encoding(&decoded);
        let Decoded { codes, width, height, transparent_share, exif, .. } = decoded;
        let (codes, width, height) = upright(codes, width, height, exif.orientation);
        let hash = PhotoHash::of(self.bytes);
        let mut photo = Photo::assemble(self.name.to_owned(), width, height, codes, encoding, hash);
        photo.exif = exif;
        photo.format = Some(self.format);
        photo.transparent_share = transparent_share;
        photo
    }

    fn zeroed(&self, bytes: u64) -> Result<Vec<u8>, PhotoError> {
        let none = || PhotoError::NoMemory { file: self.name.into(), bytes };
        let length = usize::try_from(bytes).map_err(|_| none())?;
        let mut buffer = Vec::new();
        buffer.try_reserve_exact(length).map_err(|_| none())?;
        buffer.resize(length, 0);
        Ok(buffer)
    }

    fn trouble(&self, trouble: Trouble) -> PhotoError {
        let file = self.name.to_owned();
        let format = self.format.name();
        match trouble {
            Trouble::Truncated(found) => PhotoError::Truncated { file, format, found },
            Trouble::Damaged(reason) => PhotoError::Damaged { file, format, reason },
            Trouble::Variety(found, remedy) => PhotoError::Variety { file, found, remedy },
        }
    }

    fn damaged(&self, reason: String) -> PhotoError {
        PhotoError::Damaged { file: self.name.into(), format: self.format.name(), reason }
    }

    fn image_error(&self, error: &ImageError) -> PhotoError {
        match error {
            ImageError::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
                PhotoError::Truncated {
                    file: self.name.into(),
                    format: self.format.name(),
                    found: "within the picture data".into(),
                }
            }
            ImageError::Unsupported(e) => PhotoError::Variety {
                file: self.name.into(),
                found: format!("a {} that the decoder does not know ({e})", self.format),
                remedy: container::SAVE_RGB,
            },
            other => self.damaged(other.to_string()),
        }
    }

    fn heic_error(&self, error: &heifer::Error) -> PhotoError {
        match error {
            heifer::Error::Unsupported(what) => PhotoError::Variety {
                file: self.name.into(),
                found: format!("a HEIC with {what}"),
                remedy: container::SAVE_RGB,
            },
            other => self.damaged(other.to_string()),
        }
    }
}

/// ICC profile, then the container, then EXIF, then the assumption.
fn encoding(decoded: &Decoded) -> Encoding {
    if let Some(profile) = &decoded.icc {
        let raster = if decoded.grey { icc::Raster::Grey } else { icc::Raster::Rgb };
        let read = catch_unwind(AssertUnwindSafe(|| icc::encoding(profile, raster)));
        return read
            .unwrap_or_else(|_| Err("ICC profile that its reader failed on".into()))
            .unwrap_or_else(|reason| Encoding::srgb().with_basis(Basis::Fallback { reason }));
    }
    if let Some(declared) = &decoded.declared {
        return declared.clone();
    }
    let by = |what: &str| Basis::Declared { by: what.into() };
    match decoded.exif.colour {
        ColourTag::Srgb => Encoding::srgb().with_basis(by("the EXIF colour space")),
        ColourTag::AdobeRgb => Encoding::adobe_rgb().with_basis(by("the EXIF colour space")),
        ColourTag::Silent => Encoding::srgb(),
    }
}
