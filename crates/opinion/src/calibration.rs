//! The calibration: specimens' features by group, with the models that cross-validation chose.
//!
//! In: measured specimens, and a shipped table to start from where there is one. Out: [`Calibration`],
//! and `casebook::calibration::CalibrationFile`, its saved form: the very rows that it rests on, so that
//! anybody can recount them, with the chosen forms. Loading fits the same numbers again.
//!
//! A library that starts from a shipped table adds its own specimens to it. The shipped form stands
//! until each class has [`MIN_FOR_OWN_FORM`] specimens of the library's own in a comparison, then the
//! library chooses on these. How far its lines and products lie from the shipped ones is fitted all
//! along (`weigh::density`). Where it has enough of every kind to stand alone, the shipped rows are left out
//! ([`Calibration::starting_where_lacking`]).
//! Never here: an item's opinion.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use casebook::calibration::{CALIBRATION_SCHEMA, CalibrationFile, Form, Sitting, TableOrigin};
use casebook::finding::Finding;
use casebook::hypothesis::State;
use casebook::names::{ProductId, Slug};
use casebook::opinion::{MeasuredSpecimen, SpecimenCount};
use casebook::specimen::Origin;
use rayon::prelude::*;

use crate::either_end::OpenedShares;
use crate::error::OpinionError;
use crate::table::{
    Cell, ItemRow, Raw, Row, Source, Sources, Table, end_cells, group_and_kind, item_row, kind_of, line_of,
    row_of, rows_in, single_name, sources, tables,
};
use crate::weigh::{
    BothEnds, Choice, Kin, MIN_FOR_OWN_FORM, MIN_SPECIMENS, PairModel, PairWeight, RESAMPLES, Sample, Shape,
    choose, choose_either_end,
};

/// Seed of every resample; fixed, so that a saved opinion recomputes.
const SEED: u64 = 0x756e_746f_726e;

/// The alternatives that can have specimens.
const WITH_SPECIMENS: [State; 2] = [State::Resealed, State::Counterfeit];

/// Distributions fitted on specimens of known status.
#[derive(Debug, Default)]
pub struct Calibration {
    sources: Sources,
    tables: Vec<Table>,
    /// By table and alternative; absent where a class has too few specimens.
    choices: BTreeMap<(usize, State), Choice>,
    /// By table: which ends of its re-closed specimens were opened, where enough of them tell.
    shares: Vec<Option<OpenedShares>>,
    /// Models already prepared, by table, alternative and columns in use. Only saves time: a model
    /// is the same whenever it is prepared.
    prepared: Mutex<BTreeMap<ModelKey, Option<Arc<PairModel>>>>,
    /// The same without resamples, for simulated answers.
    outlined: Mutex<BTreeMap<ModelKey, Option<Arc<PairModel>>>>,
}

type ModelKey = (usize, State, Vec<usize>);

impl Clone for Calibration {
    fn clone(&self) -> Self {
        Self {
            sources: self.sources.clone(),
            tables: self.tables.clone(),
            choices: self.choices.clone(),
            shares: self.shares.clone(),
            prepared: Mutex::default(),
            outlined: Mutex::default(),
        }
    }
}

