//! What a file is, by its first bytes. The name and its extension are never asked.
//!
//! In: the bytes. Out: one of the formats that we read, or what it is instead and what to do.
//! Never here: whether the rest of the file holds up.
//!
//! Sources: `itu-t81`, `png3`, `rfc9649`, `iso23008-12` (their signatures).

/// A photo format that we read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// JPEG (ITU-T T.81), baseline or progressive, 8 bits.
    Jpeg,
    /// PNG, 8 or 16 bits.
    Png,
    /// WebP, lossy or lossless.
    WebP,
    /// HEIF with HEVC pictures: what phones call HEIC.
    Heic,
}

impl Format {
    /// The format's usual name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::WebP => "WebP",
            Self::Heic => "HEIC",
        }
    }
}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// What a file is that we do not read, and the remedy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Other {
    pub(crate) found: &'static str,
    pub(crate) remedy: &'static str,
}

const SAVE_AS_JPEG: &str = "save it as JPEG or PNG and give that";
const GIVE_PHOTO: &str = "give the photo file itself";
const TAKE_FRAME: &str = "give a still photo of the item instead";
const FROM_CAMERA: &str = "export it from the camera's program as JPEG or PNG";

/// Signatures at the start of other kinds of file, longest first where one begins another.
const OTHERS: &[(&[u8], Other)] = &[
    (b"GIF87a", Other { found: "a GIF picture", remedy: SAVE_AS_JPEG }),
    (b"GIF89a", Other { found: "a GIF picture", remedy: SAVE_AS_JPEG }),
    (b"II*\0\x10\0\0\0CR", Other { found: "a camera raw file", remedy: FROM_CAMERA }),
    (b"II*\0", Other { found: "a TIFF picture or camera raw file", remedy: SAVE_AS_JPEG }),
    (b"MM\0*", Other { found: "a TIFF picture or camera raw file", remedy: SAVE_AS_JPEG }),
    (b"FUJIFILMCCD-RAW", Other { found: "a camera raw file", remedy: FROM_CAMERA }),
    (b"BM", Other { found: "a BMP picture", remedy: SAVE_AS_JPEG }),
    (b"\0\0\0\x0cJXL \r\n\x87\n", Other { found: "a JPEG XL picture", remedy: SAVE_AS_JPEG }),
    (b"\xff\x0a", Other { found: "a JPEG XL picture", remedy: SAVE_AS_JPEG }),
    (b"\0\0\0\x0cjP  \r\n\x87\n", Other { found: "a JPEG 2000 picture", remedy: SAVE_AS_JPEG }),
    (b"\xff\x4f\xff\x51", Other { found: "a JPEG 2000 picture", remedy: SAVE_AS_JPEG }),
    (b"8BPS", Other { found: "a layered picture (PSD)", remedy: SAVE_AS_JPEG }),
    (b"\0\0\x01\0", Other { found: "an icon", remedy: GIVE_PHOTO }),
    (b"%PDF", Other { found: "a PDF document", remedy: "take the photo out of it and give that" }),
    (
        b"PK\x03\x04",
        Other { found: "a ZIP archive or office document", remedy: "unpack it and give the photos" },
    ),
    (b"\x1f\x8b", Other { found: "a gzip archive", remedy: "unpack it and give the photos" }),
    (b"Rar!", Other { found: "a RAR archive", remedy: "unpack it and give the photos" }),
    (b"7z\xbc\xaf", Other { found: "a 7z archive", remedy: "unpack it and give the photos" }),
    (b"\x1aE\xdf\xa3", Other { found: "a video", remedy: TAKE_FRAME }),
    (b"\x7fELF", Other { found: "a program", remedy: GIVE_PHOTO }),
    (b"MZ", Other { found: "a program", remedy: GIVE_PHOTO }),
];

/// Brands of the ISO base media format (after `ftyp`) that are no still HEVC picture.
const BRANDS: &[(&[u8; 4], Other)] = &[
    (b"avif", Other { found: "an AVIF picture", remedy: SAVE_AS_JPEG }),
    (b"avis", Other { found: "an AVIF animation", remedy: TAKE_FRAME }),
    (b"hevc", Other { found: "a HEIF image sequence", remedy: TAKE_FRAME }),
    (b"hevx", Other { found: "a HEIF image sequence", remedy: TAKE_FRAME }),
    (b"msf1", Other { found: "a HEIF image sequence", remedy: TAKE_FRAME }),
    (b"jpeg", Other { found: "a HEIF file with JPEG pictures", remedy: SAVE_AS_JPEG }),
    (b"j2ki", Other { found: "a HEIF file with JPEG 2000 pictures", remedy: SAVE_AS_JPEG }),
    (b"vvic", Other { found: "a HEIF file with VVC pictures", remedy: SAVE_AS_JPEG }),
    (b"crx ", Other { found: "a camera raw file", remedy: FROM_CAMERA }),
];

