//! A seeded generator of random numbers for resampling and simulation.
//!
//! In: a seed. Out: the same stream on every machine. Never here: a seed of its own.
//!
//! Sources: `steele2014` (SplitMix64), `box1958` (normal deviates).

use casebook::elementary::{cos, ln};

/// SplitMix64: passes its authors' statistical tests, period 2⁶⁴; no cryptography.
#[derive(Debug, Clone)]
pub struct Random {
    state: u64,
}

impl Random {
    /// The stream of that seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The next 64 bits.
    pub const fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in 0..1, never 1.
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// Uniform among `0..n`; 0 when `n` is 0. The bias is below 2⁻⁴⁰ for any `n` that fits memory.
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.bits()) * n as u128) >> 64) as usize
    }

    /// Standard normal deviate.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * ln(1.0 - self.uniform())).sqrt();
        radius * cos(2.0 * std::f64::consts::PI * self.uniform())
    }

    /// Chi-squared deviate with a whole number of degrees of freedom.
    pub fn chi_squared(&mut self, degrees: u32) -> f64 {
        (0..degrees).map(|_| self.normal()).map(|z| z * z).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_values_of_the_published_generator() {
        // SplitMix64 from seed 1234567: the widely used check values of the reference program.
        let mut random = Random::new(1_234_567);
        let got: Vec<u64> = (0..3).map(|_| random.bits()).collect();
        assert_eq!(got, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
    }

    #[test]
    fn moments() {
        let mut random = Random::new(7);
        let n = 200_000;
        let values: Vec<f64> = (0..n).map(|_| random.normal()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(n);
        let variance = values.iter().map(|v| v * v).sum::<f64>() / f64::from(n);
        assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.015, "{mean} {variance}");
    }
}
