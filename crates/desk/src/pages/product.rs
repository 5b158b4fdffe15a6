//! One product: what it should look like, its makes with their sources, what specimens measured, and its
//! faces with their named regions.
//!
//! In: catalogue, references, measured specimens. Out: HTML with small plots; a face's new regions.
//! Never here: an opinion on an item.

use std::collections::BTreeMap;

use casebook::catalogue::{Catalogue, CutEdgeFacts, Face, Make, Product, Region, RidgeDirection};
use casebook::hypothesis::State;
use casebook::names::{FaceId, PhotoHash, ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::units::Toleranced;
use dossier::parts;
use maud::{Markup, html};
use serde::Serialize;

use super::library::tabs;
use super::{Part, Reader, data, frame, token};
use crate::desk::Desk;
use crate::edit::Fields;
use crate::error::Trouble;

/// Most regions of one face.
const MOST_REGIONS: usize = 200;
/// Width and row height of a small plot, px.
const PLOT_WIDTH: f64 = 320.0;
const ROW: f64 = 22.0;

fn find(
    desk: &Desk,
    product: &str,
) -> Result<(ProductId, Catalogue, Product, BTreeMap<FaceId, PhotoHash>), Trouble> {
    let missing = || Trouble::missing("product of that name in the library");
    let id: ProductId = product.parse().map_err(|_| missing())?;
    let library = desk.library();
    for catalogue in library.catalogues()? {
        let own =
            catalogue.products.iter().find(|p| catalogue.product_id(p).ok().as_ref() == Some(&id)).cloned();
        if let Some(own) = own {
            return Ok((id, catalogue, own, library.references()?));
        }
    }
    Err(missing())
}

/// The page of a product.
pub(crate) fn page(desk: &Desk, reader: Reader, product: &str) -> Result<String, Trouble> {
    let (id, catalogue, product, references) = find(desk, product)?;
    let shelf = desk.shelf();
    let measured: Vec<&MeasuredSpecimen> =
        shelf.iter().flat_map(|shelf| shelf.measured().iter().filter(|one| one.product == id)).collect();
    let body = html! {
        p.crumbs { a href="/library" { "Library" } " / " (catalogue.line.name) " / " (catalogue.release.name) }
        h1 { (product.name) }
        (tabs(""))
        (particulars(&catalogue, &product))
        section #look {
            h2 { "What this should look like" }
            p { "Compare these with what arrives before you open it: the whole front, the whole back and, for a pack, both end seals." }
            div.faces-small {
                @for face in &product.faces {
                    @let reference = references.get(&FaceId { product: id.clone(), face: face.id.clone() });
                    (face_card(&id, face, reference))
                }
            }
        }
        section {
            h2 { "Makes" }
            p.note { "One genuine way a product left a factory. A sign counts only where no known make shows it." }
            @for make in &product.makes { (make_card(make)) }
        }
        section {
            h2 { "Hand it on" }
            p { "The product with its facts, sources, reference pictures and specimens in one file, for another library." }
            form method="post" action=(format!("/library/product/{id}/pack")) { (token(desk)) button { "Pack it into a bundle" } }
        }
        section {
            h2 { "What specimens measured" }
            @if measured.is_empty() {
                p { "No specimen of this product has been measured. " a href="/library/add" { "Add specimens" } " of known status, and the weights follow." }
            } @else { (distributions(&measured)) }
        }
    };
    Ok(frame(desk, reader, Part::Library, &product.name, &body))
}

fn toleranced(value: &Toleranced, unit: &str) -> String {
    format!("({} ± {}) {unit}", parts::plain(value.value, 5), parts::plain(value.tolerance, 3))
}

fn particulars(catalogue: &Catalogue, product: &Product) -> Markup {
    html! {
        dl.particulars {
            div { dt { "Form" } dd { (product.form.word()) } }
            @if let Some(size) = &product.size_mm { div { dt { "Width, height, depth" } dd { @for one in size { div { (toleranced(one, "mm")) } } } } }
            @if let Some(mass) = &product.mass_g { div { dt { "Mass" } dd { (toleranced(mass, "g")) } } }
            @if let Some(contents) = &product.contains { div { dt { "Holds" } dd { (contents.count) " × " (contents.product) } } }
            @if !product.gtins.is_empty() { div { dt { "GTIN" } dd { (product.gtins.join(", ")) } } }
            div { dt { "Source of these facts" } dd { (catalogue.release.source) } }
        }
    }
}

