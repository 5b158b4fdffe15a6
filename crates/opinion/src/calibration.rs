//! The calibration: specimens' features by group, with the models that cross-validation chose.
//!
//! In: measured specimens. Out: [`Calibration`], and [`CalibrationFile`], its saved form: the very
//! rows that it rests on, so that anybody can recount them, with the chosen models. Loading fits the
//! same numbers again.
//! Never here: an item's opinion.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use casebook::finding::Finding;
use casebook::hypothesis::State;
use casebook::names::ProductId;
use casebook::opinion::{MeasuredSpecimen, SpecimenCount};
use casebook::specimen::Origin;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::error::OpinionError;
use crate::table::{ItemRow, Row, Table, item_row, tables};
use crate::weigh::{Choice, PairModel, PairWeight, Sample, Shape, choose};

/// Version mark of a saved calibration.
pub const CALIBRATION_SCHEMA: &str = "untorn.calibration/1";

/// Seed of every resample; fixed, so that a saved opinion recomputes.
const SEED: u64 = 0x756e_746f_726e;

/// The alternatives that can have specimens.
const WITH_SPECIMENS: [State; 2] = [State::Resealed, State::Counterfeit];

/// Distributions fitted on specimens of known status.
#[derive(Debug, Default)]
pub struct Calibration {
    tables: Vec<Table>,
    /// By table and alternative; absent where a class has too few specimens.
    choices: BTreeMap<(usize, State), Choice>,
    /// Models already prepared, by table, alternative and columns in use. Only saves time: a model
    /// is the same whenever it is prepared.
    prepared: Mutex<BTreeMap<ModelKey, Option<Arc<PairModel>>>>,
}

type ModelKey = (usize, State, Vec<usize>);

impl Clone for Calibration {
    fn clone(&self) -> Self {
        Self { tables: self.tables.clone(), choices: self.choices.clone(), prepared: Mutex::default() }
    }
}

impl PartialEq for Calibration {
    fn eq(&self, other: &Self) -> bool {
        self.tables == other.tables && self.choices == other.choices
    }
}

/// A saved calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationFile {
    /// Always [`CALIBRATION_SCHEMA`].
    pub schema: String,
    /// One a group and kind of product.
    pub tables: Vec<TableFile>,
}

/// One table of a saved calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TableFile {
    /// `group@kind` or `group@kind#single`.
    pub name: String,
    /// Column names.
    pub columns: Vec<String>,
    /// Middle of the sealed specimens by `quantity/feature`, for exchangeable ends.
    pub middles: BTreeMap<String, f64>,
    /// The chosen models.
    pub choices: Vec<PairChoice>,
    /// The rows.
    pub rows: Vec<RowFile>,
}

/// The chosen model of one comparison.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PairChoice {
    /// The alternative.
    pub against: State,
    /// Whether each class has its own scales.
    pub own_scales: bool,
    /// Whether correlations are used.
    pub correlations: bool,
    /// Standard errors below which a difference counts as none.
    pub threshold: f64,
    /// Kernel densities instead of logistic regression.
    pub kernel: bool,
    /// Whether cross-validation could not tell the classes apart.
    pub silent: bool,
    /// Cross-validated cost.
    pub cllr: f64,
}

/// One row of a saved calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RowFile {
    /// The specimen.
    pub specimen: String,
    /// Its product.
    pub product: String,
    /// Its known status.
    pub state: State,
    /// Whether it exists.
    pub origin: Origin,
    /// Value and standard uncertainty a column, or nothing.
    pub cells: Vec<Option<(f64, f64)>>,
}

/// What one group's features say of an item.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupWeight {
    /// Against each alternative that has specimens of these features.
    pub pairs: Vec<(State, PairWeight)>,
    /// Whether the features lie outside every fitted class.
    pub outside: bool,
    /// Distinct specimens by state and origin behind it.
    pub counts: Vec<SpecimenCount>,
}

