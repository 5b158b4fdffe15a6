//! What reading an offer's words must keep, for the fuzz target and for the ordinary replay of its
//! inputs (`crates/offer/tests/fuzz_corpus.rs`).
//!
//! Laws: any text is read, never a panic. Every claim quotes the text where it says it stands; every
//! score is a share; what is never made stands in the catalogue so; reading it again gives the same.

use casebook::case::OfferFacts;
use casebook::catalogue::Catalogue;
use casebook::document::{Notation, parse};
use offer::{Part, Span, Standing, claims};

/// The release that was never sold in a box.
const CATALOGUE: &str = include_str!("../corpus/catalogue_toml/night-dredge.toml");

/// The demo's catalogue of that release.
pub(crate) fn catalogues() -> Vec<Catalogue> {
    let read = parse(CATALOGUE, std::path::Path::new("night-dredge.toml"), Notation::Toml);
    vec![read.unwrap_or_else(|error| panic!("{error}"))]
}

/// Holds `bytes`, title in the first line and description below, to the laws. How many products,
/// codes and sale words were found.
pub(crate) fn holds(bytes: &[u8], catalogues: &[Catalogue]) -> usize {
    let Ok(text) = std::str::from_utf8(bytes) else { return 0 };
    let (title, description) = text.split_once('\n').unwrap_or((text, ""));
    let facts = OfferFacts {
        title: title.to_owned(),
        description: description.to_owned(),
        venue: None,
        price: None,
        shipping: None,
        returns: None,
        seller: None,
        bids: Vec::new(),
        captured: None,
        ends: None,
    };
    let found = claims(&facts, catalogues);
    let quoted = |span: Span| {
        let part = if span.part == Part::Title { title } else { description };
        part.get(span.start..span.end).unwrap_or_else(|| panic!("{span:?} is no part of the text")).to_owned()
    };
    for claim in &found.products {
        assert_eq!(quoted(claim.span), claim.words);
        assert!((0.0..=1.0).contains(&claim.score), "no share: {}", claim.score);
        if let Standing::NeverMade { source, .. } = &claim.standing {
            let known = catalogues.iter().flat_map(|c| &c.never_made).any(|n| n.source == *source);
            assert!(known, "never made by no source: {claim:?}");
        }
    }
    for code in &found.codes {
        quoted(code.span);
        assert!(code.digits.chars().all(|c| c.is_ascii_digit()), "no digits: {code:?}");
    }
    for word in &found.sale_words {
        assert_eq!(quoted(word.span), word.words);
    }
    assert_eq!(found, claims(&facts, catalogues), "a second reading gave another result");
    found.products.len() + found.codes.len() + found.sale_words.len()
}
