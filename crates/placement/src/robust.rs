//! The map that many matches agree on, among many that are wrong.
//!
//! In: [`Match`]es of one face, most distinct first. Out: [`Consensus`], or nothing. Never here:
//! pictures, other faces. Everything random comes from one seed that is an argument.
//!
//! 1. Every distinct match alone is a similarity (place, size, direction); the one with most friends
//!    gathers a crowd that may belong to one item. This finds several copies one after the other.
//! 2. In the crowd, samples of four in the order of [`chum-matas2005`] (PROSAC); a sample whose
//!    triangles turn differently in photo and face is dropped before any arithmetic.
//! 3. Truncated squares score a map; a better one is polished at once by reweighted least squares
//!    with weights marginalised over the unknown noise ([`barath2020`]; ours is that idea in the plane,
//!    not its implementation).
//! 4. [`crate::chance`] says whether chance would do as well.

use casebook::elementary::{cos, exp, ln, sin};

use crate::chance::false_alarms_log10;
use crate::fit::{Fit, dlt, fit_weighted};
use crate::homography::{Homography, Point};
use crate::matching::Match;
use crate::polygon::signed_area;
use crate::views::{apply, inverse};

/// A match's direction may differ from the map's by this: features turn under tilt. 35°.
pub(crate) const MAX_TURN: f64 = 35.0 * std::f64::consts::PI / 180.0;
/// A match's size may differ from the map's by this factor: a third of an octave at either end
/// and the shortening at 60°.
pub(crate) const MAX_SCALE: f64 = 2.0;
/// Matches that seed and judge similarities: quadratic work.
const MAX_SEEDS: usize = 400;
/// Largest distance of an inlier, share of the outline's square root of area: a pillow 3 mm high on
/// a pack of 85 mm mean side moves print by 1 mm at 30°, 1.2 %.
const MAX_DISTANCE_SHARE: f64 = 0.012;
/// Bounds on that distance in plane pixels.
const DISTANCE_RANGE: (f64, f64) = (2.5, 12.0);
/// Most samples of four.
const MAX_SAMPLES: usize = 4000;
/// Chance of having missed the best crowd of inliers at which sampling ends.
const MISS: f64 = 1e-3;
/// Fewest friends that are worth sampling: four fix a map, so a fifth is the first evidence.
const MIN_FRIENDS: usize = 5;

/// What matches agree on.
#[derive(Debug, Clone)]
pub(crate) struct Consensus {
    pub(crate) fit: Fit,
    /// Indices of the matches that agree, one for each place.
    pub(crate) inliers: Vec<usize>,
    pub(crate) false_alarms_log10: f64,
}

/// What the search may assume.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting {
    pub(crate) size_mm: (f64, f64),
    /// Width and height of the photo, pixels.
    pub(crate) frame_px: (f64, f64),
    /// Photo pixels per pixel of the plane in which features were found.
    pub(crate) px_per_plane: f64,
    /// Faces tried in this photo.
    pub(crate) tests: usize,
    pub(crate) seed: u64,
}

/// The best map for the matches that are still `free`.
pub(crate) fn consensus(matches: &[Match], free: &[bool], s: &Setting) -> Option<Consensus> {
    let crowd = crowd(matches, free, s)?;
    let best = sample(matches, &crowd, s)?;
    finish(matches, free, &best, s)
}

/// The matches that agree with the most popular similarity.
fn crowd(matches: &[Match], free: &[bool], s: &Setting) -> Option<Vec<usize>> {
    let seeds: Vec<usize> = (0..matches.len()).filter(|&i| free[i]).take(MAX_SEEDS).collect();
    let mut best: (usize, Vec<usize>) = (0, Vec::new());
    for &i in &seeds {
        let a = &matches[i];
        let turned = (cos(a.turn) * a.scale, sin(a.turn) * a.scale);
        let friends: Vec<usize> =
            seeds.iter().copied().filter(|&j| are_friends(a, turned, &matches[j], s)).collect();
        // No need to count places when there are too few matches.
        if friends.len() <= best.0 {
            continue;
        }
        let mut places: Vec<u32> = friends.iter().map(|&j| matches[j].of_face).collect();
        places.sort_unstable();
        places.dedup();
        if places.len() > best.0 {
            best = (places.len(), friends);
        }
    }
    (best.0 >= MIN_FRIENDS).then_some(best.1)
}

