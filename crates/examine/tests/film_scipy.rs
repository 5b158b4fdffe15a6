//! The film's masked autocorrelation against SciPy on the same seeded fields.
//!
//! `checks/film/shifts.csv` holds each field's recipe and SciPy's sums; its README says how they were made.
#![allow(clippy::unwrap_used, clippy::panic)]

use examine::overwrap::correlation::Autocorrelation;
use photo::Plane;

const SHIFTS: &str = include_str!("../../../checks/film/shifts.csv");
/// Double precision through transforms of some thousand places.
const TOLERANCE: f64 = 1e-9;
const REACH: usize = 21;

fn field(width: usize, height: usize, period: usize, seed: u32) -> (Plane<f32>, Plane<f32>) {
    let weight = Plane::from_fn(width, height, |x, y| ((x * 7 + y * 13 + seed as usize) % 5) as f32 * 0.5);
    let mut state = seed;
    let value = Plane::from_fn(width, height, |x, y| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let grain = (f64::from(state) / 2_147_483_648.0 - 1.0) as f32;
        let bump = if x % period < 2 && y % period < 2 { 1.0 } else { 0.0 };
        weight.row(y)[x] * (grain + bump)
    });
    (value, weight)
}

#[test]
fn agrees_with_scipy_at_every_shift() {
    let rows: Vec<Vec<f64>> = SHIFTS
        .lines()
        .filter(|line| !line.starts_with('#') && !line.starts_with("width"))
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), 28, "a shorter file would prove less");
    let mut misses = String::new();
    for row in &rows {
        let (value, weight) = field(row[0] as usize, row[1] as usize, row[2] as usize, row[3] as u32);
        let found = Autocorrelation::of(&value, &weight, REACH).unwrap();
        let at = row[5] as usize * found.width() + (REACH as f64 + row[4]) as usize;
        for (got, scipy) in
            [(found.product[at], row[6]), (found.variance[at], row[7]), (found.overlap[at], row[8])]
        {
            if (got - scipy).abs() > TOLERANCE * scipy.abs().max(1.0) {
                misses += &format!("{row:?}: got {got}\n");
            }
        }
    }
    assert!(misses.is_empty(), "{misses}");
}
