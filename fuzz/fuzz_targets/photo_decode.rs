//! Arbitrary bytes as a photo. Laws: `laws/photos.rs`.

#![no_main]

#[path = "../laws/photos.rs"]
mod photos;

libfuzzer_sys::fuzz_target!(
    init: {
        // The fuzzer aborts at every panic; a third-party decoder's is caught and becomes an error.
        // Without the hook, only a panic that leaves the law counts.
        let _ = std::panic::take_hook();
    },
    |bytes: &[u8]| {
        let _ = photos::holds(bytes);
    }
);