/// Whether b lies where a's similarity expects it, loosely enough for tilt; `turned` is a's scale times
/// the cosine and sine of its turn.
fn are_friends(a: &Match, turned: (f64, f64), b: &Match, s: &Setting) -> bool {
    if a.view != b.view {
        return false;
    }
    let ratio = b.scale / a.scale;
    if !(1.0 / MAX_SCALE..=MAX_SCALE).contains(&ratio) || turn_between(a.turn, b.turn) > MAX_TURN {
        return false;
    }
    let d = apply(&a.linear, [b.mm[0] - a.mm[0], b.mm[1] - a.mm[1]]);
    let (c, n) = turned;
    let expected = [a.px[0] + c * d[0] - n * d[1], a.px[1] + n * d[0] + c * d[1]];
    let off = [b.px[0] - expected[0], b.px[1] - expected[1]];
    let reach = 0.4 * a.scale * (d[0] * d[0] + d[1] * d[1]).sqrt() + 4.0 * s.px_per_plane;
    off[0] * off[0] + off[1] * off[1] <= reach * reach
}

/// Smallest turn between two directions, 0 to π.
fn turn_between(a: f64, b: f64) -> f64 {
    use std::f64::consts::PI;
    let d = (a - b).abs() % (2.0 * PI);
    d.min(2.0 * PI - d)
}

/// Largest distance of an inlier for this map, photo pixels.
fn reach(h: &Homography, s: &Setting) -> Option<f64> {
    let corners = h.corners_px(s.size_mm).ok()?;
    let side = signed_area(&corners).abs().sqrt() / s.px_per_plane;
    Some((MAX_DISTANCE_SHARE * side).clamp(DISTANCE_RANGE.0, DISTANCE_RANGE.1) * s.px_per_plane)
}

/// Squared distance of a match from the map; infinite behind the horizon.
fn distance2(h: &Homography, m: &Match) -> f64 {
    h.map(m.mm)
        .map_or(f64::INFINITY, |p| (p[0] - m.px[0]) * (p[0] - m.px[0]) + (p[1] - m.px[1]) * (p[1] - m.px[1]))
}

/// Whether the map turns and sizes a feature as the match says.
fn fits_feature(h: &Homography, m: &Match) -> bool {
    let Some(j) = h.jacobian(m.mm) else { return false };
    // The derivative from the view in which the feature was described.
    let back = inverse(&m.linear);
    let j =
        j.map(|row| [row[0] * back[0][0] + row[1] * back[1][0], row[0] * back[0][1] + row[1] * back[1][1]]);
    let det = j[0][0] * j[1][1] - j[0][1] * j[1][0];
    if det <= 0.0 {
        return false;
    }
    let ratio = m.scale / det.sqrt();
    // The rotation closest to the derivative.
    let turn = casebook::elementary::atan2(j[1][0] - j[0][1], j[0][0] + j[1][1]);
    (1.0 / MAX_SCALE..=MAX_SCALE).contains(&ratio) && turn_between(turn, m.turn) <= MAX_TURN
}

/// Truncated squares: lower is better, at most the number of matches.
fn score(h: &Homography, matches: &[Match], crowd: &[usize], reach: f64) -> (f64, usize) {
    let limit = reach * reach;
    let (mut sum, mut inliers) = (0.0, 0);
    for &i in crowd {
        let d2 = distance2(h, &matches[i]);
        sum += (d2 / limit).min(1.0);
        inliers += usize::from(d2 < limit);
    }
    (sum, inliers)
}

/// Samples of four, growing from the most distinct matches outward.
fn sample(matches: &[Match], crowd: &[usize], s: &Setting) -> Option<Homography> {
    let n = crowd.len();
    let mut random = Random(s.seed ^ 0x9e37_79b9_7f4a_7c15);
    let mut best: Option<(f64, Homography)> = None;
    let mut needed = MAX_SAMPLES;
    let mut k = 0;
    while k < needed.min(MAX_SAMPLES) {
        k += 1;
        // The pool grows from the eight most distinct to all over the first 500 samples.
        let pool = (8 + (n.saturating_sub(8)) * k / 500).clamp(4, n);
        let Some(pick) = random.four(pool) else { continue };
        let four = pick.map(|i| &matches[crowd[i]]);
        if !turns_agree(&four) {
            continue;
        }
        let Some(h) = exact(&four) else { continue };
        if !plausible(&h, s) {
            continue;
        }
        let Some(r) = reach(&h, s) else { continue };
        let (cost, _) = score(&h, matches, crowd, r);
        if best.as_ref().is_none_or(|(b, _)| cost < *b) {
            let (h, cost) = improve(&h, cost, matches, crowd, s);
            let inliers = reach(&h, s).map_or(0, |r| score(&h, matches, crowd, r).1);
            let share = inliers as f64 / n as f64;
            let all = (share * share * share * share).clamp(1e-9, 1.0 - 1e-9);
            needed = (ln(MISS) / ln(1.0 - all)).ceil().max(20.0) as usize;
            best = Some((cost, h));
        }
    }
    best.map(|(_, h)| h)
}