impl PartialEq for Calibration {
    fn eq(&self, other: &Self) -> bool {
        self.tables == other.tables && self.choices == other.choices
    }
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
        Self::fit_choosing_on(specimens, &[])
    }

    /// [`Calibration::fit`] with forms chosen on other sets besides: each form is judged by the mean of
    /// its cross-validated cost and of its cost on every set that is held out.
    ///
    /// # Input
    /// `held_out`: sets that share no specimen with the fitted ones.
    #[must_use]
    pub fn fit_choosing_on(specimens: &[MeasuredSpecimen], held_out: &[Vec<MeasuredSpecimen>]) -> Self {
        let sources = sources(specimens);
        let tables = tables(&sources);
        let held: Vec<Sources> = held_out.iter().map(|set| crate::table::sources(set)).collect();
        let shares = shares(&tables, &sources);
        let choices = choose_all(&tables, |table, against| {
            let known = shares_of(&sources, table).is_some();
            let sets: Vec<Vec<Sample>> = held
                .iter()
                .map(|set| samples(table, &rows_in(table, group_in(set, table), known), against).0)
                .collect();
            choose(&samples(table, &table.rows, against).0, &sets)
        });
        let mut out = Self { sources, tables, choices, shares, ..Self::default() };
        out.prefer_either_end(&held);
        out
    }

    /// Starts from a shipped table and adds a library's own specimens.
    ///
    /// # Errors
    /// [`OpinionError::NameTwice`] when one of them has the name of a shipped one: two items under one
    /// name would count as one.
    pub fn starting_from(start: &CalibrationFile, own: &[MeasuredSpecimen]) -> Result<Self, OpinionError> {
        for specimen in own {
            if start.sittings.iter().any(|s| s.specimen == specimen.specimen) {
                return Err(OpinionError::NameTwice { specimen: specimen.specimen.to_string() });
            }
        }
        let mut all = sources_of(start);
        for (key, more) in sources(own) {
            let group = all.entry(key).or_default();
            group.extend(more);
            group.sort_by(|a, b| (&a.specimen, &a.sitting).cmp(&(&b.specimen, &b.sitting)));
        }
        let tables = tables(&all);
        let is_own = |row: &Row| own.iter().any(|s| s.specimen.as_str() == row.specimen);
        let shipped = forms_of(start);
        let choices = choose_all(&tables, |table, against| {
            let own: Vec<Row> = table.rows.iter().filter(|row| is_own(row)).cloned().collect();
            let own = samples(table, &own, against).0;
            let enough = crate::weigh::count(&own).iter().all(|n| *n >= MIN_FOR_OWN_FORM);
            match shipped.get(&(table.name.clone(), against)) {
                Some(form) if !enough => Some(*form),
                Some(_) => choose(&own, &[]),
                None => choose(&samples(table, &table.rows, against).0, &[]),
            }
        });
        let shares = shares(&tables, &all);
        Ok(Self { sources: all, tables, choices, shares, ..Self::default() })
    }

    /// The same, but a dependence group of a kind of product of which the library has specimens enough
    /// speaks from these alone: at least [`MIN_SPECIMENS`] sealed ones, and as many of every other status
    /// that the shipped table could judge. Its own line and cameras say more of its next item than a
    /// hundred packs of other lines do.
    ///
    /// # Errors
    /// As [`Calibration::starting_from`].
    pub fn starting_where_lacking(
        start: &CalibrationFile,
        own: &[MeasuredSpecimen],
    ) -> Result<Self, OpinionError> {
        let shipped = sources_of(start);
        let enough: Vec<(String, String)> = sources(own)
            .iter()
            .filter(|(key, own)| suffices(own, shipped.get(*key).map_or(&[], Vec::as_slice)))
            .map(|(key, _)| key.clone())
            .collect();
        let lacking = |group: &str, product: &str| {
            !enough.iter().any(|(g, kind)| g == group && kind == kind_of(product))
        };
        let mut start = start.clone();
        start.sittings.retain(|one| lacking(one.group.as_str(), one.product.as_str()));
        start.forms.retain(|form| !enough.contains(&group_and_kind(&form.table)));
        Self::starting_from(&start, own)
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
        let raw = Raw::of(findings.iter().copied());
        let ItemRow { table, at, cells } = row_of(&self.tables, group, product.as_str(), &raw)?;
        let mut pairs = Vec::new();
        let used = read(&cells);
        let kin = kin(table, product);
        for against in WITH_SPECIMENS {
            if let Some(mix) = self.mixing(at, against, &raw) {
                let ends: Vec<PairWeight> = mix
                    .ends
                    .iter()
                    .filter_map(|cells| Some(self.model(mix.table, against, &read(cells))?.weigh(cells, kin)))
                    .collect();
                if ends.len() == mix.ends.len() {
                    let all: Vec<&PairWeight> = ends.iter().collect();
                    pairs.push((against, PairWeight::mixed(&all, |ratios| mix.of(ratios))));
                }
            } else if let Some(model) = self.model(at, against, &used) {
                pairs.push((against, model.weigh(&cells, kin)));
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

    /// The groups that specimens of this kind of product show.
    pub(crate) fn groups(&self, product: &ProductId) -> impl Iterator<Item = &str> {
        let kind = kind_of(product.as_str()).to_owned();
        self.sources.keys().filter(move |key| key.1 == kind).map(|key| key.0.as_str())
    }

    /// The sittings of specimens of this kind of product that show a group.
    pub(crate) fn sittings(&self, product: &ProductId, group: &str) -> &[Source] {
        let key = (group.to_owned(), kind_of(product.as_str()).to_owned());
        self.sources.get(&key).map_or(&[], Vec::as_slice)
    }

    /// Bounded weights that a group with these features would have, in the order of
    /// `State::ALTERNATIVES`; without intervals, which makes it fast enough to try many. Nothing read, or
    /// outside every class: nothing weighed.
    pub(crate) fn outline(&self, product: &ProductId, group: &str, raw: &Raw) -> [f64; 3] {
        let mut out = [0.0; 3];
        let Some(ItemRow { table, at, cells }) = row_of(&self.tables, group, product.as_str(), raw) else {
            return out;
        };
        let used = read(&cells);
        let kin = kin(table, product);
        for (weight, against) in out.iter_mut().zip(State::ALTERNATIVES) {
            if let Some(mix) = self.mixing(at, against, raw) {
                let ends: Vec<f64> = mix
                    .ends
                    .iter()
                    .filter_map(|cells| {
                        let model = self.prepare(&self.outlined, mix.table, against, &read(cells), 0)?;
                        Some(model.value(cells, kin))
                    })
                    .collect();
                if ends.len() == mix.ends.len() {
                    *weight = mix.of(&ends);
                }
            } else if let Some(model) = self.prepare(&self.outlined, at, against, &used, 0) {
                *weight = model.value(&cells, kin);
            }
        }
        out
    }

    /// How a comparison is mixed over which end was opened; `None` where the table's own densities speak.
    fn mixing(&self, at: usize, against: State, raw: &Raw) -> Option<Mixing> {
        let shares = self.shares[at]?;
        let choice = self.choices.get(&(at, against))?;
        if against != State::Resealed {
            return None;
        }
        let read: Vec<usize> = (0..2).filter(|end| raw.has_end(*end)).collect();
        let table = match read.len() {
            1 => at,
            2 if choice.either_end => self.single_of(at)?,
            _ => return None,
        };
        let ends = read.into_iter().map(|end| end_cells(&self.tables[table], raw, end)).collect();
        Some(Mixing { shares, table, ends })
    }

    /// The table of single ends that goes with one of both.
    fn single_of(&self, at: usize) -> Option<usize> {
        let name = single_name(&self.tables[at].name);
        self.tables.iter().position(|table| table.name == name)
    }

    /// Takes the mix over ends for every comparison that it serves better than the densities of both ends.
    fn prefer_either_end(&mut self, held: &[Sources]) {
        for at in 0..self.tables.len() {
            let key = (at, State::Resealed);
            let (Some(shares), Some(single)) = (self.shares[at], self.single_of(at)) else { continue };
            let Some(form) = self.choices.get(&(single, State::Resealed)) else { continue };
            let table = &self.tables[single];
            let (rows, names) = samples(table, &table.rows, State::Resealed);
            let packs = both_ends(table, group_in(&self.sources, table), &names);
            let sets: Vec<Vec<BothEnds>> =
                held.iter().map(|set| both_ends(table, group_in(set, table), &[])).collect();
            let Some(mixed) = choose_either_end(&rows, form, shares, &packs, &sets) else { continue };
            let better = |known: &Choice| {
                (known.silent && !mixed.silent) || (known.silent == mixed.silent && mixed.cllr < known.cllr)
            };
            if self.choices.get(&key).is_none_or(better) {
                self.choices.insert(key, mixed);
            }
        }
    }

    /// The model of one comparison over some columns, prepared once.
    fn model(&self, at: usize, against: State, used: &[usize]) -> Option<Arc<PairModel>> {
        self.prepare(&self.prepared, at, against, used, RESAMPLES)
    }

    fn prepare(
        &self,
        known: &Mutex<BTreeMap<ModelKey, Option<Arc<PairModel>>>>,
        at: usize,
        against: State,
        used: &[usize],
        resamples: usize,
    ) -> Option<Arc<PairModel>> {
        let choice = self.choices.get(&(at, against))?;
        let key = (at, against, used.to_vec());
        let found = known.lock().unwrap_or_else(PoisonError::into_inner).get(&key).cloned();
        if let Some(model) = found {
            return model;
        }
        let table = &self.tables[at];
        let (samples, names) = samples(table, &table.rows, against);
        let model = PairModel::prepare(&samples, &names, used, choice, SEED, resamples).map(Arc::new);
        known.lock().unwrap_or_else(PoisonError::into_inner).insert(key, model.clone());
        model
    }

    /// The form that is saved. `program`: name and version; `fitted_on` and `chosen_on`: where the
    /// sittings come from.
    #[must_use]
    pub fn to_file(
        &self,
        program: &str,
        fitted_on: Vec<TableOrigin>,
        chosen_on: Vec<TableOrigin>,
    ) -> CalibrationFile {
        let pair = |cell: &(f64, f64)| [cell.0, cell.1];
        let mut sittings = Vec::new();
        for ((group, _), sources) in &self.sources {
            let Ok(group) = group.parse::<Slug>() else { continue };
            sittings.extend(sources.iter().map(|s| {
                Sitting {
                    specimen: s.specimen.clone(),
                    sitting: s.sitting.clone(),
                    product: s.product.clone(),
                    state: s.state,
                    origin: s.origin,
                    opened_ends: s.opened,
                    group: group.clone(),
                    features: s.raw.plain.iter().map(|(name, cell)| (name.clone(), pair(cell))).collect(),
                    ends: s
                        .raw
                        .ends
                        .iter()
                        .map(|(name, cells)| (name.clone(), cells.map(|cell| cell.as_ref().map(pair))))
                        .collect(),
                }
            }));
        }
        let forms = self
            .choices
            .iter()
            .map(|((at, against), choice)| Form {
                table: self.tables[*at].name.clone(),
                against: *against,
                own_scales: choice.shape.own_scales,
                correlations: choice.shape.correlations,
                threshold: choice.shape.threshold,
                normal: choice.shape.normal,
                way: choice.way,
                silent: choice.silent,
                either_end: choice.either_end,
                cllr: choice.cllr,
            })
            .collect();
        CalibrationFile {
            schema: CALIBRATION_SCHEMA.to_owned(),
            program: program.to_owned(),
            fitted_on,
            chosen_on,
            counts: self.counts(),
            forms,
            sittings,
        }
    }

    /// Reads the saved form; the numbers are fitted again, to the same bits.
    #[must_use]
    pub fn from_file(file: &CalibrationFile) -> Self {
        let sources = sources_of(file);
        let tables = tables(&sources);
        let shipped = forms_of(file);
        let choices =
            choose_all(&tables, |table, against| shipped.get(&(table.name.clone(), against)).copied());
        let shares = shares(&tables, &sources);
        Self { sources, tables, choices, shares, ..Self::default() }
    }
}

/// A comparison that is mixed over which end was opened.
struct Mixing {
    shares: OpenedShares,
    /// Index of the table of single ends.
    table: usize,
    /// Cells of the ends that were read.
    ends: Vec<Vec<Option<Cell>>>,
}

impl Mixing {
    /// The pack's log10 ratio from those of its ends.
    fn of(&self, ratios: &[f64]) -> f64 {
        match *ratios {
            [top, bottom] => self.shares.of_both([top, bottom]),
            [only] => self.shares.of_single(only),
            _ => 0.0,
        }
    }
}

/// The columns that were read.
fn read(cells: &[Option<Cell>]) -> Vec<usize> {
    (0..cells.len()).filter(|c| cells[*c].is_some()).collect()
}

/// The sittings of a table's group and kind.
fn group_in<'a>(sources: &'a Sources, table: &Table) -> &'a [Source] {
    sources.get(&group_and_kind(&table.name)).map_or(&[], Vec::as_slice)
}

