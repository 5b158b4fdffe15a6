//! How easily chance alone would make a map this good.
//!
//! In: how many matches there were and how far each lies from the map. Out: log10 of the number of
//! false alarms: the expected number of maps at least as good if every match were thrown into the
//! photo at random. Never here: a fixed count of inliers.
//!
//! Source: a-contrario reasoning of [`moisan-stival2004`], with the chance that a random match also
//! has the right direction and size.

use casebook::elementary::log10;

/// Chance that a random direction agrees within [`crate::robust::MAX_TURN`] of the map's: 2 · 35° / 360°.
const CHANCE_OF_TURN: f64 = 70.0 / 360.0;
/// Chance that a random size agrees within [`crate::robust::MAX_SCALE`]: features of one picture spread
/// over about 3 octaves by size, more than half of them in the finest; half is a cautious bound.
const CHANCE_OF_SCALE: f64 = 0.5;
/// No match is placed better than this share of the photo's area by chance: features crowd on
/// texture, so that the area they can fall on is smaller than the photo. A quarter of it.
const CROWDING: f64 = 4.0;

/// log10 of n choose k.
fn log10_choose(n: usize, k: usize) -> f64 {
    let k = k.min(n - k.min(n));
    (0..k).map(|i| log10((n - i) as f64 / (i + 1) as f64)).sum()
}

/// log10 of the number of false alarms, and the number of matches and the distance (pixels) at which
/// it is smallest.
///
/// # Input
/// `distances_px`: of the matches that agree in direction and size, any order; one for each place.
/// `matches`: all of them. `area_px`: of the photo. `tests`: how many faces were tried.
pub(crate) fn false_alarms_log10(
    distances_px: &[f64],
    matches: usize,
    area_px: f64,
    tests: usize,
) -> (f64, usize, f64) {
    const SAMPLE: usize = 4;
    let mut sorted = distances_px.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = matches.max(sorted.len());
    let mut best = (f64::INFINITY, 0, 0.0);
    if n <= SAMPLE {
        return best;
    }
    let mut choose_n = log10_choose(n, SAMPLE);
    let mut choose_k = 0.0;
    for k in SAMPLE + 1..=sorted.len() {
        choose_n += log10((n - k + 1) as f64 / k as f64);
        choose_k += log10(k as f64 / (k - SAMPLE) as f64);
        let radius = sorted[k - 1].max(0.5);
        let chance = (CROWDING * std::f64::consts::PI * radius * radius / area_px).min(1.0);
        let single = log10(chance * CHANCE_OF_TURN * CHANCE_OF_SCALE);
        let total = log10(tests.max(1) as f64 * (n - SAMPLE) as f64)
            + choose_n
            + choose_k
            + (k - SAMPLE) as f64 * single;
        if total < best.0 {
            best = (total, k, radius);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn binomials_are_right() {
        assert!((log10_choose(10, 4) - log10(210.0)).abs() < 1e-12);
        assert!((log10_choose(5, 5)).abs() < 1e-12);
    }

    #[test]
    fn many_close_matches_are_no_chance_and_far_ones_are() {
        let close = vec![1.0; 20];
        assert!(false_alarms_log10(&close, 200, 1e6, 20).0 < -30.0);
        let far: Vec<f64> = (0..20).map(|i| 100.0 + 20.0 * f64::from(i)).collect();
        assert!(false_alarms_log10(&far, 200, 1e6, 20).0 > 0.0);
        assert_eq!(false_alarms_log10(&[], 0, 1e6, 20).1, 0);
    }
}
