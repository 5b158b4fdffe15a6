//! One end of a pack cut out of one photo, with its surroundings.
//!
//! In: a photo, the map of a face, the end. Out: [`EndView`], colour planes in the frame of
//! [`super::Strip`], a few millimetres larger than the seal on all sides. Never here: where exactly
//! the seal lies (see `register` and `edge`), ridges.
//!
//! The map was fitted to the printed body, which stands up to 3 mm above the seals; whatever is cut
//! out by it may be off by 1 to 3 mm, hence the margins.

use casebook::units::RectMm;
use photo::Photo;
use placement::{Homography, rectify};

/// How far a view reaches outside the nominal cut edge, mm.
pub const OUTSIDE_MM: f64 = 5.0;
/// How far it reaches inward.
pub const INSIDE_MM: f64 = 15.0;
/// How far it reaches past both sides.
pub const SIDE_MM: f64 = 5.0;
/// Finest scale that is worth its time: 16 samples for a ridge of a millimetre.
const TOP_PX_PER_MM: f64 = 16.0;

/// Which end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum End {
    /// At the face's y = 0.
    Top,
    /// At the face's largest y.
    Bottom,
}

impl End {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Top, Self::Bottom];

    /// Its part's name in findings.
    #[must_use]
    pub const fn part(self) -> &'static str {
        match self {
            Self::Top => "top-end-seal",
            Self::Bottom => "bottom-end-seal",
        }
    }

    /// In a sentence.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Bottom => "bottom",
        }
    }

    /// Place on the face of a place in the strip's frame.
    #[must_use]
    pub fn on_face(self, x_mm: f64, d_mm: f64, face_height_mm: f64) -> [f64; 2] {
        match self {
            Self::Top => [x_mm, d_mm],
            Self::Bottom => [x_mm, face_height_mm - d_mm],
        }
    }
}

/// Colour planes of one end and its surroundings, linear light.
#[derive(Debug, Clone)]
pub struct EndView {
    /// Which end.
    pub end: End,
    /// Columns.
    pub width: usize,
    /// Rows; row 0 lies outermost.
    pub height: usize,
    /// Red, green, blue.
    pub rgb: [Vec<f32>; 3],
    /// Inside the photo's frame.
    pub inside: Vec<bool>,
    /// On a pixel at its top code.
    pub clipped: Vec<bool>,
    /// Samples per mm.
    pub px_per_mm: f64,
    /// Place of column 0 and of row 0, mm.
    pub origin_mm: [f64; 2],
    /// Photo pixels per mm along the end and inward.
    pub seen_px_per_mm: [f64; 2],
    /// Size of the face, mm.
    pub face_mm: [f64; 2],
}

impl EndView {
    /// Cuts an end out; `None` when the map does not reach it.
    #[must_use]
    pub fn cut(photo: &Photo, map: &Homography, face_mm: [f64; 2], end: End) -> Option<Self> {
        let [w, h] = face_mm;
        let middle = end.on_face(w / 2.0, 4.5, h);
        let seen = map.axis_scales_px_per_mm(middle)?;
        let px_per_mm = seen[0].max(seen[1]).clamp(1.0, TOP_PX_PER_MM);
        let y = match end {
            End::Top => -OUTSIDE_MM,
            End::Bottom => h - INSIDE_MM,
        };
        let rect = RectMm::new(-SIDE_MM, y, w + 2.0 * SIDE_MM, OUTSIDE_MM + INSIDE_MM);
        let patch = rectify(photo, map, rect, px_per_mm);
        let (width, height) = (patch.width(), patch.height());
        if width == 0 || height == 0 {
            return None;
        }
        let turned = |data: &[f32]| -> Vec<f32> { turn(data, width, end) };
        let rgb = [0, 1, 2].map(|k| turned(patch.rgb[k].data()));
        Some(Self {
            end,
            width,
            height,
            rgb,
            inside: turn(patch.usable.data(), width, end),
            clipped: turn(patch.clipped.data(), width, end),
            px_per_mm,
            origin_mm: [-SIDE_MM + 0.5 / px_per_mm, -OUTSIDE_MM + 0.5 / px_per_mm],
            seen_px_per_mm: seen,
            face_mm,
        })
    }

    /// Luminance of a sample.
    #[must_use]
    #[inline]
    pub fn luminance(&self, at: usize) -> f32 {
        0.2126 * self.rgb[0][at] + 0.7152 * self.rgb[1][at] + 0.0722 * self.rgb[2][at]
    }

    /// Share of the nominal seal (0 to `seal_mm` inward, whole width) inside the photo's frame.
    #[must_use]
    pub fn framed_share(&self, seal_mm: f64) -> f64 {
        let (mut inside, mut all) = (0_usize, 0_usize);
        for row in 0..self.height {
            let d = self.origin_mm[1] + row as f64 / self.px_per_mm;
            if !(0.0..=seal_mm).contains(&d) {
                continue;
            }
            for column in 0..self.width {
                let x = self.origin_mm[0] + column as f64 / self.px_per_mm;
                if (0.0..=self.face_mm[0]).contains(&x) {
                    all += 1;
                    inside += usize::from(self.inside[row * self.width + column]);
                }
            }
        }
        inside as f64 / all.max(1) as f64
    }
}

/// Rows in the strip's order: outermost first.
fn turn<T: Copy>(data: &[T], width: usize, end: End) -> Vec<T> {
    match end {
        End::Top => data.to_vec(),
        End::Bottom => data.rchunks_exact(width).flatten().copied().collect(),
    }
}
