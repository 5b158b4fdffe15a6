//! Notes, outcome, undo, the seller's facts and the audit trail of a case.
//!
//! In: the case, its revisions, the library's trail. Out: HTML. The seller stands in a closed part of
//! its own and can be forgotten for good. Never here: a judgement of anybody.

use casebook::case::Course;
use casebook::hypothesis::State;
use dossier::parts;
use maud::{Markup, html};

use super::{View, one_button};
use crate::pages::{time, token};

/// Entries of the trail that are shown at once.
const TRAIL: usize = 40;

/// Everything that people noted.
pub(super) fn section(view: &View<'_>) -> Markup {
    html! {
        section #record {
            h2 { "Notes, outcome, trail" }
            (notes(view))
            (outcome(view))
            (seller(view))
            (changes(view))
            (trail(view))
        }
    }
}

fn notes(view: &View<'_>) -> Markup {
    html! {
        h3 { "Notes" }
        @if view.case.notes.is_empty() { p.note { "None yet." } }
        ul.notes { @for note in &view.case.notes { li { (parts::foreign(note)) } } }
        form method="post" action=(view.act("note")) {
            (token(view.desk))
            label for="note" { "Add a note" }
            textarea #note name="text" rows="3" required maxlength="10000" {}
            button { "Add the note" }
        }
    }
}

fn outcome(view: &View<'_>) -> Markup {
    let outcome = view.case.outcome.as_ref();
    let course = outcome.and_then(|outcome| outcome.course);
    let state = outcome.and_then(|outcome| outcome.state);
    html! {
        h3 { "Outcome" }
        form.line method="post" action=(view.act("outcome")) {
            (token(view.desk))
            div.field {
                label for="o-course" { "You" }
                select #o-course name="course" {
                    option value="" { "have not decided" }
                    @for one in Course::ALL { option value=(one.word()) selected[course == Some(one)] { (one.word().replace('-', " ")) } }
                }
            }
            div.field {
                label for="o-state" { "It turned out to be" }
                select #o-state name="state" {
                    option value="" { "not known" }
                    @for one in State::ALL { option value=(one.word()) selected[state == Some(one)] { (parts::state_phrase(one)) } }
                }
            }
            div.field {
                label for="o-known" { "Known by" }
                input #o-known name="known_by" value=(outcome.map(|o| o.known_by.as_str()).unwrap_or_default()) maxlength="500" placeholder="opened by me";
            }
            button { "Keep the outcome" }
        }
    }
}

fn seller(view: &View<'_>) -> Markup {
    let Some(offer) = &view.case.offer else { return html! {} };
    html! {
        @if let Some(seller) = &offer.seller {
            details.fold {
                summary { h3 { "Facts about the seller, kept apart" } }
                p.note { "Only what the venue shows. Nothing here is an opinion about a person; confirmed outcomes move the prior and no weight." }
                dl.particulars {
                    div { dt { "Name at the venue" } dd { (parts::foreign(&seller.name)) } }
                    @if let Some(year) = seller.since_year { div { dt { "Since" } dd { (year) } } }
                    @if let Some(ratings) = seller.ratings { div { dt { "Ratings" } dd { (ratings) } } }
                    div { dt { "Bids noted" } dd { (offer.bids.len()) } }
                }
                p { "Forgetting takes the name, the bids, the saved page and every earlier state of this case away for good. It cannot be undone." }
                (one_button(view, "forget-seller", "Forget the seller"))
            }
        }
    }
}

fn changes(view: &View<'_>) -> Markup {
    let revisions = view.desk.store().revisions(view.id).unwrap_or_default();
    let next = revisions.iter().find(|revision| !revision.undone);
    html! {
        h3 { "Changes" }
        @if revisions.is_empty() { p.note { "Nothing has been changed." } }
        @if let Some(next) = next {
            (one_button(view, "undo", &format!("Undo: {}", next.words)))
        }
        ol.changes {
            @for revision in revisions.iter().take(TRAIL) {
                li { (time(&revision.at)) ": " (revision.words) @if revision.undone { " (undone)" } }
            }
        }
    }
}

fn trail(view: &View<'_>) -> Markup {
    let entries = view.desk.library().trail_of(view.id.as_str());
    html! {
        details.fold {
            summary { h3 { "Audit trail" } }
            @match entries {
                Err(error) => { p.problem { (error.to_string()) } }
                Ok(entries) => {
                    p.note { "What was done, in order; each entry carries the hash of the one before. " code { "untorn library check" } " walks the whole chain." }
                    table.trail {
                        thead { tr { th scope="col" { "No." } th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Hash" } } }
                        tbody {
                            @for entry in entries.iter().rev().take(TRAIL) {
                                tr { td.number { (entry.number) } td { (time(&entry.at)) } td { (entry.act) } td { code { (entry.hash.get(..16).unwrap_or_default()) "…" } } }
                            }
                        }
                    }
                    @if entries.len() > TRAIL { p.note { (entries.len() - TRAIL) " older entries are not shown; " code { "untorn library trail" } " prints all." } }
                }
            }
        }
    }
}
