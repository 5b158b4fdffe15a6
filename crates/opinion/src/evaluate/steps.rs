//! How often the words mislead: false support by verbal step, with exact intervals.
//!
//! Sources: `enfsi2015` (steps), `clopper1934` (intervals).

use casebook::opinion::VerbalStep;

use super::{Proportion, Scored, clopper_pearson};
use crate::words::step_of;

/// Misleading support at one step or above.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepRates {
    /// The step.
    pub step: VerbalStep,
    /// Items of the alternative that are said to be sealed with this support or more.
    pub false_sealed: Proportion,
    /// Sealed items that are said not to be with this support or more.
    pub false_not_sealed: Proportion,
}

/// The rates of misleading support for every step, weakest first. NaN ratios count as no support.
#[must_use]
pub fn rates_by_step(scored: &Scored, confidence: f64) -> Vec<StepRates> {
    const STEPS: [VerbalStep; 6] = [
        VerbalStep::Weak,
        VerbalStep::Moderate,
        VerbalStep::ModeratelyStrong,
        VerbalStep::Strong,
        VerbalStep::VeryStrong,
        VerbalStep::ExtremelyStrong,
    ];
    let count = |values: &[f64], sign: f64, step| {
        let wrong = values.iter().filter(|x| *x * sign > 0.0 && step_of(**x) >= Some(step)).count();
        clopper_pearson(wrong as u64, values.len() as u64, confidence)
    };
    STEPS
        .into_iter()
        .map(|step| StepRates {
            step,
            false_sealed: count(&scored.second, 1.0, step),
            false_not_sealed: count(&scored.first, -1.0, step),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_by_hand() {
        let scored = Scored { first: vec![2.0, -0.1, -0.5, -1.2, -3.0], second: vec![-2.0, 0.2, 0.4, 1.0] };
        let rates = rates_by_step(&scored, 0.95);
        let counts: Vec<(u64, u64)> =
            rates.iter().map(|r| (r.false_sealed.count, r.false_not_sealed.count)).collect();
        assert_eq!(counts, [(2, 3), (1, 2), (0, 1), (0, 1), (0, 0), (0, 0)]);
        assert!(rates.iter().all(|r| r.false_sealed.of == 4 && r.false_not_sealed.of == 5));
    }
}
