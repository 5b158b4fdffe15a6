//! Catalogues of the library: the TOML that people write, indexed with its reference pictures.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use jiff::Timestamp;
use rusqlite::params;

use super::{Library, LibraryError, audit};
use crate::atomic;
use crate::catalogue::Catalogue;
use crate::document::{self, Notation};
use crate::names::{FaceId, PhotoHash};

impl Library {
    /// Adds or replaces a catalogue from its file; its reference pictures are looked for in `faces`.
    ///
    /// # Errors
    /// [`LibraryError`] when the file or a picture cannot be read, or nothing can be written.
    pub fn add_catalogue(
        &mut self,
        file: &Path,
        faces: &Path,
        at: Timestamp,
    ) -> Result<Catalogue, LibraryError> {
        self.must_be_writable()?;
        let catalogue: Catalogue = document::read(file)?;
        let mut references = Vec::new();
        for (id, _, face) in catalogue.faces() {
            let hash = self.add_photo(&faces.join(face.reference.as_str()), at)?;
            references.push((id, hash));
        }
        self.keep_catalogue(&catalogue, &references, "add-catalogue", at)?;
        Ok(catalogue)
    }

    /// Replaces the facts of a catalogue. Faces that it had keep their reference pictures.
    ///
    /// # Errors
    /// [`LibraryError`] when the facts are wrong, a face has no picture in the library, or nothing can be
    /// written.
    pub fn revise_catalogue(&mut self, catalogue: &Catalogue, at: Timestamp) -> Result<(), LibraryError> {
        // Printed and read again, so that nothing gets in that a file could not hold.
        let text = document::print(catalogue, Notation::Toml)?;
        let name = format!("{}.toml", catalogue.release.id);
        let checked: Catalogue = document::parse(&text, Path::new(&name), Notation::Toml)?;
        let pictures = self.references()?;
        let mut references = Vec::new();
        for (id, _, _) in checked.faces() {
            let Some(hash) = pictures.get(&id) else {
                return Err(LibraryError::NoReference { face: id.to_string() });
            };
            references.push((id, hash.clone()));
        }
        self.keep_catalogue(&checked, &references, "revise-catalogue", at)
    }

    fn keep_catalogue(
        &mut self,
        catalogue: &Catalogue,
        references: &[(FaceId, PhotoHash)],
        act: &str,
        at: Timestamp,
    ) -> Result<(), LibraryError> {
        let text = document::print(catalogue, Notation::Toml)?;
        let json = document::print(catalogue, Notation::Json)?;
        let shelf = self.folder.join("catalogue").join(catalogue.line.id.as_str());
        fs::create_dir_all(&shelf)
            .map_err(|source| LibraryError::Folder { folder: shelf.clone(), source })?;
        atomic::write(&shelf.join(format!("{}.toml", catalogue.release.id)), text.as_bytes())?;

        let folder = self.folder.clone();
        let fail = |source| LibraryError::index(&folder, source);
        let step = self.write()?;
        store(&step, catalogue, references, &json, act, at).map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// Every catalogue, by line and release.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer or a stored document is damaged.
    pub fn catalogues(&self) -> Result<Vec<Catalogue>, LibraryError> {
        let documents = self.texts("SELECT document FROM catalogue ORDER BY line, release")?;
        let name = self.folder.join("index.sqlite");
        documents.iter().map(|text| Ok(document::parse(text, &name, Notation::Json)?)).collect()
    }

    /// The reference picture of every face.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn references(&self) -> Result<BTreeMap<FaceId, PhotoHash>, LibraryError> {
        let mut query = self.index.prepare("SELECT product, face, photo FROM face").map_err(self.fail())?;
        let rows = query
            .query_map([], |row| {
                Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, String>(2)?))
            })
            .map_err(self.fail())?;
        let mut references = BTreeMap::new();
        for row in rows {
            let (product, face, photo) = row.map_err(self.fail())?;
            // The names were checked when they were written; a row that breaks the rule is damage.
            let (Ok(product), Ok(face), Ok(photo)) = (product.parse(), face.parse(), photo.parse()) else {
                return Err(LibraryError::index(&self.folder, rusqlite::Error::InvalidQuery));
            };
            references.insert(FaceId { product, face }, photo);
        }
        Ok(references)
    }

    pub(super) fn texts(&self, sql: &str) -> Result<Vec<String>, LibraryError> {
        let mut query = self.index.prepare(sql).map_err(self.fail())?;
        let rows = query.query_map([], |row| row.get(0)).map_err(self.fail())?;
        rows.collect::<Result<_, _>>().map_err(self.fail())
    }
}

/// The rows of a catalogue, its faces and the act, within the caller's transaction.
pub(super) fn store(
    step: &rusqlite::Connection,
    catalogue: &Catalogue,
    references: &[(FaceId, PhotoHash)],
    json: &str,
    act: &str,
    at: Timestamp,
) -> rusqlite::Result<()> {
    let (line, release) = (catalogue.line.id.as_str(), catalogue.release.id.as_str());
    step.execute(
        "INSERT INTO catalogue (line, release, document, added_at) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT (line, release) DO UPDATE SET document = excluded.document, added_at = excluded.added_at",
        params![line, release, json, at.to_string()],
    )?;
    step.execute("DELETE FROM face WHERE line = ?1 AND release = ?2", params![line, release])?;
    for (id, hash) in references {
        step.execute(
            "INSERT INTO face (product, face, line, release, photo) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![id.product.as_str(), id.face.as_str(), line, release, hash.as_str()],
        )?;
    }
    let detail = PhotoHash::of(json.as_bytes());
    audit::append(step, at, act, &format!("{line}/{release}"), detail.as_str())
}
