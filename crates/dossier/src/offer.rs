//! What follows for the offer as a whole: what to do, the price at which it flips, what to ask for and
//! what the answers would bring, and a message to copy.
//!
//! In: an [`OfferReport`]. Out: markup. Never here: how any of it was computed.

use casebook::opinion::{Action, OfferReport, RankedRequest};
use maud::{Markup, html};

use crate::ReportInput;
use crate::number::{fixed, money};
use crate::opening::earlier_requests;
use crate::page::scrolling;
use crate::words::{action_phrase, request_word};

/// The section of a lot; with a single item the same stands in the item's own section.
pub(crate) fn of_lot(input: &ReportInput<'_>, offer: &OfferReport) -> Markup {
    html! {
        section #the-offer {
            h2 { "The offer as a whole" }
            p { "A lot is bought or left as one: its price stands against what all items together are worth to you by the findings." }
            (what_to_do(input, offer))
        }
    }
}

/// What to do, with the price, the requests and the message.
pub(crate) fn what_to_do(input: &ReportInput<'_>, offer: &OfferReport) -> Markup {
    let decision = &offer.decision;
    let asked = earlier_requests(input.case);
    html! {
        h3 { "What to do" }
        p.action { (action_phrase(&decision.action)) }
        p { (&decision.reason) }
        @if let Some(price) = &decision.flips_at {
            p {
                "Buying and passing are worth the same to you at a total price of " strong { (money(price)) }
                @if let Some(total) = &offer.total { "; asked for are " (money(total)) " with shipping" }
                "."
                @if matches!(decision.action, Action::Ask) { " This is what the photos so far would carry; the answer to your request can move it." }
            }
        }
        @if let Some(loss) = &offer.expected_loss {
            p { "Bought at that without asking further, the mean of what is lost over all outcomes is " (money(loss)) ", refunds counted." }
        }
        @if !offer.requests.is_empty() { (requests(&offer.requests, input.examination.items.len() > 1)) }
        @if !offer.message.is_empty() {
            p { label for="message" { "A message to the seller, to copy and change. The program sends nothing itself." } }
            textarea #message readonly rows=(offer.message.lines().count() + 3) { (offer.message) }
        }
        @if !asked.is_empty() {
            p { "Asked before:" }
            ul { @for request in asked { li { (&request.wants) ": " (request_word(request.state)) } } }
        }
    }
}

fn requests(requests: &[RankedRequest], lot: bool) -> Markup {
    let priced = requests.iter().any(|r| r.worth.is_some());
    html! {
        (scrolling("What could be asked for", html! {
            table {
                caption { span {
                    "What could be asked for, the most useful first. The numbers are means over simulated answers, drawn from specimens "
                    "of every state as probable as it is now. One bit settles an even question."
                } }
                thead { tr {
                    th scope="col" { "Photo or fact" }
                    th scope="col" { "Expected to tell, bit" }
                    @if priced { th scope="col" { "Expected to save you" } }
                } }
                tbody { @for request in requests { tr {
                    th scope="row" {
                        @if lot { "Item " (request.item) ": " }
                        (request.wants)
                    }
                    @if request.simulated == 0 {
                        td colspan=(if priced { 2 } else { 1 }) { "no specimens say what it would bring" }
                    } @else {
                        td { (fixed(request.information_bits, 2)) }
                        @if priced { td { @if let Some(worth) = &request.worth { (money(worth)) } @else { "not known" } } }
                    }
                } } }
            }
        }))
    }
}
