//! CIEDE2000, the scalar reference: exact in its ties, the same bits everywhere.
//!
//! In: two CIELAB colours. Out: their difference, dimensionless, 0 for the same colour, about 1 for
//! what an observer just sees side by side. Never here: pictures, thresholds, a camera.
//!
//! Two hues may lie 180° apart to within rounding; which way round the mean hue then lies decides
//! the result. We take the side from the exact sign of the cross product of the two colours, never
//! from a difference of two arc tangents.
//!
//! Sources: `sharma2005` (formula, implementation notes, test pairs), `cie142-2001`.
//! Outside check: `tests/ciede2000_sharma2005.rs`.

use casebook::elementary::{atan2, cos, exp, sin};
use std::f64::consts::PI;

use super::lab::Lab;

/// 25 to the seventh power. Source: `sharma2005`, equation 4.
pub(crate) const POW_25_7: f64 = 6_103_515_625.0;

/// The CIEDE2000 colour difference with kL = kC = kH = 1.
///
/// # Input
/// Two CIELAB colours against the same white.
///
/// # Result
/// Dimensionless, never negative; symmetric in its arguments.
///
/// # Source
/// `sharma2005`, equations 2 to 22.
///
/// # Example
/// ```
/// use photo::colour::{Lab, delta_e_2000};
/// let d = delta_e_2000(Lab::new(50.0, 2.6772, -79.7751), Lab::new(50.0, 0.0, -82.7485));
/// assert!((d - 2.0425).abs() < 0.5e-4); // first published pair
/// ```
#[must_use]
pub fn delta_e_2000(first: Lab, second: Lab) -> f64 {
    let chroma_mean = f64::midpoint(chroma(first.a, first.b), chroma(second.a, second.b));
    let g = 0.5 * (1.0 - seventh_ratio(chroma_mean));
    let (a1, a2) = ((1.0 + g) * first.a, (1.0 + g) * second.a);
    let (c1, c2) = (chroma(a1, first.b), chroma(a2, second.b));

    let dl = second.l - first.l;
    let dc = c2 - c1;
    let Hues { difference, mean } = hues([first.a, first.b], [second.a, second.b], [a1, a2], [c1, c2]);
    let dh = 2.0 * (c1 * c2).sqrt() * sin(difference / 2.0);

    let l_mean = f64::midpoint(first.l, second.l);
    let c_mean = f64::midpoint(c1, c2);
    let t = 1.0 - 0.17 * cos(mean - radians(30.0))
        + 0.24 * cos(2.0 * mean)
        + 0.32 * cos(3.0 * mean + radians(6.0))
        - 0.20 * cos(4.0 * mean - radians(63.0));
    let from_50 = (l_mean - 50.0) * (l_mean - 50.0);
    let sl = 1.0 + 0.015 * from_50 / (20.0 + from_50).sqrt();
    let sc = 1.0 + 0.045 * c_mean;
    let sh = 1.0 + 0.015 * c_mean * t;
    let from_blue = (degrees(mean) - 275.0) / 25.0;
    let turn = radians(30.0) * exp(-from_blue * from_blue);
    let rt = -2.0 * seventh_ratio(c_mean) * sin(2.0 * turn);

    let (l, c, h) = (dl / sl, dc / sc, dh / sh);
    (l * l + c * c + h * h + rt * c * h).max(0.0).sqrt()
}

/// Hue difference from first to second and the mean hue, both in radians; mean in 0..2π.
struct Hues {
    difference: f64,
    mean: f64,
}

