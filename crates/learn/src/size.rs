//! How large the item is: typed in, or measured against a card that lies beside it.
//!
//! In: what was said; outlines of item and card in one photo. Out: [`Size`] with its uncertainty.
//! Never here: finding outlines.
//!
//! The card gives the map from the table's plane to the photo, by which the item's corners become
//! millimetres. The item's outline should lie in that plane; a face that stands above it by `h` at a
//! distance `z` comes out larger by `h / z`, which goes into the uncertainty.
//! Sources: [`iso7810`] (ID-1), [`jcgm100`] (propagation by central differences).

use casebook::catalogue::Form;
use placement::outline::Outline;
use placement::{Homography, Point};

/// Width and height of an ID-1 card, mm. Source: [`iso7810`].
pub const ID1_MM: (f64, f64) = (85.60, 53.98);
/// Standard uncertainty of these, mm: a tolerance of 0.12 mm, rectangular. Source: [`iso7810`], from
/// memory.
const ID1_U_MM: f64 = 0.07;
/// Ratio of sides that may be a card seen at an angle.
const CARD_RATIO: (f64, f64) = (1.25, 2.0);
/// Height over table of an item's outline, mm, and distance of a hand-held phone, mm: common practice,
/// no source.
const HEIGHT_OVER_DISTANCE: f64 = 1.5 / 350.0;
/// Standard uncertainty of a length that a person reads off a ruler, mm: half a division, rectangular
/// at both ends.
pub(crate) const RULER_U_MM: f64 = 0.4;
/// A typed size is that of the faces, so opposite sides may differ by no more than this share in a map
/// from a card; beyond it the outlines are wrong.
const SKEW: f64 = 0.06;

/// Width and height of the front, and of a box its depth, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    /// Width of the front.
    pub width: f64,
    /// Height of the front.
    pub height: f64,
    /// Depth, when known.
    pub depth: Option<f64>,
    /// Standard uncertainty of each.
    pub u: f64,
    /// Whether it was measured against a card.
    pub by_card: bool,
}

impl Size {
    /// From typed lengths; nothing when there are fewer than two.
    #[must_use]
    pub fn typed(lengths_mm: &[f64], u_mm: Option<f64>) -> Option<Self> {
        let [width, height, rest @ ..] = lengths_mm else { return None };
        Some(Self {
            width: *width,
            height: *height,
            depth: rest.first().copied(),
            u: u_mm.unwrap_or(RULER_U_MM),
            by_card: false,
        })
    }

    /// Width and height of a face, mm; nothing for a face that needs the depth when that is unknown.
    #[must_use]
    pub fn face(&self, form: Form, face: &str) -> Option<[f64; 2]> {
        match (form, face) {
            (_, "front" | "back") => Some([self.width, self.height]),
            (Form::Pack | Form::Blister, _) => None,
            (_, "left" | "right") => self.depth.map(|d| [d, self.height]),
            (_, "top" | "bottom") => self.depth.map(|d| [self.width, d]),
            _ => None,
        }
    }
}

/// Which of several outlines is the card: the smallest whose sides are in a card's ratio.
pub(crate) fn card_among(outlines: &[Outline]) -> Option<usize> {
    (0..outlines.len()).rev().find(|i| {
        let [a, b, c, d] = outlines[*i].sides_px();
        let (across, down) = (a + c, b + d);
        let ratio = across.max(down) / across.min(down).max(1e-9);
        (CARD_RATIO.0..=CARD_RATIO.1).contains(&ratio)
    })
}