impl Calibration {
    /// Fits all groups of the specimens' findings.
    ///
    /// # Input
    /// Any number of measured specimens; several sittings of one specimen carry its one name and
    /// count once. Specimens of every kind of product together.
    ///
    /// # Result
    /// A calibration that may be empty: groups and alternatives without specimens weigh nothing.
    #[must_use]
    pub fn fit(specimens: &[MeasuredSpecimen]) -> Self {
        let tables = tables(specimens);
        let pairs: Vec<(usize, State)> = (0..tables.len())
            .flat_map(|at| WITH_SPECIMENS.map(|against| (at, against)))
            .filter(|(at, against)| bears_on(&tables[*at].name, *against))
            .collect();
        let chosen: Vec<Option<Choice>> =
            pairs.par_iter().map(|(at, against)| choose(&samples(&tables[*at], *against).0)).collect();
        let choices =
            pairs.into_iter().zip(chosen).filter_map(|(pair, choice)| Some((pair, choice?))).collect();
        Self { tables, choices, prepared: Mutex::default() }
    }

    /// Every specimen behind it, by state and origin.
    #[must_use]
    pub fn counts(&self) -> Vec<SpecimenCount> {
        count_rows(self.tables.iter().flat_map(|table| &table.rows))
    }

    /// The tables, for inspection.
    #[must_use]
    pub fn tables(&self) -> &[Table] {
        &self.tables
    }

    /// The cross-validated cost of each table and alternative that weighs.
    pub fn costs(&self) -> impl Iterator<Item = (&str, State, f64)> {
        self.choices
            .iter()
            .map(|((at, against), choice)| (self.tables[*at].name.as_str(), *against, choice.cllr))
    }

    /// What one dependence group's findings weigh, `None` when the library has no such features for
    /// this kind of product or nothing was read.
    ///
    /// # Input
    /// `findings`: those of one group, of one item of `product`.
    #[must_use]
    pub fn weigh(&self, product: &ProductId, group: &str, findings: &[&Finding]) -> Option<GroupWeight> {
        let ItemRow { table, cells } = item_row(&self.tables, group, product.as_str(), findings)?;
        let at = self.tables.iter().position(|other| other.name == table.name)?;
        let mut pairs = Vec::new();
        let used: Vec<usize> = (0..cells.len()).filter(|c| cells[*c].is_some()).collect();
        let own = products(table).iter().position(|p| p == product.as_str());
        for against in WITH_SPECIMENS {
            if let Some(model) = self.model(at, against, &used) {
                pairs.push((against, model.weigh(&cells, own)));
            }
        }
        if pairs.is_empty() {
            return None;
        }
        let outside = pairs.iter().all(|(_, pair)| pair.outside);
        let counts = count_rows(table.rows.iter());
        Some(GroupWeight { pairs, outside, counts })
    }

    /// The findings of a group, those first that are furthest from what sealed specimens show.
    /// Findings without weighed features come last, in their own order.
    #[must_use]
    pub fn oddest_first<'f>(
        &self,
        product: &ProductId,
        group: &str,
        findings: &[&'f Finding],
    ) -> Vec<&'f Finding> {
        let table = item_row(&self.tables, group, product.as_str(), findings).map(|row| row.table);
        let mut ranked: Vec<(f64, &'f Finding)> =
            findings.iter().map(|f| (table.map_or(-1.0, |t| t.oddness(f)), *f)).collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        ranked.into_iter().map(|(_, finding)| finding).collect()
    }

    /// The model of one comparison over some columns, prepared once.
    fn model(&self, at: usize, against: State, used: &[usize]) -> Option<Arc<PairModel>> {
        let choice = self.choices.get(&(at, against))?;
        let key = (at, against, used.to_vec());
        let known = self.prepared.lock().unwrap_or_else(PoisonError::into_inner).get(&key).cloned();
        if let Some(model) = known {
            return model;
        }
        let (samples, names) = samples(&self.tables[at], against);
        let model = PairModel::prepare(&samples, &names, used, choice, SEED).map(Arc::new);
        self.prepared.lock().unwrap_or_else(PoisonError::into_inner).insert(key, model.clone());
        model
    }

    /// The form that is saved.
    #[must_use]
    pub fn to_file(&self) -> CalibrationFile {
        let tables = self
            .tables
            .iter()
            .enumerate()
            .map(|(at, table)| TableFile {
                name: table.name.clone(),
                columns: table.columns.clone(),
                middles: table.middles.clone(),
                choices: WITH_SPECIMENS
                    .into_iter()
                    .filter_map(|against| {
                        self.choices.get(&(at, against)).map(|choice| PairChoice {
                            against,
                            own_scales: choice.shape.own_scales,
                            correlations: choice.shape.correlations,
                            threshold: choice.shape.threshold,
                            kernel: choice.kernel,
                            silent: choice.silent,
                            cllr: choice.cllr,
                        })
                    })
                    .collect(),
                rows: table.rows.iter().map(row_to_file).collect(),
            })
            .collect();
        CalibrationFile { schema: CALIBRATION_SCHEMA.to_owned(), tables }
    }

