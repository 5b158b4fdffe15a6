//! Photo and reference side by side, both in the millimetres of the face.
//!
//! In: placed faces and the library's references. Out: one `face-compare` element a face, with data for
//! its module and two plain pictures for readers without scripts. Overlays are in mm on the face.
//! Never here: a pixel of either picture.

use casebook::finding::Finding;
use casebook::names::{PhotoHash, Slug};
use casebook::opinion::{ItemReport, PhotoReport, PlacedFace};
use casebook::units::RectMm;
use dossier::parts;
use maud::{Markup, html};
use serde::Serialize;

use super::View;
use super::photo::outline;
use crate::pages::data;

/// Height of an end seal where the catalogue gives none, mm. Common practice, no source.
const SEAL_MM: f64 = 9.0;

/// So many faces stand open at once, as a pack has; of a box the first one does.
const OPEN_FACES: usize = 2;

/// A picture that a module draws.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Source {
    pub(crate) src: String,
    pub(crate) width: u32,
    pub(crate) height: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) file: Option<String>,
    /// A smaller file of the same picture.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) small: Option<Small>,
}

/// A smaller file of a picture.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Small {
    pub(crate) src: String,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

/// Something drawn over a picture.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Overlay {
    kind: &'static str,
    label: String,
    on: &'static str,
    polygon_mm: Vec<[f64; 2]>,
}

#[derive(Serialize)]
struct FaceCompare {
    photo: Source,
    reference: Source,
    size_mm: [f64; 2],
    mm_to_px: Maps,
    overlays: Vec<Overlay>,
    alt: Alt,
}

#[derive(Serialize)]
struct Maps {
    photo: [[f64; 3]; 3],
    reference: [[f64; 3]; 3],
}

#[derive(Serialize)]
struct Alt {
    photo: String,
    reference: String,
}

/// A photo as a module takes it.
pub(crate) fn source(view: &View<'_>, photo: &PhotoReport) -> Option<Source> {
    let [width, height] = photo.size_px?;
    let small = view.shown.photo(&photo.file).map(|shown| Small {
        src: view.picture(&shown.copy.hash),
        width: shown.copy.width,
        height: shown.copy.height,
    });
    let src = format!("/photo/{}", photo.hash.as_ref()?);
    Some(Source { src, width, height, file: Some(photo.file.to_string()), small })
}

/// Every face of an item beside its reference: the photo that shows the face largest.
pub(crate) fn section(view: &View<'_>, item: &ItemReport) -> Markup {
    let Some(examination) = view.examination else { return html! {} };
    let mut seen: Vec<(&PhotoReport, &PlacedFace)> = Vec::new();
    for photo in &examination.photos {
        let own = |placed: &&PlacedFace| {
            placed.item == item.opinion.item && Some(&placed.face.product) == item.opinion.product.as_ref()
        };
        seen.extend(photo.faces.iter().filter(own).map(|placed| (photo, placed)));
    }
    // The whole face before a part of it, then the one seen largest.
    let rank = |(photo, placed): &(&PhotoReport, &PlacedFace)| {
        (corners_inside(view, photo, placed), placed.px_per_mm)
    };
    seen.sort_by(|a, b| {
        let ((a_in, a_scale), (b_in, b_scale)) = (rank(a), rank(b));
        a.1.face.cmp(&b.1.face).then(b_in.cmp(&a_in)).then(b_scale.total_cmp(&a_scale))
    });
    let mut best: Vec<(&PhotoReport, &PlacedFace)> = Vec::new();
    let mut others: Vec<(&PhotoReport, &PlacedFace)> = Vec::new();
    for one in seen {
        let known = best.iter().any(|(_, other)| other.face == one.1.face);
        if known { others.push(one) } else { best.push(one) }
    }
    // Front before back, as the catalogue lists them.
    let facts = item.opinion.product.as_ref().and_then(|product| view.shelf?.products().get(product));
    best.sort_by_key(|(_, placed)| {
        facts.and_then(|facts| facts.faces.iter().position(|face| face.id == placed.face.face))
    });
    html! {
        h3 { "Beside the reference" }
        @if best.is_empty() {
            p { "No face of this item was placed in a photo, so there is nothing to lay beside a reference. If a photo does show one, open the photo below and set its four corners." }
        } @else {
            p.note { "Both pictures are in the millimetres of the face: what lies at one place of the left lies at the same place of the right." }
            @let few = best.len() <= OPEN_FACES;
            div.faces {
                @for (index, (photo, placed)) in best.iter().enumerate() { (one(view, item, photo, placed, few || index == 0)) }
                @for (photo, placed) in others { (one(view, item, photo, placed, false)) }
            }
        }
    }
}

/// Where a face was found in the photo: the photo's own page.
fn photo_address(view: &View<'_>, photo: &PhotoReport) -> String {
    let place = view.case.photos.iter().position(|told| told.file == photo.file).unwrap_or(0);
    format!("/case/{}/photo/{}", view.id, place + 1)
}

