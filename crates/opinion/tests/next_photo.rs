//! What to ask for next: the request that is ranked first loses less than a random one, the numbers are
//! those of a hand-made example, and the same question has the same answer.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use casebook::case::{Prior, Values};
use casebook::catalogue::Form;
use casebook::finding::{Finding, Lack};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::opinion::{Action, Opinion, RankedRequest};
use common::{PACK, World, at_part, library, one_pack, pack_findings, slug, unread};
use opinion::numeric::random::Random;
use opinion::{Calibration, Circumstances, Judged, Question, conclude, opine, rank_requests};

const WORLD: World = World { resealed_shift: 3.0, counterfeit_shift: 3.0 };
const PRIOR: Prior = Prior { sealed: 0.5, resealed: 0.3, counterfeit: 0.19, never_made: 0.01 };
const PRICE: f64 = 11.0;
const WORTH: [f64; 4] = [20.0, 5.0, 0.0, 0.0];

fn euro(text: &str) -> Money {
    Money { amount: text.parse().unwrap(), currency: iso_currency::Currency::EUR }
}

fn values() -> Values {
    Values {
        sealed: euro("20"),
        resealed: euro("5"),
        counterfeit: euro("0"),
        items: Vec::new(),
        refund_probability: 0.0,
        risk_aversion: 0.0,
    }
}

fn ask(findings: &[Finding], calibration: &Calibration) -> Opinion {
    opine(
        &Question {
            item: &slug("a"),
            product: Some(&PACK.parse().unwrap()),
            form: Some(Form::Pack),
            findings,
            prior: Some(PRIOR),
            outcomes: None,
            mix: None,
        },
        calibration,
    )
}

fn rank(opinion: &Opinion, findings: &[Finding], calibration: &Calibration) -> Vec<RankedRequest> {
    let (price, values) = (euro("11"), values());
    let circumstances =
        Circumstances { price: Some(&price), values: Some(&values), ..Circumstances::default() };
    rank_requests(&[Judged { opinion, findings, inside: false }], &circumstances, calibration)
}

/// What a buyer who goes by the posterior loses against one who knows the state.
fn regret(opinion: &Opinion, state: State) -> f64 {
    let gain: f64 = opinion.posterior.iter().zip(WORTH).map(|(p, v)| p.share * (v - PRICE)).sum();
    let at = State::ALL.iter().position(|s| *s == state).unwrap();
    let (bought, best) = (WORTH[at] - PRICE, (WORTH[at] - PRICE).max(0.0));
    best - if gain > 0.0 { bought } else { 0.0 }
}

fn hide(mut findings: Vec<Finding>, hidden: &[usize]) -> Vec<Finding> {
    for at in hidden {
        findings[*at] = unread(findings[*at].clone(), Lack::NotShown, &format!("photo {at}"));
    }
    findings
}

