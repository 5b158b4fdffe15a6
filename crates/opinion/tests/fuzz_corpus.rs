//! The kept fuzz inputs of saved weights, replayed: as they are, cut short, and bent.
//!
//! The laws stand in `fuzz/laws/weights.rs`, which the fuzz target shares. An input that broke one is
//! kept in `fuzz/corpus/calibration_json/` under a name that says what it broke.

#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests; a panic is the failure")]

use std::path::Path;

#[path = "../../../fuzz/laws/weights.rs"]
mod weights;

/// Lengths at which each input is cut, and places at which it is bent, at most.
const TRIES: usize = 300;

#[test]
fn kept_inputs_keep_the_laws_whole_cut_and_bent() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/calibration_json");
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.expect("a readable folder").path())
        .collect();
    files.sort();
    let mut read = 0;
    for file in files {
        let bytes = std::fs::read(&file).expect("a readable input");
        read += usize::from(weights::holds(&bytes));
        let step = bytes.len() / TRIES + 1;
        for at in (0..bytes.len()).step_by(step) {
            let _ = weights::holds(&bytes[..at]);
            let mut bent = bytes.clone();
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            let _ = weights::holds(&bent);
        }
    }
    assert!(read >= 2, "{read} inputs are calibrations, 2 at least should be");
}