/// Reweighted least squares around a map, as long as the score falls.
fn improve(h: &Homography, cost: f64, matches: &[Match], crowd: &[usize], s: &Setting) -> (Homography, f64) {
    let (mut h, mut cost) = (*h, cost);
    let mm: Vec<Point> = crowd.iter().map(|&i| matches[i].mm).collect();
    let px: Vec<Point> = crowd.iter().map(|&i| matches[i].px).collect();
    for _ in 0..4 {
        let Some(r) = reach(&h, s) else { break };
        let weights: Vec<f64> =
            crowd.iter().map(|&i| marginal_weight(distance2(&h, &matches[i]), r)).collect();
        let Ok(next) = dlt(&mm, &px, &weights) else { break };
        if !plausible(&next, s) {
            break;
        }
        let Some(r) = reach(&next, s) else { break };
        let (c, _) = score(&next, matches, crowd, r);
        if c >= cost {
            break;
        }
        (h, cost) = (next, c);
    }
    (h, cost)
}

/// Weight of a residual when the noise may be anything from 0 to a third of the reach, each equally
/// likely: ∫ over σ of the Gaussian density in the plane, relative to that at 0.3 reach; 0 beyond.
fn marginal_weight(d2: f64, reach: f64) -> f64 {
    let d = d2.sqrt();
    if d >= reach {
        return 0.0;
    }
    // The plane's density 1/σ² exp(−d²/2σ²) integrated over σ falls about as 1/d until σ's limit
    // cuts it; this closed form has the same two ends.
    let sigma = reach / 3.0;
    let core = 0.1 * reach;
    exp(-d2 / (2.0 * sigma * sigma)) * core / (core + d)
}

/// Final fit over all free matches: one for each place, noise from the residuals, chance judged.
fn finish(matches: &[Match], free: &[bool], h: &Homography, s: &Setting) -> Option<Consensus> {
    let mut map = *h;
    let mut kept: Vec<usize> = Vec::new();
    let mut fit = None;
    let mut limit = reach(h, s)?;
    for _ in 0..6 {
        kept = agreeing(matches, free, &map, limit);
        if kept.len() < MIN_FRIENDS {
            return None;
        }
        let (mm, px): (Vec<Point>, Vec<Point>) = kept.iter().map(|&i| (matches[i].mm, matches[i].px)).unzip();
        let mut d: Vec<f64> = kept.iter().map(|&i| distance2(&map, &matches[i]).sqrt()).collect();
        let raw = d.clone();
        d.sort_by(f64::total_cmp);
        // Rayleigh: median = 1.1774 σ of one coordinate; below a quarter plane pixel is not believed.
        let sigma = (d[d.len() / 2] / 1.177_4).max(0.25 * s.px_per_plane);
        let weights: Vec<f64> = raw.iter().map(|d| tukey(*d, 4.0 * sigma)).collect();
        let next = fit_weighted(&mm, &px, &weights).ok()?;
        if !plausible(&next.map, s) {
            return None;
        }
        map = next.map;
        limit = reach(&map, s)?.min(6.0 * sigma.max(0.5 * s.px_per_plane));
        fit = Some(next);
    }
    let fit = fit?;
    let far = reach(&map, s)?;
    let fitting = agreeing(matches, free, &map, 2.0 * far);
    let distances: Vec<f64> = fitting.iter().map(|&i| distance2(&map, &matches[i]).sqrt()).collect();
    let count = free.iter().filter(|f| **f).count();
    let (log10, _, _) = false_alarms_log10(&distances, count, s.frame_px.0 * s.frame_px.1, s.tests);
    Some(Consensus { fit, inliers: kept, false_alarms_log10: log10 })
}

