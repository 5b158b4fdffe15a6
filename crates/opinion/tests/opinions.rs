//! Stances and words: what may be said, and when nothing may.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use casebook::case::{ConfirmedOutcomes, Prior};
use casebook::catalogue::Form;
use casebook::finding::{FactOutcome, Finding, Lack};
use casebook::hypothesis::State;
use casebook::names::ProductId;
use casebook::opinion::{Opinion, Stance, VerbalStep};
use casebook::specimen::Origin;
use common::{PACK, World, fact, library, one_pack, pack_findings, slug, unread};
use opinion::numeric::random::Random;
use opinion::{Calibration, Mix, Question, fact_weight, opine, prior_after_outcomes, step_of};

const WORLD: World = World { resealed_shift: 6.0, counterfeit_shift: 6.0 };

fn ask_as(
    findings: &[Finding],
    calibration: &Calibration,
    product: Option<&str>,
    form: Option<Form>,
) -> Opinion {
    let product: Option<ProductId> = product.map(|p| p.parse().unwrap());
    let item = slug("a");
    opine(
        &Question {
            item: &item,
            product: product.as_ref(),
            form,
            findings,
            prior: None,
            outcomes: None,
            mix: None,
        },
        calibration,
    )
}

fn ask(findings: &[Finding], calibration: &Calibration) -> Opinion {
    ask_as(findings, calibration, Some(PACK), Some(Form::Pack))
}

fn made(mut findings: Vec<Finding>) -> Vec<Finding> {
    findings.push(fact("existence", FactOutcome::AsGenuine, 0.015));
    findings
}

#[test]
fn enfsi_steps() {
    use VerbalStep::{ExtremelyStrong, Moderate, ModeratelyStrong, Strong, VeryStrong, Weak};
    // Lowest ratio of each step of the published table (from memory, see the bibliography), and just below.
    let rows = [
        (2.0, Some(Weak), None),
        (10.0, Some(Moderate), Some(Weak)),
        (100.0, Some(ModeratelyStrong), Some(Moderate)),
        (1_000.0, Some(Strong), Some(ModeratelyStrong)),
        (10_000.0, Some(VeryStrong), Some(Strong)),
        (1_000_000.0, Some(ExtremelyStrong), Some(VeryStrong)),
    ];
    for (ratio, at, below) in rows {
        let bans = casebook::elementary::log10(ratio);
        assert_eq!(step_of(bans), at, "{ratio}");
        assert_eq!(step_of(-bans), at, "1/{ratio}");
        assert_eq!(step_of(bans - 1e-9), below, "just below {ratio}");
    }
    assert_eq!(step_of(0.0), None);
}

#[test]
fn facts_weigh_by_their_error_rate() {
    let weigh = |outcome, rate| fact_weight(&fact("existence", outcome, rate)).unwrap().0.map(|w| w.value.0);
    // 1 / 99 for a certain consequence, 2 ε for one of unknown frequency.
    let never = weigh(FactOutcome::Points { to: State::NeverMade }, 0.01);
    assert!(
        (never[2] + casebook::elementary::log10(99.0)).abs() < 1e-12 && never[0] == 0.0 && never[1] == 0.0,
        "{never:?}"
    );
    let fake = weigh(FactOutcome::Points { to: State::Counterfeit }, 0.01);
    assert!(
        (fake[1] - casebook::elementary::log10(0.02)).abs() < 1e-12 && fake[0] == 0.0 && fake[2] == 0.0,
        "{fake:?}"
    );
    let fine = weigh(FactOutcome::AsGenuine, 0.01);
    assert!(
        (fine[2] - casebook::elementary::log10(99.0)).abs() < 1e-12 && fine[0] == 0.0 && fine[1] == 0.0,
        "{fine:?}"
    );
    // A source that errs every second time says nothing.
    for outcome in [FactOutcome::AsGenuine, FactOutcome::Points { to: State::NeverMade }] {
        assert!(weigh(outcome, 0.5).iter().all(|w| w.abs() < 1e-12));
    }
    let other = fact_weight(&fact("gtin", FactOutcome::AsGenuine, 0.01)).unwrap();
    assert!(other.0.iter().all(|w| w.value.0 == 0.0), "imitators keep to what is printed");
}

