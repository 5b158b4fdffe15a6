//! A case's files: `case.toml` with its photos, or photos alone.
//!
//! In: paths from the command line or the desk. Out: [`CaseFolder`], which photos to read and what is
//! claimed. Never here: decoding.

use std::fs;
use std::path::{Path, PathBuf};

use casebook::case::{CaseFile, CasePhoto, PhotoGroup};
use casebook::document;
use casebook::names::PhotoFile;

use crate::error::ExaminationError;

/// Most photos of one case. An offer shows up to some dozens; a folder of ten thousand is a mistake.
pub const MAX_PHOTOS: usize = 500;

/// Files beside photos that are passed over without a word.
const NOT_PHOTOS: [&str; 8] = ["toml", "json", "txt", "md", "html", "htm", "mhtml", "pdf"];

/// A case before any photo is opened.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseFolder {
    /// What is claimed and known.
    pub case: CaseFile,
    /// The photos, in the case's order, with their paths.
    pub photos: Vec<(CasePhoto, PathBuf)>,
}

impl CaseFolder {
    /// Reads a case from what a person named: one folder, or photo files.
    ///
    /// # Errors
    /// [`ExaminationError`] when nothing was named, a folder holds no photo, or `case.toml` is wrong.
    pub fn read(paths: &[PathBuf]) -> Result<Self, ExaminationError> {
        match paths {
            [] => Err(ExaminationError::NothingNamed),
            [folder] if folder.is_dir() => Self::of_folder(folder),
            files => Self::of_files(files),
        }
    }

    fn of_folder(folder: &Path) -> Result<Self, ExaminationError> {
        let file = folder.join("case.toml");
        let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let case: CaseFile =
            if file.exists() { document::read(&file)? } else { CaseFile::of_photos(&slug(&name))? };
        if !case.photos.is_empty() {
            return Self::checked(case, |photo| folder.join(photo.as_str()));
        }
        let listed = photos_in(folder)?;
        if listed.is_empty() {
            return Err(ExaminationError::NoPhotos { folder: folder.to_owned() });
        }
        Self::of_listed(case, listed)
    }

    fn of_files(files: &[PathBuf]) -> Result<Self, ExaminationError> {
        let case = CaseFile::of_photos("photos")?;
        let mut listed = Vec::new();
        for file in files {
            if file.is_dir() {
                return Err(ExaminationError::FolderAmongFiles { folder: file.clone() });
            }
            let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
            listed.push((name, file.clone()));
        }
        Self::of_listed(case, listed)
    }

    /// Takes files under names that can be shown; the files themselves keep whatever names they have.
    fn of_listed(mut case: CaseFile, listed: Vec<(String, PathBuf)>) -> Result<Self, ExaminationError> {
        let mut paths = Vec::new();
        for (name, path) in listed {
            let name = showable(&name);
            let mut unique = name.clone();
            let mut copy = 2;
            while case.photos.iter().any(|photo| photo.file.as_str() == unique) {
                unique = format!("{copy}-{name}");
                copy += 1;
            }
            case.photos.push(unlabelled(unique.parse()?));
            paths.push(path);
        }
        let mut paths = paths.into_iter();
        Self::checked(case, |_| paths.next().unwrap_or_default())
    }

    fn checked(
        case: CaseFile,
        mut path: impl FnMut(&PhotoFile) -> PathBuf,
    ) -> Result<Self, ExaminationError> {
        if case.photos.len() > MAX_PHOTOS {
            return Err(ExaminationError::TooManyPhotos { found: case.photos.len(), limit: MAX_PHOTOS });
        }
        let photos = case.photos.iter().map(|photo| (photo.clone(), path(&photo.file))).collect();
        Ok(Self { case, photos })
    }
}

fn unlabelled(file: PhotoFile) -> CasePhoto {
    CasePhoto { file, group: PhotoGroup::Claimed, sitting: None, shows: Vec::new() }
}

/// The photos of a folder, by name.
fn photos_in(folder: &Path) -> Result<Vec<(String, PathBuf)>, ExaminationError> {
    let fail = |source| ExaminationError::Folder { folder: folder.to_owned(), source };
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(fail)? {
        let entry = entry.map_err(fail)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let ending = name.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
        let passed_over = ending.is_some_and(|ending| NOT_PHOTOS.contains(&ending.as_str()));
        if !passed_over && !name.starts_with('.') && entry.path().is_file() {
            names.push((name, entry.path()));
        }
    }
    names.sort();
    Ok(names)
}

/// A file's name without the characters that no photo's name may hold.
fn showable(name: &str) -> String {
    name.trim_start_matches('.')
        .chars()
        .map(|c| if c.is_control() || c == '\\' { '\u{FFFD}' } else { c })
        .collect()
}

/// A folder's name as a case's name.
fn slug(name: &str) -> String {
    let mut text: String = name
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .take(64)
        .collect();
    text = text.trim_matches('-').to_owned();
    if text.is_empty() { "case".to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folder_names_become_case_names() {
        for (name, expected) in
            [("Offer 12!", "offer-12"), ("...", "case"), ("Été", "t"), (&"x".repeat(99), &"x".repeat(64))]
        {
            assert_eq!(slug(name), expected);
        }
    }
}
