//! One item of a report, section by section: opinion, what to do, coverage, how the weights add up,
//! pictures, findings, what could not be seen, what follows from a prior, what the weights rest on.
//!
//! In: an [`ItemReport`] and its [`Gallery`]. Out: markup. Never here: how any of it was found.

use casebook::case::Prior;
use casebook::elementary::exp10;
use casebook::hypothesis::State;
use casebook::opinion::{ItemReport, Opinion, Stance};
use maud::{Markup, html};

use crate::figure::{caption, figure, frame, raster};
use crate::gallery::{Aligned, Gallery, Numbering};
use crate::number::{bans, interval, percent, times};
use crate::opening::item_name;
use crate::words::{action_phrase, capital, origin_word, spaced, state_phrase};
use crate::{ReportInput, findings, offer, scale, waterfall};

/// Priors of `sealed` that the table of posteriors starts from.
const PRIORS: [f64; 5] = [0.10, 0.25, 0.50, 0.75, 0.90];
/// Stops of the line between the two halves of an aligned pair, eighths of its width.
const STOPS: u32 = 8;

/// Everything about one item. `index` counts from 1.
pub(crate) fn section(
    input: &ReportInput<'_>,
    item: &ItemReport,
    gallery: &Gallery<'_>,
    numbering: &Numbering<'_>,
    index: usize,
) -> Markup {
    html! {
        section.item id=(format!("item-{index}")) {
            h2 { (&item_name(input, item)) }
            (opinion(&item.opinion))
            @match &input.examination.offer {
                Some(whole) if input.examination.items.len() == 1 => { (offer::what_to_do(input, whole)) }
                _ => { (what_to_do(item)) }
            }
            (coverage(&item.opinion))
            (weights(&item.opinion))
            @if !gallery.aligned.is_empty() { (aligned(&gallery.aligned, index)) }
            @if !gallery.seals.is_empty() { (seals(gallery)) }
            @if !gallery.rest.is_empty() {
                h3 { "Further pictures" }
                @for shown in &gallery.rest { (figure(shown.picture, shown.number)) }
            }
            (findings::table(item, numbering))
            (findings::unseen(item))
            (posterior(&item.opinion, input.case.and_then(|c| c.prior.as_ref())))
            (specimens(&item.opinion, input.calibration))
        }
    }
}

fn opinion(opinion: &Opinion) -> Markup {
    let unsettled =
        matches!(opinion.stance, Stance::CannotTell | Stance::NotCovered | Stance::OutsideLibrary);
    html! {
        h3 { "Opinion" }
        p.opinion { (&opinion.words) }
        p.note { (capital(&opinion.calibrated_on())) "." }
        @if let Some(why) = &opinion.wording_capped { p { (why) } }
        @if !opinion.conflicts.is_empty() {
            p { "Signs that point in opposite directions:" }
            ul { @for conflict in &opinion.conflicts { li { (conflict) } } }
        }
        div.beside {
            figure.scale {
                (scale::ladder(opinion))
                figcaption {
                    "Weight of evidence in bans. Diamond: sealed against all alternatives together; circles: against each alone; "
                    "bars: 90 % interval."
                    @if unsettled { " The points are hollow because no opinion follows: they show only what was read so far." }
                }
            }
            (against(opinion))
        }
    }
}

pub(crate) fn against(opinion: &Opinion) -> Markup {
    let words = |weight: f64, other: &str| {
        if weight.abs() < 0.05 {
            "as likely either way".to_owned()
        } else if weight > 0.0 {
            format!("{} more likely if sealed", times(weight))
        } else {
            format!("{} more likely if {other}", times(weight))
        }
    };
    html! {
        table {
            caption { span { "The same in numbers: how much likelier the findings are under one explanation than under the other." } }
            thead { tr {
                th scope="col" { "Sealed against" } th scope="col" { "Weight, 90 % interval, and what it means" }
            } }
            tbody {
                tr {
                    th scope="row" { "all alternatives together" }
                    td { (bans(opinion.weight.value.0)) " (" (interval(&opinion.weight)) ")" div { (words(opinion.weight.value.0, "not")) } }
                }
                @for a in &opinion.against { tr {
                    th scope="row" { (state_phrase(a.state)) div.note { "share in the mix " (percent(a.share)) } }
                    td { (bans(a.weight.value.0)) " (" (interval(&a.weight)) ")" div { (words(a.weight.value.0, a.state.word())) } }
                } }
            }
        }
    }
}

