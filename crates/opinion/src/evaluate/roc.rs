//! How well ratios tell two kinds apart, whatever they are worth: area under the ROC curve and
//! equal error rate.
//!
//! Sources: `hanley1982` (area as the probability of right order), `brummer2006` (equal error rate on
//! the convex hull).

use super::Scored;

/// Probability that an item of the first kind has the larger ratio; ties count one half.
#[must_use]
pub fn auc(scored: &Scored) -> f64 {
    let mut second = scored.second.clone();
    second.sort_by(f64::total_cmp);
    let sum: f64 = scored
        .first
        .iter()
        .map(|x| {
            let below = second.partition_point(|y| y < x) as f64;
            let up_to = second.partition_point(|y| y <= x) as f64;
            (below + up_to) / 2.0
        })
        .sum();
    sum / (scored.first.len() as f64 * second.len() as f64)
}

/// The rate at which false "first" and false "second" are equal, on the convex hull of the ROC curve.
#[must_use]
pub fn equal_error_rate(scored: &Scored) -> f64 {
    // Vertices of the hull are the ends of the blocks that pool-adjacent-violators finds.
    let calibrated = super::pav_log10_lr(scored);
    let mut thresholds: Vec<f64> = calibrated.first.iter().chain(&calibrated.second).copied().collect();
    thresholds.sort_by(f64::total_cmp);
    thresholds.dedup();
    let rate = |values: &[f64], keep: &dyn Fn(f64) -> bool| {
        values.iter().filter(|v| keep(**v)).count() as f64 / values.len() as f64
    };
    // From "everything is first" to "everything is second".
    let mut before = (0.0, 1.0); // missed first, accepted second
    for threshold in thresholds {
        let missed = rate(&calibrated.first, &|v| v <= threshold);
        let accepted = rate(&calibrated.second, &|v| v > threshold);
        if missed >= accepted {
            // Where the segment from `before` to here crosses the diagonal.
            let (dm, da) = (missed - before.0, accepted - before.1);
            let along = (before.1 - before.0) / (dm - da);
            return before.0 + along * dm;
        }
        before = (missed, accepted);
    }
    before.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_error_rates_by_hand() {
        let rows: [(&[f64], &[f64], f64); 4] = [
            (&[1.0, 2.0], &[-1.0, -2.0], 0.0),
            (&[0.0, 1.0], &[0.0, 1.0], 0.5),
            (&[1.0, 1.0, 1.0, -1.0], &[-1.0, -1.0, -1.0, 1.0], 0.25),
            // Hull from (0, 1) over (0, ½) to (1, 0): the second segment meets the diagonal at ⅓.
            (&[3.0], &[2.0, 4.0], 1.0 / 3.0),
        ];
        for (first, second, expected) in rows {
            let scored = Scored { first: first.to_vec(), second: second.to_vec() };
            let got = equal_error_rate(&scored);
            assert!((got - expected).abs() < 1e-12, "{first:?} {second:?}: {got}");
        }
    }
}