/// Which ends of a table's re-closed specimens were opened.
fn shares_of(sources: &Sources, table: &Table) -> Option<OpenedShares> {
    OpenedShares::of(group_in(sources, table))
}

fn shares(tables: &[Table], sources: &Sources) -> Vec<Option<OpenedShares>> {
    tables.iter().map(|table| shares_of(sources, table)).collect()
}

/// Sealed and re-closed packs of which both ends were read, over a table of single ends. `names`: of the
/// specimens behind the table's rows; others are numbered beyond these.
fn both_ends(table: &Table, sources: &[Source], names: &[String]) -> Vec<BothEnds> {
    let mut others: Vec<&str> = sources.iter().map(|s| s.specimen.as_str()).collect();
    others.sort_unstable();
    others.dedup();
    let beyond = |name: &str| names.len() + others.partition_point(|other| *other < name);
    sources
        .iter()
        .filter(|s| s.raw.has_end(0) && s.raw.has_end(1))
        .filter(|s| s.state == State::Sealed || s.state == State::Resealed)
        .map(|s| {
            let name = s.specimen.as_str();
            BothEnds {
                specimen: names
                    .binary_search_by(|known| known.as_str().cmp(name))
                    .unwrap_or_else(|_| beyond(name)),
                class: usize::from(s.state != State::Sealed),
                kin: kin(table, &s.product),
                ends: [0, 1].map(|end| end_cells(table, &s.raw, end)),
            }
        })
        .collect()
}

