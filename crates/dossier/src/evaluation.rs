//! An evaluation as people read it: Tippett and reliability plots, each an SVG that stands alone, and a
//! page with the plots, the figures of merit and the parts of the set.
//!
//! In: an [`EvaluationFile`]. Out: SVG and HTML. Curves differ by dash and by the words beside them, not
//! by colour alone. Never here: how a figure is computed.
//!
//! Sources: `brummer2006` (cost), `enfsi2015` (steps), `wcag22` (contrast, words for pictures).

use casebook::evaluation::{Comparison, EvaluatedItem, EvaluationFile, Share, StepRate};
use casebook::hypothesis::State;
use maud::{Markup, PreEscaped, html};

use crate::axis::Axis;
use crate::closing::{cautions, footer};
use crate::number::{fixed, percent, px};
use crate::page::{document, scrolling};
use crate::palette;
use crate::words::{capital, step_word};

/// Size of a drawing, px; it scales with the page.
const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 420.0;
/// Place of the axes in it.
const LEFT: f64 = 64.0;
const RIGHT: f64 = 620.0;
const TOP: f64 = 54.0;
const FOOT: f64 = 348.0;
/// What drawings look like; the colours are those of the page.
const STYLE: &str = ".ev{font:13px system-ui,sans-serif}.ev .paper{fill:var(--paper)}.ev text{fill:var(--ink)}\
    .ev .small{fill:var(--muted);font-size:12px}.ev .title{font-size:15px;font-weight:600}\
    .ev .grid{stroke:var(--rule);stroke-opacity:.35}.ev .axis,.ev .even{stroke:var(--rule);fill:none}\
    .ev .even{stroke-dasharray:2 4}.ev .one{stroke:var(--first);fill:none;stroke-width:2}\
    .ev .two{stroke:var(--second);fill:none;stroke-width:2;stroke-dasharray:8 4}\
    .ev .mark-one{fill:var(--first)}.ev .mark-two{fill:none;stroke:var(--second);stroke-width:1.5}";

/// The plots of an evaluation, one file name and SVG each.
#[must_use]
pub fn evaluation_plots(file: &EvaluationFile) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for comparison in file.comparisons.iter().filter(|c| c.cllr.is_some()) {
        let name = comparison.against.map_or("all", State::word);
        out.push((format!("tippett-{name}.svg"), alone(&tippett(file, comparison))));
        out.push((format!("reliability-{name}.svg"), alone(&reliability(file, comparison))));
    }
    out
}

/// The page of an evaluation.
#[must_use]
pub fn evaluation_report(file: &EvaluationFile, generated_at: Option<&str>) -> String {
    let title = format!("Evaluation of {}", file.set);
    let body = html! {
        style { (PreEscaped(STYLE)) }
        header {
            p.kicker { "untorn · evaluation" }
            h1 { (title) }
            p {
                (file.items.len()) " items whose truth is known. Weights as computed, before the wording is capped. "
                "They say how this library tells these items apart; other photos, products or openers can be harder."
            }
            p { "Calibrated on " (counts(file)) "." }
        }
        main #main {
            section {
                h2 { "Figures of merit" }
                (scrolling("Figures of merit", figures(file.comparisons.iter().map(|c| (capital(&against(c)), c)).collect())))
            }
            @for comparison in file.comparisons.iter().filter(|c| c.cllr.is_some()) {
                section {
                    h2 { "Sealed against " (against(comparison)) }
                    div.beside {
                        figure { (tippett(file, comparison)) figcaption { "The further apart the curves, the better the two are told apart. What lies on the wrong side of 0 misleads." } }
                        figure { (reliability(file, comparison)) figcaption { "On the dotted line a weight means what it says. Steeper: weights are too small. Flatter: they are too large." } }
                    }
                    h3 { "Misleading support, by verbal step" }
                    (scrolling("Misleading support", steps(&comparison.steps)))
                }
            }
            section {
                h2 { "Parts of the set" }
                p { "By severity and way of closing, all sealed items stand against each part. Small parts have wide intervals: read the counts first." }
                (scrolling("Parts of the set", figures(file.slices.iter().map(|s| (format!("{}: {} (against {})", capital(&s.by), s.part, against(&s.comparison)), &s.comparison)).collect())))
            }
            section {
                h2 { "Decisions" }
                ul {
                    li { (file.decisions.hidden_asked) " of " (file.decisions.hidden) " items with a hidden view ended as cannot tell, with a request." }
                    li { (file.decisions.bought_unread) " items would have been bought with a deciding view unread." }
                    li { (file.decisions.bought_not_sealed) " items that are not sealed would have been bought." }
                    li { (file.decisions.passed_sealed) " sealed items that were shown whole were passed over." }
                }
                @if !file.missing.is_empty() {
                    p { "Without an opinion: " (file.missing.join(", ")) "." }
                }
            }
            (cautions(&[]))
        }
        (footer(&file.program, generated_at))
    };
    document(&title, &body)
}

fn counts(file: &EvaluationFile) -> String {
    let parts: Vec<String> = file
        .calibration
        .iter()
        .map(|c| format!("{} {} ({})", c.count, c.state, crate::words::origin_word(c.origin)))
        .collect();
    if parts.is_empty() { "no specimen".to_owned() } else { parts.join(", ") }
}

