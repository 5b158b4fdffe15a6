//! What the camera wrote beside the picture: orientation, date, make and model, colour space, and
//! whether a place is given.
//!
//! In: the raw EXIF block (and XMP, searched for a place only). Out: an [`Exif`]. The place itself is
//! never read out, kept or shown. Broken EXIF is no error: what can be read is kept, the rest is
//! treated as absent and the break is noted.
//! Never here: thumbnails, maker notes, what a date means for a case.
//!
//! Sources: `exif3` (tags; orientation in 4.6.5.1.6), `dcf2` (interoperability R03 = Adobe RGB).

use exif::{Context, In, Tag, Value};
use jiff::civil::DateTime;

/// Longest make or model kept.
const NAME_LENGTH: usize = 64;
/// More EXIF than any camera writes; a JPEG segment holds 64 KiB.
const MAX_BYTES: usize = 1 << 20;

/// Facts from the camera.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Exif {
    /// When the picture was taken, by the camera's own clock, which nobody checked.
    pub taken: Option<DateTime>,
    /// Maker of the camera or phone.
    pub make: Option<String>,
    /// Model of the camera or phone.
    pub model: Option<String>,
    /// Whether the file tells where the picture was taken. Where is never read.
    pub has_location: bool,
    /// Whether the block was there but damaged in part or whole.
    pub is_broken: bool,
    pub(crate) orientation: Orientation,
    pub(crate) colour: ColourTag,
}

/// What the colour space tags say.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) enum ColourTag {
    #[default]
    Silent,
    Srgb,
    AdobeRgb,
}

/// Where row 0 and column 0 of the stored raster belong when shown: the eight values of EXIF.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) enum Orientation {
    /// 1: as stored.
    #[default]
    Upright,
    /// 2: mirrored left to right.
    Mirrored,
    /// 3: half a turn.
    HalfTurn,
    /// 4: mirrored top to bottom.
    Flipped,
    /// 5: rows become columns.
    Transposed,
    /// 6: a quarter turn clockwise shows it upright.
    QuarterRight,
    /// 7: rows become columns, from the far corner.
    Transverse,
    /// 8: a quarter turn anticlockwise shows it upright.
    QuarterLeft,
}

impl Orientation {
    pub(crate) const fn from_tag(value: u32) -> Option<Self> {
        Some(match value {
            1 => Self::Upright,
            2 => Self::Mirrored,
            3 => Self::HalfTurn,
            4 => Self::Flipped,
            5 => Self::Transposed,
            6 => Self::QuarterRight,
            7 => Self::Transverse,
            8 => Self::QuarterLeft,
            _ => return None,
        })
    }

    /// Whether width and height change places.
    pub(crate) const fn swaps_sides(self) -> bool {
        matches!(self, Self::Transposed | Self::QuarterRight | Self::Transverse | Self::QuarterLeft)
    }
}

/// Reads an EXIF block as the containers give it: a TIFF structure, or that after `Exif\0\0`.
pub(crate) fn read(exif: Option<&[u8]>, xmp: Option<&[u8]>) -> Exif {
    let mut facts = exif.map(read_block).unwrap_or_default();
    if let Some(xmp) = xmp {
        let named = |needle: &[u8]| xmp.windows(needle.len()).any(|w| w == needle);
        facts.has_location |= named(b"GPSLatitude") || named(b"GPSLongitude");
    }
    facts
}

fn read_block(bytes: &[u8]) -> Exif {
    let broken = Exif { is_broken: true, ..Exif::default() };
    let bytes = bytes.strip_prefix(b"Exif\0\0").unwrap_or(bytes);
    if bytes.len() > MAX_BYTES {
        return broken;
    }
    let mut is_broken = false;
    let parsed = exif::Reader::new().continue_on_error(true).read_raw(bytes.to_vec());
    let parsed = parsed.or_else(|e| e.distill_partial_result(|_| is_broken = true));
    let Ok(fields) = parsed else { return broken };

    let number = |tag| fields.get_field(tag, In::PRIMARY).and_then(|f| f.value.get_uint(0));
    let text = |tag| fields.get_field(tag, In::PRIMARY).and_then(|f| ascii(&f.value));
    let orientation = number(Tag::Orientation);
    let interoperability = text(Tag::InteroperabilityIndex);
    let colour = match (number(Tag::ColorSpace), interoperability.as_deref()) {
        (Some(1), _) => ColourTag::Srgb,
        // 2 stands in no edition of the standard, but cameras write it for Adobe RGB.
        (Some(2), _) | (Some(0xffff), Some("R03")) => ColourTag::AdobeRgb,
        _ => ColourTag::Silent,
    };
    let place = |f: &exif::Field| {
        f.tag.context() == Context::Gps
            && matches!(
                f.tag,
                Tag::GPSLatitude | Tag::GPSLongitude | Tag::GPSDestLatitude | Tag::GPSDestLongitude
            )
    };
    Exif {
        taken: text(Tag::DateTimeOriginal).or_else(|| text(Tag::DateTime)).and_then(|t| date(&t)),
        make: text(Tag::Make),
        model: text(Tag::Model),
        has_location: fields.fields().any(place),
        is_broken: is_broken || orientation.is_some_and(|o| Orientation::from_tag(o).is_none()),
        orientation: orientation.and_then(Orientation::from_tag).unwrap_or_default(),
        colour,
    }
}

/// The first string of a value: printable, trimmed, of bounded length; nothing when none is left.
fn ascii(value: &Value) -> Option<String> {
    let Value::Ascii(strings) = value else { return None };
    let text: String = String::from_utf8_lossy(strings.first()?)
        .chars()
        .filter(|c| !c.is_control())
        .take(NAME_LENGTH)
        .collect();
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// `YYYY:MM:DD HH:MM:SS`; a date that the calendar does not have is none.
fn date(text: &str) -> Option<DateTime> {
    let part = |from: usize, to: usize| text.get(from..to)?.parse::<i16>().ok();
    let byte = |from: usize, to: usize| i8::try_from(part(from, to)?).ok();
    DateTime::new(part(0, 4)?, byte(5, 7)?, byte(8, 10)?, byte(11, 13)?, byte(14, 16)?, byte(17, 19)?, 0).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_of_the_calendar_only() {
        assert_eq!(date("2026:11:25 08:19:00"), DateTime::new(2026, 11, 25, 8, 19, 0, 0).ok());
        for bad in [
            "2026:13:01 00:00:00",
            "0000:00:00 00:00:00",
            "    :  :     :  :  ",
            "2026",
            "é026:11:25 08:19:00",
        ] {
            assert_eq!(date(bad), None, "{bad}");
        }
    }

    #[test]
    fn nonsense_is_broken_but_no_error() {
        for bytes in [&b""[..], b"II*\0", b"Exif\0\0MM\0*\xff\xff\xff\xff", b"nonsense"] {
            let facts = read(Some(bytes), None);
            assert!(facts.is_broken);
            assert_eq!(facts.orientation, Orientation::Upright);
        }
        assert!(!read(None, None).is_broken);
        assert!(read(None, Some(b"<x exif:GPSLatitude='1'/>")).has_location);
    }
}
