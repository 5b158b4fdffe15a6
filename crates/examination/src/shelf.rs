//! What an examination takes from the library, ready to use: products with their reference pictures,
//! the index that finds their faces, and the weights fitted on the measured specimens.
//!
//! What takes long to compute (descriptions of faces, weights) comes from the library's cache when it
//! is there and whole; a reference picture is decoded when it is first needed.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use casebook::calibration::CalibrationFile;
use casebook::catalogue::{Catalogue, Product};
use casebook::library::{Cache, CacheKey, Library};
use casebook::names::{FaceId, ProductId, Slug};
use casebook::opinion::{MeasuredSpecimen, SpecimenCount};
use casebook::specimen::Origin;
use opinion::Calibration;
use photo::{Limits, Once, Photo};
use placement::{FaceDescription, FaceIndex, Placement, ReferenceFace, References};
use rayon::prelude::*;

use crate::error::ExaminationError;
use crate::progress::Progress;
use crate::reader::Reader;
use crate::shipped;
use crate::specimens::{MEASURED_BY, measure};

/// Products with their reference pictures and the index over their faces.
#[derive(Debug)]
pub struct Products {
    facts: BTreeMap<ProductId, Product>,
    references: BTreeMap<FaceId, Kept>,
    index: FaceIndex,
    reader: Reader,
    gtins: BTreeMap<String, ProductId>,
}

/// A reference picture of the library, decoded when it is first needed.
#[derive(Debug)]
struct Kept {
    size_mm: (f64, f64),
    path: PathBuf,
    picture: Once<Option<Arc<Photo>>>,
}

impl Kept {
    fn picture(&self) -> Option<&Arc<Photo>> {
        self.picture.get(|| photo::read(&self.path, &Limits::default()).ok().map(Arc::new)).as_ref()
    }
}

impl Products {
    /// A product's facts.
    #[must_use]
    pub fn get(&self, id: &ProductId) -> Option<&Product> {
        self.facts.get(id)
    }

    /// The reference pictures of some faces of a product, by face; those that it has and that can be
    /// decoded.
    #[must_use]
    pub fn references(&self, product: &ProductId, faces: &[&Slug]) -> BTreeMap<Slug, &Photo> {
        faces
            .par_iter()
            .filter_map(|face| {
                let id = FaceId { product: product.clone(), face: (*face).clone() };
                let picture = self.picture(&id)?;
                Some((id.face, picture))
            })
            .collect()
    }

    /// Every GTIN and the product that it is listed for.
    #[must_use]
    pub const fn gtins(&self) -> &BTreeMap<String, ProductId> {
        &self.gtins
    }

    /// What reads words.
    pub(crate) const fn reader(&self) -> &Reader {
        &self.reader
    }

    /// The reference picture of one face, if it has one that can be decoded.
    #[must_use]
    pub fn picture(&self, face: &FaceId) -> Option<&Photo> {
        Some(self.references.get(face)?.picture()?.as_ref())
    }

    /// The faces of a product that have a reference picture.
    pub fn pictured<'a>(&'a self, product: &'a ProductId) -> impl Iterator<Item = &'a FaceId> + 'a {
        self.references.keys().filter(move |face| face.product == *product)
    }

    /// Finds every known face that a photo shows, see [`FaceIndex::place`].
    #[must_use]
    pub fn place(&self, photo: &Photo) -> Vec<Placement> {
        self.index.place(photo, self)
    }
}

impl References for Products {
    fn reference(&self, face: &FaceId) -> Option<ReferenceFace> {
        let kept = self.references.get(face)?;
        Some(ReferenceFace { face: face.clone(), size_mm: kept.size_mm, raster: Arc::clone(kept.picture()?) })
    }
}

/// Version of everything that fits weights; see `build.rs`.
const FITTED_BY: &str = env!("UNTORN_FITTING");

/// Everything that an examination needs from the library.
#[derive(Debug)]
pub struct Shelf {
    catalogues: Vec<Catalogue>,
    products: Products,
    measured: Vec<MeasuredSpecimen>,
    calibration: Calibration,
    names: BTreeMap<ProductId, String>,
}

impl Shelf {
    /// Takes it from the library; specimens that were not yet measured are measured now.
    ///
    /// # Errors
    /// [`ExaminationError`] when the library does not answer or a reference picture is unusable.
    pub fn take(library: &mut Library, progress: &dyn Progress) -> Result<Self, ExaminationError> {
        Self::take_reading(library, Reader::default(), progress)
    }

    /// The same, with what reads words.
    ///
    /// # Errors
    /// As [`Shelf::take`].
    pub fn take_reading(
        library: &mut Library,
        reader: Reader,
        progress: &dyn Progress,
    ) -> Result<Self, ExaminationError> {
        let catalogues = library.catalogues()?;
        let mut facts = BTreeMap::new();
        let mut names = BTreeMap::new();
        for catalogue in &catalogues {
            for product in &catalogue.products {
                let id = catalogue.product_id(product)?;
                names.insert(id.clone(), product.name.clone());
                facts.insert(id, product.clone());
            }
        }
        let products = products(library, facts, reader)?;
        let measured = measure(library, &products, progress)?;
        let calibration = fitted(&library.cache(), &measured)?;
        Ok(Self { catalogues, products, measured, calibration, names })
    }

    /// The same with weights that start from another calibration than the shipped one and take the
    /// library's specimens along.
    ///
    /// # Errors
    /// [`ExaminationError`] when a specimen of the library has the name of a shipped one.
    pub fn starting_from(self, start: &CalibrationFile) -> Result<Self, ExaminationError> {
        Ok(Self { calibration: Calibration::starting_from(start, &self.measured)?, ..self })
    }

