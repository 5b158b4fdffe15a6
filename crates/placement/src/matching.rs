//! Which features of a photo look like which features of each face.
//!
//! In: features of faces (once) and of a photo. Out: for each face its [`Match`]es, most distinct
//! first. Never here: geometry beyond "the same place on the face".
//!
//! Each face is judged by itself: faces of one line share their wordmark, so a rival on another face
//! says nothing against a match here. The rival that counts is the next best place of the same face.
//! [`Matcher`] is what an index must offer to take the place of [`Exhaustive`].
//! Source: ratio of distances [`lowe2004`], section 7.1.

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use crate::features::{Features, LENGTH};
use crate::homography::Point;
use crate::views::{Linear, View, apply, inverse};
use crate::votes::Projections;

/// Largest ratio of the distances to the best and to the next best place. Source: [`lowe2004`],
/// figure 11: drops 90 % of false matches and 5 % of right ones.
const MAX_RATIO: f32 = 0.82;
/// Nearer than this share of the face's diagonal is the same place.
const SAME_PLACE: f32 = 0.02;
/// Descriptions of a face compared at a time; photo descriptions that share each load.
const LANES: usize = 16;
const QUERIES: usize = 4;

/// A feature of the face that looks like a feature of the photo.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Match {
    /// Place on the face, mm.
    pub(crate) mm: Point,
    /// Place in the photo, photo pixels.
    pub(crate) px: Point,
    /// Which view of the face it was described in, and the view's map from face millimetres.
    pub(crate) view: u8,
    pub(crate) linear: Linear,
    /// Photo pixels per millimetre of the view by the two features' sizes.
    pub(crate) scale: f64,
    /// Turn from view to photo by their directions, radians.
    pub(crate) turn: f64,
    /// Distance over the distance to the next best place; smaller is more distinct.
    pub(crate) ratio: f32,
    /// Feature of the face.
    pub(crate) of_face: u32,
    /// Feature of the photo.
    pub(crate) of_photo: u32,
}

/// Descriptions, sixteen at a time and number by number; unused lanes are far from everything.
struct Laid {
    blocks: Vec<[[f32; LANES]; LENGTH]>,
    /// Half squared lengths.
    half_norm: Vec<[f32; LANES]>,
}

impl Laid {
    fn out(descriptions: &[[u8; LENGTH]]) -> Self {
        let count = descriptions.len().div_ceil(LANES);
        let (mut blocks, mut half_norm) =
            (vec![[[0.0f32; LANES]; LENGTH]; count], vec![[1e9f32; LANES]; count]);
        for (chunk, (block, half)) in descriptions.chunks(LANES).zip(blocks.iter_mut().zip(&mut half_norm)) {
            for (lane, d) in chunk.iter().enumerate() {
                for (row, v) in block.iter_mut().zip(d.iter()) {
                    row[lane] = f32::from(*v);
                }
                half[lane] = half_square(d);
            }
        }
        Self { blocks, half_norm }
    }
}

/// One face's features in millimetres.
#[derive(Debug, Clone)]
pub(crate) struct FaceFeatures {
    pub(crate) places: Vec<[f32; 2]>,
    pub(crate) sigma_mm: Vec<f32>,
    pub(crate) angle: Vec<f32>,
    pub(crate) view: Vec<u8>,
    pub(crate) linear: Vec<Linear>,
    pub(crate) descriptions: Vec<[u8; LENGTH]>,
    /// Signs of the descriptions, see `votes`.
    pub(crate) signatures: Vec<u64>,
    diagonal_mm: f32,
}

impl FaceFeatures {
    /// Of a face that shows none yet.
    pub(crate) fn empty(linear: Vec<Linear>, size_mm: (f64, f64)) -> Self {
        Self {
            places: Vec::new(),
            sigma_mm: Vec::new(),
            angle: Vec::new(),
            view: Vec::new(),
            linear,
            descriptions: Vec::new(),
            signatures: Vec::new(),
            diagonal_mm: ((size_mm.0 * size_mm.0 + size_mm.1 * size_mm.1) as f32).sqrt(),
        }
    }

