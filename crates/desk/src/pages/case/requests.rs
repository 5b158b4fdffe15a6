//! What to ask for: the message to copy, and how each request stands.
//!
//! In: decisions, deciding views, the case's requests. Out: HTML with a form a request. The program
//! sends nothing itself. Never here: what an answer weighs.

use casebook::case::RequestState;
use casebook::opinion::Examination;
use dossier::parts;
use maud::{Markup, html};

use super::View;
use crate::pages::token;

const STATES: [(&str, &str); 4] = [
    ("not-asked", "not asked"),
    ("asked", "asked, no answer yet"),
    ("answered", "answered"),
    ("declined", "declined"),
];

const fn key(state: Option<RequestState>) -> &'static str {
    match state {
        None => "not-asked",
        Some(RequestState::Asked) => "asked",
        Some(RequestState::Answered) => "answered",
        Some(RequestState::Declined) => "declined",
    }
}

/// Every request that would help, and those that were made.
pub(super) fn section(view: &View<'_>, examination: &Examination) -> Markup {
    let mut wanted: Vec<&str> = Vec::new();
    let decided = examination.items.iter().flat_map(|item| item.decision.requests.iter());
    let views = examination.items.iter().flat_map(|item| &item.opinion.coverage);
    let unread = views.filter(|view| !view.read).filter_map(|view| view.request.as_ref());
    for text in decided.chain(unread).chain(view.case.requests.iter().map(|request| &request.wants)) {
        if !wanted.contains(&text.as_str()) {
            wanted.push(text);
        }
    }
    let state_of = |text: &str| view.case.requests.iter().find(|r| r.wants == text).map(|r| r.state);
    let open: Vec<&str> = wanted.iter().copied().filter(|text| state_of(text).is_none()).collect();
    let lines = open.iter().enumerate().map(|(i, text)| format!("{}. {}", i + 1, parts::capital(text)));
    let message = format!(
        "Hello,\nbefore I decide, could you please help me with this?\n{}\nThank you!",
        lines.collect::<Vec<_>>().join("\n")
    );
    html! {
        section #requests {
            h2 { "Requests" }
            @if wanted.is_empty() { p { "Nothing that a photo could add is missing." } }
            @if !open.is_empty() {
                p { label for="message" { "A message to the seller, to copy and change. The program sends nothing itself." } }
                textarea #message readonly rows=(message.lines().count() + 1) { (message) }
                p { button type="button" data-copy="message" { "Copy the message" } }
            }
            @if !wanted.is_empty() {
                ul.requests {
                    @for (index, text) in wanted.iter().enumerate() {
                        li {
                            p id=(format!("request-{index}")) { (parts::capital(text)) }
                            form.line method="post" action=(view.act("request")) {
                                (token(view.desk))
                                input type="hidden" name="wants" value=(text);
                                label for=(format!("state-{index}")) { "State" }
                                select id=(format!("state-{index}")) name="state" aria-describedby=(format!("request-{index}")) {
                                    @for (value, words) in STATES { option value=(value) selected[value == key(state_of(text))] { (words) } }
                                }
                                button { "Set" }
                            }
                            @if state_of(text) == Some(RequestState::Declined) { p.note { "A declined request weighs in the decision, never as evidence." } }
                        }
                    }
                }
            }
            details.fold {
                summary { h3 { "Ask for something else" } }
                form.line method="post" action=(view.act("request")) {
                    (token(view.desk))
                    input type="hidden" name="state" value="asked";
                    label for="wants" { "What was asked for" }
                    input #wants name="wants" required maxlength="500";
                    button { "Note it as asked" }
                }
            }
        }
    }
}
