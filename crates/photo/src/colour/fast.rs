//! CIELAB and CIEDE2000 over whole slices, in single precision.
//!
//! In: planes of equal length (one slice a channel). Out: one number a pixel. The result is the same
//! on every machine and for every vector width: each lane does the same IEEE operations in the same
//! order, without fused multiply-add, and every elementary function is a polynomial written here.
//! Never here: the reference (that is [`super::difference`]), a reduction over pixels.
//!
//! Error against the scalar reference: at most [`MAX_ERROR`], tested over the sRGB cube, over small
//! differences and near opposite hues. Pixels whose hues lie within [`OPPOSITE`] of 180° apart are
//! handed to the scalar reference, where such ties are decided exactly.
//!
//! Sources: `sharma2005`, `cie15-2018`. Polynomials: `checks/fast_colour/make.py`.

use super::difference::delta_e_2000;
use super::lab::Lab;

/// Largest difference between [`delta_e_2000_slice`] and [`delta_e_2000`] for L* 0 to 100 and
/// |a*|, |b*| up to 128.
pub const MAX_ERROR: f32 = 1e-3;

/// Squared length of the sum of the two unit hue vectors below which the pair counts as opposite:
/// 2·cos(Δh/2) = 0.045, hues within 2.6° of 180° apart. Nearer, rounding of the mean hue grows past
/// [`MAX_ERROR`].
const OPPOSITE: f32 = 2e-3;
/// Mean chroma times two below which hue has no weight worth deciding: it then moves S_H by less
/// than 0.015 × 0.05 × 2 of a difference that is itself below 0.1.
const HUELESS: f32 = 0.05;

/// Pixels worked on at a time; small enough to stay in the first-level cache.
const BLOCK: usize = 128;

/// One block of three planes. Blocks are copied in and out, so that the compiler knows that nothing
/// overlaps and works on as many pixels at once as the processor can.
type Block = [[f32; BLOCK]; 3];

/// Linear Rec. 709 (1.0 = white) to CIELAB relative to D65.
///
/// # Input
/// Three planes in, three planes out, all of one length; a shorter one ends the work.
///
/// # Result
/// L* within 2e-4, a* and b* within 5e-4 of [`super::lab_from_linear`] for light in 0 to 1.
pub fn linear_to_lab_slice(rgb: [&[f32]; 3], lab: [&mut [f32]; 3]) {
    let n = rgb.iter().map(|p| p.len()).chain(lab.iter().map(|p| p.len())).min().unwrap_or(0);
    let arch = pulp::Arch::new();
    let [l, a, b] = lab;
    for start in (0..n).step_by(BLOCK) {
        let end = (start + BLOCK).min(n);
        let mut block = loaded(rgb, start, end);
        arch.dispatch(ToLab(&mut block));
        for (plane, block) in [&mut *l, &mut *a, &mut *b].into_iter().zip(&block) {
            plane[start..end].copy_from_slice(&block[..end - start]);
        }
    }
}

/// [`delta_e_2000`] for every pixel of two pictures in CIELAB.
///
/// # Input
/// Planes L*, a*, b* of both pictures and the result, all of one length; a shorter one ends the work.
///
/// # Result
/// Within [`MAX_ERROR`] of the scalar reference; NaN where an input is NaN.
///
/// # Example
/// ```
/// use photo::colour::delta_e_2000_slice;
/// let mut d = [0.0];
/// delta_e_2000_slice([&[50.0], &[2.6772], &[-79.7751]], [&[50.0], &[0.0], &[-82.7485]], &mut d);
/// assert!((d[0] - 2.0425).abs() < 1e-3);
/// ```
pub fn delta_e_2000_slice(first: [&[f32]; 3], second: [&[f32]; 3], out: &mut [f32]) {
    by_block(first, second, out, |_, _| ());
}

/// CIEDE2000 of two pictures in linear Rec. 709: [`linear_to_lab_slice`] on both, then
/// [`delta_e_2000_slice`], without planes in between.
///
/// # Input
/// Planes red, green, blue of both pictures and the result, all of one length; a shorter one ends
/// the work.
pub fn delta_e_2000_linear_slice(first: [&[f32]; 3], second: [&[f32]; 3], out: &mut [f32]) {
    by_block(first, second, out, |arch, block| arch.dispatch(ToLab(block)));
}

