//! Laws of sampling and reduction on arbitrary small pictures.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use photo::{Codes, Encoding, Photo, Seen};
use proptest::prelude::*;

fn picture() -> impl Strategy<Value = Photo> {
    (1_usize..12, 1_usize..12).prop_flat_map(|(w, h)| {
        proptest::collection::vec(any::<u8>(), 3 * w * h)
            .prop_map(move |v| Photo::from_codes("p", w, h, Codes::Eight(v), Encoding::srgb()).unwrap())
    })
}

proptest! {
    /// Bilinear light lies between the least and the most of the four pixels around, up to rounding.
    #[test]
    fn a_sample_lies_between_its_neighbours(photo in picture(), u in 0.0..1.0_f64, v in 0.0..1.0_f64) {
        let x = u * photo.width() as f64 - 0.5;
        let y = v * photo.height() as f64 - 0.5;
        let got = photo.sample(x, y).unwrap();
        let clamp = |v: f64, n: usize| (v.max(0.0) as usize).min(n - 1);
        for (c, got) in got.iter().enumerate() {
            let around: Vec<f32> = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)]
                .iter()
                .map(|(dx, dy)| {
                    let (x, y) = (x.floor() + dx, y.floor() + dy);
                    photo.linear_at(clamp(x, photo.width()), clamp(y, photo.height())).unwrap()[c]
                })
                .collect();
            let least = around.iter().copied().fold(f32::MAX, f32::min);
            let most = around.iter().copied().fold(f32::MIN, f32::max);
            prop_assert!(*got >= least - 1e-6 && *got <= most + 1e-6, "{got} not in {least}..{most}");
        }
        // The span sampler gives the same bits.
        let (mut light, mut seen) = ([[0.0; 3]], [Seen::Outside]);
        photo.sample_span(&[[x, y]], &mut light, &mut seen);
        prop_assert_eq!(light[0], got);
        prop_assert!(seen[0] != Seen::Outside);
    }

    /// At pixel centres every sampler gives the pixel itself.
    #[test]
    fn at_a_centre_the_pixel_itself(photo in picture()) {
        for y in 0..photo.height() {
            for x in 0..photo.width() {
                let want = photo.linear_at(x, y).unwrap();
                prop_assert_eq!(photo.sample(x as f64, y as f64).unwrap(), want);
                prop_assert_eq!(photo.sample_cubic(x as f64, y as f64).unwrap(), want);
            }
        }
    }

    /// The mean of a reduction by a whole divisor is the mean of the photo.
    #[test]
    fn reduction_keeps_the_mean(w in 1_usize..6, h in 1_usize..6, k in 1_usize..5, seed in any::<u64>()) {
        let (w, h) = (w * k, h * k);
        let mut state = seed | 1;
        let mut codes = Vec::new();
        for _ in 0..3 * w * h {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            codes.push((state >> 56) as u8);
        }
        let luma: f64 = codes.chunks(3).map(|p| 0.2126 * f64::from(p[0]) + 0.7152 * f64::from(p[1]) + 0.0722 * f64::from(p[2])).sum::<f64>()
            / 255.0 / (w * h) as f64;
        let photo = Photo::from_codes("p", w, h, Codes::Eight(codes), Encoding::srgb()).unwrap();
        let (small, scale) = photo.small_luma(w.max(h) / k);
        prop_assert!((scale - k as f64).abs() < 1e-12);
        let mean = small.data().iter().map(|v| f64::from(*v)).sum::<f64>() / small.data().len() as f64;
        prop_assert!((mean - luma).abs() < 1e-5, "{mean} {luma}");
    }
}
