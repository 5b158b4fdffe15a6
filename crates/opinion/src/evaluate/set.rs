//! Figures of merit of a labelled set, whole and in parts.
//!
//! In: what was said of each item, beside its truth. Out: comparisons, slices and counts of decisions.
//! Never here: files, plots.

use casebook::elementary::log10;
use casebook::evaluation::{AgainstBans, Comparison, Decisions, EvaluatedItem, Share, Slice, StepRate};
use casebook::hypothesis::State;
use casebook::names::{ProductId, Slug};
use casebook::opinion::{Action, ItemReport, Stance};
use casebook::truth::{CaseTruth, ItemTruth, PhotoTruth};

use super::{Proportion, Scored, auc, cllr, equal_error_rate, min_cllr, pav_log10_lr, rates_by_step};
use crate::numeric::order::quantile;

/// Confidence of the exact intervals.
const CONFIDENCE: f64 = 0.95;
/// Ends of the parts by severity and by wear.
const FIFTHS: [f64; 6] = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0];
/// Ends of the parts by the steepest angle, degrees.
const ANGLES: [f64; 4] = [0.0, 15.0, 30.0, 90.0];

/// One item beside its truth; `action` is what was decided about it, for an item of a lot that goes with
/// the lot what was decided about the lot.
#[must_use]
pub fn labelled(
    case: &Slug,
    whole: &CaseTruth,
    truth: &ItemTruth,
    said: &ItemReport,
    action: &Action,
) -> EvaluatedItem {
    let item = &said.opinion.item;
    let deciding = said.findings.iter().filter(|f| {
        f.is_read()
            && matches!(
                (f.examiner.as_str(), f.quantity.as_str()),
                ("print", "print-match") | ("end-seal", "ridge-evenness")
            )
    });
    let (mut px_per_mm, mut angle_deg): (Option<f64>, Option<f64>) = (None, None);
    for finding in deciding {
        let seeing = &finding.seeing;
        if let Some(px) = seeing.px_per_mm {
            px_per_mm = Some(px_per_mm.map_or(px, |least| least.min(px)));
        }
        if let Some(angle) = seeing.angle_deg {
            angle_deg = Some(angle_deg.map_or(angle, |most| most.max(angle)));
        }
    }
    let shows = |photo: &&PhotoTruth| photo.faces.iter().any(|f| f.item == *item);
    let mut lights: Vec<String> = whole.photos.values().filter(shows).map(|p| p.light.clone()).collect();
    lights.sort();
    lights.dedup();
    let mut closed_by: Vec<String> = truth.ends.values().map(|end| end.by.clone()).collect();
    closed_by.sort();
    closed_by.dedup();
    let opinion = &said.opinion;
    EvaluatedItem {
        case: case.clone(),
        item: item.clone(),
        state: truth.state,
        product: truth.product.clone(),
        severity: truth.severity,
        wear: truth.wear,
        closed_by,
        hidden: truth.hidden.clone(),
        lights,
        px_per_mm,
        angle_deg,
        unread: opinion.coverage.iter().filter(|v| !v.read).map(|v| v.view.clone()).collect(),
        stance: opinion.stance,
        action: action.clone(),
        weight: opinion.weight.value.0,
        against: opinion
            .against
            .iter()
            .map(|a| AgainstBans { state: a.state, bans: a.weight.value.0 })
            .collect(),
    }
}

/// The log10 likelihood ratios behind a comparison: of sealed items, and of those of the alternative;
/// without one, of everything that is not sealed.
#[must_use]
pub fn scored<'a>(items: impl Iterator<Item = &'a EvaluatedItem>, against: Option<State>) -> Scored {
    let mut out = Scored::default();
    for item in items {
        let ratio = against.map_or(item.weight, |state| item.against(state));
        if item.state == State::Sealed {
            out.first.push(ratio);
        } else if against.is_none_or(|state| state == item.state) {
            out.second.push(ratio);
        }
    }
    out
}

/// Figures of merit of such ratios.
#[must_use]
pub fn compare(scored: &Scored, against: Option<State>) -> Comparison {
    let usable = scored.is_usable();
    let figure = |f: &dyn Fn(&Scored) -> f64| usable.then(|| f(scored)).filter(|x| x.is_finite());
    let share = |p: Proportion| Share { count: p.count, of: p.of, low: p.low, high: p.high };
    Comparison {
        against,
        sealed: scored.first.len() as u64,
        others: scored.second.len() as u64,
        cllr: figure(&cllr),
        min_cllr: figure(&min_cllr),
        auc: figure(&auc),
        equal_error_rate: figure(&equal_error_rate),
        steps: if usable {
            rates_by_step(scored, CONFIDENCE)
                .into_iter()
                .map(|r| StepRate {
                    step: r.step,
                    false_sealed: share(r.false_sealed),
                    false_not_sealed: share(r.false_not_sealed),
                })
                .collect()
        } else {
            Vec::new()
        },
        reliability: if usable { reliability(scored) } else { Vec::new() },
    }
}

/// Stated weights and what pool adjacent violators makes of them, by stated weight.
fn reliability(scored: &Scored) -> Vec<[f64; 2]> {
    let borne = pav_log10_lr(scored);
    let (most, least) = (log10(scored.second.len() as f64 + 1.0), -log10(scored.first.len() as f64 + 1.0));
    let stated = scored.first.iter().chain(&scored.second);
    let borne = borne.first.iter().chain(&borne.second);
    let mut points: Vec<[f64; 2]> =
        stated.zip(borne).filter(|(x, _)| x.is_finite()).map(|(x, y)| [*x, y.clamp(least, most)]).collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    points.dedup();
    points
}

