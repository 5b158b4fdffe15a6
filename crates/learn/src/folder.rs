//! The folder that a person fills: photos, and perhaps `learn.toml`.
//!
//! In: a folder. Out: [`LearnFolder`]. Nothing is decoded here. Never here: pixels.

use std::fs;
use std::path::{Path, PathBuf};

use casebook::document;
use casebook::learn::LearnFile;
use casebook::names::PhotoFile;

use crate::error::LearnError;

/// Most photos of one item: six faces from five sides each.
pub const MAX_PHOTOS: usize = 30;
/// Endings of photo files.
const ENDINGS: [&str; 7] = ["jpg", "jpeg", "png", "webp", "heic", "heif", "hif"];

/// A folder of photos of one item.
#[derive(Debug, Clone)]
pub struct LearnFolder {
    /// What is said of them.
    pub told: LearnFile,
    /// The photos, by name.
    pub photos: Vec<(PhotoFile, PathBuf)>,
}

impl LearnFolder {
    /// Reads a folder; `learn.toml` may be missing.
    ///
    /// # Errors
    /// [`LearnError`] when the folder cannot be listed, holds no photo or too many, or `learn.toml` is
    /// wrong.
    pub fn read(folder: &Path) -> Result<Self, LearnError> {
        let fail = |source| LearnError::Folder { folder: folder.to_owned(), source };
        let mut photos = Vec::new();
        for entry in fs::read_dir(folder).map_err(fail)? {
            let path = entry.map_err(fail)?.path();
            let ending =
                path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
            let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
            if name.starts_with('.') || !ENDINGS.contains(&ending.as_str()) || !path.is_file() {
                continue;
            }
            photos.push((name.parse::<PhotoFile>()?, path));
        }
        photos.sort();
        let file = folder.join("learn.toml");
        let told = if file.exists() { document::read(&file)? } else { LearnFile::empty() };
        for photo in &told.photos {
            if !photos.iter().any(|(name, _)| *name == photo.file) {
                return Err(LearnError::NoSuchPhoto { file: photo.file.to_string() });
            }
        }
        photos.retain(|(name, _)| !told.photo(name).is_some_and(|p| p.skip));
        if photos.is_empty() {
            return Err(LearnError::NoPhotos { folder: folder.to_owned() });
        }
        if photos.len() > MAX_PHOTOS {
            return Err(LearnError::TooManyPhotos { found: photos.len(), limit: MAX_PHOTOS });
        }
        Ok(Self { told, photos })
    }
}
