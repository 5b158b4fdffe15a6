//! Facts become weights through the rate at which their source errs.
//!
//! Let ε be that rate and E the event that the source says what it says.
//!
//! - **"As genuine", existence.** A made product gives E unless the source errs: P(E | sealed) =
//!   P(E | resealed) = P(E | counterfeit) = 1 − ε. A never-made one gives E only by error: ε. So the
//!   ratio against `never-made` is (1 − ε) / ε and 1 against the others.
//! - **"Points to never-made".** P(E | never-made) = 1 − ε, and ε under every other state: ε / (1 − ε).
//! - **"Points to S", another state.** Not every item of state S shows the contradiction. Let a share
//!   r of them do: P(E | S) = r (1 − ε) + (1 − r) ε. Nothing is known of r, so it is uniform on 0..1,
//!   which gives P(E | S) = ½ whatever ε is; the ratio is 2 ε. The 90 % interval lets r run from 0.05
//!   to 0.95.
//! - **"As genuine", any other fact.** Imitators keep to what is printed, so it weighs nothing.
//!
//! So no fact weighs more than its source is reliable. Facts of one group share their source of
//! error: for each alternative the strongest counts alone.
//!
//! In: a finding. Out: [`FactWeight`]. Never here: specimens.

use casebook::elementary::log10;
use casebook::finding::{FactOutcome, Finding, Reading};
use casebook::hypothesis::State;
use casebook::opinion::WeightInterval;
use casebook::units::Bans;

/// Group of the finding whose "as genuine" speaks about `never-made`.
const EXISTENCE: &str = "existence";
/// Ends of the 90 % interval of the share of items of a state that show the contradiction.
const SHARE_INTERVAL: (f64, f64) = (0.05, 0.95);

/// What a fact weighs for sealed against each alternative, in the order of `State::ALTERNATIVES`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FactWeight(pub [WeightInterval; 3]);

pub(crate) const NOTHING: WeightInterval =
    WeightInterval { value: Bans(0.0), low: Bans(0.0), high: Bans(0.0) };

/// What a finding weighs as a fact; `None` when it is none.
#[must_use]
pub fn fact_weight(finding: &Finding) -> Option<FactWeight> {
    let Reading::Fact { outcome, error_rate, .. } = &finding.reading else { return None };
    let error = if error_rate.is_finite() { error_rate.clamp(1e-6, 0.5) } else { 0.5 };
    let mut out = [NOTHING; 3];
    let certain = |ratio: f64| {
        let bans = Bans(log10(ratio));
        WeightInterval { value: bans, low: bans, high: bans }
    };
    let shown = |share: f64| share * (1.0 - error) + (1.0 - share) * error;
    // Ratio of the state pointed to over the others, with its interval.
    let pointed = [0.5, SHARE_INTERVAL.0, SHARE_INTERVAL.1].map(|share| log10(shown(share) / error));
    for (weight, state) in out.iter_mut().zip(State::ALTERNATIVES) {
        *weight = match outcome {
            FactOutcome::AsGenuine if state == State::NeverMade && finding.group.as_str() == EXISTENCE => {
                certain((1.0 - error) / error)
            }
            FactOutcome::AsGenuine => NOTHING,
            FactOutcome::Points { to: State::NeverMade } if state == State::NeverMade => {
                certain(error / (1.0 - error))
            }
            FactOutcome::Points { to } if *to == state => {
                WeightInterval { value: Bans(-pointed[0]), low: Bans(-pointed[2]), high: Bans(-pointed[1]) }
            }
            FactOutcome::Points { to: State::Sealed } => {
                WeightInterval { value: Bans(pointed[0]), low: Bans(pointed[1]), high: Bans(pointed[2]) }
            }
            FactOutcome::Points { .. } => NOTHING,
        };
    }
    Some(FactWeight(out))
}

/// The strongest of a group's facts, alternative by alternative.
pub(crate) fn strongest(facts: &[FactWeight]) -> [WeightInterval; 3] {
    let mut out = [NOTHING; 3];
    for fact in facts {
        for (best, one) in out.iter_mut().zip(fact.0) {
            if one.value.0.abs() > best.value.0.abs() {
                *best = one;
            }
        }
    }
    out
}
