//! What follows for the user: buy up to a price, ask, or pass.
//!
//! Buying at a total price T is worth, in state s, the user's value of s less T, or after a refund
//! the cost of sending it back. Utility is exponential (constant absolute risk aversion). The price
//! at which the expected utility is that of passing is the flip price; below it buying is better.
//!
//! Whatever the prior, no buying comes out while the opinion is `cannot tell` or a deciding view is
//! unread. A request that the seller declined is no evidence; it ends the asking, and what is left is
//! the expected loss of buying unseen.
//!
//! In: an opinion, findings, the user's values, the offer's terms. Out: `Decision`. Amounts stay
//! exact decimals; only the expected utility is computed in floating point, and the price that comes
//! out of it is rounded down to the currency's smallest unit.
//!
//! Sources: `pratt1964` (risk aversion), `lindley1985` (expected utility).

use casebook::case::{CaseFile, Request, RequestState, ReturnTerms, Values};
use casebook::elementary::exp_m1;
use casebook::finding::{Finding, Reading};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::opinion::{Action, Decision, Opinion, Stance, VerbalStep};
use rust_decimal::Decimal;
use rust_decimal::RoundingStrategy;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};

use crate::coverage::spoken;
use crate::words::{join, state_words, step_words};

/// What besides the item decides.
#[derive(Debug, Clone, Copy, Default)]
pub struct Circumstances<'a> {
    /// Asking price of this item.
    pub price: Option<&'a Money>,
    /// Shipping of this item to the user.
    pub shipping: Option<&'a Money>,
    /// Return terms.
    pub returns: Option<&'a ReturnTerms>,
    /// What the item is worth to the user in each state.
    pub values: Option<&'a Values>,
    /// What was asked so far.
    pub requests: &'a [Request],
}

impl<'a> Circumstances<'a> {
    /// Those of a case with one item. Of a lot, give each item its own share of the price.
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
}

/// The user's stakes as numbers, all in one currency.
struct Stakes {
    /// By `State::ALL`.
    values: [f64; 4],
    probabilities: [f64; 4],
    refund: f64,
    return_cost: f64,
    aversion: f64,
}

/// Decides about one item.
///
/// # Result
/// `Buy` only when every deciding view was read, the opinion is not against sealed at moderate
/// support or more, and the price (where known) is at most the flip price. At a higher price the
/// answer never gets friendlier.
#[must_use]
pub fn decide(opinion: &Opinion, findings: &[Finding], circumstances: &Circumstances<'_>) -> Decision {
    let total = total_price(circumstances);
    let stakes = stakes(opinion, circumstances);
    let flips_at = stakes.as_ref().and_then(|s| flip_price(s, circumstances));
    let requests = requests(opinion, findings, circumstances.requests);
    let unread: Vec<&str> = opinion.coverage.iter().filter(|v| !v.read).map(|v| v.view.as_str()).collect();
    let done =
        |action, reason: String, requests| Decision { action, reason, flips_at: flips_at.clone(), requests };

    match &opinion.stance {
        Stance::AgainstSealed { most, step } if *step >= VerbalStep::Moderate => {
            let reason =
                format!("The findings support {} over sealed ({}).", state_words(*most), step_words(*step));
            return done(Action::Pass, reason, requests);
        }
        Stance::NotCovered => {
            let asked = if requests.is_empty() {
                vec!["which line, release and form it is".to_owned()]
            } else {
                requests
            };
            return done(Action::Ask, "The library does not cover the product.".to_owned(), asked);
        }
        Stance::OutsideLibrary => {
            let mut asked = requests;
            asked
                .push("close photos of both end seals and of the print, square on, in even light".to_owned());
            let reason = "What was seen is unlike every specimen of the library; better photos or a specialist may tell.";
            return done(Action::Ask, reason.to_owned(), asked);
        }
        _ => {}
    }
    if opinion.stance == Stance::CannotTell || !unread.is_empty() {
        return unread_view(opinion, circumstances, stakes.as_ref(), total.as_ref(), flips_at, requests);
    }
    if let Some(says) = words_disagree(findings) {
        let asked = vec!["which product exactly is offered".to_owned()];
        return done(Action::Ask, format!("Words and photos disagree. {says}"), asked);
    }
    let weak = match &opinion.stance {
        Stance::AgainstSealed { most, .. } => format!(" There is weak support for {}.", state_words(*most)),
        Stance::Neither => " The photos support neither side.".to_owned(),
        _ => String::new(),
    };
    match (circumstances.values, &flips_at) {
        (Some(_), Some(flip)) => price_decision(flip, total.as_ref(), &weak, requests),
        (Some(_), None) => {
            let reason =
                "The values and the price are not in one currency, or no price is worth it.".to_owned();
            done(Action::Pass, reason + &weak, requests)
        }
        (None, _) if matches!(opinion.stance, Stance::AgainstSealed { .. }) => {
            let action = if requests.is_empty() { Action::Pass } else { Action::Ask };
            done(action, weak.trim().to_owned(), requests)
        }
        (None, _) => {
            let reason =
                "Every deciding view was read; without your values no price can be given.".to_owned();
            done(Action::YourCall, reason + &weak, requests)
        }
    }
}