/// Free matches within the limit that also turn and size rightly: the nearest for each place of the
/// face, and one for each place of the photo.
fn agreeing(matches: &[Match], free: &[bool], h: &Homography, limit: f64) -> Vec<usize> {
    let mut near: Vec<(f64, usize)> = (0..matches.len())
        .filter(|&i| free[i])
        .map(|i| (distance2(h, &matches[i]), i))
        .filter(|(d2, i)| *d2 < limit * limit && fits_feature(h, &matches[*i]))
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let (mut faces, mut cells) = (std::collections::BTreeSet::new(), std::collections::BTreeSet::new());
    let mut out = Vec::new();
    for (_, i) in near {
        let m = &matches[i];
        // Two features on one spot are one observation: quarter-millimetre and one-pixel cells.
        let cell = |v: f64, size: f64| (v / size).floor() as i64;
        let on_face = (cell(m.mm[0], 0.25), cell(m.mm[1], 0.25));
        let in_photo = (cell(m.px[0], 1.0), cell(m.px[1], 1.0));
        if faces.insert(on_face) && cells.insert(in_photo) {
            out.push(i);
        }
    }
    out.sort_unstable();
    out
}

/// Tukey's biweight.
pub(crate) fn tukey(d: f64, limit: f64) -> f64 {
    let t = d / limit;
    if t < 1.0 { (1.0 - t * t) * (1.0 - t * t) } else { 0.0 }
}

/// All four triangles turn the same way in face and photo, none is thin.
fn turns_agree(four: &[&Match; 4]) -> bool {
    let cross = |a: Point, b: Point, c: Point| (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    [(0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3)].into_iter().all(|(a, b, c)| {
        let (m, p) = (cross(four[a].mm, four[b].mm, four[c].mm), cross(four[a].px, four[b].px, four[c].px));
        // Less than half a square millimetre or a few square pixels fixes no direction.
        m * p > 0.0 && m.abs() > 0.5 && p.abs() > 4.0
    })
}

/// The map through four matches, both quadrilaterals by way of the unit square.
fn exact(four: &[&Match; 4]) -> Option<Homography> {
    let mm = four.map(|m| m.mm);
    let px = four.map(|m| m.px);
    square_to(&mm)?.inverse().then(&square_to(&px)?).ok()
}

/// The unit square onto any four points, no three on a line.
fn square_to(p: &[Point; 4]) -> Option<Homography> {
    let (dx1, dy1) = (p[1][0] - p[2][0], p[1][1] - p[2][1]);
    let (dx2, dy2) = (p[3][0] - p[2][0], p[3][1] - p[2][1]);
    let (sx, sy) = (p[0][0] - p[1][0] + p[2][0] - p[3][0], p[0][1] - p[1][1] + p[2][1] - p[3][1]);
    let det = dx1 * dy2 - dx2 * dy1;
    if det == 0.0 {
        return None;
    }
    let (g, h) = ((sx * dy2 - dx2 * sy) / det, (dx1 * sy - sx * dy1) / det);
    Homography::new([
        [p[1][0] - p[0][0] + g * p[1][0], p[3][0] - p[0][0] + h * p[3][0], p[0][0]],
        [p[1][1] - p[0][1] + g * p[1][1], p[3][1] - p[0][1] + h * p[3][1], p[0][1]],
        [g, h, 1.0],
    ])
    .ok()
}

/// Seen from the front, convex, neither tiny nor much larger than the photo, and not swinging in
/// scale by more than a hand-held view can.
fn plausible(h: &Homography, s: &Setting) -> bool {
    if h.check_over(s.size_mm).is_err() {
        return false;
    }
    let Ok(corners) = h.corners_px(s.size_mm) else { return false };
    let area = signed_area(&corners);
    let frame = s.frame_px.0 * s.frame_px.1;
    // 24 plane pixels a side hold no print; a close-up shows at least a fiftieth of the face.
    let least = 24.0 * s.px_per_plane;
    if area < least * least || area > 50.0 * frame {
        return false;
    }
    let scales: Vec<f64> =
        crate::corners_mm(s.size_mm).iter().filter_map(|p| h.local_scale_px_per_mm(*p)).collect();
    let high = scales.iter().copied().fold(0.0, f64::max);
    let low = scales.iter().copied().fold(f64::INFINITY, f64::min);
    scales.len() == 4 && high / low < 6.0
}

/// A small generator with a seed (SplitMix64): the same sequence everywhere.
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.next()) * n as u128) >> 64) as usize
    }

    /// Four different numbers below `n`.
    fn four(&mut self, n: usize) -> Option<[usize; 4]> {
        if n < 4 {
            return None;
        }
        let mut out = [usize::MAX; 4];
        for k in 0..4 {
            loop {
                let v = self.below(n);
                if !out[..k].contains(&v) {
                    out[k] = v;
                    break;
                }
            }
        }
        Some(out)
    }
}