    /// From the features of one or more views of the face.
    pub(crate) fn new(views: &[View], size_mm: (f64, f64)) -> Self {
        let mut all = Self::empty(views.iter().map(|v| v.linear).collect(), size_mm);
        let projections = Projections::new();
        for (k, v) in views.iter().enumerate() {
            let back = inverse(&v.linear);
            let (sx, sy) = v.mm_per_px;
            for (p, d) in v.features.points.iter().zip(&v.features.descriptions) {
                let in_view =
                    [v.origin[0] + (f64::from(p.x) + 0.5) * sx, v.origin[1] + (f64::from(p.y) + 0.5) * sy];
                let place = apply(&back, in_view).map(|c| c as f32);
                all.push(place, p.sigma * (sx * sy).sqrt() as f32, p.angle, k as u8, *d);
                all.signatures.push(projections.signature(d));
            }
        }
        all
    }

    /// Adds a feature of the view `view`; its signature is added by the caller.
    pub(crate) fn push(&mut self, mm: [f32; 2], sigma_mm: f32, angle: f32, view: u8, d: [u8; LENGTH]) {
        self.places.push(mm);
        self.sigma_mm.push(sigma_mm);
        self.angle.push(angle);
        self.view.push(view);
        self.descriptions.push(d);
    }

    pub(crate) fn len(&self) -> usize {
        self.places.len()
    }

    fn same_place(&self, a: u32, b: u32) -> bool {
        let (p, q) = (self.places[a as usize], self.places[b as usize]);
        let d2 = (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]);
        d2 < (SAME_PLACE * self.diagonal_mm) * (SAME_PLACE * self.diagonal_mm)
    }
}

fn half_square(d: &[u8; LENGTH]) -> f32 {
    d.iter().map(|v| u32::from(*v) * u32::from(*v)).sum::<u32>() as f32 / 2.0
}

/// Best and next best place of one photo feature on one face; half squared distances.
#[derive(Clone, Copy)]
struct Best {
    first: f32,
    index: u32,
    second: f32,
}

const NOTHING: Best = Best { first: f32::INFINITY, index: u32::MAX, second: f32::INFINITY };

/// Finds matches between a photo and a library of faces.
pub(crate) trait Matcher: Sync {
    /// For each face (in the library's order) its matches, most distinct first. `px_per_plane`: photo
    /// pixels per pixel of the plane in which `photo` was found.
    fn matches(&self, photo: &Features, px_per_plane: f64) -> Vec<Vec<Match>>;
}

/// Compares everything with everything: right for the faces of a short list.
pub(crate) struct Exhaustive<'a> {
    pub(crate) faces: &'a [&'a FaceFeatures],
}

impl Matcher for Exhaustive<'_> {
    fn matches(&self, photo: &Features, px_per_plane: f64) -> Vec<Vec<Match>> {
        // Four descriptions side by side, so that each load of a face's block serves four.
        let groups: Vec<[[f32; QUERIES]; LENGTH]> = photo
            .descriptions
            .chunks(QUERIES)
            .map(|chunk| {
                let mut group = [[0.0; QUERIES]; LENGTH];
                for (q, d) in chunk.iter().enumerate() {
                    for (row, v) in group.iter_mut().zip(d) {
                        row[q] = f32::from(*v);
                    }
                }
                group
            })
            .collect();
        let arch = Arch::new();
        self.faces
            .par_iter()
            .map(|face| {
                let mut best = vec![NOTHING; groups.len() * QUERIES];
                let laid = Laid::out(&face.descriptions);
                arch.dispatch(Compare { face, laid: &laid, groups: &groups, best: &mut best });
                collect(face, photo, &best, px_per_plane)
            })
            .collect()
    }
}

/// Every description of a face against every description of the photo.
struct Compare<'a> {
    face: &'a FaceFeatures,
    laid: &'a Laid,
    groups: &'a [[[f32; QUERIES]; LENGTH]],
    best: &'a mut [Best],
}

