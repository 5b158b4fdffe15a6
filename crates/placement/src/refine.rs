//! From a rough map to the best one: dense, coarse to fine.
//!
//! In: a photo, a reference face, a map that is right to about a hundredth of the face. Out: a better
//! map with its covariance and how many blocks agree. Never here: finding a face, naming it.
//!
//! Block readings (see `template`) are pulled together by one homography, each block weighted by its
//! own covariance and, if it lies far from the rest, less and less (Tukey). Coarse blocks bring the
//! map within reach of the finer ones. The covariance comes from how far blocks lie from the map, not
//! from their own noise: foil is not flat, and that is the larger part.
//! Sources: [`evangelidis2008`], [`baker-matthews2004`], [`jcgm100`].

use casebook::elementary::hypot;
use casebook::names::FaceId;
use nalgebra::{SMatrix, SVector};
use photo::Photo;

use crate::covariance::{Covariance, Matrix8, by_parameters};
use crate::error::GeometryError;
use crate::grey::Grey;
use crate::homography::{Homography, corners_mm};
use crate::placement::{Evidence, Origin, Placement, Support};
use crate::reference::ReferenceFace;
use crate::template::{AGREES, Reading, Template, tally};

/// Pixels along the face's shorter side at each level, coarse to fine.
pub(crate) const LEVELS: [f64; 3] = [100.0, 200.0, 440.0];
/// Steps at each level.
const STEPS: usize = 3;
/// Fewest blocks that may move a map: eight numbers, and as many observations again to judge by.
const MIN_BLOCKS: usize = 8;
/// A block is never taken to be better placed than this, pixels of its level: interpolation's share.
const FLOOR_PX: f64 = 0.05;

/// A step that moves no corner by more than this, pixels of its level, is the last: less than
/// [`FLOOR_PX`], so that nothing is told by another.
const SETTLED_PX: f64 = 0.02;

/// A map pulled together from blocks.
#[derive(Debug, Clone)]
pub(crate) struct Dense {
    pub(crate) map: Homography,
    /// `None` when too few blocks were read to say.
    pub(crate) covariance: Option<Covariance>,
    pub(crate) residual_mm: f64,
    pub(crate) agreeing: usize,
    pub(crate) blocks: usize,
    pub(crate) gain_nats: f64,
}

/// Pixels per millimetre of a level, no finer than reference and photo are.
pub(crate) fn level_px_per_mm(across: f64, size_mm: (f64, f64), reference: f64, seen: f64) -> f64 {
    (across / size_mm.0.min(size_mm.1)).min(reference).min(1.2 * seen)
}

/// One level: read, pull together, again.
pub(crate) fn align(
    template: &Template,
    photo: &Grey,
    start: &Homography,
    size_mm: (f64, f64),
    steps: usize,
) -> Dense {
    let mut dense =
        Dense { map: *start, covariance: None, residual_mm: 0.0, agreeing: 0, blocks: 0, gain_nats: 0.0 };
    for step in 0..=steps {
        let readings = template.read(photo, &dense.map);
        let (agreeing, blocks, gain_nats) = tally(&readings);
        // A step that loses more than it gains is taken back.
        if step > 0 && gain_nats < 0.9 * dense.gain_nats {
            break;
        }
        (dense.agreeing, dense.blocks, dense.gain_nats) = (agreeing, blocks, gain_nats);
        let Some(pulled) = pull(&readings, &dense.map, template.px_per_mm) else { break };
        (dense.covariance, dense.residual_mm) = (Some(pulled.covariance), pulled.residual_mm);
        if pulled.map.check_over(size_mm).is_err() {
            break;
        }
        let moved_px = moved_mm(&dense.map, &pulled.map, size_mm).map(|mm| mm * template.px_per_mm);
        dense.map = pulled.map;
        if moved_px.is_some_and(|px| px < SETTLED_PX) {
            break;
        }
    }
    dense
}

/// How far the corners of a face move from one map to another, in its own millimetres: the largest.
fn moved_mm(from: &Homography, to: &Homography, size_mm: (f64, f64)) -> Option<f64> {
    let mut most = 0.0_f64;
    for corner in corners_mm(size_mm) {
        let (a, b) = (from.map(corner)?, to.map(corner)?);
        let px_per_mm = from.local_scale_px_per_mm(corner)?;
        most = most.max(hypot(a[0] - b[0], a[1] - b[1]) / px_per_mm);
    }
    Some(most)
}