#[test]
fn a_sealed_pack_a_reclosed_one_and_a_fake() {
    let calibration = Calibration::fit(&library(40, WORLD));
    let mut random = Random::new(41);
    let mut steps = Vec::new();
    for _ in 0..12 {
        let sealed = ask(&made(pack_findings(&mut random, [0.0, 0.0], 0.0)), &calibration);
        assert!(
            !matches!(sealed.stance, Stance::AgainstSealed { step, .. } if step >= VerbalStep::ModeratelyStrong)
        );
        steps.push(matches!(sealed.stance, Stance::ForSealed { .. }));
        let opened = ask(&made(pack_findings(&mut random, [0.0, 6.0], 0.0)), &calibration);
        assert!(
            matches!(opened.stance, Stance::AgainstSealed { most: State::Resealed, .. }),
            "{}",
            opened.words
        );
        let fake = ask(&made(pack_findings(&mut random, [0.0, 0.0], 6.0)), &calibration);
        assert!(
            matches!(fake.stance, Stance::AgainstSealed { most: State::Counterfeit, .. }),
            "{}",
            fake.words
        );
        for opinion in [&sealed, &opened, &fake] {
            let sum: f64 = opinion.posterior.iter().map(|p| p.share).sum();
            assert!((sum - 1.0).abs() < 1e-12);
            assert!(
                opinion.weight.low.0 <= opinion.weight.value.0
                    && opinion.weight.value.0 <= opinion.weight.high.0
            );
            let text = format!("{opinion:?}").to_lowercase();
            for word in ["authenticated", "verified", "safe", "score"] {
                assert!(!text.contains(word), "{word}: {text}");
            }
        }
    }
    assert!(steps.iter().filter(|s| **s).count() >= 8, "{steps:?}");
}

#[test]
fn words_stop_at_moderate_without_physical_specimens() {
    let mut specimens = library(42, WORLD);
    let rendered = Calibration::fit(&specimens);
    let mut random = Random::new(43);
    // Seals and print both speak against it.
    let findings = made(pack_findings(&mut random, [6.0, 6.0], 6.0));
    let opinion = ask(&findings, &rendered);
    let Stance::AgainstSealed { step, .. } = opinion.stance else { panic!("{:?}", opinion.stance) };
    assert_eq!(step, VerbalStep::Moderate, "{}", opinion.words);
    // The cap speaks up only where it cuts.
    let full = opinion.against.iter().map(|a| a.weight.value.0).fold(f64::INFINITY, f64::min);
    assert_eq!(opinion.wording_capped.is_some(), full <= -2.0, "{full}");
    for specimen in &mut specimens {
        specimen.origin = Origin::Physical;
    }
    let few = ask(&findings, &Calibration::fit(&specimens));
    assert_eq!(few.stance, opinion.stance, "two dozen physical ones are not a hundred");
    assert!(few.calibration.iter().all(|c| c.origin == Origin::Physical));
}

#[test]
fn an_unread_view_means_cannot_tell_unless_the_rest_is_moderate_against() {
    let calibration = Calibration::fit(&library(44, WORLD));
    let mut random = Random::new(45);
    for hidden in 0..4 {
        let mut findings = made(pack_findings(&mut random, [0.0, 0.0], 0.0));
        findings[hidden] = unread(findings[hidden].clone(), Lack::NotShown, "a photo of it");
        let opinion = ask(&findings, &calibration);
        assert_eq!(opinion.stance, Stance::CannotTell, "{}", opinion.words);
        assert_eq!(opinion.coverage.iter().filter(|v| !v.read).count(), 1);
        assert_eq!(opinion.coverage.iter().find_map(|v| v.request.as_deref()), Some("a photo of it"));
        // Absent altogether is unread as well.
        findings.remove(hidden);
        let opinion = ask(&findings, &calibration);
        assert_eq!(opinion.stance, Stance::CannotTell, "{}", opinion.words);
        assert!(opinion.coverage.iter().any(|v| v.request.as_deref().is_some_and(|r| r.contains("photo"))));
    }
    // The back is hidden, the bottom end is plainly opened.
    let mut findings = made(pack_findings(&mut random, [0.0, 6.5], 0.0));
    findings.remove(1);
    let opinion = ask(&findings, &calibration);
    assert!(
        matches!(opinion.stance, Stance::AgainstSealed { most: State::Resealed, step } if step >= VerbalStep::Moderate),
        "{} {:?}",
        opinion.words,
        opinion.against
    );
    assert!(opinion.words.contains("back went unread"), "{}", opinion.words);
}

