//! The kept fuzz inputs of the feature tables, replayed: as they are, cut short, and bent. The law is that
//! of `fuzz/fuzz_targets/feature_table.rs`: never a panic, and what is read holds finite numbers only.
#![allow(clippy::unwrap_used, reason = "test helpers stop the test, as they should")]

use std::path::Path;

fn holds(bytes: &[u8]) -> Option<usize> {
    let sittings = examination::tables::parse(bytes).ok()?;
    for feature in sittings.iter().flat_map(|s| &s.findings).flat_map(|f| &f.features) {
        assert!(feature.value.is_finite() && feature.standard_uncertainty >= 0.0);
    }
    Some(sittings.len())
}

#[test]
fn feature_tables() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/feature_table");
    let mut read = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let bytes = std::fs::read(entry.unwrap().path()).unwrap();
        read += holds(&bytes).unwrap_or(0);
        for at in 0..bytes.len() {
            let _ = holds(&bytes[..at]);
            let mut bent = bytes.clone();
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            let _ = holds(&bent);
        }
    }
    assert_eq!(read, 2, "sittings of the kept tables");
}