/// What sealed stands against, in words.
fn against(comparison: &Comparison) -> String {
    match comparison.against {
        None => "all that is not sealed".to_owned(),
        Some(State::Resealed) => "re-closed".to_owned(),
        Some(state) => state.word().replace('-', " "),
    }
}

fn figures(rows: Vec<(String, &Comparison)>) -> Markup {
    let number = |value: Option<f64>, digits| value.map_or("–".to_owned(), |v| fixed(v, digits));
    html! {
        table {
            caption { span { "Cost: 0 for certain truth, 1 for silence, more for misleading. Least: what the best monotone recalibration of the same weights would cost. Area under the ROC curve: 0.5 for chance, 1 for always in the right order." } }
            thead { tr {
                th scope="col" { "Against" } th scope="col" { "Sealed" } th scope="col" { "Others" }
                th scope="col" { "Cost (Cllr)" } th scope="col" { "Least" } th scope="col" { "Area" } th scope="col" { "Equal error rate" }
            } }
            tbody { @for (name, c) in rows { tr {
                th scope="row" { (name) } td { (c.sealed) } td { (c.others) }
                td { (number(c.cllr, 3)) } td { (number(c.min_cllr, 3)) } td { (number(c.auc, 3)) }
                td { (c.equal_error_rate.map_or("–".to_owned(), percent)) }
            } } }
        }
    }
}

fn steps(steps: &[StepRate]) -> Markup {
    let share = |s: &Share| format!("{} of {} ({} to {})", s.count, s.of, percent(s.low), percent(s.high));
    html! {
        table {
            caption { span { "Items with at least this support on the wrong side, with exact 95 % intervals." } }
            thead { tr {
                th scope="col" { "Support, at least" } th scope="col" { "Not sealed, said to be sealed" }
                th scope="col" { "Sealed, said not to be" }
            } }
            tbody { @for step in steps { tr {
                th scope="row" { (step_word(step.step)) }
                td { (share(&step.false_sealed)) } td { (share(&step.false_not_sealed)) }
            } } }
        }
    }
}

/// A drawing as a file of its own, with its colours for light and dark.
fn alone(drawing: &Markup) -> String {
    let text = drawing.0.replacen(
        "<svg ",
        &format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{HEIGHT}\" "),
        1,
    );
    let style = format!("<style>{}{STYLE}</style>", palette::css());
    match text.find('>') {
        Some(end) => format!("{}{style}{}\n", &text[..=end], &text[end + 1..]),
        None => text,
    }
}

/// The frame of a drawing: title, axes with ticks, grid, labels.
fn framed(title: &str, spoken: &str, x: &Axis, y: &Axis, labels: [&str; 2], inside: &Markup) -> Markup {
    html! {
        svg.ev viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(spoken) {
            rect.paper width=(px(WIDTH)) height=(px(HEIGHT)) {}
            text.title x="8" y="20" { (title) }
            text.small x="8" y="42" { (labels[1]) }
            @for (value, label) in y.ticks(5) {
                @let at = px(y.place(value));
                line.grid x1=(px(LEFT)) x2=(px(RIGHT)) y1=(at) y2=(at) {}
                text.small x=(px(LEFT - 8.0)) y=(px(y.place(value) + 4.0)) text-anchor="end" { (label) }
            }
            @for (value, label) in x.ticks(8) {
                @let at = px(x.place(value));
                line.grid x1=(at) x2=(at) y1=(px(TOP)) y2=(px(FOOT)) {}
                text.small x=(at) y=(px(FOOT + 18.0)) text-anchor="middle" { (label) }
            }
            line.axis x1=(px(LEFT)) x2=(px(RIGHT)) y1=(px(FOOT)) y2=(px(FOOT)) {}
            line.axis x1=(px(LEFT)) x2=(px(LEFT)) y1=(px(TOP)) y2=(px(FOOT)) {}
            text.small x=(px(RIGHT)) y=(px(FOOT + 38.0)) text-anchor="end" { (labels[0]) }
            (inside)
        }
    }
}

fn sides(file: &EvaluationFile, comparison: &Comparison) -> [Vec<f64>; 2] {
    let ratio = |i: &EvaluatedItem| comparison.against.map_or(i.weight, |state| i.against(state));
    let is_other =
        |i: &&EvaluatedItem| i.state != State::Sealed && comparison.against.is_none_or(|s| s == i.state);
    let mut sides = [
        file.items.iter().filter(|i| i.state == State::Sealed).map(ratio).collect::<Vec<f64>>(),
        file.items.iter().filter(is_other).map(ratio).collect(),
    ];
    for side in &mut sides {
        side.retain(|v| v.is_finite());
        side.sort_by(f64::total_cmp);
    }
    sides
}

/// The range of weights shown: at least two bans either way, to the next half ban.
fn range<'a>(values: impl Iterator<Item = &'a f64>) -> (f64, f64) {
    let (mut low, mut high) = (-2.0_f64, 2.0_f64);
    for value in values {
        low = low.min(*value);
        high = high.max(*value);
    }
    ((low * 2.0).floor() / 2.0, (high * 2.0).ceil() / 2.0)
}

