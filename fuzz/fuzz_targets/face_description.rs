//! Arbitrary bytes as a kept face description. Laws: `laws/faces.rs`.

#![no_main]

#[path = "../laws/faces.rs"]
mod faces;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = faces::holds(bytes);
});
