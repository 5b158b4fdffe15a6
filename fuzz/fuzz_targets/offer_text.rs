//! Arbitrary bytes as an offer's title and description. Laws: `laws/offers.rs`.

#![no_main]

#[path = "../laws/offers.rs"]
mod offers;

use std::sync::LazyLock;

use casebook::catalogue::Catalogue;

static CATALOGUES: LazyLock<Vec<Catalogue>> = LazyLock::new(offers::catalogues);

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = offers::holds(bytes, &CATALOGUES);
});