    /// Reads the saved form.
    ///
    /// # Errors
    /// [`OpinionError`] when the schema is another or a row does not fit its table.
    pub fn from_file(file: CalibrationFile) -> Result<Self, OpinionError> {
        if file.schema != CALIBRATION_SCHEMA {
            return Err(OpinionError::Schema { found: file.schema, expected: CALIBRATION_SCHEMA });
        }
        let mut tables = Vec::new();
        let mut choices = BTreeMap::new();
        for (at, table) in file.tables.into_iter().enumerate() {
            let columns = table.columns.len();
            let mut rows = Vec::new();
            for row in table.rows {
                let fault = if row.cells.len() != columns {
                    Some("another number of cells than the table has columns")
                } else if row
                    .cells
                    .iter()
                    .flatten()
                    .any(|c| !c.0.is_finite() || !c.1.is_finite() || c.1 < 0.0)
                {
                    Some("a cell that is no number, or a negative uncertainty")
                } else {
                    None
                };
                if let Some(fault) = fault {
                    return Err(OpinionError::Row { table: table.name, specimen: row.specimen, fault });
                }
                rows.push(Row {
                    specimen: row.specimen,
                    product: row.product,
                    state: row.state,
                    origin: row.origin,
                    cells: row.cells,
                });
            }
            for choice in table.choices {
                let shape = Shape {
                    own_scales: choice.own_scales,
                    correlations: choice.correlations,
                    threshold: choice.threshold,
                };
                choices.insert(
                    (at, choice.against),
                    Choice { shape, kernel: choice.kernel, silent: choice.silent, cllr: choice.cllr },
                );
            }
            tables.push(Table { name: table.name, columns: table.columns, rows, middles: table.middles });
        }
        Ok(Self { tables, choices, prepared: Mutex::default() })
    }
}

fn row_to_file(row: &Row) -> RowFile {
    RowFile {
        specimen: row.specimen.clone(),
        product: row.product.clone(),
        state: row.state,
        origin: row.origin,
        cells: row.cells.clone(),
    }
}

/// The products of a table, sorted.
fn products(table: &Table) -> Vec<String> {
    let mut products: Vec<String> = table.rows.iter().map(|row| row.product.clone()).collect();
    products.sort();
    products.dedup();
    products
}

/// Whether what a group reads can differ between sealed items and an alternative at all. Re-closing
/// an end leaves the print of the faces as it was, so print that differs between sealed and re-closed
/// specimens shows how the specimens were picked (their wear, their cameras) and nothing else.
pub(crate) fn bears_on(group: &str, against: State) -> bool {
    !(group.starts_with("print-") && against == State::Resealed)
}

/// The rows of sealed and of one alternative, with the specimens' names behind the indices.
fn samples(table: &Table, against: State) -> (Vec<Sample>, Vec<String>) {
    let mut names: Vec<String> = table.rows.iter().map(|row| row.specimen.clone()).collect();
    names.sort();
    names.dedup();
    let products = products(table);
    let index = |all: &[String], one: &String| all.binary_search(one).unwrap_or(0);
    let samples = table
        .rows
        .iter()
        .filter(|row| row.state == State::Sealed || row.state == against)
        .map(|row| Sample {
            specimen: index(&names, &row.specimen),
            product: index(&products, &row.product),
            class: usize::from(row.state != State::Sealed),
            cells: row.cells.clone(),
        })
        .collect();
    (samples, names)
}

fn count_rows<'a>(rows: impl Iterator<Item = &'a Row>) -> Vec<SpecimenCount> {
    let mut seen: BTreeMap<(State, Origin), Vec<&str>> = BTreeMap::new();
    for row in rows {
        seen.entry((row.state, row.origin)).or_default().push(&row.specimen);
    }
    seen.into_iter()
        .map(|((state, origin), mut names)| {
            names.sort_unstable();
            names.dedup();
            SpecimenCount { state, origin, count: u32::try_from(names.len()).unwrap_or(u32::MAX) }
        })
        .collect()
}
