//! Reading a bundle: hostile until every byte has been counted and hashed.
//!
//! In: a zip file. Out: [`Bundle`], whose documents are parsed and whose every file has the length and
//! hash of the manifest. Never here: a place on disk: nothing is unpacked by a name from the file.

use std::io::{Read, Seek};
use std::path::{Path, PathBuf};

use zip::ZipArchive;
use zip::result::ZipError;

use super::BundleError;
use crate::bundle::{BundleManifest, CATALOGUE, MANIFEST, Place, place};
use crate::catalogue::Catalogue;
use crate::document::{self, Notation};
use crate::names::PhotoHash;
use crate::specimen::SpecimenFile;

/// What a bundle may cost.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Most files.
    pub files: usize,
    /// Most bytes of one file, unpacked.
    pub file_bytes: u64,
    /// Most bytes of all files together, unpacked.
    pub bytes: u64,
    /// Most bytes of the manifest or another document, unpacked.
    pub document_bytes: u64,
}

impl Default for Limits {
    /// 20 000 files, 128 MiB a file (a 200-megapixel JPEG), 4 GiB in all, 16 MiB a document.
    fn default() -> Self {
        Self { files: 20_000, file_bytes: 128 << 20, bytes: 4 << 30, document_bytes: 16 << 20 }
    }
}

/// A bundle that is what its manifest says.
#[derive(Debug)]
pub struct Bundle<R> {
    file: PathBuf,
    archive: ZipArchive<R>,
    limits: Limits,
    /// What it holds.
    pub manifest: BundleManifest,
    /// The release with the exported product and what that contains.
    pub catalogue: Catalogue,
    /// Its specimens, in the manifest's order.
    pub specimens: Vec<SpecimenFile>,
}

impl<R: Read + Seek> Bundle<R> {
    /// Opens a bundle and checks all of it; `file` is for messages.
    ///
    /// # Errors
    /// [`BundleError`] for anything but a whole, undamaged bundle within the limits.
    pub fn open(reader: R, file: &Path, limits: &Limits) -> Result<Self, BundleError> {
        let odd = |what: String| BundleError::Odd { file: file.to_owned(), what };
        let mut archive = ZipArchive::new(reader).map_err(|error| no_zip(file, &error))?;
        if archive.has_duplicate_names() {
            return Err(odd("holds two files of one name".to_owned()));
        }
        if archive.len() > limits.files {
            return Err(over(file, format!("the number of its files ({})", archive.len()), limits.files));
        }
        if archive.has_overlapping_files().map_err(|error| no_zip(file, &error))? {
            return Err(odd("holds files that share bytes".to_owned()));
        }
        let mut declared = 0u64;
        for index in 0..archive.len() {
            let entry = archive.by_index(index).map_err(|error| no_zip(file, &error))?;
            let name = entry.name().map_err(|error| no_zip(file, &error))?.into_owned();
            if name != MANIFEST && place(&name).is_none() {
                let name: String =
                    name.chars().take(120).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
                return Err(odd(format!("holds \"{name}\"")));
            }
            if entry.is_dir() || entry.is_symlink() || entry.encrypted() {
                return Err(odd(format!("holds \"{name}\" as a folder, a link or a locked file")));
            }
            let most = limit_of(&name, limits);
            if entry.size() > most {
                return Err(over(
                    file,
                    format!("\"{name}\" ({} bytes)", entry.size()),
                    format!("{most} bytes"),
                ));
            }
            declared = declared.saturating_add(entry.size());
        }
        if declared > limits.bytes {
            return Err(over(
                file,
                format!("its content ({declared} bytes)"),
                format!("{} bytes", limits.bytes),
            ));
        }
        let text = text_of(&mut archive, MANIFEST, file, limits)?;
        let manifest: BundleManifest = document::parse(&text, &within(file, MANIFEST), Notation::Json)?;
        if manifest.files.len() + 1 != archive.len() {
            return Err(odd(
                "holds files that its manifest does not list, or lacks some that it lists".to_owned()
            ));
        }
        for listed in &manifest.files {
            check(&mut archive, listed, file)?;
        }
        let text = text_of(&mut archive, CATALOGUE, file, limits)?;
        let catalogue: Catalogue = document::parse(&text, &within(file, CATALOGUE), Notation::Toml)?;
        let mut specimens = Vec::new();
        for listed in &manifest.specimens {
            let path = format!("specimens/{}.json", listed.id);
            let text = text_of(&mut archive, &path, file, limits)?;
            specimens.push(document::parse(&text, &within(file, &path), Notation::Json)?);
        }
        let bundle = Self { file: file.to_owned(), archive, limits: *limits, manifest, catalogue, specimens };
        bundle.agree()?;
        Ok(bundle)
    }

