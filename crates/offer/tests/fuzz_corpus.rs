//! The kept fuzz inputs of the offer's words, replayed: as they are, cut short, and bent.
//!
//! The laws stand in `fuzz/laws/offers.rs`, which the fuzz target shares. An input that broke one is
//! kept in `fuzz/corpus/offer_text/` under a name that says what it broke.
#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests; a panic is the failure")]

use std::path::Path;

#[path = "../../../fuzz/laws/offers.rs"]
mod offers;

#[test]
fn kept_inputs_keep_the_laws_whole_cut_and_bent() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/offer_text");
    let catalogues = offers::catalogues();
    let mut found = 0;
    for entry in std::fs::read_dir(&folder).expect("the kept inputs") {
        let file = entry.expect("a readable folder").path();
        // The test's output names the input at work when a law fails.
        println!("{}", file.display());
        let bytes = std::fs::read(&file).expect("a readable input");
        found += offers::holds(&bytes, &catalogues);
        for at in 0..bytes.len() {
            let _ = offers::holds(&bytes[..at], &catalogues);
            let mut bent = bytes.clone();
            // One odd multiplier walks through all changes of a byte from place to place.
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            let _ = offers::holds(&bent, &catalogues);
        }
    }
    assert!(found >= 6, "{found} claims were found, 6 at least should be");
}
