//! The page of one product: what this should look like. For newcomers, to read, print and lay beside
//! the item.
//!
//! In: a catalogue, small copies of the reference pictures, specimens and what was measured of them.
//! Out: one HTML document that loads nothing. Never here: an offer, an opinion, a price.
//!
//! It shows every face with its named parts, the makes with their ends drawn to scale, the forms that
//! exist and those that were never made, and what set known-bad specimens apart. Numbers are those of
//! the catalogue (± tolerance) or the range that specimens showed, with how many there were.

use std::collections::{BTreeMap, BTreeSet};

use casebook::catalogue::{Catalogue, CutEdgeFacts, Face, Form, Make, Product, RidgeDirection};
use casebook::finding::Reading;
use casebook::hypothesis::State;
use casebook::names::{ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::picture::{Mark, MarkRole};
use casebook::specimen::SpecimenFile;
use casebook::units::Toleranced;
use maud::{Markup, html};

use crate::closing::{cautions, footer, glossary};
use crate::figure::{Raster, frame, mark_list};
use crate::number::{NBSP, fixed, plain, with_unit};
use crate::page::{document, foreign, scrolling};
use crate::words::{capital, origin_word, spaced, state_phrase};

/// Life sizes at which an end is drawn.
const DRAWN: f64 = 6.0;
/// Width of film that is drawn, mm, and the band inward of the seal.
const DRAWN_MM: (f64, f64) = (40.0, 2.5);
/// CSS pixels in a millimetre (96 to the inch).
const PX_PER_MM: f64 = 96.0 / 25.4;

/// What a product's page is made from.
#[derive(Debug, Clone)]
pub struct ProductInput<'a> {
    /// The release with the product.
    pub catalogue: &'a Catalogue,
    /// The product.
    pub product: &'a Product,
    /// Its full name.
    pub id: &'a ProductId,
    /// Small copies of its reference pictures.
    pub faces: &'a [FacePicture],
    /// Its specimens.
    pub specimens: &'a [SpecimenFile],
    /// What was measured of them; empty when nothing was yet.
    pub measured: &'a [MeasuredSpecimen],
    /// When the page was made, as it is to be printed.
    pub generated_at: Option<&'a str>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// A small copy of a face's reference picture.
#[derive(Debug, Clone, PartialEq)]
pub struct FacePicture {
    /// The face.
    pub face: Slug,
    /// `image/png` or `image/jpeg`.
    pub media_type: &'static str,
    /// The encoded file, without EXIF.
    pub bytes: Vec<u8>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
}

/// Writes the page of one product.
///
/// # Input
/// See [`ProductInput`]. Text in it may come from strangers (bundles) and comes out escaped.
///
/// # Result
/// One HTML document, UTF-8, that loads nothing. The same input gives the same bytes.
#[must_use]
pub fn product_page(input: &ProductInput<'_>) -> String {
    let product = input.product;
    let body = html! {
        header {
            p.kicker { "untorn · what this should look like" }
            h1 { (foreign(&product.name)) }
            p { "What the library knows of this " (product.form.word()) ", to hold beside the one in question. A sign counts only where no known make shows it; what is not listed here is not known, which is not the same as wrong." }
        }
        main #main {
            (particulars(input))
            (faces(input))
            (makes(input))
            (forms(input))
            (signs(input))
            (cautions(&[]))
            (glossary())
        }
        (footer(input.program, input.generated_at))
    };
    document(&format!("{}: what this should look like", product.name), &body)
}

fn toleranced(value: &Toleranced, unit: &str) -> String {
    let pair = if value.tolerance > 0.0 {
        format!("({}{NBSP}±{NBSP}{})", plain(value.value, 4), plain(value.tolerance, 2))
    } else {
        plain(value.value, 4)
    };
    with_unit(&pair, unit)
}

fn particulars(input: &ProductInput<'_>) -> Markup {
    let (catalogue, product) = (input.catalogue, input.product);
    let release = &catalogue.release;
    html! {
        dl.particulars {
            div { dt { "Line" } dd { (foreign(&catalogue.line.name)) } }
            div { dt { "Release" } dd {
                (foreign(&release.name))
                @if let Some(year) = release.year { ", " (year) }
            } }
            @if let Some(language) = &release.language { div { dt { "Language" } dd { (foreign(language)) } } }
            div { dt { "Form" } dd { (product.form.word()) } }
            @if let Some([width, height, depth]) = &product.size_mm {
                div { dt { "Size, filled" } dd { (toleranced(width, "")) " × " (toleranced(height, "")) " × " (toleranced(depth, "mm")) } }
            }
            @if let Some(mass) = &product.mass_g { div { dt { "Mass" } dd { (toleranced(mass, "g")) } } }
            @if let Some(contents) = &product.contains {
                div { dt { "Holds" } dd { (contents.count) " × " (spaced(contents.product.as_str())) } }
            }
            @if !product.gtins.is_empty() {
                div { dt { "Code printed on it" } dd { @for (i, gtin) in product.gtins.iter().enumerate() { @if i > 0 { ", " } (foreign(gtin)) } } }
            }
            div { dt { "Source of these facts" } dd { (foreign(&release.source)) } }
        }
    }
}

