//! A short fingerprint of how a photo looks, to find copies of it that were made smaller, brighter or
//! compressed again.
//!
//! In: a photo. Out: 64 bits; few differ between copies, about half between strangers. A match is a
//! reason to compare the pictures, never a finding. Never here: a search, a threshold.
//!
//! The signs of the lowest 8 × 8 coefficients of a 2-D cosine transform of a 32 × 32 luma picture
//! against their median, the constant one left out. Turned or cut copies do not match.
//!
//! Sources: `zauner2010` (the DCT hash; layout of the bits is ours).

use casebook::elementary::cos;

use crate::photo::Photo;

/// Side of the luma picture that is transformed.
const SIDE: usize = 32;
/// Side of the square of coefficients that is kept.
const KEPT: usize = 8;

/// 64 bits of a photo's look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Fingerprint(pub u64);

impl Fingerprint {
    /// Number of differing bits, 0 to 64.
    #[must_use]
    pub const fn distance(self, other: Self) -> u32 {
        (self.0 ^ other.0).count_ones()
    }
}

impl std::fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:016x}", self.0)
    }
}

/// The fingerprint of a photo as it stands upright.
///
/// # Result
/// Bit 8·v + u is set where the coefficient of horizontal frequency u and vertical frequency v (both
/// 1 to 8 half-waves) is above the median of the 64.
#[must_use]
pub fn fingerprint(photo: &Photo) -> Fingerprint {
    let square = squared(photo);
    let mut basis = [[0.0_f64; SIDE]; KEPT];
    for (k, row) in basis.iter_mut().enumerate() {
        for (i, value) in row.iter_mut().enumerate() {
            let turn = std::f64::consts::PI * (k + 1) as f64 * (2 * i + 1) as f64 / (2 * SIDE) as f64;
            *value = cos(turn);
        }
    }
    let mut coefficients = [0.0_f64; KEPT * KEPT];
    for v in 0..KEPT {
        for u in 0..KEPT {
            let mut sum = 0.0;
            for y in 0..SIDE {
                let mut line = 0.0;
                for x in 0..SIDE {
                    line += basis[u][x] * square[y * SIDE + x];
                }
                sum += basis[v][y] * line;
            }
            coefficients[KEPT * v + u] = sum;
        }
    }
    let mut sorted = coefficients;
    sorted.sort_by(f64::total_cmp);
    let median = f64::midpoint(sorted[KEPT * KEPT / 2 - 1], sorted[KEPT * KEPT / 2]);
    let mut bits = 0;
    for (i, c) in coefficients.iter().enumerate() {
        if *c > median {
            bits |= 1 << i;
        }
    }
    Fingerprint(bits)
}

/// Luma averaged into 32 × 32 cells, each axis stretched to the photo's own length.
fn squared(photo: &Photo) -> Vec<f64> {
    let (small, _) = photo.small_luma(8 * SIDE);
    let cell = |i: usize, size: usize| {
        let start = i * size / SIDE;
        start..((i + 1) * size / SIDE).max(start + 1).min(size.max(1))
    };
    let mut square = Vec::with_capacity(SIDE * SIDE);
    for y in 0..SIDE {
        for x in 0..SIDE {
            let (mut sum, mut count) = (0.0, 0.0);
            for row in cell(y, small.height()) {
                for value in small.row(row).get(cell(x, small.width())).unwrap_or(&[]) {
                    sum += f64::from(*value);
                    count += 1.0;
                }
            }
            square.push(if count > 0.0 { sum / count } else { 0.0 });
        }
    }
    square
}
