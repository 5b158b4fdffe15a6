//! From a photo that nobody labelled to the faces it shows.
//!
//! In: reference faces once, then photos. Out: [`Placement`]s, best first, or none. Never here: a
//! guess: a face is named when its features agree on a map that chance would not make **and** blocks
//! all over it show its print, and when no other face explains the same place better.

use casebook::names::FaceId;
use photo::{Once, Photo};
use rayon::prelude::*;

use crate::covariance::Covariance;
use crate::description::FaceDescription;
use crate::error::GeometryError;
use crate::features::{Features, Wanted, find};
use crate::grey::Grey;
use crate::homography::Point;
use crate::matching::{Exhaustive, FaceFeatures, Match, Matcher};
use crate::placement::{Origin, Placement, Support};
use crate::polygon::{self, overlap_share};
use crate::reference::{ReferenceFace, References};
use crate::refine::{Dense, align, placed, refine_map};
use crate::robust::{Setting, consensus};
use crate::votes::{Projections, Votes};

/// Longer side at which a photo is searched, pixels: a pack that fills a third of it has print of
/// 3 px/mm, enough for its larger letters and drawing.
const PHOTO_SIDE: usize = 1280;
/// Features kept of a photo.
const PHOTO_FEATURES: Wanted = Wanted { most: 1600, contrast: 0.008, enlarge: false };
/// Most faces that a photo's features are compared with one by one: some items of one line with their
/// siblings. Beyond it the library's inverted file chooses.
const MOST_COMPARED: usize = 24;
/// Most copies of one face in one photo.
const MAX_COPIES: usize = 8;
/// Expected number of false maps in one photo, over all faces, that is let through to the dense
/// comparison (log10). Loose: the dense comparison is the second, independent test.
const LET_THROUGH_LOG10: f64 = 0.0;
/// Least share of a face's comparable blocks that must show its print. Faces of one line share
/// frame, wordmark and small print, up to a third of a face in the demo line; a true face under
/// glare still shows half of what is not clipped.
const MIN_AGREEMENT: f64 = 0.4;
/// The same when seen finely. Faces of the `calibration` family gave 0.672 (standard deviation 0.094, 58 true
/// faces) and 0.501 (0.055, 12 faces laid over a sibling's because their own release was not in the
/// library); with two normal distributions and ten faces that are in the library for one that is not, both
/// are equally likely here. Half of the siblings stay: the line's other releases belong in the library too.
const MIN_FINE_AGREEMENT: f64 = 0.5;
/// With fewer comparable blocks than this the dense comparison says nothing.
const MIN_BLOCKS: usize = 8;
/// False alarms (log10) below which a map stands although too few blocks could be compared.
const ALONE_LOG10: f64 = -12.0;
/// Two outlines that share more than this of the smaller one are the same item.
const SAME_ITEM: f64 = 0.3;

/// A library of faces, ready to be looked for.
pub struct FaceIndex {
    faces: Vec<FaceDescription>,
    projections: Projections,
    /// Over the faces seen straight on, and from steep angles; made when the library is too large to
    /// compare a photo with every face.
    straight: Once<Votes>,
    steep: Once<Votes>,
}

impl std::fmt::Debug for FaceIndex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("FaceIndex").field("faces", &self.faces.len()).finish()
    }
}

/// A photo being searched.
struct Scene<'a> {
    photo: &'a Photo,
    grey: Grey,
    references: &'a dyn References,
}

/// A map that may be a face.
struct Candidate {
    face: usize,
    dense: Dense,
    outline: [Point; 4],
    rough: (Covariance, f64),
    support: Support,
    false_alarms_log10: f64,
}

impl FaceIndex {
    /// Describes every face.
    ///
    /// # Errors
    /// [`GeometryError::Size`] or [`GeometryError::Reference`], naming the face that cannot be used.
    pub fn build(faces: &[ReferenceFace]) -> Result<Self, GeometryError> {
        Ok(Self::new(faces.par_iter().map(FaceDescription::of).collect::<Result<Vec<_>, _>>()?))
    }

    /// Over faces that were described before.
    #[must_use]
    pub fn new(faces: Vec<FaceDescription>) -> Self {
        Self { faces, projections: Projections::new(), straight: Once::new(), steep: Once::new() }
    }

