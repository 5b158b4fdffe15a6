//! The published JSON Schemas of the documents, generated from the types.
//!
//! In: nothing. Out: (file name, schema text). `untorn schemas DIR` writes them; a test compares
//! `schemas/` with them, so that neither changes alone. Source: `jsonschema2020`.

use crate::bundle::BundleManifest;
use crate::calibration::CalibrationFile;
use crate::case::CaseFile;
use crate::catalogue::Catalogue;
use crate::document::Document;
use crate::evaluation::EvaluationFile;
use crate::learn::LearnFile;
use crate::opinion::Examination;
use crate::outcome::OutcomeFile;
use crate::specimen::SpecimenFile;
use crate::truth::TruthFile;

/// File name and text of every schema.
#[must_use]
pub fn all() -> Vec<(String, String)> {
    vec![
        one::<BundleManifest>(),
        one::<CalibrationFile>(),
        one::<CaseFile>(),
        one::<Catalogue>(),
        one::<EvaluationFile>(),
        one::<Examination>(),
        one::<OutcomeFile>(),
        one::<LearnFile>(),
        one::<SpecimenFile>(),
        one::<TruthFile>(),
    ]
}

fn one<D: Document + schemars::JsonSchema>() -> (String, String) {
    let mut schema = schemars::schema_for!(D);
    schema.insert("title".to_owned(), D::SCHEMA.into());
    let name = format!("{}.schema.json", D::SCHEMA.replace('/', "-"));
    // A schema is made of strings, numbers and maps: printing it cannot fail.
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    (name, text)
}