fn face_card(id: &ProductId, face: &Face, reference: Option<&PhotoHash>) -> Markup {
    let [width, height] = face.size_mm;
    html! {
        figure.face-card {
            @if let Some(hash) = reference {
                a.frame href=(format!("/library/product/{id}/face/{}", face.id)) {
                    img src=(format!("/photo/{hash}")) alt=(format!("Reference of the {}", face.id)) loading="lazy";
                    (region_overlay(face))
                }
            }
            figcaption {
                a href=(format!("/library/product/{id}/face/{}", face.id)) { (parts::capital(&parts::spaced(face.id.as_str()))) }
                ", " (parts::plain(width, 4)) " × " (parts::plain(height, 4)) " mm"
                @if !face.regions.is_empty() {
                    ol.regions { @for region in &face.regions { li { (region.name) @if let Some(text) = &region.text { ": “" (text) "”" } } } }
                }
            }
        }
    }
}

/// Regions drawn over a reference, in mm.
fn region_overlay(face: &Face) -> Markup {
    let [width, height] = face.size_mm;
    html! {
        svg.overlay width="100%" height="100%" viewBox=(format!("0 0 {width} {height}")) preserveAspectRatio="none" aria-hidden="true" {
            @for region in &face.regions {
                @let r = region.rect_mm;
                rect.halo x=(r.x) y=(r.y) width=(r.width) height=(r.height) {}
                rect.outline x=(r.x) y=(r.y) width=(r.width) height=(r.height) {}
            }
        }
    }
}

fn make_card(make: &Make) -> Markup {
    html! {
        article.make {
            h3 { "Make " (make.id) }
            @if let Some(note) = &make.note { p { (note) } }
            dl.particulars {
                @if let Some(seal) = &make.end_seal {
                    div { dt { "End seal" } dd { "height " (toleranced(&seal.height_mm, "mm")) } }
                    div { dt { "Ridges" } dd {
                        @match seal.ridge_direction { RidgeDirection::Along => { "along the pack" } RidgeDirection::Across => { "across the pack" } }
                        ", pitch " (toleranced(&seal.pitch_mm, "mm")) } }
                }
                @match &make.cut_edge {
                    Some(CutEdgeFacts::Straight) => { div { dt { "Cut edge" } dd { "straight" } } }
                    Some(CutEdgeFacts::Toothed { pitch_mm, depth_mm }) => { div { dt { "Cut edge" } dd { "toothed, pitch " (toleranced(pitch_mm, "mm")) ", depth " (toleranced(depth_mm, "mm")) } } }
                    None => {}
                }
                @if let Some(fin) = &make.fin_seal { div { dt { "Fin seal" } dd { "centre " (toleranced(&fin.centre_mm, "mm")) " from the back's left edge, width " (toleranced(&fin.width_mm, "mm")) } } }
                @if let Some(film) = &make.film { div { dt { "Film" } dd { @if film.printed_mark { "with a printed mark" } @else { "without a printed mark" } @if let Some(repeat) = &film.mark_repeat_mm { ", every " (toleranced(repeat, "mm")) } } } }
                div { dt { "Source" } dd { (make.source) } }
            }
        }
    }
}

/// Values of one feature: by known status, each a dot.
#[derive(Default)]
struct Spread {
    unit: String,
    values: BTreeMap<State, Vec<f64>>,
}

/// The weighed numbers of the specimens, one small plot each.
fn distributions(measured: &[&MeasuredSpecimen]) -> Markup {
    let mut spreads: BTreeMap<(String, String), Spread> = BTreeMap::new();
    for one in measured {
        for finding in &one.findings {
            for feature in finding.features.iter().filter(|feature| feature.value.is_finite()) {
                let key = (parts::place(finding), parts::spaced(feature.name.as_str()));
                let spread = spreads.entry(key).or_default();
                spread.unit.clone_from(&feature.unit);
                spread.values.entry(one.state).or_default().push(feature.value);
            }
        }
    }
    html! {
        p.note { (measured.len()) " sittings. Each dot is one sitting of a specimen of known status; the tick is the middle one." }
        div.spreads {
            @for ((place, name), spread) in &spreads {
                figure.spread {
                    figcaption { strong { (parts::capital(name)) } @if spread.unit != "1" { " (" (spread.unit) ")" } div.note { (place) } }
                    (strip_plot(name, spread))
                }
            }
        }
    }
}

