//! What the container of a photo says before any pixel is decoded: size, depth, colour, and whether
//! the file is whole.
//!
//! In: all bytes of the file. Out: a [`Survey`] or a [`Trouble`] without the file's name.
//! Never here: pixels, allocation by a number from the file.
//!
//! One walker a format. They check what the decoders let pass: a JPEG decoder fills the missing part
//! of a cut file with grey and reports success.

pub(crate) mod heic;
pub(crate) mod jpeg;
pub(crate) mod png;
pub(crate) mod webp;

use crate::encoding::Encoding;

/// What a walker found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Survey {
    pub(crate) width: u64,
    pub(crate) height: u64,
    /// Bytes a pixel that decoding takes at its peak, our own raster included.
    pub(crate) bytes_per_pixel: u64,
    /// Colour stated by the container outside an ICC profile.
    pub(crate) declared: Option<Encoding>,
}

/// Why a walker stopped.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Trouble {
    /// The bytes end before the format's own end; with what is missing.
    Truncated(String),
    /// The bytes contradict the format.
    Damaged(String),
    /// A variety that we do not read: what it is, and the remedy.
    Variety(String, &'static str),
}

pub(crate) const SAVE_RGB: &str = "save it as an 8-bit RGB JPEG or PNG (sRGB) and give that";
pub(crate) const ONE_FRAME: &str = "give a still photo instead";

/// `N` bytes from `at` on, if there are as many.
pub(crate) fn take<const N: usize>(bytes: &[u8], at: usize) -> Option<[u8; N]> {
    bytes.get(at..at.checked_add(N)?)?.try_into().ok()
}
