//! The library's side: a product out, a bundle in, both in the audit trail.
//!
//! In: a product's name or a bundle's file. Out: the file, or [`Imported`]. What the library holds
//! already stays as it is; of facts that differ the library's own stay, and the caller is told.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{Read, Seek};
use std::path::Path;

use jiff::Timestamp;

use super::{Bundle, BundleError, Limits, Packed, pack};
use crate::atomic;
use crate::catalogue::{Catalogue, Product};
use crate::document::{self, Notation};
use crate::library::{Library, LibraryError, audit, catalogues, specimens};
use crate::names::{FaceId, PhotoHash, ProductId, Slug};

/// What a bundle brought.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Imported {
    /// The product.
    pub product: String,
    /// What was new, in words.
    pub added: Vec<String>,
    /// How many specimens and products were there already, the same.
    pub known: usize,
    /// What was there already and differs: the library's own was kept.
    pub kept: Vec<String>,
}

/// A catalogue and the reference picture of each of its faces.
type Merged = (Catalogue, Vec<(FaceId, PhotoHash)>);

impl Library {
    /// What a bundle of a product would hold.
    ///
    /// # Errors
    /// [`BundleError::NoSuchProduct`], or [`LibraryError`] when the index does not answer.
    pub fn packed(&self, product: &ProductId, made_at: Timestamp) -> Result<Packed, BundleError> {
        let unknown = || BundleError::NoSuchProduct { product: product.to_string() };
        let all = self.catalogues()?;
        let whole = all
            .iter()
            .find(|c| c.products.iter().any(|p| c.product_id(p).ok().as_ref() == Some(product)))
            .ok_or_else(unknown)?;
        let mut wanted: BTreeSet<Slug> = BTreeSet::new();
        let mut next = Some(product.parts().2.parse::<Slug>().map_err(|_| unknown())?);
        while let Some(id) = next.take() {
            let found = whole.products.iter().find(|p| p.id == id);
            // A product inside itself would go round for ever.
            if wanted.insert(id) {
                next = found.and_then(|p| p.contains.as_ref()).map(|c| c.product.clone());
            }
        }
        let mut catalogue = whole.clone();
        catalogue.products.retain(|p| wanted.contains(&p.id));
        let faces: BTreeSet<FaceId> = catalogue.faces().map(|(id, ..)| id).collect();
        let mut references = self.references()?;
        references.retain(|id, _| faces.contains(id));
        let mut specimens = self.specimens()?;
        specimens.retain(|s| s.specimen.product == *product);
        Ok(Packed { product: product.clone(), made_at, catalogue, references, specimens })
    }

    /// Writes a product with its specimens, photos, facts and sources into one file. A library that
    /// cannot be written gives the bundle too, without a mark in its trail.
    ///
    /// # Errors
    /// [`BundleError`] when there is no such product, a photo has changed, or the file cannot be
    /// written.
    pub fn export_product(
        &mut self,
        product: &ProductId,
        file: &Path,
        at: Timestamp,
    ) -> Result<Packed, BundleError> {
        let packed = self.packed(product, at)?;
        let bytes = pack(&packed, |hash| Ok(self.stored_photo(hash)?))?;
        atomic::write(file, &bytes).map_err(LibraryError::from)?;
        if !self.is_read_only() {
            let folder = self.folder.clone();
            let fail = |source| LibraryError::index(&folder, source);
            let step = self.write()?;
            audit::append(&step, at, "export-product", product.as_str(), PhotoHash::of(&bytes).as_str())
                .map_err(fail)?;
            step.commit().map_err(fail)?;
        }
        Ok(packed)
    }

    /// Ending and bytes of a stored photo.
    fn stored_photo(&self, hash: &PhotoHash) -> Result<(String, Vec<u8>), LibraryError> {
        let missing = || LibraryError::PhotoChanged { file: self.folder.join("photos").join(hash.as_str()) };
        let path = self.photo_path(hash)?.ok_or_else(missing)?;
        let bytes = fs::read(&path).map_err(|source| LibraryError::Photo { file: path.clone(), source })?;
        if PhotoHash::of(&bytes) != *hash {
            return Err(LibraryError::PhotoChanged { file: path });
        }
        let ending = path.extension().map(|e| e.to_string_lossy().into_owned()).unwrap_or_default();
        Ok((ending, bytes))
    }