fn faces(input: &ProductInput<'_>) -> Markup {
    html! {
        section #faces {
            h2 { "Every face" }
            p { "The outlines are the named parts of the artwork. The ruler below each picture is in millimetres on the face." }
            div.faces-shown { @for face in &input.product.faces { (face_figure(input, face)) } }
        }
    }
}

fn face_figure(input: &ProductInput<'_>, face: &Face) -> Markup {
    let [width_mm, height_mm] = face.size_mm;
    let name = capital(&spaced(face.id.as_str()));
    let picture = input.faces.iter().find(|p| p.face == face.id);
    let marks = picture.map_or_else(Vec::new, |picture| region_marks(face, picture));
    html! {
        figure {
            @if let Some(p) = picture {
                @let alt = format!("{name} of {}, with {} named parts outlined", input.product.name, marks.len());
                (frame(&Raster {
                    media_type: p.media_type, bytes: &p.bytes, width: p.width, height: p.height,
                    px_per_mm: Some(f64::from(p.width) / width_mm), marks: &marks, alt: &alt,
                }))
            } @else { p { "The reference picture cannot be shown." } }
            figcaption {
                strong { (name) } ", " (plain(width_mm, 4)) " × " (plain(height_mm, 4)) (NBSP) "mm"
                @if face.regions.is_empty() { div.note { "No named part yet." } } @else { (mark_list(&marks)) }
            }
        }
    }
}

fn region_marks(face: &Face, picture: &FacePicture) -> Vec<Mark> {
    let [width_mm, height_mm] = face.size_mm;
    let (sx, sy) = (f64::from(picture.width) / width_mm, f64::from(picture.height) / height_mm);
    face.regions
        .iter()
        .map(|region| {
            let corners = region.rect_mm.corners();
            let points = corners.iter().map(|(x, y)| (x * sx - 0.5, y * sy - 0.5)).collect();
            let text = region.text.as_deref().filter(|t| t.chars().count() <= 80);
            let r = region.rect_mm;
            let size = format!("{} × {} mm", plain(r.width, 3), plain(r.height, 3));
            let label = match text {
                Some(text) => format!("{}: “{text}” ({size})", region.name),
                None => format!("{} ({size})", region.name),
            };
            Mark { points, label, role: MarkRole::Outline }
        })
        .collect()
}

fn makes(input: &ProductInput<'_>) -> Markup {
    let makes = &input.product.makes;
    let of = |make: &Make| input.specimens.iter().filter(|s| s.make.as_ref() == Some(&make.id)).count();
    html! {
        section #makes {
            h2 { "Genuine makes" }
            p { "A product may have left the factory in several ways. Each is genuine; an item should agree with one of them." }
            @for make in makes {
                h3 { "Make " (spaced(make.id.as_str())) }
                @if let Some(note) = &make.note { p { (foreign(note)) } }
                @if make.end_seal.is_some() || make.cut_edge.is_some() { (end_drawing(make)) }
                ul {
                    @if let Some(seal) = &make.end_seal {
                        li { "End seals: " (toleranced(&seal.height_mm, "mm")) " high; the ridges run "
                            @match seal.ridge_direction {
                                RidgeDirection::Along => { "along the pack, square to the cut edge" }
                                RidgeDirection::Across => { "across the pack, parallel to the cut edge" }
                            }
                            ", " (toleranced(&seal.pitch_mm, "mm")) " from one to the next." }
                    }
                    @match &make.cut_edge {
                        Some(CutEdgeFacts::Straight) => { li { "Ends cut straight." } }
                        Some(CutEdgeFacts::Toothed { pitch_mm, depth_mm }) => {
                            li { "Ends cut in teeth " (toleranced(pitch_mm, "mm")) " apart and " (toleranced(depth_mm, "mm")) " deep." }
                        }
                        None => {}
                    }
                    @if let Some(seam) = &make.fin_seal {
                        li { "Back seam: centre " (toleranced(&seam.centre_mm, "mm")) " from the left edge, " (toleranced(&seam.width_mm, "mm")) " wide." }
                    }
                    @if let Some(film) = &make.film {
                        li {
                            @if film.printed_mark { "Clear film with a printed mark that repeats" } @else { "Clear film without a printed mark" }
                            @if let Some(repeat) = &film.mark_repeat_mm { " every " (toleranced(repeat, "mm")) }
                            "."
                        }
                    }
                    li { "Source: " (foreign(&make.source)) ". Specimens of this make in the library: " (of(make)) "." }
                }
            }
        }
    }
}

