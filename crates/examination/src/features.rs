//! A table for calibration: one row a finding, with the truth of its item beside it.
//!
//! In: a set, which is a folder of cases or specimens, one folder each, with `truth.json` beside
//! them. Out: CSV (RFC 4180). Specimens are measured sitting by sitting, as the library does.
//! Never here: weights; the truth is copied, never looked at.
//!
//! Source: `rfc4180`.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use casebook::case::CasePhoto;
use casebook::document;
use casebook::finding::{Finding, Reading};
use casebook::names::Slug;
use casebook::opinion::MeasuredSpecimen;
use casebook::specimen::{Origin, SpecimenFile};
use casebook::truth::{CaseTruth, ItemTruth, TruthFile};
use rayon::prelude::*;

use crate::error::ExaminationError;
use crate::folder::CaseFolder;
use crate::progress::Progress;
use crate::run;
use crate::shelf::Shelf;
use crate::specimens::measure_sitting;

/// The columns, in order. Truth columns start with `truth_`; an empty cell was not measured or is unknown.
pub const COLUMNS: [&str; 32] = [
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
    "lacks",
    "px_per_mm",
    "angle_deg",
    "blur_px",
    "glare",
    "covered",
    "usable",
    "photos",
    "features",
    "says",
    "truth_state",
    "truth_product",
    "truth_make",
    "truth_severity",
    "truth_wear",
    "truth_end_by",
    "truth_end_severity",
    "truth_hidden",
    "truth_cover",
    "truth_origin",
];

/// A table, ready to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeatureTable {
    /// The CSV text.
    pub csv: Vec<u8>,
    /// Rows without the head.
    pub findings: usize,
    /// Cases or specimens.
    pub cases: usize,
}

/// The findings of one case or sitting.
struct Block {
    case: Slug,
    sitting: String,
    /// Of a specimen; unknown of a case.
    origin: Option<Origin>,
    findings: Vec<Finding>,
}

/// Examines every case and specimen of a set and tabulates the findings.
///
/// # Errors
/// [`ExaminationError`] when the set cannot be listed or a document in it is wrong.
pub fn table(set: &Path, shelf: &Shelf, progress: &dyn Progress) -> Result<FeatureTable, ExaminationError> {
    let truth_file = set.join("truth.json");
    let truth: Option<TruthFile> =
        if truth_file.exists() { Some(document::read(&truth_file)?) } else { None };
    let folders = folders(set)?;
    progress.begin("measuring the set", folders.len());
    let blocks: Vec<Vec<Block>> = folders
        .par_iter()
        .map(|folder| {
            let blocks = measure(folder, shelf);
            progress.step();
            blocks
        })
        .collect::<Result<_, _>>()?;
    progress.end();
    let mut writer = csv::Writer::from_writer(Vec::new());
    let fail = |error: csv::Error| ExaminationError::Table(error.to_string());
    writer.write_record(COLUMNS).map_err(fail)?;
    let mut findings = 0;
    for block in blocks.into_iter().flatten() {
        let known = truth.as_ref().and_then(|truth| truth.cases.get(&block.case));
        for finding in &block.findings {
            writer.write_record(row(&block, finding, known)).map_err(fail)?;
            findings += 1;
        }
    }
    let csv = writer.into_inner().map_err(|error| ExaminationError::Table(error.to_string()))?;
    Ok(FeatureTable { csv, findings, cases: folders.len() })
}

fn folders(set: &Path) -> Result<Vec<PathBuf>, ExaminationError> {
    let fail = |source| ExaminationError::Folder { folder: set.to_owned(), source };
    let mut folders = Vec::new();
    for entry in fs::read_dir(set).map_err(fail)? {
        let path = entry.map_err(fail)?.path();
        if path.join("case.toml").exists() || path.join("specimen.toml").exists() {
            folders.push(path);
        }
    }
    if folders.is_empty() {
        return Err(ExaminationError::EmptySet { folder: set.to_owned() });
    }
    folders.sort();
    Ok(folders)
}