    /// The catalogues.
    #[must_use]
    pub fn catalogues(&self) -> &[Catalogue] {
        &self.catalogues
    }

    /// The products.
    #[must_use]
    pub const fn products(&self) -> &Products {
        &self.products
    }

    /// The measured specimens.
    #[must_use]
    pub fn measured(&self) -> &[MeasuredSpecimen] {
        &self.measured
    }

    /// The weights.
    #[must_use]
    pub const fn calibration(&self) -> &Calibration {
        &self.calibration
    }

    /// Names of the products as a shop would print them.
    #[must_use]
    pub const fn product_names(&self) -> &BTreeMap<ProductId, String> {
        &self.names
    }

    /// Width and height of a face, mm.
    #[must_use]
    pub fn face_size_mm(&self, face: &FaceId) -> Option<[f64; 2]> {
        Some(self.products.get(&face.product)?.face(&face.face)?.size_mm)
    }

    /// What the weights rest on, in words.
    #[must_use]
    pub fn calibration_words(&self) -> String {
        let counts = self.calibration.counts();
        let of = |origin| {
            counts.iter().filter(|c: &&SpecimenCount| c.origin == origin).map(|c| c.count).sum::<u32>()
        };
        let states: Vec<String> = counts.iter().map(|c| format!("{} {}", c.count, c.state)).collect();
        let (rendered, physical) = (of(Origin::Rendered), of(Origin::Physical));
        let split = if states.is_empty() { String::new() } else { format!(" ({})", states.join(", ")) };
        format!("Calibrated on {rendered} rendered and {physical} physical specimens{split}.")
    }
}

/// Kinds of values in the library's cache.
const FACES: &str = "faces";
const WEIGHTS: &str = "weights";

fn products(
    library: &Library,
    facts: BTreeMap<ProductId, Product>,
    reader: Reader,
) -> Result<Products, ExaminationError> {
    let mut faces: Vec<(FaceId, Kept, CacheKey)> = Vec::new();
    for (face, hash) in library.references()? {
        let size = facts.get(&face.product).and_then(|p| p.face(&face.face)).map(|f| f.size_mm);
        if let (Some([width, height]), Some(path)) = (size, library.photo_path(&hash)?) {
            if !library.photo_has_its_size(&hash)? {
                return Err(ExaminationError::Reference {
                    face: face.to_string(),
                    problem: format!("{}: has changed or is gone", path.display()),
                });
            }
            let key = CacheKey::of(&[
                MEASURED_BY.as_bytes(),
                hash.as_str().as_bytes(),
                &width.to_le_bytes(),
                &height.to_le_bytes(),
            ]);
            faces.push((face, Kept { size_mm: (width, height), path, picture: Once::new() }, key));
        }
    }
    let cache = library.cache();
    let described: Vec<(FaceDescription, bool)> = faces
        .par_iter()
        .map(|(face, kept, key)| {
            let bytes = cache.get(FACES, key);
            let known =
                bytes.and_then(|bytes| FaceDescription::from_bytes(face.clone(), kept.size_mm, &bytes));
            if let Some(description) = known {
                return Ok((description, false));
            }
            let fail = |problem: String| ExaminationError::Reference { face: face.to_string(), problem };
            let raster = photo::read(&kept.path, &Limits::default()).map_err(|e| fail(e.to_string()))?;
            let reference =
                ReferenceFace { face: face.clone(), size_mm: kept.size_mm, raster: Arc::new(raster) };
            let description = FaceDescription::of(&reference).map_err(|e| fail(e.to_string()))?;
            cache.put(FACES, key, &description.to_bytes());
            Ok((description, true))
        })
        .collect::<Result<_, ExaminationError>>()?;
    if described.iter().any(|(_, fresh)| *fresh) {
        cache.keep_only(FACES, &faces.iter().map(|(_, _, key)| key.clone()).collect::<Vec<_>>());
    }
    let index = FaceIndex::new(described.into_iter().map(|(description, _)| description).collect());
    let references = faces.into_iter().map(|(face, kept, _)| (face, kept)).collect();
    let gtins = facts
        .iter()
        .flat_map(|(id, product)| product.gtins.iter().map(|gtin| (gtin.clone(), id.clone())))
        .collect();
    Ok(Products { facts, references, index, reader, gtins })
}

/// The weights: the library's specimens, with the shipped calibration where they are too few, kept from
/// the last time where specimens, shipped file and fitting code are the same.
fn fitted(cache: &Cache, measured: &[MeasuredSpecimen]) -> Result<Calibration, ExaminationError> {
    let fit = || match shipped::shipped() {
        Some(start) => Calibration::starting_where_lacking(start, measured),
        None => Ok(Calibration::fit(measured)),
    };
    let Ok(rests_on) = serde_json::to_vec(measured) else { return Ok(fit()?) };
    let key = CacheKey::of(&[FITTED_BY.as_bytes(), shipped::BYTES.as_bytes(), &rests_on]);
    let kept = cache
        .get(WEIGHTS, &key)
        .and_then(|bytes| serde_json::from_slice::<CalibrationFile>(&bytes).ok())
        .filter(|file| file.faults().is_empty())
        .map(|file| Calibration::from_file(&file));
    if let Some(kept) = kept {
        return Ok(kept);
    }
    let calibration = fit()?;
    if let Ok(bytes) = serde_json::to_vec(&calibration.to_file(FITTED_BY, Vec::new(), Vec::new())) {
        cache.put(WEIGHTS, &key, &bytes);
        cache.keep_only(WEIGHTS, std::slice::from_ref(&key));
    }
    Ok(calibration)
}
