//! Invented examinations for tests and for the example: the line "Kelpwright", which nobody sells.
//! Every number here is made up; nothing is measured.

#![allow(dead_code, unreachable_pub, reason = "each test uses its part")]
#![allow(clippy::unwrap_used, clippy::too_many_arguments, reason = "test data; the example shares it")]

pub mod art;
pub mod cases;
pub mod product;

use std::collections::BTreeMap;

use casebook::case::CaseFile;
use casebook::names::ProductId;
use casebook::opinion::Examination;
use casebook::picture::Picture;
use dossier::{PhotoThumb, ReportInput};

/// A report's parts, owned.
pub struct Invented {
    pub examination: Examination,
    pub case: Option<CaseFile>,
    pub pictures: Vec<Picture>,
    pub photos: Vec<PhotoThumb>,
    pub names: BTreeMap<ProductId, String>,
}

impl Invented {
    pub fn input(&self) -> ReportInput<'_> {
        ReportInput {
            examination: &self.examination,
            case: self.case.as_ref(),
            pictures: &self.pictures,
            photos: &self.photos,
            product_names: &self.names,
            generated_at: Some("25 November 2026, 09:00 UTC"),
            program: "untorn 0.1.0",
            calibration: "The weights were fitted on 54 rendered specimens of Kelpwright packs, each measured in two sittings.",
        }
    }

    pub fn html(&self) -> String {
        dossier::report(&self.input())
    }
}