    /// Whether catalogue, specimens and manifest speak of the same things.
    fn agree(&self) -> Result<(), BundleError> {
        let odd = |what: String| Err(BundleError::Odd { file: self.file.clone(), what });
        let faces: Vec<_> = self.catalogue.faces().map(|(id, ..)| id).collect();
        if !faces.iter().any(|id| id.product == self.manifest.product) {
            return odd(format!(
                "holds no face of \"{}\", the product that it is said to be",
                self.manifest.product
            ));
        }
        let named: std::collections::BTreeSet<_> = self.manifest.references.iter().map(|r| &r.face).collect();
        if named != faces.iter().collect() {
            return odd("names other faces in its manifest than in its catalogue".to_owned());
        }
        for (specimen, listed) in self.specimens.iter().zip(&self.manifest.specimens) {
            if specimen.id != listed.id || specimen.product != self.manifest.product {
                return odd(format!("holds specimen \"{}\" of another name or product", listed.id));
            }
            let own: std::collections::BTreeSet<_> = specimen.photos.iter().map(|p| &p.file).collect();
            let named: std::collections::BTreeSet<_> = listed.photos.iter().map(|p| &p.file).collect();
            if own != named || named.len() != listed.photos.len() {
                return odd(format!("lists other photos of specimen \"{}\" than its document", listed.id));
            }
        }
        Ok(())
    }

    /// The bytes of one photo.
    ///
    /// # Errors
    /// [`BundleError::Damaged`] when the file has changed since it was opened.
    pub fn photo(&mut self, hash: &PhotoHash) -> Result<Vec<u8>, BundleError> {
        let path =
            self.manifest.files.iter().find(|f| f.hash == *hash).map(|f| f.path.clone()).unwrap_or_default();
        let bytes = bytes_of(&mut self.archive, &path, &self.file, self.limits.file_bytes)?;
        if PhotoHash::of(&bytes) == *hash {
            Ok(bytes)
        } else {
            Err(BundleError::Damaged { file: self.file.clone(), path, what: "has changed while it was read" })
        }
    }

    /// Every photo of it with the ending of its file, each once.
    #[must_use]
    pub fn photos(&self) -> Vec<(PhotoHash, String)> {
        self.manifest
            .files
            .iter()
            .filter_map(|file| match place(&file.path)? {
                Place::Photo { ending, .. } => Some((file.hash.clone(), ending.to_owned())),
                _ => None,
            })
            .collect()
    }

    /// The file that it was read from.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }
}

fn within(file: &Path, path: &str) -> PathBuf {
    PathBuf::from(format!("{}: {path}", file.display()))
}

fn no_zip(file: &Path, error: &ZipError) -> BundleError {
    BundleError::NoZip { file: file.to_owned(), why: error.to_string() }
}

fn over(file: &Path, what: String, limit: impl ToString) -> BundleError {
    BundleError::OverLimit { file: file.to_owned(), what, limit: limit.to_string() }
}

fn limit_of(path: &str, limits: &Limits) -> u64 {
    if matches!(place(path), Some(Place::Photo { .. })) { limits.file_bytes } else { limits.document_bytes }
}

/// Reads one file, whatever length its header claims: no more than the limit and one byte.
fn bytes_of<R: Read + Seek>(
    archive: &mut ZipArchive<R>,
    path: &str,
    file: &Path,
    limit: u64,
) -> Result<Vec<u8>, BundleError> {
    let damaged = |what| BundleError::Damaged { file: file.to_owned(), path: path.to_owned(), what };
    let entry = archive.by_name(path).map_err(|error| match error {
        ZipError::FileNotFound => damaged("is missing"),
        other => no_zip(file, &other),
    })?;
    let mut bytes = Vec::new();
    entry.take(limit + 1).read_to_end(&mut bytes).map_err(|_| damaged("cannot be unpacked"))?;
    if bytes.len() as u64 > limit {
        return Err(over(file, format!("\"{path}\""), format!("{limit} bytes")));
    }
    Ok(bytes)
}

fn text_of<R: Read + Seek>(
    archive: &mut ZipArchive<R>,
    path: &str,
    file: &Path,
    limits: &Limits,
) -> Result<String, BundleError> {
    let bytes = bytes_of(archive, path, file, limits.document_bytes)?;
    String::from_utf8(bytes).map_err(|_| BundleError::Damaged {
        file: file.to_owned(),
        path: path.to_owned(),
        what: "is no text",
    })
}

/// Holds one file to the manifest without keeping it in memory.
fn check<R: Read + Seek>(
    archive: &mut ZipArchive<R>,
    listed: &crate::bundle::BundleFile,
    file: &Path,
) -> Result<(), BundleError> {
    let damaged = |what| BundleError::Damaged { file: file.to_owned(), path: listed.path.clone(), what };
    let entry = archive.by_name(&listed.path).map_err(|error| match error {
        ZipError::FileNotFound => damaged("is missing"),
        other => no_zip(file, &other),
    })?;
    if entry.size() != listed.bytes {
        return Err(damaged("has another length than the manifest says"));
    }
    let mut hasher = blake3::Hasher::new();
    let mut rest = entry.take(listed.bytes + 1);
    let mut read = 0u64;
    let mut buffer = vec![0u8; 1 << 16];
    loop {
        let n = rest.read(&mut buffer).map_err(|_| damaged("cannot be unpacked"))?;
        if n == 0 {
            break;
        }
        read += n as u64;
        hasher.update(&buffer[..n]);
    }
    if read != listed.bytes {
        return Err(damaged("has another length than the manifest says"));
    }
    if hasher.finalize().to_hex().as_str() != listed.hash.as_str() {
        return Err(damaged("has another content than the manifest says"));
    }
    Ok(())
}