/// A choice for every table and alternative that it bears on.
fn choose_all(
    tables: &[Table],
    choose: impl Fn(&Table, State) -> Option<Choice> + Sync,
) -> BTreeMap<(usize, State), Choice> {
    let pairs: Vec<(usize, State)> = (0..tables.len())
        .flat_map(|at| WITH_SPECIMENS.map(|against| (at, against)))
        .filter(|(at, against)| bears_on(&tables[*at].name, *against))
        .collect();
    let chosen: Vec<Option<Choice>> =
        pairs.par_iter().map(|(at, against)| choose(&tables[*at], *against)).collect();
    pairs.into_iter().zip(chosen).filter_map(|(pair, choice)| Some((pair, choice?))).collect()
}

/// Whether a library's own sittings of a group can stand alone beside the shipped ones.
fn suffices(own: &[Source], shipped: &[Source]) -> bool {
    let specimens = |sources: &[Source], state: State| {
        let named: BTreeSet<&Slug> =
            sources.iter().filter(|s| s.state == state).map(|s| &s.specimen).collect();
        named.len()
    };
    let alternatives: Vec<State> = WITH_SPECIMENS
        .into_iter()
        .filter(|state| specimens(own, *state).max(specimens(shipped, *state)) >= MIN_SPECIMENS)
        .collect();
    let needed = alternatives.iter().chain([&State::Sealed]);
    !alternatives.is_empty() && needed.into_iter().all(|state| specimens(own, *state) >= MIN_SPECIMENS)
}