/// One end, drawn to scale: ridges, land, cut line.
fn end_drawing(make: &Make) -> Markup {
    let scale = DRAWN * PX_PER_MM / 2.0;
    let (width_mm, inward_mm) = DRAWN_MM;
    let seal_mm = make.end_seal.as_ref().map_or(9.0, |s| s.height_mm.value).clamp(1.0, 40.0);
    let depth_mm = match &make.cut_edge {
        Some(CutEdgeFacts::Toothed { depth_mm, .. }) => depth_mm.value.clamp(0.0, 10.0),
        _ => 0.0,
    };
    let (w, h) = (width_mm * scale, (seal_mm + inward_mm) * scale);
    let outline = cut_outline(make, width_mm, depth_mm)
        .into_iter()
        .chain([(width_mm, seal_mm + inward_mm), (0.0, seal_mm + inward_mm)])
        .map(|(x, y)| format!("{},{}", fixed(x * scale, 1), fixed(y * scale, 1)))
        .collect::<Vec<_>>()
        .join(" ");
    let direction = make.end_seal.as_ref().map(|s| s.ridge_direction);
    let alt = format!(
        "Drawing of one end of make {}: {}{}",
        make.id,
        match direction {
            Some(RidgeDirection::Along) => "ridges square to the cut edge",
            Some(RidgeDirection::Across) => "ridges parallel to the cut edge",
            None => "ridges not known",
        },
        if depth_mm > 0.0 { ", cut in teeth" } else { "" }
    );
    html! {
        figure.plot {
            svg role="img" aria-label=(alt) width="100%" viewBox=(format!("-1 -1 {} {}", fixed(w + 2.0, 1), fixed(h + 2.0, 1))) style="max-width:46rem" {
                polygon.band points=(outline) {}
                @for (x1, y1, x2, y2) in ridges(make, width_mm, seal_mm, depth_mm) {
                    line.axis x1=(fixed(x1 * scale, 1)) y1=(fixed(y1 * scale, 1)) x2=(fixed(x2 * scale, 1)) y2=(fixed(y2 * scale, 1)) {}
                }
            }
            figcaption { "One end, " (plain(width_mm, 2)) (NBSP) "mm of its width, drawn to scale: the cut edge is above." }
        }
    }
}

/// The cut line from left to right, mm.
fn cut_outline(make: &Make, width_mm: f64, depth_mm: f64) -> Vec<(f64, f64)> {
    let Some(CutEdgeFacts::Toothed { pitch_mm, .. }) = &make.cut_edge else {
        return vec![(0.0, 0.0), (width_mm, 0.0)];
    };
    let pitch = pitch_mm.value.clamp(0.3, 20.0);
    let count = (width_mm / pitch * 2.0).ceil() as usize;
    (0..=count)
        .map(|i| ((i as f64 * pitch / 2.0).min(width_mm), if i % 2 == 0 { 0.0 } else { depth_mm }))
        .collect()
}

/// The ridges' lines, mm: x1, y1, x2, y2.
fn ridges(make: &Make, width_mm: f64, seal_mm: f64, from_mm: f64) -> Vec<(f64, f64, f64, f64)> {
    let Some(seal) = &make.end_seal else { return Vec::new() };
    let pitch = seal.pitch_mm.value.clamp(0.2, 20.0);
    match seal.ridge_direction {
        RidgeDirection::Along => (1..)
            .map(|i| f64::from(i) * pitch)
            .take_while(|x| *x < width_mm)
            .map(|x| (x, from_mm + 0.4, x, seal_mm))
            .collect(),
        RidgeDirection::Across => (0..)
            .map(|i| from_mm + 0.6 + f64::from(i) * pitch)
            .take_while(|y| *y <= seal_mm)
            .map(|y| (0.0, y, width_mm, y))
            .collect(),
    }
}

