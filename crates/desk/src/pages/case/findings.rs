//! The findings of an item, heaviest first, each with its picture, value and expected range; the end
//! seals one above the other; what could not be seen.
//!
//! In: findings, contributions, pictures. Out: HTML. Never here: a weight that the opinion did not give.

use casebook::finding::{Finding, Reading};
use casebook::opinion::{Contribution, ItemReport};
use dossier::parts;
use maud::{Markup, html};

use super::{View, figure};
use crate::shown::{ShownContent, ShownPicture};

/// Examiners whose pictures show the ends of a pack.
const SEAL_EXAMINERS: [&str; 2] = ["end-seal", "cut-edge"];

/// Groups that stand open, the heaviest; the others are folded by their place on the item.
const OPEN: usize = 3;

/// Findings of a group that stand open, those that stand out most.
const OPEN_FINDINGS: usize = 2;

/// How far a group moves the opinion about one of the alternatives, bans: a sum over them would hide a
/// group that speaks for one and against another.
fn pull(item: &ItemReport, contribution: &Contribution) -> f64 {
    let moved = item.opinion.against.iter().map(|against| {
        let weight = contribution.weights.iter().find(|w| w.state == against.state);
        (against.share * weight.map_or(0.0, |w| w.weight.value.0)).abs()
    });
    moved.fold(0.0, f64::max)
}

/// What was read, heaviest group first; what weighs nothing comes after.
pub(super) fn section(view: &View<'_>, item: &ItemReport) -> Markup {
    let contributions = &item.opinion.contributions;
    let mut ordered: Vec<&Contribution> = contributions.iter().collect();
    ordered.sort_by(|a, b| pull(item, b).total_cmp(&pull(item, a)));
    let of = |finding: &&Finding, contribution: &Contribution| contribution.findings.contains(&finding.key());
    let unweighed: Vec<&Finding> = item
        .findings
        .iter()
        .filter(|finding| finding.is_read() && !contributions.iter().any(|c| of(finding, c)))
        .collect();
    html! {
        h3 { "Findings, heaviest first" }
        @if ordered.is_empty() { p { "Nothing that was read could be weighed." } }
        @for contribution in ordered.iter().take(OPEN) { (group(view, item, contribution)) }
        @for (place, groups) in by_place(ordered.get(OPEN..).unwrap_or_default(), |contribution| {
            item.findings.iter().find(|finding| of(finding, contribution))
        }) {
            details.fold {
                summary { h4 { (place) ": lighter findings (" (groups.len()) ")" } }
                @for contribution in groups { (group(view, item, contribution)) }
            }
        }
        @for (place, findings) in by_place(&unweighed, Some) {
            details.fold {
                summary { h4 { (place) ": also read, without weight (" (findings.len()) ")" } }
                @for finding in findings { (one(view, finding)) }
            }
        }
        (unseen(item))
    }
}

/// Findings that are weighed together.
fn group(view: &View<'_>, item: &ItemReport, contribution: &Contribution) -> Markup {
    let mut own: Vec<&Finding> =
        item.findings.iter().filter(|finding| contribution.findings.contains(&finding.key())).collect();
    own.sort_by(|a, b| standing_out(b).total_cmp(&standing_out(a)));
    let (first, rest) = own.split_at(own.len().min(OPEN_FINDINGS));
    html! {
        section.group {
            h4 { (parts::capital(&parts::spaced(contribution.group.as_str()))) }
            p.says { (contribution.says) }
            ul.weights {
                @for weight in &contribution.weights {
                    li { (parts::bans(weight.weight.value.0)) " against " (weight.state.word()) span.note { " (" (parts::interval(&weight.weight)) ")" } }
                }
            }
            p.note { "Rests on: " (contribution.basis) }
            @for finding in first { (one(view, finding)) }
            @if !rest.is_empty() {
                details.fold {
                    summary { h5 { "What else was read here (" (rest.len()) ")" } }
                    @for finding in rest { (one(view, finding)) }
                }
            }
        }
    }
}

/// How far a reading lies from the middle of what genuine items show, in half widths of that range;
/// what has a picture to look at comes before what is a number alone.
fn standing_out(finding: &Finding) -> f64 {
    let seen = if finding.pictures.is_empty() { 0.0 } else { 1.0 };
    let (Reading::Measured { value, .. }, Some(expected)) = (&finding.reading, &finding.expected) else {
        return seen;
    };
    let half = (expected.high - expected.low) / 2.0;
    if half > 0.0 { seen + (value - expected.low - half).abs() / half } else { seen }
}

/// The part of the item that a finding is about, as a heading.
fn whereabouts(finding: Option<&Finding>) -> String {
    let Some(finding) = finding else { return "The whole item".to_owned() };
    let part = finding.place.part.as_deref().unwrap_or_default();
    if part.contains("end-seal") || SEAL_EXAMINERS.contains(&finding.examiner.as_str()) {
        return "End seals".to_owned();
    }
    finding
        .place
        .face
        .as_ref()
        .map_or_else(|| "The whole item".to_owned(), |face| parts::capital(&parts::spaced(face.as_str())))
}

