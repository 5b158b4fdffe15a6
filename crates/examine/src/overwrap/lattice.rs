//! The lattice on which a film's mark repeats: two vectors, how well a map of shifts bears them out, the search.
//!
//! In: a [`ShiftMap`]. Out: [`Found`]. Never here: photos, makes, words.
//!
//! Frame: millimetres on the face, x right, y down; angles from x towards y. Rows may be straight or
//! staggered, and stand at any angle: nothing but two directions of repetition is taken for granted.

use casebook::elementary::{atan2, hypot};

use super::residual::length;
use super::shifts::{LEAST_SHIFT_MM, STEP_MM, ShiftMap};

/// Most peaks that are tried as vectors of a lattice.
const PEAKS: usize = 48;
/// Least sine of the angle between the two vectors.
const LEAST_SINE: f64 = 0.5;
/// Longest second vector over the longest first.
const SECOND: f64 = 1.6;
/// Lattices that are refined.
const REFINED: usize = 6;
/// First and last step of the refinement, mm.
const STEPS_MM: (f64, f64) = (0.2, 0.02);
/// Most rounds of the refinement.
const ROUNDS: usize = 60;
/// Half width of a peak of the map: a drawn line and the photo's blur, mm.
const PEAK_MM: f64 = 0.4;
/// Strength below which a map says nothing of a lattice.
const LEAST_EXPECTED: f64 = 1e-9;

/// A lattice by its two shortest vectors, mm; the second lies in the upper half plane or on +x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lattice {
    /// The shortest.
    pub a: [f64; 2],
    /// The shortest that is not along `a`.
    pub b: [f64; 2],
}

/// A lattice in a map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// The lattice.
    pub lattice: Lattice,
    /// Excess of all its shifts together over chance, in chance's standard deviations.
    pub excess: f64,
    /// Veil power, (L* at mid print)², and its standard uncertainty by chance.
    pub power: (f64, f64),
}

impl Lattice {
    /// A lattice by any two of its vectors, reduced (Lagrange and Gauss) to its shortest.
    #[must_use]
    pub fn of(a: [f64; 2], b: [f64; 2]) -> Self {
        let (mut a, mut b) = (a, b);
        // Every round shortens a vector; the count bounds what rounding could make endless.
        for _ in 0..64 {
            if length(a) > length(b) {
                std::mem::swap(&mut a, &mut b);
            }
            let square = a[0] * a[0] + a[1] * a[1];
            let times = if square > 0.0 { ((a[0] * b[0] + a[1] * b[1]) / square).round() } else { 0.0 };
            if times == 0.0 {
                break;
            }
            b = [b[0] - times * a[0], b[1] - times * a[1]];
        }
        Self { a: upper(a), b: upper(b) }
    }

    /// Distance from a mark to the nearest other, mm.
    #[must_use]
    pub fn repeat_mm(&self) -> f64 {
        length(self.a)
    }

    /// Direction of a vector, degrees from x towards y, from 0 up to 180.
    #[must_use]
    pub fn direction_deg(vector: [f64; 2]) -> f64 {
        let degrees = atan2(vector[1], vector[0]).to_degrees();
        if degrees < 0.0 {
            degrees + 180.0
        } else if degrees >= 180.0 {
            degrees - 180.0
        } else {
            degrees
        }
    }

    /// Every shift of the lattice in the upper half plane, up to `reach_mm`.
    #[must_use]
    pub fn shifts(&self, reach_mm: f64) -> Vec<[f64; 2]> {
        // Reduced vectors stand at 60° at least, so no shift of m·a + n·b is shorter than 0.86 of its parts.
        let most = |v: [f64; 2]| ((reach_mm / (0.86 * length(v).max(1.0))).ceil() as i32).min(64);
        let (m, n) = (most(self.a), most(self.b));
        let mut out = Vec::new();
        for i in -m..=m {
            for j in -n..=n {
                let (i, j) = (f64::from(i), f64::from(j));
                let shift = [i * self.a[0] + j * self.b[0], i * self.a[1] + j * self.b[1]];
                if (shift[1] > 1e-9 || shift[1].abs() <= 1e-9 && shift[0] > 0.0) && length(shift) < reach_mm {
                    out.push(shift);
                }
            }
        }
        out
    }

