//! Findings become rows of numbers: one table for each dependence group and kind of product.
//!
//! A row holds the features of one sitting of one specimen, or of the item in question. Features are
//! named `quantity/place/feature`; one that could not be read is absent, and an absent feature
//! weighs nothing.
//!
//! The two end seals of a pack are exchangeable: which one an opener chose is of no account. So with
//! both ends read, each of their features stands twice, as the `worse` and the `other` value (worse:
//! farther from the middle of the sealed specimens), and with one end read it stands once, as
//! `single`. A specimen gives rows to both tables, a single end each; of re-closed packs only the ends that
//! were opened, where enough of them tell (see `either_end`).
//!
//! In: findings. Out: [`Row`]s and [`Table`]s. Never here: densities, weights.

use std::collections::BTreeMap;

use casebook::finding::Finding;
use casebook::hypothesis::State;
use casebook::names::{ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::Origin;

use crate::either_end::OpenedShares;
use crate::numeric::order::weighted_median;

/// What the names of tables of single ends end in.
const SINGLE: &str = "#single";

/// Parts that may change places.
pub const ENDS: [&str; 2] = ["top-end-seal", "bottom-end-seal"];

/// The part that stands for both ends in one.
pub(crate) const BOTH_ENDS: &str = "both-end-seals";

/// Name of a column.
pub type ColumnKey = String;

/// One feature's value with its standard uncertainty.
pub type Cell = (f64, f64);

/// Features of one sitting, by column.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The specimen.
    pub specimen: String,
    /// Its product.
    pub product: String,
    /// Its known status.
    pub state: State,
    /// Whether it exists.
    pub origin: Origin,
    /// One cell a column of the table; `None` where nothing could be read.
    pub cells: Vec<Option<Cell>>,
}

/// Everything known of one group for one kind of product.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// `group@kind`, or `group@kind#single` for one end seal alone.
    pub name: String,
    /// Names of the columns, sorted.
    pub columns: Vec<ColumnKey>,
    /// Rows, sorted by specimen, then in the order given.
    pub rows: Vec<Row>,
    /// The lines of the rows, sorted.
    pub lines: Vec<String>,
    /// Their products, sorted.
    pub products: Vec<String>,
    /// Middle of the sealed specimens for features of exchangeable ends, by `quantity/feature`.
    pub middles: BTreeMap<String, f64>,
}

impl Table {
    /// How far a finding's features lie from what sealed specimens show: the largest distance from
    /// their median over their robust spread and the feature's own uncertainty; −1 without any.
    pub(crate) fn oddness(&self, finding: &Finding) -> f64 {
        let mut most = -1.0;
        for feature in &finding.features {
            let (start, end) = (format!("{}/", finding.quantity), format!("/{}", feature.name));
            let columns: Vec<usize> = (0..self.columns.len())
                .filter(|at| self.columns[*at].starts_with(&start) && self.columns[*at].ends_with(&end))
                .collect();
            let sealed = self.rows.iter().filter(|row| row.state == State::Sealed);
            let mut values: Vec<f64> =
                sealed.flat_map(|row| columns.iter().filter_map(|at| Some(row.cells[*at]?.0))).collect();
            let Some(middle) = median(&mut values) else { continue };
            let mut distances: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
            let spread = 1.4826 * median(&mut distances).unwrap_or(0.0);
            let scale = spread + feature.standard_uncertainty.abs();
            if scale > 0.0 && feature.value.is_finite() {
                most = f64::max(most, (feature.value - middle).abs() / scale);
            }
        }
        most
    }
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// The first word of a product's name: its line.
pub(crate) fn line_of(product: &str) -> &str {
    product.split('/').next().unwrap_or(product)
}

/// The group and kind that a table's name says.
pub(crate) fn group_and_kind(table: &str) -> (String, String) {
    let (group, kind) = table.split_once('@').unwrap_or((table, ""));
    (group.to_owned(), kind.trim_end_matches(SINGLE).to_owned())
}

/// The last word of a product's name: what kind of package it is.
pub(crate) fn kind_of(product: &str) -> &str {
    product.rsplit('/').next().unwrap_or(product)
}

/// The features of a group's findings before the ends are folded.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Raw {
    /// By full column name.
    pub(crate) plain: BTreeMap<String, Cell>,
    /// By `quantity/feature`: top and bottom.
    pub(crate) ends: BTreeMap<String, [Option<Cell>; 2]>,
}

