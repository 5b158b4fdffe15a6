//! Measuring the library's specimens: each sitting by itself, the way an offer would be measured.

use std::collections::BTreeMap;
use std::path::PathBuf;

use casebook::case::{CaseFile, CasePhoto, ItemFacts};
use casebook::library::{Library, StoredSpecimen};
use casebook::names::Slug;
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::SpecimenFile;
use photo::{Limits, Photo};
use rayon::prelude::*;

use crate::error::ExaminationError;
use crate::look::{Seen, place, read_item};
use crate::progress::Progress;
use crate::shelf::Products;

/// Version of everything that measures; see `build.rs`.
pub const MEASURED_BY: &str = env!("UNTORN_MEASURING");

/// One sitting of one specimen, ready to be measured.
struct Sitting {
    specimen: SpecimenFile,
    name: Slug,
    photos: Vec<(CasePhoto, PathBuf)>,
}

/// What the library's specimens measure: kept readings of this version, and the missing ones made
/// now (and kept, when the library can be written).
///
/// # Errors
/// [`ExaminationError`] when the index does not answer. A specimen's photo that cannot be decoded is
/// passed over: its views are then unread.
pub(crate) fn measure(
    library: &mut Library,
    products: &Products,
    progress: &dyn Progress,
) -> Result<Vec<MeasuredSpecimen>, ExaminationError> {
    let mut measured = library.measurements(MEASURED_BY)?;
    let mut missing = Vec::new();
    for stored in library.specimens()? {
        for sitting in sittings(library, stored)? {
            let known =
                measured.iter().any(|m| m.specimen == sitting.specimen.id && m.sitting == sitting.name);
            if !known {
                missing.push(sitting);
            }
        }
    }
    if missing.is_empty() {
        return Ok(measured);
    }
    progress.begin("measuring the specimens", missing.len());
    // In batches, so that a long run that is stopped keeps what it has.
    for batch in missing.chunks(16) {
        let fresh: Vec<MeasuredSpecimen> = batch
            .par_iter()
            .map(|sitting| {
                let one = measure_sitting(&sitting.specimen, &sitting.name, &sitting.photos, products);
                progress.step();
                one
            })
            .collect();
        if !library.is_read_only() {
            for one in &fresh {
                library.keep_measurement(MEASURED_BY, one)?;
            }
        }
        measured.extend(fresh);
    }
    progress.end();
    measured.sort_by(|a, b| (&a.specimen, &a.sitting).cmp(&(&b.specimen, &b.sitting)));
    Ok(measured)
}

fn sittings(library: &Library, stored: StoredSpecimen) -> Result<Vec<Sitting>, ExaminationError> {
    let mut by_name: BTreeMap<Slug, Vec<(CasePhoto, PathBuf)>> = BTreeMap::new();
    for told in &stored.specimen.photos {
        let name = match &told.sitting {
            Some(name) => name.clone(),
            None => "only".parse()?,
        };
        let Some(hash) = stored.photos.get(&told.file) else { continue };
        if let Some(path) = library.photo_path(hash)? {
            by_name.entry(name).or_default().push((told.clone(), path));
        }
    }
    let specimen = stored.specimen;
    Ok(by_name
        .into_iter()
        .map(|(name, photos)| Sitting { specimen: specimen.clone(), name, photos })
        .collect())
}

/// Measures one sitting.
pub(crate) fn measure_sitting(
    specimen: &SpecimenFile,
    sitting: &Slug,
    photos: &[(CasePhoto, PathBuf)],
    products: &Products,
) -> MeasuredSpecimen {
    let decoded: Vec<(&CasePhoto, Option<Photo>)> =
        photos.iter().map(|(told, path)| (told, photo::read(path, &Limits::default()).ok())).collect();
    let seen: Vec<Seen<'_>> =
        decoded.iter().map(|(told, photo)| Seen { told, photo: photo.as_ref() }).collect();
    let mut findings = Vec::new();
    if let Ok(case) = case_of(specimen) {
        let placed = place(&case, &seen, products);
        for item in placed.assignment.items {
            let faces: Vec<_> = item
                .faces
                .iter()
                .filter_map(|(photo, face)| Some((*photo, placed.faces.get(*photo)?.get(*face)?)))
                .filter(|(_, placement)| placement.face.product == specimen.product)
                .collect();
            // No specimens: what genuine items show must not flow into what is measured of one.
            findings.extend(read_item(&item.item, &specimen.product, &seen, &faces, products, &[]).findings);
        }
    }
    MeasuredSpecimen {
        specimen: specimen.id.clone(),
        product: specimen.product.clone(),
        make: specimen.make.clone(),
        state: specimen.state,
        origin: specimen.origin,
        sitting: sitting.clone(),
        opened_ends: None,
        findings,
    }
}

fn case_of(specimen: &SpecimenFile) -> Result<CaseFile, casebook::names::NameError> {
    let mut case = CaseFile::of_photos(specimen.id.as_str())?;
    case.items.push(ItemFacts { id: "a".parse()?, product: Some(specimen.product.clone()), inside: None });
    Ok(case)
}
