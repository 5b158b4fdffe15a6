//! The decoded codes, and what is done to them before anybody looks: channels to RGB, alpha over
//! white, orientation.
//!
//! In: interleaved samples as a decoder gives them. Out: interleaved RGB of 8 or 16 bits, upright.
//! Never here: light, files.
//!
//! Transparency: a picture with transparent parts was cut out by a person or a shop. It is laid over
//! white in code values, as every browser shows it; the white counts as clipped in the quality maps,
//! so nothing is measured there.

use rayon::prelude::*;

use crate::exif::Orientation;
use crate::photo::Codes;

/// A sample type of a raster.
pub(crate) trait Sample: Copy + Send + Sync + Default + PartialEq + Into<u32> {
    const MAX: u32;
    fn from_u32(value: u32) -> Self;
}

impl Sample for u8 {
    const MAX: u32 = 255;
    fn from_u32(value: u32) -> Self {
        value as Self
    }
}

impl Sample for u16 {
    const MAX: u32 = 65_535;
    fn from_u32(value: u32) -> Self {
        value as Self
    }
}

/// RGB from 1 (grey), 2 (grey, alpha), 3 (RGB) or 4 (RGB, alpha) interleaved channels, and the share
/// of pixels that were not opaque.
pub(crate) fn to_rgb<T: Sample>(samples: Vec<T>, channels: usize) -> (Vec<T>, f64) {
    match channels {
        1 => (spread(&samples, |v| [*v; 3]), 0.0),
        2 => {
            let pixels = samples.as_chunks::<2>().0;
            let share = share_of(pixels.len(), pixels.iter().filter(|p| p[1].into() != T::MAX).count());
            (spread(pixels, |p| [over_white(p[0], p[1]); 3]), share)
        }
        4 => {
            let pixels = samples.as_chunks::<4>().0;
            let share = share_of(pixels.len(), pixels.iter().filter(|p| p[3].into() != T::MAX).count());
            (
                spread(pixels, |p| [over_white(p[0], p[3]), over_white(p[1], p[3]), over_white(p[2], p[3])]),
                share,
            )
        }
        _ => (samples, 0.0),
    }
}

fn share_of(all: usize, some: usize) -> f64 {
    if all == 0 { 0.0 } else { some as f64 / all as f64 }
}

fn spread<P: Sync, T: Sample>(pixels: &[P], f: impl Fn(&P) -> [T; 3] + Sync) -> Vec<T> {
    const RUN: usize = 1 << 16;
    let mut rgb = vec![T::default(); pixels.len() * 3];
    rgb.par_chunks_mut(RUN * 3).zip(pixels.par_chunks(RUN)).for_each(|(out, pixels)| {
        for (o, p) in out.as_chunks_mut::<3>().0.iter_mut().zip(pixels) {
            *o = f(p);
        }
    });
    rgb
}

fn over_white<T: Sample>(value: T, alpha: T) -> T {
    let (value, alpha): (u32, u32) = (value.into(), alpha.into());
    if alpha == T::MAX {
        return T::from_u32(value);
    }
    let mixed = u64::from(value) * u64::from(alpha) + u64::from(T::MAX) * u64::from(T::MAX - alpha);
    T::from_u32(((mixed + u64::from(T::MAX) / 2) / u64::from(T::MAX)) as u32)
}

/// The raster turned upright; width and height change places for the quarter turns.
pub(crate) fn upright(
    codes: Codes,
    width: usize,
    height: usize,
    orientation: Orientation,
) -> (Codes, usize, usize) {
    let codes = match codes {
        Codes::Eight(v) => Codes::Eight(turn(v, width, height, orientation)),
        Codes::Sixteen(v) => Codes::Sixteen(turn(v, width, height, orientation)),
    };
    if orientation.swaps_sides() { (codes, height, width) } else { (codes, width, height) }
}

fn turn<T: Sample>(mut rgb: Vec<T>, width: usize, height: usize, orientation: Orientation) -> Vec<T> {
    let stride = width * 3;
    if stride == 0 {
        return rgb;
    }
    match orientation {
        Orientation::Upright => rgb,
        Orientation::Mirrored => {
            rgb.par_chunks_mut(stride).for_each(|row| row.as_chunks_mut::<3>().0.reverse());
            rgb
        }
        Orientation::HalfTurn => {
            rgb.as_chunks_mut::<3>().0.reverse();
            rgb
        }
        Orientation::Flipped => {
            let (top, bottom) = rgb.split_at_mut(height / 2 * stride);
            let bottom_rows = bottom.chunks_exact_mut(stride).rev();
            top.chunks_exact_mut(stride).zip(bottom_rows).for_each(|(a, b)| a.swap_with_slice(b));
            rgb
        }
        // Shown pixel (x, y) is stored pixel (column, row):
        Orientation::Transposed => quarter(&rgb, width, height, |x, y| (y, x)),
        Orientation::QuarterRight => quarter(&rgb, width, height, |x, y| (y, height - 1 - x)),
        Orientation::Transverse => quarter(&rgb, width, height, |x, y| (width - 1 - y, height - 1 - x)),
        Orientation::QuarterLeft => quarter(&rgb, width, height, |x, y| (width - 1 - y, x)),
    }
}

/// `width` and `height` are the stored ones; the result is `height` wide and `width` high. Works in
/// bands and blocks, so that both sides stay in the cache.
fn quarter<T: Sample>(
    rgb: &[T],
    width: usize,
    height: usize,
    from: impl Fn(usize, usize) -> (usize, usize) + Sync,
) -> Vec<T> {
    const BLOCK: usize = 32;
    let pixels = rgb.as_chunks::<3>().0;
    let mut out = vec![T::default(); rgb.len()];
    out.par_chunks_mut(height * 3 * BLOCK).enumerate().for_each(|(band, rows)| {
        let rows = rows.as_chunks_mut::<3>().0;
        let count = rows.len() / height;
        for left in (0..height).step_by(BLOCK) {
            for y in 0..count {
                for x in left..(left + BLOCK).min(height) {
                    let (column, row) = from(x, band * BLOCK + y);
                    rows[y * height + x] = pixels[row * width + column];
                }
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn alpha_over_white_by_hand() {
        let (rgb, share) = to_rgb(vec![0_u8, 0, 0, 0, 10, 20, 30, 255, 100, 100, 100, 128], 4);
        assert_eq!(rgb, [255, 255, 255, 10, 20, 30, 177, 177, 177]);
        assert!((share - 2.0 / 3.0).abs() < 1e-12);
        let (rgb, share) = to_rgb(vec![7_u16, 65_535, 7, 0], 2);
        assert_eq!(rgb, [7, 7, 7, 65_535, 65_535, 65_535]);
        assert!((share - 0.5).abs() < 1e-12);
        assert_eq!(to_rgb(vec![1_u8, 2], 1).0, [1, 1, 1, 2, 2, 2]);
    }
}
