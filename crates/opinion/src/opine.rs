//! The opinion about one item: groups weighed, summed, bounded, worded.
//!
//! In: [`Question`] and a [`Calibration`]. Out: `casebook::opinion::Opinion`.
//! Never here: pixels, prices.
//!
//! Sources: `good1985` (weights of independent groups add), `enfsi2015` (words).

use std::collections::BTreeMap;

use casebook::case::{ConfirmedOutcomes, Prior};
use casebook::catalogue::Form;
use casebook::finding::{Finding, Lack, Reading};
use casebook::hypothesis::State;
use casebook::names::{ProductId, Slug};
use casebook::opinion::{
    AgainstState, Contribution, DecidingView, Opinion, SpecimenCount, Stance, StateWeight, VerbalStep,
    WeightInterval, Without,
};
use casebook::units::Bans;

use crate::calibration::{Calibration, GroupWeight, bears_on};
use crate::coverage::{deciding_views, spoken};
use crate::facts::{self, fact_weight};
use crate::mix::{DEFAULT_PRIOR, Mix, posterior, prior_after_outcomes};
use crate::numeric::order::quantile;
use crate::table::{ENDS, Raw};
use crate::weigh::RESAMPLES;
use crate::words::{cap_reason, sentence, state_words, step_of};

/// Groups whose weights differ in direction count as a conflict when each reaches a ratio of 3.
const CONFLICT: f64 = 0.477;

/// What is asked about one item.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// The item.
    pub item: &'a Slug,
    /// The product it shows or claims to be, when that is known.
    pub product: Option<&'a ProductId>,
    /// Its form; decides which views decide. For a product that was never made, the form offered.
    pub form: Option<Form>,
    /// All findings about the item, those of the offer's words among them.
    pub findings: &'a [Finding],
    /// The user's prior; [`DEFAULT_PRIOR`] when there is none.
    pub prior: Option<Prior>,
    /// The seller's confirmed outcomes, which update the prior.
    pub outcomes: Option<ConfirmedOutcomes>,
    /// The mix of alternatives; the prior's own when the user gave one, else equal shares.
    pub mix: Option<Mix>,
}

/// The group of the findings on a box's film.
const FILM: &str = "film";

/// One group, weighed.
struct Group {
    name: Slug,
    findings: Vec<String>,
    says: String,
    basis: String,
    weights: [WeightInterval; 3],
    /// By resample and alternative.
    replicates: Vec<[f64; 3]>,
    /// The part that rests on facts.
    facts: [f64; 3],
    outside: bool,
    /// Whether specimens weigh it at all.
    weighed: bool,
    counts: Vec<SpecimenCount>,
}

