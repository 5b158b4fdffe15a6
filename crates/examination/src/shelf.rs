//! What an examination takes from the library, ready to use: products with their reference pictures,
//! the index that finds their faces, and the weights fitted on the measured specimens.

use std::collections::BTreeMap;

use casebook::catalogue::{Catalogue, Product};
use casebook::library::Library;
use casebook::names::{FaceId, ProductId, Slug};
use casebook::opinion::{MeasuredSpecimen, SpecimenCount};
use casebook::specimen::Origin;
use opinion::Calibration;
use photo::{Limits, Photo};
use placement::{FaceIndex, ReferenceFace};
use rayon::prelude::*;

use crate::error::ExaminationError;
use crate::progress::Progress;
use crate::specimens::measure;

/// Products with their reference pictures and the index over their faces.
#[derive(Debug)]
pub struct Products {
    facts: BTreeMap<ProductId, Product>,
    references: BTreeMap<ProductId, BTreeMap<Slug, Photo>>,
    index: FaceIndex,
    none: BTreeMap<Slug, Photo>,
}

impl Products {
    /// A product's facts.
    #[must_use]
    pub fn get(&self, id: &ProductId) -> Option<&Product> {
        self.facts.get(id)
    }

    /// A product's reference pictures by face; empty when it has none.
    #[must_use]
    pub fn references(&self, id: &ProductId) -> &BTreeMap<Slug, Photo> {
        self.references.get(id).unwrap_or(&self.none)
    }

    /// The index over all faces.
    #[must_use]
    pub const fn index(&self) -> &FaceIndex {
        &self.index
    }
}

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
        let products = products(library, facts)?;
        let measured = measure(library, &products, progress)?;
        let calibration = Calibration::fit(&measured);
        Ok(Self { catalogues, products, measured, calibration, names })
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

fn products(library: &Library, facts: BTreeMap<ProductId, Product>) -> Result<Products, ExaminationError> {
    let mut files = Vec::new();
    for (face, hash) in library.references()? {
        let size =
            facts.get(&face.product).and_then(|p| p.face(&face.face)).map(|f| (f.size_mm[0], f.size_mm[1]));
        if let (Some(size), Some(path)) = (size, library.photo_path(&hash)?) {
            files.push((face, size, path));
        }
    }
    let rasters: Vec<ReferenceFace> = files
        .into_par_iter()
        .map(|(face, size_mm, path)| {
            let raster = photo::read(&path, &Limits::default()).map_err(|error| {
                ExaminationError::Reference { face: face.to_string(), problem: error.to_string() }
            })?;
            Ok(ReferenceFace { face, size_mm, raster })
        })
        .collect::<Result<_, ExaminationError>>()?;
    let index = FaceIndex::build(&rasters).map_err(|error| ExaminationError::Reference {
        face: "a product".to_owned(),
        problem: error.to_string(),
    })?;
    let mut references: BTreeMap<ProductId, BTreeMap<Slug, Photo>> = BTreeMap::new();
    for reference in rasters {
        let FaceId { product, face } = reference.face;
        references.entry(product).or_default().insert(face, reference.raster);
    }
    Ok(Products { facts, references, index, none: BTreeMap::new() })
}
