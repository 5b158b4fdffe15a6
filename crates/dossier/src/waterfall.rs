//! How the weights add up: one waterfall for each alternative, and the table of the same numbers.
//!
//! In: an opinion's contributions. Out: SVG and a table. A bar towards the alternatives is hatched as
//! well as coloured. Never here: weighing.

use casebook::hypothesis::State;
use casebook::opinion::{Contribution, Opinion, WeightInterval};
use maud::{Markup, html};

use crate::axis::Axis;
use crate::number::{at, bans, interval, px, signed};
use crate::page::scrolling;
use crate::words::{capital, spaced};

/// Height of a row: its name above, its bar below, px.
const ROW_PX: f64 = 38.0;
/// Height of the axis with its labels, px.
const AXIS_PX: f64 = 40.0;
/// A difference between the sum of the groups and the stated total that is worth a row of its own,
/// bans: half of the last printed digit.
const WORTH_A_ROW_BAN: f64 = 0.05;

struct Bar {
    name: String,
    from: f64,
    to: f64,
}

/// One waterfall for each alternative, on a common axis.
pub(crate) fn waterfalls(opinion: &Opinion) -> Markup {
    let all: Vec<(State, WeightInterval, Vec<Bar>)> = opinion
        .against
        .iter()
        .map(|a| (a.state, a.weight, bars(opinion, a.state, a.weight.value.0)))
        .collect();
    let ends = all.iter().flat_map(|(_, total, bars)| {
        bars.iter().flat_map(|b| [b.from, b.to]).chain([total.low.0, total.high.0])
    });
    let (mut low, mut high) = (-0.5_f64, 0.5_f64);
    for end in ends.filter(|v| v.is_finite()) {
        low = low.min(end);
        high = high.max(end);
    }
    let axis = Axis::new(low, high, 3.0, 97.0);
    html! {
        div.multiples {
            @for (state, total, bars) in &all {
                figure {
                    figcaption { "Sealed against " strong { (state.word()) } }
                    (draw(*state, total, bars, &axis))
                }
            }
        }
    }
}

fn weight_of(contribution: &Contribution, state: State) -> Option<&WeightInterval> {
    contribution.weights.iter().find(|w| w.state == state).map(|w| &w.weight)
}

fn bars(opinion: &Opinion, state: State, total: f64) -> Vec<Bar> {
    let mut sum = 0.0;
    let mut bars = Vec::new();
    for contribution in &opinion.contributions {
        let Some(weight) = weight_of(contribution, state).filter(|w| w.value.0.is_finite()) else { continue };
        let name = capital(&spaced(contribution.group.as_str()));
        bars.push(Bar { name, from: sum, to: sum + weight.value.0 });
        sum += weight.value.0;
    }
    if total.is_finite() && (total - sum).abs() > WORTH_A_ROW_BAN {
        bars.push(Bar { name: "Limit on the sum".to_owned(), from: sum, to: total });
    }
    bars
}

fn draw(state: State, total: &WeightInterval, bars: &[Bar], axis: &Axis) -> Markup {
    let foot = ROW_PX * (bars.len() as f64 + 1.0) + 4.0;
    let spoken = bars.iter().map(|b| format!("{} {} ban", b.name, signed(b.to - b.from, 1)));
    let spoken =
        spoken.chain([format!("sum {} ban", signed(total.value.0, 1))]).collect::<Vec<_>>().join("; ");
    html! {
        svg.waterfall role="img" width="100%" height=(px(foot + AXIS_PX))
            aria-label=(format!("Weights for sealed against {}: {spoken}.", state.word())) {
            @for (value, label) in axis.ticks(6) {
                line.(if value == 0.0 { "zero" } else { "grid" })
                    x1=(at(axis.place(value))) x2=(at(axis.place(value))) y1="0" y2=(px(foot)) {}
                text.tick x=(at(axis.place(value))) y=(px(foot + 15.0)) text-anchor="middle" {
                    (if value > 0.0 { format!("+{label}") } else { label })
                }
            }
            text.tick x="100%" y=(px(foot + 32.0)) text-anchor="end" { "ban, + supports sealed" }
            @for (index, bar) in bars.iter().enumerate() { (draw_bar(bar, index, axis)) }
            @let y = ROW_PX * bars.len() as f64;
            text.row-label x="0" y=(px(y + 13.0)) { "Sum" }
            @if !(total.value.0.is_nan() || total.low.0.is_nan() || total.high.0.is_nan()) {
            line.whisker x1=(at(axis.held(total.low.0))) x2=(at(axis.held(total.high.0))) y1=(px(y + 26.0)) y2=(px(y + 26.0)) {}
            svg.at x=(at(axis.held(total.value.0))) y=(px(y + 26.0)) overflow="visible" {
                path.point d="M0-7 6 0 0 7-6 0z" {}
            }
            }
            text.value x="100%" y=(px(y + 13.0)) text-anchor="end" { (bans(total.value.0)) }
        }
    }
}

fn draw_bar(bar: &Bar, index: usize, axis: &Axis) -> Markup {
    let y = ROW_PX * index as f64;
    let (from, to) = (axis.place(bar.from), axis.place(bar.to));
    let side = if bar.to >= bar.from { "towards" } else { "away" };
    html! {
        text.row-label x="0" y=(px(y + 13.0)) { (bar.name) }
        text.value x="100%" y=(px(y + 13.0)) text-anchor="end" { (bans(bar.to - bar.from)) }
        rect.(side) x=(at(from.min(to))) width=(at((from - to).abs().max(0.2))) y=(px(y + 19.0)) height="13" {}
        line.carry x1=(at(to)) x2=(at(to)) y1=(px(y + 19.0)) y2=(px(y + ROW_PX + 32.0)) {}
    }
}

/// The same numbers as a table, with what each group rests on and the total without it.
pub(crate) fn table(opinion: &Opinion) -> Markup {
    let states: Vec<State> = opinion.against.iter().map(|a| a.state).collect();
    scrolling(
        &format!("Weights by group, item {}", opinion.item),
        html! {
            table {
                caption { span { "Weight of each group of findings in bans, with its 90 % interval. Plus supports sealed, minus the alternative named above the column." } }
                thead { tr {
                    th scope="col" { "Group and what is seen" }
                    @for state in &states { th.number scope="col" { "against " (state.word()) } }
                    th.number scope="col" { "all together, without this group" }
                    th scope="col" { "Rests on" }
                } }
                tbody {
                    @for c in &opinion.contributions { tr {
                        th scope="row" { (capital(&spaced(c.group.as_str()))) div.note { (c.says) } }
                        @for state in &states { td.number { (cell(weight_of(c, *state))) } }
                        td.number {
                            @if let Some(w) = opinion.without.iter().find(|w| w.group == c.group && w.place.is_none()) { (bans(w.weight.0)) }
                            @else { "not computed" }
                        }
                        td.words { (c.basis) }
                    } }
                    @if opinion.contributions.is_empty() {
                        tr { td colspan=(states.len() + 3) { "Nothing could be weighed." } }
                    }
                }
                tfoot { tr {
                    th scope="row" { "Sum" }
                    @for a in &opinion.against { td.number { (cell(Some(&a.weight))) } }
                    td.number { (bans(opinion.weight.value.0)) div.note { "with all groups" } }
                    td {}
                } }
            }
        },
    )
}

fn cell(weight: Option<&WeightInterval>) -> Markup {
    html! {
        @if let Some(w) = weight { (bans(w.value.0)) div.note { (interval(w)) } }
        @else { "not weighed" }
    }
}
