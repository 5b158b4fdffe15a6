//! A map from point pairs: direct linear solution, then least squares in the photo.
//!
//! In: points on the face (mm) and in the photo (px), weights. Out: a [`Homography`], and with
//! [`fit_weighted`] the covariance of its corners. Never here: outliers (see `robust`).
//!
//! Sources: [`hartley1997`] for the normalisation, [`hartley-zisserman2004`] algorithm 4.2 and
//! section 4.5 for the geometric error; Gauss–Newton with Levenberg's damping.

use nalgebra::{SMatrix, SVector};

use crate::covariance::{Covariance, Matrix8, by_parameters};
use crate::error::GeometryError;
use crate::homography::{Homography, Point};

/// Iterations of the least-squares polish; it converges quadratically from the linear solution.
const MAX_STEPS: usize = 12;

/// A similarity that moves points to mean 0 and mean distance √2: scale and centre.
#[derive(Clone, Copy)]
struct Normal {
    scale: f64,
    centre: Point,
}

impl Normal {
    fn of(points: &[Point]) -> Option<Self> {
        let n = points.len() as f64;
        let centre =
            [points.iter().map(|p| p[0]).sum::<f64>() / n, points.iter().map(|p| p[1]).sum::<f64>() / n];
        let spread = points
            .iter()
            .map(|p| {
                ((p[0] - centre[0]) * (p[0] - centre[0]) + (p[1] - centre[1]) * (p[1] - centre[1])).sqrt()
            })
            .sum::<f64>()
            / n;
        (spread > 0.0 && spread.is_finite())
            .then(|| Self { scale: std::f64::consts::SQRT_2 / spread, centre })
    }

    fn apply(self, p: Point) -> Point {
        [(p[0] - self.centre[0]) * self.scale, (p[1] - self.centre[1]) * self.scale]
    }

    fn map(self) -> Homography {
        Homography::scale_and_shift(self.scale, [-self.centre[0] * self.scale, -self.centre[1] * self.scale])
    }
}

impl Homography {
    /// The map that fits point pairs best: direct linear transformation with Hartley's
    /// normalisation, then least squares of the distances in the photo.
    ///
    /// # Input
    /// `mm`, `px`: the same number of points, at least 4, no three of four on one line.
    ///
    /// # Errors
    /// [`GeometryError::TooFew`], [`GeometryError::NotFinite`], [`GeometryError::Degenerate`].
    ///
    /// # Source
    /// [`hartley1997`]
    pub fn from_points(mm: &[Point], px: &[Point]) -> Result<Self, GeometryError> {
        let weights = vec![1.0; mm.len()];
        polish(&dlt(mm, px, &weights)?, mm, px, &weights).map(|(h, _)| h)
    }
}

/// The direct linear solution with weights (each at least 0).
pub(crate) fn dlt(mm: &[Point], px: &[Point], weights: &[f64]) -> Result<Homography, GeometryError> {
    let used: Vec<usize> = (0..mm.len().min(px.len())).filter(|&i| weights[i] > 0.0).collect();
    if mm.len() != px.len() || used.len() < 4 {
        return Err(GeometryError::TooFew { found: used.len(), needed: 4 });
    }
    if mm.iter().chain(px).flatten().any(|v| !v.is_finite()) {
        return Err(GeometryError::NotFinite);
    }
    let pick = |list: &[Point]| -> Vec<Point> { used.iter().map(|&i| list[i]).collect() };
    let (a, b) = (pick(mm), pick(px));
    let coincide = GeometryError::Degenerate("all points coincide");
    let (na, nb) = (Normal::of(&a).ok_or(coincide.clone())?, Normal::of(&b).ok_or(coincide)?);
    // Smallest eigenvector of AᵀA: 9 unknowns, so the normal equations lose nothing that matters
    // after normalisation, and no SVD of a tall matrix is needed.
    let mut ata = SMatrix::<f64, 9, 9>::zeros();
    for (k, &i) in used.iter().enumerate() {
        let (p, q, w) = (na.apply(a[k]), nb.apply(b[k]), weights[i]);
        let (x, y, u, v) = (p[0], p[1], q[0], q[1]);
        for row in
            [[x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y, -u], [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y, -v]]
        {
            let r = SVector::<f64, 9>::from_row_slice(&row);
            ata += r * r.transpose() * w;
        }
    }
    let eigen = ata.symmetric_eigen();
    let mut order: Vec<usize> = (0..9).collect();
    order.sort_by(|&i, &j| eigen.eigenvalues[i].total_cmp(&eigen.eigenvalues[j]));
    // A second null direction: the pairs leave a family of maps (points on one line, or repeated).
    if eigen.eigenvalues[order[1]] <= 1e-10 * eigen.eigenvalues[order[8]] {
        return Err(GeometryError::Degenerate("too many points lie on one line or repeat"));
    }
    let e = eigen.eigenvectors.column(order[0]);
    let inner = [[e[0], e[1], e[2]], [e[3], e[4], e[5]], [e[6], e[7], e[8]]];
    if e[8].abs() < 1e-12 {
        return Err(GeometryError::Degenerate("the middle of the points lies on the horizon"));
    }
    na.map().then(&Homography::new(inner)?)?.then(&nb.map().inverse())
}