fn what_to_do(item: &ItemReport) -> Markup {
    html! {
        h3 { "What to do" }
        p.action { (action_phrase(&item.decision.action)) }
        p { (&item.decision.reason) }
        @if !item.decision.requests.is_empty() {
            p { "To ask for about this item:" }
            ul { @for request in &item.decision.requests { li { (request) } } }
        }
    }
}

pub(crate) fn coverage(opinion: &Opinion) -> Markup {
    let read = opinion.coverage.iter().filter(|v| v.read).count();
    html! {
        h3 { "Was enough shown?" }
        @if opinion.coverage.is_empty() {
            p { "No deciding views are known for this form of product." }
        } @else {
            table {
                caption { span {
                    (read) " of " (opinion.coverage.len()) " deciding views were read. A view that is missing is no evidence against the item; "
                    "it lowers what can be said."
                } }
                thead { tr {
                    th scope="col" { "Deciding view" } th scope="col" { "Read?" } th scope="col" { "From what, or why not and what to ask for" }
                } }
                tbody {
                    @for view in &opinion.coverage { tr {
                        th scope="row" { (capital(&spaced(&view.view))) }
                        td.nowrap { @if view.read { "read" } @else { strong { "not read" } } }
                        td {
                            (view.words)
                            @if let Some(request) = &view.request { div { "Photo to ask for: " (request) } }
                        }
                    } }
                }
            }
        }
    }
}

pub(crate) fn weights(opinion: &Opinion) -> Markup {
    html! {
        h3 { "How the weights add up" }
        @if opinion.contributions.is_empty() {
            p { "Nothing that was read could be weighed." }
        } @else {
            p {
                "Each bar starts where the one above ends. A plain bar goes towards sealed, a hatched one towards the alternative. "
                "The diamond is the sum with its 90 % interval. No prior enters here."
            }
            (waterfall::waterfalls(opinion))
            (waterfall::table(opinion))
            (without_parts(opinion))
        }
    }
}

/// Which of two parts of one group carries the opinion.
fn without_parts(opinion: &Opinion) -> Markup {
    let parts = || opinion.without.iter().filter_map(|w| Some((w.place.as_ref()?, w.weight.0)));
    html! {
        @if parts().next().is_some() {
            p {
                "Had a part not been read, all together would be: "
                @for (index, (place, weight)) in parts().enumerate() {
                    @if index > 0 { "; " }
                    "without the " (spaced(place)) " " (bans(weight))
                }
                "."
            }
        }
    }
}

