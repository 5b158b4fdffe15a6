//! Weights on worlds whose truth is known: bounded by the number of specimens, silent without them,
//! calibrated, saved and read back to the same bits.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use casebook::finding::{FactOutcome, Finding};
use casebook::hypothesis::State;
use casebook::opinion::Stance;
use common::{PACK, World, fact, library, one_pack, pack_findings, slug};
use opinion::evaluate::{Scored, cllr};
use opinion::numeric::random::Random;
use opinion::{Calibration, Mix, Question, opine};

const WORLD: World = World { resealed_shift: 4.0, counterfeit_shift: 4.0 };

fn of_group<'a>(findings: &'a [Finding], group: &str) -> Vec<&'a Finding> {
    findings.iter().filter(|f| f.group.as_str() == group).collect()
}

#[test]
fn weights_are_bounded_by_the_number_of_specimens_and_calibrated() {
    let calibration = Calibration::fit(&library(1, WORLD));
    let mut random = Random::new(99);
    let product = PACK.parse().unwrap();
    let mut scored = Scored::default();
    for at in 0..120 {
        let state = if at % 2 == 0 { State::Sealed } else { State::Resealed };
        let findings = one_pack(&mut random, WORLD, state);
        let group = calibration.weigh(&product, "end-seal", &of_group(&findings, "end-seal")).unwrap();
        let (_, pair) = group.pairs.iter().find(|(s, _)| *s == State::Resealed).unwrap();
        // log10(16 + 1) and log10(24 + 1), with a step of 0.01.
        assert!(pair.bounds.upper <= 1.2405 && pair.bounds.lower >= -1.4080, "{:?}", pair.bounds);
        assert!((pair.bounds.lower..=pair.bounds.upper).contains(&pair.value));
        assert!(pair.low <= pair.value && pair.value <= pair.high);
        assert_eq!(pair.specimens, [24, 16]);
        let side = if state == State::Sealed { &mut scored.first } else { &mut scored.second };
        side.push(pair.value);
    }
    let cost = cllr(&scored);
    println!("end seals, unseen packs: Cllr {cost:.3}");
    assert!(cost < 0.45, "Cllr {cost}");
}

#[test]
fn what_does_not_tell_apart_weighs_little() {
    // The counterfeits of this world have genuine end seals.
    let calibration = Calibration::fit(&library(2, WORLD));
    let mut random = Random::new(5);
    let product = PACK.parse().unwrap();
    let mut scored = Scored::default();
    for _ in 0..40 {
        for (state, side) in [(State::Sealed, 0), (State::Counterfeit, 1)] {
            let findings = one_pack(&mut random, WORLD, state);
            let group = calibration.weigh(&product, "end-seal", &of_group(&findings, "end-seal")).unwrap();
            let (_, pair) = group.pairs.iter().find(|(s, _)| *s == State::Counterfeit).unwrap();
            if side == 0 { scored.first.push(pair.value) } else { scored.second.push(pair.value) }
        }
    }
    let cost = cllr(&scored);
    println!("end seals against counterfeits that have genuine ones: Cllr {cost:.3}");
    assert!(cost < 1.05, "worse than silence: {cost}");
}

#[test]
fn classes_without_specimens_weigh_nothing() {
    let mut specimens = library(3, WORLD);
    specimens.retain(|s| s.state != State::Counterfeit);
    let calibration = Calibration::fit(&specimens);
    let mut random = Random::new(6);
    let findings = one_pack(&mut random, WORLD, State::Resealed);
    let opinion = ask(&findings, &calibration);
    let of = |state| opinion.against.iter().find(|a| a.state == state).unwrap().weight.value.0;
    assert_eq!(of(State::Counterfeit), 0.0);
    assert_eq!(of(State::NeverMade), 0.0);
    assert!(of(State::Resealed) < -0.3, "{}", of(State::Resealed));
    let empty = ask(&findings, &Calibration::default());
    assert!(empty.against.iter().all(|a| a.weight.value.0 == 0.0));
    assert_eq!(empty.stance, Stance::Neither);
}

fn ask(findings: &[Finding], calibration: &Calibration) -> casebook::opinion::Opinion {
    opine(
        &Question {
            item: &slug("a"),
            product: Some(&PACK.parse().unwrap()),
            form: Some(casebook::catalogue::Form::Pack),
            findings,
            prior: None,
            outcomes: None,
            mix: None,
        },
        calibration,
    )
}

