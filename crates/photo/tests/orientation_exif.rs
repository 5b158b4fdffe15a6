//! The eight EXIF orientations, as `exif3` words them: where row 0 and column 0 of the stored picture
//! belong when it is shown.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use common::{jpeg, orientation_block};
use photo::{Limits, Photo, decode};

/// Stored 96 × 64: left part red, right part blue, top part bright.
fn stored() -> Vec<u8> {
    let mut codes = Vec::new();
    for y in 0..64 {
        for x in 0..96 {
            let light = if y < 32 { 220 } else { 90 };
            codes.extend(if x < 48 { [light, 20, 20] } else { [20, 20, light] });
        }
    }
    codes
}

/// What lies in a corner of the shown picture: red or blue, bright or dark.
fn corner(photo: &Photo, right: bool, bottom: bool) -> (bool, bool) {
    let x = if right { photo.width() - 8 } else { 7 };
    let y = if bottom { photo.height() - 8 } else { 7 };
    let codes = photo.codes8().unwrap();
    let p = &codes[3 * (y * photo.width() + x)..][..3];
    (p[0] > p[2], p[0].max(p[2]) > 150)
}

#[test]
fn all_eight_orientations() {
    // For each value: on which side of the shown picture stored row 0 (bright) and stored column 0
    // (red) lie. Source: `exif3`, 4.6.5.1.6.
    let sides = [
        (1, "top", "left"),
        (2, "top", "right"),
        (3, "bottom", "right"),
        (4, "bottom", "left"),
        (5, "left", "top"),
        (6, "right", "top"),
        (7, "right", "bottom"),
        (8, "left", "bottom"),
    ];
    for (value, row0, column0) in sides {
        let file = jpeg(96, 64, &stored(), Some(orientation_block(value)));
        let photo = decode(&file, "turned.jpg", &Limits::default()).unwrap();
        let size = if value < 5 { (96, 64) } else { (64, 96) };
        assert_eq!((photo.width(), photo.height()), size, "orientation {value}");
        let on = |side: &str, right: bool, bottom: bool| match side {
            "top" => !bottom,
            "bottom" => bottom,
            "left" => !right,
            _ => right,
        };
        for (right, bottom) in [(false, false), (true, false), (false, true), (true, true)] {
            let want = (on(column0, right, bottom), on(row0, right, bottom));
            assert_eq!(corner(&photo, right, bottom), want, "orientation {value}, {right} {bottom}");
        }
        assert!(!photo.exif().is_broken);
    }
}

#[test]
fn an_orientation_that_does_not_exist_is_broken_and_ignored() {
    for value in [0, 9, 257] {
        let file = jpeg(96, 64, &stored(), Some(orientation_block(value)));
        let photo = decode(&file, "odd.jpg", &Limits::default()).unwrap();
        assert_eq!((photo.width(), photo.height()), (96, 64));
        assert!(photo.exif().is_broken, "{value}");
    }
}
