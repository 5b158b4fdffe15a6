//! Curves over axes with units, as SVG.
//!
//! In: a [`Plot`]. Out: an SVG whose text keeps its size while its curves follow the width, and a
//! legend in HTML. Curves differ by dash and by marker, not by colour alone.
//! Never here: raster images, a file, a script.

use casebook::picture::{Curve, Plot};
use maud::{Markup, html};

use crate::axis::Axis;
use crate::number::{at, px};

/// Place of the axes, per cent of the width.
const LEFT: f64 = 11.0;
const RIGHT: f64 = 98.0;
/// Place of the axes from the top, px.
const TOP_PX: f64 = 30.0;
const HEIGHT_PX: f64 = 190.0;
/// Width of the curves' own frame, which is stretched to the axes.
const FRAME: f64 = 1000.0;
/// More points than this are thinned: no screen shows more.
const MOST_POINTS: usize = 1_600;
/// Markers along one curve.
const MARKERS: usize = 12;

/// Draws one plot with its legend. `alt` stands in for it.
pub(crate) fn draw(plot: &Plot, alt: &str) -> Markup {
    let (x_axis, y_axis) = axes(plot);
    let foot = TOP_PX + HEIGHT_PX;
    html! {
        svg.plot role="img" width="100%" height=(px(foot + 42.0)) aria-label=(alt) {
            text.axis-label x="0" y="14" { (plot.y_label) }
            @if let Some((low, high, _)) = &plot.band {
                @let (top, bottom) = (y_axis.held(low.max(*high)), y_axis.held(low.min(*high)));
                rect.band x=(at(LEFT)) width=(at(RIGHT - LEFT)) y=(px(top)) height=(px((bottom - top).max(1.0))) {}
            }
            @for (value, label) in y_axis.ticks(5) {
                @let y = px(y_axis.place(value));
                line.grid x1=(at(LEFT)) x2=(at(RIGHT)) y1=(y) y2=(y) {}
                text.tick x=(at(LEFT - 1.5)) y=(px(y_axis.place(value) + 4.0)) text-anchor="end" { (label) }
            }
            @for (value, label) in x_axis.ticks(6) {
                @let x = at(x_axis.place(value));
                line.axis x1=(x) x2=(x) y1=(px(foot)) y2=(px(foot + 5.0)) {}
                text.tick x=(x) y=(px(foot + 18.0)) text-anchor="middle" { (label) }
            }
            line.axis x1=(at(LEFT)) x2=(at(RIGHT)) y1=(px(foot)) y2=(px(foot)) {}
            line.axis x1=(at(LEFT)) x2=(at(LEFT)) y1=(px(TOP_PX)) y2=(px(foot)) {}
            text.axis-label x=(at(RIGHT)) y=(px(foot + 36.0)) text-anchor="end" { (plot.x_label) }
            svg x=(at(LEFT)) y=(px(TOP_PX)) width=(at(RIGHT - LEFT)) height=(px(HEIGHT_PX))
                viewBox=(format!("0 0 {FRAME} {HEIGHT_PX}")) preserveAspectRatio="none" {
                @for (index, curve) in plot.curves.iter().enumerate() {
                    path.curve.(style(index)).dashed[curve.dashed] d=(path(curve, &x_axis, &y_axis)) {}
                }
            }
            @for (index, curve) in plot.curves.iter().enumerate() {
                @for (x, y) in markers(curve, index, &x_axis, &y_axis) {
                    svg.at x=(at(x)) y=(px(y)) overflow="visible" { (marker(index)) }
                }
            }
        }
        ul.legend {
            @for (index, curve) in plot.curves.iter().enumerate() {
                li {
                    svg width="44" height="12" aria-hidden="true" {
                        path.curve.(style(index)).dashed[curve.dashed] d="M0 6H44" {}
                        svg.at x="22" y="6" overflow="visible" { (marker(index)) }
                    }
                    (curve.label)
                }
            }
            @if let Some((_, _, words)) = &plot.band {
                li { svg width="44" height="12" aria-hidden="true" { rect.band width="44" height="12" {} } (words) }
            }
        }
    }
}

fn style(index: usize) -> &'static str {
    if index.is_multiple_of(2) { "c0" } else { "c1" }
}