#[test]
fn one_end_seal_alone_is_weighed_on_single_ends() {
    let calibration = Calibration::fit(&library(4, WORLD));
    let mut random = Random::new(8);
    let product = PACK.parse().unwrap();
    let mut sums = [0.0; 2];
    for _ in 0..40 {
        for (at, shift) in [0.0, 4.0].into_iter().enumerate() {
            let mut findings = pack_findings(&mut random, [shift, 0.0], 0.0);
            findings.truncate(3); // the bottom end is not shown
            let group = calibration.weigh(&product, "end-seal", &of_group(&findings, "end-seal")).unwrap();
            sums[at] += group.pairs.iter().find(|(s, _)| *s == State::Resealed).unwrap().1.value;
        }
    }
    // An untouched end says little for sealed, because the other may be the opened one.
    assert!(sums[0] / 40.0 < 0.45 && sums[0] > 0.0, "{sums:?}");
    assert!(sums[1] / 40.0 < -0.5, "{sums:?}");
}

#[test]
fn features_outside_every_class_weigh_nothing() {
    let calibration = Calibration::fit(&library(5, WORLD));
    let mut random = Random::new(9);
    let mut findings = pack_findings(&mut random, [-400.0, -400.0], 0.0);
    findings.push(fact("existence", FactOutcome::AsGenuine, 0.01));
    let opinion = ask(&findings, &calibration);
    assert_eq!(opinion.stance, Stance::OutsideLibrary);
    let end = opinion.contributions.iter().find(|c| c.group.as_str() == "end-seal").unwrap();
    assert!(end.weights.iter().all(|w| w.weight.value.0 == 0.0), "{end:?}");
    assert!(end.basis.contains("outside every class"));
}

#[test]
fn a_saved_calibration_gives_the_same_bits() {
    let calibration = Calibration::fit(&library(6, WORLD));
    let text = serde_json::to_string(&calibration.to_file()).unwrap();
    let back = Calibration::from_file(serde_json::from_str(&text).unwrap()).unwrap();
    assert!(calibration == back, "the file must hold every bit");
    let mut random = Random::new(10);
    let findings = one_pack(&mut random, WORLD, State::Sealed);
    assert!(ask(&findings, &calibration) == ask(&findings, &back));
    let mut file = calibration.to_file();
    file.schema = "untorn.calibration/0".to_owned();
    assert!(Calibration::from_file(file).unwrap_err().to_string().contains("untorn.calibration/1"));
    let mut file = calibration.to_file();
    file.tables[0].rows[0].cells.pop();
    assert!(Calibration::from_file(file).is_err());
}

#[test]
fn the_order_of_specimens_does_not_matter_and_sittings_do_not_multiply() {
    let specimens = library(7, WORLD);
    let mut turned = specimens.clone();
    turned.sort_by(|a, b| b.specimen.cmp(&a.specimen).then(a.sitting.cmp(&b.sitting)));
    assert!(Calibration::fit(&specimens) == Calibration::fit(&turned));
    // Every sitting twice: still as many specimens, the same bounds.
    let twice: Vec<_> = specimens.iter().chain(&specimens).cloned().collect();
    let mut random = Random::new(11);
    let findings = one_pack(&mut random, WORLD, State::Resealed);
    let product = PACK.parse().unwrap();
    let weigh = |all: &[_]| {
        let group =
            Calibration::fit(all).weigh(&product, "end-seal", &of_group(&findings, "end-seal")).unwrap();
        let (_, pair) = group.pairs.into_iter().find(|(s, _)| *s == State::Resealed).unwrap();
        (pair.specimens, pair.value)
    };
    let (one, two) = (weigh(&specimens), weigh(&twice));
    assert_eq!(one.0, two.0);
    assert!((one.1 - two.1).abs() < 1e-9, "{one:?} {two:?}");
}

#[test]
fn likelihoods_are_mixed_not_weights() {
    // 1/LR = Σ shares / LR, by hand: ½·(1/100) + ½·(1/4).
    let mix = Mix::of([1.0, 1.0, 0.0]);
    let expected = -casebook::elementary::log10(0.5 / 100.0 + 0.5 / 4.0);
    assert!((mix.weight([2.0, casebook::elementary::log10(4.0), 9.0]) - expected).abs() < 1e-12);
}
