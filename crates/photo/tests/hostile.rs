//! Input from strangers: cut short, mislabelled, oversized, broken, of other kinds. Every case ends in
//! a photo or in an error that names the file, never in a panic.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use std::io::Write;

use common::{STILLS, jpeg, png8, png16, sample};
use photo::{Limits, PhotoError, decode, read};
use proptest::prelude::*;

fn refusal(bytes: &[u8], name: &str) -> PhotoError {
    match decode(bytes, name, &Limits::default()) {
        Ok(_) => panic!("{name}: was read"),
        Err(error) => {
            assert!(error.to_string().starts_with(&format!("{name}: ")), "{error}");
            error
        }
    }
}

#[test]
fn every_sample_cut_at_any_length_is_an_error() {
    for name in STILLS {
        let whole = sample(name);
        assert!(decode(&whole, name, &Limits::default()).is_ok(), "{name}");
        // Every length near both ends, every thirteenth in between.
        let lengths = (0..whole.len()).filter(|n| *n < 64 || n % 13 == 0 || *n + 64 > whole.len());
        for length in lengths {
            refusal(&whole[..length], name);
        }
    }
}

#[test]
fn a_cut_file_is_called_cut() {
    for name in STILLS {
        let whole = sample(name);
        for length in [whole.len() / 2, whole.len() * 3 / 4, whole.len() - 1] {
            let error = refusal(&whole[..length], name);
            assert!(matches!(error, PhotoError::Truncated { .. }), "{name} at {length}: {error}");
        }
    }
}

#[test]
fn the_content_decides_not_the_extension() {
    for name in STILLS {
        let bytes = sample(name);
        let as_named = decode(&bytes, name, &Limits::default()).unwrap();
        let mislabelled = decode(&bytes, "photo.gif", &Limits::default()).unwrap();
        assert_eq!(as_named.codes(), mislabelled.codes());
    }
    let error = refusal(&sample("animated.gif"), "photo.jpg");
    assert!(error.to_string().contains("contains a GIF picture"), "{error}");
}

#[test]
fn what_we_do_not_read_is_named_with_its_remedy() {
    let says = |name: &str, words: &str| {
        let error = refusal(&sample(name), name);
        assert!(error.to_string().contains(words), "{error}");
    };
    says("cmyk.jpg", "is a CMYK (print) JPEG, which is not read; save it as an 8-bit RGB JPEG");
    says("animated.png", "is an animated PNG, which is not read; give a still photo");
    says("animated.webp", "is an animated WebP, which is not read; give a still photo");
    says("animated.gif", "contains a GIF picture");
    says("picture.avif", "contains an AVIF picture, not a JPEG, PNG, WebP or HEIC photo; save it as JPEG");
    assert!(matches!(refusal(b"", "nothing.jpg"), PhotoError::Empty { .. }));
    assert!(matches!(refusal(b"<html>", "page.jpg"), PhotoError::NotAPhoto { .. }));
}

#[test]
fn limits_hold_one_over() {
    let codes = vec![99_u8; 3 * 80 * 70];
    for bytes in [png8(80, 70, &codes), jpeg(80, 70, &codes, None)] {
        let size = bytes.len() as u64;
        let base =
            Limits { max_pixels: 5600, max_side: 80, min_side: 70, max_bytes: size, ..Limits::default() };
        assert!(decode(&bytes, "x", &base).is_ok(), "at the limit");
        let over = |limits: Limits| decode(&bytes, "x", &limits).unwrap_err();
        assert!(matches!(over(Limits { max_pixels: 5599, ..base }), PhotoError::OverLimit { .. }));
        assert!(matches!(over(Limits { max_side: 79, ..base }), PhotoError::OverLimit { .. }));
        assert!(matches!(over(Limits { min_side: 71, ..base }), PhotoError::TooSmall { .. }));
        assert!(matches!(over(Limits { max_bytes: size - 1, ..base }), PhotoError::TooManyBytes { .. }));
        assert!(matches!(over(Limits { max_memory: 5600, ..base }), PhotoError::OverLimit { .. }));
    }
    let heic = sample("plain.heic");
    let small = Limits { max_pixels: 96 * 72 - 1, ..Limits::default() };
    assert!(matches!(decode(&heic, "x", &small).unwrap_err(), PhotoError::OverLimit { .. }));
    let webp = sample("lossy.webp");
    assert!(matches!(decode(&webp, "x", &small).unwrap_err(), PhotoError::OverLimit { .. }));
}

/// 30,000 × 30,000 in the header of a small file: refused before anything is allocated.
#[test]
fn a_huge_size_in_a_small_file_is_refused() {
    let mut png = png8(64, 64, &vec![0; 3 * 64 * 64]);
    png[16..20].copy_from_slice(&30_000_u32.to_be_bytes());
    png[20..24].copy_from_slice(&30_000_u32.to_be_bytes());
    assert!(matches!(refusal(&png, "huge.png"), PhotoError::OverLimit { .. }));

    let mut jpeg = jpeg(64, 64, &vec![0; 3 * 64 * 64], None);
    let frame = jpeg.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0x75, 0x30, 0x75, 0x30]);
    assert!(matches!(refusal(&jpeg, "huge.jpg"), PhotoError::OverLimit { .. }));

    let mut heic = sample("plain.heic");
    let size = heic.windows(4).position(|w| w == b"ispe").unwrap() + 8;
    heic[size..size + 8].copy_from_slice(&[0, 0, 0x75, 0x30, 0, 0, 0x75, 0x30]);
    assert!(matches!(refusal(&heic, "huge.heic"), PhotoError::OverLimit { .. }));
}