/// Shares of either side whose weight is at least so much.
fn tippett(file: &EvaluationFile, comparison: &Comparison) -> Markup {
    let [first, second] = sides(file, comparison);
    let (low, high) = range(first.iter().chain(&second));
    let x = Axis::new(low, high, LEFT, RIGHT);
    let y = Axis::new(0.0, 100.0, FOOT, TOP);
    let staircase = |values: &[f64]| {
        let n = values.len() as f64;
        let mut data = format!("M{} {}", px(x.place(low)), px(y.place(100.0)));
        for (at, value) in values.iter().enumerate() {
            let share = 100.0 * (values.len() - at - 1) as f64 / n;
            data.push_str(&format!("H{}V{}", px(x.place(*value)), px(y.place(share))));
        }
        data.push_str(&format!("H{}", px(x.place(high))));
        data
    };
    let other = against(comparison);
    let wrong = |values: &[f64], is_wrong: &dyn Fn(f64) -> bool| {
        values.iter().filter(|v| is_wrong(**v)).count().to_string()
    };
    let spoken = format!(
        "Tippett plot. {} of {} sealed items have a weight below 0, {} of {} of {other} above 0.",
        wrong(&first, &|v| v < 0.0),
        first.len(),
        wrong(&second, &|v| v > 0.0),
        second.len(),
    );
    let inside = html! {
        line.axis x1=(px(x.place(0.0))) x2=(px(x.place(0.0))) y1=(px(TOP)) y2=(px(FOOT)) {}
        path.one d=(staircase(&first)) {}
        path.two d=(staircase(&second)) {}
        path.one d=(format!("M{LEFT} {}h34", px(FOOT + 56.0))) {}
        text x=(px(LEFT + 42.0)) y=(px(FOOT + 60.0)) { "sealed (" (first.len()) ")" }
        path.two d=(format!("M{} {}h34", px(LEFT + 170.0), px(FOOT + 56.0))) {}
        text x=(px(LEFT + 212.0)) y=(px(FOOT + 60.0)) { (other) " (" (second.len()) ")" }
    };
    let labels = ["weight for sealed (ban)", "items with at least this weight (%)"];
    framed(&format!("How far apart: sealed and {other}"), &spoken, &x, &y, labels, &inside)
}

/// What weights say against what the same items bear out.
fn reliability(file: &EvaluationFile, comparison: &Comparison) -> Markup {
    let points = &comparison.reliability;
    let [first, second] = sides(file, comparison);
    let (low, high) = range(points.iter().flatten());
    let (low, high) = (low.min(-high), high.max(-low));
    let x = Axis::new(low, high, LEFT, RIGHT);
    let y = Axis::new(low, high, FOOT, TOP);
    let mut data = String::new();
    for (at, [stated, borne]) in points.iter().enumerate() {
        let (px_x, px_y) = (px(x.place(*stated)), px(y.held(*borne)));
        data.push_str(&if at == 0 { format!("M{px_x} {px_y}") } else { format!("H{px_x}V{px_y}") });
    }
    let other = against(comparison);
    let spoken = format!(
        "Reliability plot of {} weights against {other}: what pool adjacent violators makes of the same items over what was stated; \
         cost {}, least {}.",
        first.len() + second.len(),
        comparison.cllr.map_or("unknown".to_owned(), |v| fixed(v, 2)),
        comparison.min_cllr.map_or("unknown".to_owned(), |v| fixed(v, 2)),
    );
    let inside = html! {
        line.axis x1=(px(x.place(0.0))) x2=(px(x.place(0.0))) y1=(px(TOP)) y2=(px(FOOT)) {}
        line.axis x1=(px(LEFT)) x2=(px(RIGHT)) y1=(px(y.place(0.0))) y2=(px(y.place(0.0))) {}
        line.even x1=(px(x.place(low))) x2=(px(x.place(high))) y1=(px(y.place(low))) y2=(px(y.place(high))) {}
        path.one d=(data) {}
        // Where the items lie: sealed along the top, the others along the foot.
        @for value in &first { circle.mark-one cx=(px(x.held(*value))) cy=(px(TOP + 6.0)) r="2.5" {} }
        @for value in &second { circle.mark-two cx=(px(x.held(*value))) cy=(px(FOOT - 6.0)) r="2.5" {} }
        circle.mark-one cx=(px(LEFT + 6.0)) cy=(px(FOOT + 56.0)) r="2.5" {}
        text x=(px(LEFT + 16.0)) y=(px(FOOT + 60.0)) { "sealed" }
        circle.mark-two cx=(px(LEFT + 96.0)) cy=(px(FOOT + 56.0)) r="2.5" {}
        text x=(px(LEFT + 106.0)) y=(px(FOOT + 60.0)) { (other) }
    };
    let labels = ["weight as stated (ban)", "weight that the items bear out (ban)"];
    framed(&format!("Do weights mean what they say: sealed and {other}"), &spoken, &x, &y, labels, &inside)
}
