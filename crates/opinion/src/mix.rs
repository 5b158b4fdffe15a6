//! The alternatives taken together, and what follows from the user's prior.
//!
//! Against a mix of alternatives with shares sⱼ the likelihood ratio is 1 / Σ sⱼ / LRⱼ: likelihoods
//! are averaged, not weights. The weights never depend on the prior; the mix and the posterior do,
//! and both are shown.
//!
//! In: weights, the user's prior, confirmed outcomes. Out: the mix's weight, the posterior.
//!
//! Sources: `good1985` (composite hypotheses), `lindley1985` (no prior of zero, "Cromwell's rule").

use casebook::case::{ConfirmedOutcomes, Prior};
use casebook::elementary::{exp10, log10};
use casebook::hypothesis::State;
use casebook::opinion::StateShare;

/// The prior when the user gives none: sealed as likely as not, the alternatives equally likely.
/// It makes the posterior odds of sealed the likelihood ratio itself.
pub const DEFAULT_PRIOR: Prior =
    Prior { sealed: 0.5, resealed: 1.0 / 6.0, counterfeit: 1.0 / 6.0, never_made: 1.0 / 6.0 };

/// No state has a smaller part of the prior than this: what is held impossible no evidence can move.
const LEAST_PART: f64 = 1e-4;

/// How many outcomes a prior is worth when a seller's confirmed outcomes update it: two, as with the
/// uniform prior of a proportion. Source: `good1985`.
const PRIOR_OUTCOMES: f64 = 2.0;

/// Shares of the alternatives, in the order of `State::ALTERNATIVES`; they sum to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mix([f64; 3]);

impl Mix {
    /// Every alternative alike.
    pub const EQUAL: Self = Self([1.0 / 3.0; 3]);

    /// Shares in proportion to non-negative numbers; equal shares when they do not add up to
    /// something.
    #[must_use]
    pub fn of(parts: [f64; 3]) -> Self {
        let clean = parts.map(|p| if p.is_finite() { p.max(0.0) } else { 0.0 });
        let sum: f64 = clean.iter().sum();
        if sum > 0.0 { Self(clean.map(|p| p / sum)) } else { Self::EQUAL }
    }

    /// The prior, restricted to the alternatives.
    #[must_use]
    pub fn of_prior(prior: &Prior) -> Self {
        let parts = parts(prior);
        Self::of([parts[1], parts[2], parts[3]])
    }

    /// Share of an alternative; 0 for sealed.
    #[must_use]
    pub fn share(&self, state: State) -> f64 {
        State::ALTERNATIVES.iter().position(|s| *s == state).map_or(0.0, |at| self.0[at])
    }

    /// Weight of sealed against the mix, from the weights against each alternative.
    ///
    /// # Example
    /// ```
    /// use opinion::Mix;
    /// // 100 against one, 1 against the others: the others keep the ratio at 1 / (⅓·0.01 + ⅔).
    /// let bans = Mix::EQUAL.weight([2.0, 0.0, 0.0]);
    /// assert!((bans - (1.0_f64 / (0.01 / 3.0 + 2.0 / 3.0)).log10()).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn weight(&self, weights: [f64; 3]) -> f64 {
        let sum: f64 = self.0.iter().zip(weights).map(|(share, w)| share * exp10(-w)).sum();
        -log10(sum)
    }
}

/// The prior's parts in the order of `State::ALL`, normalised.
///
/// A part for `never-made` of 0 is read as "not stated", because the field may be left out: it then
/// takes the part of `counterfeit`, its nearest kin. Every part is at least [`LEAST_PART`].
fn parts(prior: &Prior) -> [f64; 4] {
    let clean = |p: f64| if p.is_finite() { p.max(0.0) } else { 0.0 };
    let never = if prior.never_made == 0.0 { prior.counterfeit } else { prior.never_made };
    let raw = [prior.sealed, prior.resealed, prior.counterfeit, never].map(clean);
    let sum: f64 = raw.iter().sum();
    if sum <= 0.0 {
        return parts(&DEFAULT_PRIOR);
    }
    let floored = raw.map(|p| (p / sum).max(LEAST_PART));
    let total: f64 = floored.iter().sum();
    floored.map(|p| p / total)
}

/// The prior after a seller's confirmed outcomes: Beta-binomial in the part of `sealed`, the
/// alternatives keep their proportions. Only outcomes confirmed by the user or a specialist count.
#[must_use]
pub fn prior_after_outcomes(prior: &Prior, outcomes: ConfirmedOutcomes) -> Prior {
    let [sealed, resealed, counterfeit, never_made] = parts(prior);
    let (good, bad) = (f64::from(outcomes.sealed), f64::from(outcomes.not_sealed));
    let updated = (PRIOR_OUTCOMES * sealed + good) / (PRIOR_OUTCOMES + good + bad);
    let rest = (1.0 - updated) / (1.0 - sealed);
    Prior {
        sealed: updated,
        resealed: resealed * rest,
        counterfeit: counterfeit * rest,
        never_made: never_made * rest,
    }
}

/// Probability of each state, in the order of `State::ALL`.
#[must_use]
pub(crate) fn posterior(prior: &Prior, weights: [f64; 3]) -> Vec<StateShare> {
    let parts = parts(prior);
    let odds: Vec<f64> =
        std::iter::once(0.0).chain(weights).zip(parts).map(|(w, part)| part * exp10(-w)).collect();
    let sum: f64 = odds.iter().sum();
    State::ALL.into_iter().zip(odds).map(|(state, part)| StateShare { state, share: part / sum }).collect()
}