#[test]
fn a_missing_finding_never_weighs() {
    let calibration = Calibration::fit(&library(46, WORLD));
    let mut random = Random::new(47);
    let findings = one_pack(&mut random, WORLD, State::Sealed);
    let mut with = findings.clone();
    with.push(unread(findings[0].clone(), Lack::Glare, "another photo"));
    let (a, b) = (ask(&findings, &calibration), ask(&with, &calibration));
    assert_eq!(a.weight, b.weight);
}

#[test]
fn never_made_is_said_without_a_product_or_specimens() {
    let findings = vec![fact("existence", FactOutcome::Points { to: State::NeverMade }, 0.015)];
    let opinion = ask_as(&findings, &Calibration::default(), None, Some(Form::Box));
    assert_eq!(opinion.stance, Stance::AgainstSealed { most: State::NeverMade, step: VerbalStep::Moderate });
    assert!(opinion.words.starts_with("The offer and the catalogue support never made"), "{}", opinion.words);
    assert_eq!(opinion.wording_capped, None, "facts are not capped by the specimens");
}

#[test]
fn not_covered_is_not_never_made() {
    let missing =
        unread(fact("existence", FactOutcome::AsGenuine, 0.01), Lack::Library, "which product it is");
    let opinion = ask_as(&[missing], &Calibration::default(), None, None);
    assert_eq!(opinion.stance, Stance::NotCovered);
    assert!(opinion.against.iter().all(|a| a.weight.value.0 == 0.0));
    let opinion = ask_as(&[], &Calibration::default(), None, None);
    assert_eq!(opinion.stance, Stance::CannotTell);
}

#[test]
fn weights_do_not_depend_on_the_prior() {
    let calibration = Calibration::fit(&library(48, WORLD));
    let mut random = Random::new(49);
    let findings = made(one_pack(&mut random, WORLD, State::Sealed));
    let (item, product) = (slug("a"), PACK.parse().unwrap());
    let with = |prior: Option<Prior>, outcomes| {
        opine(
            &Question {
                item: &item,
                product: Some(&product),
                form: Some(Form::Pack),
                findings: &findings,
                prior,
                outcomes,
                mix: Some(Mix::EQUAL),
            },
            &calibration,
        )
    };
    let plain = with(None, None);
    let keen = with(Some(Prior { sealed: 0.99, resealed: 0.005, counterfeit: 0.005, never_made: 0.0 }), None);
    let known = with(None, Some(ConfirmedOutcomes { sealed: 20, not_sealed: 0 }));
    for other in [&keen, &known] {
        assert_eq!(plain.weight, other.weight);
        assert_eq!(plain.against, other.against);
        assert_eq!(plain.stance, other.stance);
        assert!(other.posterior[0].share > plain.posterior[0].share);
    }
}

#[test]
fn confirmed_outcomes_are_beta_binomial() {
    // Uniform prior of a half, worth two outcomes: Beta(1, 1) and 3 of 4 good gives 4/6.
    let prior = Prior { sealed: 0.5, resealed: 0.25, counterfeit: 0.125, never_made: 0.125 };
    let after = prior_after_outcomes(&prior, ConfirmedOutcomes { sealed: 3, not_sealed: 1 });
    assert!((after.sealed - 4.0 / 6.0).abs() < 1e-12);
    assert!((after.resealed / after.counterfeit - 2.0).abs() < 1e-12);
    assert!((after.sealed + after.resealed + after.counterfeit + after.never_made - 1.0).abs() < 1e-12);
}

#[test]
fn sensitivity_and_conflict_are_shown() {
    let calibration = Calibration::fit(&library(50, WORLD));
    let mut random = Random::new(51);
    // Seals as of a re-closed pack, print as of a genuine one.
    let findings = made(pack_findings(&mut random, [6.0, 6.0], 0.0));
    let opinion = ask(&findings, &calibration);
    let without_seals = opinion.without.iter().find(|w| w.group.as_str() == "end-seal").unwrap();
    assert!(without_seals.weight.0 > opinion.weight.value.0 + 0.3, "{opinion:?}");
    let groups = opinion.without.iter().filter(|w| w.place.is_none()).count();
    assert_eq!(groups, opinion.contributions.len());
    let sizes: Vec<f64> = opinion
        .contributions
        .iter()
        .map(|c| c.weights.iter().map(|w| w.weight.value.0.abs()).fold(0.0, f64::max))
        .collect();
    assert!(sizes.is_sorted_by(|a, b| a >= b), "heaviest first: {sizes:?}");
}
