//! Which photo or fact to ask for next: what each answer is expected to bring.
//!
//! Preposterior analysis. For every state that the item may be in, as probable as it is by now, the
//! specimens of that state are laid in as if the answer had shown them: their readings take the place
//! of what is missing, the group is weighed anew, and the posterior that would follow is compared with
//! the present one. Nothing is drawn at random: the mean runs over all sittings of specimens (at most
//! [`MOST_SITTINGS`] a state, evenly spaced), so the same question has the same answer.
//!
//! When one end seal of a pack was read and the other is asked for, sittings count the more the closer
//! the weight of their other end comes to that of the end that was read: where the top end is plainly
//! in order, a re-closed pack was opened at the bottom.
//!
//! Two numbers come out. **Information**: the mean gain of the logarithmic score, in bits. **Worth**: how
//! much better the choice between buying at the asking price and passing is expected to become, had it
//! to be made on what is then known (expected value of sample information). It leaves aside that
//! nothing is bought before every deciding view was read; so views can be told apart while several
//! are missing. Both are at least 0: specimens that happen to mislead do not make asking harmful.
//!
//! In: opinions, findings, the offer's terms, a calibration. Out: [`RankedRequest`]s.
//! Never here: a promise of what a seller will show; a seller who declines ends it (`decide`).
//!
//! Sources: `raiffa1961` (preposterior analysis), `good1985` (weights), `silverman1986` (bandwidth).

use std::collections::BTreeMap;

use casebook::elementary::{exp, exp10, ln};
use casebook::finding::{Finding, Reading};
use casebook::hypothesis::State;
use casebook::names::ProductId;
use casebook::opinion::{Decision, OfferReport, RankedRequest};
use rust_decimal::prelude::ToPrimitive;

use crate::calibration::Calibration;
use crate::decide::{Circumstances, Judged, asked, decide_offer, parts};
use crate::requests::{Wanted, message_to_seller, of_item};
use crate::stakes::{Joint, Stakes, Terms, Worth, probabilities};
use crate::table::{BOTH_ENDS, Raw, Source, end_of, place_of};
use crate::weigh::silverman_bandwidth;

/// More sittings than this of one state say nothing new about a mean, and take time.
const MOST_SITTINGS: usize = 80;
/// A feature belongs to a good photo's answer when that share of the sittings that show its place have it.
const TYPICAL: f64 = 2.0 / 3.0;
/// A message asks for that many things at most, unless more deciding views are missing.
const MOST_ASKED: usize = 3;