/// Forms the opinion.
///
/// # Result
/// Always an opinion; `cannot tell`, `not covered` and `outside the library` are stances of it. The
/// weights do not depend on the prior.
///
/// Support **against** sealed is worded from the weight against the single alternative that the
/// findings favour most, because the sentence names that one; support **for** sealed from the weight
/// against the mix. By Markov's inequality a sealed item shows a ratio of 1/k or less against a given
/// alternative at most once in k cases, so against any of three at most 3 times in k.
#[must_use]
pub fn opine(question: &Question<'_>, calibration: &Calibration) -> Opinion {
    let groups = weigh_groups(question, calibration);
    let totals = total(&groups, None);
    let mix = question.mix.unwrap_or_else(|| question.prior.as_ref().map_or(Mix::EQUAL, Mix::of_prior));
    let replicates: Vec<[f64; 3]> = (0..RESAMPLES).map(|at| total_replicate(&groups, at)).collect();

    let against: Vec<AgainstState> = State::ALTERNATIVES
        .into_iter()
        .enumerate()
        .map(|(at, state)| AgainstState {
            state,
            share: mix.share(state),
            weight: interval(totals[at], replicates.iter().map(|r| r[at]), fact_width(&groups, at)),
        })
        .collect();
    let fact_spread = {
        let ends = [0, 1, 2].map(|at| fact_width(&groups, at));
        let value = mix.weight(totals);
        let low = mix.weight([0, 1, 2].map(|at: usize| totals[at] - ends[at].0));
        let high = mix.weight([0, 1, 2].map(|at: usize| totals[at] + ends[at].1));
        (value - low, high - value)
    };
    let weight = interval(mix.weight(totals), replicates.iter().map(|r| mix.weight(*r)), fact_spread);

    let coverage = deciding_views(question.form, question.findings);
    let counts = merged_counts(&groups, calibration);
    let (stance, wording_capped, facts_only) = stance(question, &groups, totals, &mix, &coverage, &counts);
    let unread: Vec<String> = coverage.iter().filter(|v| !v.read).map(|v| spoken(&v.view)).collect();

    let prior = question.prior.unwrap_or(DEFAULT_PRIOR);
    let prior = question.outcomes.map_or(prior, |outcomes| prior_after_outcomes(&prior, outcomes));
    let without = groups
        .iter()
        .enumerate()
        .map(|(at, group)| Without {
            group: group.name.clone(),
            place: None,
            weight: Bans(mix.weight(total(&groups, Some(at)))),
        })
        .chain(without_ends(question, calibration, totals, &mix))
        .collect();
    let conflicts = conflicts(question, &groups, &mix);
    let mut contributions: Vec<(f64, Contribution)> = groups.into_iter().map(contribution).collect();
    contributions.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.group.cmp(&b.1.group)));
    Opinion {
        item: question.item.clone(),
        product: question.product.cloned(),
        words: sentence(&stance, &unread, facts_only),
        stance,
        weight,
        against,
        coverage,
        contributions: contributions.into_iter().map(|(_, c)| c).collect(),
        without,
        conflicts,
        posterior: posterior(&prior, totals),
        calibration: counts,
        wording_capped,
    }
}

/// What the weight would be had one end seal of a pack not been read, the other being so: which of the
/// two carries the opinion.
fn without_ends(
    question: &Question<'_>,
    calibration: &Calibration,
    totals: [f64; 3],
    mix: &Mix,
) -> Vec<Without> {
    let Some(product) = question.product else { return Vec::new() };
    let mut out = Vec::new();
    for group in calibration.groups(product) {
        let raw = Raw::of(question.findings.iter().filter(|f| f.group.as_str() == group));
        let Ok(name) = group.parse::<Slug>() else { continue };
        if !(raw.has_end(0) && raw.has_end(1)) {
            continue;
        }
        let whole = calibration.outline(product, group, &raw);
        for (end, place) in ENDS.into_iter().enumerate() {
            let less = calibration.outline(product, group, &raw.without_end(end));
            let moved = [0, 1, 2].map(|at: usize| totals[at] - whole[at] + less[at]);
            out.push(Without {
                group: name.clone(),
                place: Some(place.to_owned()),
                weight: Bans(mix.weight(moved)),
            });
        }
    }
    out
}

fn weigh_groups(question: &Question<'_>, calibration: &Calibration) -> Vec<Group> {
    let mut by_group: BTreeMap<&Slug, Vec<&Finding>> = BTreeMap::new();
    for finding in question.findings.iter().filter(|f| f.is_read()) {
        by_group.entry(&finding.group).or_default().push(finding);
    }
    by_group.into_iter().map(|(name, findings)| weigh_group(question, calibration, name, &findings)).collect()
}