/// What one sitting of one specimen shows of one group.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Source {
    pub(crate) specimen: Slug,
    pub(crate) sitting: Slug,
    pub(crate) product: ProductId,
    pub(crate) state: State,
    pub(crate) origin: Origin,
    /// Of a re-closed pack: whether top and bottom were opened, where known.
    pub(crate) opened: Option<[bool; 2]>,
    pub(crate) raw: Raw,
}

impl Source {
    /// Whether an end belongs into the table of single ends. With `known` ends an untouched end of a
    /// re-closed pack says nothing of re-closed ends, nor one of which nobody knows whether it was opened.
    fn has_single(&self, end: usize, known: bool) -> bool {
        let opened = self.opened.is_some_and(|opened| opened[end]);
        self.raw.has_end(end) && (!known || self.state != State::Resealed || opened)
    }
}

/// Sittings by group and kind of product.
pub(crate) type Sources = BTreeMap<(String, String), Vec<Source>>;

/// Which end of a pack a place is: 0 top, 1 bottom.
pub(crate) fn end_of(place: &str) -> Option<usize> {
    ENDS.iter().position(|end| *end == place)
}

/// The name under which a finding's features are kept: its part, or its face where it has none.
pub(crate) fn place_of(finding: &Finding) -> &str {
    let face = || finding.place.face.as_ref().map(|face| face.as_str());
    finding.place.part.as_deref().or_else(face).unwrap_or("")
}

impl Raw {
    pub(crate) fn of<'a>(findings: impl Iterator<Item = &'a Finding>) -> Self {
        let mut raw = Self::default();
        for finding in findings.filter(|f| f.is_read()) {
            let place = place_of(finding);
            for feature in &finding.features {
                let usable = feature.value.is_finite() && feature.standard_uncertainty.is_finite();
                if !usable {
                    continue;
                }
                let cell = (feature.value, feature.standard_uncertainty.abs());
                match end_of(place) {
                    Some(end) => {
                        let key = format!("{}/{}", finding.quantity, feature.name);
                        raw.ends.entry(key).or_default()[end] = Some(cell);
                    }
                    None => {
                        raw.plain.insert(format!("{}/{place}/{}", finding.quantity, feature.name), cell);
                    }
                }
            }
        }
        raw
    }

    /// Whether nothing was read.
    pub(crate) fn is_empty(&self) -> bool {
        self.plain.is_empty() && self.ends.is_empty()
    }

    /// Whether an end has anything.
    pub(crate) fn has_end(&self, end: usize) -> bool {
        self.ends.values().any(|cells| cells[end].is_some())
    }

    /// The same with one end unread. What compares both ends goes with it.
    pub(crate) fn without_end(&self, end: usize) -> Self {
        let mut out = self.clone();
        for cells in out.ends.values_mut() {
            cells[end] = None;
        }
        out.plain.retain(|name, _| name.split('/').nth(1) != Some(BOTH_ENDS));
        out
    }

    /// Whether both, one or none of the ends has anything.
    fn ends_read(&self) -> usize {
        (0..2).filter(|end| self.has_end(*end)).count()
    }

    /// Folded for the table of both ends.
    fn folded(&self, middles: &BTreeMap<String, f64>) -> BTreeMap<String, Cell> {
        let mut out = self.plain.clone();
        for (key, [top, bottom]) in &self.ends {
            let (Some(top), Some(bottom)) = (top, bottom) else { continue };
            let middle = middles.get(key).copied().unwrap_or(0.0);
            let top_is_worse = (top.0 - middle).abs() >= (bottom.0 - middle).abs();
            let (worse, other) = if top_is_worse { (top, bottom) } else { (bottom, top) };
            let (quantity, feature) = key.split_once('/').unwrap_or((key, ""));
            out.insert(format!("{quantity}/worse-end/{feature}"), *worse);
            out.insert(format!("{quantity}/other-end/{feature}"), *other);
        }
        out
    }

    /// One end alone, for the table of single ends.
    fn single(&self, end: usize) -> BTreeMap<String, Cell> {
        let mut out = BTreeMap::new();
        for (key, cells) in &self.ends {
            if let Some(cell) = cells[end] {
                let (quantity, feature) = key.split_once('/').unwrap_or((key, ""));
                out.insert(format!("{quantity}/single-end/{feature}"), cell);
            }
        }
        out
    }
}