/// Tells what the bytes are.
pub(crate) fn sniff(bytes: &[u8]) -> Result<Format, Other> {
    if bytes.starts_with(b"\xff\xd8\xff") || bytes == b"\xff\xd8" {
        return Ok(Format::Jpeg);
    }
    // A PNG whose line ends were changed in transit still begins like this; its walker says so.
    if bytes.starts_with(b"\x89PNG") {
        return Ok(Format::Png);
    }
    if bytes.starts_with(b"RIFF") {
        return match bytes.get(8..12) {
            Some(b"WEBP") => Ok(Format::WebP),
            Some(b"AVI ") => Err(Other { found: "a video", remedy: TAKE_FRAME }),
            _ => Err(Other { found: "a RIFF file of another kind", remedy: GIVE_PHOTO }),
        };
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return media_brand(bytes);
    }
    for (signature, other) in OTHERS {
        if bytes.starts_with(signature) {
            return Err(*other);
        }
    }
    Err(text_or_unknown(bytes))
}

/// ISO base media: the major brand decides, the compatible ones where it is generic.
fn media_brand(bytes: &[u8]) -> Result<Format, Other> {
    let size = bytes[..4].iter().fold(0_usize, |n, b| (n << 8) | usize::from(*b));
    let end = size.clamp(8, 512).min(bytes.len());
    let mut brands = bytes.get(8..end).unwrap_or(&[]).chunks_exact(4);
    let major: [u8; 4] = brands.next().and_then(|b| b.try_into().ok()).unwrap_or_default();
    // Between them stands a version number.
    let compatible: Vec<[u8; 4]> = brands.skip(1).filter_map(|b| b.try_into().ok()).collect();
    let known = |brand: &[u8; 4]| BRANDS.iter().find(|(name, _)| *name == brand).map(|(_, other)| *other);
    match &major {
        b"heic" | b"heix" | b"heim" | b"heis" => Ok(Format::Heic),
        b"mif1" | b"mif2" => {
            let hevc = compatible.iter().any(|b| matches!(b, b"heic" | b"heix" | b"heim" | b"heis"));
            match compatible.iter().find_map(known) {
                Some(other) if !hevc => Err(other),
                _ => Ok(Format::Heic),
            }
        }
        other => Err(known(other).unwrap_or(Other { found: "a video", remedy: TAKE_FRAME })),
    }
}

fn text_or_unknown(bytes: &[u8]) -> Other {
    let start = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let head = &start[..start.len().min(512)];
    let text =
        !head.is_empty() && head.iter().all(|b| matches!(b, b'\t' | b'\n' | b'\r' | 0x20..=0x7e | 0x80..));
    let trimmed = head.trim_ascii_start();
    if text && trimmed.starts_with(b"<") {
        return Other {
            found: "a web page, XML or SVG text",
            remedy: "download the photo itself, not the page it is on",
        };
    }
    if text {
        return Other { found: "text", remedy: GIVE_PHOTO };
    }
    Other { found: "data of an unknown kind", remedy: GIVE_PHOTO }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_signature_gives_its_own_answer() {
        for (signature, other) in OTHERS {
            let mut bytes = signature.to_vec();
            bytes.extend([0_u8; 32]);
            assert_eq!(sniff(&bytes), Err(*other), "{signature:?}");
        }
        for (brand, other) in BRANDS {
            let mut bytes = b"\0\0\0\x18ftyp".to_vec();
            bytes.extend_from_slice(*brand);
            bytes.extend_from_slice(b"\0\0\0\0mif1miaf");
            assert_eq!(sniff(&bytes), Err(*other), "{brand:?}");
        }
    }

    #[test]
    fn generic_brands_follow_the_compatible_ones() {
        let file = |major: &[u8; 4], compatible: &[u8]| {
            let mut bytes = (16 + compatible.len() as u32).to_be_bytes().to_vec();
            bytes.extend_from_slice(b"ftyp");
            bytes.extend_from_slice(major);
            bytes.extend_from_slice(b"\0\0\0\0");
            bytes.extend_from_slice(compatible);
            bytes
        };
        assert_eq!(sniff(&file(b"mif1", b"mif1heic")), Ok(Format::Heic));
        assert_eq!(sniff(&file(b"heic", b"mif1avif")), Ok(Format::Heic));
        assert_eq!(sniff(&file(b"mif1", b"mif1avif")).unwrap_err().found, "an AVIF picture");
        assert_eq!(sniff(&file(b"isom", b"")).unwrap_err().found, "a video");
    }

    #[test]
    fn pages_and_text_are_named() {
        assert!(sniff(b"<!doctype html><title>x").unwrap_err().found.starts_with("a web page"));
        assert_eq!(sniff(b"not a photo").unwrap_err().found, "text");
        assert_eq!(sniff(&[0, 1, 2, 3]).unwrap_err().found, "data of an unknown kind");
        assert_eq!(sniff(&[]).unwrap_err().found, "data of an unknown kind");
    }
}