/// How many of a face's four corners lie inside the photo.
fn corners_inside(view: &View<'_>, photo: &PhotoReport, placed: &PlacedFace) -> usize {
    let size = view.shelf.and_then(|shelf| shelf.face_size_mm(&placed.face));
    let Some((corners, [width, height])) = size.and_then(|size| outline(placed, size)).zip(photo.size_px)
    else {
        return 0;
    };
    let inside =
        |[x, y]: &[f64; 2]| *x >= 0.0 && *y >= 0.0 && *x < f64::from(width) && *y < f64::from(height);
    corners.iter().filter(|corner| inside(corner)).count()
}

fn one(view: &View<'_>, item: &ItemReport, photo: &PhotoReport, placed: &PlacedFace, open: bool) -> Markup {
    let name = parts::capital(&parts::spaced(placed.face.face.as_str()));
    let made = view.shelf.and_then(|shelf| {
        let size_mm = shelf.face_size_mm(&placed.face)?;
        let reference = shelf.products().picture(&placed.face)?;
        let hash: PhotoHash = reference.hash().as_str().parse().ok()?;
        let (width, height) =
            (u32::try_from(reference.width()).ok()?, u32::try_from(reference.height()).ok()?);
        Some((size_mm, Source { src: format!("/photo/{hash}"), width, height, file: None, small: None }))
    });
    let Some(((size_mm, reference), source)) = made.zip(source(view, photo)) else {
        return html! { p.note { (name) ": the library or the photo is not ready to be shown side by side." } };
    };
    let alt = Alt {
        photo: format!("Photo {}: {} of item {}", photo.file, placed.face.face, placed.item),
        reference: format!(
            "Reference of the {} of {}",
            placed.face.face,
            view.product_name(&placed.face.product)
        ),
    };
    let maps = Maps {
        photo: placed.mm_to_px,
        // The edges of the picture are the edges of the face; pixel centres are whole numbers.
        reference: [
            [f64::from(reference.width) / size_mm[0], 0.0, -0.5],
            [0.0, f64::from(reference.height) / size_mm[1], -0.5],
            [0.0, 0.0, 1.0],
        ],
    };
    html! {
        details.face.fold open[open] {
            summary { h4 { (name) span.note { " in photo " (photo.file) ", " (parts::plain(placed.px_per_mm, 3)) " px/mm" } } }
            face-compare {
                (data(&FaceCompare {
                    photo: source.clone(), reference: reference.clone(), size_mm, mm_to_px: maps,
                    overlays: overlays(view, item, &placed.face.face, size_mm), alt,
                }))
                div.pair {
                    figure {
                        @let shown = source.small.as_ref().map_or((&source.src, source.width, source.height), |s| (&s.src, s.width, s.height));
                        img src=(shown.0) width=(shown.1) height=(shown.2) alt=(format!("Photo {}", photo.file)) loading="lazy";
                        figcaption { "Photo " a href=(photo_address(view, photo)) { (photo.file) } ", " (parts::plain(placed.px_per_mm, 3)) " px/mm, " (parts::plain(placed.angle_deg, 2)) "° from straight on" }
                    }
                    figure {
                        img src=(reference.src) width=(reference.width) height=(reference.height) alt="Reference" loading="lazy";
                        figcaption { "Reference, " (parts::plain(size_mm[0], 4)) " × " (parts::plain(size_mm[1], 4)) " mm" }
                    }
                }
            }
        }
    }
}

fn polygon(rect: &RectMm) -> Vec<[f64; 2]> {
    rect.corners().iter().map(|(x, y)| [*x, *y]).collect()
}

fn overlays(view: &View<'_>, item: &ItemReport, face: &Slug, size_mm: [f64; 2]) -> Vec<Overlay> {
    let [width, height] = size_mm;
    let whole = RectMm::new(0.0, 0.0, width, height);
    let mut overlays =
        vec![Overlay { kind: "face", label: "the face".to_owned(), on: "both", polygon_mm: polygon(&whole) }];
    let product = item.opinion.product.as_ref().and_then(|product| view.shelf?.products().get(product));
    if let Some(product) = product {
        if let Some(facts) = product.face(face) {
            overlays.extend(facts.regions.iter().map(|region| Overlay {
                kind: "region",
                label: region.name.clone(),
                on: "both",
                polygon_mm: polygon(&region.rect_mm),
            }));
        }
        if product.form == casebook::catalogue::Form::Pack {
            let seal = product.makes.iter().find_map(|make| make.end_seal.as_ref());
            let seal_mm = seal.map_or(SEAL_MM, |seal| seal.height_mm.value);
            for (label, y) in [("top end seal", 0.0), ("bottom end seal", height - seal_mm)] {
                let rect = RectMm::new(0.0, y, width, seal_mm);
                overlays.push(Overlay {
                    kind: "seal",
                    label: label.to_owned(),
                    on: "both",
                    polygon_mm: polygon(&rect),
                });
            }
        }
    }
    let here = |finding: &&Finding| finding.place.face.as_ref() == Some(face);
    for finding in item.findings.iter().filter(here) {
        let Some(rect) = &finding.place.rect_mm else { continue };
        let kind = if finding.examiner.as_str() == "cover" { "cover" } else { "finding" };
        overlays.push(Overlay {
            kind,
            // Short, because it stands over the picture; the whole question stands with the finding.
            label: parts::spaced(finding.quantity.as_str()),
            on: "photo",
            polygon_mm: polygon(rect),
        });
    }
    overlays
}
