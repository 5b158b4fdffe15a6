//! The table of findings, and what could not be seen.
//!
//! In: an item's findings. Out: markup; every finding stands in one of the two tables, a value with
//! its uncertainty and how well it was seen. Never here: weighing; a finding's weight is its group's.

use casebook::finding::{Finding, Reading, Seeing};
use casebook::opinion::{Contribution, ItemReport};
use maud::{Markup, html};

use crate::axis::Axis;
use crate::figure::anchor;
use crate::gallery::Numbering;
use crate::number::{NBSP, at, bans, percent, plain, with_uncertainty, with_unit};
use crate::page::scrolling;
use crate::words::{capital, fact_phrase, lack_phrase, spaced};

/// Every finding that was read.
pub(crate) fn table(item: &ItemReport, numbering: &Numbering<'_>) -> Markup {
    let read: Vec<&Finding> = item.findings.iter().filter(|f| f.is_read()).collect();
    html! {
        h3 { "Findings" }
        @if read.is_empty() {
            p { "No question could be answered from these photos." }
        } @else {
            (scrolling(&format!("Findings, item {}", item.opinion.item), html! {
                table.findings {
                    caption { span { "What was asked and read. Values carry their standard uncertainty (±); the drawing shows the value with it on the expected range (shaded)." } }
                    thead { tr {
                        th scope="col" { "Question" } th scope="col" { "What is seen" } th scope="col" { "Value" }
                        th scope="col" { "Genuine items" } th scope="col" { "Weight of its group" } th scope="col" { "Seen" }
                    } }
                    tbody { @for finding in &read { (row(finding, item, numbering)) } }
                }
            }))
        }
    }
}

fn row(finding: &Finding, item: &ItemReport, numbering: &Numbering<'_>) -> Markup {
    html! {
        tr {
            th scope="row" { (&finding.question) div.note { (place(finding)) } }
            td.words {
                (&finding.says)
                @let figures: Vec<usize> = finding.pictures.iter().filter_map(|id| numbering.of(id)).collect();
                @if !figures.is_empty() {
                    div.note { @for (i, n) in figures.iter().enumerate() {
                        @if i > 0 { ", " }
                        a href=(format!("#{}", anchor(*n))) { "Figure " (n) }
                    } }
                }
            }
            td.value { (value(&finding.reading)) }
            td { (expected(finding)) }
            td { (weight(finding, &item.opinion.contributions)) }
            td.note { (seeing(&finding.seeing)) @if !finding.photos.is_empty() { div { (photos(finding)) } } }
        }
    }
}

pub(crate) fn place(finding: &Finding) -> String {
    let face = finding.place.face.as_ref().map(|f| spaced(f.as_str()));
    let part = finding.place.part.as_deref().map(spaced);
    let examiner = spaced(finding.examiner.as_str());
    let parts: Vec<String> = [Some(examiner), face, part].into_iter().flatten().collect();
    parts.join(" · ")
}

fn photos(finding: &Finding) -> String {
    let names: Vec<&str> = finding.photos.iter().map(|p| p.as_str()).collect();
    format!("in {}", names.join(", "))
}

pub(crate) fn value(reading: &Reading) -> Markup {
    html! {
        @match reading {
            Reading::Measured { value, standard_uncertainty, unit } => { (with_uncertainty(*value, *standard_uncertainty, unit)) }
            Reading::Fact { outcome, error_rate, source } => {
                (fact_phrase(*outcome))
                div.note { "source: " (source) "; errs in " (percent(*error_rate)) " of cases" }
            }
            Reading::CannotTell { .. } => { "cannot tell" }
        }
    }
}

pub(crate) fn expected(finding: &Finding) -> Markup {
    let Some(e) = &finding.expected else { return html! { "no range known" } };
    let Reading::Measured { value, standard_uncertainty: u, unit } = &finding.reading else {
        return html! { (&e.basis) };
    };
    html! {
        (range(e.low, e.high, *value, *u))
        div { (with_unit(&format!("{} to {}", plain(e.low, 3), plain(e.high, 3)), unit)) }
        div.note { (&e.basis) }
    }
}