/// Every comparison of a set: against each alternative that it holds, and against all together.
#[must_use]
pub fn comparisons(items: &[EvaluatedItem]) -> Vec<Comparison> {
    let states = State::ALTERNATIVES.into_iter().filter(|s| items.iter().any(|i| i.state == *s));
    std::iter::once(None)
        .chain(states.map(Some))
        .map(|against| compare(&scored(items.iter(), against), against))
        .collect()
}

/// The set in parts: by severity and way of closing (against re-closed; all sealed items stand against
/// each part), by wear of the sealed items, and by what was shown and how well (both sides parted).
#[must_use]
pub fn slices(items: &[EvaluatedItem]) -> Vec<Slice> {
    let mut out = Vec::new();
    let mut add = |by: &str, part: String, against: Option<State>, keep: &dyn Fn(&EvaluatedItem) -> bool| {
        let scored = scored(items.iter().filter(|i| keep(i)), against);
        if scored.first.is_empty() && scored.second.is_empty() {
            return;
        }
        out.push(Slice { by: by.to_owned(), part, comparison: compare(&scored, against) });
    };
    let sealed = |i: &EvaluatedItem| i.state == State::Sealed;
    let within = |value: f64, ends: &[f64]| {
        let last = ends[1] >= FIFTHS[FIFTHS.len() - 1];
        value >= ends[0] && (value < ends[1] || last)
    };
    for ends in FIFTHS.windows(2) {
        let reclosed = |i: &EvaluatedItem| i.state == State::Resealed && within(i.severity, ends);
        if items.iter().any(reclosed) {
            let part = format!("{:.1} to {:.1}", ends[0], ends[1]);
            add("severity", part, Some(State::Resealed), &|i| sealed(i) || reclosed(i));
        }
    }
    let mut ways: Vec<&String> = items.iter().flat_map(|i| &i.closed_by).collect();
    ways.sort();
    ways.dedup();
    for way in ways {
        let keep = |i: &EvaluatedItem| sealed(i) || (i.state == State::Resealed && i.closed_by.contains(way));
        add("way of closing", way.clone(), Some(State::Resealed), &keep);
    }
    for ends in FIFTHS.windows(2) {
        if items.iter().any(|i| sealed(i) && within(i.wear, ends)) {
            let part = format!("{:.1} to {:.1}", ends[0], ends[1]);
            add("wear of sealed items", part, None, &|i| !sealed(i) || within(i.wear, ends));
        }
    }
    let mut lights: Vec<&String> = items.iter().flat_map(|i| &i.lights).collect();
    lights.sort();
    lights.dedup();
    for light in lights {
        add("light", light.clone(), None, &|i| i.lights.contains(light));
    }
    let sharp: Vec<f64> = items.iter().filter_map(|i| i.px_per_mm).collect();
    if sharp.len() >= 3 {
        let (low, high) = (quantile(&sharp, 1.0 / 3.0), quantile(&sharp, 2.0 / 3.0));
        let thirds = [
            (format!("below {low:.1}"), f64::NEG_INFINITY, low),
            (format!("{low:.1} to {high:.1}"), low, high),
            (format!("from {high:.1}"), high, f64::INFINITY),
        ];
        for (part, from, to) in thirds {
            let keep = |i: &EvaluatedItem| i.px_per_mm.is_some_and(|px| px >= from && px < to);
            add("least px/mm of a deciding view", part, None, &keep);
        }
    }
    for ends in ANGLES.windows(2) {
        let keep = |i: &EvaluatedItem| i.angle_deg.is_some_and(|a| a >= ends[0] && a < ends[1]);
        add("steepest angle of a deciding view", format!("{:.0}° to {:.0}°", ends[0], ends[1]), None, &keep);
    }
    add("coverage", "every deciding view read".to_owned(), None, &|i| i.unread.is_empty());
    add("coverage", "a deciding view unread".to_owned(), None, &|i| !i.unread.is_empty());
    let mut products: Vec<&ProductId> = items.iter().map(|i| &i.product).collect();
    products.sort();
    products.dedup();
    for product in products {
        add("product", product.to_string(), None, &|i| i.product == *product);
    }
    out
}

/// Counts of what was decided.
#[must_use]
pub fn decisions(items: &[EvaluatedItem]) -> Decisions {
    let count = |keep: &dyn Fn(&&EvaluatedItem) -> bool| items.iter().filter(keep).count() as u64;
    let bought = |i: &EvaluatedItem| matches!(i.action, Action::Buy { .. });
    let hidden = |i: &EvaluatedItem| !i.hidden.is_empty() && i.state != State::NeverMade;
    Decisions {
        bought_unread: count(&|i| bought(i) && !i.unread.is_empty()),
        hidden_asked: count(&|i| hidden(i) && i.stance == Stance::CannotTell && i.action == Action::Ask),
        hidden: count(&|i| hidden(i)),
        bought_not_sealed: count(&|i| bought(i) && i.state != State::Sealed),
        passed_sealed: count(&|i| i.state == State::Sealed && !hidden(i) && i.action == Action::Pass),
    }
}