#[test]
fn tiny_photos_are_refused_with_their_size() {
    for (w, h) in [(1, 1), (63, 400), (400, 63)] {
        let error = refusal(&png8(w, h, &vec![7; (3 * w * h) as usize]), "tiny.png");
        assert!(matches!(error, PhotoError::TooSmall { .. }), "{error}");
        assert!(error.to_string().contains("at least 64 a side"), "{error}");
    }
    let limits = Limits { min_side: 1, ..Limits::default() };
    let photo = decode(&png8(1, 1, &[1, 2, 3]), "dot.png", &limits).unwrap();
    assert_eq!(photo.codes8(), Some(&[1, 2, 3][..]));
    assert_eq!(photo.quality().tiles().len(), 1);
    assert_eq!(photo.small_luma(100).0.data().len(), 1);
    assert!(photo.sample(0.5, -0.5).is_some());
}

#[test]
fn sixteen_bits_stay_sixteen_bits() {
    let codes: Vec<u16> = (0..3 * 64 * 64).map(|i| (i * 5) as u16).collect();
    let photo = decode(&png16(64, 64, &codes, None), "deep.png", &Limits::default()).unwrap();
    let photo::Codes::Sixteen(got) = photo.codes() else { panic!("8 bits") };
    assert_eq!(*got, codes);
    let light = photo.linear_at(3, 0).unwrap()[0];
    let want = photo::colour::Transfer::Srgb.to_linear(45.0 / 65_535.0);
    assert!((f64::from(light) - want).abs() < 1e-9);
}

#[test]
fn broken_exif_leaves_the_picture_whole() {
    let codes = vec![120_u8; 3 * 64 * 64];
    let blocks: [&[u8]; 4] = [
        b"MM\0*\xff\xff\xff\xff",
        b"II*\0\x08\0\0\0\xff\xff",
        b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\xff\xff\xff\xff\0\x06\0\0",
        b"nonsense",
    ];
    for block in blocks {
        let photo = decode(&jpeg(64, 64, &codes, Some(block.to_vec())), "x.jpg", &Limits::default()).unwrap();
        assert!(photo.exif().is_broken, "{block:?}");
        assert_eq!(photo.width(), 64);
    }
}

#[test]
fn the_path_must_lead_to_a_readable_file() {
    let limits = Limits::default();
    let folder = tempfile::tempdir().unwrap();
    let error = read(folder.path(), &limits).unwrap_err();
    assert!(matches!(error, PhotoError::NotAFile { .. }), "{error}");
    let error = read(&folder.path().join("absent.jpg"), &limits).unwrap_err();
    assert!(matches!(error, PhotoError::Open { .. }), "{error}");
    assert!(error.to_string().starts_with("absent.jpg: cannot be opened"), "{error}");
    let path = folder.path().join("photo.dat");
    std::fs::File::create(&path).unwrap().write_all(&sample("baseline.jpg")).unwrap();
    assert_eq!(read(&path, &limits).unwrap().name(), "photo.dat");
    let error = read(&path, &Limits { max_bytes: 100, ..limits }).unwrap_err();
    assert!(matches!(error, PhotoError::TooManyBytes { bytes: 1670, limit: 100, .. }), "{error}");
}

/// Any byte of the boxes that describe the pictures may be anything, and an answer still comes.
#[test]
fn a_heic_with_any_byte_of_its_boxes_changed_ends() {
    let bytes = sample("profile.heic");
    let meta = bytes.windows(4).position(|w| w == b"meta").unwrap();
    for at in meta..(meta + 700).min(bytes.len()) {
        for value in [0, 1, 2, 0xff] {
            let mut broken = bytes.clone();
            broken[at] = value;
            let _ = decode(&broken, "changed.heic", &Limits::default());
        }
    }
}

/// A picture made of tiles: read as it is; refused when a tile is the whole picture again, and when
/// its tiles are far larger than what is shown of them.
#[test]
fn a_heic_of_tiles_that_refer_to_the_whole_is_refused() {
    let (w, h) = (1100_u32, 700_u32);
    let rgb: Vec<u8> = (0..w * h).flat_map(|i| [(i % 251) as u8 / 2, 90, (i / w % 200) as u8]).collect();
    let bytes = heifer::encode_rgb8(w, h, &rgb, &heifer::EncodeOptions::default()).unwrap();
    let photo = decode(&bytes, "tiles.heic", &Limits::default()).unwrap();
    assert_eq!((photo.width(), photo.height()), (1100, 700));
    // Reference box: size, name, from, count, to, to, ...
    let name = bytes.windows(4).position(|w| w == b"dimg").expect("the encoder makes tiles");
    let mut ring = bytes.clone();
    ring.copy_within(name + 4..name + 6, name + 8);
    assert!(matches!(refusal(&ring, "ring.heic"), PhotoError::Damaged { .. }));
    let mut small = bytes;
    for at in 0..small.len() - 12 {
        if &small[at..at + 4] == b"ispe" && small[at + 8..at + 12] == w.to_be_bytes() {
            small[at + 8..at + 16].copy_from_slice(&[0, 0, 0, 70, 0, 0, 0, 70]);
        }
    }
    assert!(matches!(refusal(&small, "small.heic"), PhotoError::Variety { .. }));
}

fn photo_is_send_and_sync<T: Send + Sync>() {}

#[test]
fn photos_go_between_threads() {
    photo_is_send_and_sync::<photo::Photo>();
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any bytes changed anywhere: a photo or an error.
    #[test]
    fn changed_bytes_never_panic(
        which in 0..STILLS.len(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut bytes = sample(STILLS[which]);
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if let Ok(photo) = decode(&bytes, "changed", &Limits::default()) {
            prop_assert_eq!(photo.codes().len(), 3 * photo.width() * photo.height());
        }
    }

    #[test]
    fn noise_is_refused(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        prop_assert!(decode(&bytes, "noise", &Limits::default()).is_err());
    }
}
