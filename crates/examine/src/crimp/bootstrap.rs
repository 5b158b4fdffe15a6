//! Uncertainty of statistics along a seal, by drawing whole blocks of it again.
//!
//! In: places along an end, a statistic. Out: its standard deviation over redrawn ends. Never here:
//! which statistic. Neighbouring windows overlap and see the same crease, so blocks of about 5 mm are
//! drawn, not windows; the seed is fixed, so a finding comes out the same again.
//!
//! Source: [`kunsch1989`] (moving blocks).

use super::evenness::PlaceReading;

/// Redrawn ends: the standard deviation of a standard deviation from 160 is 6 %.
const DRAWS: usize = 160;
/// Length of a block along the end, mm.
const BLOCK_MM: f64 = 5.3;
/// Where the generator starts; any number does, the same always.
const SEED: u64 = 0x5EA1_ED00_0000_0001;

/// SplitMix64: small, seeded, the same everywhere.
struct Draw(u64);

impl Draw {
    fn below(&mut self, count: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        // The bias of a remainder is below 1e-16 for counts of windows.
        (z % count.max(1) as u64) as usize
    }
}

/// Standard deviations of several statistics of one end over redrawn ends.
///
/// # Input
/// `places`: an end's places in any order. `statistics`: values of an end's places; the same number
/// every time.
///
/// # Result
/// One standard deviation a statistic; empty without places.
#[must_use]
pub fn deviations(places: &[PlaceReading], statistics: impl Fn(&[PlaceReading]) -> Vec<f64>) -> Vec<f64> {
    let mut sorted: Vec<&PlaceReading> = places.iter().collect();
    sorted.sort_by(|a, b| a.x_mm.total_cmp(&b.x_mm).then(a.d_mm.total_cmp(&b.d_mm)));
    let (Some(first), Some(last)) = (sorted.first(), sorted.last()) else { return Vec::new() };
    let length = (last.x_mm - first.x_mm).max(1e-6);
    let blocks = (length / BLOCK_MM).round().max(1.0) as usize;
    let mut starts: Vec<f64> =
        sorted.iter().map(|p| p.x_mm).filter(|x| *x <= last.x_mm - BLOCK_MM + 1e-9).collect();
    starts.dedup();
    if starts.is_empty() {
        starts.push(first.x_mm);
    }
    let mut draw = Draw(SEED);
    let mut sums: Vec<(f64, f64)> = Vec::new();
    for _ in 0..DRAWS {
        let mut redrawn = Vec::with_capacity(places.len());
        for _ in 0..blocks {
            let from = starts[draw.below(starts.len())];
            let begin = sorted.partition_point(|p| p.x_mm < from);
            redrawn.extend(sorted[begin..].iter().take_while(|p| p.x_mm < from + BLOCK_MM).map(|p| **p));
        }
        let values = statistics(&redrawn);
        sums.resize(values.len(), (0.0, 0.0));
        for (sum, v) in sums.iter_mut().zip(values) {
            sum.0 += v;
            sum.1 += v * v;
        }
    }
    let n = DRAWS as f64;
    sums.iter().map(|(s, q)| ((q - s * s / n) / (n - 1.0)).max(0.0).sqrt()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The mean of independent places: the bootstrap's deviation is about σ / √n, and repeats exactly.
    #[test]
    fn deviation_of_a_mean() {
        let mut draw = Draw(3);
        let places: Vec<PlaceReading> = (0..600)
            .map(|i| PlaceReading {
                x_mm: 1.75 * i as f64,
                d_mm: 1.0,
                dip: draw.below(1000) as f64 / 1000.0,
                explained: 0.5,
                photos: 1,
            })
            .collect();
        let mean = |p: &[PlaceReading]| vec![p.iter().map(|p| p.dip).sum::<f64>() / p.len() as f64];
        let u = deviations(&places, mean)[0];
        let expected = (1.0_f64 / 12.0 / 600.0).sqrt();
        assert!((u / expected - 1.0).abs() < 0.25, "{u} {expected}");
        assert_eq!(u, deviations(&places, mean)[0]);
        assert!(deviations(&[], mean).is_empty());
    }
}