    /// How well a map bears the lattice out: all its shifts, each by the strength it should have.
    #[must_use]
    pub fn in_map(&self, map: &ShiftMap) -> Found {
        let (mut sum, mut square) = (0.0, 0.0);
        for shift in self.shifts(map.reach_mm()) {
            let (excess, strength) = map.at(shift);
            sum += strength * excess;
            square += strength * strength;
        }
        let root = square.sqrt();
        let (excess, power) = if root > LEAST_EXPECTED {
            (sum / root, (sum / square, 1.0 / root))
        } else {
            (0.0, (0.0, f64::INFINITY))
        };
        Found { lattice: *self, excess, power }
    }
}

impl Found {
    /// Standard uncertainty of a vector's length, mm: by chance the width of a peak over its height, and
    /// the map's step, within which the search settles on steps (rectangular, `jcgm100` 4.3.7).
    #[must_use]
    pub fn length_u_mm(&self) -> f64 {
        hypot(PEAK_MM / self.excess.max(1.0), STEP_MM / 12.0_f64.sqrt())
    }
}

/// The lattice with the largest excess whose shortest vector has a length in `range_mm` and which `fits`;
/// nothing when no two peaks of the map make one.
#[must_use]
pub fn search(map: &ShiftMap, range_mm: (f64, f64), fits: &dyn Fn(&Lattice) -> bool) -> Option<Found> {
    let (low, high) = (range_mm.0.max(LEAST_SHIFT_MM), range_mm.1);
    let fits = &|lattice: &Lattice| {
        let (short, long) = (length(lattice.a), length(lattice.b));
        short >= low && short <= high && long <= short * SECOND && fits(lattice)
    };
    let peaks = map.peaks(low, high * SECOND, PEAKS);
    let mut found: Vec<Found> = Vec::new();
    for (i, (a, _)) in peaks.iter().enumerate() {
        for (b, _) in &peaks[..i] {
            let sine = (a[0] * b[1] - a[1] * b[0]).abs() / (length(*a) * length(*b)).max(1e-9);
            if sine < LEAST_SINE {
                continue;
            }
            let lattice = Lattice::of(*a, *b);
            if fits(&lattice) {
                found.push(lattice.in_map(map));
            }
        }
    }
    found.sort_by(|p, q| q.excess.total_cmp(&p.excess));
    found.dedup_by(|p, q| hypot(p.lattice.a[0] - q.lattice.a[0], p.lattice.b[1] - q.lattice.b[1]) < 1e-9);
    found
        .into_iter()
        .take(REFINED)
        .map(|found| refined(map, found, fits))
        .max_by(|p, q| p.excess.total_cmp(&q.excess))
}

/// Moves the two vectors, one coordinate at a time and by ever smaller steps, to the largest excess.
fn refined(map: &ShiftMap, start: Found, fits: &dyn Fn(&Lattice) -> bool) -> Found {
    let mut best = start;
    let mut step = STEPS_MM.0;
    // A handful of rounds suffices; the count bounds what a flat map could draw out.
    for _ in 0..ROUNDS {
        if step < STEPS_MM.1 {
            break;
        }
        let mut moved = false;
        for coordinate in 0..4 {
            for by in [-step, step] {
                let mut next = best.lattice;
                match coordinate {
                    0 | 1 => next.a[coordinate] += by,
                    _ => next.b[coordinate - 2] += by,
                }
                let next = next.in_map(map);
                if next.excess > best.excess && fits(&Lattice::of(next.lattice.a, next.lattice.b)) {
                    best = next;
                    moved = true;
                }
            }
        }
        if !moved {
            step /= 2.0;
        }
    }
    Found { lattice: Lattice::of(best.lattice.a, best.lattice.b), ..best }
}

/// The vector or its opposite, whichever lies in the upper half plane or on +x.
fn upper(v: [f64; 2]) -> [f64; 2] {
    if v[1] < 0.0 || v[1] == 0.0 && v[0] < 0.0 { [-v[0], -v[1]] } else { v }
}