fn weigh_group(
    question: &Question<'_>,
    calibration: &Calibration,
    name: &Slug,
    findings: &[&Finding],
) -> Group {
    let facts: Vec<_> = findings.iter().filter_map(|f| fact_weight(f)).collect();
    let fact = facts::strongest(&facts);
    let weighed = question.product.and_then(|product| calibration.weigh(product, name.as_str(), findings));
    let mut weights = fact;
    let mut replicates = vec![fact.map(|w| w.value.0); RESAMPLES];
    if let Some(group) = &weighed {
        for (state, pair) in &group.pairs {
            let Some(at) = State::ALTERNATIVES.iter().position(|s| s == state) else { continue };
            weights[at].value.0 += pair.value;
            weights[at].low.0 += pair.low;
            weights[at].high.0 += pair.high;
            for (replicate, row) in replicates.iter_mut().enumerate() {
                let own = pair.replicates.get(replicate).copied().unwrap_or(pair.unbounded);
                row[at] += if pair.outside { 0.0 } else { own.clamp(pair.bounds.lower, pair.bounds.upper) };
            }
        }
    }
    let says = says(question, calibration, name, findings, weights.iter().map(|w| w.value.0).sum());
    Group {
        name: name.clone(),
        findings: findings.iter().map(|f| f.key()).collect(),
        says,
        basis: basis(weighed.as_ref(), findings, !facts.is_empty()),
        weights,
        replicates,
        facts: fact.map(|w| w.value.0),
        outside: weighed.as_ref().is_some_and(|g| g.outside),
        weighed: weighed.as_ref().is_some_and(|g| !g.pairs.is_empty()),
        counts: weighed.map(|g| g.counts).unwrap_or_default(),
    }
}

/// What is seen, in the sentences of the two findings that say most in the group's direction.
fn says(
    question: &Question<'_>,
    calibration: &Calibration,
    name: &Slug,
    findings: &[&Finding],
    weight: f64,
) -> String {
    let mut ranked: Vec<&Finding> = match question.product {
        Some(product) => calibration.oddest_first(product, name.as_str(), findings),
        None => findings.to_vec(),
    };
    if weight >= 0.0 {
        // Towards sealed the most ordinary weighed findings speak.
        let weighed = ranked.iter().take_while(|f| !f.features.is_empty()).count();
        ranked[..weighed].reverse();
    }
    let mut sentences: Vec<&str> = Vec::new();
    for finding in ranked {
        if sentences.len() < 2 && !finding.says.is_empty() && !sentences.contains(&finding.says.as_str()) {
            sentences.push(&finding.says);
        }
    }
    sentences.join(" ")
}

/// What a group's weight rests on, in words.
fn basis(weighed: Option<&GroupWeight>, findings: &[&Finding], has_facts: bool) -> String {
    let mut parts: Vec<String> = Vec::new();
    if has_facts {
        for finding in findings {
            if let Reading::Fact { error_rate, source, .. } = &finding.reading {
                parts.push(format!("{source}; the source errs in {:.1} % of cases", 100.0 * error_rate));
            }
        }
    }
    match weighed {
        Some(group) if group.outside => {
            parts.push("outside every class of specimens (each would show less than 1 in 1,000 so far out): weighs nothing".to_owned());
        }
        Some(group) => {
            if findings.iter().any(|f| !bears_on(f.group.as_str(), State::Resealed)) {
                parts.push("not weighed against re-closed: re-closing leaves the print as it was".to_owned());
            }
            for (state, pair) in &group.pairs {
                let bound = if pair.outside {
                    "outside both classes: weighs nothing".to_owned()
                } else if pair.silent {
                    "these specimens do not differ surely enough: weighs nothing".to_owned()
                } else {
                    let cut = if pair.value == pair.unbounded { "" } else { ", at which it stops" };
                    format!("can carry {:.2} to {:+.2} ban{cut}", pair.bounds.lower, pair.bounds.upper)
                };
                parts.push(format!(
                    "against {}: {} sealed and {} other specimens, {} feature(s), cross-validated cost {:.2}; {bound}",
                    state_words(*state),
                    pair.specimens[0],
                    pair.specimens[1],
                    pair.columns,
                    pair.cllr,
                ));
            }
        }
        None if findings.iter().any(|f| !f.features.is_empty()) => {
            parts.push("the library has too few specimens with these features: weighs nothing".to_owned());
        }
        None if !has_facts => parts.push("shown as it is: weighs nothing".to_owned()),
        None => {}
    }
    parts.join("; ")
}