/// What a courteous buyer does now: the decision about an offer and its items, with the requests ranked
/// and a message.
///
/// # Input
/// As [`decide_offer`], and the calibration that the opinions rest on.
///
/// # Result
/// By item its decision, and the report on the whole. Requests stand in the order of their use.
#[must_use]
pub fn conclude(
    items: &[Judged<'_>],
    circumstances: &Circumstances<'_>,
    calibration: &Calibration,
) -> (Vec<Decision>, OfferReport) {
    let mut decided = decide_offer(items, circumstances);
    let requests = rank_requests(items, circumstances, calibration);
    let lot = items.len() > 1;
    let named = |r: &RankedRequest| if lot { of_item(&r.item, &r.wants) } else { r.wants.clone() };
    for (item, decision) in items.iter().zip(&mut decided.items) {
        let own = requests.iter().filter(|r| r.item == item.opinion.item);
        decision.requests = own.map(|r| r.wants.clone()).collect();
    }
    decided.offer.requests = requests.iter().map(&named).collect();
    let views = requests.iter().filter(|r| r.view.is_some()).count();
    let most = if views > 0 { views } else { MOST_ASKED };
    let message = message_to_seller(&decided.offer.requests[..most.min(requests.len())]);
    let report = OfferReport {
        total: decided.total,
        decision: decided.offer,
        requests,
        message,
        expected_loss: decided.expected_loss,
    };
    (decided.items, report)
}

/// Everything that could be asked for about an offer's items, the most useful first: deciding views
/// before other photos, then by worth, then by information.
#[must_use]
pub fn rank_requests(
    items: &[Judged<'_>],
    circumstances: &Circumstances<'_>,
    calibration: &Calibration,
) -> Vec<RankedRequest> {
    let parts = parts(items, circumstances).zip(circumstances.total());
    let mut out = Vec::new();
    for (at, item) in items.iter().enumerate() {
        let wanted = asked(item, circumstances.requests);
        if wanted.is_empty() {
            continue;
        }
        let price = parts.as_ref().and_then(|((terms, parts), total)| {
            let others = parts.iter().enumerate().filter(|(other, _)| *other != at);
            let others = others.fold(Joint::nothing(), |joint, (_, (worth, p))| joint.and(worth, p));
            Some(Price { terms: *terms, others, worth: parts[at].0, total: total.amount.to_f64()? })
        });
        for one in wanted {
            out.push(request(item, one, price.as_ref(), calibration));
        }
    }
    let worth = |r: &RankedRequest| r.worth.as_ref().map_or(0.0, |w| w.amount.to_f64().unwrap_or(0.0));
    out.sort_by(|a, b| {
        let views = b.view.is_some().cmp(&a.view.is_some());
        let tells = b.information_bits.total_cmp(&a.information_bits);
        views.then(worth(b).total_cmp(&worth(a))).then(tells)
    });
    out
}

/// What the choice about one item's offer hangs on besides that item's state.
struct Price {
    terms: Terms,
    others: Joint,
    worth: Worth,
    total: f64,
}

impl Price {
    /// Expected utility of buying when the item's states have these probabilities.
    fn buying(&self, probabilities: &[f64; 4]) -> (f64, Stakes) {
        let stakes = Stakes::new(self.terms, &self.others.and(&self.worth, probabilities));
        (stakes.expected(self.total), stakes)
    }
}

fn request(
    item: &Judged<'_>,
    wanted: Wanted,
    price: Option<&Price>,
    calibration: &Calibration,
) -> RankedRequest {
    let now = probabilities(item.opinion);
    let answers = item
        .opinion
        .product
        .as_ref()
        .zip(now)
        .map(|(product, now)| answers(item, product, &wanted, &now, calibration))
        .unwrap_or_default();
    let mut out = RankedRequest {
        item: item.opinion.item.clone(),
        wants: wanted.wants,
        view: wanted.view,
        worth: None,
        information_bits: 0.0,
        simulated: u32::try_from(answers.len()).unwrap_or(u32::MAX),
    };
    let Some(now) = now else { return out };
    let mut bits = 0.0;
    for answer in &answers {
        let (before, after) = (now[answer.state], answer.posterior[answer.state]);
        if after > 0.0 {
            bits += answer.share * ln(after / before) / std::f64::consts::LN_2;
        }
    }
    out.information_bits = bits.max(0.0);
    if let Some(price) = price.filter(|_| !answers.is_empty()) {
        let surely = |state: usize| {
            let mut p = [0.0; 4];
            p[state] = 1.0;
            price.buying(&p).0
        };
        let by_state = [0, 1, 2, 3].map(surely);
        let (blind, stakes) = price.buying(&now);
        let informed: f64 = answers
            .iter()
            .filter(|answer| price.buying(&answer.posterior).0 > 0.0)
            .map(|answer| answer.share * by_state[answer.state])
            .sum();
        let gain = price.terms.certain(informed.max(0.0)) - price.terms.certain(blind.max(0.0));
        out.worth = stakes.money(gain.max(0.0));
    }
    out
}

/// One simulated answer.
struct Answer {
    /// The state of the specimen that was laid in, as an index of `State::ALL`.
    state: usize,
    /// How probable it is.
    share: f64,
    /// What would be held then, in the order of `State::ALL`.
    posterior: [f64; 4],
}

/// The features of one group that an answer would bring.
struct Brings {
    group: String,
    now: Raw,
    /// Names of plain columns.
    plain: Vec<String>,
    /// `quantity/feature` of the end that would be shown, and which end.
    ends: Option<(usize, Vec<String>)>,
}

fn answers(
    item: &Judged<'_>,
    product: &ProductId,
    wanted: &Wanted,
    now: &[f64; 4],
    calibration: &Calibration,
) -> Vec<Answer> {
    let brings = brings(item.findings, product, wanted, calibration);
    let Some(first) = brings.first() else { return Vec::new() };
    let before: Vec<([f64; 3], Option<Likeness<'_>>)> = brings
        .iter()
        .map(|b| (calibration.outline(product, &b.group, &b.now), Likeness::of(product, b, calibration)))
        .collect();
    let mut out = Vec::new();
    for (state, probability) in now.iter().enumerate().filter(|(_, p)| **p > 0.0) {
        // Of each sitting one or two simulated answers with their relative weight.
        let mut of_state: Vec<(f64, [f64; 4])> = Vec::new();
        for sitting in stand_ins(calibration.sittings(product, &first.group), State::ALL[state]) {
            for way in 0..2 {
                let Some((weight, moved)) = lay_in(product, &brings, &before, sitting, way, calibration)
                else {
                    continue;
                };
                // The posterior moves by the change of the weights alone.
                let mut posterior = *now;
                for (p, change) in posterior[1..].iter_mut().zip(moved) {
                    *p *= exp10(-change);
                }
                let sum: f64 = posterior.iter().sum();
                of_state.push((weight, posterior.map(|p| p / sum)));
            }
        }
        let total: f64 = of_state.iter().map(|a| a.0).sum();
        if total > 0.0 {
            out.extend(of_state.into_iter().map(|(weight, posterior)| Answer {
                state,
                share: probability * weight / total,
                posterior,
            }));
        }
    }
    out
}

/// Sittings that stand for a state. One without specimens is stood for by its nearest kin: never made by
/// counterfeit, and any by sealed, which tells nothing.
fn stand_ins(sittings: &[Source], state: State) -> Vec<&Source> {
    let kin: &[State] = match state {
        State::NeverMade => &[State::NeverMade, State::Counterfeit, State::Sealed],
        State::Counterfeit => &[State::Counterfeit, State::Sealed],
        State::Resealed => &[State::Resealed, State::Sealed],
        State::Sealed => &[State::Sealed],
    };
    for one in kin {
        let own: Vec<&Source> = sittings.iter().filter(|s| s.state == *one).collect();
        if !own.is_empty() {
            let step = own.len().div_ceil(MOST_SITTINGS).max(1);
            return own.into_iter().step_by(step).collect();
        }
    }
    Vec::new()
}

/// What an answer to a request would bring, by group; the groups with end seals first.
fn brings(
    findings: &[Finding],
    product: &ProductId,
    wanted: &Wanted,
    calibration: &Calibration,
) -> Vec<Brings> {
    // Places that the answer shows: the view itself, and those of unread findings that ask for it.
    let mut places: Vec<&str> = wanted.view.iter().map(String::as_str).collect();
    for finding in findings {
        if let Reading::CannotTell { missing } = &finding.reading
            && missing.iter().any(|m| m.wants == wanted.wants)
            && !places.contains(&place_of(finding))
        {
            places.push(place_of(finding));
        }
    }
    let mut out = Vec::new();
    for group in calibration.groups(product) {
        let sittings = calibration.sittings(product, group);
        let now = Raw::of(findings.iter().filter(|f| f.group.as_str() == group));
        let shown = places.iter().find_map(|place| end_of(place)).filter(|end| !now.has_end(*end));
        let both_then = shown.is_none_or(|end| now.has_end(1 - end));
        let typical = |count: usize, of: usize| of > 0 && count as f64 >= TYPICAL * of as f64;
        let mut plain: Vec<String> = Vec::new();
        for place in &places {
            // What compares both ends comes only with both.
            if end_of(place).is_some() || (*place == BOTH_ENDS && !both_then) {
                continue;
            }
            let there = |name: &str| name.split('/').nth(1) == Some(*place);
            let showing: Vec<&Source> =
                sittings.iter().filter(|s| s.raw.plain.keys().any(|k| there(k))).collect();
            let mut names: Vec<&String> =
                showing.iter().flat_map(|s| s.raw.plain.keys().filter(|k| there(k))).collect();
            names.sort();
            names.dedup();
            plain.extend(
                names
                    .into_iter()
                    .filter(|name| !now.plain.contains_key(*name))
                    .filter(|name| {
                        let have = showing.iter().filter(|s| s.raw.plain.contains_key(*name)).count();
                        typical(have, showing.len())
                    })
                    .cloned(),
            );
        }
        let ends = shown.and_then(|end| {
            let mut names: Vec<&String> = sittings.iter().flat_map(|s| s.raw.ends.keys()).collect();
            names.sort();
            names.dedup();
            let showing = sittings.iter().filter(|s| s.raw.has_end(0) && s.raw.has_end(1)).count();
            let have = |name: &String| {
                let whole = |s: &&Source| s.raw.ends.get(name).is_some_and(|c| c.iter().all(Option::is_some));
                sittings.iter().filter(whole).count()
            };
            let names: Vec<String> =
                names.into_iter().filter(|n| typical(have(n), showing)).cloned().collect();
            (!names.is_empty()).then_some((end, names))
        });
        if !plain.is_empty() || ends.is_some() {
            out.push(Brings { group: group.to_owned(), now, plain, ends });
        }
    }
    out.sort_by_key(|b| b.ends.is_none());
    out
}

/// Lays one sitting in as the answer: how much it counts and how far the weights against each
/// alternative move. `way` says which of its ends is taken for the one that is shown; `None` when it
/// lacks what a good photo shows.
fn lay_in(
    product: &ProductId,
    brings: &[Brings],
    before: &[([f64; 3], Option<Likeness<'_>>)],
    sitting: &Source,
    way: usize,
    calibration: &Calibration,
) -> Option<(f64, [f64; 3])> {
    let mut weight = 1.0;
    let mut moved = [0.0; 3];
    for (one, (before, likeness)) in brings.iter().zip(before) {
        let source = calibration
            .sittings(product, &one.group)
            .iter()
            .find(|s| s.specimen == sitting.specimen && s.sitting == sitting.sitting)?;
        let mut then = one.now.clone();
        for name in &one.plain {
            then.plain.insert(name.clone(), *source.raw.plain.get(name)?);
        }
        if let Some((end, names)) = &one.ends {
            for name in names {
                let cell = (*source.raw.ends.get(name)?)[way]?;
                then.ends.entry(name.clone()).or_default()[*end] = Some(cell);
            }
            if let Some(likeness) = likeness {
                weight *= likeness.weight(source, 1 - way)?;
            }
        } else if way > 0 {
            // Without ends both ways are the same.
            return None;
        }
        let after = calibration.outline(product, &one.group, &then);
        for ((m, a), b) in moved.iter_mut().zip(after).zip(before) {
            *m += a - b;
        }
    }
    Some((weight, moved))
}

/// How much sittings count as ones whose end looks like the end that was read: a normal kernel over what
/// both ends weigh against re-closed when weighed alone.
struct Likeness<'a> {
    read: f64,
    /// By specimen and sitting: the weight of either end alone, where it has what was read.
    own: BTreeMap<(&'a str, &'a str), [Option<f64>; 2]>,
    width: f64,
}

impl<'a> Likeness<'a> {
    /// `None` when the other end was not read either.
    fn of(product: &ProductId, brings: &Brings, calibration: &'a Calibration) -> Option<Self> {
        let read_end = 1 - brings.ends.as_ref()?.0;
        if !brings.now.has_end(read_end) {
            return None;
        }
        let alone = |raw: &Raw, which: usize| -> Option<f64> {
            let mut out = Raw::default();
            for (name, cells) in &brings.now.ends {
                if cells[read_end].is_some() {
                    let cell = raw.ends.get(name).and_then(|c| c[which])?;
                    out.ends.insert(name.clone(), [Some(cell), None]);
                }
            }
            Some(calibration.outline(product, &brings.group, &out)[0])
        };
        let own: BTreeMap<(&str, &str), [Option<f64>; 2]> = calibration
            .sittings(product, &brings.group)
            .iter()
            .map(|s| ((s.specimen.as_str(), s.sitting.as_str()), [0, 1].map(|which| alone(&s.raw, which))))
            .collect();
        let all: Vec<f64> = own.values().flatten().flatten().copied().collect();
        Some(Self { read: alone(&brings.now, read_end)?, own, width: silverman_bandwidth(&all) })
    }

    fn weight(&self, source: &Source, which: usize) -> Option<f64> {
        let own = self.own.get(&(source.specimen.as_str(), source.sitting.as_str()))?[which]?;
        if self.width > 0.0 {
            let z = (self.read - own) / self.width;
            Some(exp(-0.5 * z * z))
        } else {
            Some(1.0)
        }
    }
}
