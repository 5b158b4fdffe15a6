//! The whole of one report: its head, the items one after the other, and what closes it.
//!
//! In: a [`ReportInput`]. Out: the body's markup. Never here: one section's content.

use casebook::case::CaseFile;
use casebook::names::ProductId;
use casebook::opinion::{Examination, ItemReport};
use maud::{Markup, html};

use crate::gallery::{Numbering, of_item, unnamed};
use crate::number::money;
use crate::page::{foreign, scrolling};
use crate::words::{action_phrase, product_phrase, stance_phrase};
use crate::{ReportInput, closing, item, offer, photos};

/// Longest part of a seller's text that is repeated, characters.
const MOST_TEXT: usize = 1_200;

/// The document's title.
pub(crate) fn title(input: &ReportInput<'_>) -> String {
    let examination = input.examination;
    format!("Examination report: {}", examination.title.as_deref().unwrap_or(examination.case.as_str()))
}

/// A product's name for readers.
pub(crate) fn product_name(input: &ReportInput<'_>, product: &ProductId) -> String {
    input.product_names.get(product).cloned().unwrap_or_else(|| product_phrase(product))
}

/// What an item is called in headings.
pub(crate) fn item_name(input: &ReportInput<'_>, item: &ItemReport) -> String {
    let product = item.opinion.product.as_ref();
    let product = product.map_or_else(|| "product not known".to_owned(), |p| product_name(input, p));
    if input.examination.items.len() == 1 {
        product
    } else {
        format!("Item {}: {product}", item.opinion.item)
    }
}

/// The body of the report.
pub(crate) fn page<'a>(input: &ReportInput<'a>, numbering: &mut Numbering<'a>) -> Markup {
    let examination = input.examination;
    // Numbers are handed out before anything is written, so that any section can refer to any figure.
    let galleries: Vec<_> =
        examination.items.iter().map(|item| of_item(item, input.pictures, numbering)).collect();
    let left_over = unnamed(input.pictures, numbering);
    html! {
        header {
            p.kicker { "untorn · examination report" }
            h1 { @if let Some(title) = &examination.title { (foreign(title)) } @else { "Case " (examination.case) } }
            (particulars(input))
        }
        main #main {
            @if examination.items.len() > 1 {
                (at_a_glance(input))
                @if let Some(whole) = &examination.offer { (offer::of_lot(input, whole)) }
            }
            @for (index, (report, gallery)) in examination.items.iter().zip(&galleries).enumerate() {
                (item::section(input, report, gallery, numbering, index + 1))
            }
            @if examination.items.is_empty() {
                section { h2 { "No item" } p { "The case names no item, so there is nothing to have an opinion about." } }
            }
            (photos::section(input, &left_over))
            (closing::cautions(&examination.cautions))
            (closing::glossary())
        }
        (closing::footer(input.program, input.generated_at))
    }
}

fn particulars(input: &ReportInput<'_>) -> Markup {
    let examination = input.examination;
    let offer = input.case.and_then(|case| case.offer.as_ref());
    html! {
        dl.particulars {
            div { dt { "Case" } dd { (examination.case) } }
            div { dt { "Items examined" } dd { (examination.items.len()) } }
            div { dt { "Photos" } dd { (photo_count(examination)) } }
            @if let Some(offer) = offer {
                @if let Some(venue) = &offer.venue { div { dt { "Offered at" } dd { (foreign(venue)) } } }
                @if let Some(price) = &offer.price { div { dt { "Price" } dd { (money(price)) } } }
                @if let Some(shipping) = &offer.shipping { div { dt { "Shipping" } dd { (money(shipping)) } } }
                @if let Some(returns) = &offer.returns {
                    div { dt { "Returns" } dd {
                        @if returns.accepted {
                            "accepted"
                            @if let Some(days) = returns.days { ", " (days) " days" }
                            @if returns.buyer_pays_postage { ", buyer pays postage" }
                        } @else { "not accepted" }
                    } }
                }
            }
            @if let Some(at) = input.generated_at { div { dt { "Report made" } dd { (at) } } }
            div { dt { "Program" } dd { (input.program) } }
        }
        @if let Some(text) = offer.map(|o| o.description.trim()).filter(|t| !t.is_empty()) {
            details.listing {
                summary { "The seller's text" }
                blockquote {
                    p { (foreign(&text.chars().take(MOST_TEXT).collect::<String>())) }
                    @if text.chars().count() > MOST_TEXT { p.note { "The text goes on; it is cut here." } }
                }
            }
        }
    }
}

fn photo_count(examination: &Examination) -> String {
    let total = examination.photos.len();
    let unusable = examination.photos.iter().filter(|p| p.problem.is_some()).count();
    if unusable == 0 { total.to_string() } else { format!("{total}, of which {unusable} could not be used") }
}

fn at_a_glance(input: &ReportInput<'_>) -> Markup {
    html! {
        section {
            h2 { "Items at a glance" }
            (scrolling("Items at a glance", html! {
                table {
                    caption { span { "The items of this offer, in its order. Each is examined by itself; the offer is bought or left as a whole." } }
                    thead { tr {
                        th scope="col" { "Item" } th scope="col" { "Opinion" } th scope="col" { "What to do" }
                    } }
                    tbody {
                        @for (index, item) in input.examination.items.iter().enumerate() { tr {
                            th scope="row" { a href=(format!("#item-{}", index + 1)) { (item_name(input, item)) } }
                            td { (item.opinion.words) div.note { (stance_phrase(item.opinion.stance)) } }
                            td { (action_phrase(&item.decision.action)) }
                        } }
                    }
                }
            }))
        }
    }
}

/// The requests that the case already holds.
pub(crate) fn earlier_requests(case: Option<&CaseFile>) -> &[casebook::case::Request] {
    case.map_or(&[], |case| &case.requests)
}