fn aligned(groups: &[Aligned<'_>], index: usize) -> Markup {
    html! {
        h3 { "Offered item and reference, aligned" }
        p {
            "Both are laid flat on the same millimetre grid. Choose where the line between them stands: reference left of it, "
            "offered item right of it. The arrow keys move it."
        }
        @for (place, group) in groups.iter().enumerate() { (compare(group, &format!("line-{index}-{place}"))) }
    }
}

fn compare(group: &Aligned<'_>, name: &str) -> Markup {
    let halves = [
        ("Reference", "half-reference", &group.reference),
        ("Offered item", "half-offered", &group.offered),
        ("Difference", "half-difference", &group.difference),
    ];
    let both = group.reference.is_some() && group.offered.is_some();
    html! {
        figure.compare {
            @if both {
                fieldset.line {
                    legend { "Line between reference and offered item" }
                    label.apart { input type="radio" name=(name) value="apart" checked; " side by side" }
                    div.stops {
                        @for stop in 0..=STOPS {
                            input.(format!("s{stop}")) type="radio" name=(name) value=(stop)
                                aria-label=(format!("reference on the left {} of 8 parts", stop));
                        }
                    }
                    div.stop-words aria-hidden="true" { span { "all offered item" } span { "all reference" } }
                }
            }
            div.trio {
                @for (title, class, shown) in halves {
                    @if let Some(shown) = shown {
                        @if let Some(image) = raster(shown.picture) {
                            div.(class) id=(crate::figure::anchor(shown.number)) {
                                p.half-title { (title) }
                                (frame(&image))
                            }
                        }
                    }
                }
            }
            figcaption {
                @for (_, _, shown) in halves {
                    @if let Some(shown) = shown { div { (caption(shown.picture, shown.number)) } }
                }
            }
        }
    }
}

fn seals(gallery: &Gallery<'_>) -> Markup {
    // One scale for all strips: the widest in mm fills the page.
    let width_mm = |index: usize| {
        raster(gallery.seals[index].picture).and_then(|r| r.px_per_mm.map(|s| f64::from(r.width) / s))
    };
    let widest =
        (0..gallery.seals.len()).filter_map(width_mm).filter(|w| w.is_finite()).fold(0.0_f64, f64::max);
    html! {
        h3 { "The end seals" }
        p {
            "Seals of one pack were pressed by one machine on one day: the item is compared with itself before it is compared with "
            "specimens. Strips are drawn to one scale."
        }
        div.seals {
            @for (index, shown) in gallery.seals.iter().enumerate() {
                @let share = width_mm(index).filter(|w| widest > 0.0 && *w > 0.0).map_or(100.0, |w| w / widest * 100.0);
                div style=(format!("width:{share:.1}%")) { (figure(shown.picture, shown.number)) }
            }
        }
    }
}

pub(crate) fn posterior(opinion: &Opinion, prior: Option<&Prior>) -> Markup {
    let w = &opinion.weight;
    let follows = |p: f64, weight: f64| {
        let odds = p / (1.0 - p) * exp10(weight.clamp(-12.0, 12.0));
        percent(odds / (1.0 + odds))
    };
    html! {
        h3 { "What follows from your own prior" }
        p {
            "The weights say what the photos add. How likely you held it before you saw them is yours: it depends on where you buy, and no "
            "photo tells it. This table turns one into the other."
        }
        @if matches!(opinion.stance, Stance::CannotTell) {
            p { "While a deciding view is unread, no purchase follows from this table, whatever the prior." }
        }
        table {
            caption { span { "Probability that the item is sealed, before and after these findings." } }
            thead { tr {
                th.number scope="col" { "If you held it" } th.number scope="col" { "then it is now" } th.number scope="col" { "with the 90 % interval" }
            } }
            tbody {
                @for p in PRIORS { tr {
                    th.number scope="row" { (percent(p)) " likely" }
                    td.number { (follows(p, w.value.0)) }
                    td.number { (follows(p, w.low.0)) " to " (follows(p, w.high.0)) }
                } }
            }
        }
        (by_state(opinion, prior))
    }
}

fn by_state(opinion: &Opinion, prior: Option<&Prior>) -> Markup {
    let share = |state: State| {
        prior.and_then(|p| {
            let sum = p.sealed + p.resealed + p.counterfeit + p.never_made;
            let part = match state {
                State::Sealed => p.sealed,
                State::Resealed => p.resealed,
                State::Counterfeit => p.counterfeit,
                State::NeverMade => p.never_made,
            };
            (sum > 0.0).then(|| part / sum)
        })
    };
    html! {
        @if !opinion.posterior.is_empty() {
            table {
                caption { span {
                    @if prior.is_some() { "Your prior in this case, and what follows from it." }
                    @else { "What follows from the program's own starting prior, as the case gives none." } } }
                thead { tr {
                    th scope="col" { "Explanation" }
                    @if prior.is_some() { th.number scope="col" { "your prior" } }
                    th.number scope="col" { "after these findings" }
                } }
                tbody {
                    @for p in &opinion.posterior { tr {
                        th scope="row" { (state_phrase(p.state)) }
                        @if prior.is_some() { td.number { (share(p.state).map_or_else(|| "not given".to_owned(), percent)) } }
                        td.number { (percent(p.share)) }
                    } }
                }
            }
        }
    }
}

pub(crate) fn specimens(opinion: &Opinion, calibration: &str) -> Markup {
    html! {
        h3 { "What the weights rest on" }
        p { (calibration) }
        @if opinion.calibration.is_empty() {
            p { "No specimen of this product stands behind this opinion." }
        } @else {
            table {
                caption { span { "Specimens of known status behind this opinion." } }
                thead { tr { th scope="col" { "Known status" } th scope="col" { "Kind" } th.number scope="col" { "Specimens" } } }
                tbody {
                    @for count in &opinion.calibration { tr {
                        th scope="row" { (count.state.word()) }
                        td { (origin_word(count.origin)) }
                        td.number { (count.count) }
                    } }
                }
            }
            @if opinion.calibration.iter().all(|c| matches!(c.origin, casebook::specimen::Origin::Rendered) || c.count == 0) {
                p { strong { "All of them are rendered: " } "pictures computed with known truth. No physical specimen stands behind these numbers." }
            }
        }
    }
}
