//! What follows for the user: buy up to a price, ask, or pass.
//!
//! An offer is decided as a whole: whoever wants one pack of a lot buys all of them. Each item says
//! where it stands; the offer is as far as its least settled item, and its price is held against what
//! all items are worth together (`stakes`). The price at which the expected utility is that of passing
//! is the flip price; below it buying is better.
//!
//! Whatever the prior, no buying comes out while the opinion about an item is `cannot tell` or one of
//! its deciding views is unread, nor when the findings speak against an item at moderate support or
//! more: what happened to one item of a lot may have happened to its neighbours. A request that the
//! seller declined is no evidence; it ends the asking, and what is left is the expected loss of buying
//! unseen.
//!
//! In: opinions, findings, the user's values, the offer's terms. Out: `Decision`s.
//!
//! Sources: `pratt1964` (risk aversion), `lindley1985` (expected utility).

use casebook::case::{CaseFile, Request, RequestState, ReturnTerms, Values};
use casebook::finding::{Finding, Reading};
use casebook::money::Money;
use casebook::names::Slug;
use casebook::opinion::{Action, Decision, Opinion, Stance, VerbalStep};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::coverage::spoken;
use crate::requests::{Wanted, asked_for, of_item, wanted};
use crate::stakes::{Joint, Stakes, Terms, Worth, probabilities, worths};
use crate::words::{join, state_words, step_words};

/// What besides the items decides.
#[derive(Debug, Clone, Copy, Default)]
pub struct Circumstances<'a> {
    /// Asking price of the whole offer.
    pub price: Option<&'a Money>,
    /// Shipping of the whole offer to the user.
    pub shipping: Option<&'a Money>,
    /// Return terms.
    pub returns: Option<&'a ReturnTerms>,
    /// What the offer is worth to the user in each state.
    pub values: Option<&'a Values>,
    /// What was asked so far.
    pub requests: &'a [Request],
}

impl<'a> Circumstances<'a> {
    /// Those of a case.
    #[must_use]
    pub fn of_case(case: &'a CaseFile) -> Self {
        let offer = case.offer.as_ref();
        Self {
            price: offer.and_then(|o| o.price.as_ref()),
            shipping: offer.and_then(|o| o.shipping.as_ref()),
            returns: offer.and_then(|o| o.returns.as_ref()),
            values: case.values.as_ref(),
            requests: &case.requests,
        }
    }

    /// Price and shipping together; `None` without a price or with two currencies.
    pub(crate) fn total(&self) -> Option<Money> {
        let price = self.price?;
        self.shipping.map_or_else(|| Some(price.clone()), |shipping| price.plus(shipping))
    }
}

/// One item of an offer, with what is held of it.
#[derive(Debug, Clone, Copy)]
pub struct Judged<'a> {
    /// The opinion about it.
    pub opinion: &'a Opinion,
    /// Its findings.
    pub findings: &'a [Finding],
    /// Whether it lies inside another item of the offer (a pack in its box): its worth is then in that
    /// of the other, unless the user's values name it.
    pub inside: bool,
}

/// What follows for an offer and for each of its items.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// By item, in the order given. Of a lot they hold no price: a lot is bought or left as one.
    pub items: Vec<Decision>,
    /// For the whole.
    pub offer: Decision,
    /// Price and shipping together.
    pub total: Option<Money>,
    /// Expected loss of buying now at that total.
    pub expected_loss: Option<Money>,
}

/// Where one item leaves the user, money aside.
enum Standing {
    /// It speaks against buying.
    Against(String),
    /// The seller would not show what decides.
    Declined(String),
    /// Nobody can tell, and there is nothing to ask for.
    Stuck(String),
    /// Something is to be asked for first.
    Ask(String),
    /// Nothing stands in the way of a price; with what weakens it, in words.
    Open(String),
}

/// Decides about an offer of one item; see [`decide_offer`].
#[must_use]
pub fn decide(opinion: &Opinion, findings: &[Finding], circumstances: &Circumstances<'_>) -> Decision {
    decide_offer(&[Judged { opinion, findings, inside: false }], circumstances).offer
}

