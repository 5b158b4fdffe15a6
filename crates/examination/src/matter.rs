//! All that the library knows of one product, ready to be shown.
//!
//! In: a library and a product's name. Out: [`ProductMatter`]: its catalogue, small copies of its
//! reference pictures, its specimens and what was measured of them so far. Never here: a page.

use casebook::catalogue::{Catalogue, Product};
use casebook::library::Library;
use casebook::names::{PhotoFile, ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::SpecimenFile;
use photo::Limits;

use crate::error::ExaminationError;
use crate::specimens::MEASURED_BY;
use crate::thumbnail::Thumbnail;

/// One product with everything that a page about it shows.
#[derive(Debug, Clone)]
pub struct ProductMatter {
    /// Its full name.
    pub id: ProductId,
    /// The release that it belongs to, with all its products.
    pub catalogue: Catalogue,
    /// The product.
    pub product: Product,
    /// Small copies of its reference pictures, by face; a picture that cannot be decoded is left out.
    pub faces: Vec<(Slug, Thumbnail)>,
    /// Its specimens, by id.
    pub specimens: Vec<SpecimenFile>,
    /// What was measured of them so far; nothing is measured now.
    pub measured: Vec<MeasuredSpecimen>,
}

impl ProductMatter {
    /// Takes it from the library.
    ///
    /// # Errors
    /// [`ExaminationError`] when there is no such product or the index does not answer.
    pub fn of(library: &Library, id: &ProductId) -> Result<Self, ExaminationError> {
        let found = library.catalogues()?.into_iter().find_map(|catalogue| {
            let product =
                catalogue.products.iter().find(|p| catalogue.product_id(p).ok().as_ref() == Some(id));
            let product = product.cloned()?;
            Some((catalogue, product))
        });
        let Some((catalogue, product)) = found else {
            return Err(ExaminationError::NoSuchProduct { product: id.to_string() });
        };
        let mut faces = Vec::new();
        for (face, hash) in library.references()? {
            if face.product != *id {
                continue;
            }
            let Some(path) = library.photo_path(&hash)? else { continue };
            let Ok(photo) = photo::read(&path, &Limits::default()) else { continue };
            let name: PhotoFile = format!("{}.jpg", face.face).parse()?;
            faces.extend(Thumbnail::of(&name, &photo).map(|small| (face.face.clone(), small)));
        }
        let mut specimens: Vec<SpecimenFile> = library.specimens()?.into_iter().map(|s| s.specimen).collect();
        specimens.retain(|s| s.product == *id);
        let mut measured = library.measurements(MEASURED_BY)?;
        measured.retain(|m| m.product == *id);
        Ok(Self { id: id.clone(), catalogue, product, faces, specimens, measured })
    }
}