fn price_decision(flip: &Money, total: Option<&Money>, weak: &str, requests: Vec<String>) -> Decision {
    let (action, reason) = match total {
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
    };
    Decision { action, reason: reason + weak, flips_at: Some(flip.clone()), requests }
}

/// A deciding view is unread: ask, or pass when the seller would not show it.
fn unread_view(
    opinion: &Opinion,
    circumstances: &Circumstances<'_>,
    stakes: Option<&Stakes>,
    total: Option<&Money>,
    flips_at: Option<Money>,
    requests: Vec<String>,
) -> Decision {
    let mut declined = Vec::new();
    let mut waiting = Vec::new();
    for view in opinion.coverage.iter().filter(|v| !v.read) {
        let state =
            circumstances.requests.iter().rev().find(|r| concerns(r, &view.view, view.request.as_deref()));
        match state.map(|r| r.state) {
            Some(RequestState::Declined) => declined.push(spoken(&view.view)),
            Some(RequestState::Asked) => waiting.push(spoken(&view.view)),
            _ => {}
        }
    }
    if !declined.is_empty() {
        let mut reason =
            format!("The seller would not show the {}; unseen, nobody can tell.", join(&declined));
        if let (Some(stakes), Some(total)) = (stakes, total)
            && let Some(loss) = expected_loss(stakes, total)
        {
            reason += &format!(" Bought unseen at {total}, the expected loss is {loss}.");
        }
        return Decision { action: Action::Pass, reason, flips_at, requests };
    }
    if requests.is_empty() {
        let reason = "Nobody can tell from these photos, and no photo is known that would help.".to_owned();
        return Decision { action: Action::Pass, reason, flips_at, requests };
    }
    let reason = if waiting.is_empty() {
        "A view that decides was not read; nothing is bought unseen.".to_owned()
    } else {
        format!("The {} was asked for and is still to come.", join(&waiting))
    };
    Decision { action: Action::Ask, reason, flips_at, requests }
}

/// Whether a request is about a view: it is the very request, or it names the view.
fn concerns(request: &Request, view: &str, own: Option<&str>) -> bool {
    let wanted = request.wants.to_lowercase().replace('-', " ");
    let name = spoken(view);
    if own.is_some_and(|own| own.to_lowercase().replace('-', " ") == wanted) {
        return true;
    }
    let words: Vec<&str> = wanted.split(|c: char| !c.is_alphanumeric()).collect();
    let has = |word: &str| words.contains(&word);
    match name.as_str() {
        // "the bottom end seal" is not "the bottom" of a box, and "seals" means both.
        "top end seal" | "bottom end seal" => {
            let end = name.split(' ').next().unwrap_or_default();
            (has(end) && (has("seal") || has("crimp") || has("end")))
                || (has("both") && (has("seals") || has("ends")))
        }
        "top" | "bottom" => has(&name) && !has("seal") && !has("end"),
        _ => has(&name),
    }
}

