//! Figures of a labelled set, recounted by hand.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use casebook::evaluation::{AgainstBans, EvaluatedItem};
use casebook::hypothesis::State;
use casebook::opinion::{Action, Stance, VerbalStep};
use opinion::evaluate::{comparisons, decisions, slices};

fn item(
    name: &str,
    state: State,
    severity: f64,
    bans: f64,
    unread: &[&str],
    action: Action,
) -> EvaluatedItem {
    EvaluatedItem {
        case: name.parse().unwrap(),
        item: "a".parse().unwrap(),
        state,
        product: "kelpwright/brass-estuary/pack".parse().unwrap(),
        severity,
        wear: 0.1,
        closed_by: if state == State::Resealed { vec!["iron".to_owned()] } else { Vec::new() },
        hidden: unread.iter().map(|u| (*u).to_owned()).collect(),
        lights: vec!["window".to_owned()],
        px_per_mm: Some(9.0),
        angle_deg: Some(12.0),
        unread: unread.iter().map(|u| (*u).to_owned()).collect(),
        stance: if unread.is_empty() { Stance::Neither } else { Stance::CannotTell },
        action,
        weight: bans,
        against: vec![AgainstBans { state: State::Resealed, bans }],
    }
}

fn set() -> Vec<EvaluatedItem> {
    let sealed = State::Sealed;
    let reclosed = State::Resealed;
    vec![
        item("s1", sealed, 0.0, 1.2, &[], Action::YourCall),
        item("s2", sealed, 0.0, 0.5, &[], Action::YourCall),
        item("s3", sealed, 0.0, -0.4, &[], Action::Pass),
        item("s4", sealed, 0.0, 0.1, &["back"], Action::Ask),
        item("r1", reclosed, 0.9, -1.3, &[], Action::Pass),
        item("r2", reclosed, 0.3, 0.4, &[], Action::YourCall),
        item("r3", reclosed, 0.7, -0.9, &[], Action::Pass),
    ]
}

#[test]
fn a_small_set_by_hand() {
    let items = set();
    let all = comparisons(&items);
    assert_eq!(all.iter().map(|c| c.against).collect::<Vec<_>>(), [None, Some(State::Resealed)]);
    let c = &all[1];
    assert_eq!((c.sealed, c.others), (4, 3));
    // Ordered pairs: 1.2 and 0.5 beat all three; 0.1 beats two, −0.4 beats two: 10 of 12.
    assert!((c.auc.unwrap() - 10.0 / 12.0).abs() < 1e-12);
    // Mean of log2(1 + 10^∓w) on either side.
    let log2 = |x: f64| casebook::elementary::ln(x) / std::f64::consts::LN_2;
    let one = |w: f64| log2(1.0 + casebook::elementary::exp10(w));
    let expected = ((one(-1.2) + one(-0.5) + one(0.4) + one(-0.1)) / 4.0
        + (one(-1.3) + one(0.4) + one(-0.9)) / 3.0)
        / 2.0;
    assert!((c.cllr.unwrap() - expected).abs() < 1e-9);
    assert!(c.min_cllr.unwrap() <= c.cllr.unwrap());
    let weak = c.steps.iter().find(|s| s.step == VerbalStep::Weak).unwrap();
    assert_eq!((weak.false_sealed.count, weak.false_sealed.of), (1, 3));
    assert_eq!((weak.false_not_sealed.count, weak.false_not_sealed.of), (1, 4));
    assert!(c.reliability.windows(2).all(|w| w[0][0] <= w[1][0] && w[0][1] <= w[1][1]));
    assert!(c.reliability.iter().flatten().all(|v| v.is_finite()));
}

#[test]
fn parts_keep_all_sealed_against_each_severity() {
    let items = set();
    let slices = slices(&items);
    let of = |by: &str, part: &str| &slices.iter().find(|s| s.by == by && s.part == part).unwrap().comparison;
    let blatant = of("severity", "0.8 to 1.0");
    assert_eq!((blatant.sealed, blatant.others), (4, 1));
    assert_eq!(blatant.auc, Some(1.0));
    assert_eq!(of("severity", "0.2 to 0.4").auc, Some(0.5), "0.4 lies below two of four");
    assert_eq!(
        (of("coverage", "every deciding view read").sealed, of("coverage", "a deciding view unread").others),
        (3, 0)
    );
    assert_eq!(of("coverage", "a deciding view unread").cllr, None, "nothing to compare is no figure");
    let d = decisions(&items);
    assert_eq!((d.hidden, d.hidden_asked, d.bought_unread, d.passed_sealed), (1, 1, 0, 1));
}
