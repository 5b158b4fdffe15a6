//! The scale in bans: an upright ladder with the words of the verbal scale beside it, and one column
//! for all alternatives together and for each alone.
//!
//! In: an opinion's weights. Out: SVG whose text keeps its size at any width. Never here: a colour
//! that says which side is better; up supports `sealed`, down the alternatives, and both are written.
//!
//! Sources: `enfsi2015` (steps).

use casebook::opinion::{Opinion, Stance, WeightInterval};
use maud::{Markup, html};

use crate::axis::Axis;
use crate::number::{at, px, signed};

/// Upper ends of the steps in bans with their words: likelihood ratios 2, 10, 100, 1,000, 10,000 and
/// 1,000,000. Source: `enfsi2015`.
const STEPS: [(f64, &str); 6] = [
    (core::f64::consts::LOG10_2, "neither way"),
    (1.0, "weak"),
    (2.0, "moderate"),
    (3.0, "moderately strong"),
    (4.0, "strong"),
    (6.0, "very strong"),
];
/// What lies beyond the last step.
const BEYOND: &str = "extremely strong";
/// Where the ladder ends, bans either way; heavier weights are drawn at its end with an arrow.
const END_BAN: f64 = 7.0;
/// The least that is shown either way, so that weak and moderate are always in sight.
const LEAST_BAN: f64 = 2.0;
/// Height above and below the ladder for the words on both ends, px.
const MARGIN_PX: f64 = 62.0;
/// Left part for numbers and words, per cent of the width.
const WORDS_PERCENT: f64 = 36.0;

struct Column<'a> {
    label: &'a str,
    weight: WeightInterval,
    mixed: bool,
}

/// Draws the ladder of one opinion.
pub(crate) fn ladder(opinion: &Opinion) -> Markup {
    let mut columns = vec![Column { label: "all", weight: opinion.weight, mixed: true }];
    columns.extend(opinion.against.iter().map(|a| Column {
        label: a.state.word(),
        weight: a.weight,
        mixed: false,
    }));
    let open = matches!(opinion.stance, Stance::CannotTell | Stance::NotCovered | Stance::OutsideLibrary);
    let (low, high) = range(&columns);
    let px_per_ban = (300.0 / (high - low)).clamp(26.0, 44.0);
    let bottom = MARGIN_PX + (high - low) * px_per_ban;
    let axis = Axis::new(low, high, bottom, MARGIN_PX);
    html! {
        svg.ladder role="img" width="100%" height=(px(bottom + MARGIN_PX)) aria-label=(spoken(opinion)) {
            text.end-label x="0" y="18" { "▲ supports sealed" }
            text.end-label x="0" y=(px(bottom + MARGIN_PX - 6.0)) { "▼ supports the alternatives" }
            text.tick x=(at(WORDS_PERCENT - 2.0)) y=(px(MARGIN_PX - 14.0)) text-anchor="end" { "ban" }
            @for (index, (from, to, word)) in regions(low, high).into_iter().enumerate() {
                @let (top, height) = (axis.place(to), axis.place(from) - axis.place(to));
                @if index % 2 == 1 {
                    rect.step x="0" width="100%" y=(px(top)) height=(px(height)) {}
                }
                text.step-word x="0.5%" y=(px(top + height / 2.0 + 4.0)) { (word) }
            }
            @for (value, label) in marks(low, high) {
                line.(if value == 0.0 { "zero" } else { "grid" })
                    x1=(at(WORDS_PERCENT)) x2="100%" y1=(px(axis.place(value))) y2=(px(axis.place(value))) {}
                text.tick x=(at(WORDS_PERCENT - 2.0)) y=(px(axis.place(value) + 4.0)) text-anchor="end" { (label) }
            }
            line.axis x1=(at(WORDS_PERCENT)) x2=(at(WORDS_PERCENT)) y1=(px(MARGIN_PX)) y2=(px(bottom)) {}
            @for (index, column) in columns.iter().enumerate() {
                @let x = WORDS_PERCENT + (index as f64 + 0.34) * (100.0 - WORDS_PERCENT) / columns.len() as f64;
                (draw_column(column, x, index, open, &axis))
            }
        }
    }
}