/// Sum of weighted squared distances in the photo; infinite when a used point leaves the plane.
fn cost(h: &Homography, mm: &[Point], px: &[Point], weights: &[f64]) -> f64 {
    let mut sum = 0.0;
    for ((p, q), w) in mm.iter().zip(px).zip(weights) {
        if *w > 0.0 {
            match h.map(*p) {
                Some(m) => sum += w * ((m[0] - q[0]) * (m[0] - q[0]) + (m[1] - q[1]) * (m[1] - q[1])),
                None => return f64::INFINITY,
            }
        }
    }
    sum
}

/// Least squares of the distances in the photo from a good start; also the inverse normal matrix in
/// the eight numbers of [`Covariance`], which times the variance of a coordinate is their covariance.
pub(crate) fn polish(
    start: &Homography,
    mm: &[Point],
    px: &[Point],
    weights: &[f64],
) -> Result<(Homography, Matrix8), GeometryError> {
    let (na, nb) = match (Normal::of(mm), Normal::of(px)) {
        (Some(a), Some(b)) => (a, b),
        _ => return Err(GeometryError::Degenerate("all points coincide")),
    };
    let (p, q): (Vec<Point>, Vec<Point>) =
        mm.iter().zip(px).map(|(a, b)| (na.apply(*a), nb.apply(*b))).unzip();
    let mut h = na.map().inverse().then(start)?.then(&nb.map())?;
    let mut best = cost(&h, &p, &q, weights);
    let mut damping = 1e-6;
    for _ in 0..MAX_STEPS {
        let (normal, gradient) = normal_equations(&h, &p, &q, weights);
        let mut damped = normal;
        for k in 0..8 {
            damped[(k, k)] += damping * normal[(k, k)] + 1e-14;
        }
        let Some(step) = damped.cholesky().map(|c| c.solve(&gradient)) else { break };
        let r = h.rows();
        let moved = Homography::new([
            [r[0][0] + step[0], r[0][1] + step[1], r[0][2] + step[2]],
            [r[1][0] + step[3], r[1][1] + step[4], r[1][2] + step[5]],
            [r[2][0] + step[6], r[2][1] + step[7], 1.0],
        ]);
        let next = moved.as_ref().map_or(f64::INFINITY, |m| cost(m, &p, &q, weights));
        match moved {
            Ok(m) if next <= best => {
                let gain = best - next;
                (h, best) = (m, next);
                damping *= 0.1;
                if gain <= 1e-12 * best || step.norm() < 1e-12 {
                    break;
                }
            }
            _ => {
                damping *= 30.0;
                if damping > 1e6 {
                    break;
                }
            }
        }
    }
    let (normal, _) = normal_equations(&h, &p, &q, weights);
    let inner = normal.try_inverse().ok_or(GeometryError::Degenerate("the points do not fix the map"))?;
    let outer = na.map().then(&h)?.then(&nb.map().inverse())?;
    // Carry the covariance through the frames by the corners of the normalised square, where both
    // parameter sets are well conditioned.
    let square = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    let (mut by_inner, mut by_outer) = (Matrix8::zeros(), Matrix8::zeros());
    for (k, s) in square.into_iter().enumerate() {
        let at_mm = [s[0] / na.scale + na.centre[0], s[1] / na.scale + na.centre[1]];
        let i = by_parameters(&h, s).ok_or(GeometryError::Horizon)? / nb.scale;
        let o = by_parameters(&outer, at_mm).ok_or(GeometryError::Horizon)?;
        by_inner.fixed_rows_mut::<2>(2 * k).copy_from(&i);
        by_outer.fixed_rows_mut::<2>(2 * k).copy_from(&o);
    }
    let back =
        by_outer.try_inverse().ok_or(GeometryError::Degenerate("the points do not fix the map"))? * by_inner;
    // `inner` is per unit variance in normalised pixels; one pixel is `nb.scale` of them.
    Ok((outer, back * inner * back.transpose() * (nb.scale * nb.scale)))
}

