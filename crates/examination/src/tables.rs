//! Feature tables read back: what `untorn features` wrote becomes sittings of specimens again.
//!
//! In: a CSV file with the columns of [`crate::features::COLUMNS`] (further ones are passed over). Out: one
//! [`MeasuredSpecimen`] a case, item and sitting, with the findings that carry features. Rows without
//! features (facts, what could not be read) say nothing to a calibration and are passed over, and so are
//! rows without a truth: what was taken for an item that the set's truth does not know.
//! Never here: weights.
//!
//! Source: `rfc4180`.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use casebook::calibration::TableOrigin;
use casebook::finding::{Feature, Finding, Place, Reading, Seeing};
use casebook::hypothesis::State;
use casebook::names::{PhotoHash, ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::Origin;

use crate::error::ExaminationError;

/// Largest table that is read, bytes: some hundred thousand findings.
pub const MAX_TABLE_BYTES: u64 = 256 * 1024 * 1024;

/// A table, read.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadTable {
    /// Its name, hash and size.
    pub origin: TableOrigin,
    /// Its sittings, by case, item and sitting.
    pub sittings: Vec<MeasuredSpecimen>,
}

/// Reads a table from a file.
///
/// # Errors
/// [`ExaminationError::FeatureTable`] with file, row and remedy when it is no such table or a row's truth
/// is no known status.
pub fn read(file: &Path) -> Result<ReadTable, ExaminationError> {
    let fail = |problem: String| ExaminationError::FeatureTable { file: file.to_owned(), problem };
    let handle = File::open(file).map_err(|error| fail(format!("cannot be read ({error})")))?;
    let mut bytes = Vec::new();
    handle
        .take(MAX_TABLE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| fail(format!("cannot be read ({error})")))?;
    if bytes.len() as u64 > MAX_TABLE_BYTES {
        return Err(fail(format!("is larger than {} MiB", MAX_TABLE_BYTES / (1024 * 1024))));
    }
    let sittings = parse(&bytes).map_err(fail)?;
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let hash = PhotoHash::of(&bytes).as_str().to_owned();
    Ok(ReadTable { origin: TableOrigin { name, hash, sittings: sittings.len() as u64 }, sittings })
}

