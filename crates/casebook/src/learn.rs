//! What a person says of photos from which a product is to be learned: `learn.toml` beside them.
//!
//! In: names, sizes, which photo shows which face, corners. Out: [`LearnFile`], checked. Everything in
//! it may be left out: file names that begin with a face's name say enough. What stands in it always
//! wins over what the program finds. Never here: pixels, what was learned (that is a catalogue).

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::catalogue::Form;
use crate::names::{PhotoFile, ProductId, Slug};
use crate::specimen::Origin;

/// Version mark that the file starts with.
pub const LEARN_SCHEMA: &str = "untorn.learn/1";

/// What is known before anything is learned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LearnFile {
    /// Always [`LEARN_SCHEMA`].
    pub schema: String,
    /// Full name of the product: `line/release/form`.
    #[serde(default)]
    pub product: Option<ProductId>,
    /// Names as printed: of the line, the release and the product.
    #[serde(default)]
    pub line_name: Option<String>,
    /// Name of the release as printed.
    #[serde(default)]
    pub release_name: Option<String>,
    /// Name of the product as a shop would print it.
    #[serde(default)]
    pub product_name: Option<String>,
    /// What kind of package; else the last word of `product` says it.
    #[serde(default)]
    pub form: Option<Form>,
    /// Year of first sale.
    #[serde(default)]
    pub year: Option<i16>,
    /// Language of the printed text, BCP 47.
    #[serde(default)]
    pub language: Option<String>,
    /// Width and height of the front in mm, and for a box its depth.
    #[serde(default)]
    pub size_mm: Vec<f64>,
    /// Standard uncertainty of each of these, mm; a ruler's half millimetre when left out.
    #[serde(default)]
    pub size_u_mm: Option<f64>,
    /// Whether an ID-1 card (85.60 × 53.98 mm) lies beside the item to take the size from.
    #[serde(default)]
    pub card: bool,
    /// Where the item comes from and how it is known to be genuine.
    #[serde(default)]
    pub known_by: Option<String>,
    /// Whether the item is a thing or was rendered.
    #[serde(default)]
    pub origin: Option<Origin>,
    /// Name of its make, when there are several.
    #[serde(default)]
    pub make: Option<Slug>,
    /// What is said of single photos.
    #[serde(default)]
    pub photos: Vec<LearnPhoto>,
}

/// What is said of one photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LearnPhoto {
    /// Its file.
    pub file: PhotoFile,
    /// The faces in it.
    #[serde(default)]
    pub shows: Vec<LearnFace>,
    /// Corners of the card in it, in any order round it, pixels.
    #[serde(default)]
    pub card_corners_px: Option<[[f64; 2]; 4]>,
    /// Photos of one camera in one light share a sitting.
    #[serde(default)]
    pub sitting: Option<Slug>,
    /// Leave the photo out.
    #[serde(default)]
    pub skip: bool,
}

/// A face in a photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LearnFace {
    /// Its name: `front`, `back`, `left`, `right`, `top`, `bottom`.
    pub face: Slug,
    /// Its corners as its print reads: top-left, top-right, bottom-right, bottom-left, pixels.
    #[serde(default)]
    pub corners_px: Option<[[f64; 2]; 4]>,
}

impl LearnFile {
    /// Nothing said.
    #[must_use]
    pub fn empty() -> Self {
        Self {
            schema: LEARN_SCHEMA.to_owned(),
            product: None,
            line_name: None,
            release_name: None,
            product_name: None,
            form: None,
            year: None,
            language: None,
            size_mm: Vec::new(),
            size_u_mm: None,
            card: false,
            known_by: None,
            origin: None,
            make: None,
            photos: Vec::new(),
        }
    }

    /// What is said of a photo.
    #[must_use]
    pub fn photo(&self, file: &PhotoFile) -> Option<&LearnPhoto> {
        self.photos.iter().find(|p| p.file == *file)
    }

    /// What is wrong beyond the shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if !matches!(self.size_mm.len(), 0 | 2 | 3) {
            faults.push("size_mm: give width and height, and for a box the depth".to_owned());
        }
        if self.size_mm.iter().any(|v| !(v.is_finite() && *v > 1.0 && *v < 2_000.0)) {
            faults.push("size_mm: every length must be between 1 and 2000 mm".to_owned());
        }
        if self.size_u_mm.is_some_and(|u| !(u.is_finite() && u > 0.0 && u < 100.0)) {
            faults.push("size_u_mm: must be above 0 and below 100 mm".to_owned());
        }
        let files: BTreeSet<&PhotoFile> = self.photos.iter().map(|p| &p.file).collect();
        if files.len() != self.photos.len() {
            faults.push("a photo stands twice".to_owned());
        }
        for photo in &self.photos {
            let faces: BTreeSet<&Slug> = photo.shows.iter().map(|s| &s.face).collect();
            if faces.len() != photo.shows.len() {
                faults.push(format!("photo \"{}\": a face stands twice", photo.file));
            }
            let corners =
                photo.shows.iter().filter_map(|s| s.corners_px.as_ref()).chain(&photo.card_corners_px);
            if corners.flatten().flatten().any(|v| !v.is_finite()) {
                faults.push(format!("photo \"{}\": a corner is no number", photo.file));
            }
        }
        faults
    }
}