/// Sorted into places, which keep the order in which they come first.
fn by_place<'a, T: Copy>(all: &[T], finding: impl Fn(T) -> Option<&'a Finding>) -> Vec<(String, Vec<T>)> {
    let mut sorted: Vec<(String, Vec<T>)> = Vec::new();
    for one in all {
        let place = whereabouts(finding(*one));
        match sorted.iter_mut().find(|(known, _)| *known == place) {
            Some((_, list)) => list.push(*one),
            None => sorted.push((place, vec![*one])),
        }
    }
    sorted
}

fn one(view: &View<'_>, finding: &Finding) -> Markup {
    let is_seal = SEAL_EXAMINERS.contains(&finding.examiner.as_str());
    let pictures: Vec<&ShownPicture> =
        finding.pictures.iter().filter_map(|id| view.shown.picture(id)).collect();
    html! {
        article.finding {
            div.told {
                h5 { (finding.question) }
                p.note { (parts::capital(&parts::place(finding))) }
                p { (finding.says) }
                @if is_seal && !pictures.is_empty() {
                    p.note { a href=(format!("#seals-{}", finding.item)) { "See the end seals" } }
                }
            }
            dl.reading {
                div { dt { "Value" } dd { (parts::value(&finding.reading)) } }
                @if finding.expected.is_some() { div { dt { "Genuine items" } dd { (parts::expected(finding)) } } }
                div { dt { "Seen" } dd.note { (parts::seeing(&finding.seeing)) @if !finding.photos.is_empty() { "; in " (photos(finding)) } } }
            }
            @if !is_seal && !pictures.is_empty() {
                div.shown { @for picture in pictures { (figure(view, picture)) } }
            }
        }
    }
}

fn photos(finding: &Finding) -> String {
    finding.photos.iter().map(|file| file.as_str()).collect::<Vec<_>>().join(", ")
}

/// Images before curves, the top end before the bottom end.
fn seal_order(picture: &ShownPicture) -> (bool, u8) {
    let words: Vec<&str> = picture.id.split(['-', '_', '/', ':', '.']).collect();
    let end = if words.contains(&"top") { 0 } else { 1 + u8::from(!words.contains(&"bottom")) };
    (matches!(picture.content, ShownContent::Plot(_)), end)
}

/// Both ends of a pack, one above the other and to one scale.
pub(super) fn seals(view: &View<'_>, item: &ItemReport) -> Markup {
    let mut pictures: Vec<&ShownPicture> = Vec::new();
    for finding in item.findings.iter().filter(|f| SEAL_EXAMINERS.contains(&f.examiner.as_str())) {
        for picture in finding.pictures.iter().filter_map(|id| view.shown.picture(id)) {
            if !pictures.iter().any(|other| other.id == picture.id) {
                pictures.push(picture);
            }
        }
    }
    pictures.sort_by_key(|picture| seal_order(picture));
    html! {
        @if !pictures.is_empty() {
            h3 id=(format!("seals-{}", item.opinion.item)) { "The end seals" }
            p.note { "Seals of one pack were pressed by one machine on one day: the item is compared with itself before it is compared with specimens." }
            @let (curves, images): (Vec<&ShownPicture>, Vec<&ShownPicture>) =
                pictures.into_iter().partition(|picture| matches!(picture.content, ShownContent::Plot(_)));
            div.seals { @for picture in images { (figure(view, picture)) } }
            @if !curves.is_empty() {
                details.fold {
                    summary { h4 { "Curves measured on the ends (" (curves.len()) ")" } }
                    div.curves { @for picture in curves { (figure(view, picture)) } }
                }
            }
        }
    }
}

fn unseen(item: &ItemReport) -> Markup {
    let open: Vec<(&Finding, &[casebook::finding::Missing])> = item
        .findings
        .iter()
        .filter_map(|finding| match &finding.reading {
            Reading::CannotTell { missing } => Some((finding, missing.as_slice())),
            _ => None,
        })
        .collect();
    html! {
        @if !open.is_empty() {
            details.fold {
                summary { h4 { "What could not be seen (" (open.len()) ")" } }
                p.note { "None of these counts against the item." }
                dl.unseen {
                    @for (finding, missing) in open {
                        dt { (finding.question) span.note { " " (parts::place(finding)) } }
                        @for lack in missing {
                            dd { strong { (parts::capital(parts::lack_phrase(lack.lack))) } ": " (lack.words)
                                @if !lack.wants.is_empty() { span.note { " Would help: " (lack.wants) } } }
                        }
                    }
                }
            }
        }
    }
}