/// Sum of the groups' weights, with one left out.
fn total(groups: &[Group], without: Option<usize>) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (at, group) in groups.iter().enumerate() {
        if Some(at) != without {
            for (s, w) in sum.iter_mut().zip(group.weights) {
                *s += w.value.0;
            }
        }
    }
    sum
}

fn total_replicate(groups: &[Group], at: usize) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for group in groups {
        for (s, w) in sum.iter_mut().zip(group.replicates[at]) {
            *s += w;
        }
    }
    sum
}

/// How far facts alone let the sum move down and up.
fn fact_width(groups: &[Group], at: usize) -> (f64, f64) {
    let own: Vec<&Group> = groups.iter().filter(|g| g.facts[at] != 0.0).collect();
    let root = |f: &dyn Fn(&WeightInterval) -> f64| {
        own.iter().map(|g| f(&g.weights[at])).map(|w| w * w).sum::<f64>().sqrt()
    };
    (root(&|w| w.value.0 - w.low.0), root(&|w| w.high.0 - w.value.0))
}

/// The 90 % interval: that of the resamples, widened by what the facts leave open, around the value.
fn interval(value: f64, replicates: impl Iterator<Item = f64>, facts: (f64, f64)) -> WeightInterval {
    let all: Vec<f64> = replicates.collect();
    let (low, high) = (quantile(&all, 0.05).min(value), quantile(&all, 0.95).max(value));
    let widen = |a: f64, b: f64| (a * a + b * b).sqrt();
    WeightInterval {
        value: Bans(value),
        low: Bans(value - widen(value - low, facts.0)),
        high: Bans(value + widen(high - value, facts.1)),
    }
}

/// Counts behind the weights: by state and origin the largest of the groups'. Without any weighed
/// group, what the calibration holds.
fn merged_counts(groups: &[Group], calibration: &Calibration) -> Vec<SpecimenCount> {
    let mut merged: Vec<SpecimenCount> = Vec::new();
    for count in groups.iter().flat_map(|g| &g.counts) {
        match merged.iter_mut().find(|m| m.state == count.state && m.origin == count.origin) {
            Some(known) => known.count = known.count.max(count.count),
            None => merged.push(*count),
        }
    }
    if merged.is_empty() {
        return calibration.counts();
    }
    merged.sort_by_key(|m| (m.state, m.origin));
    merged
}

/// Stance, the reason for a cap, and whether the wording rests on facts alone.
fn stance(
    question: &Question<'_>,
    groups: &[Group],
    totals: [f64; 3],
    mix: &Mix,
    coverage: &[DecidingView],
    counts: &[SpecimenCount],
) -> (Stance, Option<String>, bool) {
    let mut facts = [0.0; 3];
    for group in groups {
        for (sum, one) in facts.iter_mut().zip(group.facts) {
            *sum += one;
        }
    }
    let most = (0..3).min_by(|a, b| totals[*a].total_cmp(&totals[*b])).unwrap_or(0);
    let state = State::ALTERNATIVES[most];
    let is_against = Mix::EQUAL.weight(totals) < 0.0;
    let unread = coverage.iter().any(|view| !view.read);

    let full = step_of(totals[most]).filter(|_| totals[most] < 0.0 && is_against);
    let from_facts = step_of(facts[most]).filter(|_| facts[most] < 0.0);
    let reason = cap_reason(&[State::Sealed, state], counts);
    let (step, capped) = cap(full, from_facts, reason);
    // A weight that facts alone explain is worded as theirs.
    let facts_only = totals[most] >= facts[most] - 1e-9 && facts[most] < 0.0;
    if let Some(step) = step.filter(|step| *step >= VerbalStep::Moderate) {
        return (Stance::AgainstSealed { most: state, step }, capped, facts_only);
    }
    if question.product.is_none() {
        return if is_uncovered(question.findings) {
            (Stance::NotCovered, None, false)
        } else {
            (Stance::CannotTell, None, false)
        };
    }
    if unread {
        return (Stance::CannotTell, None, false);
    }
    // A film that was read but that no specimens weigh may be anybody's.
    let unjudged = |g: &Group| g.outside || g.name.as_str() == FILM && !g.weighed;
    if groups.iter().any(|g| unjudged(g) && decides(g, question.findings)) {
        return (Stance::OutsideLibrary, None, false);
    }
    if let Some(step) = step {
        return (Stance::AgainstSealed { most: state, step }, capped, facts_only);
    }
    let value = mix.weight(totals);
    let full = step_of(value).filter(|_| value > 0.0);
    let from_facts = step_of(mix.weight(facts)).filter(|_| mix.weight(facts) > 0.0);
    let reason = cap_reason(&[State::Sealed, State::Resealed, State::Counterfeit], counts);
    let (step, capped) = cap(full, from_facts, reason);
    step.map_or((Stance::Neither, None, false), |step| (Stance::ForSealed { step }, capped, false))
}

