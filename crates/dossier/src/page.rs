//! The frame of a page: head, content security policy, style, shared patterns.
//!
//! In: a title and a body. Out: one HTML document that loads nothing from anywhere and runs no
//! script. Never here: what the page says.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::palette;

/// Nothing is fetched, nothing runs; pictures stand in the page, style stands in the page.
const POLICY: &str =
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";
const STYLE: &str = include_str!("style.css");
/// Style of drawings, shared with whoever shows them in a page of its own.
pub(crate) const DRAWING: &str = include_str!("drawing.css");

/// Wraps a body into a document.
pub(crate) fn document(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="robots" content="noindex";
                title { (title) }
                style { (PreEscaped(palette::css())) (PreEscaped(DRAWING)) (PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#main" { "Skip to the main part" }
                (patterns())
                (body)
            }
        }
    };
    clean(page.into_string())
}

/// Hatchings that drawings refer to.
pub(crate) fn patterns() -> Markup {
    html! {
        svg.patterns width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                    line.hatch-line x1="0" y1="0" x2="0" y2="6" {}
                }
                pattern id="veil" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)" {
                    line.veil-line x1="0" y1="0" x2="0" y2="9" {}
                }
            }
        }
    }
}

/// A wide thing that scrolls inside its own frame, reachable by keyboard.
pub(crate) fn scrolling(label: &str, inside: Markup) -> Markup {
    html! { div.scroll role="region" tabindex="0" aria-label=(label) { (inside) } }
}

/// Control characters, which no text of ours needs, become spaces: a page is for reading, and some
/// of them are not allowed in HTML at all. Done once, at the border, so that no field is forgotten.
pub(crate) fn clean(page: String) -> String {
    let unwanted = |c: char| c.is_control() && c != '\n';
    if page.contains(unwanted) { page.replace(unwanted, " ") } else { page }
}

/// Text that a stranger wrote: its direction is its own, and it cannot reorder ours.
pub(crate) fn foreign(text: &str) -> Markup {
    html! { bdi { (text) } }
}