    /// Takes a bundle in: what is new is added, what is there stays.
    ///
    /// # Errors
    /// [`BundleError`] when the bundle is anything but whole and within the limits; then nothing of
    /// it is kept.
    pub fn import_bundle(
        &mut self,
        file: &Path,
        limits: &Limits,
        at: Timestamp,
    ) -> Result<Imported, BundleError> {
        self.must_be_writable()?;
        let read = |source| BundleError::Read { file: file.to_owned(), source };
        let mut handle = File::open(file).map_err(read)?;
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(&mut handle).map_err(read)?;
        handle.rewind().map_err(read)?;
        let mut bundle = Bundle::open(handle, file, limits)?;
        let mut said = Imported { product: bundle.manifest.product.to_string(), ..Imported::default() };
        let merged = self.merged(&bundle, &mut said)?;
        let known: BTreeMap<Slug, _> =
            self.specimens()?.into_iter().map(|s| (s.specimen.id.clone(), s)).collect();
        let mut fresh = Vec::new();
        for (specimen, listed) in bundle.specimens.iter().zip(&bundle.manifest.specimens) {
            let photos: Vec<_> = listed.photos.iter().map(|p| (p.file.clone(), p.photo.clone())).collect();
            match known.get(&specimen.id) {
                None => {
                    said.added.push(format!("specimen {} ({})", specimen.id, specimen.state));
                    let json = document::print(specimen, Notation::Json)?;
                    fresh.push((specimen.clone(), photos, json));
                }
                Some(own) if own.specimen == *specimen && own.photos == photos.into_iter().collect() => {
                    said.known += 1;
                }
                Some(_) => said.kept.push(format!("specimen {}", specimen.id)),
            }
        }
        self.keep_photos(&mut bundle, at)?;
        if let Some((catalogue, _)) = &merged {
            let text = document::print(catalogue, Notation::Toml)?;
            let shelf = self.folder.join("catalogue").join(catalogue.line.id.as_str());
            fs::create_dir_all(&shelf)
                .map_err(|source| LibraryError::Folder { folder: shelf.clone(), source })?;
            atomic::write(&shelf.join(format!("{}.toml", catalogue.release.id)), text.as_bytes())
                .map_err(LibraryError::from)?;
        }
        let folder = self.folder.clone();
        let fail = |source| LibraryError::index(&folder, source);
        let step = self.write()?;
        if let Some((catalogue, references)) = &merged {
            let json = document::print(catalogue, Notation::Json)?;
            catalogues::store(&step, catalogue, references, &json, "import-catalogue", at).map_err(fail)?;
        }
        for (specimen, photos, json) in &fresh {
            specimens::store(&step, specimen, photos, json, "import-specimen", at).map_err(fail)?;
        }
        let hash = hasher.finalize().to_hex();
        audit::append(&step, at, "import-bundle", &said.product, hash.as_str()).map_err(fail)?;
        step.commit().map_err(fail)?;
        Ok(said)
    }

    /// Stores the bundle's photos; those that nothing refers to in the end do no harm, since they are
    /// named by their content.
    fn keep_photos<R: Read + Seek>(
        &mut self,
        bundle: &mut Bundle<R>,
        at: Timestamp,
    ) -> Result<(), BundleError> {
        for (hash, ending) in bundle.photos() {
            if self.photo_path(&hash)?.is_none_or(|path| !path.exists()) {
                let bytes = bundle.photo(&hash)?;
                self.add_photo_bytes(&bytes, &ending, at)?;
            }
        }
        Ok(())
    }

    /// The library's catalogue of that release with what the bundle adds, or nothing when it adds
    /// nothing.
    fn merged<R: Read + Seek>(
        &self,
        bundle: &Bundle<R>,
        said: &mut Imported,
    ) -> Result<Option<Merged>, LibraryError> {
        let theirs = &bundle.catalogue;
        let own = self
            .catalogues()?
            .into_iter()
            .find(|c| c.line.id == theirs.line.id && c.release.id == theirs.release.id);
        let known = self.references()?;
        let brought: BTreeMap<&FaceId, &PhotoHash> =
            bundle.manifest.references.iter().map(|r| (&r.face, &r.photo)).collect();
        let Some(mut own) = own else {
            for product in &theirs.products {
                said.added.push(format!("product {}/{}/{}", theirs.line.id, theirs.release.id, product.id));
            }
            let references = brought.into_iter().map(|(f, p)| (f.clone(), p.clone())).collect();
            return Ok(Some((theirs.clone(), references)));
        };
        let mut changed = false;
        for product in &theirs.products {
            let name = format!("{}/{}/{}", own.line.id, own.release.id, product.id);
            if own.never_made.iter().any(|never| never.form == product.form) {
                said.kept.push(format!("{name}: the library says that this form was never made"));
                continue;
            }
            let Some(at) = own.products.iter().position(|p| p.id == product.id) else {
                own.products.push(product.clone());
                said.added.push(format!("product {name}"));
                changed = true;
                continue;
            };
            changed |= add_facts(&mut own.products[at], product, &name, said);
            for face in &product.faces {
                let Ok(product) = name.parse() else { continue };
                let id = FaceId { product, face: face.id.clone() };
                if known.get(&id) != brought.get(&id).copied() {
                    said.kept.push(format!("{id}: another reference picture"));
                }
            }
        }
        for never in &theirs.never_made {
            let there = own.never_made.iter().any(|n| n.form == never.form);
            if !there && own.products.iter().all(|p| p.form != never.form) {
                own.never_made.push(never.clone());
                said.added.push(format!("{} never made ({})", never.form.word(), never.source));
                changed = true;
            }
        }
        if !changed {
            return Ok(None);
        }
        let faults = own.faults();
        if !faults.is_empty() {
            let file = bundle.file().to_owned();
            return Err(crate::document::DocumentError::Faults { file, faults }.into());
        }
        let references = own
            .faces()
            .filter_map(|(id, ..)| {
                let photo = known.get(&id).or_else(|| brought.get(&id).copied())?.clone();
                Some((id, photo))
            })
            .collect();
        Ok(Some((own, references)))
    }
}

/// Adds makes and codes that the library does not know of a product; says whether any.
fn add_facts(own: &mut Product, theirs: &Product, name: &str, said: &mut Imported) -> bool {
    let mut changed = false;
    for make in &theirs.makes {
        match own.makes.iter().find(|m| m.id == make.id) {
            None => {
                said.added.push(format!("{name}: make {} ({})", make.id, make.source));
                own.makes.push(make.clone());
                changed = true;
            }
            Some(known) if known != make => said.kept.push(format!("{name}: make {}", make.id)),
            Some(_) => {}
        }
    }
    for gtin in theirs.gtins.iter().filter(|g| !own.gtins.contains(g)).cloned().collect::<Vec<_>>() {
        said.added.push(format!("{name}: code {gtin}"));
        own.gtins.push(gtin);
        changed = true;
    }
    let bare = |p: &Product| Product { makes: Vec::new(), gtins: Vec::new(), ..p.clone() };
    if bare(own) == bare(theirs) {
        said.known += 1;
    } else {
        said.kept.push(format!("{name}: other facts (size, faces or contents)"));
    }
    changed
}