/// Differences block by block, after `prepare` has brought both blocks to CIELAB.
fn by_block(
    first: [&[f32]; 3],
    second: [&[f32]; 3],
    out: &mut [f32],
    prepare: impl Fn(pulp::Arch, &mut Block),
) {
    let n = first.iter().chain(&second).map(|p| p.len()).min().unwrap_or(0).min(out.len());
    let arch = pulp::Arch::new();
    for start in (0..n).step_by(BLOCK) {
        let end = (start + BLOCK).min(n);
        let (mut p, mut q) = (loaded(first, start, end), loaded(second, start, end));
        prepare(arch, &mut p);
        prepare(arch, &mut q);
        let (mut differences, mut opposite) = ([0.0; BLOCK], [0.0; BLOCK]);
        arch.dispatch(Differences { p: &p, q: &q, out: &mut differences, opposite: &mut opposite });
        for (i, flag) in opposite[..end - start].iter().enumerate() {
            if *flag > 0.0 {
                let lab = |c: &Block| Lab::new(c[0][i].into(), c[1][i].into(), c[2][i].into());
                differences[i] = delta_e_2000(lab(&p), lab(&q)) as f32;
            }
        }
        out[start..end].copy_from_slice(&differences[..end - start]);
    }
}

/// A block of the planes, filled up with 0.
fn loaded(planes: [&[f32]; 3], start: usize, end: usize) -> Block {
    let mut block = [[0.0; BLOCK]; 3];
    for (block, plane) in block.iter_mut().zip(planes) {
        block[..end - start].copy_from_slice(&plane[start..end]);
    }
    block
}

/// Turns a block of linear Rec. 709 into CIELAB.
struct ToLab<'a>(&'a mut Block);

impl pulp::NullaryFnOnce for ToLab<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        // Rec. 709 to XYZ over the D65 white, each row divided by the white's own X, Y or Z, so that
        // it adds up to one; a test compares them with the matrix derived from the primaries.
        let m = &TO_XYZ_OVER_WHITE;
        let [first, second, third] = self.0;
        for i in 0..BLOCK {
            let (r, g, b) = (first[i], second[i], third[i]);
            let fx = lab_root(m[0][0] * r + m[0][1] * g + m[0][2] * b);
            let fy = lab_root(m[1][0] * r + m[1][1] * g + m[1][2] * b);
            let fz = lab_root(m[2][0] * r + m[2][1] * g + m[2][2] * b);
            first[i] = 116.0 * fy - 16.0;
            second[i] = 500.0 * (fx - fy);
            third[i] = 200.0 * (fy - fz);
        }
    }
}

/// The difference of each pixel of two blocks in CIELAB.
struct Differences<'a> {
    p: &'a Block,
    q: &'a Block,
    out: &'a mut [f32; BLOCK],
    opposite: &'a mut [f32; BLOCK],
}

impl pulp::NullaryFnOnce for Differences<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let ([l1, a1, b1], [l2, a2, b2]) = (self.p, self.q);
        for i in 0..BLOCK {
            let (d, flag) = difference(l1[i], a1[i], b1[i], l2[i], a2[i], b2[i]);
            self.out[i] = d;
            self.opposite[i] = flag;
        }
    }
}

/// Rows of the Rec. 709 to XYZ matrix divided by the white's X, Y, Z.
const TO_XYZ_OVER_WHITE: [[f32; 3]; 3] = [
    [0.433_887_34, 0.376_224, 0.189_888_65],
    [0.212_639, 0.715_168_7, 0.072_192_32],
    [0.017_750_04, 0.109_447_62, 0.872_802_3],
];

/// f(t) of CIELAB: cube root, or the line below the knee.
#[inline(always)]
fn lab_root(t: f32) -> f32 {
    const KNEE: f32 = 216.0 / 24_389.0;
    let line = (841.0 / 108.0) * t + 4.0 / 29.0;
    let above = if t > KNEE { t } else { KNEE };
    // First guess from a third of the exponent, then two steps of Halley's method (cubic).
    let guess = f32::from_bits(above.to_bits() / 3 + 0x2a51_37a0);
    let x = halley(halley(guess, above), above);
    if t > KNEE { x } else { line }
}

#[inline(always)]
fn halley(x: f32, t: f32) -> f32 {
    let cube = x * x * x;
    x * ((cube + 2.0 * t) / (2.0 * cube + t))
}