struct Pulled {
    map: Homography,
    covariance: Covariance,
    residual_mm: f64,
}

/// The change of the map that brings the blocks' shifts to nought, each by its weight.
fn pull(readings: &[Reading], map: &Homography, px_per_mm: f64) -> Option<Pulled> {
    struct Row {
        j8: SMatrix<f64, 2, 8>,
        target: SVector<f64, 2>,
        information: SMatrix<f64, 2, 2>,
        to_mm: SMatrix<f64, 2, 2>,
    }
    let floor = (FLOOR_PX / px_per_mm) * (FLOOR_PX / px_per_mm);
    let rows: Vec<Row> = readings
        .iter()
        .filter(|r| r.agreement >= AGREES)
        .filter_map(|r| {
            let j = map.jacobian(r.at_mm)?;
            let j = SMatrix::<f64, 2, 2>::new(j[0][0], j[0][1], j[1][0], j[1][1]);
            let to_mm = j.try_inverse()?;
            let [xx, xy, yy] = r.covariance_mm2;
            let c = SMatrix::<f64, 2, 2>::new(xx + floor, xy, xy, yy + floor);
            let information = to_mm.transpose() * c.try_inverse()? * to_mm;
            let target = -(j * SVector::<f64, 2>::new(r.shift_mm[0], r.shift_mm[1]));
            Some(Row { j8: by_parameters(map, r.at_mm)?, target, information, to_mm })
        })
        .collect();
    if rows.len() < MIN_BLOCKS {
        return None;
    }
    // Scale the eight numbers to like size, so that the normal matrix can be inverted.
    let mut unit = SVector::<f64, 8>::zeros();
    for row in &rows {
        for k in 0..8 {
            unit[k] += row.j8.column(k).norm_squared();
        }
    }
    let unit = unit.map(|v| 1.0 / (v / rows.len() as f64).sqrt().max(1e-12));
    let mut weights = vec![1.0; rows.len()];
    let mut change = SVector::<f64, 8>::zeros();
    let mut inverse = Matrix8::zeros();
    let mut spread = 1.0;
    for _ in 0..8 {
        let mut normal = Matrix8::zeros();
        let mut right = SVector::<f64, 8>::zeros();
        for (row, w) in rows.iter().zip(&weights) {
            let j = row.j8 * Matrix8::from_diagonal(&unit);
            normal += j.transpose() * row.information * j * *w;
            right += j.transpose() * row.information * row.target * *w;
        }
        inverse = normal.try_inverse()?;
        change = inverse * right;
        let distance: Vec<f64> = rows
            .iter()
            .map(|row| {
                let e = row.target - row.j8 * unit.component_mul(&change);
                (e.dot(&(row.information * e))).max(0.0).sqrt()
            })
            .collect();
        let mut sorted = distance.clone();
        sorted.sort_by(f64::total_cmp);
        spread = (sorted[sorted.len() / 2] / 1.177_4).max(1e-6);
        weights = distance.iter().map(|d| crate::robust::tukey(*d, 4.685 * spread)).collect();
    }
    let step = unit.component_mul(&change);
    let h = map.rows();
    let moved = Homography::new([
        [h[0][0] + step[0], h[0][1] + step[1], h[0][2] + step[2]],
        [h[1][0] + step[3], h[1][1] + step[4], h[1][2] + step[5]],
        [h[2][0] + step[6], h[2][1] + step[7], 1.0],
    ])
    .ok()?;
    // Residuals about the map: chi squared per degree of freedom, and their size in millimetres.
    let (mut chi2, mut used, mut mm2) = (0.0, 0.0, 0.0);
    for (row, w) in rows.iter().zip(&weights) {
        let e = row.target - row.j8 * step;
        chi2 += w * e.dot(&(row.information * e));
        mm2 += w * (row.to_mm * e).norm_squared() / 2.0;
        used += w;
    }
    let freedom = (2.0 * used - 8.0).max(1.0);
    let factor = (chi2 / freedom).max(spread * spread);
    let scale = Matrix8::from_diagonal(&unit);
    Some(Pulled {
        map: moved,
        covariance: Covariance(scale * inverse * scale * factor),
        residual_mm: (mm2 / used.max(1e-9) * 2.0 * used / freedom).sqrt(),
    })
}

