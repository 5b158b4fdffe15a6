//! The kept fuzz inputs of every document parser, replayed: as they are, cut short, and bent.
//!
//! The laws stand in `fuzz/laws/documents.rs`, which the fuzz targets share. An input that broke one
//! is kept in `fuzz/corpus/<target>/` under a name that says what it broke.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "helpers of tests; a panic is the failure"
)]

use std::fmt::Debug;
use std::path::{Path, PathBuf};

use casebook::case::CaseFile;
use casebook::catalogue::Catalogue;
use casebook::document::{Document, Notation};
use casebook::learn::LearnFile;
use casebook::opinion::Examination;
use casebook::specimen::SpecimenFile;
use casebook::truth::TruthFile;

#[path = "../../../fuzz/laws/documents.rs"]
mod documents;

/// Lengths at which each input is cut, and places at which it is bent, at most.
const TRIES: usize = 400;

fn inputs(target: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus").join(target);
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.expect("a readable folder").path())
        .collect();
    files.sort();
    files.into_iter().map(|file| (file.clone(), std::fs::read(file).expect("a readable input"))).collect()
}

/// Replays one target's inputs; `documents` of them are to be read without error at least.
fn replay<D: Document + PartialEq + Debug>(target: &str, notation: Notation, documents: usize) {
    let mut read = 0;
    for (file, bytes) in inputs(target) {
        // The test's output names the input at work when a law fails.
        println!("{}", file.display());
        match documents::holds::<D>(&bytes, notation) {
            Ok(()) => read += 1,
            Err(why) => println!("  is refused: {why}"),
        }
        let step = bytes.len() / TRIES + 1;
        for at in (0..bytes.len()).step_by(step) {
            let _ = documents::holds::<D>(&bytes[..at], notation);
            let mut bent = bytes.clone();
            // One odd multiplier walks through all changes of a byte from place to place.
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            let _ = documents::holds::<D>(&bent, notation);
        }
    }
    assert!(read >= documents, "{target}: {read} inputs were read, {documents} at least should be");
}

#[test]
fn catalogues() {
    replay::<Catalogue>("catalogue_toml", Notation::Toml, 2);
}

#[test]
fn cases() {
    replay::<CaseFile>("case_toml", Notation::Toml, 2);
}

#[test]
fn learn_files() {
    replay::<LearnFile>("learn_toml", Notation::Toml, 1);
}

#[test]
fn specimens() {
    replay::<SpecimenFile>("specimen_toml", Notation::Toml, 1);
}

#[test]
fn truths() {
    replay::<TruthFile>("truth_json", Notation::Json, 1);
}

#[test]
fn examinations() {
    replay::<Examination>("examination_json", Notation::Json, 1);
}