/// One pixel; the second result is positive when the hues are too nearly opposite to decide here.
/// Hue enters only by unit vectors: the mean hue is the direction of their sum, and its multiples
/// come from the double-angle formulas.
#[inline(always)]
fn difference(l1: f32, a1: f32, b1: f32, l2: f32, a2: f32, b2: f32) -> (f32, f32) {
    let chroma_mean = 0.5 * ((a1 * a1 + b1 * b1).sqrt() + (a2 * a2 + b2 * b2).sqrt());
    let stretch = 1.0 + 0.5 * (1.0 - seventh_ratio(chroma_mean));
    let (x1, x2) = (stretch * a1, stretch * a2);
    let c1 = (x1 * x1 + b1 * b1).sqrt();
    let c2 = (x2 * x2 + b2 * b2).sqrt();
    let product = c1 * c2;

    let (r1, r2) = (if c1 > 0.0 { 1.0 / c1 } else { 0.0 }, if c2 > 0.0 { 1.0 / c2 } else { 0.0 });
    let (u1, v1, u2, v2) = (x1 * r1, b1 * r1, x2 * r2, b2 * r2);
    let (sx, sy) = (u1 + u2, v1 + v2);
    let sum2 = sx * sx + sy * sy;
    let flag = if sum2 < OPPOSITE && c1 + c2 > HUELESS { product } else { 0.0 };
    let defined = sum2 > 1e-12;
    let sum2 = if defined { sum2 } else { 1.0 };
    let (sx, sy) = if defined { (sx, sy) } else { (1.0, 0.0) };
    let sum = sum2.sqrt();
    let (cos1, sin1) = (sx / sum, sy / sum);

    // ΔH' = 2·√(C1'·C2')·sin(Δh/2). For hues under 90° apart from the cross product of the
    // differences, which does not cancel; for others from the length of the difference.
    let root = product.sqrt();
    let cross = x1 * (b2 - b1) - b1 * (stretch * (a2 - a1));
    let (dx, dy) = (u2 - u1, v2 - v1);
    let near = 2.0 * cross / (if root > 0.0 { root } else { 1.0 } * sum);
    let far = root * (dx * dx + dy * dy).sqrt();
    let far = if cross < 0.0 { -far } else { far };
    let dh = if u1 * u2 + v1 * v2 >= 0.0 { near } else { far };
    let dh = if product > 0.0 { dh } else { 0.0 };

    let (cos2, sin2) = (2.0 * cos1 * cos1 - 1.0, 2.0 * sin1 * cos1);
    let (cos3, sin3) = (cos1 * cos2 - sin1 * sin2, sin1 * cos2 + cos1 * sin2);
    let (cos4, sin4) = (2.0 * cos2 * cos2 - 1.0, 2.0 * sin2 * cos2);
    let t = 1.0 - 0.17 * (cos1 * COS_30 + sin1 * SIN_30) + 0.24 * cos2 + 0.32 * (cos3 * COS_6 - sin3 * SIN_6)
        - 0.20 * (cos4 * COS_63 + sin4 * SIN_63);

    let l_off = 0.5 * (l1 + l2) - 50.0;
    let from_50 = l_off * l_off;
    let c_mean = 0.5 * (c1 + c2);
    let sl = 1.0 + 0.015 * from_50 / (20.0 + from_50).sqrt();
    let sc = 1.0 + 0.045 * c_mean;
    let sh = 1.0 + 0.015 * c_mean * t;

    // Δθ from the angle φ between the mean hue and 275°, by its half: tan(φ/2) = sin φ/(1 + cos φ).
    // Beyond 90° Δθ is below 1e-4° and the angle is held at 90°.
    let (cp, sp) = (cos1 * COS_275 + sin1 * SIN_275, sin1 * COS_275 - cos1 * SIN_275);
    let half_tan = sp / (if cp > 0.0 { 1.0 + cp } else { 1.0 });
    let half_tan = if cp > 0.0 { half_tan } else { 1.0 };
    let phi = 2.0 * arctan(half_tan) * (180.0 / std::f32::consts::PI / 25.0);
    let two_theta = (std::f32::consts::PI / 3.0) * exp_of_minus(phi * phi);
    let rt = -2.0 * seventh_ratio(c_mean) * sine(two_theta);

    let (l, c, h) = ((l2 - l1) / sl, (c2 - c1) / sc, dh / sh);
    let square = l * l + c * c + h * h + rt * c * h;
    (if square < 0.0 { 0.0 } else { square }.sqrt(), flag)
}