fn forms(input: &ProductInput<'_>) -> Markup {
    let catalogue = input.catalogue;
    let listed = |form: Form| {
        catalogue.products.iter().any(|p| p.form == form)
            || catalogue.never_made.iter().any(|n| n.form == form)
    };
    let unknown: Vec<&str> = Form::ALL.into_iter().filter(|f| !listed(*f)).map(Form::word).collect();
    html! {
        section #forms {
            h2 { "Forms of " (foreign(&catalogue.release.name)) }
            ul {
                @for product in &catalogue.products {
                    li { "Made as " strong { (product.form.word()) } ": " (foreign(&product.name)) }
                }
                @for never in &catalogue.never_made {
                    li { strong { "Never made" } " as " (never.form.word()) ", by " (foreign(&never.source)) ", " (never.date) "." }
                }
                @if !unknown.is_empty() {
                    li { "Nothing is known either way of: " (unknown.join(", ")) ". Absence from this list proves nothing." }
                }
            }
        }
    }
}

fn signs(input: &ProductInput<'_>) -> Markup {
    let bad: Vec<&SpecimenFile> = input.specimens.iter().filter(|s| s.state != State::Sealed).collect();
    let sealed = input.specimens.len() - bad.len();
    let rows = measured_rows(input.measured);
    let states: Vec<State> =
        State::ALL.into_iter().filter(|s| input.measured.iter().any(|m| m.state == *s)).collect();
    html! {
        section #signs {
            h2 { "What set known-bad specimens apart" }
            p {
                "The library holds " (sealed) " specimens known to be sealed and " (bad.len()) " known to be something else."
                @if bad.is_empty() { " So it cannot say yet what a bad one looks like." }
            }
            @if !bad.is_empty() {
                (scrolling("Known-bad specimens", html! {
                    table.small {
                        caption { span { "Specimens of known history, and what was noted of them." } }
                        thead { tr { th scope="col" { "Specimen" } th scope="col" { "What it is" } th scope="col" { "How that is known" } th scope="col" { "Noted" } } }
                        tbody { @for s in &bad { tr {
                            th scope="row" { (s.id) div.note { (origin_word(s.origin)) } }
                            td { (state_phrase(s.state)) }
                            td { (foreign(&s.known_by)) }
                            td.words { @if s.notes.is_empty() { "–" } @else { (foreign(&s.notes.join("; "))) } }
                        } } }
                    }
                }))
            }
            @if rows.is_empty() {
                p { "Nothing was measured of its specimens yet: examine one offer, and they will be." }
            } @else {
                (scrolling("What was measured", html! {
                    table {
                        caption { span { "What the examiners read from specimens: smallest to largest, the middle one in brackets, and how many. Where the ranges overlap, the number alone tells nothing." } }
                        thead { tr {
                            th scope="col" { "Measured" }
                            @for state in &states { th scope="col" { (capital(state.word())) } }
                        } }
                        tbody { @for (name, by_state) in &rows { tr {
                            th scope="row" { (name.0) div.note { (name.1) } }
                            @for state in &states { td { (range(by_state.get(state), &name.2)) } }
                        } } }
                    }
                }))
            }
        }
    }
}

/// Name, place and unit of something measured.
type Name = (String, String, String);

/// Values by name and state, in the order of their names; only what sealed specimens show too.
fn measured_rows(measured: &[MeasuredSpecimen]) -> BTreeMap<Name, BTreeMap<State, Vec<f64>>> {
    let mut rows: BTreeMap<Name, BTreeMap<State, Vec<f64>>> = BTreeMap::new();
    let mut seen = BTreeSet::new();
    for one in measured {
        for finding in &one.findings {
            let Reading::Measured { value, unit, .. } = &finding.reading else { continue };
            if !value.is_finite() || !seen.insert((one.specimen.clone(), one.sitting.clone(), finding.key()))
            {
                continue;
            }
            let face = finding.place.face.as_ref().map(|f| spaced(f.as_str()));
            let part = finding.place.part.as_ref().map(|p| spaced(p));
            let place = [face, part].into_iter().flatten().collect::<Vec<_>>().join(", ");
            let name = (capital(&spaced(finding.quantity.as_str())), place, unit.clone());
            rows.entry(name).or_default().entry(one.state).or_default().push(*value);
        }
    }
    rows.retain(|_, by_state| by_state.contains_key(&State::Sealed));
    rows
}

fn range(values: Option<&Vec<f64>>, unit: &str) -> Markup {
    let Some(values) = values.filter(|v| !v.is_empty()) else { return html! { "–" } };
    let mut sorted = values.clone();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (sorted[0], sorted[sorted.len() - 1]);
    let middle = sorted[sorted.len() / 2];
    let ends = format!("{} to {}", plain(low, 3), plain(high, 3));
    html! {
        (with_unit(&format!("{ends} ({})", plain(middle, 3)), unit))
        div.note { (sorted.len()) " readings" }
    }
}
