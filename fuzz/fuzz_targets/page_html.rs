//! Arbitrary bytes as a saved web page. Laws: `laws/pages.rs`.

#![no_main]

#[path = "../laws/pages.rs"]
mod pages;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if bytes.len() <= offer::page::MAX_PAGE_BYTES {
        pages::holds(bytes);
    }
});