    /// Number of faces.
    #[must_use]
    pub fn len(&self) -> usize {
        self.faces.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.faces.is_empty()
    }

    /// Finds every face of the library that the photo shows.
    ///
    /// # Input
    /// `references`: the pictures of the faces, for the last refinement of those that were found. A
    /// face whose picture is not there keeps the coarser map.
    ///
    /// # Result
    /// Best first: by how much better than chance their blocks fit. Outlines do not overlap. Empty
    /// when none is there or none can be told. Each fits the print of the body: see [`Placement`]'s
    /// module for what that means at the seals.
    #[must_use]
    pub fn place(&self, photo: &Photo, references: &dyn References) -> Vec<Placement> {
        let scene = Scene { photo, grey: Grey::new(photo, PHOTO_SIDE), references };
        let px_per_plane = scene.grey.scale();
        let found = find(scene.grey.plane(), PHOTO_FEATURES);
        let straight = self.worth_comparing(&found, &self.straight, |f| &f.straight);
        let mut kept = apart(Vec::new(), self.search(&straight, &scene, &found, |f| &f.straight));
        // Steep views cost as much again. They are tried for the sides that join those found, and for
        // everything when nothing was.
        let steep: Vec<usize> = if kept.is_empty() {
            self.worth_comparing(&found, &self.steep, |f| &f.steep)
        } else {
            let joins = |f: &usize| {
                let face = |f: usize| &self.faces[f].face;
                kept.iter().any(|k| face(k.face).product == face(*f).product)
                    && kept.iter().all(|k| !never_together(face(k.face), face(*f)))
            };
            (0..self.faces.len()).filter(joins).collect()
        };
        if !steep.is_empty() {
            let rest = outside(&found, &kept, px_per_plane);
            let more = self.search(&steep, &scene, &rest, |f| &f.steep);
            kept = apart(kept, more);
        }
        kept.par_iter().map(|c| self.finish(c, &scene)).collect::<Vec<_>>().into_iter().flatten().collect()
    }

    /// The faces that a photo is compared with: all of a small library, else those that its features
    /// speak for.
    fn worth_comparing(
        &self,
        found: &Features,
        votes: &Once<Votes>,
        of: impl Fn(&FaceDescription) -> &FaceFeatures,
    ) -> Vec<usize> {
        if self.faces.len() <= MOST_COMPARED {
            return (0..self.faces.len()).collect();
        }
        let votes = votes.get(|| Votes::over(self.faces.iter().map(|f| of(f).signatures.as_slice())));
        let mut faces = votes.short_list(found, &self.projections, MOST_COMPARED).faces;
        faces.sort_unstable();
        faces
    }

    /// Candidates of some faces, described as `of` says.
    fn search(
        &self,
        faces: &[usize],
        scene: &Scene<'_>,
        found: &Features,
        of: impl Fn(&FaceDescription) -> &FaceFeatures + Sync,
    ) -> Vec<Candidate> {
        let features: Vec<&FaceFeatures> = faces.par_iter().map(|&f| of(&self.faces[f])).collect();
        let matches = Exhaustive { faces: &features }.matches(found, scene.grey.scale());
        faces
            .par_iter()
            .zip(&matches)
            .map(|(&face, matches)| self.candidates(face, matches, scene))
            .collect::<Vec<_>>()
            .into_iter()
            .flatten()
            .collect()
    }

