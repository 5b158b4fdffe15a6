//! Weights on worlds whose truth is known: bounded by the number of specimens, silent without them,
//! calibrated, saved and read back to the same bits.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use std::path::Path;

use casebook::calibration::CalibrationFile;
use casebook::document::{self, Notation};
use casebook::finding::{FactOutcome, Finding};
use casebook::hypothesis::State;
use casebook::names::ProductId;
use casebook::opinion::{MeasuredSpecimen, Stance};
use common::{PACK, World, fact, library, one_pack, pack_findings, slug, specimen};
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
    let file = calibration.to_file("untorn test", Vec::new(), Vec::new());
    let text = document::print(&file, Notation::Json).unwrap();
    let back = Calibration::from_file(&document::parse(&text, Path::new("x.json"), Notation::Json).unwrap());
    assert!(calibration == back, "the file must hold every bit");
    let mut random = Random::new(10);
    let findings = one_pack(&mut random, WORLD, State::Sealed);
    assert!(ask(&findings, &calibration) == ask(&findings, &back));
    let count = |state| file.counts.iter().filter(|c| c.state == state).map(|c| c.count).sum::<u32>();
    assert_eq!((count(State::Sealed), count(State::Resealed), count(State::Counterfeit)), (24, 16, 10));
    let mut broken = file;
    broken.sittings[0].features.insert("print-match/front/f0".to_owned(), [0.5, -1.0]);
    let text = document::print(&broken, Notation::Json).unwrap();
    let error = document::parse::<CalibrationFile>(&text, Path::new("x.json"), Notation::Json).unwrap_err();
    assert!(error.to_string().contains("uncertainty is negative"), "{error}");
}

/// A library of another line, whose genuine packs measure `shift` deviations off in every feature.
fn other_line(seed: u64, shift: f64, sealed: usize, resealed: usize) -> Vec<MeasuredSpecimen> {
    let mut random = Random::new(seed);
    let mut out = Vec::new();
    for (state, count) in [(State::Sealed, sealed), (State::Resealed, resealed)] {
        for at in 0..count {
            let mut findings = one_pack(&mut random, WORLD, state);
            findings.iter_mut().flat_map(|f| &mut f.features).for_each(|f| f.value += shift);
            let mut one = specimen(&format!("own-{state}-{at}"), 0, state, findings);
            one.product = "tidewright/first-soundings/pack".parse().unwrap();
            out.push(one);
        }
    }
    out
}

#[test]
fn a_shipped_calibration_gives_way_to_the_lines_own_specimens() {
    let start = Calibration::fit(&library(20, WORLD)).to_file("untorn test", Vec::new(), Vec::new());
    let shift = 2.5;
    let own: ProductId = "tidewright/first-soundings/pack".parse().unwrap();
    let unseen = other_line(99, shift, 120, 0);
    // How a genuine pack of the line weighs on average against re-closed, by the number of own specimens.
    let mut means = Vec::new();
    for count in [0, 4, 12, 40] {
        let calibration = Calibration::starting_from(&start, &other_line(21, shift, count, count)).unwrap();
        let sum: f64 = unseen
            .iter()
            .filter_map(|s| calibration.weigh(&own, "end-seal", &of_group(&s.findings, "end-seal")))
            .map(|g| g.pairs.iter().find(|(s, _)| *s == State::Resealed).unwrap().1.value)
            .sum();
        means.push(sum / unseen.len() as f64);
    }
    println!(
        "genuine packs of a line that lies off: mean weight for sealed with 0, 4, 12, 40 own specimens: {means:.2?}"
    );
    assert!(means[1] > means[0] && means[2] > means[0] + 0.3 && means[3] > means[0] + 0.3, "{means:?}");
    assert!(means[3] > 0.3, "{means:?}");
    // Without own specimens it is the shipped one, to the bit.
    assert!(Calibration::starting_from(&start, &[]).unwrap() == Calibration::from_file(&start));
    let clash = library(22, WORLD);
    let error = Calibration::starting_from(&start, &clash).unwrap_err();
    assert!(error.to_string().contains("another id"), "{error}");
}

#[test]
fn a_library_with_specimens_enough_speaks_from_these_alone() {
    let start = Calibration::fit(&library(20, WORLD)).to_file("untorn test", Vec::new(), Vec::new());
    let few = other_line(21, 2.5, 4, 4);
    let joined = Calibration::starting_where_lacking(&start, &few).unwrap();
    assert!(joined == Calibration::starting_from(&start, &few).unwrap(), "four are too few");
    let mut many = library(22, WORLD);
    for (at, one) in many.iter_mut().enumerate() {
        one.specimen = format!("mine-{at}").parse().unwrap();
    }
    let alone = Calibration::starting_where_lacking(&start, &many).unwrap();
    let fitted = Calibration::fit(&many);
    assert_eq!(alone.counts(), fitted.counts());
    assert_eq!(alone.costs().collect::<Vec<_>>(), fitted.costs().collect::<Vec<_>>());
}

#[test]
fn forms_are_chosen_on_sets_that_are_held_out() {
    // In the fitted world a feature tells the classes apart that tells nothing in another world: what
    // is chosen there alone is worse than silence here, and what is chosen on both is not.
    let fitted = library(23, World { resealed_shift: 3.0, counterfeit_shift: 3.0 });
    let elsewhere: Vec<Vec<MeasuredSpecimen>> =
        (0..2).map(|at| library(24 + at, World { resealed_shift: -3.0, counterfeit_shift: 3.0 })).collect();
    let alone = Calibration::fit(&fitted);
    let both = Calibration::fit_choosing_on(&fitted, &elsewhere);
    let cost = |calibration: &Calibration| {
        let own: Vec<f64> = calibration
            .costs()
            .filter(|(table, against, _)| *table == "end-seal@pack" && *against == State::Resealed)
            .map(|c| c.2)
            .collect();
        own[0]
    };
    println!("cost of the chosen form: alone {:.2}, judged elsewhere too {:.2}", cost(&alone), cost(&both));
    assert!(cost(&alone) < 0.6 && cost(&both) > 1.0);
    let file = both.to_file("untorn test", Vec::new(), Vec::new());
    let form =
        file.forms.iter().find(|f| f.table == "end-seal@pack" && f.against == State::Resealed).unwrap();
    assert!(form.silent, "a form that misleads elsewhere must not weigh: {form:?}");
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
