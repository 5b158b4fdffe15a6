//! The samples as Pillow and pillow-heif (libheif) decode them: `checks/photo_samples/`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use common::{STILLS, number, sample};
use photo::{Basis, Codes, Format, Limits, Photo, decode};

fn photo(name: &str) -> Photo {
    decode(&sample(name), name, &Limits::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// Largest and mean distance in codes of 255 that may lie between our decoders and Pillow's: lossless
/// and full-chroma files agree to a rounding. At half chroma resolution JPEG decoders interpolate
/// alike; in HEIC heifer interpolates between the chroma samples, as Apple's decoder does, where
/// libheif repeats them (the two agree at even columns and rows), which shows on these strongly
/// coloured edges of a few pixels.
fn tolerance(name: &str) -> (f64, f64) {
    match name {
        "plain.heic" | "profile.heic" | "phone.heic" | "ten_bit.heic" => (18.0, 2.2),
        "baseline.jpg" | "progressive.jpg" | "phone.jpg" => (4.0, 0.6),
        "full_chroma.jpg" => (2.0, 0.1),
        _ => (0.0, 0.0),
    }
}

/// One pixel in codes of 255, whatever the depth.
fn pixel(photo: &Photo, x: usize, y: usize) -> [f64; 3] {
    let at = 3 * (y * photo.width() + x);
    [0, 1, 2].map(|c| match photo.codes() {
        Codes::Eight(v) => f64::from(v[at + c]),
        Codes::Sixteen(v) => f64::from(v[at + c]) / 257.0,
    })
}

#[test]
fn codes_as_other_decoders_have_them() {
    let mut rows = common::rows("photo_samples/expected.csv");
    rows.extend(common::rows("photo_samples/expected_heic.csv"));
    assert_eq!(rows.len(), STILLS.len() * 154);
    let mut misses = String::new();
    for name in STILLS {
        let photo = photo(name);
        // Pillow leaves EXIF orientation 6 of the JPEG to the viewer; stored (x, y) is then shown at
        // (stored height − 1 − y, x). pillow-heif has the HEIC upright already.
        let stored = |x: usize, y: usize| if name == "phone.jpg" { (71 - y, x) } else { (x, y) };
        let (mut most, mut sum, mut count) = (0.0_f64, 0.0, 0.0);
        for row in rows.iter().filter(|r| r[0] == name) {
            let (x, y) = stored(row[1].parse().unwrap(), row[2].parse().unwrap());
            for (got, want) in pixel(&photo, x, y).iter().zip(&row[3..]) {
                let off = (got - number(want)).abs();
                most = most.max(off);
                sum += off;
                count += 1.0;
            }
        }
        assert!(count > 300.0, "{name}: {count} values");
        let mean = sum / count;
        println!("{name}: largest {most:.2}, mean {mean:.3} codes");
        let (largest, on_average) = tolerance(name);
        if most > largest || mean > on_average {
            misses += &format!("{name}: largest {most:.2}, mean {mean:.3}\n");
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn formats_sizes_and_depths() {
    for name in STILLS {
        let photo = photo(name);
        let format = match name.rsplit('.').next() {
            Some("jpg") => Format::Jpeg,
            Some("png") => Format::Png,
            Some("webp") => Format::WebP,
            _ => Format::Heic,
        };
        assert_eq!(photo.format(), Some(format), "{name}");
        let turned = name.starts_with("phone");
        let size = if turned { (72, 96) } else { (96, 72) };
        assert_eq!((photo.width(), photo.height()), size, "{name}");
        assert_eq!(photo.codes8().is_none(), name == "ten_bit.heic", "{name}");
        assert_eq!(photo.hash().to_string(), blake3::hash(&sample(name)).to_hex().to_string());
    }
}

#[test]
fn what_the_phone_wrote() {
    for name in ["phone.jpg", "phone.heic"] {
        let photo = photo(name);
        let exif = photo.exif();
        assert_eq!(exif.make.as_deref(), Some("Otterby Optical"), "{name}");
        assert_eq!(exif.model.as_deref(), Some("Plate 7"));
        assert_eq!(exif.taken.map(|t| t.to_string()).as_deref(), Some("2026-03-14T15:09:26"));
        assert!(exif.has_location && !exif.is_broken);
        let told = format!("{exif:?}");
        assert!(!told.contains("4.0") && !told.contains("GPS"), "the place is kept: {told}");
    }
    assert!(!photo("plain.heic").exif().has_location);
    assert!(!photo("baseline.jpg").exif().has_location);
}

#[test]
fn profiles_and_declarations_are_followed() {
    for name in ["phone.jpg", "profile.heic"] {
        let photo = photo(name);
        let Basis::Embedded { profile } = photo.encoding().basis() else {
            panic!("{name}: {}", photo.encoding().basis());
        };
        assert_eq!(profile, "Wide test space");
        // Display P3's matrix, within the rounding of the profile's numbers.
        let wide = photo::Encoding::display_p3();
        assert!(photo.encoding().to_rec709().distance(wide.to_rec709()) < 1e-3, "{name}");
    }
    assert_eq!(photo("baseline.jpg").encoding().basis(), &Basis::Assumed);
    assert!(photo("alpha.png").transparent_share() > 0.9);
    assert!(photo("baseline.jpg").transparent_share() == 0.0);
}
