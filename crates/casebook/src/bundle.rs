//! What a product bundle holds: the manifest that stands first in its zip file.
//!
//! In: `manifest.json` of a bundle. Out: [`BundleManifest`], checked: every other file of the bundle
//! with its length and BLAKE3, which photo shows which face, which photos belong to which specimen.
//! Never here: the zip file itself (`crate::library::bundle`), pixels.
//!
//! ```text
//! manifest.json
//! catalogue.toml            one release, the product and what it contains
//! specimens/<id>.json
//! photos/<blake3>.<ending>
//! ```

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::names::{FaceId, PhotoFile, PhotoHash, ProductId, Slug};

/// Version mark that a manifest starts with.
pub const BUNDLE_SCHEMA: &str = "untorn.bundle/1";
/// The manifest's place in the bundle.
pub const MANIFEST: &str = "manifest.json";
/// The catalogue's place in the bundle.
pub const CATALOGUE: &str = "catalogue.toml";

/// What a bundle holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BundleManifest {
    /// Always [`BUNDLE_SCHEMA`].
    pub schema: String,
    /// The product that was exported.
    pub product: ProductId,
    /// When it was exported.
    #[schemars(with = "String")]
    pub made_at: jiff::Timestamp,
    /// The reference picture of every face of the catalogue.
    pub references: Vec<BundleReference>,
    /// Its specimens.
    #[serde(default)]
    pub specimens: Vec<BundleSpecimen>,
    /// Every file of the bundle but this one.
    pub files: Vec<BundleFile>,
}

/// The reference picture of a face.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BundleReference {
    /// The face.
    pub face: FaceId,
    /// Its picture, under `photos/`.
    pub photo: PhotoHash,
}

/// A specimen and its photos.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BundleSpecimen {
    /// Its name; its document is `specimens/<id>.json`.
    pub id: Slug,
    /// The stored photo of each file that the document names.
    pub photos: Vec<BundlePhoto>,
}

/// A photo of a specimen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BundlePhoto {
    /// Its name in the specimen's document.
    pub file: PhotoFile,
    /// Its content, under `photos/`.
    pub photo: PhotoHash,
}

/// One file of a bundle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BundleFile {
    /// Its place in the zip file.
    pub path: String,
    /// Its length.
    pub bytes: u64,
    /// BLAKE3 of its bytes.
    pub hash: PhotoHash,
}

/// What a file of a bundle is, by its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place<'a> {
    Catalogue,
    Specimen(&'a str),
    Photo { hash: &'a str, ending: &'a str },
}

/// The kind of a place, or nothing for a place that no bundle has.
pub(crate) fn place(path: &str) -> Option<Place<'_>> {
    if path == CATALOGUE {
        return Some(Place::Catalogue);
    }
    if let Some(id) = path.strip_prefix("specimens/").and_then(|rest| rest.strip_suffix(".json")) {
        return id.parse::<Slug>().is_ok().then_some(Place::Specimen(id));
    }
    let (hash, ending) = path.strip_prefix("photos/")?.split_once('.')?;
    let proper = (1..=5).contains(&ending.len())
        && ending.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit());
    (proper && hash.parse::<PhotoHash>().is_ok()).then_some(Place::Photo { hash, ending })
}

impl BundleManifest {
    /// What is wrong beyond the shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        let (mut paths, mut photos, mut specimens) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        for file in &self.files {
            if !paths.insert(file.path.as_str()) {
                faults.push(format!("the file \"{}\" is listed twice", shown(&file.path)));
            }
            match place(&file.path) {
                None => faults.push(format!("\"{}\" is no place of a bundle", shown(&file.path))),
                Some(Place::Catalogue) => {}
                Some(Place::Specimen(id)) => {
                    specimens.insert(id);
                }
                Some(Place::Photo { hash, .. }) => {
                    if hash != file.hash.as_str() {
                        faults
                            .push(format!("the photo \"{}\" is listed with another hash", shown(&file.path)));
                    }
                    if !photos.insert(hash) {
                        faults.push(format!("the photo {hash} is listed with two endings"));
                    }
                }
            }
        }
        if !paths.contains(CATALOGUE) {
            faults.push(format!("{CATALOGUE} is not listed"));
        }
        let listed: BTreeSet<&str> = self.specimens.iter().map(|s| s.id.as_str()).collect();
        if listed.len() != self.specimens.len() {
            faults.push("a specimen is listed twice".to_owned());
        }
        if listed != specimens {
            faults.push("the specimens listed and the documents of specimens differ".to_owned());
        }
        let faces: BTreeSet<&FaceId> = self.references.iter().map(|r| &r.face).collect();
        if faces.len() != self.references.len() {
            faults.push("a face is listed twice".to_owned());
        }
        let of_specimens = self.specimens.iter().flat_map(|s| s.photos.iter().map(|p| &p.photo));
        let used: BTreeSet<&str> =
            self.references.iter().map(|r| &r.photo).chain(of_specimens).map(PhotoHash::as_str).collect();
        if used != photos {
            faults.push("the photos listed and the photos used differ".to_owned());
        }
        faults
    }
}

/// A path from a stranger, short enough for a message.
fn shown(path: &str) -> String {
    path.chars().take(120).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}
