//! What reading a photo must keep, for the fuzz target and for the ordinary replay of its inputs
//! (`crates/photo/tests/fuzz_corpus.rs`).
//!
//! Laws: arbitrary bytes give a photo or an error, never a panic. The error names the file. A photo
//! that was read is within the limits, every pixel of it has finite light, a sample at the centre of
//! a pixel is that pixel, shares are shares, and reading it again gives the same.

use photo::{Limits, Photo, decode};

/// Small enough that a run tries thousands of inputs a second.
const LIMITS: Limits =
    Limits { max_pixels: 250_000, max_side: 2_000, min_side: 1, max_bytes: 1 << 20, max_memory: 64 << 20 };

/// A sample at the centre of a pixel rests on that pixel alone; what is left is the rounding of the
/// change of primaries, a few units in the last place of the largest coefficient.
const SAME_LIGHT: f32 = 1e-5;

/// Holds `bytes` to the laws. `Err` says why they were no photo, which is no fault.
pub(crate) fn holds(bytes: &[u8]) -> Result<(), String> {
    let photo = match decode(bytes, "input.jpg", &LIMITS) {
        Ok(photo) => photo,
        Err(error) => {
            let message = error.to_string();
            assert!(message.starts_with("input.jpg: "), "an error that does not name the file: {message}");
            return Err(message);
        }
    };
    let (width, height) = (photo.width(), photo.height());
    assert!(width >= 1 && height >= 1, "an empty photo");
    assert!(width * height <= 250_000 && width.max(height) <= 2_000, "{width} × {height} is over the limits");
    assert_eq!(photo.codes().len(), 3 * width * height, "codes do not fill the photo");
    assert!((0.0..=1.0).contains(&photo.transparent_share()), "no share: {}", photo.transparent_share());
    every_pixel(&photo);
    let again = decode(bytes, "input.jpg", &LIMITS).unwrap_or_else(|error| panic!("read once only: {error}"));
    assert!(photo.codes() == again.codes(), "a second reading gave other codes");
    assert_eq!(photo.hash(), again.hash());
    shares(&photo);
    Ok(())
}

fn every_pixel(photo: &Photo) {
    for y in 0..photo.height() {
        for x in 0..photo.width() {
            let light = photo.linear_at(x, y).unwrap_or_else(|| panic!("no light at {x}, {y}"));
            assert!(light.iter().all(|v| v.is_finite()), "{light:?} at {x}, {y}");
            // Along one diagonal is enough: every pixel would make the run slow.
            if x == y {
                let sample = photo.sample(x as f64, y as f64).unwrap_or_else(|| panic!("none at {x}, {y}"));
                let far =
                    light.iter().zip(sample).any(|(a, b)| (a - b).abs() > SAME_LIGHT * a.abs().max(1.0));
                assert!(!far, "pixel {light:?}, sample {sample:?} at {x}, {y}");
            }
        }
    }
    assert!(photo.linear_at(photo.width(), 0).is_none() && photo.linear_at(0, photo.height()).is_none());
}

fn shares(photo: &Photo) {
    for tile in photo.quality().tiles() {
        for share in [tile.clipped, tile.near_black, tile.specular] {
            assert!((0.0..=1.0).contains(&share), "no share: {tile:?}");
        }
        let blurs = [tile.blur_sigma_px, tile.blur_u_px];
        assert!(blurs.iter().flatten().all(|v| v.is_finite() && *v >= 0.0), "no blur: {tile:?}");
        assert!(tile.mean_exposure.is_finite(), "no exposure: {tile:?}");
    }
}
