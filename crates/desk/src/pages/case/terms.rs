//! What to do, and what it depends on: the offer's terms, what the item would be worth, the prior.
//!
//! In: the case and the decision. Out: HTML with forms; the decision follows at once from each.
//! Never here: the computation.

use casebook::case::{OfferFacts, Prior, Values};
use casebook::money::Money;
use casebook::opinion::{Action, Decision, ItemReport, OfferReport};
use dossier::parts;
use maud::{Markup, html};

use super::View;
use crate::pages::token;

/// The decision with the forms that it follows from.
pub(super) fn section(view: &View<'_>, _: Option<&ItemReport>) -> Markup {
    let items = view.examination.map(|examination| examination.items.as_slice()).unwrap_or_default();
    html! {
        section #what-to-do {
            h2 { "What to do" }
            @for item in items { (decision(item, items.len())) }
            @if let Some(offer) = view.examination.and_then(|e| e.offer.as_ref()).filter(|_| items.len() > 1) { (whole(offer)) }
            @if items.is_empty() { p { "The decision follows once the photos have been looked at. What you write here is kept for it." } }
            div.forms { (worth(view)) (prior(view)) (terms(view)) }
        }
    }
}

/// What follows for a lot, which is bought or left as one.
fn whole(offer: &OfferReport) -> Markup {
    decided("The lot as a whole: ", &offer.decision)
}

fn decision(item: &ItemReport, count: usize) -> Markup {
    let name = if count > 1 { format!("Item {}: ", item.opinion.item) } else { String::new() };
    decided(&name, &item.decision)
}

fn decided(name: &str, decision: &Decision) -> Markup {
    html! {
        div.decision {
            p { (name) strong { (parts::action_phrase(&decision.action)) } " " (decision.reason) }
            @if let Some(price) = &decision.flips_at {
                p.note {
                    "Buying and passing are worth the same to you at a total price of " (parts::money(price)) "."
                    @if matches!(decision.action, Action::Ask) { " This is what the photos so far would carry; the answer to your request can move it." }
                }
            }
        }
    }
}

fn amount(money: Option<&Money>) -> String {
    money.map(|money| money.amount.to_string()).unwrap_or_default()
}

fn input(name: &str, prefix: &str, label: &str, value: &str, unit: &str) -> Markup {
    html! {
        div.field {
            label for=(format!("{prefix}-{name}")) { (label) @if !unit.is_empty() { span.note { " " (unit) } } }
            input id=(format!("{prefix}-{name}")) name=(name) value=(value) inputmode="decimal" autocomplete="off";
        }
    }
}

fn currency_of(view: &View<'_>) -> String {
    let offer = view.case.offer.as_ref();
    let known = view.case.values.as_ref().map(|values| &values.sealed);
    known
        .or_else(|| offer.and_then(|offer| offer.price.as_ref()))
        .map_or_else(|| "EUR".to_owned(), |money| money.currency.code().to_owned())
}

fn currency(prefix: &str, code: &str) -> Markup {
    html! {
        div.field.short {
            label for=(format!("{prefix}-currency")) { "Currency" }
            input id=(format!("{prefix}-currency")) name="currency" value=(code) maxlength="3" autocomplete="off";
        }
    }
}

fn worth(view: &View<'_>) -> Markup {
    let values = view.case.values.as_ref();
    let of = |pick: fn(&Values) -> &Money| amount(values.map(pick));
    let refund = values.map_or_else(|| "50".to_owned(), |v| parts::plain(v.refund_probability * 100.0, 4));
    let risk = values.map_or_else(|| "0".to_owned(), |v| v.risk_aversion.to_string());
    html! {
        form.card method="post" action=(view.act("worth")) {
            h3 { "What it is worth to you" }
            (token(view.desk))
            div.fields {
                (input("sealed", "w", "Sealed", &of(|v| &v.sealed), ""))
                (input("resealed", "w", "Opened and closed again", &of(|v| &v.resealed), ""))
                (input("counterfeit", "w", "Not genuine", &of(|v| &v.counterfeit), ""))
                (currency("w", &currency_of(view)))
                (input("refund", "w", "Chance of a refund if it is not as described", &refund, "%"))
                (input("risk", "w", "Risk aversion", &risk, "per unit of currency; 0 is neutral"))
            }
            button { "Decide with these" }
        }
    }
}

fn prior(view: &View<'_>) -> Markup {
    let prior = view.case.prior.as_ref();
    let of = |pick: fn(&Prior) -> f64| prior.map(|p| parts::plain(pick(p) * 100.0, 4)).unwrap_or_default();
    html! {
        form.card method="post" action=(view.act("prior")) {
            h3 { "How likely you held it before the photos" }
            (token(view.desk))
            p.note { "Depends on where you buy, and no photo tells it. It moves no weight. Parts are brought to 100 % together; empty: the program's own starting prior." }
            div.fields {
                (input("sealed", "p", "Sealed", &of(|p| p.sealed), "%"))
                (input("resealed", "p", "Opened and closed again", &of(|p| p.resealed), "%"))
                (input("counterfeit", "p", "Counterfeit", &of(|p| p.counterfeit), "%"))
                (input("never_made", "p", "Never made", &of(|p| p.never_made), "%"))
            }
            button { "Decide with this" }
        }
    }
}

fn terms(view: &View<'_>) -> Markup {
    let nothing = OfferFacts::default();
    let offer = view.case.offer.as_ref().unwrap_or(&nothing);
    let returns = match &offer.returns {
        None => "",
        Some(terms) if terms.accepted => "accepted",
        Some(_) => "refused",
    };
    let days = offer.returns.as_ref().and_then(|terms| terms.days).map(|days| days.to_string());
    let ends = offer.ends.map(|ends| ends.strftime("%Y-%m-%dT%H:%M").to_string()).unwrap_or_default();
    let code =
        offer.price.as_ref().map_or_else(|| currency_of(view), |price| price.currency.code().to_owned());
    html! {
        form.card method="post" action=(view.act("terms")) {
            h3 { "The offer's terms" }
            (token(view.desk))
            div.fields {
                div.field.wide { label for="t-title" { "Title" } input #t-title name="title" value=(offer.title) maxlength="300" autocomplete="off"; }
                div.field { label for="t-venue" { "Offered at" } input #t-venue name="venue" value=(offer.venue.as_deref().unwrap_or_default()) maxlength="200" autocomplete="off"; }
                (input("price", "t", "Price", &amount(offer.price.as_ref()), ""))
                (input("shipping", "t", "Shipping", &amount(offer.shipping.as_ref()), ""))
                (currency("t", &code))
                div.field { label for="t-ends" { "Ends" span.note { " UTC" } } input #t-ends type="datetime-local" name="ends" value=(ends); }
                div.field {
                    label for="t-returns" { "Returns" }
                    select #t-returns name="returns" {
                        @for (value, words) in [("", "not said"), ("accepted", "accepted"), ("refused", "not accepted")] {
                            option value=(value) selected[value == returns] { (words) }
                        }
                    }
                }
                (input("days", "t", "Within", &days.unwrap_or_default(), "days"))
                div.field.check {
                    input #t-buyer type="checkbox" name="buyer_pays" checked[offer.returns.as_ref().is_some_and(|terms| terms.buyer_pays_postage)];
                    label for="t-buyer" { "You pay the way back" }
                }
            }
            button { "Keep these terms" }
        }
    }
}
