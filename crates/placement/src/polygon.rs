//! Convex polygons: area, clipping, overlap.
//!
//! In: corner lists. Out: polygons and areas in the square of their unit. Positive area: the corners
//! turn from x towards y, as a face's corners do in frames with y down. Never here: pixels or faces.
//!
//! Source: Sutherland–Hodgman clipping, [`sutherland-hodgman1974`].

use crate::homography::Point;

/// Area with sign: positive when the corners turn from x towards y.
#[must_use]
pub fn signed_area(polygon: &[Point]) -> f64 {
    let n = polygon.len();
    let mut sum = 0.0;
    for i in 0..n {
        let (a, b) = (polygon[i], polygon[(i + 1) % n]);
        sum += a[0] * b[1] - a[1] * b[0];
    }
    sum / 2.0
}

/// The part of `subject` inside the convex `window`; both with positive area. Empty when apart.
#[must_use]
pub fn clip(subject: &[Point], window: &[Point]) -> Vec<Point> {
    let mut out = subject.to_vec();
    for i in 0..window.len() {
        let (a, b) = (window[i], window[(i + 1) % window.len()]);
        let side = |p: Point| (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
        let input = std::mem::take(&mut out);
        for (k, &p) in input.iter().enumerate() {
            let q = input[(k + 1) % input.len()];
            let (sp, sq) = (side(p), side(q));
            if sp >= 0.0 {
                out.push(p);
            }
            if (sp > 0.0 && sq < 0.0) || (sp < 0.0 && sq > 0.0) {
                let t = sp / (sp - sq);
                out.push([p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])]);
            }
        }
    }
    out
}

/// Shared area over the smaller of the two areas, 0 to 1; 0 when either has none.
#[must_use]
pub fn overlap_share(a: &[Point], b: &[Point]) -> f64 {
    let smaller = signed_area(a).min(signed_area(b));
    if smaller <= 0.0 {
        return 0.0;
    }
    (signed_area(&clip(a, b)).max(0.0) / smaller).min(1.0)
}

/// The rectangle of a frame whose pixels are `width × height`: from the outer edge of the first to the
/// outer edge of the last.
#[must_use]
pub fn frame(width: usize, height: usize) -> [Point; 4] {
    let (w, h) = (width as f64 - 0.5, height as f64 - 0.5);
    [[-0.5, -0.5], [w, -0.5], [w, h], [-0.5, h]]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clips_squares() {
        let square = |x: f64, y: f64| vec![[x, y], [x + 2.0, y], [x + 2.0, y + 2.0], [x, y + 2.0]];
        let rows = [(0.0, 0.0, 1.0), (1.0, 0.0, 0.5), (1.0, 1.0, 0.25), (2.0, 0.0, 0.0), (5.0, 5.0, 0.0)];
        for (x, y, share) in rows {
            let got = overlap_share(&square(0.0, 0.0), &square(x, y));
            assert!((got - share).abs() < 1e-12, "shift {x} {y}: {got} instead of {share}");
        }
    }
}
