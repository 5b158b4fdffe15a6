//! A face as it would look from steep angles, for photos that plain features cannot follow.
//!
//! In: a reference face. Out: features of simulated views with the linear map from face to view.
//! Never here: photos.
//!
//! A feature's description survives a tilt of some 45°. Described again on pictures that are
//! squeezed to half along four directions (as if tilted by 60°), it reaches some 70°. Idea and spacing
//! of the directions after [`morel-yu2009`], with one tilt instead of their series.

use casebook::elementary::{cos, sin};
use casebook::units::RectMm;
use photo::Plane;

use crate::features::{Features, Wanted, find};
use crate::homography::{Homography, Point};
use crate::rectify::rectify;
use crate::reference::ReferenceFace;

/// How far a simulated view is squeezed: the cosine of 60°.
const SQUEEZE: f64 = 0.5;
/// Directions of the squeeze, degrees from x towards y.
const DIRECTIONS: [f64; 4] = [0.0, 90.0, 45.0, 135.0];
/// Resolution of simulated views along their long side, pixels.
const SIDE: f64 = 700.0;
/// Features kept of each.
const WANTED: Wanted = Wanted { most: 450, contrast: 0.008, enlarge: false };
/// Features nearer than this to the edge of what the view shows describe the edge, pixels.
const MARGIN_PX: f64 = 8.0;

/// A linear map of the plane, rows first.
pub(crate) type Linear = [[f64; 2]; 2];

pub(crate) const STRAIGHT: Linear = [[1.0, 0.0], [0.0, 1.0]];

/// Features of one view of a face.
pub(crate) struct View {
    pub(crate) features: Features,
    /// Face millimetres to view millimetres, about the face's origin.
    pub(crate) linear: Linear,
    /// The view's top-left corner, view millimetres.
    pub(crate) origin: Point,
    /// View millimetres per pixel of the plane, along x and y.
    pub(crate) mm_per_px: (f64, f64),
}

pub(crate) fn inverse(a: &Linear) -> Linear {
    let d = a[0][0] * a[1][1] - a[0][1] * a[1][0];
    [[a[1][1] / d, -a[0][1] / d], [-a[1][0] / d, a[0][0] / d]]
}

pub(crate) fn apply(a: &Linear, p: Point) -> Point {
    [a[0][0] * p[0] + a[0][1] * p[1], a[1][0] * p[0] + a[1][1] * p[1]]
}

/// The simulated views of a face.
pub(crate) fn steep(reference: &ReferenceFace, own: &Homography) -> Vec<View> {
    DIRECTIONS.iter().filter_map(|d| squeezed(reference, own, *d)).collect()
}

fn squeezed(reference: &ReferenceFace, own: &Homography, direction_deg: f64) -> Option<View> {
    let (c, s) = (cos(direction_deg.to_radians()), sin(direction_deg.to_radians()));
    // I − (1 − squeeze) n nᵀ: shorter along n, unchanged across.
    let k = 1.0 - SQUEEZE;
    let linear = [[1.0 - k * c * c, -k * c * s], [-k * c * s, 1.0 - k * s * s]];
    let corners = crate::corners_mm(reference.size_mm).map(|p| apply(&linear, p));
    let low = |k: usize| corners.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
    let high = |k: usize| corners.iter().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
    let rect = RectMm { x: low(0), y: low(1), width: high(0) - low(0), height: high(1) - low(1) };
    let px_per_mm = SIDE / reference.size_mm.0.max(reference.size_mm.1);
    let back = inverse(&linear);
    let to_face =
        Homography::new([[back[0][0], back[0][1], 0.0], [back[1][0], back[1][1], 0.0], [0.0, 0.0, 1.0]])
            .ok()?;
    let patch = rectify(&reference.raster, &to_face.then(own).ok()?, rect, px_per_mm);
    let tone: Plane<f32> = patch.luminance().map(|v| v.max(0.0).sqrt());
    let mut found = find(&tone, WANTED);
    let margin = MARGIN_PX / px_per_mm;
    let (w, h) = reference.size_mm;
    let keep: Vec<bool> = found
        .points
        .iter()
        .map(|p| {
            let mm = apply(&back, patch.mm_of(f64::from(p.x), f64::from(p.y)));
            mm[0] > margin && mm[1] > margin && mm[0] < w - margin && mm[1] < h - margin
        })
        .collect();
    let mut k = keep.iter();
    found.points.retain(|_| *k.next().unwrap_or(&false));
    let mut k = keep.iter();
    found.descriptions.retain(|_| *k.next().unwrap_or(&false));
    Some(View {
        features: found,
        linear,
        origin: [rect.x, rect.y],
        mm_per_px: (1.0 / px_per_mm, 1.0 / px_per_mm),
    })
}
