//! Light between pixel centres.
//!
//! In: real coordinates, (0, 0) the centre of the top-left pixel. Out: linear Rec. 709 light,
//! interpolated in linear light, and whether the place can be trusted. The half pixel between the
//! outermost centres and the photo's edge repeats the outermost pixels.
//! Never here: a homography, anti-aliasing (reduce first, see `reduce`), millimetres.
//!
//! Sources: `keys1981` (cubic convolution, a = −1/2, also known as Catmull-Rom).

use crate::photo::{Codes, Photo};

/// From this share of the top code on, a sample counts as clipped: the camera may have cut it off
/// there, and JPEG moves codes by one or two. 254 of 255.
pub(crate) const CLIP_SHARE: f64 = 254.0 / 255.0;

/// How a place of the photo was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[repr(u8)]
pub enum Seen {
    /// Outside the photo; the light given is 0.
    #[default]
    Outside,
    /// A pixel that it rests on has a channel at its top code: the light is a lower bound.
    Clipped,
    /// Neither.
    Clear,
}

/// Where a sample falls: the four pixels around it and the shares of the right and lower ones.
struct Place {
    x0: usize,
    x1: usize,
    y0: usize,
    y1: usize,
    tx: f32,
    ty: f32,
}

impl Photo {
    #[inline(always)]
    fn place(&self, x: f64, y: f64) -> Option<Place> {
        let (right, bottom) = (self.width as f64 - 1.0, self.height as f64 - 1.0);
        // Written so that a NaN is outside.
        if !(x >= -0.5 && y >= -0.5 && x <= right + 0.5 && y <= bottom + 0.5) {
            return None;
        }
        let (x, y) = (x.clamp(0.0, right), y.clamp(0.0, bottom));
        let (x0, y0) = (x as usize, y as usize);
        Some(Place {
            x0,
            x1: (x0 + 1).min(self.width - 1),
            y0,
            y1: (y0 + 1).min(self.height - 1),
            tx: (x - x0 as f64) as f32,
            ty: (y - y0 as f64) as f32,
        })
    }

    /// Light at a place, bilinear in linear light: never outside what the four pixels around hold.
    ///
    /// # Input
    /// Pixel coordinates, centre of the top-left pixel at (0, 0).
    ///
    /// # Result
    /// Linear Rec. 709; nothing outside −0.5 to width − 0.5 (height alike).
    #[must_use]
    pub fn sample(&self, x: f64, y: f64) -> Option<[f32; 3]> {
        let p = self.place(x, y)?;
        let at = |x: usize, y: usize| self.light(3 * (y * self.width + x));
        let (a, b, c, d) = (at(p.x0, p.y0), at(p.x1, p.y0), at(p.x0, p.y1), at(p.x1, p.y1));
        let mixed = [0, 1, 2].map(|i| bilinear(a[i], b[i], c[i], d[i], p.tx, p.ty));
        Some(self.tables.to_rec709(mixed))
    }

    /// Light at a place by cubic convolution in linear light: sharper than [`Photo::sample`], may
    /// overshoot beside an edge.
    ///
    /// # Input, Result
    /// As [`Photo::sample`]; beyond the outermost centres pixels repeat.
    ///
    /// # Source
    /// `keys1981`, a = −1/2.
    #[must_use]
    pub fn sample_cubic(&self, x: f64, y: f64) -> Option<[f32; 3]> {
        let p = self.place(x, y)?;
        let (wx, wy) = (cubic_weights(p.tx), cubic_weights(p.ty));
        let near = |at: usize, offset: usize, size: usize| (at + offset).saturating_sub(1).min(size - 1);
        let mut sum = [0.0_f32; 3];
        for (j, wy) in wy.iter().enumerate() {
            let row = near(p.y0, j, self.height) * self.width;
            let mut line = [0.0_f32; 3];
            for (i, wx) in wx.iter().enumerate() {
                let light = self.light(3 * (row + near(p.x0, i, self.width)));
                for c in 0..3 {
                    line[c] += wx * light[c];
                }
            }
            for c in 0..3 {
                sum[c] += wy * line[c];
            }
        }
        Some(self.tables.to_rec709(sum))
    }

    /// [`Photo::sample`] for many places: the inner loop of a warp.
    ///
    /// # Input
    /// `at`: pixel coordinates (x, y). `light`, `seen`: where the results go, in the same order; the
    /// shortest of the three ends the work.
    ///
    /// # Result
    /// Linear Rec. 709 light, 0 outside the photo, and how each place was seen.
    pub fn sample_span(&self, at: &[[f64; 2]], light: &mut [[f32; 3]], seen: &mut [Seen]) {
        match &self.codes {
            Codes::Eight(codes) => self.span(codes, at, light, seen),
            Codes::Sixteen(codes) => self.span(codes, at, light, seen),
        }
    }