/// The range of everything that is drawn; y with a little air.
fn axes(plot: &Plot) -> (Axis, Axis) {
    let points =
        || plot.curves.iter().flat_map(|c| c.points.iter()).filter(|(x, y)| x.is_finite() && y.is_finite());
    let span = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let (x_low, x_high) = span(&mut points().map(|p| p.0));
    let band = plot.band.iter().flat_map(|(low, high, _)| [*low, *high]).filter(|v| v.is_finite());
    let (y_low, y_high) = span(&mut points().map(|p| p.1).chain(band));
    let air = (y_high - y_low) * 0.05;
    (Axis::new(x_low, x_high, LEFT, RIGHT), Axis::new(y_low - air, y_high + air, TOP_PX + HEIGHT_PX, TOP_PX))
}

/// A curve as path data in its frame; a point that is no number breaks the line.
fn path(curve: &Curve, x_axis: &Axis, y_axis: &Axis) -> String {
    let mut data = String::new();
    let mut pen_down = false;
    for (x, y) in thinned(&curve.points) {
        if !(x.is_finite() && y.is_finite()) {
            pen_down = false;
            continue;
        }
        let across = (x_axis.place(x) - LEFT) / (RIGHT - LEFT) * FRAME;
        let down = y_axis.place(y) - TOP_PX;
        data.push(if pen_down { 'L' } else { 'M' });
        data.push_str(&format!("{} {}", px(across), px(down)));
        pen_down = true;
    }
    data
}

/// Keeps the highest and lowest point of each of equal runs, so that peaks survive.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    if points.len() <= MOST_POINTS {
        return points.to_vec();
    }
    let run = points.len().div_ceil(MOST_POINTS / 2);
    let mut kept = Vec::new();
    for chunk in points.chunks(run) {
        let real = || chunk.iter().enumerate().filter(|(_, p)| p.0.is_finite() && p.1.is_finite());
        let lowest = real().min_by(|a, b| a.1.1.total_cmp(&b.1.1));
        let highest = real().max_by(|a, b| a.1.1.total_cmp(&b.1.1));
        match (lowest, highest) {
            (Some(a), Some(b)) if a.0 == b.0 => kept.push(*a.1),
            (Some(a), Some(b)) => {
                kept.push(if a.0 < b.0 { *a.1 } else { *b.1 });
                kept.push(if a.0 < b.0 { *b.1 } else { *a.1 });
            }
            _ => kept.push((f64::NAN, f64::NAN)),
        }
    }
    kept
}

/// Where a curve's markers stand, in the drawing's per cent and px. The first curve has none.
fn markers(curve: &Curve, index: usize, x_axis: &Axis, y_axis: &Axis) -> Vec<(f64, f64)> {
    if index == 0 || curve.points.is_empty() {
        return Vec::new();
    }
    let step = curve.points.len().div_ceil(MARKERS);
    let places = curve.points.iter().skip(step / 2).step_by(step);
    places
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .map(|(x, y)| (x_axis.place(*x), y_axis.place(*y)))
        .collect()
}

fn marker(index: usize) -> Markup {
    let shape = match index % 5 {
        1 => "M-3.5 0A3.5 3.5 0 1 0 3.5 0A3.5 3.5 0 1 0-3.5 0z",
        2 => "M-3-3 3 3M-3 3 3-3",
        3 => "M-3-3H3V3H-3z",
        4 => "M0-4 4 3H-4z",
        _ => "",
    };
    html! { @if index > 0 && !shape.is_empty() { path.marker.(style(index)) d=(shape) {} } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(points: Vec<(f64, f64)>) -> Curve {
        Curve { label: "c".to_owned(), points, dashed: false }
    }

    #[test]
    fn thinning_keeps_the_peaks() {
        let mut points: Vec<(f64, f64)> = (0..50_000).map(|i| (f64::from(i), 0.0)).collect();
        points[31_234].1 = 9.0;
        points[40_001].1 = -7.0;
        let kept = thinned(&points);
        assert!(kept.len() <= MOST_POINTS);
        assert!(kept.contains(&(31_234.0, 9.0)) && kept.contains(&(40_001.0, -7.0)));
        assert!(kept.windows(2).all(|w| w[0].0 <= w[1].0));
    }

    #[test]
    fn nan_breaks_the_line_and_nothing_prints_nan() {
        let plot = Plot {
            x_label: "place (mm)".to_owned(),
            y_label: "height (1)".to_owned(),
            curves: vec![
                curve(vec![(0.0, 1.0), (1.0, f64::NAN), (2.0, 3.0)]),
                curve(vec![]),
                curve(vec![(f64::NAN, 1.0)]),
            ],
            band: Some((f64::NAN, 2.0, "band".to_owned())),
        };
        let (x, y) = axes(&plot);
        assert_eq!(path(&plot.curves[0], &x, &y).matches('M').count(), 2);
        let svg = draw(&plot, "alt").into_string();
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}
