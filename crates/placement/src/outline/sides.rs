//! Each side of an outline, to a part of a pixel: the outermost line of sharp edges that most places
//! along it agree on.
//!
//! In: a photo and rough corners. Out: corners with their covariance. Never here: background, hulls.
//!
//! At each place the light is read along the normal; edges are where a short window inside differs
//! most from one outside. Lines are voted for by their ends; of those with about the most votes the
//! outermost is the thing's own edge, since print lies inside. A shadow's rim is spread over many
//! pixels and shows no edge in a short window.

use casebook::elementary::ln32;
use nalgebra::{SMatrix, SVector};
use photo::Photo;
use rayon::prelude::*;

use super::Sides;
use crate::covariance::Matrix8;
use crate::homography::Point;
use crate::robust::tukey;

/// Places along a side.
const PLACES: usize = 160;
/// How far the search goes from the rough side, share of the shorter side of the outline.
const REACH: f64 = 0.03;
/// Least step of colour that may be an edge, e-folds.
const LEAST_STEP: f32 = 0.10;
/// Edges kept at a place.
const EDGES: usize = 5;
/// A line with at least this share of the best one's votes competes with it.
const RIVAL: f64 = 0.72;
/// Straightness, share of the side: cut film waves, card bows.
const STRAIGHT: f64 = 0.003;
/// Places that share one wave of the edge: 5 % of a side.
const CORRELATED: f64 = 0.05;
/// Share of the scatter about a line that may be a bow common to all of it.
const COMMON: f64 = 0.5;
/// Ends of the longer sides of a waisted thing that are fitted, share of its length: an end seal.
const ENDS: (f64, f64) = (0.012, 0.075);
const LIGHT_TOE: f32 = 0.004;

/// A line through two points over the rough side's ends: distances along the outward normal.
#[derive(Clone, Copy)]
struct Line {
    /// Distance outward at the first and last corner, pixels.
    ends: [f64; 2],
    covariance: [[f64; 2]; 2],
}

/// The rough side as a frame.
#[derive(Clone, Copy)]
struct Frame {
    from: Point,
    along: Point,
    /// Outward.
    normal: Point,
    length: f64,
}

/// An edge at one place of a side.
#[derive(Clone, Copy)]
struct Edge {
    /// Outward, pixels.
    at: f64,
    step: f32,
}

/// Corners and their covariance; nothing when a side shows no line.
pub(super) fn fit(photo: &Photo, rough: &[Point; 4], sides: Sides) -> Option<([Point; 4], Matrix8)> {
    let frames = [0, 1, 2, 3].map(|k| frame(rough[k], rough[(k + 1) % 4]));
    let shorter = frames.iter().map(|f| f.length).fold(f64::INFINITY, f64::min);
    if shorter < 24.0 {
        return None;
    }
    let reach = (REACH * shorter).max(5.0);
    let upright = frames[1].length + frames[3].length > frames[0].length + frames[2].length;
    let lines: Vec<Option<Line>> = frames
        .par_iter()
        .enumerate()
        .map(|(k, frame)| {
            let longer = upright == (k % 2 == 1);
            let spans: &[(f64, f64)] = match sides {
                Sides::Straight => &[(0.03, 0.97)],
                Sides::Rounded => &[(0.10, 0.90)],
                Sides::Waisted if longer => &[ENDS, (1.0 - ENDS.1, 1.0 - ENDS.0)],
                Sides::Waisted => &[(0.05, 0.95)],
            };
            line(photo, frame, spans, reach)
        })
        .collect();
    let lines: Vec<Line> = lines.into_iter().collect::<Option<_>>()?;
    corners(&frames, &lines)
}

fn frame(a: Point, b: Point) -> Frame {
    let d = [b[0] - a[0], b[1] - a[1]];
    let length = (d[0] * d[0] + d[1] * d[1]).sqrt().max(1e-9);
    let along = [d[0] / length, d[1] / length];
    // Corners run clockwise as seen, so outward is to the left of the way.
    Frame { from: a, along, normal: [along[1], -along[0]], length }
}

impl Frame {
    fn point(&self, s: f64, outward: f64) -> Point {
        [
            self.from[0] + s * self.length * self.along[0] + outward * self.normal[0],
            self.from[1] + s * self.length * self.along[1] + outward * self.normal[1],
        ]
    }
}