/// Width and height of an outline by a card in the same photo, and their standard uncertainty, mm.
///
/// Nothing when the outlines cannot lie in one plane.
pub(crate) fn by_card(item: &Outline, card: &Outline) -> Option<(f64, f64, f64)> {
    let [a, b, c, d] = card.sides_px();
    // The card may lie either way.
    let size = if a + c >= b + d { ID1_MM } else { (ID1_MM.1, ID1_MM.0) };
    let lengths = |item: &[Point; 4], card: &[Point; 4]| -> Option<[f64; 4]> {
        let back = Homography::from_four(*card, size).ok()?.inverse();
        let mut mm = [[0.0; 2]; 4];
        for (m, p) in mm.iter_mut().zip(item) {
            *m = back.map(*p)?;
        }
        Some([0, 1, 2, 3].map(|k| {
            let (p, q) = (mm[k], mm[(k + 1) % 4]);
            ((p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1])).sqrt()
        }))
    };
    let base = lengths(&item.corners_px, &card.corners_px)?;
    let (width, height) = ((base[0] + base[2]) / 2.0, (base[1] + base[3]) / 2.0);
    let skew = ((base[0] - base[2]) / width).abs().max(((base[1] - base[3]) / height).abs());
    if !(skew.is_finite() && skew < SKEW) {
        return None;
    }
    let mut variance = 0.0;
    for (which, outline) in [item, card].into_iter().enumerate() {
        for corner in 0..4 {
            let u = outline.corner_u_px(corner).max(0.05);
            for axis in 0..2 {
                let mut moved = [item.corners_px, card.corners_px];
                moved[which][corner][axis] += u;
                let up = lengths(&moved[0], &moved[1])?;
                let change =
                    ((up[0] + up[2]) / 2.0 - width).abs().max(((up[1] + up[3]) / 2.0 - height).abs());
                variance += change * change;
            }
        }
    }
    let largest = width.max(height);
    let scale = largest * (ID1_U_MM / ID1_MM.0);
    let above = largest * HEIGHT_OVER_DISTANCE / 3.0_f64.sqrt();
    Some((width, height, (variance + scale * scale + above * above).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_gives_the_size_of_what_lies_beside_it() {
        // A table seen at an angle: the map of its millimetres.
        let table = Homography::new([[9.0, 0.6, 100.0], [-0.4, 8.2, 150.0], [2e-4, 6e-4, 1.0]]).unwrap();
        let place = |x: f64, y: f64, w: f64, h: f64, turn: f64| {
            let (s, c) = (casebook::elementary::sin(turn), casebook::elementary::cos(turn));
            [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]
                .map(|[a, b]| table.map([x + c * a - s * b, y + s * a + c * b]).unwrap())
        };
        let item = Outline::by_hand(place(10.0, 10.0, 65.0, 112.0, 0.05), 0.5);
        for card in [place(90.0, 20.0, 85.6, 53.98, -0.1), place(90.0, 20.0, 53.98, 85.6, 0.2)] {
            let card = Outline::by_hand(card, 0.5);
            let (w, h, u) = by_card(&item, &card).unwrap();
            assert!((w - 65.0).abs() < 0.01 && (h - 112.0).abs() < 0.01, "{w} × {h}");
            assert!(u > 0.1 && u < 0.8, "{u}");
            assert_eq!(card_among(&[item.clone(), card]), Some(1));
        }
        // An outline that is no rectangle in that plane is refused.
        let mut wrong = item.corners_px;
        wrong[0][0] += 80.0;
        assert!(
            by_card(
                &Outline::by_hand(wrong, 0.5),
                &Outline::by_hand(place(90.0, 20.0, 85.6, 53.98, 0.0), 0.5)
            )
            .is_none()
        );
    }

    #[test]
    fn faces_take_their_sides_from_three_lengths() {
        let size = Size::typed(&[135.0, 125.0, 70.0], None).unwrap();
        assert_eq!(size.face(Form::Box, "front"), Some([135.0, 125.0]));
        assert_eq!(size.face(Form::Box, "left"), Some([70.0, 125.0]));
        assert_eq!(size.face(Form::Box, "top"), Some([135.0, 70.0]));
        assert_eq!(Size::typed(&[65.0, 112.0], None).unwrap().face(Form::Box, "top"), None);
        assert_eq!(Size::typed(&[65.0], None), None);
    }
}
