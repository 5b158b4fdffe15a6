//! Arbitrary bytes as kept weights. Laws: `laws/weights.rs`.

#![no_main]

#[path = "../laws/weights.rs"]
mod weights;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = weights::holds(bytes);
});
