//! The truth of a labelled set: what rendered or confirmed items are, for calibration and evaluation.
//!
//! In: `truth.json` beside a set's cases or specimens. Out: [`TruthFile`]. `untorn examine` never
//! reads it; `untorn features` copies its columns beside the findings.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hypothesis::State;
use crate::names::{PhotoFile, ProductId, Slug};

/// Version mark that a truth file carries.
pub const TRUTH_SCHEMA: &str = "untorn.truth/2";

/// Truth of a whole set, by case or specimen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TruthFile {
    /// Always [`TRUTH_SCHEMA`].
    pub schema: String,
    /// By the case's or specimen's id (the folder's name).
    pub cases: BTreeMap<Slug, CaseTruth>,
}

/// Truth of one case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaseTruth {
    /// By item.
    pub items: BTreeMap<Slug, ItemTruth>,
    /// By photo file.
    #[serde(default)]
    pub photos: BTreeMap<String, PhotoTruth>,
}

/// Truth of one item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ItemTruth {
    /// What it is.
    pub state: State,
    /// The product it is, or pretends to be.
    pub product: ProductId,
    /// Its make.
    #[serde(default)]
    pub make: Option<Slug>,
    /// How far the worst tampering or fault goes, 0 (none) to 1.
    #[serde(default)]
    pub severity: f64,
    /// Honest wear, 0 (mint) to 1.
    #[serde(default)]
    pub wear: f64,
    /// What it was photographed in (`sleeve`, `case`), where that is known; empty for nothing.
    #[serde(default)]
    pub cover: String,
    /// What was done to each end: `top`, `bottom`; an untouched end is absent.
    #[serde(default)]
    pub ends: BTreeMap<String, EndTruth>,
    /// Deciding views that no photo of the case shows legibly.
    #[serde(default)]
    pub hidden: Vec<String>,
    /// Named faults of a counterfeit or of the factory, in words.
    #[serde(default)]
    pub faults: Vec<String>,
}

/// What was done to one end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndTruth {
    /// `iron`, `crimper`, `glue`, `tape`, or another word.
    pub by: String,
    /// 0 to 1.
    pub severity: f64,
}

/// Truth of one photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PhotoTruth {
    /// Camera model of the studio.
    pub camera: String,
    /// Light of the studio.
    pub light: String,
    /// Faces it shows.
    #[serde(default)]
    pub faces: Vec<FaceTruth>,
}

/// Where one face really is in a photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FaceTruth {
    /// The item.
    pub item: Slug,
    /// Its face.
    pub face: Slug,
    /// Best homography millimetres → pixels over the printed body, row by row, h33 = 1.
    pub mm_to_px: [[f64; 3]; 3],
    /// The same for the plane of the end seals, where it differs.
    #[serde(default)]
    pub seal_mm_to_px: Option<[[f64; 3]; 3]>,
    /// Pixels per millimetre at the face's centre, the geometric mean of both directions.
    pub px_per_mm: f64,
    /// Angle between face normal and line of sight at the centre, degrees.
    pub angle_deg: f64,
    /// Share of the face inside the frame and uncovered, 0 to 1.
    pub visible: f64,
    /// Share of each end seal inside the frame and uncovered: `top`, `bottom`.
    #[serde(default)]
    pub seals_visible: BTreeMap<String, f64>,
}

/// A photo's file name and hash as programs exchange them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PhotoRef {
    /// File name inside the case.
    pub file: PhotoFile,
    /// BLAKE3 of the file.
    pub hash: crate::names::PhotoHash,
}
