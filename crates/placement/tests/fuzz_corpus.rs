//! The kept fuzz inputs of face descriptions, replayed: as they are, cut short, and bent.
//!
//! The laws stand in `fuzz/laws/faces.rs`, which the fuzz target shares. An input that broke one is
//! kept in `fuzz/corpus/face_description/` under a name that says what it broke.

#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests; a panic is the failure")]

use std::path::Path;
use std::sync::Arc;

use placement::{FaceDescription, ReferenceFace};

#[path = "../../../fuzz/laws/faces.rs"]
mod faces;

/// Lengths at which each input is cut, and places at which it is bent, at most.
const TRIES: usize = 150;

fn replay(bytes: &[u8]) -> bool {
    let whole = faces::holds(bytes);
    let step = bytes.len() / TRIES + 1;
    for at in (0..bytes.len()).step_by(step) {
        assert!(!whole || !faces::holds(&bytes[..at]), "read although cut after {at} bytes");
        let mut bent = bytes.to_vec();
        bent[at] ^= 1 << (at.wrapping_mul(5) % 8);
        let _ = faces::holds(&bent);
    }
    whole
}

#[test]
fn what_is_written_now_keeps_the_laws() {
    let raster = Arc::new(faces::drawing(120, 200));
    let reference = ReferenceFace { face: faces::face(), size_mm: faces::SIZE_MM, raster };
    let description = FaceDescription::of(&reference).expect("a face of 120 × 200 pixels");
    assert!(replay(&description.to_bytes()), "what was just written is not read");
}

#[test]
fn kept_inputs_keep_the_laws_whole_cut_and_bent() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/face_description");
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.expect("a readable folder").path())
        .collect();
    files.sort();
    let mut read = Vec::new();
    for file in files {
        let bytes = std::fs::read(&file).expect("a readable input");
        if replay(&bytes) {
            read.push(file);
        }
    }
    assert!(!read.is_empty(), "no kept input is a description");
}