/// One end of a pack over the columns of a table of single ends.
pub(crate) fn end_cells(table: &Table, raw: &Raw, end: usize) -> Vec<Option<Cell>> {
    let cells = raw.single(end);
    table.columns.iter().map(|column| cells.get(column).copied()).collect()
}

/// The name of the table of single ends that goes with one of both ends.
pub(crate) fn single_name(table: &str) -> String {
    format!("{table}{SINGLE}")
}

/// The name of a table.
fn table_name(group: &str, kind: &str, single: bool) -> String {
    format!("{group}@{kind}{}", if single { SINGLE } else { "" })
}

/// What the specimens show, by group and kind of product; sittings in the order of their specimens' names.
pub(crate) fn sources(specimens: &[MeasuredSpecimen]) -> Sources {
    let mut by_group: Sources = BTreeMap::new();
    for specimen in specimens {
        let mut groups: Vec<&str> = specimen.findings.iter().map(|f| f.group.as_str()).collect();
        groups.sort_unstable();
        groups.dedup();
        for group in groups {
            let raw = Raw::of(specimen.findings.iter().filter(|f| f.group.as_str() == group));
            let kind = kind_of(specimen.product.as_str());
            if !raw.is_empty() {
                by_group.entry((group.to_owned(), kind.to_owned())).or_default().push(Source {
                    specimen: specimen.specimen.clone(),
                    sitting: specimen.sitting.clone(),
                    product: specimen.product.clone(),
                    state: specimen.state,
                    origin: specimen.origin,
                    opened: specimen.opened_ends,
                    raw,
                });
            }
        }
    }
    for sources in by_group.values_mut() {
        sources.sort_by(|a, b| (&a.specimen, &a.sitting).cmp(&(&b.specimen, &b.sitting)));
    }
    by_group
}

/// Every table that the sittings fill.
pub(crate) fn tables(sources: &Sources) -> Vec<Table> {
    let mut out = Vec::new();
    for ((group, kind), sources) in sources {
        let middles = middles(sources);
        let both: Vec<_> = sources.iter().map(|s| (s, s.raw.folded(&middles))).collect();
        let known = OpenedShares::of(sources).is_some();
        let single: Vec<_> = sources
            .iter()
            .flat_map(|s| (0..2).map(move |end| (s, end)))
            .filter(|(s, end)| s.has_single(*end, known))
            .map(|(s, end)| (s, s.raw.single(end)))
            .collect();
        for (is_single, rows) in [(false, both), (true, single)] {
            if let Some(table) = assemble(table_name(group, kind, is_single), &rows, middles.clone()) {
                out.push(table);
            }
        }
    }
    out
}

