//! Specimens and findings made by a known generating model, for the tests that need the truth.
#![allow(dead_code, reason = "each test file uses its part")]

use casebook::finding::{FactOutcome, Feature, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::hypothesis::State;
use casebook::names::Slug;
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::Origin;
use opinion::numeric::random::Random;

pub(crate) const PACK: &str = "kelpwright/brass-estuary/pack";

pub(crate) fn slug(text: &str) -> Slug {
    text.parse().unwrap()
}

pub(crate) fn finding(examiner: &str, quantity: &str, place: Place, group: &str, values: &[f64]) -> Finding {
    Finding {
        examiner: slug(examiner),
        item: slug("a"),
        place,
        quantity: slug(quantity),
        question: "?".to_owned(),
        reading: Reading::Measured {
            value: values.first().copied().unwrap_or(0.0),
            standard_uncertainty: 0.01,
            unit: "1".to_owned(),
        },
        expected: None,
        features: values
            .iter()
            .enumerate()
            .map(|(at, value)| Feature {
                name: slug(&format!("f{at}")),
                value: *value,
                standard_uncertainty: 0.01,
                unit: "1".to_owned(),
            })
            .collect(),
        seeing: Seeing::default(),
        group: slug(group),
        photos: Vec::new(),
        pictures: Vec::new(),
        says: format!("{quantity} seen"),
    }
}

pub(crate) fn unread(mut finding: Finding, lack: Lack, wants: &str) -> Finding {
    let missing = Missing { lack, words: "it is not to be seen".to_owned(), wants: wants.to_owned() };
    finding.reading = Reading::CannotTell { missing: vec![missing] };
    finding.features.clear();
    finding
}

pub(crate) fn at_face(face: &str) -> Place {
    Place { face: Some(slug(face)), part: None, rect_mm: None }
}

pub(crate) fn at_part(part: &str) -> Place {
    Place { face: Some(slug("back")), part: Some(part.to_owned()), rect_mm: None }
}

pub(crate) fn fact(group: &str, outcome: FactOutcome, error_rate: f64) -> Finding {
    let mut one = finding(group, "made-in-this-form", Place::default(), group, &[]);
    one.reading = Reading::Fact { outcome, error_rate, source: "catalogue entry (invented)".to_owned() };
    one
}

pub(crate) fn specimen(name: &str, sitting: usize, state: State, findings: Vec<Finding>) -> MeasuredSpecimen {
    MeasuredSpecimen {
        specimen: slug(name),
        product: PACK.parse().unwrap(),
        make: None,
        state,
        origin: Origin::Rendered,
        sitting: slug(&format!("s{sitting}")),
        opened_ends: None,
        findings,
    }
}

/// How far the classes lie apart in a world of packs.
#[derive(Debug, Clone, Copy)]
pub(crate) struct World {
    pub(crate) resealed_shift: f64,
    pub(crate) counterfeit_shift: f64,
}

/// The findings of one pack: print on both faces, ridges at both ends. `ends` and `print` shift the
/// means, in standard deviations.
pub(crate) fn pack_findings(random: &mut Random, ends: [f64; 2], print: f64) -> Vec<Finding> {
    let mut noisy = |shift: f64| [shift + random.normal(), 0.7 * shift + random.normal()];
    vec![
        finding("print", "print-match", at_face("front"), "print", &noisy(print)),
        finding("print", "print-match", at_face("back"), "print", &noisy(print)),
        finding("end-seal", "ridge-evenness", at_part("top-end-seal"), "end-seal", &noisy(ends[0])),
        finding("end-seal", "ridge-evenness", at_part("bottom-end-seal"), "end-seal", &noisy(ends[1])),
    ]
}

/// One pack of a state: a re-closed one was opened at one end, which is the top in half of the cases.
pub(crate) fn one_pack(random: &mut Random, world: World, state: State) -> Vec<Finding> {
    match state {
        State::Resealed => {
            let top = random.uniform() < 0.5;
            let s = world.resealed_shift;
            pack_findings(random, if top { [s, 0.0] } else { [0.0, s] }, 0.0)
        }
        State::Counterfeit => pack_findings(random, [0.0, 0.0], world.counterfeit_shift),
        State::Sealed | State::NeverMade => pack_findings(random, [0.0, 0.0], 0.0),
    }
}

/// A library as the demonstration has it: 24 sealed, 16 re-closed, 10 counterfeit, two sittings each.
pub(crate) fn library(seed: u64, world: World) -> Vec<MeasuredSpecimen> {
    let mut random = Random::new(seed);
    let mut out = Vec::new();
    for (state, count) in [(State::Sealed, 24), (State::Resealed, 16), (State::Counterfeit, 10)] {
        for at in 0..count {
            for sitting in 0..2 {
                let findings = one_pack(&mut random, world, state);
                out.push(specimen(&format!("{state}-{at}"), sitting, state, findings));
            }
        }
    }
    out
}
