//! A calibration as a versioned table: the sittings of specimens that it rests on, feature by feature,
//! and the forms that were chosen for the distributions.
//!
//! In: what `untorn calibrate` computed from feature tables. Out: JSON with a schema. Anybody can count
//! and fit it again: the same tables give the same file. Never here: a photo, a fitted number (those
//! follow from the rows, to the same bits).

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hypothesis::State;
use crate::names::{ProductId, Slug};
use crate::opinion::SpecimenCount;
use crate::specimen::Origin;

/// Version mark of a calibration.
pub const CALIBRATION_SCHEMA: &str = "untorn.calibration/3";

/// A calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationFile {
    /// Always [`CALIBRATION_SCHEMA`].
    pub schema: String,
    /// Name and version of the program.
    pub program: String,
    /// Tables whose sittings are fitted.
    pub fitted_on: Vec<TableOrigin>,
    /// Tables on which forms were chosen besides; they share no specimen with the fitted ones.
    pub chosen_on: Vec<TableOrigin>,
    /// Distinct specimens by state and origin.
    pub counts: Vec<SpecimenCount>,
    /// The chosen forms.
    pub forms: Vec<Form>,
    /// The rows.
    pub sittings: Vec<Sitting>,
}

/// A table that a calibration was made from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TableOrigin {
    /// Its file name.
    pub name: String,
    /// BLAKE3 of its bytes.
    pub hash: String,
    /// Sittings in it.
    pub sittings: u64,
}

/// The form chosen for one comparison of one group of features.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Form {
    /// `group@kind`, or `group@kind#single` for one end seal alone.
    pub table: String,
    /// The alternative that sealed stands against.
    pub against: State,
    /// Whether each class has scales of its own.
    pub own_scales: bool,
    /// Whether correlations between the features of the group are used.
    pub correlations: bool,
    /// Standard errors below which a difference counts as none.
    pub threshold: f64,
    /// Normal tails instead of Student's.
    pub normal: bool,
    /// How scores become likelihood ratios.
    pub way: Way,
    /// Whether the classes could not be told apart surely enough: the comparison then weighs nothing.
    pub silent: bool,
    /// Whether the two ends are weighed one by one and mixed over which of them was opened, instead of
    /// this table's own densities.
    #[serde(default)]
    pub either_end: bool,
    /// Cost of the log likelihood ratio by which it was chosen.
    pub cllr: f64,
}

/// Ways from a score to a likelihood ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// Logistic regression.
    Logistic,
    /// Kernel densities.
    Kernel,
    /// Pool adjacent violators.
    Steps,
}

/// What one sitting of one specimen shows of one group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sitting {
    /// The specimen.
    pub specimen: Slug,
    /// The sitting.
    pub sitting: Slug,
    /// What it is or pretends to be.
    pub product: ProductId,
    /// Its known status.
    pub state: State,
    /// Rendered or physical.
    pub origin: Origin,
    /// Of a re-closed pack: whether its top and its bottom were opened, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opened_ends: Option<[bool; 2]>,
    /// The dependence group.
    pub group: Slug,
    /// Value and standard uncertainty by `quantity/place/feature`.
    #[serde(default)]
    pub features: BTreeMap<String, [f64; 2]>,
    /// The same of the end seals by `quantity/feature`: top and bottom.
    #[serde(default)]
    pub ends: BTreeMap<String, [Option<[f64; 2]>; 2]>,
}

impl CalibrationFile {
    /// What is wrong beyond the shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        let bad = |cell: &[f64; 2]| !cell[0].is_finite() || !cell[1].is_finite() || cell[1] < 0.0;
        for one in &self.sittings {
            let broken = one.features.values().any(bad) || one.ends.values().flatten().flatten().any(bad);
            if broken {
                faults.push(format!(
                    "specimen \"{}\", group \"{}\": a value is no number or an uncertainty is negative",
                    one.specimen, one.group
                ));
            }
        }
        for form in &self.forms {
            if !(form.threshold.is_finite() && form.threshold >= 0.0 && form.cllr.is_finite()) {
                faults.push(format!("form of \"{}\": threshold and cost must be numbers", form.table));
            }
        }
        faults
    }
}
