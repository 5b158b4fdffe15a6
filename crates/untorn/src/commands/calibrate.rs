//! `untorn calibrate TABLE… --out FILE`: feature tables become a calibration.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::ExitCode;

use casebook::calibration::{CalibrationFile, TableOrigin, Way};
use casebook::document::{self, Notation};
use casebook::library::Library;
use casebook::names::PhotoHash;
use casebook::opinion::MeasuredSpecimen;
use examination::tables::{self, ReadTable};
use opinion::Calibration;

use crate::args::Calibrate;
use crate::failure::Failure;
use crate::table;

/// Runs the command. The same tables give the same file, byte for byte.
pub(crate) fn run(args: &Calibrate) -> Result<ExitCode, Failure> {
    let mut fitted = read_all(&args.tables)?;
    if args.outcomes {
        let library = Library::open(&args.library.resolve()?)?;
        let sittings = library.confirmed()?;
        let named: Vec<String> = sittings.iter().map(|s| format!("{} {}", s.specimen, s.state)).collect();
        let hash = PhotoHash::of(named.join("\n").as_bytes()).as_str().to_owned();
        let origin =
            TableOrigin { name: "confirmed outcomes".to_owned(), hash, sittings: sittings.len() as u64 };
        fitted.push(ReadTable { origin, sittings });
    }
    let chosen = read_all(&args.choose_on)?;
    names_are_single(&fitted, &chosen)?;
    let specimens: Vec<MeasuredSpecimen> = fitted.iter().flat_map(|t| t.sittings.clone()).collect();
    if specimens.is_empty() {
        return Err(Failure::NothingToCalibrate);
    }
    let held_out: Vec<Vec<MeasuredSpecimen>> = chosen.iter().map(|t| t.sittings.clone()).collect();
    let calibration = Calibration::fit_choosing_on(&specimens, &held_out);
    let origins = |tables: Vec<ReadTable>| tables.into_iter().map(|t| t.origin).collect();
    let file = calibration.to_file(examination::PROGRAM, origins(fitted), origins(chosen));
    casebook::atomic::write(&args.out, document::print(&file, Notation::Json)?.as_bytes())?;
    print(&file);
    table::line(&format!("written: {}", args.out.display()));
    Ok(ExitCode::SUCCESS)
}

fn read_all(files: &[PathBuf]) -> Result<Vec<ReadTable>, Failure> {
    files.iter().map(|file| Ok(tables::read(file)?)).collect()
}

/// One name is one item: in two fitted tables it would count once, and in a table that is held out it
/// would not be held out.
fn names_are_single(fitted: &[ReadTable], chosen: &[ReadTable]) -> Result<(), Failure> {
    let tables: Vec<&ReadTable> = fitted.iter().chain(chosen).collect();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for (at, table) in tables.iter().enumerate() {
        for sitting in &table.sittings {
            let name = sitting.specimen.as_str();
            let first = *seen.entry(name).or_insert(at);
            if first != at {
                return Err(Failure::NameTwice {
                    name: name.to_owned(),
                    first: tables[first].origin.name.clone(),
                    second: table.origin.name.clone(),
                });
            }
        }
    }
    Ok(())
}

fn print(file: &CalibrationFile) {
    let mut rows = table::new(&["Features", "Sealed against", "Form", "Cost", "Weighs"]);
    for form in &file.forms {
        let words = [
            if form.own_scales { "own scales" } else { "one scale" },
            if form.correlations { "correlated" } else { "uncorrelated" },
            if form.normal { "normal" } else { "Student" },
            match form.way {
                Way::Logistic => "logistic",
                Way::Kernel => "kernel",
                Way::Steps => "steps",
            },
        ];
        rows.add_row(vec![
            form.table.clone(),
            form.against.to_string(),
            if form.either_end {
                "end by end, mixed over which was opened".to_owned()
            } else {
                format!("{}, shrunk by {:.0} standard errors", words.join(", "), form.threshold)
            },
            format!("{:.3}", form.cllr),
            if form.silent { "no: not surely told apart" } else { "yes" }.to_owned(),
        ]);
    }
    table::line(&rows.to_string());
    for count in &file.counts {
        let origin = match count.origin {
            casebook::specimen::Origin::Physical => "physical",
            casebook::specimen::Origin::Rendered => "rendered",
        };
        table::line(&format!("{} {} ({origin})", count.count, count.state));
    }
}