/// All levels from `first` on; `small` is used where it is fine enough.
pub(crate) fn refine_map(
    photo: &Photo,
    small: Option<&Grey>,
    reference: &ReferenceFace,
    start: &Homography,
    first: usize,
) -> Result<Dense, GeometryError> {
    let own = reference.mm_to_px()?;
    let size = reference.size_mm;
    start.check_over(size)?;
    let centre = [size.0 / 2.0, size.1 / 2.0];
    let of_reference = own.local_scale_px_per_mm(centre).ok_or(GeometryError::Horizon)?;
    let seen = start.local_scale_px_per_mm(centre).ok_or(GeometryError::Horizon)?;
    let mut best: Option<Dense> = None;
    let mut last = 0.0;
    for across in &LEVELS[first..] {
        let px_per_mm = level_px_per_mm(*across, size, of_reference, seen);
        if px_per_mm < 1.1 * last {
            break;
        }
        last = px_per_mm;
        let flat = Grey::for_scale(&reference.raster, of_reference, px_per_mm);
        let template = Template::new(&flat, &own, size, px_per_mm);
        let from = best.as_ref().map_or(*start, |d| d.map);
        let fresh;
        let grey = match small {
            Some(g) if g.serves(seen, px_per_mm) => g,
            _ => {
                fresh = Grey::for_scale(photo, seen, px_per_mm);
                &fresh
            }
        };
        let next = align(&template, grey, &from, size, STEPS);
        if next.covariance.is_some() || best.is_none() {
            best = Some(next);
        }
    }
    best.ok_or(GeometryError::Degenerate("no level could be compared"))
}

/// Improves a map by the whole print of the face, coarse to fine.
///
/// # Input
/// `start`: right to about one part in a hundred of the face's shorter side: corners drawn by hand, or
/// a match.
///
/// # Result
/// A placement whose covariance comes from how far blocks of print lie from the map. It fits the
/// print of the body, see [`crate::Placement`]'s module. Where fewer than eight blocks could be compared
/// (glare, cover, other art) the map is returned as it came, with an uncertainty of 1 % of the
/// outline's side; `support` says how many agreed.
///
/// # Errors
/// [`GeometryError`] for a map or reference that shows no face.
///
/// # Source
/// [`evangelidis2008`], [`baker-matthews2004`]
pub fn refine(
    photo: &Photo,
    reference: &ReferenceFace,
    start: &Homography,
) -> Result<Placement, GeometryError> {
    let dense = refine_map(photo, None, reference, start, 0)?;
    let support = Support {
        blocks: dense.blocks,
        agreement: (dense.blocks > 0).then(|| dense.agreeing as f64 / dense.blocks as f64),
        ..Support::MANUAL
    };
    placed(photo, (&reference.face, reference.size_mm), &dense, None, support, Origin::Manual)
}

/// The placement of a dense map; `rough` stands in where the blocks could not say.
pub(crate) fn placed(
    photo: &Photo,
    (face, size): (&FaceId, (f64, f64)),
    dense: &Dense,
    rough: Option<(Covariance, f64)>,
    support: Support,
    origin: Origin,
) -> Result<Placement, GeometryError> {
    let frame = (photo.width(), photo.height());
    let scale =
        dense.map.local_scale_px_per_mm([size.0 / 2.0, size.1 / 2.0]).ok_or(GeometryError::Horizon)?;
    let (covariance, residual) = match (&dense.covariance, rough) {
        (Some(c), _) => (c.clone(), dense.residual_mm * scale),
        (None, Some(rough)) => rough,
        (None, None) => {
            let u = 0.01 * scale * size.0.min(size.1);
            (Covariance::from_corners(&dense.map, size, u)?, u)
        }
    };
    let evidence = Evidence { covariance, residual_px: residual, support, origin };
    Placement::new(face.clone(), size, dense.map, evidence, frame)
}