const COS_30: f32 = 0.866_025_4;
const SIN_30: f32 = 0.5;
const COS_6: f32 = 0.994_521_9;
const SIN_6: f32 = 0.104_528_46;
const COS_63: f32 = 0.453_990_5;
const SIN_63: f32 = 0.891_006_5;
const COS_275: f32 = 0.087_155_744;
const SIN_275: f32 = -0.996_194_7;

/// √(C⁷ / (C⁷ + 25⁷)).
#[inline(always)]
fn seventh_ratio(c: f32) -> f32 {
    let t = c * (1.0 / 25.0);
    let t2 = t * t;
    let t7 = t2 * t2 * t2 * t;
    (t7 / (1.0 + t7)).sqrt()
}

/// arctan(x)/x in powers of x².
const ARCTAN: [f32; 8] = [
    9.999_999e-1,
    -3.333_196e-1,
    1.996_923_5e-1,
    -1.401_658_5e-1,
    9.906_097e-2,
    -5.936_71e-2,
    2.416_619e-2,
    -4.668_773e-3,
];
/// sin(x)/x in powers of x².
const SINE: [f32; 5] = [1.0, -1.666_666_6e-1, 8.333_308e-3, -1.983_478e-4, 2.687_841e-6];
/// 2 to the x in powers of x.
const EXP2: [f32; 7] =
    [1.0, 6.931_472e-1, 2.402_265e-1, 5.550_327e-2, 9.618_026e-3, 1.340_043_2e-3, 1.546_973_2e-4];

/// arc tangent for |x| ≤ 1, radians; polynomial error 1e-7.
#[inline(always)]
fn arctan(x: f32) -> f32 {
    x * polynomial(&ARCTAN, x * x)
}

/// sine for |x| ≤ π/3; polynomial error 1e-10.
#[inline(always)]
fn sine(x: f32) -> f32 {
    x * polynomial(&SINE, x * x)
}

/// e to the minus y, for y from 0 to 80; polynomial error 2e-9 of the value.
#[inline(always)]
fn exp_of_minus(y: f32) -> f32 {
    // Adding 1.5 × 2²³ rounds to a whole number and leaves it in the low bits.
    const ROUNDER: f32 = 12_582_912.0;
    let power = -y * std::f32::consts::LOG2_E;
    let rounded = power + ROUNDER;
    let whole = rounded - ROUNDER;
    let scale = f32::from_bits((rounded.to_bits().wrapping_sub(ROUNDER.to_bits()).wrapping_add(127)) << 23);
    polynomial(&EXP2, power - whole) * scale
}

#[inline(always)]
fn polynomial<const N: usize>(coefficients: &[f32; N], x: f32) -> f32 {
    let mut sum = coefficients[N - 1];
    let mut i = N - 1;
    while i > 0 {
        i -= 1;
        sum = sum * x + coefficients[i];
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::space::{RgbSpace, WhitePoint};

    /// `checks/fast_colour/polynomials.csv`; single precision holds seven digits of each.
    #[test]
    fn polynomials_as_they_were_fitted() {
        let table = include_str!("../../../../checks/fast_colour/polynomials.csv");
        let rows: Vec<Vec<&str>> = table.lines().skip(1).map(|l| l.split(',').collect()).collect();
        assert_eq!(rows.len(), ARCTAN.len() + SINE.len() + EXP2.len());
        for row in rows {
            let power: usize = row[1].parse().unwrap();
            let have = match row[0] {
                "arctan" => ARCTAN[power],
                "sine" => SINE[power],
                _ => EXP2[power],
            };
            let want: f64 = row[2].parse().unwrap();
            assert!((f64::from(have) - want).abs() <= 2e-7 * want.abs(), "{row:?}: {have}");
        }
    }

    #[test]
    fn the_matrix_follows_from_the_primaries() {
        let derived = RgbSpace::REC709.to_xyz().unwrap().0;
        for (i, row) in TO_XYZ_OVER_WHITE.iter().enumerate() {
            for (j, have) in row.iter().enumerate() {
                let want = derived[i][j] / WhitePoint::D65.xyz[i];
                assert!((f64::from(*have) - want).abs() < 1e-7, "{i} {j}: {have} {want}");
            }
        }
    }
}
