//! Pictures as figures: data URIs, marks drawn over them, a ruler in mm under rectified ones.
//!
//! In: [`Picture`]s. Out: HTML figures with a text alternative each. Marks differ by line pattern and
//! number, and are listed in words below. Never here: decoding; bytes go out as they came in.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use casebook::picture::{Content, Mark, MarkRole, Picture};
use maud::{Markup, html};

use crate::axis::Axis;
use crate::number::{at, px};
use crate::plot;

/// Most marks that are drawn on one picture; the rest is counted in words.
const MOST_MARKS: usize = 60;

/// A raster image's parts, as every figure needs them.
#[derive(Clone, Copy)]
pub(crate) struct Raster<'a> {
    pub(crate) media_type: &'a str,
    pub(crate) bytes: &'a [u8],
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) px_per_mm: Option<f64>,
    pub(crate) marks: &'a [Mark],
    pub(crate) alt: &'a str,
}

/// The raster image of a picture, when it is one.
pub(crate) fn raster(picture: &Picture) -> Option<Raster<'_>> {
    match &picture.content {
        Content::Image { media_type, bytes, width, height, px_per_mm, marks } => Some(Raster {
            media_type,
            bytes,
            width: *width,
            height: *height,
            px_per_mm: *px_per_mm,
            marks,
            alt: &picture.alt,
        }),
        Content::Plot(_) => None,
    }
}

/// A figure of its own: image or plot, with number and caption.
pub(crate) fn figure(picture: &Picture, number: usize) -> Markup {
    html! {
        figure.picture id=(anchor(number)) {
            @match &picture.content {
                Content::Plot(p) => { (plot::draw(p, &picture.alt)) }
                Content::Image { .. } => { @if let Some(image) = raster(picture) { (frame(&image)) } }
            }
            figcaption { (caption(picture, number)) }
        }
    }
}

/// The number and caption of a picture, with its marks in words.
pub(crate) fn caption(picture: &Picture, number: usize) -> Markup {
    html! {
        span.figure-number { "Figure " (number) "." } " " (&picture.caption)
        @if let Some(image) = raster(picture) { (mark_list(image.marks)) }
    }
}

/// Where a figure can be linked to.
pub(crate) fn anchor(number: usize) -> String {
    format!("figure-{number}")
}

/// An image with its marks over it and, when its scale is known, a ruler under it.
pub(crate) fn frame(image: &Raster<'_>) -> Markup {
    html! {
        div.frame {
            img src=(data_uri(image)) alt=(image.alt) width=(image.width) height=(image.height);
            @if !image.marks.is_empty() { (overlay(image.width, image.height, image.marks)) }
        }
        @if let Some(scale) = image.px_per_mm.filter(|s| s.is_finite() && *s > 0.0) {
            (ruler(f64::from(image.width) / scale))
        }
    }
}

fn data_uri(image: &Raster<'_>) -> String {
    // Anything but the two types that pictures may have is shown as a broken image, not trusted.
    let media_type = match image.media_type {
        "image/png" => "image/png",
        "image/jpeg" => "image/jpeg",
        _ => "application/octet-stream",
    };
    format!("data:{media_type};base64,{}", STANDARD.encode(image.bytes))
}

/// Marks drawn over a picture of that size in pixels.
pub(crate) fn overlay(width: u32, height: u32, marks: &[Mark]) -> Markup {
    let (width, height) = (f64::from(width.max(1)), f64::from(height.max(1)));
    html! {
        svg.overlay width="100%" height="100%" aria-hidden="true" {
            svg width="100%" height="100%" viewBox=(format!("0 0 {width} {height}")) preserveAspectRatio="none" {
                @for mark in drawable(marks) {
                    // Pixel centres are whole numbers; the drawing's are halves.
                    @let points = mark.points.iter().map(|(x, y)| format!("{},{}", px(x + 0.5), px(y + 0.5)));
                    @let points = points.collect::<Vec<_>>().join(" ");
                    polygon.halo points=(points) {}
                    polygon.(role_class(mark.role)) points=(points) {}
                }
            }
            @for (index, mark) in drawable(marks).enumerate() {
                @if let Some((x, y)) = label_place(mark) {
                    svg.at x=(at((x / width * 100.0).clamp(2.0, 98.0))) y=(at((y / height * 100.0).clamp(2.0, 98.0)))
                        overflow="visible" {
                        text.mark-number text-anchor="middle" y="5" { (index + 1) }
                    }
                }
            }
        }
    }
}

fn drawable(marks: &[Mark]) -> impl Iterator<Item = &Mark> {
    marks
        .iter()
        .filter(|m| m.points.len() >= 2 && m.points.iter().all(|(x, y)| x.is_finite() && y.is_finite()))
        .take(MOST_MARKS)
}

/// The middle of a mark; inside for anything convex.
fn label_place(mark: &Mark) -> Option<(f64, f64)> {
    let count = mark.points.len() as f64;
    let sum = mark.points.iter().fold((0.0, 0.0), |(x, y), p| (x + p.0, y + p.1));
    let place = (sum.0 / count, sum.1 / count);
    (place.0.is_finite() && place.1.is_finite()).then_some(place)
}

fn role_class(role: MarkRole) -> &'static str {
    match role {
        MarkRole::Outline => "outline",
        MarkRole::Difference => "difference",
        MarkRole::Unread => "unread",
    }
}

/// The marks of a picture in words, numbered as they are drawn.
pub(crate) fn mark_list(marks: &[Mark]) -> Markup {
    let drawn: Vec<&Mark> = drawable(marks).collect();
    html! {
        @if !drawn.is_empty() {
            ol.marks {
                @for mark in &drawn {
                    li {
                        svg width="22" height="12" aria-hidden="true" {
                            rect.halo x="1.5" y="1.5" width="19" height="9" {}
                            rect.(role_class(mark.role)) x="1.5" y="1.5" width="19" height="9" {}
                        }
                        (&mark.label)
                        span.note {
                            (match mark.role {
                                MarkRole::Outline => " (outline)",
                                MarkRole::Difference => " (differs)",
                                MarkRole::Unread => " (not read)",
                            })
                        }
                    }
                }
            }
            @if marks.len() > drawn.len() { p.note { (marks.len() - drawn.len()) " more marks are not drawn." } }
        }
    }
}

/// A ruler as wide as the picture above it.
pub(crate) fn ruler(width_mm: f64) -> Markup {
    let axis = Axis::new(0.0, width_mm, 0.0, 100.0);
    let ticks = axis.ticks(6);
    // The unit stands at the right end; a tick too near would print over it.
    let labelled = |value: f64| axis.place(value) < 88.0;
    html! {
        svg.ruler width="100%" height="22" role="img" aria-label=(format!("Ruler: the picture is {width_mm:.1} mm wide")) {
            line.axis x1="0" x2="100%" y1="1" y2="1" {}
            @for (value, label) in &ticks {
                line.axis x1=(at(axis.place(*value))) x2=(at(axis.place(*value))) y1="1" y2="7" {}
                @if labelled(*value) {
                    text.tick x=(at(axis.place(*value))) y="19" text-anchor=(if *value == 0.0 { "start" } else { "middle" }) { (label) }
                }
            }
            text.tick x="100%" y="19" text-anchor="end" { "mm" }
        }
    }
}
