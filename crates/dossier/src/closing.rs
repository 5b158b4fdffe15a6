//! What closes every report: cautions, the meaning of words, the foot.
//!
//! In: an examination's own cautions. Out: markup. Never here: a finding.

use casebook::opinion::CAUTIONS;
use maud::{Markup, html};

use crate::words::GLOSSARY;

/// The fixed cautions, then those of the examination that say something else.
pub(crate) fn cautions(own: &[String]) -> Markup {
    let further = own.iter().filter(|c| !CAUTIONS.contains(&c.as_str()));
    html! {
        section #cautions {
            h2 { "Before you rely on this" }
            ul.cautions {
                @for caution in CAUTIONS { li { (caution) } }
                @for caution in further { li { (caution) } }
            }
        }
    }
}

/// The words of the report.
pub(crate) fn glossary() -> Markup {
    html! {
        section #words {
            h2 { "Words used here" }
            dl.glossary { @for (word, meaning) in GLOSSARY { dt { (word) } dd { (meaning) } } }
        }
    }
}

/// The foot of a page.
pub(crate) fn footer(program: &str, generated_at: Option<&str>) -> Markup {
    html! {
        footer {
            p {
                "Written by " (program)
                @if let Some(at) = generated_at { ", " (at) }
                ". An opinion about photographs, not a certificate."
            }
        }
    }
}
