//! The convex hull of points and its nearest four-sided outline.
//!
//! In: points. Out: four corners, clockwise as seen (y down). Never here: a photo.
//!
//! Sides are taken away one by one, always the one whose neighbours, prolonged until they meet, add the
//! least area. Source of the hull: monotone chain, [`andrew1979`].

use crate::homography::Point;
use crate::polygon::signed_area;

/// Four corners around all points; nothing when they enclose no area.
pub(super) fn four_sides(points: &[Point]) -> Option<[Point; 4]> {
    let mut corners = hull(points);
    if corners.len() < 4 || signed_area(&corners).abs() < 16.0 {
        return None;
    }
    while corners.len() > 4 {
        let n = corners.len();
        let mut best: Option<(f64, usize, Point)> = None;
        for k in 0..n {
            // Take away the side from k to k + 1.
            let (a, b) = (corners[(k + n - 1) % n], corners[k]);
            let (c, d) = (corners[(k + 1) % n], corners[(k + 2) % n]);
            let Some(meet) = beyond(a, b, d, c) else { continue };
            let added = signed_area(&[b, meet, c]).abs();
            if best.is_none_or(|(least, ..)| added < least) {
                best = Some((added, k, meet));
            }
        }
        let (_, k, meet) = best?;
        let next = (k + 1) % n;
        corners[k] = meet;
        corners.remove(next);
    }
    let mut four: [Point; 4] = corners.try_into().ok()?;
    if signed_area(&four) < 0.0 {
        four.reverse();
    }
    Some(four)
}

/// Where the line from a through b, prolonged beyond b, meets the one from d through c beyond c.
fn beyond(a: Point, b: Point, d: Point, c: Point) -> Option<Point> {
    let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - d[0], c[1] - d[1]]);
    let det = u[0] * v[1] - u[1] * v[0];
    if det.abs() < 1e-9 {
        return None;
    }
    let w = [d[0] - a[0], d[1] - a[1]];
    let (s, t) = ((w[0] * v[1] - w[1] * v[0]) / det, (w[0] * u[1] - w[1] * u[0]) / det);
    (s >= 1.0 - 1e-9 && t >= 1.0 - 1e-9).then(|| [a[0] + s * u[0], a[1] + s * u[1]])
}

fn hull(points: &[Point]) -> Vec<Point> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    let turn = |a: Point, b: Point, c: Point| (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    let chain = |points: &mut dyn Iterator<Item = Point>| {
        let mut out: Vec<Point> = Vec::new();
        for p in points {
            while out.len() >= 2 && turn(out[out.len() - 2], out[out.len() - 1], p) <= 0.0 {
                out.pop();
            }
            out.push(p);
        }
        out.pop();
        out
    };
    let mut lower = chain(&mut sorted.iter().copied());
    lower.extend(chain(&mut sorted.iter().rev().copied()));
    lower
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quadrilateral_with_cut_corners_gets_them_back() {
        let truth = [[10.0, 12.0], [210.0, 30.0], [190.0, 330.0], [5.0, 310.0]];
        let mut points = Vec::new();
        for k in 0..4 {
            let (a, b) = (truth[k], truth[(k + 1) % 4]);
            for i in 3..98 {
                let t = f64::from(i) / 100.0;
                points.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
            }
        }
        let found = four_sides(&points).unwrap();
        for p in truth {
            let nearest = found
                .iter()
                .map(|q| ((p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1])).sqrt())
                .fold(f64::INFINITY, f64::min);
            assert!(nearest < 1e-6, "{p:?} in {found:?}");
        }
        assert!(signed_area(&found) > 0.0);
        assert!(four_sides(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [5.0, 5.0]]).is_none());
    }
}