/// The sittings of a saved calibration by group and kind of product.
fn sources_of(file: &CalibrationFile) -> Sources {
    let mut out: Sources = BTreeMap::new();
    for one in &file.sittings {
        let raw = Raw {
            plain: one.features.iter().map(|(name, [v, u])| (name.clone(), (*v, *u))).collect(),
            ends: one
                .ends
                .iter()
                .map(|(name, cells)| (name.clone(), cells.map(|cell| cell.map(|[v, u]| (v, u)))))
                .collect(),
        };
        let key = (one.group.to_string(), kind_of(one.product.as_str()).to_owned());
        out.entry(key).or_default().push(Source {
            specimen: one.specimen.clone(),
            sitting: one.sitting.clone(),
            product: one.product.clone(),
            state: one.state,
            origin: one.origin,
            opened: one.opened_ends,
            raw,
        });
    }
    for sources in out.values_mut() {
        sources.sort_by(|a, b| (&a.specimen, &a.sitting).cmp(&(&b.specimen, &b.sitting)));
    }
    out
}

fn forms_of(file: &CalibrationFile) -> BTreeMap<(String, State), Choice> {
    file.forms
        .iter()
        .map(|form| {
            let shape = Shape {
                own_scales: form.own_scales,
                correlations: form.correlations,
                threshold: form.threshold,
                normal: form.normal,
            };
            let choice = Choice {
                shape,
                way: form.way,
                silent: form.silent,
                either_end: form.either_end,
                cllr: form.cllr,
            };
            ((form.table.clone(), form.against), choice)
        })
        .collect()
}

/// Where a product stands among those of a table.
fn kin(table: &Table, product: &ProductId) -> Kin {
    let index = |all: &[String], one: &str| all.binary_search_by(|known| known.as_str().cmp(one)).ok();
    Kin {
        line: index(&table.lines, line_of(product.as_str())),
        product: index(&table.products, product.as_str()),
    }
}

/// Whether what a group reads can differ between sealed items and an alternative at all. Re-closing
/// an end leaves the print of the faces as it was, so print that differs between sealed and re-closed
/// specimens shows how the specimens were picked (their wear, their cameras) and nothing else.
pub(crate) fn bears_on(group: &str, against: State) -> bool {
    !(group.starts_with("print-") && against == State::Resealed)
}

/// Those of some rows that are sealed or of one alternative, with the names behind the indices of
/// specimens. Lines and products are counted among those of `fitted`; one that is not among them has an
/// index beyond all.
fn samples(fitted: &Table, rows: &[Row], against: State) -> (Vec<Sample>, Vec<String>) {
    let mut names: Vec<String> = rows.iter().map(|row| row.specimen.clone()).collect();
    names.sort();
    names.dedup();
    let index = |all: &[String], one: &str| {
        all.binary_search_by(|known| known.as_str().cmp(one)).unwrap_or(usize::MAX - 1)
    };
    let samples = rows
        .iter()
        .filter(|row| row.state == State::Sealed || row.state == against)
        .map(|row| Sample {
            specimen: index(&names, &row.specimen),
            line: index(&fitted.lines, line_of(&row.product)),
            product: index(&fitted.products, &row.product),
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