    /// Maps of one face, one copy after the other.
    fn candidates(&self, face: usize, matches: &[Match], scene: &Scene<'_>) -> Vec<Candidate> {
        let described = &self.faces[face];
        let size_mm = described.size_mm;
        let setting = Setting {
            size_mm,
            frame_px: (scene.photo.width() as f64, scene.photo.height() as f64),
            px_per_plane: scene.grey.scale(),
            tests: self.faces.len(),
            seed: face as u64,
        };
        let mut free = vec![true; matches.len()];
        let mut out = Vec::new();
        for _ in 0..MAX_COPIES {
            let Some(c) = consensus(matches, &free, &setting) else { break };
            if c.false_alarms_log10 > LET_THROUGH_LOG10 {
                break;
            }
            let Ok(outline) = c.fit.map.corners_px(size_mm) else { break };
            for (i, m) in matches.iter().enumerate() {
                free[i] &= !inside(&outline, m.px);
            }
            for &i in &c.inliers {
                free[i] = false;
            }
            let dense = align(&described.coarse, &scene.grey, &c.fit.map, size_mm, 2);
            let share = dense.agreeing as f64 / dense.blocks.max(1) as f64;
            let stands = if dense.blocks >= MIN_BLOCKS {
                share >= MIN_AGREEMENT
            } else {
                c.false_alarms_log10 < ALONE_LOG10
            };
            if !stands {
                continue;
            }
            let Ok(outline) = dense.map.corners_px(size_mm) else { continue };
            let support = Support {
                matches: matches.len(),
                inliers: c.inliers.len(),
                false_alarms_log10: Some(c.false_alarms_log10),
                blocks: dense.blocks,
                agreement: (dense.blocks > 0).then_some(share),
            };
            let rough = (c.fit.covariance, c.fit.sigma_px);
            out.push(Candidate {
                face,
                dense,
                outline,
                rough,
                support,
                false_alarms_log10: c.false_alarms_log10,
            });
        }
        out
    }

    /// The last refinement and the placement.
    fn finish(&self, c: &Candidate, scene: &Scene<'_>) -> Option<Placement> {
        let described = &self.faces[c.face];
        let reference = scene.references.reference(&described.face);
        let fine = reference
            .and_then(|r| refine_map(scene.photo, Some(&scene.grey), &r, &c.dense.map, 1).ok())
            .filter(|d| d.covariance.is_some());
        let dense = fine.as_ref().unwrap_or(&c.dense);
        let mut support = c.support;
        if dense.blocks > 0 {
            support.blocks = dense.blocks;
            support.agreement = Some(dense.agreeing as f64 / dense.blocks as f64);
        }
        // What agrees only when seen coarsely is another face with a like layout.
        if support.blocks >= MIN_BLOCKS && support.agreement.is_some_and(|a| a < MIN_FINE_AGREEMENT) {
            return None;
        }
        let target = (&described.face, described.size_mm);
        placed(scene.photo, target, dense, Some(c.rough.clone()), support, Origin::Matched).ok()
    }
}

/// Whether two faces of one product cannot be seen in one photo: the same one, or one and its back.
fn never_together(a: &FaceId, b: &FaceId) -> bool {
    const OPPOSITE: [[&str; 2]; 3] = [["front", "back"], ["left", "right"], ["top", "bottom"]];
    let (x, y) = (a.face.as_str(), b.face.as_str());
    a == b || a.product == b.product && OPPOSITE.iter().any(|pair| pair.contains(&x) && pair.contains(&y))
}

/// Adds candidates, best first, that share no place with better ones.
fn apart(mut kept: Vec<Candidate>, mut more: Vec<Candidate>) -> Vec<Candidate> {
    more.sort_by(|a, b| {
        b.dense
            .gain_nats
            .total_cmp(&a.dense.gain_nats)
            .then(a.false_alarms_log10.total_cmp(&b.false_alarms_log10))
            .then(a.face.cmp(&b.face))
    });
    for c in more {
        if kept.iter().all(|k| overlap_share(&k.outline, &c.outline) <= SAME_ITEM) {
            kept.push(c);
        }
    }
    kept
}

/// The features that lie on no placed outline.
fn outside(found: &Features, kept: &[Candidate], px_per_plane: f64) -> Features {
    let mut rest = Features::default();
    for (p, d) in found.points.iter().zip(&found.descriptions) {
        let to_px = |v: f32| (f64::from(v) + 0.5) * px_per_plane - 0.5;
        if kept.iter().all(|k| !inside(&k.outline, [to_px(p.x), to_px(p.y)])) {
            rest.points.push(*p);
            rest.descriptions.push(*d);
        }
    }
    rest
}

/// Whether a point lies inside a convex outline.
fn inside(outline: &[Point; 4], p: Point) -> bool {
    debug_assert!(polygon::signed_area(outline) > 0.0);
    (0..4).all(|i| {
        let (a, b) = (outline[i], outline[(i + 1) % 4]);
        (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) >= 0.0
    })
}