/// The edges along one side and the line through them.
fn line(photo: &Photo, frame: &Frame, spans: &[(f64, f64)], reach: f64) -> Option<Line> {
    let total: f64 = spans.iter().map(|(a, b)| b - a).sum();
    let places: Vec<f64> = spans
        .iter()
        .flat_map(|(a, b)| {
            let n = ((b - a) / total * PLACES as f64).round().max(2.0) as usize;
            (0..n).map(move |i| a + (b - a) * (i as f64 + 0.5) / n as f64)
        })
        .collect();
    let edges: Vec<Vec<Edge>> = places.iter().map(|s| edges_at(photo, frame, *s, reach)).collect();
    let tolerance = (STRAIGHT * frame.length).max(1.2);
    let first = vote(&places, &edges, reach, tolerance)?;
    refine(&places, &edges, first, tolerance, total)
}

/// Local maxima of the step of colour along the normal.
fn edges_at(photo: &Photo, frame: &Frame, s: f64, reach: f64) -> Vec<Edge> {
    const PER_PX: f64 = 2.0;
    let half = (reach * PER_PX).ceil() as isize;
    // A window of two pixels either side of a gap of one: wider than a sharp camera's edge.
    const NEAR: isize = 1;
    const WIDE: isize = 4;
    let margin = NEAR + WIDE;
    let count = (2 * (half + margin) + 1) as usize;
    let mut light: Vec<[f32; 3]> = Vec::with_capacity(count);
    for i in -(half + margin)..=(half + margin) {
        let p = frame.point(s, i as f64 / PER_PX);
        let (x, y) =
            (p[0].clamp(0.0, (photo.width() - 1) as f64), p[1].clamp(0.0, (photo.height() - 1) as f64));
        light.push(photo.sample(x, y).unwrap_or([0.0; 3]).map(|v| ln32(v.max(0.0) + LIGHT_TOE)));
    }
    let mean = |from: isize, to: isize| -> [f32; 3] {
        let mut sum = [0.0f32; 3];
        for i in from..=to {
            for k in 0..3 {
                sum[k] += light[i as usize][k];
            }
        }
        sum.map(|v| v / (to - from + 1) as f32)
    };
    let steps: Vec<f32> = (margin..count as isize - margin)
        .map(|i| {
            let (inner, outer) = (mean(i - margin, i - NEAR), mean(i + NEAR, i + margin));
            let d = [0, 1, 2].map(|k| inner[k] - outer[k]);
            (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt() / 1.732
        })
        .collect();
    let mut found: Vec<Edge> = Vec::new();
    for i in 1..steps.len().saturating_sub(1) {
        let (a, b, c) = (steps[i - 1], steps[i], steps[i + 1]);
        if b < LEAST_STEP || b < a || b <= c {
            continue;
        }
        let bend = a - 2.0 * b + c;
        let shift = if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        found.push(Edge { at: (i as f64 + f64::from(shift) - half as f64) / PER_PX, step: b });
    }
    found.sort_by(|a, b| b.step.total_cmp(&a.step));
    // What is far weaker than the strongest is noise of print; the outermost edge may be weaker.
    let least = 0.12 * found.first().map_or(0.0, |e| e.step);
    found.retain(|e| e.step >= least);
    found.truncate(EDGES);
    found
}

/// The line that most places agree on, or of several the outermost.
fn vote(places: &[f64], edges: &[Vec<Edge>], reach: f64, tolerance: f64) -> Option<[f64; 2]> {
    let step = (tolerance / 1.5).max(0.5);
    let n = (reach / step).floor() as isize;
    let offsets: Vec<f64> = (-n..=n).map(|i| i as f64 * step).collect();
    let votes: Vec<(f64, [f64; 2])> = offsets
        .par_iter()
        .flat_map_iter(|a| {
            offsets.iter().map(move |b| {
                let mut sum = 0.0;
                for (s, edges) in places.iter().zip(edges) {
                    let at = a + (b - a) * s;
                    let mut best = 0.0f64;
                    for e in edges {
                        let t = (e.at - at) / tolerance;
                        if t * t < 1.0 {
                            best = best.max((1.0 - t * t) * (0.5 + 0.5 * f64::from(e.step.min(0.5)) / 0.5));
                        }
                    }
                    sum += best;
                }
                (sum, [*a, *b])
            })
        })
        .collect();
    let most = votes.iter().map(|v| v.0).fold(0.0, f64::max);
    if most < 0.3 * places.len() as f64 {
        return None;
    }
    let outermost = votes
        .iter()
        .filter(|v| v.0 >= RIVAL * most)
        .max_by(|a, b| (a.1[0] + a.1[1]).total_cmp(&(b.1[0] + b.1[1])).then(a.0.total_cmp(&b.0)))?;
    // The best voted within reach of the outermost.
    let near = |v: &&(f64, [f64; 2])| {
        (v.1[0] - outermost.1[0]).abs() <= 2.0 * tolerance
            && (v.1[1] - outermost.1[1]).abs() <= 2.0 * tolerance
    };
    votes.iter().filter(near).max_by(|a, b| a.0.total_cmp(&b.0)).map(|v| v.1)
}

/// Least squares by reweighting through the nearest edge of each place.
fn refine(places: &[f64], edges: &[Vec<Edge>], start: [f64; 2], tolerance: f64, span: f64) -> Option<Line> {
    let mut ends = start;
    let mut limit = 2.5 * tolerance;
    let mut out = None;
    for _ in 0..8 {
        let mut normal = SMatrix::<f64, 2, 2>::zeros();
        let mut right = SVector::<f64, 2>::zeros();
        let (mut square, mut weight, mut used) = (0.0, 0.0, 0usize);
        for (s, edges) in places.iter().zip(edges) {
            let at = ends[0] + (ends[1] - ends[0]) * s;
            let Some(e) = edges.iter().min_by(|a, b| (a.at - at).abs().total_cmp(&(b.at - at).abs())) else {
                continue;
            };
            let r = e.at - at;
            let w = tukey(r.abs(), limit);
            if w <= 0.0 {
                continue;
            }
            let j = SVector::<f64, 2>::new(1.0 - s, *s);
            normal += j * j.transpose() * w;
            right += j * e.at * w;
            square += w * r * r;
            weight += w;
            used += 1;
        }
        if used < 12 || weight < 6.0 {
            return None;
        }
        let inverse = normal.try_inverse()?;
        let solved = inverse * right;
        let sigma = (square / weight).sqrt().max(0.1);
        ends = [solved[0], solved[1]];
        limit = (4.0 * sigma).clamp(1.5, 2.5 * tolerance);
        // Neighbours share a wave of the edge, so fewer places are independent than were read; and part
        // of the scatter may be a bow that all of them share.
        let independent = (span / CORRELATED).max(2.0);
        let inflate = (weight / independent).max(1.0);
        let common = COMMON * sigma * COMMON * sigma;
        let c = inverse * (sigma * sigma * inflate);
        out = Some(Line {
            ends,
            covariance: [
                [c[(0, 0)] + common, c[(0, 1)] + common / 2.0],
                [c[(1, 0)] + common / 2.0, c[(1, 1)] + common],
            ],
        });
    }
    out
}

/// Where neighbouring lines meet, and how the lines' ends move the corners.
fn corners(frames: &[Frame; 4], lines: &[Line]) -> Option<([Point; 4], Matrix8)> {
    let ends: Vec<[f64; 2]> = lines.iter().map(|l| l.ends).collect();
    let base = meet_all(frames, &ends)?;
    // Derivative by the eight ends, by differences of a hundredth of a pixel.
    let mut j = Matrix8::zeros();
    let h = 0.01;
    for k in 0..8 {
        let mut moved = ends.clone();
        moved[k / 2][k % 2] += h;
        let at = meet_all(frames, &moved)?;
        for c in 0..4 {
            for d in 0..2 {
                j[(2 * c + d, k)] = (at[c][d] - base[c][d]) / h;
            }
        }
    }
    let mut of_lines = Matrix8::zeros();
    for (k, line) in lines.iter().enumerate() {
        for a in 0..2 {
            for b in 0..2 {
                of_lines[(2 * k + a, 2 * k + b)] = line.covariance[a][b];
            }
        }
    }
    Some((base, j * of_lines * j.transpose()))
}

fn meet_all(frames: &[Frame; 4], ends: &[[f64; 2]]) -> Option<[Point; 4]> {
    let mut out = [[0.0; 2]; 4];
    for (k, corner) in out.iter_mut().enumerate() {
        let before = (k + 3) % 4;
        let (f, g) = (&frames[before], &frames[k]);
        let (a, b) = (f.point(0.0, ends[before][0]), f.point(1.0, ends[before][1]));
        let (c, d) = (g.point(0.0, ends[k][0]), g.point(1.0, ends[k][1]));
        let (u, v) = ([b[0] - a[0], b[1] - a[1]], [d[0] - c[0], d[1] - c[1]]);
        let det = u[0] * v[1] - u[1] * v[0];
        if det.abs() < 1e-6 {
            return None;
        }
        let w = [c[0] - a[0], c[1] - a[1]];
        let s = (w[0] * v[1] - w[1] * v[0]) / det;
        *corner = [a[0] + s * u[0], a[1] + s * u[1]];
    }
    Some(out)
}
