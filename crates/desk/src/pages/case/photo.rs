//! The photos of a case: the strip on its page, and one photo large with its outlines and the four
//! corners of a face to correct.
//!
//! In: photos and the faces placed in them. Out: HTML with `photo-pane` and `corner-drag` for the
//! modules, and plain pictures and number fields without. Pixel centres are whole numbers.
//! Never here: EXIF.

use casebook::case::{PhotoGroup, Shown};
use casebook::names::{FaceId, PhotoFile, ProductId, Slug};
use casebook::opinion::{PhotoReport, PlacedFace};
use dossier::parts;
use maud::{Markup, html};
use serde::Serialize;

use super::compare::{Small, source};
use super::{View, more_photos, one_button, with_view};
use crate::desk::Desk;
use crate::error::Trouble;
use crate::pages::{Part, Reader, data, frame, token};

const GROUPS: [(PhotoGroup, &str, &str); 3] = [
    (PhotoGroup::Claimed, "claimed", "claimed to show the item"),
    (PhotoGroup::Same, "same", "surely the same item"),
    (PhotoGroup::Stock, "stock", "a stock picture"),
];

/// All photos, small.
pub(super) fn strip(view: &View<'_>) -> Markup {
    html! {
        section #photos {
            h2 { "Photos" }
            @if view.case.photos.is_empty() { p { "There is no photo yet. Add the offer's photos here." } }
            div.strip {
                @for (index, photo) in view.case.photos.iter().enumerate() { (small(view, &photo.file, index + 1)) }
            }
            (more_photos(view))
        }
    }
}

fn report_of<'a>(view: &'a View<'_>, file: &PhotoFile) -> Option<&'a PhotoReport> {
    view.examination?.photos.iter().find(|photo| photo.file == *file)
}

fn small(view: &View<'_>, file: &PhotoFile, number: usize) -> Markup {
    let report = report_of(view, file);
    let faces: Vec<String> = report
        .map(|report| report.faces.iter().map(|f| parts::spaced(f.face.face.as_str())).collect())
        .unwrap_or_default();
    let words = if faces.is_empty() {
        format!("Photo {file}")
    } else {
        format!("Photo {file}: {}", faces.join(", "))
    };
    html! {
        figure {
            a href=(format!("/case/{}/photo/{number}", view.id)) {
                @if let Some(shown) = view.shown.photo(file) {
                    img src=(view.picture(&shown.small.hash)) width=(shown.small.width) height=(shown.small.height) alt=(words) loading="lazy";
                } @else if let Some(hash) = view.hash(file) {
                    img.whole src=(format!("/photo/{hash}")) alt=(words) loading="lazy";
                } @else { (words) }
            }
            figcaption {
                (file)
                @if let Some(report) = report {
                    @if let Some(problem) = &report.problem { p.problem { "Not used: " (problem) } }
                    @else if !faces.is_empty() { p.note { (faces.join(", ")) } }
                    @else if let Some(note) = &report.note { p.note { (note) } }
                    @else { p.note { "no face of the library found" } }
                }
            }
        }
    }
}

#[derive(Serialize)]
struct Pane {
    src: String,
    width: u32,
    height: u32,
    file: String,
    alt: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    small: Option<Small>,
    overlays: Vec<PxOverlay>,
}

#[derive(Serialize)]
struct PxOverlay {
    kind: &'static str,
    label: String,
    polygon_px: Vec<[f64; 2]>,
}

#[derive(Serialize)]
struct Corners<'a> {
    src: String,
    width: u32,
    height: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    small: Option<Small>,
    size_mm: [f64; 2],
    corners_px: [[f64; 2]; 4],
    action: String,
    token: &'a str,
    item: &'a Slug,
    face: &'a Slug,
    product: &'a ProductId,
    photo: &'a PhotoFile,
}

