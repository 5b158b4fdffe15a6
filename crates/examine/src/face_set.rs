//! Whether the faces of a box that one photo shows are those of one box: adjoining faces share an edge.
//!
//! In: an item's placed photos. Out: one finding: how far apart adjoining faces put the edge that they
//! share. It is shown and weighs nothing: a face of another box in the same photo, or a picture put
//! together from two, leaves centimetres, and so may a placement that went wrong.
//! Never here: what is printed on the faces, a weight.
//!
//! Faces are unfolded from the front as is common for cartons (common practice, no source): left, right,
//! top and bottom are drawn as they are read beside the front, the back as it is read from behind.

use casebook::catalogue::{Face, Form, Product};
use casebook::elementary::hypot;
use casebook::finding::{Expected, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::names::{PhotoFile, Slug};

use crate::genuine;
use crate::{Examined, Examiner, ItemView, PlacedPhoto};

/// Points along an edge that are compared; the ends are rounded and left out.
const ALONG: [f64; 5] = [0.15, 0.325, 0.5, 0.675, 0.85];
/// Radius of a carton's edge and the film over it, mm: faces end there without meeting.
const ROUNDING_MM: f64 = 0.7;
/// Faces seen flatter than this have no edge to compare, degrees.
const MAX_ANGLE_DEG: f64 = 75.0;
/// Fewest readings of genuine specimens that give a range.
const MIN_SPECIMENS: usize = 3;

/// A side of a face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Right,
    Top,
    Bottom,
}

/// Two faces, the side of each that they share, and whether the sides run against each other.
type Hinge = (&'static str, Side, &'static str, Side, bool);

const HINGES: [Hinge; 12] = [
    ("front", Side::Right, "right", Side::Left, false),
    ("front", Side::Left, "left", Side::Right, false),
    ("front", Side::Top, "top", Side::Bottom, false),
    ("front", Side::Bottom, "bottom", Side::Top, false),
    ("back", Side::Left, "right", Side::Right, false),
    ("back", Side::Right, "left", Side::Left, false),
    ("back", Side::Top, "top", Side::Top, true),
    ("back", Side::Bottom, "bottom", Side::Bottom, true),
    ("top", Side::Right, "right", Side::Top, true),
    ("top", Side::Left, "left", Side::Top, false),
    ("bottom", Side::Right, "right", Side::Bottom, false),
    ("bottom", Side::Left, "left", Side::Bottom, true),
];

/// A point of a side, `t` of the way from its top or left end, mm.
fn point(side: Side, t: f64, [w, h]: [f64; 2]) -> [f64; 2] {
    match side {
        Side::Left => [0.0, t * h],
        Side::Right => [w, t * h],
        Side::Top => [t * w, 0.0],
        Side::Bottom => [t * w, h],
    }
}

/// Examines whether the faces of a box belong together.
#[derive(Debug, Clone, Copy, Default)]
pub struct FaceSet;

impl Examiner for FaceSet {
    fn name(&self) -> &'static str {
        "face-set"
    }

    fn concerns(&self, product: &Product) -> bool {
        product.form == Form::Box
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        finding(view).map(|finding| Examined { finding, pictures: Vec::new() }).into_iter().collect()
    }
}

/// How far two adjoining faces put their common edge apart in one photo.
struct Gap<'a> {
    file: &'a PhotoFile,
    faces: [&'a Face; 2],
    mm: f64,
    u_mm: f64,
}

fn gaps<'a>(view: &ItemView<'a>) -> Vec<Gap<'a>> {
    let mut out = Vec::new();
    let flat = |p: &&PlacedPhoto<'a>| p.placement.angle.value_deg <= MAX_ANGLE_DEG;
    for (i, one) in view.photos.iter().enumerate().filter(|(_, p)| flat(p)) {
        for other in view.photos[i + 1..].iter().filter(flat).filter(|p| p.file == one.file) {
            let hinge = HINGES.iter().find_map(|(a, at, b, bt, turned)| {
                let (x, y) = (one.face.id.as_str(), other.face.id.as_str());
                if (x, y) == (*a, *b) {
                    Some((*at, *bt, *turned))
                } else if (y, x) == (*a, *b) {
                    Some((*bt, *at, *turned))
                } else {
                    None
                }
            });
            let Some((side, other_side, turned)) = hinge else { continue };
            if let Some((mm, u_mm)) = apart(one, side, other, other_side, turned) {
                out.push(Gap { file: one.file, faces: [one.face, other.face], mm, u_mm });
            }
        }
    }
    out
}

