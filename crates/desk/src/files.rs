//! Pictures as answers: photos by the hash of their bytes, drawn pictures, boards.
//!
//! In: a hash. Out: a stream of bytes with the very type that the file's first bytes show; never a type
//! that a browser could run. Never here: a path from a request.

use std::path::{Path, PathBuf};

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, CONTENT_LENGTH, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use casebook::names::{PhotoHash, Slug};
use futures_util::stream;
use tokio::io::AsyncReadExt;

use crate::desk::Desk;
use crate::error::{DeskError, Trouble};
use crate::shown;

/// Bytes that are read at once.
const CHUNK: usize = 64 << 10;
/// Named by content, so what is kept never changes.
const KEPT: &str = "private, max-age=31536000, immutable";
/// Long side of copies of photos that browsers cannot draw themselves, pixels.
const COPY_SIDE: usize = 8_000;

/// A file that is ready to be sent.
pub(crate) struct Sendable {
    path: PathBuf,
    media_type: &'static str,
}

/// A photo of an offer or of the library. HEIC is sent as a JPEG copy, because few browsers draw it.
pub(crate) fn photo(desk: &Desk, hash: &PhotoHash) -> Result<Sendable, Trouble> {
    let path = desk.photo_path(hash)?.ok_or_else(|| Trouble::missing("photo of that name"))?;
    let kind = examination::probe(&path, "the photo").map_err(Trouble::wrong)?;
    if kind.media_type != "image/heic" {
        return Ok(Sendable { path, media_type: kind.media_type });
    }
    let copies = desk.folders.own.join("copies");
    let copy = copies.join(format!("{hash}.jpg"));
    let _one_at_a_time = desk.drawing();
    if !copy.is_file() {
        crate::desk::make_folder(&copies)?;
        let drawn = examination::screen_copy(&path, COPY_SIDE).map_err(Trouble::wrong)?;
        casebook::atomic::write(&copy, &drawn.jpeg)?;
    }
    Ok(Sendable { path: copy, media_type: "image/jpeg" })
}

/// A picture that was drawn for a case.
pub(crate) fn picture(desk: &Desk, id: &Slug, hash: &PhotoHash) -> Result<Sendable, Trouble> {
    let found = shown::find(&desk.shown_folder(id), hash);
    let (path, png) = found.ok_or_else(|| Trouble::missing("picture of that name"))?;
    Ok(Sendable { path, media_type: if png { "image/png" } else { "image/jpeg" } })
}

/// A board.
pub(crate) fn board(folder: &Path, hash: &PhotoHash) -> Result<Sendable, Trouble> {
    let path = folder.join(format!("{hash}.png"));
    if path.is_file() {
        Ok(Sendable { path, media_type: "image/png" })
    } else {
        Err(Trouble::missing("board of that name"))
    }
}

/// A picture of what was learned.
pub(crate) fn learned(path: &Path) -> Result<Sendable, Trouble> {
    let kind = examination::probe(path, "the picture").map_err(Trouble::wrong)?;
    Ok(Sendable { path: path.to_owned(), media_type: kind.media_type })
}

/// A packed product.
pub(crate) const fn bundle(path: PathBuf) -> Sendable {
    Sendable { path, media_type: "application/zip" }
}

/// Sends a file piece by piece.
pub(crate) async fn send(file: Sendable) -> Result<Response, Trouble> {
    let fail = |source| DeskError::Folder { folder: file.path.clone(), source };
    let handle = tokio::fs::File::open(&file.path).await.map_err(fail)?;
    let length = handle.metadata().await.map_err(fail)?.len();
    let chunks = stream::unfold(Some(handle), |handle| async move {
        let mut handle = handle?;
        let mut chunk = vec![0; CHUNK];
        match handle.read(&mut chunk).await {
            Ok(0) => None,
            Ok(read) => {
                chunk.truncate(read);
                Some((Ok(chunk), Some(handle)))
            }
            Err(error) => Some((Err(error), None)),
        }
    });
    let head = [
        (CONTENT_TYPE, file.media_type.to_owned()),
        (CONTENT_LENGTH, length.to_string()),
        (CACHE_CONTROL, KEPT.to_owned()),
    ];
    Ok((StatusCode::OK, head, Body::from_stream(chunks)).into_response())
}