/// One photo.
pub(crate) fn page(desk: &Desk, reader: Reader, id: &Slug, number: usize) -> Result<String, Trouble> {
    with_view(desk, id, |view| {
        let photo = number
            .checked_sub(1)
            .and_then(|index| view.case.photos.get(index))
            .ok_or_else(|| Trouble::missing("photo of that number in this case"))?;
        let report = report_of(view, &photo.file);
        let count = view.case.photos.len();
        let by_hand: Vec<&Shown> = photo.shows.iter().filter(|shown| shown.corners_px.is_some()).collect();
        let title = format!("Photo {} of {}", photo.file, view.entry.row.title);
        let body = html! {
            p.crumbs { a href="/" { "Offers" } " / " a href=(format!("/case/{id}")) { (id) } " / photo " (number) " of " (count) }
            h1 { "Photo " (photo.file) }
            nav.pages aria-label="Photos" {
                @if number > 1 { a rel="prev" href=(format!("/case/{id}/photo/{}", number - 1)) { "Previous photo" } }
                @if number < count { a rel="next" href=(format!("/case/{id}/photo/{}", number + 1)) { "Next photo" } }
            }
            @match report {
                Some(report) if report.problem.is_none() => { (pane(view, report)) }
                Some(report) => { p.problem { "Not used: " (report.problem.as_deref().unwrap_or_default()) } (whole(view, &photo.file)) }
                None => { (whole(view, &photo.file)) }
            }
            form.line method="post" action=(view.act("photo")) {
                (token(desk))
                input type="hidden" name="photo" value=(photo.file);
                label for="group" { "This photo is" }
                select #group name="group" {
                    @for (group, word, words) in GROUPS { option value=(word) selected[photo.group == group] { (words) } }
                }
                button { "Say so and examine again" }
            }
            @if !by_hand.is_empty() {
                form method="post" action=(view.act("free-corners")) {
                    (token(desk))
                    input type="hidden" name="photo" value=(photo.file);
                    p { "Corners were set by hand here, so nothing else is looked for in this photo." }
                    button { "Remove them and let the program look" }
                }
            }
            @if let Some(report) = report { (corners(view, report)) }
            @if view.desk.store().revisions(id)?.iter().any(|revision| !revision.undone) {
                (one_button(view, "undo", "Undo the last change"))
            }
        };
        Ok(frame(desk, reader, Part::Queue, &title, &body))
    })
}

fn whole(view: &View<'_>, file: &PhotoFile) -> Markup {
    html! {
        @if let Some(hash) = view.hash(file) {
            figure.large { img src=(format!("/photo/{hash}")) alt=(format!("Photo {file}")); }
        }
    }
}

/// Where a point of a face in mm lies in the photo; none on or behind the horizon.
fn to_px(placed: &PlacedFace, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
    let h = &placed.mm_to_px;
    let at = |row: &[f64; 3]| row[0] * x + row[1] * y + row[2];
    let w = at(&h[2]);
    let point = [at(&h[0]) / w, at(&h[1]) / w];
    (w.abs() > f64::EPSILON && point.iter().all(|v| v.is_finite())).then_some(point)
}

/// The four corners of a placed face in the photo.
pub(super) fn outline(placed: &PlacedFace, [width, height]: [f64; 2]) -> Option<[[f64; 2]; 4]> {
    Some([
        to_px(placed, [0.0, 0.0])?,
        to_px(placed, [width, 0.0])?,
        to_px(placed, [width, height])?,
        to_px(placed, [0.0, height])?,
    ])
}

fn pane(view: &View<'_>, report: &PhotoReport) -> Markup {
    let Some(source) = source(view, report) else { return whole(view, &report.file) };
    let mut overlays = Vec::new();
    for placed in &report.faces {
        let Some(size) = view.shelf.and_then(|shelf| shelf.face_size_mm(&placed.face)) else { continue };
        let Some(corners) = outline(placed, size) else { continue };
        overlays.push(PxOverlay {
            kind: "face",
            label: format!("item {}: {}", placed.item, placed.face.face),
            polygon_px: corners.to_vec(),
        });
        let facts =
            view.shelf.and_then(|shelf| shelf.products().get(&placed.face.product)?.face(&placed.face.face));
        for region in facts.map(|facts| facts.regions.as_slice()).unwrap_or_default() {
            let points: Option<Vec<[f64; 2]>> =
                region.rect_mm.corners().iter().map(|(x, y)| to_px(placed, [*x, *y])).collect();
            if let Some(polygon_px) = points {
                overlays.push(PxOverlay { kind: "region", label: region.name.clone(), polygon_px });
            }
        }
    }
    let alt = format!("Photo {}", report.file);
    let (shown, width, height) = source
        .small
        .as_ref()
        .map_or((source.src.clone(), source.width, source.height), |s| (s.src.clone(), s.width, s.height));
    let full = source.src.clone();
    html! {
        photo-pane {
            (data(&Pane {
                src: source.src, width: source.width, height: source.height, file: report.file.to_string(),
                alt: alt.clone(), small: source.small, overlays,
            }))
            figure.large {
                a href=(full) { img src=(shown) width=(width) height=(height) alt=(alt); }
                figcaption { "Opens in full size." }
            }
        }
    }
}