/// Decides about an offer as a whole and about each of its items.
///
/// # Input
/// The items in the case's order; the terms of the whole offer. The user's values are those of the
/// whole offer, those of single items where they are named.
///
/// # Result
/// `Buy` only when every deciding view of every item was read, no opinion is against sealed at moderate
/// support or more, and the price (where known) is at most the flip price. At a higher price the answer
/// never gets friendlier. The flip price is for all items together, shipping included.
#[must_use]
pub fn decide_offer(items: &[Judged<'_>], circumstances: &Circumstances<'_>) -> Decided {
    let total = circumstances.total();
    let stakes = stakes(items, circumstances);
    let flips_at = stakes.as_ref().and_then(Stakes::flip_price);
    let loss = stakes
        .as_ref()
        .zip(total.as_ref())
        .and_then(|(stakes, total)| stakes.money(stakes.loss(total.amount.to_f64()?)));
    let lot = items.len() > 1;
    let mut wants = Vec::new();
    let mut standings = Vec::new();
    let mut decisions = Vec::new();
    for item in items {
        let own = asked(item, circumstances.requests);
        let standing = standing(item, circumstances, &own);
        let own: Vec<String> = own.into_iter().map(|w| w.wants).collect();
        wants.extend(own.iter().map(|w| if lot { of_item(&item.opinion.item, w) } else { w.clone() }));
        if lot {
            decisions.push(of_lot(&standing, own));
        }
        standings.push((&item.opinion.item, standing));
    }
    let offer = whole(&standings, circumstances, total.as_ref(), flips_at.as_ref(), loss.as_ref(), wants);
    if !lot {
        decisions = vec![offer.clone(); items.len()];
    }
    Decided { items: decisions, offer, total, expected_loss: loss }
}

/// What all items are worth together under the offer's terms.
fn stakes(items: &[Judged<'_>], circumstances: &Circumstances<'_>) -> Option<Stakes> {
    let (terms, parts) = parts(items, circumstances)?;
    let joint = parts.iter().fold(Joint::nothing(), |joint, (worth, p)| joint.and(worth, p));
    Some(Stakes::new(terms, &joint))
}

/// What one item is worth and how probable its states are.
pub(crate) type Part = (Worth, [f64; 4]);

/// The terms, and of each item what it is worth and how probable its states are.
pub(crate) fn parts(items: &[Judged<'_>], circumstances: &Circumstances<'_>) -> Option<(Terms, Vec<Part>)> {
    let terms = Terms::of(circumstances)?;
    let named: Vec<(&Slug, bool)> = items.iter().map(|i| (&i.opinion.item, !i.inside)).collect();
    let worths = worths(circumstances.values?, &named);
    let parts: Option<Vec<_>> =
        items.iter().zip(worths).map(|(item, worth)| Some((worth, probabilities(item.opinion)?))).collect();
    Some((terms, parts?))
}

/// What to ask for about an item.
pub(crate) fn asked(item: &Judged<'_>, requests: &[Request]) -> Vec<Wanted> {
    let mut out = wanted(item.opinion, item.findings, requests);
    match &item.opinion.stance {
        Stance::NotCovered if out.is_empty() => {
            out.push(Wanted { wants: "which line, release and form it is".to_owned(), view: None });
        }
        Stance::OutsideLibrary => out.push(Wanted {
            wants: "close photos of both end seals and of the print, square on, in even light".to_owned(),
            view: None,
        }),
        _ => {}
    }
    if words_disagree(item.findings).is_some() {
        let exact = Wanted { wants: "which product exactly is offered".to_owned(), view: None };
        let after_views = out.iter().take_while(|w| w.view.is_some()).count();
        out.insert(after_views, exact);
    }
    out
}

fn standing(item: &Judged<'_>, circumstances: &Circumstances<'_>, wants: &[Wanted]) -> Standing {
    let opinion = item.opinion;
    match &opinion.stance {
        Stance::AgainstSealed { most, step } if *step >= VerbalStep::Moderate => {
            return Standing::Against(format!(
                "The findings support {} over sealed ({}).",
                state_words(*most),
                step_words(*step)
            ));
        }
        Stance::NotCovered => return Standing::Ask("The library does not cover the product.".to_owned()),
        Stance::OutsideLibrary => {
            return Standing::Ask(
                "What was seen is unlike every specimen of the library; better photos or a specialist may tell."
                    .to_owned(),
            );
        }
        _ => {}
    }
    if opinion.stance == Stance::CannotTell || opinion.coverage.iter().any(|v| !v.read) {
        return unread(opinion, circumstances, wants);
    }
    if let Some(says) = words_disagree(item.findings) {
        return Standing::Ask(format!("Words and photos disagree. {says}"));
    }
    let weak = match &opinion.stance {
        Stance::AgainstSealed { most, .. } => format!(" There is weak support for {}.", state_words(*most)),
        Stance::Neither => " The photos support neither side.".to_owned(),
        _ => String::new(),
    };
    if circumstances.values.is_none() && matches!(opinion.stance, Stance::AgainstSealed { .. }) {
        let reason = weak.trim().to_owned();
        return if wants.is_empty() { Standing::Stuck(reason) } else { Standing::Ask(reason) };
    }
    Standing::Open(weak)
}

/// A deciding view is unread: ask, or pass when the seller would not show it.
fn unread(opinion: &Opinion, circumstances: &Circumstances<'_>, wants: &[Wanted]) -> Standing {
    let mut declined = Vec::new();
    let mut waiting = Vec::new();
    for view in opinion.coverage.iter().filter(|v| !v.read) {
        match asked_for(circumstances.requests, &opinion.item, &view.view, view.request.as_deref()) {
            Some(RequestState::Declined) => declined.push(spoken(&view.view)),
            Some(RequestState::Asked) => waiting.push(spoken(&view.view)),
            _ => {}
        }
    }
    if !declined.is_empty() {
        return Standing::Declined(format!(
            "The seller would not show the {}; unseen, nobody can tell.",
            join(&declined)
        ));
    }
    if wants.is_empty() {
        return Standing::Stuck(
            "Nobody can tell from these photos, and no photo is known that would help.".to_owned(),
        );
    }
    Standing::Ask(if waiting.is_empty() {
        "A view that decides was not read; nothing is bought unseen.".to_owned()
    } else {
        format!("The {} was asked for and is still to come.", join(&waiting))
    })
}

/// What one item of a lot calls for by itself.
fn of_lot(standing: &Standing, requests: Vec<String>) -> Decision {
    let (action, reason) = match standing {
        Standing::Against(reason) | Standing::Declined(reason) | Standing::Stuck(reason) => {
            (Action::Pass, reason.clone())
        }
        Standing::Ask(reason) => (Action::Ask, reason.clone()),
        Standing::Open(weak) => (Action::WithTheLot, format!("The lot is bought or left as a whole.{weak}")),
    };
    Decision { action, reason, flips_at: None, requests }
}

/// The whole offer is as far as its least settled item.
fn whole(
    standings: &[(&Slug, Standing)],
    circumstances: &Circumstances<'_>,
    total: Option<&Money>,
    flips_at: Option<&Money>,
    loss: Option<&Money>,
    requests: Vec<String>,
) -> Decision {
    let lot = standings.len() > 1;
    // The reasons of the items that stand so, each named in a lot; `None` when there is none.
    let reasons = |of: &dyn Fn(&Standing) -> Option<&String>| -> Option<String> {
        let found: Vec<String> = standings
            .iter()
            .filter_map(|(item, standing)| Some((item, of(standing)?)))
            .map(|(item, reason)| if lot { format!("Item {item}: {reason}") } else { reason.clone() })
            .collect();
        (!found.is_empty()).then(|| found.join(" "))
    };
    let done =
        |action, reason| Decision { action, reason, flips_at: flips_at.cloned(), requests: requests.clone() };
    if let Some(mut reason) = reasons(&|s| if let Standing::Against(r) = s { Some(r) } else { None }) {
        if lot {
            reason += " A lot is bought or left as a whole, and what happened to one item may have happened to its neighbours.";
        }
        return done(Action::Pass, reason);
    }
    if let Some(mut reason) = reasons(&|s| if let Standing::Declined(r) = s { Some(r) } else { None }) {
        if let (Some(total), Some(loss)) = (total, loss) {
            reason += &format!(" Bought unseen at {total}, the expected loss is {loss}.");
        }
        return done(Action::Pass, reason);
    }
    if let Some(reason) = reasons(&|s| if let Standing::Stuck(r) = s { Some(r) } else { None }) {
        return done(Action::Pass, reason);
    }
    if let Some(reason) = reasons(&|s| if let Standing::Ask(r) = s { Some(r) } else { None }) {
        return done(Action::Ask, reason);
    }
    let weak = reasons(&|s| match s {
        Standing::Open(weak) if !weak.is_empty() => Some(weak),
        _ => None,
    })
    .map(|weak| format!(" {}", weak.trim().replace(":  ", ": ")))
    .unwrap_or_default();
    match (circumstances.values, flips_at) {
        _ if standings.is_empty() => done(Action::Pass, "No item is offered.".to_owned()),
        (Some(_), Some(flip)) => {
            let (action, reason) = price_decision(flip, total);
            done(action, reason + &weak)
        }
        (Some(_), None) => {
            let reason =
                "The values and the price are not in one currency, or no price is worth it.".to_owned();
            done(Action::Pass, reason + &weak)
        }
        (None, _) => {
            let reason =
                "Every deciding view was read; without your values no price can be given.".to_owned();
            done(Action::YourCall, reason + &weak)
        }
    }
}

fn price_decision(flip: &Money, total: Option<&Money>) -> (Action, String) {
    match total {
        _ if flip.amount <= Decimal::ZERO => {
            (Action::Pass, "At no price is it worth buying by your values.".to_owned())
        }
        Some(total) if total.amount > flip.amount => (
            Action::Pass,
            format!("{total} with shipping is over {flip}, where buying and passing are worth the same."),
        ),
        Some(total) => (
            Action::Buy { up_to: flip.clone() },
            format!("{total} with shipping is not over {flip}, where buying and passing are worth the same."),
        ),
        None => (
            Action::Buy { up_to: flip.clone() },
            format!("Up to {flip} with shipping it is worth buying by your values."),
        ),
    }
}

fn words_disagree(findings: &[Finding]) -> Option<&str> {
    findings
        .iter()
        .find(|f| {
            f.quantity.as_str() == "title-against-photos"
                && matches!(f.reading, Reading::Measured { value, .. } if value > 0.0)
        })
        .map(|f| f.says.as_str())
}
