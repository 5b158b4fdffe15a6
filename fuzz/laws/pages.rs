//! What reading a saved page must keep, for the fuzz target and for the ordinary replay of its inputs
//! (`crates/offer/tests/page_hostile.rs`).
//!
//! Laws: any bytes are read, never a panic; titles and names are one bounded line without control
//! characters; amounts are not below zero; what was read can be written into a case and read back the
//! same; reading it again gives the same.

use casebook::case::CaseFile;
use casebook::document::{Notation, parse, print};
use offer::page::{SavedPage, read};

/// Longest line in characters.
const LINE: usize = 300;

/// Holds `bytes` to the laws and gives what was read.
pub(crate) fn holds(bytes: &[u8]) -> SavedPage {
    let page = read(bytes).unwrap_or_else(|error| panic!("{error}"));
    let names = [&page.venue, &page.seller];
    for line in names.into_iter().flatten().chain([&page.title]) {
        assert!(line.chars().count() <= LINE && !line.chars().any(char::is_control), "no line: {line:?}");
    }
    for money in [&page.price, &page.shipping].into_iter().flatten() {
        assert!(!money.amount.is_sign_negative(), "below zero: {money}");
    }
    if let Some(facts) = page.clone().facts() {
        let mut case = CaseFile::of_photos("page").unwrap_or_else(|error| panic!("{error}"));
        case.offer = Some(facts);
        let text = print(&case, Notation::Toml).unwrap_or_else(|error| panic!("{error}"));
        let again: CaseFile = parse(&text, std::path::Path::new("case.toml"), Notation::Toml)
            .unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(case, again, "a case did not come back the same");
    }
    assert_eq!(page, read(bytes).unwrap_or_else(|error| panic!("{error}")), "a second reading differed");
    page
}
