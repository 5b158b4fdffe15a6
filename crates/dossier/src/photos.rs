//! The photos as they came, with the faces found in them.
//!
//! In: the examination's photos and their small copies. Out: markup; a photo without a copy is
//! listed in words. Never here: EXIF, a seller's name.

use casebook::opinion::PhotoReport;
use maud::{Markup, html};

use crate::ReportInput;
use crate::figure::{Raster, figure, frame};
use crate::gallery::Shown;
use crate::number::{NBSP, plain};
use crate::words::{capital, spaced};

/// Hexadecimal digits of a photo's hash that are printed.
const HASH_DIGITS: usize = 16;

/// All photos, then pictures that belong to no finding.
pub(crate) fn section(input: &ReportInput<'_>, left_over: &[Shown<'_>]) -> Markup {
    html! {
        section #photos {
            h2 { "The photos" }
            @if input.examination.photos.is_empty() { p { "The case has no photos." } }
            div.photos {
                @for photo in &input.examination.photos { (one(input, photo)) }
            }
            @if !left_over.is_empty() {
                h3 { "Further pictures" }
                @for shown in left_over { (figure(shown.picture, shown.number)) }
            }
        }
    }
}

fn one(input: &ReportInput<'_>, photo: &PhotoReport) -> Markup {
    let thumb = input.photos.iter().find(|t| t.file == photo.file);
    let alt = alt(photo);
    html! {
        figure {
            @if let Some(t) = thumb {
                (frame(&Raster {
                    media_type: t.media_type, bytes: &t.bytes, width: t.width, height: t.height,
                    px_per_mm: None, marks: &t.marks, alt: &alt,
                }))
            }
            figcaption {
                strong { (photo.file) }
                @if let Some([width, height]) = photo.size_px { ", " (width) " × " (height) " pixels" }
                @if let Some(problem) = &photo.problem { p { "Not used: " (problem) } }
                @if let Some(note) = &photo.note { p { (note) } }
                @if !photo.faces.is_empty() {
                    // Numbers as on the outlines, which are drawn in the same order.
                    ol.faces { @for face in &photo.faces { li {
                        "item " (face.item) ", " (spaced(face.face.face.as_str()))
                        div.note {
                            (plain(face.px_per_mm, 3)) (NBSP) "px/mm; " (plain(face.angle_deg, 2)) "° from straight on; corners ± "
                            (plain(face.corner_uncertainty_mm, 2)) (NBSP) "mm"
                            @if face.by_hand { "; corners set by hand" }
                        }
                    } } }
                } @else if photo.problem.is_none() {
                    p { "No face was found in it." }
                }
                @if let Some(hash) = &photo.hash {
                    div.note { "BLAKE3 " code { (&hash.as_str()[..HASH_DIGITS.min(hash.as_str().len())]) "…" } }
                }
            }
        }
    }
}

fn alt(photo: &PhotoReport) -> String {
    let faces: Vec<String> =
        photo.faces.iter().map(|f| format!("{} of item {}", spaced(f.face.face.as_str()), f.item)).collect();
    if faces.is_empty() {
        format!("Photo {}: no face was found in it", photo.file)
    } else {
        format!("Photo {}: {}, outlined", photo.file, capital(&faces.join(", ")))
    }
}
