//! The photo as the rest of the program sees it.
//!
//! In: decoded codes and what they mean. Out: sizes, light at a pixel, facts about the file. Resampling
//! is in `sampling`, reduction in `reduce`, the maps in [`crate::quality`].
//! Never here: a float copy of the picture; 12 megapixels stay at 36 MB.

pub use casebook::names::PhotoHash;

use crate::encoding::{Encoding, Tables};
use crate::exif::Exif;
use crate::once::Once;
use crate::quality::{self, Quality};
use crate::sniff::Format;

/// Interleaved RGB codes, rows first, without padding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Codes {
    /// 8 bits a sample.
    Eight(Vec<u8>),
    /// 16 bits a sample.
    Sixteen(Vec<u16>),
}

impl Codes {
    /// Number of samples (three a pixel).
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            Self::Eight(v) => v.len(),
            Self::Sixteen(v) => v.len(),
        }
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The code of white.
    #[must_use]
    pub const fn max_code(&self) -> u16 {
        match self {
            Self::Eight(_) => 255,
            Self::Sixteen(_) => 65_535,
        }
    }
}

/// A decoded photo, upright. Cheap to look at from many threads at once.
///
/// Pixel (0, 0) is the top-left one, its centre the origin of real coordinates; x right, y down.
#[derive(Debug, Clone)]
pub struct Photo {
    pub(crate) name: String,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) codes: Codes,
    pub(crate) encoding: Encoding,
    pub(crate) tables: Tables,
    pub(crate) exif: Exif,
    pub(crate) format: Option<Format>,
    pub(crate) hash: PhotoHash,
    pub(crate) transparent_share: f64,
    pub(crate) quality: Once<Quality>,
}

impl Photo {
    /// A photo over codes that the caller made: a rendered picture, a reference, a test pattern.
    ///
    /// # Input
    /// `codes`: interleaved RGB, 3 × width × height of them. `encoding`: what they mean.
    ///
    /// # Result
    /// Nothing when the count does not fit or a side is 0. Its hash is that of the codes
    /// (little-endian), its format unknown.
    ///
    /// # Example
    /// ```
    /// use photo::{Codes, Encoding, Photo};
    /// let grey = Photo::from_codes("grey", 2, 1, Codes::Eight(vec![128; 6]), Encoding::srgb()).unwrap();
    /// assert!((grey.linear_at(1, 0).unwrap()[0] - 0.215_861).abs() < 1e-6);
    /// ```
    #[must_use]
    pub fn from_codes(
        name: &str,
        width: usize,
        height: usize,
        codes: Codes,
        encoding: Encoding,
    ) -> Option<Self> {
        let samples = width.checked_mul(height)?.checked_mul(3)?;
        if samples == 0 || samples != codes.len() {
            return None;
        }
        let hash = match &codes {
            Codes::Eight(v) => PhotoHash::of(v),
            Codes::Sixteen(v) => PhotoHash::of(&v.iter().flat_map(|s| s.to_le_bytes()).collect::<Vec<u8>>()),
        };
        Some(Self::assemble(name.to_owned(), width, height, codes, encoding, hash))
    }

    pub(crate) fn assemble(
        name: String,
        width: usize,
        height: usize,
        codes: Codes,
        encoding: Encoding,
        hash: PhotoHash,
    ) -> Self {
        let tables = Tables::new(&encoding, codes.max_code());
        Self {
            name,
            width,
            height,
            codes,
            encoding,
            tables,
            exif: Exif::default(),
            format: None,
            hash,
            transparent_share: 0.0,
            quality: Once::new(),
        }
    }

    /// Name of the file, as the caller gave it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Width in pixels, upright.
    #[must_use]
    pub const fn width(&self) -> usize {
        self.width
    }

    /// Height in pixels, upright.
    #[must_use]
    pub const fn height(&self) -> usize {
        self.height
    }

    /// The decoded codes.
    #[must_use]
    pub const fn codes(&self) -> &Codes {
        &self.codes
    }

    /// The decoded codes when they are of 8 bits: interleaved RGB, rows first.
    #[must_use]
    pub fn codes8(&self) -> Option<&[u8]> {
        match &self.codes {
            Codes::Eight(v) => Some(v),
            Codes::Sixteen(_) => None,
        }
    }

    /// What the codes mean and how that is known.
    #[must_use]
    pub const fn encoding(&self) -> &Encoding {
        &self.encoding
    }

    /// What the camera wrote.
    #[must_use]
    pub const fn exif(&self) -> &Exif {
        &self.exif
    }

    /// The format that the content had; nothing for a photo made by [`Photo::from_codes`].
    #[must_use]
    pub const fn format(&self) -> Option<Format> {
        self.format
    }

    /// BLAKE3 of the file's bytes.
    #[must_use]
    pub const fn hash(&self) -> &PhotoHash {
        &self.hash
    }

    /// Share of the pixels (0 to 1) that were transparent in part or whole and now lie over white.
    #[must_use]
    pub const fn transparent_share(&self) -> f64 {
        self.transparent_share
    }

    /// Linear Rec. 709 light of the pixel in column `x`, row `y`; nothing outside.
    #[must_use]
    #[inline]
    pub fn linear_at(&self, x: usize, y: usize) -> Option<[f32; 3]> {
        if x >= self.width || y >= self.height {
            return None;
        }
        Some(self.tables.to_rec709(self.light(3 * (y * self.width + x))))
    }

    /// Linear light in the file's own primaries at a sample index.
    #[inline]
    pub(crate) fn light(&self, at: usize) -> [f32; 3] {
        let [r, g, b] = &self.tables.light;
        match &self.codes {
            Codes::Eight(v) => [r[usize::from(v[at])], g[usize::from(v[at + 1])], b[usize::from(v[at + 2])]],
            Codes::Sixteen(v) => {
                [r[usize::from(v[at])], g[usize::from(v[at + 1])], b[usize::from(v[at + 2])]]
            }
        }
    }

    /// Sharpness, glare and exposure, tile by tile; measured at the first call.
    #[must_use]
    pub fn quality(&self) -> &Quality {
        self.quality.get(|| quality::measure(self))
    }
}
