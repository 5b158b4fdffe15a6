//! One module a command.

pub(crate) mod calibrate;
pub(crate) mod demo;
pub(crate) mod desk;
pub(crate) mod evaluate;
pub(crate) mod examine;
pub(crate) mod features;
pub(crate) mod learn;
pub(crate) mod library;
pub(crate) mod outcome;
pub(crate) mod schemas;

use std::path::Path;

use casebook::calibration::CalibrationFile;
use casebook::document;
use casebook::library::Library;
use examination::{Outcome, Shelf};

use crate::args::ReadWords;
use crate::failure::Failure;
use crate::progress::Bar;

/// Opens the library and takes from it what an examination needs; with a shipped calibration, weights
/// start from that.
fn open_shelf(folder: &Path, start: Option<&Path>, words: &ReadWords) -> Result<(Library, Shelf), Failure> {
    let start: Option<CalibrationFile> = start.map(document::read).transpose()?;
    let mut library = Library::open(folder)?;
    let bar = Bar::default();
    let shelf = Shelf::take_reading(&mut library, words.reader(), &bar)?;
    let shelf = match &start {
        Some(start) => shelf.starting_from(start)?,
        None => shelf,
    };
    Ok((library, shelf))
}

/// The report of one outcome as HTML.
fn report(outcome: &Outcome, shelf: &Shelf, case: &casebook::case::CaseFile) -> String {
    let photos: Vec<dossier::PhotoThumb> = outcome
        .thumbnails
        .iter()
        .map(|thumb| {
            let marks = outcome
                .examination
                .photos
                .iter()
                .filter(|photo| photo.file == thumb.file)
                .flat_map(|photo| &photo.faces)
                .filter_map(|placed| {
                    dossier::face_outline(placed, shelf.face_size_mm(&placed.face)?, thumb.scale)
                })
                .collect();
            dossier::PhotoThumb {
                file: thumb.file.clone(),
                media_type: "image/jpeg",
                bytes: thumb.jpeg.clone(),
                width: thumb.width,
                height: thumb.height,
                marks,
            }
        })
        .collect();
    let generated = now().strftime("%Y-%m-%d %H:%M UTC").to_string();
    dossier::report(&dossier::ReportInput {
        examination: &outcome.examination,
        case: Some(case),
        pictures: &outcome.pictures,
        photos: &photos,
        product_names: shelf.product_names(),
        generated_at: Some(&generated),
        program: examination::PROGRAM,
        calibration: &shelf.calibration_words(),
    })
}

/// The clock, read at the edge of the program only.
fn now() -> jiff::Timestamp {
    jiff::Timestamp::now()
}
