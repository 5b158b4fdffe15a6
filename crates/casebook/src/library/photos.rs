//! Photos of the library: stored under the hash of their bytes, written once, never changed.

use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use super::{Library, LibraryError};
use crate::atomic;
use crate::names::PhotoHash;

impl Library {
    /// Stores a photo file's bytes and gives its hash; storing the same bytes again changes nothing.
    ///
    /// # Errors
    /// [`LibraryError`] when the file cannot be read or the library cannot be written.
    pub fn add_photo(&mut self, file: &Path, at: Timestamp) -> Result<PhotoHash, LibraryError> {
        self.must_be_writable()?;
        let bytes = fs::read(file).map_err(|source| LibraryError::Photo { file: file.to_owned(), source })?;
        let ending = file
            .extension()
            .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
            .filter(|ending| ending.len() <= 5 && ending.bytes().all(|b| b.is_ascii_alphanumeric()))
            .unwrap_or_else(|| "bin".to_owned());
        self.add_photo_bytes(&bytes, &ending, at)
    }

    /// Stores the bytes of a photo; `ending` is 1 to 5 of a-z and 0-9.
    pub(super) fn add_photo_bytes(
        &mut self,
        bytes: &[u8],
        ending: &str,
        at: Timestamp,
    ) -> Result<PhotoHash, LibraryError> {
        let hash = PhotoHash::of(bytes);
        let known: Option<String> = self
            .index
            .query_row("SELECT ending FROM photo WHERE hash = ?1", [hash.as_str()], |row| row.get(0))
            .optional()
            .map_err(self.fail())?;
        let stored = self.stored_path(&hash, known.as_deref().unwrap_or(ending));
        if !stored.exists() {
            if let Some(parent) = stored.parent() {
                fs::create_dir_all(parent)
                    .map_err(|source| LibraryError::Folder { folder: parent.to_owned(), source })?;
            }
            atomic::write(&stored, bytes)?;
        }
        if known.is_none() {
            let size = i64::try_from(bytes.len()).unwrap_or(i64::MAX);
            self.index
                .execute(
                    "INSERT INTO photo (hash, ending, bytes, added_at) VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING",
                    params![hash.as_str(), ending, size, at.to_string()],
                )
                .map_err(self.fail())?;
        }
        Ok(hash)
    }

    /// Where a stored photo lies, or `None` when the library has none of that hash.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn photo_path(&self, hash: &PhotoHash) -> Result<Option<PathBuf>, LibraryError> {
        let ending: Option<String> = self
            .index
            .query_row("SELECT ending FROM photo WHERE hash = ?1", [hash.as_str()], |row| row.get(0))
            .optional()
            .map_err(self.fail())?;
        Ok(ending.map(|ending| self.stored_path(hash, &ending)))
    }

    /// Whether a stored photo's file still has the size that it was stored with: quick to ask, while
    /// [`Library::check`] reads every byte.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn photo_has_its_size(&self, hash: &PhotoHash) -> Result<bool, LibraryError> {
        let stored: Option<(String, i64)> = self
            .index
            .query_row("SELECT ending, bytes FROM photo WHERE hash = ?1", [hash.as_str()], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()
            .map_err(self.fail())?;
        Ok(stored.is_some_and(|(ending, bytes)| {
            let now = fs::metadata(self.stored_path(hash, &ending)).ok().map(|facts| facts.len());
            now.is_some() && now == u64::try_from(bytes).ok()
        }))
    }

    pub(super) fn stored_path(&self, hash: &PhotoHash, ending: &str) -> PathBuf {
        let text = hash.as_str();
        let shelf = text.get(..2).unwrap_or_default();
        self.folder.join("photos").join(shelf).join(format!("{text}.{ending}"))
    }
}
