//! The index page of a whole run: one row an offer.
//!
//! In: examinations with a small picture and the place of each report. Out: one HTML document. Rows
//! keep the caller's order: a list ranked by suspicion is not ours to make.
//! Never here: a seller's name.

use casebook::hypothesis::State;
use casebook::opinion::{Contribution, Examination, ItemReport, Opinion, Stance};
use maud::{Markup, html};

use crate::PhotoThumb;
use crate::closing::{cautions, footer};
use crate::figure::{Raster, frame};
use crate::number::{bans, interval};
use crate::page::{document, foreign, scrolling};
use crate::words::{action_phrase, product_phrase};

/// A whole run.
#[derive(Debug, Clone)]
pub struct SetInput<'a> {
    /// What the page is called.
    pub title: &'a str,
    /// A sentence or two before the table.
    pub introduction: &'a str,
    /// One row each, in the order shown.
    pub entries: &'a [SetEntry<'a>],
    /// When the page was made, as it is to be printed.
    pub generated_at: Option<&'a str>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// One offer of a run.
#[derive(Debug, Clone)]
pub struct SetEntry<'a> {
    /// What was found.
    pub examination: &'a Examination,
    /// A small picture of it; its marks are not drawn.
    pub thumb: Option<&'a PhotoThumb>,
    /// Where its report lies, relative to this page, or an anchor: letters, digits and `._-/#` only.
    /// Anything else is not linked.
    pub link: Option<&'a str>,
}

/// Writes the index page.
///
/// # Result
/// One HTML document, UTF-8, that loads nothing. The same input gives the same bytes.
#[must_use]
pub fn set_report(input: &SetInput<'_>) -> String {
    let body = html! {
        header {
            p.kicker { "untorn · offers examined" }
            h1 { (input.title) }
            p { (input.introduction) }
        }
        main #main {
            section {
                h2 { "The offers" }
                (scrolling("Offers", html! {
                    table.offers {
                        caption { span { (input.entries.len()) " offers in the order they were examined. Weights in bans: plus supports sealed, minus the alternatives; the interval is 90 %." } }
                        thead { tr {
                            th scope="col" { "Photo" } th scope="col" { "Offer" } th scope="col" { "Opinion" }
                            th scope="col" { "Strongest reason" } th scope="col" { "What to do" }
                        } }
                        tbody { @for entry in input.entries { (rows(entry)) } }
                    }
                }))
            }
            (cautions(&[]))
        }
        (footer(input.program, input.generated_at))
    };
    document(input.title, &body)
}

/// The strongest reason for the opinion about an item, in one sentence.
///
/// Against `sealed`: the group that weighs most for the alternative that the opinion names. For
/// `sealed`: the group that weighs most for it over what can happen to a product that was made; that it
/// was made is no reason to think it sealed. Cannot tell: the first deciding view that was not read.
/// Otherwise the heaviest group.
#[must_use]
pub fn strongest_reason(opinion: &Opinion) -> String {
    let unread = opinion.coverage.iter().find(|v| !v.read);
    if let (Stance::CannotTell, Some(view)) = (opinion.stance, unread) {
        return format!("not read: {} ({})", crate::words::spaced(&view.view), view.words);
    }
    let against = |c: &Contribution, state: State| {
        c.weights.iter().find(|w| w.state == state).map_or(0.0, |w| w.weight.value.0)
    };
    let support = |c: &Contribution| match opinion.stance {
        Stance::AgainstSealed { most, .. } => -against(c, most),
        Stance::ForSealed { .. } => opinion
            .against
            .iter()
            .filter(|a| a.state != State::NeverMade)
            .map(|a| a.share * against(c, a.state))
            .sum(),
        _ => 0.0,
    };
    // Of equal ones the first, which is the heaviest.
    let mut best: Option<(f64, &Contribution)> = None;
    for contribution in &opinion.contributions {
        let value = support(contribution);
        if best.is_none_or(|(most, _)| value > most) {
            best = Some((value, contribution));
        }
    }
    best.map_or_else(|| "nothing could be weighed".to_owned(), |(_, c)| c.says.clone())
}

fn rows(entry: &SetEntry<'_>) -> Markup {
    let examination = entry.examination;
    let name = examination.title.as_deref().unwrap_or(examination.case.as_str());
    let lot = examination.offer.as_ref().filter(|_| examination.items.len() > 1);
    let span = examination.items.len().max(1) + usize::from(lot.is_some());
    let photo = html! {
        td rowspan=(span) {
            @if let Some(t) = entry.thumb {
                @let alt = format!("Photo {} of this offer", t.file);
                (frame(&Raster {
                    media_type: t.media_type, bytes: &t.bytes, width: t.width, height: t.height,
                    px_per_mm: None, marks: &[], alt: &alt,
                }))
            } @else { "no photo" }
        }
        th scope=(if span > 1 { "rowgroup" } else { "row" }) rowspan=(span) {
            @match entry.link.filter(|l| is_plain_link(l)) {
                Some(link) => { a href=(link) { (foreign(name)) } }
                None => { (foreign(name)) }
            }
            div.note { (examination.case) }
        }
    };
    html! {
        @if examination.items.is_empty() {
            tr { (photo) td colspan="3" { "no item" } }
        }
        @for (index, item) in examination.items.iter().enumerate() {
            tr {
                @if index == 0 { (photo) }
                (item_cells(item, examination.items.len() > 1))
            }
        }
        @if let Some(offer) = lot {
            tr {
                td colspan="2" { "The lot as a whole. " (&offer.decision.reason) }
                td { (action_phrase(&offer.decision.action)) }
            }
        }
    }
}

fn item_cells(item: &ItemReport, name_it: bool) -> Markup {
    let opinion = &item.opinion;
    html! {
        td {
            @if name_it {
                div.note {
                    "Item " (opinion.item)
                    @if let Some(product) = &opinion.product { ": " (product_phrase(product)) }
                }
            }
            (&opinion.words)
            div.note { (bans(opinion.weight.value.0)) " (" (interval(&opinion.weight)) ")" }
        }
        td { (&strongest_reason(opinion)) }
        td {
            (action_phrase(&item.decision.action))
            @if let Some(request) = item.decision.requests.first() { div.note { (request) } }
        }
    }
}

/// A relative path or an anchor, and nothing that a browser could read as a scheme or a host.
fn is_plain_link(link: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-' | '/' | '#');
    !link.is_empty() && link.chars().all(plain) && !link.starts_with('/')
}

#[cfg(test)]
mod tests {
    use super::is_plain_link;

    #[test]
    fn links_lead_nowhere_else() {
        for good in ["cases/03.html", "#offer-3", "a/b_c.html#item-1"] {
            assert!(is_plain_link(good), "{good}");
        }
        for bad in ["", "//host/x", "/etc", "javascript:x", "a b", "x?y", "\\\\host", "data:,"] {
            assert!(!is_plain_link(bad), "{bad}");
        }
    }
}