fn draw_column(column: &Column<'_>, x: f64, index: usize, open: bool, axis: &Axis) -> Markup {
    let w = &column.weight;
    let known = !(w.value.0.is_nan() || w.low.0.is_nan() || w.high.0.is_nan());
    let y = if known { axis.held(w.value.0) } else { axis.held(0.0) };
    let (top, foot) = (axis.held(w.high.0.max(w.low.0)), axis.held(w.low.0.min(w.high.0)));
    // Neighbouring labels take turns on two lines, so that they do not meet on a phone.
    let label_y = MARGIN_PX - if index.is_multiple_of(2) { 24.0 } else { 8.0 };
    let beyond = if axis.holds(w.value.0) { "" } else { " and beyond" };
    html! {
        text.column-label x=(at(x)) y=(px(label_y)) text-anchor="middle" { (column.label) }
        svg.at x=(at(x)) y="0" overflow="visible" {
            @if known {
                line.whisker x1="0" x2="0" y1=(px(top)) y2=(px(foot)) {}
                line.whisker x1="-5" x2="5" y1=(px(top)) y2=(px(top)) {}
                line.whisker x1="-5" x2="5" y1=(px(foot)) y2=(px(foot)) {}
            }
            @if !known {
                text.value x="9" y=(px(y + 4.0)) { "no number" }
            } @else if column.mixed {
                path.point.open[open] d=(format!("M0 {} 7 {} 0 {} -7 {}z", px(y - 8.0), px(y), px(y + 8.0), px(y))) {}
            } @else {
                circle.point.open[open] cx="0" cy=(px(y)) r="4.5" {}
            }
            @if known { text.value x="9" y=(px(y + 4.0)) { (signed(w.value.0, 1)) (beyond) } }
        }
    }
}

/// The range shown: to the next step beyond every interval, within the ladder's ends.
fn range(columns: &[Column<'_>]) -> (f64, f64) {
    let ends = columns.iter().flat_map(|c| [c.weight.low.0, c.weight.value.0, c.weight.high.0]);
    let reach = |want: f64| {
        let steps = STEPS.iter().map(|(end, _)| *end).chain([END_BAN]);
        steps.filter(|end| *end >= LEAST_BAN).find(|end| *end >= want - 1e-9).unwrap_or(END_BAN)
    };
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    for value in ends.filter(|v| v.is_finite()) {
        low = low.min(value);
        high = high.max(value);
    }
    (-reach(-low), reach(high))
}

/// The steps that lie in the range, from the bottom up: from, to, word.
fn regions(low: f64, high: f64) -> Vec<(f64, f64, &'static str)> {
    let mut upper = Vec::new();
    let mut from = STEPS[0].0;
    for (to, word) in STEPS[1..].iter().copied().chain([(END_BAN, BEYOND)]) {
        upper.push((from, to, word));
        from = to;
    }
    let below = upper.iter().rev().map(|(from, to, word)| (-to, -from, *word));
    let middle = [(-STEPS[0].0, STEPS[0].0, STEPS[0].1)];
    let all = below.chain(middle).chain(upper.iter().copied());
    all.filter(|(from, to, _)| *from >= low - 1e-9 && *to <= high + 1e-9).collect()
}

/// The whole bans of the range with their labels.
fn marks(low: f64, high: f64) -> Vec<(f64, String)> {
    let (first, last) = (low.ceil() as i32, high.floor() as i32);
    (first..=last).map(|ban| (f64::from(ban), signed(f64::from(ban), 0))).collect()
}

fn spoken(opinion: &Opinion) -> String {
    let one = |name: &str, w: &WeightInterval| {
        format!(
            "{name} {} ban, 90 % interval {} to {}",
            signed(w.value.0, 1),
            signed(w.low.0, 1),
            signed(w.high.0, 1)
        )
    };
    let mut parts = vec![one("all alternatives together", &opinion.weight)];
    parts.extend(opinion.against.iter().map(|a| one(a.state.word(), &a.weight)));
    format!(
        "Scale in bans, up supports sealed, down supports the alternatives. Sealed against {}.",
        parts.join("; ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_fill_the_range_without_gap() {
        for (low, high) in [(-2.0, 2.0), (-7.0, 7.0), (-4.0, 3.0)] {
            let regions = regions(low, high);
            assert!((regions[0].0 - low).abs() < 1e-9);
            for pair in regions.windows(2) {
                assert!((pair[0].1 - pair[1].0).abs() < 1e-9, "{pair:?}");
            }
            assert!(regions.last().is_some_and(|r| (r.1 - high).abs() < 1e-9));
        }
    }

    #[test]
    fn step_ends_are_the_published_ratios() {
        let ratios = [2.0, 10.0, 100.0, 1_000.0, 10_000.0, 1_000_000.0];
        for ((end, _), ratio) in STEPS.iter().zip(ratios) {
            assert!((casebook::elementary::exp10(*end) - ratio).abs() < ratio * 1e-5);
        }
    }
}
