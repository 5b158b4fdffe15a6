//! A line of text cut out of a photo: upright, straight, at the height that is asked for.
//!
//! In: a photo, its placement and the print's displacement on the face. Out: a [`Patch`] in the line's
//! own frame. Never here: what the line says.

use casebook::units::RectMm;
use photo::{Photo, Plane};
use placement::{Homography, Patch, rectify};

use crate::compare::field::Field;

/// Half the distance over which the field's slope is taken at least, mm.
const LEAST_REACH_MM: f64 = 2.0;

/// The frame of a line on the face: x along the text, y down the letters, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Frame {
    /// Quarter turns clockwise from the face's x axis to the line's.
    pub(super) quarters: u8,
}

impl Frame {
    /// From the line's frame to the face, both mm. The frames share their origin.
    pub(super) fn to_face(self) -> [[f64; 2]; 2] {
        match self.quarters % 4 {
            0 => [[1.0, 0.0], [0.0, 1.0]],
            1 => [[0.0, -1.0], [1.0, 0.0]],
            2 => [[-1.0, 0.0], [0.0, -1.0]],
            _ => [[0.0, 1.0], [-1.0, 0.0]],
        }
    }

    /// A rectangle of the face in the line's frame.
    pub(super) fn rect_of(self, rect: RectMm) -> RectMm {
        let m = self.to_face();
        // The inverse of a turn is its transpose.
        let turned = rect.corners().map(|(x, y)| [0, 1].map(|i| m[0][i] * x + m[1][i] * y));
        let low = |i: usize| turned.iter().map(|p| p[i]).fold(f64::INFINITY, f64::min);
        let high = |i: usize| turned.iter().map(|p| p[i]).fold(f64::NEG_INFINITY, f64::max);
        RectMm { x: low(0), y: low(1), width: high(0) - low(0), height: high(1) - low(1) }
    }

    /// A rectangle of the line's frame on the face.
    pub(super) fn rect_on_face(self, rect: RectMm) -> RectMm {
        Frame { quarters: (4 - self.quarters % 4) % 4 }.rect_of(rect)
    }

    fn map(self) -> Option<Homography> {
        let [a, b] = self.to_face();
        Homography::new([[a[0], a[1], 0.0], [b[0], b[1], 0.0], [0.0, 0.0, 1.0]]).ok()
    }
}

/// From the reference's face to its own pixels: its edges are the face's edges.
pub(super) fn reference_map(reference: &Photo, size_mm: [f64; 2]) -> Option<Homography> {
    let (sx, sy) = (reference.width() as f64 / size_mm[0], reference.height() as f64 / size_mm[1]);
    Homography::new([[sx, 0.0, -0.5], [0.0, sy, -0.5], [0.0, 0.0, 1.0]]).ok()
}

/// From the face to photo pixels near a rectangle of it: the print's displacement there, linear, then
/// the placement.
pub(super) fn displaced(mm_to_px: &Homography, field: &Field, near: RectMm) -> Option<Homography> {
    let (cx, cy) = near.centre();
    let reach = [(near.width / 2.0).max(LEAST_REACH_MM), (near.height / 2.0).max(LEAST_REACH_MM)];
    let at = field.at(cx, cy);
    let (left, right) = (field.at(cx - reach[0], cy), field.at(cx + reach[0], cy));
    let (above, below) = (field.at(cx, cy - reach[1]), field.at(cx, cy + reach[1]));
    let row = |i: usize, own: [f64; 2]| {
        let dx = (right[i] - left[i]) / (2.0 * reach[0]);
        let dy = (below[i] - above[i]) / (2.0 * reach[1]);
        [own[0] + dx, own[1] + dy, at[i] - dx * cx - dy * cy]
    };
    Homography::new([row(0, [1.0, 0.0]), row(1, [0.0, 1.0]), [0.0, 0.0, 1.0]]).ok()?.then(mm_to_px).ok()
}

/// Cuts a rectangle of a line's frame out of a photo, `rows` pixels high.
pub(super) fn cut(
    photo: &Photo,
    face_to_px: &Homography,
    frame: Frame,
    rect: RectMm,
    rows: usize,
) -> Option<Patch> {
    if !(rect.width > 0.0 && rect.height > 0.0) {
        return None;
    }
    let map = frame.map()?.then(face_to_px).ok()?;
    let patch = rectify(photo, &map, rect, rows as f64 / rect.height);
    (patch.width() > 0 && patch.height().abs_diff(rows) <= 1).then_some(patch)
}

/// The planes with exactly so many rows: rectifying may round by one.
pub(super) fn rows(rgb: &[Plane<f32>; 3], rows: usize) -> [Plane<f32>; 3] {
    [0, 1, 2].map(|c| {
        let plane = &rgb[c];
        Plane::from_fn(plane.width(), rows, |x, y| plane.nearest(x as isize, y as isize).unwrap_or(0.0))
    })
}

/// How light a patch is to the eye, 0 to 1: the root of luminance.
pub(super) fn lightness(patch: &Patch) -> Plane<f32> {
    patch.luminance().map(|v| v.max(0.0).sqrt())
}

/// Share of a patch at the photo's top code.
pub(super) fn clipped(patch: &Patch) -> f64 {
    let n = patch.clipped.data().len().max(1) as f64;
    patch.clipped.data().iter().filter(|c| **c).count() as f64 / n
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_reads_downwards() {
        let rect = RectMm { x: 10.0, y: 20.0, width: 3.0, height: 30.0 };
        for quarters in 0..4 {
            let frame = Frame { quarters };
            let there = frame.rect_on_face(frame.rect_of(rect));
            for (a, b) in [(there.x, 10.0), (there.y, 20.0), (there.width, 3.0), (there.height, 30.0)] {
                assert!((a - b).abs() < 1e-9, "{quarters}: {a} {b}");
            }
        }
        // Along the text of a line turned by one quarter clockwise is down the face.
        assert_eq!(Frame { quarters: 1 }.to_face().map(|row| row[0]), [0.0, 1.0]);
    }
}