fn strip_plot(name: &str, spread: &Spread) -> Markup {
    let all = || spread.values.values().flatten().copied();
    let (low, high) = all().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let span = if high > low { high - low } else { 1.0 };
    let (left, right) = (92.0, PLOT_WIDTH - 8.0);
    let x = |value: f64| left + (value - low) / span * (right - left);
    let rows = spread.values.len() as f64;
    let foot = rows * ROW;
    let spoken: Vec<String> = spread
        .values
        .iter()
        .map(|(state, values)| format!("{} {state} around {}", values.len(), parts::plain(middle(values), 3)))
        .collect();
    html! {
        svg role="img" width="100%" viewBox=(format!("0 0 {PLOT_WIDTH} {}", foot + 20.0)) aria-label=(format!("{name}: {}", spoken.join(", "))) {
            @for (index, (state, values)) in spread.values.iter().enumerate() {
                @let y = (index as f64 + 0.5) * ROW;
                text.tick x="0" y=(y + 4.0) { (state.word()) " " (values.len()) }
                line.grid x1=(left) x2=(right) y1=(y) y2=(y) {}
                @for value in values { circle.dot cx=(format!("{:.1}", x(*value))) cy=(y) r="3.2" {} }
                @let m = x(middle(values));
                line.zero x1=(format!("{m:.1}")) x2=(format!("{m:.1}")) y1=(y - 8.0) y2=(y + 8.0) {}
            }
            text.tick x=(left) y=(foot + 15.0) { (parts::plain(low, 3)) }
            text.tick x=(right) y=(foot + 15.0) text-anchor="end" { (parts::plain(high, 3)) }
        }
    }
}

/// The middle value; of two the lower.
fn middle(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len().saturating_sub(1) / 2).copied().unwrap_or(f64::NAN)
}

#[derive(Serialize)]
struct RegionDraw<'a> {
    src: String,
    width: u32,
    height: u32,
    size_mm: [f64; 2],
    regions: &'a [Region],
    action: String,
    token: &'a str,
    alt: String,
}

/// One face with its regions to draw and name.
pub(crate) fn face(desk: &Desk, reader: Reader, product: &str, face: &str) -> Result<String, Trouble> {
    let (id, _, product, references) = find(desk, product)?;
    let name: Slug = face.parse().map_err(|_| Trouble::missing("face of that name"))?;
    let face = product.face(&name).ok_or_else(|| Trouble::missing("face of that name"))?;
    let hash = references.get(&FaceId { product: id.clone(), face: name.clone() });
    let size = match hash {
        Some(hash) => {
            let path = desk.photo_path(hash)?.ok_or_else(|| Trouble::missing("reference picture"))?;
            examination::probe(&path, "the reference").map_err(Trouble::wrong)?.size_px
        }
        None => None,
    };
    let action = format!("/library/product/{id}/face/{name}/regions");
    // For readers without scripts: the same list as text.
    let text = serde_json::to_string_pretty(&face.regions).unwrap_or_default();
    let title = format!("{}, {}", product.name, parts::spaced(name.as_str()));
    let body = html! {
        p.crumbs { a href="/library" { "Library" } " / " a href=(format!("/library/product/{id}")) { (product.name) } " / " (name) }
        h1 { (title) }
        p { "Regions are named parts of the artwork, in mm from the face's top left. Print is compared region by region. Changing them has the library made ready anew." }
        @if let (Some(hash), Some((width, height))) = (hash, size) {
            region-draw {
                (data(&RegionDraw {
                    src: format!("/photo/{hash}"), width, height, size_mm: face.size_mm, regions: &face.regions,
                    action: action.clone(), token: &desk.token, alt: format!("Reference of the {name}"),
                }))
                figure.large { div.frame { img src=(format!("/photo/{hash}")) width=(width) height=(height) alt=(format!("Reference of the {name}")); (region_overlay(face)) } }
                form method="post" action=(action) {
                    (token(desk))
                    label for="regions" { "Regions" }
                    textarea #regions name="regions" rows="14" spellcheck="false" { (text) }
                    button { "Keep these regions" }
                }
            }
        } @else { p { "This face has no reference picture; add its catalogue with its pictures." } }
    };
    Ok(frame(desk, reader, Part::Library, &title, &body))
}

/// Replaces a face's regions.
pub(crate) fn set_regions(
    desk: &Desk,
    product: &str,
    face: &str,
    fields: &Fields,
) -> Result<String, Trouble> {
    let text = fields.get("regions").map(String::as_str).unwrap_or_default();
    let regions: Vec<Region> = serde_json::from_str(text)
        .map_err(|error| Trouble::wrong(format!("regions: cannot be read ({error}); draw them again")))?;
    if regions.len() > MOST_REGIONS {
        return Err(Trouble::wrong(format!("regions: more than {MOST_REGIONS}; keep those that matter")));
    }
    let (id, mut catalogue, _, _) = find(desk, product)?;
    let name: Slug = face.parse().map_err(|_| Trouble::missing("face of that name"))?;
    let (_, _, own) = id.parts();
    let seat = catalogue
        .products
        .iter_mut()
        .find(|product| product.id.as_str() == own)
        .and_then(|product| product.faces.iter_mut().find(|face| face.id == name))
        .ok_or_else(|| Trouble::missing("face of that name"))?;
    seat.regions = regions;
    desk.library().revise_catalogue(&catalogue, desk.now())?;
    desk.ring();
    Ok(format!("/library/product/{id}/face/{name}"))
}
