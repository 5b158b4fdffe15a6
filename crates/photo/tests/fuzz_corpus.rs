//! The kept fuzz inputs of the photo reader, replayed: as they are, cut short, and bent.
//!
//! The laws stand in `fuzz/laws/photos.rs`, which the fuzz target shares. An input that broke one is
//! kept in `fuzz/corpus/photo_decode/` under a name that says what it broke.

#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests; a panic is the failure")]

use std::path::{Path, PathBuf};

#[path = "../../../fuzz/laws/photos.rs"]
mod photos;

/// Lengths at which each input is cut, and places at which it is bent, at most.
const TRIES: usize = 200;

/// The corpus holds this many files that are photos, in every format and variety that is read.
const PHOTOS: usize = 20;

#[test]
fn kept_inputs_keep_the_laws_whole_cut_and_bent() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/photo_decode");
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.expect("a readable folder").path())
        .collect();
    files.sort();
    let mut read = 0;
    for file in files {
        // The test's output names the input at work when a law fails.
        println!("{}", file.display());
        let bytes = std::fs::read(&file).expect("a readable input");
        match photos::holds(&bytes) {
            Ok(()) => read += 1,
            Err(why) => println!("  is refused: {why}"),
        }
        let step = bytes.len() / TRIES + 1;
        for at in (0..bytes.len()).step_by(step) {
            let _ = photos::holds(&bytes[..at]);
            let mut bent = bytes.clone();
            // One odd multiplier walks through all changes of a byte from place to place.
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            let _ = photos::holds(&bent);
        }
    }
    assert!(read >= PHOTOS, "{read} inputs were read, {PHOTOS} at least should be");
}
