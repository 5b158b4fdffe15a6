//! The verbal scale, the cap on wording, and the sentences of an opinion.
//!
//! In: weights and counts. Out: steps and sentences about an item in photos; never a person, never a
//! promise.
//!
//! Sources: `enfsi2015` (steps and words).

use casebook::hypothesis::State;
use casebook::opinion::{SpecimenCount, Stance, VerbalStep};
use casebook::specimen::Origin;

/// Physical specimens that each class must hold before the words may go beyond "moderate support".
///
/// "Moderately strong" begins at a ratio of 100. Such a ratio misleads in at most 1 case of 100 when it
/// means what it says (Markov's inequality). To have seen that borne out with 95 % confidence, a class
/// must be so large that not one misleading specimen in it bounds the rate below 1 in 100: by the exact
/// (Clopper-Pearson) bound (1 - 1/100)^n <= 0.05, which 299 specimens are the first to reach. Rendered
/// ones do not count: they do not show what a real press, a real opener or a real camera does.
/// Source: `clopper1934`.
pub const MIN_PHYSICAL_SPECIMENS: u32 = 299;

/// log10 of the ratio 2, below which neither side is supported.
const LOG10_2: f64 = std::f64::consts::LOG10_2;

/// The step of a weight's size; `None` below a ratio of 2. A ratio on a border belongs to the higher step.
///
/// # Example
/// ```
/// use casebook::opinion::VerbalStep;
/// assert_eq!(opinion::step_of(-1.3), Some(VerbalStep::Moderate)); // 20 to 1, against
/// assert_eq!(opinion::step_of(0.2), None);
/// ```
#[must_use]
pub fn step_of(bans: f64) -> Option<VerbalStep> {
    let size = bans.abs();
    Some(match size {
        s if s >= 6.0 => VerbalStep::ExtremelyStrong,
        s if s >= 4.0 => VerbalStep::VeryStrong,
        s if s >= 3.0 => VerbalStep::Strong,
        s if s >= 2.0 => VerbalStep::ModeratelyStrong,
        s if s >= 1.0 => VerbalStep::Moderate,
        s if s >= LOG10_2 => VerbalStep::Weak,
        _ => return None,
    })
}

/// The scale's words: "moderate support".
#[must_use]
pub const fn step_words(step: VerbalStep) -> &'static str {
    match step {
        VerbalStep::Weak => "weak support",
        VerbalStep::Moderate => "moderate support",
        VerbalStep::ModeratelyStrong => "moderately strong support",
        VerbalStep::Strong => "strong support",
        VerbalStep::VeryStrong => "very strong support",
        VerbalStep::ExtremelyStrong => "extremely strong support",
    }
}

/// A state as the sentences say it.
pub(crate) const fn state_words(state: State) -> &'static str {
    match state {
        State::Sealed => "sealed",
        State::Resealed => "re-closed",
        State::Counterfeit => "counterfeit",
        State::NeverMade => "never made in this form",
    }
}

/// Why wording about `classes` stops at moderate, `None` when it need not.
pub(crate) fn cap_reason(classes: &[State], counts: &[SpecimenCount]) -> Option<String> {
    let of = |state: State, origin: Origin| {
        counts.iter().filter(|c| c.state == state && c.origin == origin).map(|c| c.count).sum::<u32>()
    };
    let short: Vec<String> = classes
        .iter()
        .filter(|state| **state != State::NeverMade && of(**state, Origin::Physical) < MIN_PHYSICAL_SPECIMENS)
        .map(|state| {
            format!(
                "{} {} and {} rendered",
                of(*state, Origin::Physical),
                state_words(*state),
                of(*state, Origin::Rendered)
            )
        })
        .collect();
    (!short.is_empty()).then(|| {
        format!(
            "the words stop at moderate support until each class holds {MIN_PHYSICAL_SPECIMENS} physical specimens, \
             so many that none misleading among them would show that 100 to 1 misleads in at most 1 case of 100; \
             there are {}",
            short.join(", ")
        )
    })
}

/// The opinion's sentence.
pub(crate) fn sentence(stance: &Stance, unread: &[String], facts_only: bool) -> String {
    match stance {
        Stance::CannotTell if unread.is_empty() => {
            "Cannot tell: the photos and the library do not allow an answer.".to_owned()
        }
        Stance::CannotTell => {
            let verb = if unread.len() == 1 { "was" } else { "were" };
            format!("Cannot tell: the {} {verb} not read.", join(unread))
        }
        Stance::NotCovered => "The library has no such product; that says nothing about the item.".to_owned(),
        Stance::OutsideLibrary => {
            "What the photos show lies outside what the library covers; that says nothing against the item."
                .to_owned()
        }
        Stance::Neither => "The photos support neither sealed nor the alternatives.".to_owned(),
        Stance::ForSealed { step } => {
            format!("The photos support sealed over the alternatives ({}).", step_words(*step))
        }
        Stance::AgainstSealed { most, step } => {
            let what = if facts_only { "The offer and the catalogue support" } else { "The photos support" };
            let rest =
                if unread.is_empty() { String::new() } else { format!(" The {} went unread.", join(unread)) };
            format!("{what} {} over sealed ({}).{rest}", state_words(*most), step_words(*step))
        }
    }
}

/// "a, b and c".
pub(crate) fn join(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evaluate::clopper_pearson;

    #[test]
    fn the_cap_is_the_first_number_that_bears_out_the_next_step() {
        // One-sided 95 % is the upper end of the two-sided 90 % interval.
        let bound = |n: u64| clopper_pearson(0, n, 0.90).high;
        assert!(bound(u64::from(MIN_PHYSICAL_SPECIMENS)) <= 0.01);
        assert!(bound(u64::from(MIN_PHYSICAL_SPECIMENS) - 1) > 0.01);
    }
}
