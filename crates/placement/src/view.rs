//! From what angle a face is seen, told from its map alone.
//!
//! In: a [`Homography`] and the photo's size. Out: [`ViewAngle`] in degrees with its uncertainty.
//! Never here: EXIF; a focal length that a file states is often wrong after cropping.
//!
//! A small patch of a plane, seen along a line at angle θ from its normal, is shortened by cos θ in
//! one direction and not in the other. So the ratio of the singular values of the map's derivative,
//! taken on the sphere of viewing directions, is cos θ. The focal length enters only through how far
//! off the picture's axis the face stands: a face in the middle of the picture needs none.
//!
//! Assumptions: square pixels, no distortion, picture axis through the middle of the frame (a crop
//! breaks this), and a focal length log-uniform over [`FOCAL_PRIOR_MM35`].

use casebook::elementary::{acos, exp, ln};

use crate::covariance::Covariance;
use crate::homography::{Homography, Point};

/// Prior of the focal length in millimetres at 35-mm format (diagonal 43.27 mm): from a phone's wide
/// camera to its long one. Origin: our assumption, stated here; the spread of the result carries it.
pub const FOCAL_PRIOR_MM35: (f64, f64) = (22.0, 80.0);

/// Diagonal of the 24 × 36 mm frame.
const DIAGONAL_MM35: f64 = 43.266_615;

/// Angle between the face's normal and the line of sight at the face's centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViewAngle {
    /// Degrees, 0 (straight on) to 90.
    pub value_deg: f64,
    /// Standard uncertainty from the focal prior and, where given, the map's covariance; degrees.
    pub u_deg: f64,
}

/// cos θ at a point for one focal length in pixels.
fn cosine(h: &Homography, at_mm: Point, centre_px: Point, focal_px: f64) -> Option<f64> {
    let q = h.map(at_mm)?;
    let j = h.jacobian(at_mm)?;
    // Direction d = (x, y, f); derivative of d / |d| by x and y, then two orthonormal axes across d.
    let (x, y, f) = (q[0] - centre_px[0], q[1] - centre_px[1], focal_px);
    let n2 = x * x + y * y + f * f;
    let n = n2.sqrt();
    let r = (x * x + y * y).sqrt();
    // Radially the sphere shrinks steps by f / n², tangentially by 1 / n.
    let (c, s) = if r > 0.0 { (x / r, y / r) } else { (1.0, 0.0) };
    let (radial, tangential) = (f / n2, 1.0 / n);
    let a = [
        [(c * j[0][0] + s * j[1][0]) * radial, (c * j[0][1] + s * j[1][1]) * radial],
        [(c * j[1][0] - s * j[0][0]) * tangential, (c * j[1][1] - s * j[0][1]) * tangential],
    ];
    let det = (a[0][0] * a[1][1] - a[0][1] * a[1][0]).abs();
    let sum = a.iter().flatten().map(|v| v * v).sum::<f64>();
    let large2 = (sum + (sum * sum - 4.0 * det * det).max(0.0).sqrt()) / 2.0;
    (large2 > 0.0).then(|| (det / large2).min(1.0))
}

/// The angle of view at the face's centre, degrees; `None` when the centre cannot be seen.
///
/// # Input
/// `frame_px`: width and height of the photo. `covariance`: adds the map's own uncertainty.
#[must_use]
pub fn view_angle(
    h: &Homography,
    size_mm: (f64, f64),
    frame_px: (usize, usize),
    covariance: Option<&Covariance>,
) -> Option<ViewAngle> {
    const STEPS: usize = 9;
    let at = [size_mm.0 / 2.0, size_mm.1 / 2.0];
    let (w, t) = (frame_px.0 as f64, frame_px.1 as f64);
    let (centre, diagonal) = ([(w - 1.0) / 2.0, (t - 1.0) / 2.0], (w * w + t * t).sqrt());
    let (low, high) = (ln(FOCAL_PRIOR_MM35.0), ln(FOCAL_PRIOR_MM35.1));
    let focal =
        |k: usize| exp(low + (high - low) * (k as f64 + 0.5) / STEPS as f64) / DIAGONAL_MM35 * diagonal;
    let mut angles = Vec::with_capacity(STEPS);
    for k in 0..STEPS {
        angles.push(acos(cosine(h, at, centre, focal(k))?).to_degrees());
    }
    let mean = angles.iter().sum::<f64>() / STEPS as f64;
    let mut variance = angles.iter().map(|a| (a - mean) * (a - mean)).sum::<f64>() / STEPS as f64;
    if let Some(c) = covariance {
        // Both singular values carry about the scale's relative uncertainty; d(cos θ) = cos θ · u,
        // and near 0° the second-order size of the angle itself bounds it.
        let u = c.scale_relative_u(h, at)? * std::f64::consts::SQRT_2;
        let cos_mean = casebook::elementary::cos(mean.to_radians());
        let sin_mean = casebook::elementary::sin(mean.to_radians());
        let by_slope = (cos_mean * u / sin_mean.max(u.sqrt())).to_degrees();
        variance += by_slope * by_slope;
    }
    Some(ViewAngle { value_deg: mean, u_deg: variance.sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use casebook::elementary::{cos, sin};

    /// A pinhole camera looking at a face turned by `tilt` about its vertical axis.
    fn pinhole(tilt_deg: f64, offset_mm: Point, focal_px: f64) -> Homography {
        let (c, s) = (cos(tilt_deg.to_radians()), sin(tilt_deg.to_radians()));
        let place = |p: Point| {
            let (x, y) = (p[0] - 32.5, p[1] - 55.0);
            let (px, py, pz) = (x * c + offset_mm[0], y + offset_mm[1], 400.0 + x * s);
            [focal_px * px / pz + 1499.5, focal_px * py / pz + 1999.5]
        };
        Homography::from_four(crate::corners_mm((65.0, 110.0)).map(place), (65.0, 110.0)).unwrap()
    }

    #[test]
    fn finds_the_angle_of_a_pinhole_camera() {
        for tilt in [0.0, 10.0, 30.0, 50.0, 70.0] {
            // A 26-mm camera: f = 26 / 43.27 × 5000 px = 3005 px.
            let middle =
                view_angle(&pinhole(tilt, [0.0, 0.0], 3005.0), (65.0, 110.0), (3000, 4000), None).unwrap();
            assert!((middle.value_deg - tilt).abs() < 0.1, "{tilt}: {middle:?}");
            // Off the axis by atan(100/400) = 14°: the truth is the angle to the line of sight.
            let off =
                view_angle(&pinhole(tilt, [0.0, 100.0], 3005.0), (65.0, 110.0), (3000, 4000), None).unwrap();
            let truth =
                acos(400.0 / (400.0f64 * 400.0 + 100.0 * 100.0).sqrt() * cos(tilt.to_radians())).to_degrees();
            assert!((off.value_deg - truth).abs() < 2.5 * off.u_deg + 0.1, "{tilt}: {off:?}, truth {truth}");
            assert!(off.u_deg > middle.u_deg);
        }
    }
}
