//! The demo against its truth: what the program said of every invented offer, beside what it is.
//!
//! In: a folder into which `untorn demo` was laid (environment variable `UNTORN_DEMO_DIR`; `./check` sets
//! it after its demo step), and `demo/offers/truth.json`. Without the variable this prints a note and
//! passes, because the demo takes minutes. All misses are shown at once, after the whole table.
//! Never here: how an opinion comes about.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "test helpers stop the test, as they should; the table goes to the test's output"
)]

use std::path::Path;

use casebook::hypothesis::State;
use casebook::library::Library;
use casebook::opinion::{Action, ItemReport, Stance, VerbalStep};
use casebook::truth::{ItemTruth, TruthFile};

/// Severity from which a re-closing is blatant: what the demo must see.
const BLATANT: f64 = 0.8;
/// Genuine items that may have moderate support against them, no more: heavy wear (0.7 and above)
/// goes beyond that of any specimen in the demo's library, so its weights do not know such wear.
const WORN_AND_DOUBTED: usize = 2;

/// What is wrong with one item's opinion, or nothing.
fn misses(truth: &ItemTruth, report: &ItemReport) -> Vec<String> {
    let opinion = &report.opinion;
    let action = &report.decision.action;
    let mut misses = Vec::new();
    let unread: Vec<&str> = opinion.coverage.iter().filter(|v| !v.read).map(|v| v.view.as_str()).collect();
    if matches!(action, Action::Buy { .. }) && !unread.is_empty() {
        misses.push(format!("buys with {} unread", unread.join(", ")));
    }
    let never_made = truth.state == State::NeverMade;
    let pack = truth.product.as_str().ends_with("/pack");
    let blatant = match truth.state {
        State::Sealed => false,
        State::Resealed => truth.severity >= BLATANT,
        State::Counterfeit => pack,
        State::NeverMade => true,
    };
    if blatant && (never_made || truth.hidden.is_empty()) {
        let seen = matches!(opinion.stance, Stance::AgainstSealed { most, step }
            if most == truth.state && step >= VerbalStep::Moderate);
        if !seen {
            misses.push(format!("is a blatant case of {}, which is not said", truth.state));
        }
        if *action != Action::Pass {
            misses.push("is a blatant case and not passed over".to_owned());
        }
    }
    if !truth.hidden.is_empty() && !never_made {
        if opinion.stance != Stance::CannotTell {
            misses.push("has hidden views and an opinion".to_owned());
        }
        if *action != Action::Ask {
            misses.push("has hidden views that are not asked for".to_owned());
        }
        for view in truth.hidden.iter().filter(|view| !names(&unread, view)) {
            misses.push(format!("the hidden {view} is not named as unread"));
        }
    }
    misses
}

/// Whether a deciding view of the truth file is among the unread ones: both write words with spaces
/// or hyphens (`top-end-seal`, `top end seal`).
fn names(unread: &[&str], view: &str) -> bool {
    unread.iter().any(|unread| unread.replace(' ', "-") == view)
}

#[test]
fn the_demo_says_what_its_truth_demands() {
    let Some(folder) = std::env::var_os("UNTORN_DEMO_DIR") else {
        eprintln!("note: not tested, as UNTORN_DEMO_DIR names no folder with the demo laid and examined");
        return;
    };
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folder = here.join(folder);
    let truth: TruthFile = casebook::document::read(&here.join("demo/offers/truth.json")).unwrap();
    assert!(truth.cases.len() >= 24, "{} offers", truth.cases.len());
    let index = folder.join("library/index.sqlite");
    assert!(index.exists(), "{}: run `untorn demo --into` that folder first", index.display());
    let library = Library::open(&folder.join("library")).unwrap();

    let mut all = Vec::new();
    let mut doubted = Vec::new();
    for (case, facts) in &truth.cases {
        let Some(examination) = library.latest_examination(case).unwrap() else {
            all.push(format!("{case}: was not examined"));
            continue;
        };
        for (item, truth) in &facts.items {
            let Some(report) = examination.items.iter().find(|report| report.opinion.item == *item) else {
                all.push(format!("{case} {item}: no opinion; {} items were found", examination.items.len()));
                continue;
            };
            println!(
                "{case} {item} {:34} {:11} severity {:.2} wear {:.2} hidden {:2} | {:52} {:+6.2} {:?}",
                truth.product.as_str(),
                truth.state.word(),
                truth.severity,
                truth.wear,
                truth.hidden.len(),
                format!("{:?}", report.opinion.stance),
                report.opinion.weight.value.0,
                report.decision.action,
            );
            all.extend(misses(truth, report).into_iter().map(|miss| format!("{case} {item}: {miss}")));
            if let (State::Sealed, Stance::AgainstSealed { step, .. }) = (truth.state, report.opinion.stance)
            {
                doubted.push(step);
                if step > VerbalStep::Moderate {
                    all.push(format!("{case} {item}: genuine, with {step:?} support against it"));
                }
            }
        }
    }
    let moderate = doubted.iter().filter(|step| **step >= VerbalStep::Moderate).count();
    println!("genuine items with support against them: {} ({moderate} moderate or more)", doubted.len());
    if moderate > WORN_AND_DOUBTED {
        all.push(format!("{moderate} genuine items with moderate support against them"));
    }
    assert!(all.is_empty(), "{} misses:\n{}", all.len(), all.join("\n"));
}