/// Reads a table from its bytes.
///
/// # Errors
/// What is wrong, in words, with the row.
pub fn parse(bytes: &[u8]) -> Result<Vec<MeasuredSpecimen>, String> {
    let mut reader = csv::Reader::from_reader(bytes);
    let head = reader.headers().map_err(|error| error.to_string())?.clone();
    let column =
        |name: &str| head.iter().position(|h| h == name).ok_or_else(|| format!("has no column \"{name}\""));
    let needed = [
        "case",
        "sitting",
        "item",
        "examiner",
        "quantity",
        "face",
        "part",
        "group",
        "reading",
        "value",
        "standard_uncertainty",
        "unit",
        "features",
        "says",
        "truth_state",
        "truth_product",
    ];
    let mut at = BTreeMap::new();
    for name in needed {
        at.insert(name, column(name)?);
    }
    let origin_at = column("truth_origin").ok();
    // A table with this column says of every re-closed item which end was opened; one whose fin seal alone
    // was opened has no such end.
    let opened_at = column("truth_end_by").ok();
    let mut out: BTreeMap<(Slug, Slug, Slug), MeasuredSpecimen> = BTreeMap::new();
    for (number, record) in reader.records().enumerate() {
        let row = number + 2;
        let record = record.map_err(|error| format!("row {row}: {error}"))?;
        let cell = |name: &str| at.get(name).and_then(|at| record.get(*at)).unwrap_or("");
        if cell("features").is_empty() || cell("truth_state").is_empty() {
            continue;
        }
        let slug = |name: &str| -> Result<Slug, String> {
            cell(name).parse().map_err(|error| format!("row {row}, {name}: {error}"))
        };
        let state =
            State::ALL.into_iter().find(|state| state.word() == cell("truth_state")).ok_or_else(|| {
                format!("row {row}: truth_state is \"{}\", no known status", cell("truth_state"))
            })?;
        let product: ProductId =
            cell("truth_product").parse().map_err(|error| format!("row {row}, truth_product: {error}"))?;
        let origin = match origin_at.and_then(|at| record.get(at)) {
            Some("physical") => Origin::Physical,
            _ => Origin::Rendered,
        };
        let (case, item) = (slug("case")?, slug("item")?);
        let sitting: Slug =
            if cell("sitting").is_empty() { "offer".parse() } else { cell("sitting").parse() }
                .map_err(|error| format!("row {row}, sitting: {error}"))?;
        let number = |name: &str| -> Result<f64, String> {
            let text = cell(name);
            text.parse().map_err(|_| format!("row {row}, {name}: \"{text}\" is no number"))
        };
        let finding = Finding {
            examiner: slug("examiner")?,
            item: item.clone(),
            place: Place {
                face: Some(cell("face")).filter(|f| !f.is_empty()).map(|_| slug("face")).transpose()?,
                part: Some(cell("part")).filter(|p| !p.is_empty()).map(str::to_owned),
                rect_mm: None,
            },
            quantity: slug("quantity")?,
            question: String::new(),
            reading: Reading::Measured {
                value: number("value")?,
                standard_uncertainty: number("standard_uncertainty")?,
                unit: cell("unit").to_owned(),
            },
            expected: None,
            features: features(cell("features")).map_err(|error| format!("row {row}, features: {error}"))?,
            seeing: Seeing::default(),
            group: slug("group")?,
            photos: Vec::new(),
            pictures: Vec::new(),
            says: cell("says").to_owned(),
        };
        let specimen = specimen_name(&case, &item).map_err(|error| format!("row {row}: {error}"))?;
        let known = out.entry((case, item, sitting.clone())).or_insert_with(|| MeasuredSpecimen {
            specimen,
            product: product.clone(),
            make: None,
            state,
            origin,
            sitting,
            opened_ends: (state == State::Resealed && opened_at.is_some()).then_some([false; 2]),
            findings: Vec::new(),
        });
        if known.state != state || known.product != product {
            return Err(format!(
                "row {row}: item \"{}\" has another truth than in the rows before",
                known.specimen
            ));
        }
        if let Some(opened) = &mut known.opened_ends
            && opened_at.and_then(|at| record.get(at)).is_some_and(|by| !by.is_empty())
            && let Some(end) = opinion::ENDS.iter().position(|part| *part == cell("part"))
        {
            opened[end] = true;
        }
        known.findings.push(finding);
    }
    Ok(out.into_values().collect())
}

/// The only item of a case goes by the case's name.
fn specimen_name(case: &Slug, item: &Slug) -> Result<Slug, String> {
    if item.as_str() == "a" {
        return Ok(case.clone());
    }
    format!("{case}-{item}").parse().map_err(|error: casebook::names::NameError| error.to_string())
}