/// The step that may be worded: what specimens alone support stops at moderate where there is a
/// reason; what facts alone support does not.
fn cap(
    full: Option<VerbalStep>,
    from_facts: Option<VerbalStep>,
    reason: Option<String>,
) -> (Option<VerbalStep>, Option<String>) {
    let (Some(step), Some(reason)) = (full, reason) else { return (full, None) };
    let allowed = from_facts.unwrap_or(VerbalStep::Moderate).max(VerbalStep::Moderate);
    if step > allowed { (Some(allowed), Some(reason)) } else { (Some(step), None) }
}

fn is_uncovered(findings: &[Finding]) -> bool {
    findings.iter().any(|f| {
        f.group.as_str() == "existence"
            && matches!(&f.reading, Reading::CannotTell { missing } if missing.iter().any(|m| m.lack == Lack::Library))
    })
}

/// Whether a group holds a finding that a deciding view rests on.
fn decides(group: &Group, findings: &[Finding]) -> bool {
    findings.iter().any(|f| {
        f.group == group.name
            && f.is_read()
            && matches!(
                (f.examiner.as_str(), f.quantity.as_str()),
                ("print", "print-match") | ("end-seal", "ridge-evenness") | ("overwrap", "film-present")
            )
    })
}

fn conflicts(question: &Question<'_>, groups: &[Group], mix: &Mix) -> Vec<String> {
    let weights: Vec<(&Group, f64)> =
        groups.iter().map(|g| (g, mix.weight(g.weights.map(|w| w.value.0)))).collect();
    let mut out = Vec::new();
    for (first, w) in weights.iter().filter(|(_, w)| *w >= CONFLICT) {
        for (second, v) in weights.iter().filter(|(_, v)| *v <= -CONFLICT) {
            out.push(format!(
                "{} points towards sealed ({w:+.1} ban), {} against it ({v:+.1} ban)",
                spoken(first.name.as_str()),
                spoken(second.name.as_str()),
            ));
        }
    }
    let against_photos = ["title-against-photos", "stated-against-photos"];
    for finding in question.findings.iter().filter(|f| against_photos.contains(&f.quantity.as_str())) {
        if matches!(finding.reading, Reading::Measured { value, .. } if value > 0.0) {
            out.push(finding.says.clone());
        }
    }
    out
}

fn contribution(group: Group) -> (f64, Contribution) {
    let size = group.weights.iter().map(|w| w.value.0.abs()).fold(0.0, f64::max);
    let weights = State::ALTERNATIVES
        .into_iter()
        .zip(group.weights)
        .map(|(state, weight)| StateWeight { state, weight })
        .collect();
    let contribution = Contribution {
        group: group.name,
        findings: group.findings,
        weights,
        basis: group.basis,
        says: group.says,
    };
    (size, contribution)
}