/// Mean distance along the edge, mm, and its standard uncertainty.
fn apart(
    one: &PlacedPhoto<'_>,
    side: Side,
    other: &PlacedPhoto<'_>,
    other_side: Side,
    turned: bool,
) -> Option<(f64, f64)> {
    let (mut sum, mut variance) = (0.0, 0.0);
    for t in ALONG {
        let a = point(side, t, one.face.size_mm);
        let b = point(other_side, if turned { 1.0 - t } else { t }, other.face.size_mm);
        let [p, q] = [one.placement.mm_to_px.map(a)?, other.placement.mm_to_px.map(b)?];
        let scales = [
            one.placement.mm_to_px.axis_scales_px_per_mm(a)?,
            other.placement.mm_to_px.axis_scales_px_per_mm(b)?,
        ];
        // The finest scale of both gives the least distance: the edge gets the benefit of the doubt.
        let scale = scales.iter().flatten().copied().fold(0.0, f64::max);
        sum += hypot(p[0] - q[0], p[1] - q[1]) / scale.max(1e-9);
        let u = |photo: &PlacedPhoto<'_>, mm| photo.placement.position_u_mm(mm).map(|[x, y]| x * x + y * y);
        variance += u(one, a)? + u(other, b)?;
    }
    let n = ALONG.len() as f64;
    // Places along an edge err together: their uncertainties do not average out.
    Some((sum / n, (variance / n + ROUNDING_MM * ROUNDING_MM).sqrt()))
}

fn finding(view: &ItemView<'_>) -> Option<Finding> {
    let slug = |text: &str| -> Option<Slug> { text.parse().ok() };
    let quantity = slug("edge-gap")?;
    let gaps = gaps(view);
    let worst = gaps.iter().max_by(|a, b| a.mm.total_cmp(&b.mm));
    let (reading, says) = match worst {
        Some(worst) => {
            let says = format!(
                "In {} the {} and the {} put the edge that they share {:.1} ± {:.1} mm apart; {} such edges are seen.",
                worst.file,
                worst.faces[0].id,
                worst.faces[1].id,
                worst.mm,
                worst.u_mm,
                gaps.len()
            );
            let reading = Reading::Measured {
                value: worst.mm,
                standard_uncertainty: worst.u_mm,
                unit: "mm".to_owned(),
            };
            (reading, says)
        }
        None => {
            let words = "no photo shows two adjoining faces".to_owned();
            let missing = Missing {
                lack: Lack::NotShown,
                words: words.clone(),
                wants: "a photo of the box from a corner, with three faces".to_owned(),
            };
            (Reading::CannotTell { missing: vec![missing] }, words)
        }
    };
    let mut photos: Vec<PhotoFile> = Vec::new();
    for gap in &gaps {
        if !photos.contains(gap.file) {
            photos.push(gap.file.clone());
        }
    }
    Some(Finding {
        examiner: slug("face-set")?,
        item: view.item.clone(),
        place: Place { part: Some("edges".to_owned()), ..Place::default() },
        expected: expected(view, &quantity),
        quantity,
        question: "Do the faces that one photo shows belong to one box?".to_owned(),
        reading,
        features: Vec::new(),
        seeing: Seeing::default(),
        group: slug("faces")?,
        photos,
        pictures: Vec::new(),
        says,
    })
}

/// What genuine specimens show.
fn expected(view: &ItemView<'_>, quantity: &Slug) -> Option<Expected> {
    let values = genuine::values(view, |f| f.quantity == *quantity);
    if values.len() < MIN_SPECIMENS {
        return None;
    }
    let high = values.iter().copied().fold(0.0, f64::max);
    Some(Expected {
        low: 0.0,
        high,
        basis: format!("largest of {} sittings of genuine specimens", values.len()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Corners of a box unfolded in space: every hinge must join the same two corners.
    #[test]
    fn hinges_join_the_corners_of_a_box() {
        // Width, height and depth; x right, y down, z away from the viewer of the front.
        let (w, h, d) = (3.0, 2.0, 1.0);
        let place = |face: &str, [u, v]: [f64; 2]| match face {
            "front" => [u, v, 0.0],
            "back" => [w - u, v, d],
            "left" => [0.0, v, d - u],
            "right" => [w, v, u],
            "top" => [u, 0.0, d - v],
            _ => [u, h, v],
        };
        let size = |face: &str| match face {
            "front" | "back" => [w, h],
            "left" | "right" => [d, h],
            _ => [w, d],
        };
        for (a, at, b, bt, turned) in HINGES {
            for t in [0.0, 0.3, 1.0] {
                let p = place(a, point(at, t, size(a)));
                let q = place(b, point(bt, if turned { 1.0 - t } else { t }, size(b)));
                assert!(
                    p.iter().zip(q).all(|(p, q)| (p - q).abs() < 1e-12),
                    "{a} and {b} at {t}: {p:?} {q:?}"
                );
            }
        }
    }
}