/// `original`: a*, b* as given; `a` and `c`: a' and C' after the correction. Where a chroma is zero
/// the hue is undefined: the difference is 0 and the mean is the other's hue.
fn hues(first: [f64; 2], second: [f64; 2], a: [f64; 2], c: [f64; 2]) -> Hues {
    let h1 = hue(a[0], first[1]);
    let h2 = hue(a[1], second[1]);
    if c[0] * c[1] == 0.0 {
        return Hues { difference: 0.0, mean: h1 + h2 };
    }
    let raw = h2 - h1;
    // Both a* are stretched by the same positive factor, so the sign is that of the originals.
    let side = cross_sign(first, second);
    // The way from first to second is less than half a turn, to the side that the cross product says.
    // `raw` is that way, or a full turn off it; half way between the two nothing can be mistaken for
    // the other, so a rounding of two nearly equal hues never counts as a turn.
    let difference = if side > 0.0 && raw < -PI / 2.0 {
        raw + 2.0 * PI
    } else if side < 0.0 && raw > PI / 2.0 {
        raw - 2.0 * PI
    } else {
        raw
    };
    let wrapped = difference != raw;
    let sum = h1 + h2;
    let mean = if !wrapped {
        sum / 2.0
    } else if sum < 2.0 * PI {
        (sum + 2.0 * PI) / 2.0
    } else {
        (sum - 2.0 * PI) / 2.0
    };
    Hues { difference, mean }
}

/// The sign of `p[0]·q[1] − p[1]·q[0]`, right to the last bit: each product is split into its
/// rounded value and its exact error (`mul_add` rounds once).
fn cross_sign(p: [f64; 2], q: [f64; 2]) -> f64 {
    let (left, right) = (p[0] * q[1], p[1] * q[0]);
    let left_error = p[0].mul_add(q[1], -left);
    let right_error = p[1].mul_add(q[0], -right);
    (left - right) + (left_error - right_error)
}

fn hue(a: f64, b: f64) -> f64 {
    if a == 0.0 && b == 0.0 {
        return 0.0;
    }
    let h = atan2(b, a);
    if h < 0.0 { h + 2.0 * PI } else { h }
}

fn chroma(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// √(C⁷ / (C⁷ + 25⁷)).
fn seventh_ratio(c: f64) -> f64 {
    let c2 = c * c;
    let c7 = c2 * c2 * c2 * c;
    (c7 / (c7 + POW_25_7)).sqrt()
}

fn radians(degrees: f64) -> f64 {
    degrees * (PI / 180.0)
}

fn degrees(radians: f64) -> f64 {
    radians * (180.0 / PI)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lab() -> impl Strategy<Value = Lab> {
        (0.0..100.0_f64, -120.0..120.0_f64, -120.0..120.0_f64).prop_map(|(l, a, b)| Lab::new(l, a, b))
    }

    proptest! {
        #[test]
        fn symmetric_and_zero_only_for_the_same(p in lab(), q in lab()) {
            let (there, back) = (delta_e_2000(p, q), delta_e_2000(q, p));
            prop_assert!((there - back).abs() <= 1e-9 * (1.0 + there));
            prop_assert_eq!(delta_e_2000(p, p), 0.0);
            prop_assert!(there.is_finite() && there >= 0.0);
        }

        /// Exactly opposite hues, however long the vectors: the mean is the plain average of the two
        /// hues, as `sharma2005` prescribes for a difference of exactly 180°.
        #[test]
        fn opposite_hues_are_decided_exactly(a in -60i32..60, b in -60i32..60, k in 1i32..3) {
            prop_assume!(a != 0 || b != 0);
            let p = [f64::from(a) / 8.0, f64::from(b) / 8.0];
            let q = [-p[0] * f64::from(k), -p[1] * f64::from(k)];
            let h = hues(p, q, [p[0], q[0]], [chroma(p[0], p[1]), chroma(q[0], q[1])]);
            prop_assert!((h.mean - f64::midpoint(hue(p[0], p[1]), hue(q[0], q[1]))).abs() < 1e-15);
            prop_assert!((h.difference.abs() - PI).abs() < 1e-12);
        }
    }

    #[test]
    fn a_hair_to_either_side_of_opposite() {
        // One unit in the last place to each side of exactly opposite; cross product signs differ.
        let p = [3.0, 1.0];
        let up = [-3.0, f64::from_bits((-1.0_f64).to_bits() - 1)];
        let down = [-3.0, f64::from_bits((-1.0_f64).to_bits() + 1)];
        assert!(cross_sign(p, up) > 0.0);
        assert!(cross_sign(p, down) < 0.0);
        assert_eq!(cross_sign(p, [-3.0, -1.0]), 0.0);
    }
}