fn normal_equations(h: &Homography, p: &[Point], q: &[Point], weights: &[f64]) -> (Matrix8, SVector<f64, 8>) {
    let mut normal = Matrix8::zeros();
    let mut gradient = SVector::<f64, 8>::zeros();
    for ((p, q), w) in p.iter().zip(q).zip(weights) {
        if *w <= 0.0 {
            continue;
        }
        if let (Some(m), Some(j)) = (h.map(*p), by_parameters(h, *p)) {
            let r = SVector::<f64, 2>::new(q[0] - m[0], q[1] - m[1]);
            normal += j.transpose() * j * *w;
            gradient += j.transpose() * r * *w;
        }
    }
    (normal, gradient)
}

/// A weighted fit with its covariance.
#[derive(Debug, Clone)]
pub struct Fit {
    /// The map.
    pub map: Homography,
    /// Its covariance from the weighted residuals.
    pub covariance: Covariance,
    /// Standard deviation of one photo coordinate about the fit, pixels, at weight 1.
    pub sigma_px: f64,
}

/// The best map for weighted pairs and its covariance, the noise estimated from the residuals.
///
/// # Input
/// `weights`: 0 (ignored) to 1; a weight of ½ means twice the variance.
///
/// # Errors
/// As [`Homography::from_points`]; [`GeometryError::TooFew`] below 5 used pairs, since four leave no
/// residual to judge by.
pub fn fit_weighted(mm: &[Point], px: &[Point], weights: &[f64]) -> Result<Fit, GeometryError> {
    let used = weights.iter().filter(|w| **w > 0.0).count();
    if mm.len() != px.len() || mm.len() != weights.len() || used < 5 {
        return Err(GeometryError::TooFew { found: used, needed: 5 });
    }
    let (map, unit) = polish(&dlt(mm, px, weights)?, mm, px, weights)?;
    let freedom = 2.0 * used as f64 - 8.0;
    let variance = cost(&map, mm, px, weights) / freedom;
    Ok(Fit { map, covariance: Covariance(unit * variance), sigma_px: variance.sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn truth() -> Homography {
        let corners = [[100.0, 80.0], [700.0, 120.0], [650.0, 1100.0], [60.0, 980.0]];
        Homography::from_four(corners, (65.0, 110.0)).unwrap()
    }

    fn grid() -> Vec<Point> {
        (0..30).map(|i| [f64::from(i % 5) * 16.0, f64::from(i / 5) * 21.0]).collect()
    }

    #[test]
    fn exact_pairs_give_the_map_back() {
        let mm = grid();
        let px: Vec<Point> = mm.iter().map(|p| truth().map(*p).unwrap()).collect();
        let h = Homography::from_points(&mm, &px).unwrap();
        for (a, b) in h.rows().iter().flatten().zip(truth().rows().iter().flatten()) {
            assert!((a - b).abs() < 1e-8 * (1.0 + b.abs()), "{a} instead of {b}");
        }
    }

    #[test]
    fn refuses_points_that_fix_nothing() {
        let line: Vec<Point> = (0..10).map(|i| [f64::from(i), 2.0 * f64::from(i)]).collect();
        assert!(matches!(Homography::from_points(&line, &line), Err(GeometryError::Degenerate(_))));
        let same = vec![[3.0, 4.0]; 9];
        assert!(matches!(Homography::from_points(&same, &same), Err(GeometryError::Degenerate(_))));
        let mut repeated = grid()[..3].to_vec();
        repeated.extend_from_slice(&grid()[..3]);
        assert!(matches!(Homography::from_points(&repeated, &repeated), Err(GeometryError::Degenerate(_))));
        assert!(matches!(
            Homography::from_points(&line[..3], &line[..3]),
            Err(GeometryError::TooFew { found: 3, .. })
        ));
    }
}