/// Features as `untorn features` writes them: `name=value±uncertainty unit`, parted by "; ".
fn features(text: &str) -> Result<Vec<Feature>, String> {
    text.split("; ")
        .map(|one| {
            let bad = || format!("\"{}\" is no feature", one.chars().take(60).collect::<String>());
            let (name, rest) = one.split_once('=').ok_or_else(bad)?;
            let (value, rest) = rest.split_once('±').ok_or_else(bad)?;
            let (u, unit) = rest.split_once(' ').ok_or_else(bad)?;
            let value: f64 = value.parse().map_err(|_| bad())?;
            let standard_uncertainty: f64 = u.parse().map_err(|_| bad())?;
            if !value.is_finite() || !standard_uncertainty.is_finite() || standard_uncertainty < 0.0 {
                return Err(bad());
            }
            Ok(Feature {
                name: name.parse().map_err(|_| bad())?,
                value,
                standard_uncertainty,
                unit: unit.to_owned(),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "case,sitting,item,examiner,quantity,face,part,group,reading,value,standard_uncertainty,unit,features,says,truth_state,truth_product";

    fn table(rows: &[&str]) -> Vec<u8> {
        std::iter::once(HEAD).chain(rows.iter().copied()).collect::<Vec<_>>().join("\n").into_bytes()
    }

    #[test]
    fn rows_of_one_sitting_are_one_specimen() {
        let rows = [
            "x,s1,a,end-seal,ridge-evenness,front,top-end-seal,end-seal,measured,0.9,0.01,1,ridge-odds=1.5±0.1 1; ridge-step=-0.2±0.16 1,\"even, all over\",sealed,kelpwright/brass-estuary/pack",
            "x,s1,a,end-seal,ridge-evenness,front,bottom-end-seal,end-seal,cannot-tell,,,,,,sealed,kelpwright/brass-estuary/pack",
            "x,s2,a,end-seal,ridge-evenness,front,top-end-seal,end-seal,measured,0.8,0.01,1,ridge-odds=1.2±0.1 1,even,sealed,kelpwright/brass-estuary/pack",
            "y,,b,print,print-match,back,,print-back,measured,0.8,0.01,1,pattern-likeness=2±0 1,seen,counterfeit,kelpwright/brass-estuary/pack",
        ];
        let read = parse(&table(&rows)).unwrap();
        let names: Vec<(&str, &str)> =
            read.iter().map(|s| (s.specimen.as_str(), s.sitting.as_str())).collect();
        assert_eq!(names, [("x", "s1"), ("x", "s2"), ("y-b", "offer")]);
        assert_eq!(read[0].findings[0].features[1].value, -0.2);
        assert_eq!(read[2].state, State::Counterfeit);
        assert!(read.iter().all(|s| s.origin == Origin::Rendered));
    }

    #[test]
    fn a_row_without_a_truth_is_passed_over() {
        let row = |item: &str, state: &str| {
            format!(
                "x,s1,{item},e,q,front,,g,measured,0.9,0.01,1,f=1±1 1,says,{state},kelpwright/brass-estuary/pack"
            )
        };
        let read = parse(&table(&[&row("b", ""), &row("a", "sealed")])).unwrap();
        let names: Vec<&str> = read.iter().map(|s| s.specimen.as_str()).collect();
        assert_eq!(names, ["x"]);
        assert!(parse(&table(&[&row("a", "")])).unwrap().is_empty());
    }

    #[test]
    fn a_table_tells_which_ends_were_opened() {
        let row = |item: &str, part: &str, state: &str, by: &str| {
            format!(
                "x,s1,{item},e,q,front,{part},g,measured,0.9,0.01,1,f=1±1 1,says,{state},kelpwright/brass-estuary/pack,{by}"
            )
        };
        let rows = [
            row("b", "top-end-seal", "resealed", ""),
            row("b", "bottom-end-seal", "resealed", "iron"),
            row("c", "top-end-seal", "resealed", ""),
            row("d", "top-end-seal", "sealed", ""),
        ];
        let text = format!("{HEAD},truth_end_by\n{}", rows.join("\n"));
        let opened: Vec<Option<[bool; 2]>> =
            parse(text.as_bytes()).unwrap().iter().map(|s| s.opened_ends).collect();
        assert_eq!(opened, [Some([false, true]), Some([false; 2]), None]);
        let without = parse(&table(&[&rows[0][..rows[0].len() - 1]])).unwrap();
        assert_eq!(without[0].opened_ends, None, "a table that does not tell knows nothing");
    }

    #[test]
    fn what_is_wrong_names_the_row() {
        let row = |features: &str, state: &str| {
            format!(
                "x,s1,a,e,q,front,,g,measured,0.9,0.01,1,{features},says,{state},kelpwright/brass-estuary/pack"
            )
        };
        let cases = [
            (row("odd", "sealed"), "row 2, features"),
            (row("f=1±x 1", "sealed"), "row 2, features"),
            (row("f=inf±1 1", "sealed"), "row 2, features"),
            (row("f=1±1 1", "perhaps"), "row 2: truth_state"),
        ];
        for (row, part) in cases {
            let error = parse(&table(&[&row])).unwrap_err();
            assert!(error.contains(part), "{error}");
        }
        assert!(parse(b"a,b\n1,2\n").unwrap_err().contains("no column \"case\""));
        let two = [row("f=1±1 1", "sealed"), row("f=1±1 1", "resealed")];
        assert!(parse(&table(&[&two[0], &two[1]])).unwrap_err().contains("another truth"));
    }
}
