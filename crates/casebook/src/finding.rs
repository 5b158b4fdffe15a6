//! A finding: one answered question about one item, with everything needed to weigh it.
//!
//! In: what an examiner measured. Out: the JSON that programs exchange and the report prints.
//! Never here: a weight (that is `opinion`'s), pixels (pictures travel encoded, see `picture`).
//!
//! Sources: `jcgm100` (standard uncertainty), and design rules: a value never travels alone;
//! "cannot tell" is a result.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hypothesis::State;
use crate::names::{PhotoFile, Slug};
use crate::units::RectMm;

/// One answered question about one item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// Which examiner asked: `end-seal`, `cut-edge`, `print`, `existence`, …
    pub examiner: Slug,
    /// Which item it is about.
    pub item: Slug,
    /// Where on the item.
    pub place: Place,
    /// What was measured, as a name that does not change between versions: `ridge-evenness`.
    pub quantity: Slug,
    /// The question in words a newcomer understands.
    pub question: String,
    /// The answer.
    pub reading: Reading,
    /// What genuine items show, where that is known.
    #[serde(default)]
    pub expected: Option<Expected>,
    /// The numbers that are weighed, named; empty when nothing could be read.
    #[serde(default)]
    pub features: Vec<Feature>,
    /// How well it was seen.
    #[serde(default)]
    pub seeing: Seeing,
    /// Findings of one group depend on each other and are weighed jointly.
    pub group: Slug,
    /// The photos it was read from, best first.
    #[serde(default)]
    pub photos: Vec<PhotoFile>,
    /// Ids of the pictures that show it.
    #[serde(default)]
    pub pictures: Vec<String>,
    /// What is seen, in one sentence; never a verdict.
    pub says: String,
}

/// Where on an item a finding was made.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// The face, when it is on one.
    #[serde(default)]
    pub face: Option<Slug>,
    /// The part: `top-end-seal`, `bottom-end-seal`, `both-end-seals`, a region's name.
    #[serde(default)]
    pub part: Option<String>,
    /// The area on the face.
    #[serde(default)]
    pub rect_mm: Option<RectMm>,
}

/// The answer to a question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Reading {
    /// A measured value.
    Measured {
        /// The value in `unit`.
        value: f64,
        /// Standard uncertainty (k = 1) in `unit`.
        standard_uncertainty: f64,
        /// Unit symbol; `1` for a pure number.
        unit: String,
    },
    /// A fact that holds or does not, with the rate at which its source errs.
    Fact {
        /// What the fact says of the item.
        outcome: FactOutcome,
        /// Probability that the source (catalogue, reading of a code) is wrong, above 0, at most 0.5.
        error_rate: f64,
        /// Where the fact comes from.
        source: String,
    },
    /// The photos or the library do not allow an answer.
    CannotTell {
        /// What is missing; at least one.
        missing: Vec<Missing>,
    },
}

/// What a fact says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "says", rename_all = "kebab-case", deny_unknown_fields)]
pub enum FactOutcome {
    /// As it is with every genuine item. Imitators keep to it as well, so it weighs little.
    AsGenuine,
    /// Contradicts a genuine item and is what this state would show.
    Points {
        /// The state that it points to.
        to: State,
    },
}

/// Why a question could not be answered, and what would answer it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Missing {
    /// The kind of lack.
    pub lack: Lack,
    /// In words, with numbers: "the bottom end is seen at 2.1 px per ridge; 2.5 are needed".
    pub words: String,
    /// The deciding view or fact that would help, in words for a request; empty when none would.
    #[serde(default)]
    pub wants: String,
}

/// Kinds of lack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lack {
    /// No photo shows it.
    NotShown,
    /// It leaves the frame.
    OutOfFrame,
    /// Something hides it.
    Covered,
    /// Too few pixels per millimetre.
    Resolution,
    /// Seen too much from the side.
    Angle,
    /// Out of focus or moved.
    Blur,
    /// Reflections hide it.
    Glare,
    /// Too dark or too bright.
    Exposure,
    /// The face could not be placed surely enough.
    Placement,
    /// The library does not hold what it would be compared with.
    Library,
    /// A program or model that is not installed.
    Tool,
    /// The examiner for this form does not exist yet.
    NotExaminedYet,
}

/// What genuine items show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Expected {
    /// Lower end, in the reading's unit.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// What the interval means and rests on: "middle 95 % of 24 genuine specimens", "catalogue, make quay".
    pub basis: String,
}

/// One named number that is weighed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Feature {
    /// Name that does not change between versions.
    pub name: Slug,
    /// Value in `unit`.
    pub value: f64,
    /// Standard uncertainty (k = 1) in `unit`.
    pub standard_uncertainty: f64,
    /// Unit symbol; `1` for a pure number.
    pub unit: String,
}

/// How well something was seen. Absent: not measured.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seeing {
    /// Pixels per millimetre on the face there.
    #[serde(default)]
    pub px_per_mm: Option<f64>,
    /// Angle between face normal and line of sight, degrees.
    #[serde(default)]
    pub angle_deg: Option<f64>,
    /// Standard deviation of the blur, pixels.
    #[serde(default)]
    pub blur_px: Option<f64>,
    /// Share of the area lost to glare, 0 to 1.
    #[serde(default)]
    pub glare: Option<f64>,
    /// Share covered or out of frame, 0 to 1.
    #[serde(default)]
    pub covered: Option<f64>,
    /// Share that could be used, 0 to 1.
    #[serde(default)]
    pub usable: Option<f64>,
}

impl Finding {
    /// A name for this finding that is unique within its case.
    #[must_use]
    pub fn key(&self) -> String {
        let face = self.place.face.as_ref().map_or("", Slug::as_str);
        let part = self.place.part.as_deref().unwrap_or("");
        format!("{}:{}:{face}:{part}:{}", self.item, self.examiner, self.quantity)
    }

    /// Whether there is something to weigh.
    #[must_use]
    pub fn is_read(&self) -> bool {
        !matches!(self.reading, Reading::CannotTell { .. })
    }
}
