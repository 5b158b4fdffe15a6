//! A folder of photos, a library beside it, and what comes of both: the front door for programs.
//!
//! In: a [`LearnFolder`] with what was said, an open library. Out: [`Outcome`]: what was learned, how it
//! stands to the known makes, and the folder that was written. The library is only read.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use casebook::catalogue::{Catalogue, Product};
use casebook::library::Library;
use casebook::names::{FaceId, PhotoFile, PhotoHash, Slug};
use photo::{Limits, Photo};
use placement::ReferenceFace;
use rayon::prelude::*;

use crate::error::LearnError;
use crate::folder::LearnFolder;
use crate::known::{Agreement, compare_make};
use crate::learned::Learned;
use crate::names::Names;
use crate::run::{Progress, Wanted, learn};
use crate::write::{Beside, Written, write};

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The photos and what was said of them.
    pub folder: &'a LearnFolder,
    /// The folder to write.
    pub into: &'a Path,
    /// The photos are an offer's, to be taken as a weak reference at the user's word.
    pub weak: bool,
    /// The day as text.
    pub day: &'a str,
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The names that it goes by.
    pub names: Names,
    /// What was learned.
    pub learned: Learned,
    /// How it stands to the makes that the library knows.
    pub agreement: Agreement,
    /// Where it was written.
    pub written: Written,
    /// Photos that could not be read, in words.
    pub problems: Vec<String>,
}

/// Learns a product from a folder and writes it beside.
///
/// # Errors
/// [`LearnError`]; then nothing was written.
pub fn learn_folder(
    asked: &Asked<'_>,
    library: &Library,
    progress: &dyn Progress,
) -> Result<Outcome, LearnError> {
    let mut told = asked.folder.told.clone();
    let names = Names::of(&told)?;
    if asked.into.exists() {
        return Err(LearnError::Occupied { folder: asked.into.to_owned() });
    }
    let (mut photos, mut problems) = (Vec::new(), Vec::new());
    progress.begin("reading photos", asked.folder.photos.len());
    let decoded: Vec<Result<(PhotoFile, Photo), String>> = asked
        .folder
        .photos
        .par_iter()
        .map(|(file, path)| {
            let photo = photo::read(path, &Limits::default()).map_err(|error| error.to_string());
            progress.step();
            Ok((file.clone(), photo?))
        })
        .collect();
    progress.end();
    for one in decoded {
        match one {
            Ok(photo) => photos.push(photo),
            Err(words) => problems.push(words),
        }
    }
    if photos.is_empty() {
        return Err(LearnError::NoFace { why: problems.join("; ") });
    }
    let release = release_of(library, &names)?;
    let known = match &release {
        Some(release) => known_faces(release, &names)?,
        None => Vec::new(),
    };
    let wanted = Wanted { product: &names.product, form: names.form, told: &told, known: &known };
    let learned = learn(&photos, &wanted, progress)?;
    let agreement = match release.as_ref().and_then(|r| r.product.as_ref()) {
        Some(product) => compare_make(learned.seal.as_ref(), product),
        None => Agreement::Nothing,
    };
    if told.make.is_none() {
        match &agreement {
            Agreement::Like(make) => told.make = Some(make.parse()?),
            Agreement::Differs { nearest, how } => {
                return Err(LearnError::OtherMake { nearest: nearest.clone(), how: how.join("; ") });
            }
            Agreement::Nothing => {
                // A product with one make that says nothing of seals is that make.
                let only = release.as_ref().and_then(|r| match r.product.as_ref()?.makes.as_slice() {
                    [only] => Some(only.id.clone()),
                    _ => None,
                });
                told.make = only;
            }
        }
    }
    let specimen = specimen_name(&photos)?;
    let beside = Beside {
        told: &told,
        photos: &asked.folder.photos,
        release: release.as_ref().map(|r| (&r.catalogue, r.pictures.as_slice())),
        specimen: &specimen,
        weak: asked.weak,
        day: asked.day,
    };
    let written = write(asked.into, &learned, &names, &beside)?;
    Ok(Outcome { names, learned, agreement, written, problems })
}

/// The library's catalogue of a release with the places of its reference pictures.
struct KnownRelease {
    catalogue: Catalogue,
    product: Option<Product>,
    pictures: Vec<(PhotoFile, PathBuf)>,
    faces: Vec<(FaceId, (f64, f64), PathBuf)>,
}

fn release_of(library: &Library, names: &Names) -> Result<Option<KnownRelease>, LearnError> {
    let (line, release, own) = names.slugs()?;
    let found = library.catalogues()?.into_iter().find(|c| c.line.id == line && c.release.id == release);
    let Some(catalogue) = found else { return Ok(None) };
    let references = library.references()?;
    let (mut pictures, mut faces) = (Vec::new(), Vec::new());
    for (id, _, face) in catalogue.faces() {
        let Some(hash) = references.get(&id) else { continue };
        let Some(path) = library.photo_path(hash)? else { continue };
        faces.push((id, (face.size_mm[0], face.size_mm[1]), path.clone()));
        pictures.push((face.reference.clone(), path));
    }
    let product = catalogue.products.iter().find(|p| p.id == own).cloned();
    Ok(Some(KnownRelease { catalogue, product, pictures, faces }))
}

fn known_faces(release: &KnownRelease, names: &Names) -> Result<Vec<ReferenceFace>, LearnError> {
    let mut out = Vec::new();
    for (face, size_mm, path) in release.faces.iter().filter(|(id, ..)| id.product == names.product) {
        let raster = photo::read(path, &Limits::default()).map_err(|error| LearnError::NoFace {
            why: format!("the library's picture of the {}: {error}", face.face),
        })?;
        out.push(ReferenceFace { face: face.clone(), size_mm: *size_mm, raster: Arc::new(raster) });
    }
    Ok(out)
}

/// A name that the same photos always get.
fn specimen_name(photos: &[(PhotoFile, Photo)]) -> Result<Slug, LearnError> {
    let all: String = photos.iter().map(|(_, photo)| photo.hash().as_str()).collect();
    let hash = PhotoHash::of(all.as_bytes());
    Ok(format!("own-{}", hash.as_str().get(..10).unwrap_or_default()).parse()?)
}