/// The value with its uncertainty over the expected range; the numbers stand beside it.
fn range(low: f64, high: f64, value: f64, u: f64) -> Markup {
    if ![low, high, value].iter().all(|v| v.is_finite()) {
        return html! {};
    }
    let u = if u.is_finite() { u.abs() } else { 0.0 };
    let (first, last) = (low.min(value - u), high.max(value + u));
    let air = (last - first) * 0.06;
    let axis = Axis::new(first - air, last + air, 3.0, 97.0);
    let (from, to) = (axis.held(low.min(high)), axis.held(high.max(low)));
    html! {
        svg.range width="120" height="22" aria-hidden="true" {
            rect.band x=(at(from)) width=(at((to - from).max(0.5))) y="3" height="16" {}
            line.axis x1="0" x2="100%" y1="11" y2="11" {}
            line.whisker x1=(at(axis.held(value - u))) x2=(at(axis.held(value + u))) y1="11" y2="11" {}
            circle.point cx=(at(axis.held(value))) cy="11" r="4" {}
        }
    }
}

pub(crate) fn weight(finding: &Finding, contributions: &[Contribution]) -> Markup {
    let key = finding.key();
    let Some(c) = contributions.iter().find(|c| c.findings.contains(&key)) else {
        return html! { "not weighed" };
    };
    html! {
        (capital(&spaced(c.group.as_str())))
        @for w in &c.weights { div.nowrap { (bans(w.weight.value.0)) " against " (w.state.word()) } }
        @if c.findings.len() > 1 { div.note { "jointly with " (c.findings.len() - 1) " more" } }
    }
}

pub(crate) fn seeing(seeing: &Seeing) -> String {
    let share = |v: Option<f64>, what: &str| v.map(|v| format!("{} {what}", percent_or_none(v)));
    let parts = [
        seeing.px_per_mm.map(|v| format!("{}{NBSP}px/mm", plain(v, 3))),
        seeing.angle_deg.map(|v| format!("{}° from straight on", plain(v, 2))),
        seeing.blur_px.map(|v| format!("blur {}{NBSP}px", plain(v, 2))),
        share(seeing.glare, "glare"),
        share(seeing.covered, "covered"),
        share(seeing.usable, "usable"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() { "not a matter of seeing".to_owned() } else { parts.join("; ") }
}

/// A share of an area; unlike a probability it may be none or all.
fn percent_or_none(share: f64) -> String {
    if share <= 0.0005 {
        format!("0{NBSP}%")
    } else if share >= 0.9995 {
        format!("100{NBSP}%")
    } else {
        percent(share)
    }
}

/// Every question that could not be answered, and what would answer it.
pub(crate) fn unseen(item: &ItemReport) -> Markup {
    let open: Vec<(&Finding, &[casebook::finding::Missing])> = item
        .findings
        .iter()
        .filter_map(|f| match &f.reading {
            Reading::CannotTell { missing } => Some((f, missing.as_slice())),
            _ => None,
        })
        .collect();
    html! {
        h3 { "What could not be seen" }
        @if open.is_empty() {
            p { "Every question was answered." }
        } @else {
            (scrolling(&format!("What could not be seen, item {}", item.opinion.item), html! {
                table {
                    caption { span { "Questions that these photos or the library leave open. None of them counts against the item." } }
                    thead { tr {
                        th scope="col" { "Question" } th scope="col" { "Why not" } th scope="col" { "What would answer it" }
                    } }
                    tbody {
                        @for (finding, missing) in &open { tr {
                            th scope="row" { (&finding.question) div.note { (place(finding)) } }
                            td { @for m in *missing { div { strong { (capital(lack_phrase(m.lack))) } ": " (&m.words) } } }
                            td {
                                @for m in missing.iter().filter(|m| !m.wants.is_empty()) { div { (&m.wants) } }
                                @if missing.iter().all(|m| m.wants.is_empty()) { "no photo would" }
                            }
                        } }
                    }
                }
            }))
        }
    }
}
