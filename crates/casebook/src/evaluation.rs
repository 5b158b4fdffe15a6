//! The result of `untorn evaluate`: what was said of items whose truth is known, and figures of merit.
//!
//! In: what `opinion::evaluate` computed. Out: JSON with a schema. The weights in it are those before
//! the wording is capped. Never here: how a figure is computed.
//!
//! Sources: `brummer2006` (cost), `enfsi2015` (steps), `clopper1934` (intervals).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hypothesis::State;
use crate::names::{ProductId, Slug};
use crate::opinion::{Action, SpecimenCount, Stance, VerbalStep};

/// Version mark of an evaluation.
pub const EVALUATION_SCHEMA: &str = "untorn.evaluation/1";

/// A labelled set, evaluated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EvaluationFile {
    /// Always [`EVALUATION_SCHEMA`].
    pub schema: String,
    /// Name and version of the program.
    pub program: String,
    /// What was evaluated, as the user named it.
    pub set: String,
    /// What the weights rest on.
    pub calibration: Vec<SpecimenCount>,
    /// Sealed against each alternative, and against all that is not sealed.
    pub comparisons: Vec<Comparison>,
    /// The same over parts of the set.
    pub slices: Vec<Slice>,
    /// What was decided, by truth.
    pub decisions: Decisions,
    /// Every item, so that all of it can be counted again.
    pub items: Vec<EvaluatedItem>,
    /// Items of the truth file about which no opinion was found.
    #[serde(default)]
    pub missing: Vec<String>,
}

/// How well weights tell sealed items from others, and whether they mean what they say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Comparison {
    /// The alternative; absent: everything that is not sealed, by the weight against the mix.
    #[serde(default)]
    pub against: Option<State>,
    /// Sealed items.
    pub sealed: u64,
    /// Items of the alternative.
    pub others: u64,
    /// Cost of the log likelihood ratio: 0 for certain truth, 1 for silence. Absent when a side is empty,
    /// as all figures below.
    #[serde(default)]
    pub cllr: Option<f64>,
    /// The same after the best monotone calibration of these very weights.
    #[serde(default)]
    pub min_cllr: Option<f64>,
    /// Area under the ROC curve.
    #[serde(default)]
    pub auc: Option<f64>,
    /// Equal error rate on the convex hull.
    #[serde(default)]
    pub equal_error_rate: Option<f64>,
    /// Misleading support at each verbal step or above.
    #[serde(default)]
    pub steps: Vec<StepRate>,
    /// Stated weight and the weight that pool adjacent violators gives the same items, bans, by stated
    /// weight. Infinite ones are held at the logarithm of the number of items and one.
    #[serde(default)]
    pub reliability: Vec<[f64; 2]>,
}

/// Misleading support at one step or above.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StepRate {
    /// The step.
    pub step: VerbalStep,
    /// Items of the alternative that have this support for sealed.
    pub false_sealed: Share,
    /// Sealed items that have this support against sealed.
    pub false_not_sealed: Share,
}

/// A counted share with its exact 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Share {
    /// How many.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// Lower end, 0 to 1.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A comparison over a part of the set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Slice {
    /// What the set was parted by: `severity`, `light`, …
    pub by: String,
    /// The part: `0.2 to 0.4`.
    pub part: String,
    /// Its figures.
    pub comparison: Comparison,
}

/// What was decided.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Decisions {
    /// Buy decisions with a deciding view unread; must be 0.
    pub bought_unread: u64,
    /// Items with a hidden view that ended as cannot tell with a request.
    pub hidden_asked: u64,
    /// Items with a hidden view.
    pub hidden: u64,
    /// Items that are not sealed and would be bought.
    pub bought_not_sealed: u64,
    /// Sealed items with all views shown that are passed over.
    pub passed_sealed: u64,
}

/// What was said of one item, beside its truth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EvaluatedItem {
    /// The case.
    pub case: Slug,
    /// The item.
    pub item: Slug,
    /// What it is.
    pub state: State,
    /// What it is or pretends to be.
    pub product: ProductId,
    /// How far the worst tampering or fault goes, 0 to 1.
    pub severity: f64,
    /// Honest wear, 0 to 1.
    pub wear: f64,
    /// How ends were closed again.
    #[serde(default)]
    pub closed_by: Vec<String>,
    /// Deciding views that no photo shows legibly.
    #[serde(default)]
    pub hidden: Vec<String>,
    /// Lights of its photos.
    #[serde(default)]
    pub lights: Vec<String>,
    /// Fewest pixels per millimetre at which a deciding view was read.
    #[serde(default)]
    pub px_per_mm: Option<f64>,
    /// Steepest angle at which a deciding view was read, degrees.
    #[serde(default)]
    pub angle_deg: Option<f64>,
    /// Deciding views that were not read.
    #[serde(default)]
    pub unread: Vec<String>,
    /// Where the opinion stands.
    pub stance: Stance,
    /// What was decided about it.
    pub action: Action,
    /// Weight for sealed against the mix, bans, before the wording is capped.
    pub weight: f64,
    /// Weight against each alternative, bans.
    pub against: Vec<AgainstBans>,
}

/// A weight against one alternative.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AgainstBans {
    /// The alternative.
    pub state: State,
    /// Bans.
    pub bans: f64,
}

impl EvaluatedItem {
    /// The weight against one alternative, 0 when none is stated.
    #[must_use]
    pub fn against(&self, state: State) -> f64 {
        self.against.iter().find(|a| a.state == state).map_or(0.0, |a| a.bans)
    }
}