/// The rows that other sittings of the group would have in a table: folded around its middles, over its
/// columns. Those that lack every column are left out. `known`: whether the table's single ends of re-closed
/// packs are the opened ones alone.
pub(crate) fn rows_in(table: &Table, sources: &[Source], known: bool) -> Vec<Row> {
    let single = table.name.ends_with(SINGLE);
    let mut out = Vec::new();
    for s in sources {
        let all = if single {
            (0..2).filter(|end| s.has_single(*end, known)).map(|end| s.raw.single(end)).collect()
        } else {
            vec![s.raw.folded(&table.middles)]
        };
        for cells in all {
            let cells: Vec<Option<Cell>> = table.columns.iter().map(|c| cells.get(c).copied()).collect();
            if cells.iter().any(Option::is_some) {
                out.push(Row {
                    specimen: s.specimen.to_string(),
                    product: s.product.to_string(),
                    state: s.state,
                    origin: s.origin,
                    cells,
                });
            }
        }
    }
    out
}

fn middles(sources: &[Source]) -> BTreeMap<String, f64> {
    let mut values: BTreeMap<String, Vec<(f64, f64)>> = BTreeMap::new();
    for source in sources.iter().filter(|s| s.state == State::Sealed) {
        for (key, cells) in &source.raw.ends {
            values.entry(key.clone()).or_default().extend(cells.iter().flatten().map(|cell| (cell.0, 1.0)));
        }
    }
    values.into_iter().map(|(key, pairs)| (key, weighted_median(&pairs))).collect()
}

fn assemble(
    name: String,
    rows: &[(&Source, BTreeMap<String, Cell>)],
    middles: BTreeMap<String, f64>,
) -> Option<Table> {
    let mut columns: Vec<String> = rows.iter().flat_map(|(_, cells)| cells.keys().cloned()).collect();
    columns.sort();
    columns.dedup();
    if columns.is_empty() {
        return None;
    }
    let distinct = |of: fn(&str) -> &str| -> Vec<String> {
        let mut all: Vec<&str> = rows.iter().map(|(s, _)| of(s.product.as_str())).collect();
        all.sort_unstable();
        all.dedup();
        all.into_iter().map(str::to_owned).collect()
    };
    let (lines, products) = (distinct(line_of), distinct(|product| product));
    let rows = rows
        .iter()
        .filter(|(_, cells)| !cells.is_empty())
        .map(|(s, cells)| Row {
            specimen: s.specimen.to_string(),
            product: s.product.to_string(),
            state: s.state,
            origin: s.origin,
            cells: columns.iter().map(|column| cells.get(column).copied()).collect(),
        })
        .collect();
    Some(Table { name, columns, rows, lines, products, middles })
}

/// The item in question, as a row of one of the tables.
pub(crate) struct ItemRow<'a> {
    pub(crate) table: &'a Table,
    /// Which of the tables it is.
    pub(crate) at: usize,
    pub(crate) cells: Vec<Option<Cell>>,
}

/// Finds the table that fits what was read of a group, and the item's row in it. With both ends read
/// (or none that has ends) the full table; with one, that of single ends, unless the group has other
/// features too and no end.
pub(crate) fn item_row<'a>(
    tables: &'a [Table],
    group: &str,
    product: &str,
    findings: &[&Finding],
) -> Option<ItemRow<'a>> {
    row_of(tables, group, product, &Raw::of(findings.iter().copied()))
}

/// [`item_row`] of features that are already sorted by place.
pub(crate) fn row_of<'a>(tables: &'a [Table], group: &str, product: &str, raw: &Raw) -> Option<ItemRow<'a>> {
    let single = raw.ends_read() == 1;
    let name = table_name(group, kind_of(product), single);
    let at = tables.iter().position(|table| table.name == name)?;
    let table = &tables[at];
    let cells = if single {
        let top = raw.single(0);
        if top.is_empty() { raw.single(1) } else { top }
    } else {
        raw.folded(&table.middles)
    };
    let cells: Vec<Option<Cell>> = table.columns.iter().map(|column| cells.get(column).copied()).collect();
    cells.iter().any(Option::is_some).then_some(ItemRow { table, at, cells })
}
