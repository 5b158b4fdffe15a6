//! Boards for teaching: pick pictures of a case, arrange them, keep or export a PNG of 1920 × 1080.
//!
//! In: a case's pictures; a PNG that the page drew. Out: HTML; the PNG drawn anew by us, so that nothing
//! but pixels is kept. Labels carry no name, item number or place.
//! Never here: arranging; that is the browser's.

use std::io::Cursor;

use casebook::names::{PhotoHash, Slug};
use casebook::opinion::Examination;
use dossier::parts;
use image::{ImageFormat, ImageReader, Limits};
use maud::{Markup, html};
use serde::Serialize;

use super::case::{View, with_view};
use super::{Part, Reader, data, frame, time, token};
use crate::desk::Desk;
use crate::error::{DeskError, Trouble};
use crate::intake::Arrived;
use crate::shown::{ShownContent, Stored};
use crate::store::Board;

/// Size of every board, pixels.
const SIZE: (u32, u32) = (1920, 1080);
/// Longest caption that is kept, characters.
const MOST_CAPTION: usize = 500;

#[derive(Serialize)]
struct Maker<'a> {
    pictures: Vec<Piece>,
    caption: String,
    action: String,
    token: &'a str,
    file: String,
}

#[derive(Serialize)]
struct Piece {
    id: String,
    src: String,
    width: u32,
    height: u32,
    label: String,
    side: &'static str,
}

/// The page that makes a board of a case.
pub(crate) fn make(desk: &Desk, reader: Reader, id: &Slug) -> Result<String, Trouble> {
    with_view(desk, id, |view| {
        let examination = view.examination.ok_or_else(|| {
            Trouble::wrong("this case has not been examined yet; wait for it and make a board then")
        })?;
        let pictures = pieces(view, examination);
        let caption =
            examination.items.first().map(|item| parts::capital(parts::stance_phrase(item.opinion.stance)));
        let maker = Maker {
            pictures,
            caption: caption.unwrap_or_default(),
            action: format!("/case/{id}/board"),
            token: &desk.token,
            file: "board.png".to_owned(),
        };
        let body = html! {
            p.crumbs { a href="/" { "Offers" } " / " a href=(format!("/case/{id}")) { (id) } " / board" }
            h1 { "Make a board" }
            p { "For teaching: what is offered beside what is genuine. Names, item numbers and places are left out; whatever you write in the caption is shown." }
            board-maker {
                (data(&maker))
                p { "Arranging needs scripts, which this browser has switched off. The pictures of the case can be saved one by one:" }
                ul.pieces { @for piece in &maker.pictures { li { a href=(piece.src) { (piece.label) } } } }
            }
        };
        Ok(frame(desk, reader, Part::Boards, "Make a board", &body))
    })
}

fn pieces(view: &View<'_>, examination: &Examination) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let stored_piece = |id: String, stored: &Stored, label: String, side| Piece {
        id,
        src: view.picture(&stored.hash),
        width: stored.width,
        height: stored.height,
        label,
        side,
    };
    for picture in &view.shown.pictures {
        let ShownContent::Image { stored, .. } = &picture.content else { continue };
        let words: Vec<&str> = picture.id.split(['-', '_', '/', ':', '.']).collect();
        let side = if words.contains(&"reference") { "reference" } else { "offered" };
        pieces.push(stored_piece(picture.id.clone(), stored, picture.caption.clone(), side));
    }
    for (index, photo) in examination.photos.iter().enumerate() {
        if let (Some(hash), Some([width, height])) = (&photo.hash, photo.size_px) {
            let faces: Vec<String> =
                photo.faces.iter().map(|f| parts::spaced(f.face.face.as_str())).collect();
            let label = match faces.as_slice() {
                [] => format!("Photo {}", index + 1),
                _ => format!("Photo {}: {}", index + 1, faces.join(", ")),
            };
            let (id, src) = (format!("photo-{}", index + 1), format!("/photo/{hash}"));
            pieces.push(Piece { id, src, width, height, label, side: "offered" });
        }
    }
    let mut products: Vec<_> =
        examination.items.iter().filter_map(|item| item.opinion.product.as_ref()).collect();
    products.dedup();
    for product in products {
        let Some(shelf) = view.shelf else { continue };
        for id in shelf.products().pictured(product) {
            let (face, Some(reference)) = (&id.face, shelf.products().picture(id)) else { continue };
            let size = (u32::try_from(reference.width()), u32::try_from(reference.height()));
            if let (Ok(width), Ok(height)) = size {
                pieces.push(Piece {
                    id: format!("reference-{face}"),
                    src: format!("/photo/{}", reference.hash().as_str()),
                    width,
                    height,
                    label: format!("Reference: {}", parts::spaced(face.as_str())),
                    side: "reference",
                });
            }
        }
    }
    pieces
}