    #[inline(always)]
    fn span<T: Copy + Ord + Into<usize> + TryFrom<u32>>(
        &self,
        codes: &[T],
        at: &[[f64; 2]],
        light: &mut [[f32; 3]],
        seen: &mut [Seen],
    ) {
        let [r, g, b] = &self.tables.light;
        let clip = self.clip_code();
        for ((place, light), seen) in at.iter().zip(light).zip(seen) {
            let Some(p) = self.place(place[0], place[1]) else {
                *light = [0.0; 3];
                *seen = Seen::Outside;
                continue;
            };
            let (top, bottom) = (p.y0 * self.width, p.y1 * self.width);
            let pixel = |at: usize| -> [usize; 3] {
                let c = &codes[3 * at..3 * at + 3];
                [c[0].into(), c[1].into(), c[2].into()]
            };
            let (a, b4) = (pixel(top + p.x0), pixel(top + p.x1));
            let (c, d) = (pixel(bottom + p.x0), pixel(bottom + p.x1));
            let most = |p: [usize; 3]| p[0].max(p[1]).max(p[2]);
            let clipped = most(a).max(most(b4)).max(most(c)).max(most(d)) >= clip;
            let mix = |i: usize, table: &[f32]| {
                bilinear(table[a[i]], table[b4[i]], table[c[i]], table[d[i]], p.tx, p.ty)
            };
            *light = self.tables.to_rec709([mix(0, r), mix(1, g), mix(2, b)]);
            *seen = if clipped { Seen::Clipped } else { Seen::Clear };
        }
    }

    /// Whether a channel of the pixel is at its top code (254 of 255 and more); false outside.
    #[must_use]
    pub fn is_clipped(&self, x: usize, y: usize) -> bool {
        if x >= self.width || y >= self.height {
            return false;
        }
        let at = 3 * (y * self.width + x);
        let clip = self.clip_code();
        match &self.codes {
            Codes::Eight(v) => v[at..at + 3].iter().any(|c| usize::from(*c) >= clip),
            Codes::Sixteen(v) => v[at..at + 3].iter().any(|c| usize::from(*c) >= clip),
        }
    }

    /// The lowest code that counts as clipped.
    pub(crate) fn clip_code(&self) -> usize {
        (f64::from(self.codes.max_code()) * CLIP_SHARE) as usize
    }
}

#[inline(always)]
fn bilinear(a: f32, b: f32, c: f32, d: f32, tx: f32, ty: f32) -> f32 {
    let top = a + (b - a) * tx;
    let bottom = c + (d - c) * tx;
    top + (bottom - top) * ty
}

/// Weights of the pixels at −1, 0, 1, 2 for a place at `t` behind pixel 0.
fn cubic_weights(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        0.5 * (-t3 + 2.0 * t2 - t),
        0.5 * (3.0 * t3 - 5.0 * t2 + 2.0),
        0.5 * (-3.0 * t3 + 4.0 * t2 + t),
        0.5 * (t3 - t2),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encoding::Encoding;

    /// A linear ramp in light: any interpolation of degree 1 or more returns it exactly.
    #[test]
    fn a_plane_of_light_is_returned_exactly() {
        let (w, h) = (9, 7);
        let mut codes = Vec::new();
        for y in 0..h {
            for x in 0..w {
                codes.extend([(1000 + 700 * x + 300 * y) as u16; 3]);
            }
        }
        let photo = Photo::from_codes("ramp", w, h, Codes::Sixteen(codes), Encoding::linear()).unwrap();
        let mut places = Vec::new();
        for i in 0..200 {
            places.push([1.0 + 0.03 * f64::from(i), 1.0 + 0.02 * f64::from(i)]);
        }
        let mut light = vec![[0.0; 3]; places.len()];
        let mut seen = vec![Seen::Outside; places.len()];
        photo.sample_span(&places, &mut light, &mut seen);
        for ((p, light), seen) in places.iter().zip(light).zip(seen) {
            let want = (1000.0 + 700.0 * p[0] + 300.0 * p[1]) / 65_535.0;
            for got in [light, photo.sample(p[0], p[1]).unwrap(), photo.sample_cubic(p[0], p[1]).unwrap()] {
                assert!((f64::from(got[1]) - want).abs() < 1e-6, "{p:?}");
            }
            assert_eq!(seen, Seen::Clear);
        }
    }

    #[test]
    fn outside_and_clipped_are_told() {
        let mut codes = vec![100_u8; 4 * 3 * 3];
        codes[3 * (4 + 2) + 1] = 254; // pixel (2, 1), green
        let photo = Photo::from_codes("c", 4, 3, Codes::Eight(codes), Encoding::srgb()).unwrap();
        let places =
            [[0.2, 0.2], [1.5, 0.5], [2.0, 1.0], [3.49, 2.49], [3.51, 0.0], [f64::NAN, 0.0], [-0.6, 1.0]];
        let (mut light, mut seen) = ([[9.0; 3]; 7], [Seen::Clear; 7]);
        photo.sample_span(&places, &mut light, &mut seen);
        use Seen::{Clear, Clipped, Outside};
        assert_eq!(seen, [Clear, Clipped, Clipped, Clear, Outside, Outside, Outside]);
        assert_eq!(light[4], [0.0; 3]);
        assert!(photo.is_clipped(2, 1) && !photo.is_clipped(1, 1) && !photo.is_clipped(9, 9));
    }
}
