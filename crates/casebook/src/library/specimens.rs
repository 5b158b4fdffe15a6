//! Specimens of the library and what the examiners measured of them.

use std::collections::BTreeMap;
use std::path::Path;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use super::{Library, LibraryError, audit};
use crate::document::{self, Notation};
use crate::names::{PhotoFile, PhotoHash, Slug};
use crate::opinion::MeasuredSpecimen;
use crate::specimen::{Origin, SpecimenFile};

/// A specimen with its stored photos.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredSpecimen {
    /// The specimen.
    pub specimen: SpecimenFile,
    /// The stored photo of each of its files.
    pub photos: BTreeMap<PhotoFile, PhotoHash>,
}

const fn origin_word(origin: Origin) -> &'static str {
    match origin {
        Origin::Physical => "physical",
        Origin::Rendered => "rendered",
    }
}

impl Library {
    /// Adds a specimen from its folder (`specimen.toml` and its photos). Adding the same again
    /// changes nothing.
    ///
    /// # Errors
    /// [`LibraryError`] when a file cannot be read, the product is unknown, the id is taken by
    /// another specimen, or nothing can be written.
    pub fn add_specimen(&mut self, folder: &Path, at: Timestamp) -> Result<SpecimenFile, LibraryError> {
        self.must_be_writable()?;
        let specimen: SpecimenFile = document::read(&folder.join("specimen.toml"))?;
        let known = self.catalogues()?.iter().any(|catalogue| {
            catalogue
                .products
                .iter()
                .any(|p| catalogue.product_id(p).ok().as_ref() == Some(&specimen.product))
        });
        if !known {
            return Err(LibraryError::NoSuchProduct {
                id: specimen.id.to_string(),
                product: specimen.product.to_string(),
            });
        }
        let mut photos = Vec::new();
        for photo in &specimen.photos {
            photos.push((photo.file.clone(), self.add_photo(&folder.join(photo.file.as_str()), at)?));
        }
        let json = document::print(&specimen, Notation::Json)?;
        let owner = self.folder.clone();
        let fail = |source| LibraryError::index(&owner, source);
        let step = self.write()?;
        let before: Option<String> = step
            .query_row("SELECT document FROM specimen WHERE id = ?1", [specimen.id.as_str()], |row| {
                row.get(0)
            })
            .optional()
            .map_err(fail)?;
        if let Some(before) = before {
            return if before == json {
                Ok(specimen)
            } else {
                Err(LibraryError::SpecimenTaken { id: specimen.id.to_string() })
            };
        }
        store(&step, &specimen, &photos, &json, "add-specimen", at).map_err(fail)?;
        step.commit().map_err(fail)?;
        Ok(specimen)
    }

    /// Every specimen, by id.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer or a stored document is damaged.
    pub fn specimens(&self) -> Result<Vec<StoredSpecimen>, LibraryError> {
        let name = self.folder.join("index.sqlite");
        let mut specimens = Vec::new();
        for text in self.texts("SELECT document FROM specimen ORDER BY id")? {
            let specimen: SpecimenFile = document::parse(&text, &name, Notation::Json)?;
            specimens.push(StoredSpecimen { photos: self.photos_of(&specimen.id)?, specimen });
        }
        Ok(specimens)
    }

    fn photos_of(&self, id: &Slug) -> Result<BTreeMap<PhotoFile, PhotoHash>, LibraryError> {
        let mut query = self
            .index
            .prepare_cached("SELECT file, photo FROM specimen_photo WHERE specimen = ?1")
            .map_err(self.fail())?;
        let rows = query
            .query_map([id.as_str()], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)))
            .map_err(self.fail())?;
        let mut photos = BTreeMap::new();
        for row in rows {
            let (file, hash) = row.map_err(self.fail())?;
            if let (Ok(file), Ok(hash)) = (file.parse(), hash.parse()) {
                photos.insert(file, hash);
            }
        }
        Ok(photos)
    }

    /// Keeps what the examiners of one version read from one sitting of a specimen.
    ///
    /// # Errors
    /// [`LibraryError`] when nothing can be written.
    pub fn keep_measurement(
        &mut self,
        examiners: &str,
        measured: &MeasuredSpecimen,
    ) -> Result<(), LibraryError> {
        let owner = self.folder.clone();
        let fail = |source| LibraryError::index(&owner, source);
        let json = serde_json::to_string(measured)
            .map_err(|e| LibraryError::index(&owner, rusqlite::Error::ToSqlConversionFailure(Box::new(e))))?;
        let step = self.write()?;
        step.execute(
            "INSERT INTO measurement (specimen, sitting, examiners, document) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (specimen, sitting) DO UPDATE SET examiners = excluded.examiners, document = excluded.document",
            params![measured.specimen.as_str(), measured.sitting.as_str(), examiners, json],
        )
        .map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// What the examiners of that version have read so far, by specimen and sitting. Readings of
    /// another version, or that no longer parse, are left out: they are measured again.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn measurements(&self, examiners: &str) -> Result<Vec<MeasuredSpecimen>, LibraryError> {
        let mut query = self
            .index
            .prepare("SELECT document FROM measurement WHERE examiners = ?1 ORDER BY specimen, sitting")
            .map_err(self.fail())?;
        let rows = query.query_map([examiners], |row| row.get::<_, String>(0)).map_err(self.fail())?;
        let mut measured = Vec::new();
        for row in rows {
            if let Ok(one) = serde_json::from_str(&row.map_err(self.fail())?) {
                measured.push(one);
            }
        }
        Ok(measured)
    }
}

/// The rows of a specimen, its photos and the act, within the caller's transaction.
pub(super) fn store(
    step: &rusqlite::Connection,
    specimen: &SpecimenFile,
    photos: &[(PhotoFile, PhotoHash)],
    json: &str,
    act: &str,
    at: Timestamp,
) -> rusqlite::Result<()> {
    step.execute(
        "INSERT INTO specimen (id, product, state, origin, document, added_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            specimen.id.as_str(),
            specimen.product.as_str(),
            specimen.state.word(),
            origin_word(specimen.origin),
            json,
            at.to_string()
        ],
    )?;
    for (file, hash) in photos {
        step.execute(
            "INSERT INTO specimen_photo (specimen, file, photo) VALUES (?1, ?2, ?3)",
            params![specimen.id.as_str(), file.as_str(), hash.as_str()],
        )?;
    }
    let detail = PhotoHash::of(json.as_bytes());
    audit::append(step, at, act, specimen.id.as_str(), detail.as_str())
}
