//! A specimen: an item whose status is known, with its photos. The library is made of specimens.
//!
//! In: `specimen.toml` beside its photos. Out: [`SpecimenFile`], checked.
//! Never here: measurements (those are findings), pixels.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::case::CasePhoto;
use crate::hypothesis::State;
use crate::names::{ProductId, Slug};

/// Version mark that a specimen file starts with.
pub const SPECIMEN_SCHEMA: &str = "untorn.specimen/1";

/// One item whose status is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpecimenFile {
    /// Always [`SPECIMEN_SCHEMA`].
    pub schema: String,
    /// Name of the specimen.
    pub id: Slug,
    /// What it is, or for a counterfeit what it pretends to be.
    pub product: ProductId,
    /// Its make, when known.
    #[serde(default)]
    pub make: Option<Slug>,
    /// Its known status.
    pub state: State,
    /// How the status is known.
    pub known_by: String,
    /// Whether photographed from a thing or rendered.
    pub origin: Origin,
    /// Its photos; the item is called `a`, and every photo names its sitting.
    pub photos: Vec<CasePhoto>,
    /// Free notes, such as wear.
    #[serde(default)]
    pub notes: Vec<String>,
}

/// Whether a specimen exists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// A thing, photographed.
    Physical,
    /// Rendered with known truth.
    Rendered,
}

impl SpecimenFile {
    /// What is wrong beyond the shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if self.photos.is_empty() {
            faults.push("a specimen needs at least one photo".to_owned());
        }
        for (index, photo) in self.photos.iter().enumerate() {
            if self.photos[..index].iter().any(|other| other.file == photo.file) {
                faults.push(format!("photo \"{}\" stands twice", photo.file));
            }
            if photo.shows.iter().any(|shown| shown.item.as_str() != "a") {
                faults.push(format!("photo \"{}\": the item of a specimen is called \"a\"", photo.file));
            }
        }
        faults
    }
}