#[test]
fn the_first_request_loses_less_than_a_random_one() {
    let mut random = Random::new(61);
    let (mut blind, mut first, mut any, mut last, mut full, mut items) = (0.0, 0.0, 0.0, 0.0, 0.0, 0);
    for seed in 0..2 {
        let calibration = Calibration::fit(&library(70 + seed, WORLD));
        for _ in 0..150 {
            let draw = random.uniform();
            let state = match draw {
                d if d < 0.5 => State::Sealed,
                d if d < 0.8 => State::Resealed,
                _ => State::Counterfeit,
            };
            let whole = one_pack(&mut random, WORLD, state);
            // One face and one end, or both of a kind, are not shown.
            let pairs = [[0, 2], [0, 3], [1, 2], [1, 3], [0, 1], [2, 3]];
            let hidden = pairs[random.below(pairs.len())];
            let findings = hide(whole.clone(), &hidden);
            let opinion = ask(&findings, &calibration);
            let ranked = rank(&opinion, &findings, &calibration);
            let then = |at: usize| {
                let mut shown = findings.clone();
                shown[at] = whole[at].clone();
                regret(&ask(&shown, &calibration), state)
            };
            let wanted: Vec<usize> =
                ranked.iter().map(|r| r.wants.trim_start_matches("photo ").parse().unwrap()).collect();
            assert_eq!(wanted.len(), 2, "{ranked:?}");
            assert!(ranked.iter().all(|r| r.simulated > 0 && r.view.is_some()), "{ranked:?}");
            let each = [then(wanted[0]), then(wanted[1])];
            blind += regret(&opinion, state);
            first += each[0];
            last += each[1];
            any += (each[0] + each[1]) / 2.0;
            full += regret(&ask(&whole, &calibration), state);
            items += 1;
        }
    }
    let n = f64::from(items);
    println!(
        "expected loss per offer over {items} simulated offers at 11.00 EUR: no further photo {:.3} EUR, a random \
         request {:.3} EUR, the first of the ranking {:.3} EUR, the last {:.3} EUR, both {:.3} EUR",
        blind / n,
        any / n,
        first / n,
        last / n,
        full / n
    );
    assert!(first < any && any < blind, "{first} {any} {blind}");
    assert!(full < first);
}

#[test]
fn an_open_case_is_told_more_by_the_end_that_is_missing_than_by_the_face() {
    // Everything that is shown is in order, and re-closed is the likelier danger.
    let calibration = Calibration::fit(&library(62, WORLD));
    let mut random = Random::new(63);
    let findings = hide(pack_findings(&mut random, [0.0, 0.0], 0.0), &[1, 3]);
    let opinion = ask(&findings, &calibration);
    let ranked = rank(&opinion, &findings, &calibration);
    assert_eq!(ranked[0].view.as_deref(), Some("bottom-end-seal"), "{ranked:?}");
    assert!(ranked[0].information_bits > ranked[1].information_bits);
    assert_eq!(ranked, rank(&opinion, &findings, &calibration), "nothing is left to chance");
    // Bits: nobody can learn more about four states than two bits.
    assert!(ranked.iter().all(|r| (0.0..=2.0).contains(&r.information_bits)));
}

#[test]
fn without_values_requests_are_ranked_by_what_they_tell_and_without_specimens_not_at_all() {
    let calibration = Calibration::fit(&library(64, WORLD));
    let mut random = Random::new(65);
    let findings = hide(pack_findings(&mut random, [0.0, 0.0], 0.0), &[0, 2]);
    let opinion = ask(&findings, &calibration);
    let judged = [Judged { opinion: &opinion, findings: &findings, inside: false }];
    let (_, report) = conclude(&judged, &Circumstances::default(), &calibration);
    assert_eq!(report.decision.action, Action::Ask);
    assert!(report.requests.iter().all(|r| r.worth.is_none() && r.information_bits > 0.0));
    assert_eq!(report.decision.requests.len(), 2);
    assert!(report.message.contains("photo 0") && report.message.contains("photo 2"), "{}", report.message);
    let (_, bare) = conclude(&judged, &Circumstances::default(), &Calibration::default());
    assert!(bare.requests.iter().all(|r| r.simulated == 0 && r.information_bits == 0.0));
}

#[test]
fn what_no_specimen_shows_comes_after_the_views_and_is_said_to_be_unknown() {
    let calibration = Calibration::fit(&library(66, WORLD));
    let mut random = Random::new(67);
    let mut findings = hide(pack_findings(&mut random, [0.0, 0.0], 0.0), &[2]);
    let mut other = unread(findings[0].clone(), Lack::Glare, "a photo of the emblem without glare");
    other.place = at_part("emblem");
    findings.push(other);
    let opinion = ask(&findings, &calibration);
    let ranked = rank(&opinion, &findings, &calibration);
    assert_eq!(ranked.len(), 2);
    assert!(ranked[0].view.is_some() && ranked[1].view.is_none());
    assert_eq!((ranked[1].simulated, &ranked[1].worth), (0, &None));
}
