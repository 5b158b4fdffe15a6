//! Arbitrary bytes as a product bundle. Laws: `laws/bundles.rs`.

#![no_main]

#[path = "../laws/bundles.rs"]
mod bundles;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = bundles::holds(bytes);
});
