//! Arbitrary bytes as a feature table. Law: never a panic, and what is read holds finite numbers only.

#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(sittings) = examination::tables::parse(bytes) {
        for feature in sittings.iter().flat_map(|s| &s.findings).flat_map(|f| &f.features) {
            assert!(feature.value.is_finite() && feature.standard_uncertainty >= 0.0);
        }
    }
});
