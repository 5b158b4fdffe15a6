//! Two ends of which one, both or none was opened: a likelihood ratio of the pack from one of each end.
//!
//! Whoever re-closes a pack opens one end, rarely both, sometimes only the seam on its back. A pack is then
//! as likely re-closed as the mix of these says: with R the ratio of sealed against opened of an end,
//!
//! 1 / R(pack) = none + one / 2 × (1 / R(top) + 1 / R(bottom)) + both / (R(top) R(bottom)),
//!
//! ends taken as independent given whether each was opened (law of total probability; no source needed).
//! One end alone, opened with the share s, gives 1 / R(pack) = s / R(end) + 1 − s. So an end that
//! looks whole never clears the other, and a pack of which one end is seen cannot be cleared by it beyond 1 − s.
//!
//! In: log10 ratios of ends, and which ends of specimens were opened. Out: log10 ratios of packs.
//! Never here: features.

use casebook::elementary::{log10, pow};
use casebook::hypothesis::State;

use crate::table::Source;
use crate::weigh::MIN_SPECIMENS;

/// How often which ends of re-closed packs were opened; the shares add up to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenedShares {
    /// Neither end.
    pub none: f64,
    /// Exactly one.
    pub one: f64,
    /// Both.
    pub both: f64,
}

impl OpenedShares {
    /// Shares among specimens, one more counted of each kind (Laplace's rule of succession); `None` with
    /// fewer than [`MIN_SPECIMENS`] of which it is known.
    pub(crate) fn of(sources: &[Source]) -> Option<Self> {
        let mut known: Vec<(&str, [bool; 2])> = sources
            .iter()
            .filter(|s| s.state == State::Resealed)
            .filter_map(|s| Some((s.specimen.as_str(), s.opened?)))
            .collect();
        known.sort_unstable();
        known.dedup_by_key(|(name, _)| *name);
        (known.len() >= MIN_SPECIMENS).then(|| {
            let count = |n: usize| {
                known.iter().filter(|(_, opened)| opened.iter().filter(|o| **o).count() == n).count()
            };
            Self::counted([count(0), count(1), count(2)])
        })
    }

    /// From how many specimens had none, one or both ends opened.
    #[must_use]
    pub fn counted(specimens: [usize; 3]) -> Self {
        let [none, one, both] = specimens.map(|n| n as f64 + 1.0);
        let all = none + one + both;
        Self { none: none / all, one: one / all, both: both / all }
    }

    /// log10 ratio of the pack from those of its two ends.
    #[must_use]
    pub fn of_both(&self, [top, bottom]: [f64; 2]) -> f64 {
        let [t, b] = [inverse(top), inverse(bottom)];
        -log10(self.none + 0.5 * self.one * (t + b) + self.both * t * b)
    }

    /// log10 ratio of the pack from that of the only end seen.
    #[must_use]
    pub fn of_single(&self, end: f64) -> f64 {
        let opened = 0.5 * self.one + self.both;
        -log10(opened * inverse(end) + 1.0 - opened)
    }
}

fn inverse(log10_ratio: f64) -> f64 {
    pow(10.0, -log10_ratio)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_that_say_nothing_leave_the_pack_at_nothing() {
        let shares = OpenedShares::counted([3, 20, 5]);
        assert!(shares.of_both([0.0, 0.0]).abs() < 1e-12);
        assert!(shares.of_single(0.0).abs() < 1e-12);
    }

    #[test]
    fn a_whole_end_never_clears_an_opened_one() {
        let shares = OpenedShares::counted([0, 20, 5]);
        let against = shares.of_both([-2.0, 3.0]);
        // One of both: half of the mix is R(top) = 0.01, so that 1 / R is about one / 2 × 100.
        assert!(
            (against + log10(shares.none + 0.5 * shares.one * (100.0 + 0.001) + shares.both * 0.1)).abs()
                < 1e-12
        );
        assert!(against < -1.0);
    }

    #[test]
    fn one_end_clears_no_more_than_the_share_that_was_opened_elsewhere() {
        let shares = OpenedShares::counted([0, 20, 0]);
        let opened = 0.5 * shares.one + shares.both;
        assert!(shares.of_single(6.0) <= -log10(1.0 - opened) + 1e-12);
        assert!(shares.of_single(-6.0) < -5.0);
    }

    /// Bayes' theorem by counting: 10,000 packs of either kind, ends that show a sign or not.
    #[test]
    fn the_mix_is_bayes_theorem_counted() {
        let shares = OpenedShares { none: 0.1, one: 0.7, both: 0.2 };
        let sign = [0.05, 0.6]; // of an end left alone, of an opened one
        let ratio = log10(sign[0] / sign[1]);
        let clear = log10((1.0 - sign[0]) / (1.0 - sign[1]));
        let resealed = shares.none * sign[0] * (1.0 - sign[0])
            + 0.5 * shares.one * (sign[1] * (1.0 - sign[0]) + sign[0] * (1.0 - sign[1]))
            + shares.both * sign[1] * (1.0 - sign[1]);
        let sealed = sign[0] * (1.0 - sign[0]);
        assert!((shares.of_both([ratio, clear]) - log10(sealed / resealed)).abs() < 1e-12);
    }
}