impl WithSimd for Compare<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        for (b, (block, half)) in self.laid.blocks.iter().zip(&self.laid.half_norm).enumerate() {
            for (group, best) in self.groups.iter().zip(self.best.chunks_exact_mut(QUERIES)) {
                let dot = dots(simd, block, group);
                for (dot, best) in dot.iter().zip(best) {
                    // Half squared distance without the photo's own length, the same for all.
                    let mut distance = [0.0f32; LANES];
                    let mut nearest = f32::INFINITY;
                    for ((d, half), dot) in distance.iter_mut().zip(half).zip(dot) {
                        *d = half - dot;
                        nearest = if *d < nearest { *d } else { nearest };
                    }
                    if nearest < best.second {
                        update(self.face, b, &distance, best);
                    }
                }
            }
        }
    }
}

/// Products of 4 descriptions with 16. Whole numbers below 2²⁴: exact in f32, so that neither order,
/// width nor fusing changes a bit.
#[inline(always)]
fn dots<S: Simd>(
    simd: S,
    block: &[[f32; LANES]; LENGTH],
    group: &[[f32; QUERIES]; LENGTH],
) -> [[f32; LANES]; QUERIES] {
    let mut out = [[0.0f32; LANES]; QUERIES];
    // Two registers of the block at a time, four sums each: eight sums hide the latency of an addition,
    // and each load serves several. Registers of sixteen lanes would take one at a time.
    let step = (2 * S::F32_LANES).min(LANES);
    for first in (0..LANES).step_by(step) {
        let zero = simd.splat_f32s(0.0);
        let mut low = [zero; QUERIES];
        let mut high = [zero; QUERIES];
        for (row, q) in block.iter().zip(group) {
            let (r, _) = S::as_simd_f32s(&row[first..first + step]);
            let (a, b) = (r[0], r[r.len() - 1]);
            for k in 0..QUERIES {
                let value = simd.splat_f32s(q[k]);
                low[k] = simd.mul_add_e_f32s(value, a, low[k]);
                high[k] = simd.mul_add_e_f32s(value, b, high[k]);
            }
        }
        for (out, (low, high)) in out.iter_mut().zip(low.into_iter().zip(high)) {
            let (to, _) = S::as_mut_simd_f32s(&mut out[first..first + step]);
            let last = to.len() - 1;
            to[0] = low;
            to[last] = high;
        }
    }
    out
}

#[inline(never)]
fn update(face: &FaceFeatures, block: usize, distance: &[f32; LANES], best: &mut Best) {
    for (lane, d) in distance.iter().enumerate() {
        let index = (block * LANES + lane) as u32;
        if *d >= best.second || index as usize >= face.len() {
            continue;
        }
        let same = best.index != u32::MAX && face.same_place(index, best.index);
        if *d < best.first {
            if !same {
                best.second = best.first;
            }
            (best.first, best.index) = (*d, index);
        } else if !same {
            best.second = *d;
        }
    }
}

fn collect(face: &FaceFeatures, photo: &Features, best: &[Best], px_per_plane: f64) -> Vec<Match> {
    let mut found: Vec<Match> = Vec::new();
    for (q, (best, d)) in best.iter().zip(&photo.descriptions).enumerate() {
        if best.index == u32::MAX {
            continue;
        }
        let own = half_square(d);
        let (first, second) = ((best.first + own).max(0.0), (best.second + own).max(1e-9));
        let ratio = (first / second).sqrt();
        if ratio.is_nan() || ratio > MAX_RATIO {
            continue;
        }
        let (f, p) = (best.index as usize, photo.points[q]);
        let to_px = |v: f32| (f64::from(v) + 0.5) * px_per_plane - 0.5;
        found.push(Match {
            mm: [f64::from(face.places[f][0]), f64::from(face.places[f][1])],
            px: [to_px(p.x), to_px(p.y)],
            view: face.view[f],
            linear: face.linear[usize::from(face.view[f])],
            scale: f64::from(p.sigma) * px_per_plane / f64::from(face.sigma_mm[f]),
            turn: f64::from(p.angle - face.angle[f]),
            ratio,
            of_face: best.index,
            of_photo: q as u32,
        });
    }
    found.sort_by(|a, b| a.ratio.total_cmp(&b.ratio).then(a.of_photo.cmp(&b.of_photo)));
    found
}
