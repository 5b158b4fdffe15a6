//! What people see: one module a page, and the frame round all of them.
//!
//! In: the desk's state. Out: HTML that loads nothing but the desk's own files, works without scripts,
//! and is escaped throughout. Data for the browser modules stand in `application/json` blocks inside
//! their elements; what else stands in an element is what a reader without scripts gets.
//! Never here: a decision about an item; wording of states and drawings come from `dossier::parts`.
//! Source: `wcag22`.

pub(crate) mod boards;
pub(crate) mod case;
pub(crate) mod library;
pub(crate) mod product;
pub(crate) mod queue;
pub(crate) mod tasks;

use axum::http::StatusCode;
use casebook::names::Slug;
use dossier::parts;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde::Serialize;

use crate::assets;
use crate::desk::{Desk, ShelfState};
use crate::error::Trouble;

/// Light, dark, or as the system says.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) enum Look {
    /// As the system says.
    #[default]
    System,
    Light,
    Dark,
}

impl Look {
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::System => "system",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }

    pub(crate) fn of_word(word: &str) -> Option<Self> {
        [Self::System, Self::Light, Self::Dark].into_iter().find(|look| look.word() == word)
    }
}

/// Who reads, as far as an answer depends on it.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Reader {
    pub(crate) look: Look,
    /// A script of our own pages, which wants JSON.
    pub(crate) json: bool,
}

/// Which part of the desk a page belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    Queue,
    Library,
    Boards,
    Words,
}

/// A whole page.
pub(crate) fn frame(desk: &Desk, reader: Reader, part: Part, title: &str, body: &Markup) -> String {
    let parts_of_desk = [
        (Part::Queue, "/", "Offers"),
        (Part::Library, "/library", "Library"),
        (Part::Boards, "/boards", "Boards"),
        (Part::Words, "/words", "Words"),
    ];
    let page = html! {
        (DOCTYPE)
        html lang="en" data-theme=[(reader.look != Look::System).then_some(reader.look.word())] {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="robots" content="noindex";
                title { (title) " · untorn desk" }
                link rel="icon" type="image/png" href=(assets::address("icon.png"));
                @for style in assets::styles() { link rel="stylesheet" href=(style); }
                @for module in assets::modules() { script type="module" src=(module) {} }
            }
            body {
                a.skip href="#main" { "Skip to the content" }
                (parts::patterns())
                header.top {
                    p.name { "untorn " span { "desk" } }
                    nav aria-label="Parts of the desk" {
                        ul {
                            @for (own, address, name) in parts_of_desk {
                                li { a href=(address) aria-current=[(own == part).then_some("page")] { (name) } }
                            }
                        }
                    }
                    (look_form(desk, reader.look))
                }
                @if let Some(words) = library_state(desk) { p.notice role="status" { (words) } }
                main #main tabindex="-1" { (body) }
                footer.foot {
                    p { "Opinions about items in photographs, never about people. No certificate. Nothing leaves this machine." }
                }
            }
        }
    };
    parts::clean(page.into_string())
}

fn look_form(desk: &Desk, now: Look) -> Markup {
    html! {
        div.look data-theme-choice {
            form method="post" action="/look" {
                (token(desk))
                label { "Colours "
                    select name="look" {
                        @for (look, word) in [(Look::System, "As the system"), (Look::Light, "Light"), (Look::Dark, "Dark")] {
                            option value=(look.word()) selected[look == now] { (word) }
                        }
                    }
                }
                button { "Set" }
            }
        }
    }
}

fn library_state(desk: &Desk) -> Option<String> {
    match desk.shelf_state() {
        ShelfState::Ready(_) => None,
        ShelfState::Opening(words) => Some(format!(
            "The library is being made ready ({words}). Offers are taken in and examined after that."
        )),
        ShelfState::Unusable(words) => Some(format!("The library cannot be used: {words}")),
    }
}

/// The token that every form carries.
pub(crate) fn token(desk: &Desk) -> Markup {
    html! { input type="hidden" name="token" value=(desk.token); }
}

/// Data for a browser module; cannot end its block or be read as a tag.
pub(crate) fn data(value: &impl Serialize) -> Markup {
    // Our own structs of text and finite numbers print without fail; an empty object shows as no data.
    let json = serde_json::to_string(value).unwrap_or_else(|_| "{}".to_owned());
    let safe = json.replace('<', "\\u003c").replace('>', "\\u003e").replace('&', "\\u0026");
    html! { script type="application/json" { (PreEscaped(safe)) } }
}

/// Says what is wrong and what to do.
pub(crate) fn trouble(desk: &Desk, reader: Reader, trouble: &Trouble) -> String {
    let title = match trouble.status {
        StatusCode::NOT_FOUND => "Not there",
        StatusCode::INTERNAL_SERVER_ERROR => "Could not be done",
        _ => "Not taken",
    };
    let body = html! {
        h1 { (title) }
        p.problem role="alert" { (parts::capital(&trouble.words)) "." }
        p { "Nothing was changed. " a href="/" { "To the offers" } }
    };
    frame(desk, reader, Part::Queue, title, &body)
}

/// A panic in a request.
pub(crate) fn our_fault() -> Trouble {
    Trouble::new(
        StatusCode::INTERNAL_SERVER_ERROR,
        "this request failed by a fault of untorn, not of your files; what was saved before is safe. Try it once more, \
         and report what you did if it fails again",
    )
}

/// After an upload of which some was refused.
pub(crate) fn taken(
    desk: &Desk,
    reader: Reader,
    id: &Slug,
    count: usize,
    refused: &[(String, String)],
) -> String {
    let body = html! {
        h1 { "Partly taken" }
        p { (count) " photos were taken. These files were not:" }
        ul.refused { @for (file, why) in refused { li { strong { (parts::foreign(file)) } ": " (why) } } }
        p { a href=(format!("/case/{id}")) { "To the case" } }
    };
    frame(desk, reader, Part::Queue, "Partly taken", &body)
}

/// The words used, and the cautions.
pub(crate) fn words(desk: &Desk, reader: Reader) -> String {
    let body = html! {
        h1 { "Words and cautions" }
        (parts::cautions(&[]))
        (parts::glossary())
        section {
            h2 { "Keys" }
            dl.keys {
                dt { kbd { "Tab" } } dd { "to the next link, field or picture" }
                dt { kbd { "+" } " " kbd { "−" } " " kbd { "0" } } dd { "in a picture: closer, farther, whole" }
                dt { "arrow keys" } dd { "in a picture: move it; on a corner or a line: move that" }
            }
        }
    };
    frame(desk, reader, Part::Words, "Words and cautions", &body)
}

/// A time as pages print it.
pub(crate) fn time(text: &str) -> String {
    text.parse::<jiff::Timestamp>()
        .map_or_else(|_| text.to_owned(), |at| at.strftime("%Y-%m-%d %H:%M UTC").to_string())
}