/// What to ask for: unread deciding views first, then what other findings miss; without what was
/// declined.
fn requests(opinion: &Opinion, findings: &[Finding], asked: &[Request]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut add = |wants: &str| {
        let refused = asked.iter().any(|r| r.state == RequestState::Declined && r.wants == wants);
        if !wants.is_empty() && !refused && !out.iter().any(|o| o == wants) {
            out.push(wants.to_owned());
        }
    };
    for view in opinion.coverage.iter().filter(|v| !v.read) {
        let last = asked.iter().rev().find(|r| concerns(r, &view.view, view.request.as_deref()));
        if last.is_none_or(|r| r.state != RequestState::Declined)
            && let Some(request) = &view.request
        {
            add(request);
        }
    }
    for finding in findings {
        if let Reading::CannotTell { missing } = &finding.reading {
            for one in missing {
                add(&one.wants);
            }
        }
    }
    out
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

/// Price and shipping together; `None` without a price or with two currencies.
fn total_price(circumstances: &Circumstances<'_>) -> Option<Money> {
    let price = circumstances.price?;
    match circumstances.shipping {
        None => Some(price.clone()),
        Some(shipping) if shipping.currency == price.currency => {
            let amount = price.amount.checked_add(shipping.amount)?;
            Some(Money { amount, currency: price.currency })
        }
        Some(_) => None,
    }
}

fn stakes(opinion: &Opinion, circumstances: &Circumstances<'_>) -> Option<Stakes> {
    let values = circumstances.values?;
    let currency = values.sealed.currency;
    let one_currency = [&values.resealed, &values.counterfeit]
        .into_iter()
        .chain(circumstances.price)
        .chain(circumstances.shipping)
        .all(|money| money.currency == currency);
    if !one_currency {
        return None;
    }
    let [sealed, resealed, fake] =
        [&values.sealed, &values.resealed, &values.counterfeit].map(|m| m.amount.to_f64());
    let mut probabilities = [0.0; 4];
    for share in &opinion.posterior {
        if let Some(at) = State::ALL.iter().position(|s| *s == share.state) {
            probabilities[at] = share.share.max(0.0);
        }
    }
    let sum: f64 = probabilities.iter().sum();
    if sum <= 0.0 {
        return None;
    }
    // The way back costs the buyer what the way here cost, where the terms say so.
    let pays_back = circumstances.returns.is_some_and(|r| r.buyer_pays_postage);
    let return_cost =
        circumstances.shipping.filter(|_| pays_back).and_then(|m| m.amount.to_f64()).unwrap_or(0.0);
    Some(Stakes {
        values: [sealed?, resealed?, fake?, fake?],
        probabilities: probabilities.map(|p| p / sum),
        refund: if values.refund_probability.is_finite() {
            values.refund_probability.clamp(0.0, 1.0)
        } else {
            0.0
        },
        return_cost: return_cost.max(0.0),
        aversion: if values.risk_aversion.is_finite() { values.risk_aversion.max(0.0) } else { 0.0 },
    })
}

impl Stakes {
    fn utility(&self, gain: f64) -> f64 {
        if self.aversion == 0.0 { gain } else { -exp_m1(-self.aversion * gain) / self.aversion }
    }

    /// Expected utility of buying at a total price, that of passing being 0.
    fn expected(&self, price: f64) -> f64 {
        let mut sum = 0.0;
        for (at, (value, probability)) in self.values.iter().zip(self.probabilities).enumerate() {
            let kept = value - price;
            // Who can send it back does so only when that is better than keeping it.
            let returned = kept.max(-self.return_cost);
            let refund = if at == 0 { 0.0 } else { self.refund };
            sum += probability * ((1.0 - refund) * self.utility(kept) + refund * self.utility(returned));
        }
        sum
    }
}

/// The total price at which buying and passing are worth the same, rounded down.
fn flip_price(stakes: &Stakes, circumstances: &Circumstances<'_>) -> Option<Money> {
    let currency = circumstances.values?.sealed.currency;
    let highest = stakes.values.iter().copied().fold(0.0, f64::max);
    let (mut low, mut high) = (0.0, highest);
    if stakes.expected(0.0) <= 0.0 {
        high = 0.0;
    }
    for _ in 0..200 {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if stakes.expected(middle) > 0.0 { low = middle } else { high = middle }
    }
    let digits = u32::from(currency.exponent().unwrap_or(2));
    // A hair up before rounding down, so that 20 does not become 19.99 by the last bit.
    let amount =
        Decimal::from_f64(low * (1.0 + 1e-12))?.round_dp_with_strategy(digits, RoundingStrategy::ToZero);
    Some(Money { amount, currency })
}

/// Mean of what is lost, refunds counted, over the states in which something is lost.
fn expected_loss(stakes: &Stakes, total: &Money) -> Option<Money> {
    let price = total.amount.to_f64()?;
    let mut loss = 0.0;
    for (at, (value, probability)) in stakes.values.iter().zip(stakes.probabilities).enumerate() {
        let kept = (price - value).max(0.0);
        let refund = if at == 0 { 0.0 } else { stakes.refund };
        loss += probability * ((1.0 - refund) * kept + refund * kept.min(stakes.return_cost));
    }
    let digits = u32::from(total.currency.exponent().unwrap_or(2));
    Some(Money { amount: Decimal::from_f64(loss)?.round_dp(digits), currency: total.currency })
}