/// Keeps a board that the page sent.
///
/// # Errors
/// [`Trouble`] when it is no PNG of the right size.
pub(crate) fn keep(desk: &Desk, id: &Slug, arrived: &Arrived) -> Result<String, Trouble> {
    let (file, _) = arrived
        .photos
        .first()
        .ok_or_else(|| Trouble::wrong("no board arrived; make it again and keep it then"))?;
    let path = arrived.folder.join(file.as_str());
    let bytes = std::fs::read(&path).map_err(|source| DeskError::Folder { folder: path, source })?;
    let wrong = || {
        Trouble::wrong(format!("a board is a PNG of {} × {} pixels; make it with this page", SIZE.0, SIZE.1))
    };
    let mut reader = ImageReader::with_format(Cursor::new(&bytes), ImageFormat::Png);
    let mut limits = Limits::default();
    (limits.max_image_width, limits.max_image_height) = (Some(SIZE.0), Some(SIZE.1));
    reader.limits(limits);
    let picture = reader.decode().map_err(|_| wrong())?.to_rgb8();
    if picture.dimensions() != SIZE {
        return Err(wrong());
    }
    // Drawn anew: whatever else the file held is gone.
    let mut drawn = Vec::new();
    picture.write_to(&mut Cursor::new(&mut drawn), ImageFormat::Png).map_err(|_| wrong())?;
    let hash = PhotoHash::of(&drawn);
    casebook::atomic::write(&desk.boards_folder().join(format!("{hash}.png")), &drawn)?;
    let caption = arrived.fields.get("caption").map(|text| text.trim()).unwrap_or_default();
    desk.store().add_board(&Board {
        hash,
        offer: id.to_string(),
        caption: caption.chars().take(MOST_CAPTION).collect(),
        made_at: desk.now().to_string(),
        away: false,
    })?;
    desk.library().note("case: board kept", id.as_str(), "", desk.now())?;
    Ok("/boards".to_owned())
}

/// Every board that was kept.
pub(crate) fn page(desk: &Desk, reader: Reader) -> Result<String, Trouble> {
    let boards = desk.store().boards()?;
    let (away, here): (Vec<&Board>, Vec<&Board>) = boards.iter().partition(|board| board.away);
    let body = html! {
        h1 { "Boards" }
        @if here.is_empty() {
            div.empty {
                p { strong { "No board yet." } }
                p { "A board shows what is offered beside what is genuine, with notes, as one picture of 1920 × 1080. Open a case from " a href="/" { "the offers" } " and choose " strong { "Make a board" } "." }
            }
        }
        div.boards { @for board in here { (one(desk, board)) } }
        @if !away.is_empty() {
            details.fold { summary { h2 { "Put away (" (away.len()) ")" } } div.boards { @for board in away { (one(desk, board)) } } }
        }
    };
    Ok(frame(desk, reader, Part::Boards, "Boards", &body))
}

fn one(desk: &Desk, board: &Board) -> Markup {
    let address = format!("/board/{}", board.hash);
    let alt = if board.caption.is_empty() {
        "Board without a caption".to_owned()
    } else {
        format!("Board: {}", board.caption)
    };
    let (act, words) = if board.away { ("back", "Take back") } else { ("away", "Put away") };
    html! {
        figure.board {
            a href=(address) { img src=(address) width="1920" height="1080" alt=(alt) loading="lazy"; }
            figcaption {
                p { (board.caption) }
                p.note { (time(&board.made_at)) " · from case " a href=(format!("/case/{}", board.offer)) { (board.offer) } }
                div.acts {
                    a.button href=(address) download="board.png" { "Save as PNG" }
                    form method="post" action=(format!("{address}/{act}")) { (token(desk)) button { (words) } }
                }
            }
        }
    }
}