fn measure(folder: &Path, shelf: &Shelf) -> Result<Vec<Block>, ExaminationError> {
    let specimen_file = folder.join("specimen.toml");
    if specimen_file.exists() {
        let specimen: SpecimenFile = document::read(&specimen_file)?;
        let mut sittings: BTreeMap<String, Vec<(CasePhoto, PathBuf)>> = BTreeMap::new();
        for photo in &specimen.photos {
            let name = photo.sitting.as_ref().map_or("only", Slug::as_str).to_owned();
            sittings.entry(name).or_default().push((photo.clone(), folder.join(photo.file.as_str())));
        }
        return sittings
            .into_iter()
            .map(|(name, photos)| {
                let measured: MeasuredSpecimen =
                    measure_sitting(&specimen, &name.parse()?, &photos, shelf.products());
                Ok(Block {
                    case: specimen.id.clone(),
                    sitting: name,
                    origin: Some(specimen.origin),
                    findings: measured.findings,
                })
            })
            .collect();
    }
    let case = CaseFolder::read(&[folder.to_owned()])?;
    let examination = run::examine(&case, shelf, run::SmallCopies::LeftOut).examination;
    let findings = examination.items.into_iter().flat_map(|item| item.findings).collect();
    Ok(vec![Block { case: case.case.id, sitting: String::new(), origin: None, findings }])
}

fn row(block: &Block, finding: &Finding, truth: Option<&CaseTruth>) -> Vec<String> {
    let number = |value: f64| value.to_string();
    let maybe = |value: Option<f64>| value.map(number).unwrap_or_default();
    let (kind, value, u, unit, lacks) = match &finding.reading {
        Reading::Measured { value, standard_uncertainty, unit } => {
            ("measured", number(*value), number(*standard_uncertainty), unit.clone(), String::new())
        }
        Reading::Fact { outcome, error_rate, .. } => {
            ("fact", format!("{outcome:?}"), number(*error_rate), String::new(), String::new())
        }
        Reading::CannotTell { missing } => {
            let lacks: Vec<String> = missing.iter().map(|m| format!("{:?}", m.lack)).collect();
            ("cannot-tell", String::new(), String::new(), String::new(), lacks.join(" "))
        }
    };
    let features: Vec<String> = finding
        .features
        .iter()
        .map(|f| format!("{}={}±{} {}", f.name, f.value, f.standard_uncertainty, f.unit))
        .collect();
    let photos: Vec<&str> = finding.photos.iter().map(|file| file.as_str()).collect();
    let face = finding.place.face.as_ref().map(ToString::to_string).unwrap_or_default();
    let seeing = &finding.seeing;
    let mut cells = vec![
        block.case.to_string(),
        block.sitting.clone(),
        finding.item.to_string(),
        finding.examiner.to_string(),
        finding.quantity.to_string(),
        face,
        finding.place.part.clone().unwrap_or_default(),
        finding.group.to_string(),
        kind.to_owned(),
        value,
        u,
        unit,
        lacks,
        maybe(seeing.px_per_mm),
        maybe(seeing.angle_deg),
        maybe(seeing.blur_px),
        maybe(seeing.glare),
        maybe(seeing.covered),
        maybe(seeing.usable),
        photos.join(" "),
        features.join("; "),
        finding.says.clone(),
    ];
    cells.extend(truth_cells(finding, truth.and_then(|truth| truth.items.get(&finding.item))));
    cells.push(match block.origin {
        Some(Origin::Physical) => "physical".to_owned(),
        Some(Origin::Rendered) => "rendered".to_owned(),
        None => String::new(),
    });
    cells
}

fn truth_cells(finding: &Finding, truth: Option<&ItemTruth>) -> [String; 9] {
    let Some(truth) = truth else { return Default::default() };
    let end = finding
        .place
        .part
        .as_deref()
        .and_then(|part| part.strip_suffix("-end-seal"))
        .and_then(|end| truth.ends.get(end));
    [
        truth.state.to_string(),
        truth.product.to_string(),
        truth.make.as_ref().map(ToString::to_string).unwrap_or_default(),
        truth.severity.to_string(),
        truth.wear.to_string(),
        end.map(|end| end.by.clone()).unwrap_or_default(),
        end.map(|end| end.severity.to_string()).unwrap_or_default(),
        truth.hidden.join(" "),
        truth.cover.clone(),
    ]
}
