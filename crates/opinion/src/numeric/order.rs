//! Order statistics with weights. In: numbers without NaN. Out: medians and quantiles.

/// Quantile `p` (0..1) of the values, linear between order statistics (definition 7 of
/// `hyndman1996`); NaN when there are none. Source: `hyndman1996`.
#[must_use]
pub fn quantile(values: &[f64], p: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let place = p.clamp(0.0, 1.0) * last as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(last);
    sorted[below] + (place - below as f64) * (sorted[above] - sorted[below])
}

/// Median of (value, weight) pairs: the smallest value at which half of the weight is reached.
#[must_use]
pub fn weighted_median(pairs: &[(f64, f64)]) -> f64 {
    let mut sorted = pairs.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = sorted.iter().map(|p| p.1).sum();
    let mut sum = 0.0;
    for (at, (value, weight)) in sorted.iter().enumerate() {
        sum += weight;
        if sum * 2.0 > total {
            return *value;
        }
        if sum * 2.0 == total {
            return sorted.get(at + 1).map_or(*value, |next| (value + next.0) / 2.0);
        }
    }
    f64::NAN
}