/// A form of four corners for every face that may be shown.
fn corners(view: &View<'_>, report: &PhotoReport) -> Markup {
    let Some((shelf, [width, height])) = view.shelf.zip(report.size_px) else { return html! {} };
    let Some(examination) = view.examination else { return html! {} };
    // Faces placed here first, then the others of the case's products, so that a face that the program
    // missed can be pointed out.
    let mut seats: Vec<(Slug, FaceId, Option<&PlacedFace>)> =
        report.faces.iter().map(|placed| (placed.item.clone(), placed.face.clone(), Some(placed))).collect();
    for item in &examination.items {
        let Some(product) = &item.opinion.product else { continue };
        let faces = shelf.products().get(product).map(|facts| facts.faces.as_slice()).unwrap_or_default();
        for face in faces {
            let id = FaceId { product: product.clone(), face: face.id.clone() };
            if !seats.iter().any(|(own, other, _)| *own == item.opinion.item && *other == id) {
                seats.push((item.opinion.item.clone(), id, None));
            }
        }
    }
    let (w, h) = (f64::from(width), f64::from(height));
    let guess = [[0.25 * w, 0.15 * h], [0.75 * w, 0.15 * h], [0.75 * w, 0.85 * h], [0.25 * w, 0.85 * h]];
    html! {
        section #corners {
            h2 { "Is a face in the wrong place?" }
            @if seats.is_empty() { p { "The product is not known, so no face can be pointed out. Say on the case's page which product the item is." } }
            @else { p { "Move the four corners of the face (the face's own top left first) to where they are in the photo. The case is examined again with them." } }
            @for (index, (item, face, placed)) in seats.iter().enumerate() {
                @if let Some(size_mm) = shelf.face_size_mm(face) {
                    @let start = placed.and_then(|placed| outline(placed, size_mm)).unwrap_or(guess);
                    details.fold open[index == 0 && placed.is_some()] {
                        summary { h3 { (parts::capital(&parts::spaced(face.face.as_str()))) " of item " (item)
                            @if let Some(placed) = placed { @if placed.by_hand { " (set by hand)" } } @else { " (not found here)" } } }
                        (drag(view, report, (item, face), size_mm, start))
                    }
                }
            }
        }
    }
}

fn drag(
    view: &View<'_>,
    report: &PhotoReport,
    (item, face): (&Slug, &FaceId),
    size_mm: [f64; 2],
    start: [[f64; 2]; 4],
) -> Markup {
    let Some(source) = source(view, report) else { return html! {} };
    let rounded = start.map(|point| point.map(|v| (v * 10.0).round() / 10.0));
    let text = serde_json::to_string(&rounded).unwrap_or_default();
    let id = format!("corners-{item}-{}", face.face);
    let whole = Corners {
        src: source.src,
        width: source.width,
        height: source.height,
        small: source.small,
        size_mm,
        corners_px: rounded,
        action: view.act("corners"),
        token: &view.desk.token,
        item,
        face: &face.face,
        product: &face.product,
        photo: &report.file,
    };
    html! {
        corner-drag {
            (data(&whole))
            form method="post" action=(whole.action) {
                (token(view.desk))
                input type="hidden" name="photo" value=(report.file);
                input type="hidden" name="item" value=(item);
                input type="hidden" name="face" value=(face.face);
                input type="hidden" name="product" value=(face.product);
                label for=(id) { "Corners in pixels: top left, top right, bottom right, bottom left of the face" }
                input id=(id) name="corners" value=(text);
                button { "Use these corners" }
            }
        }
    }
}
