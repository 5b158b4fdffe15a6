//! Laws of reading an offer: any text is readable, case never matters, an unknown name is never
//! "never made".
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use casebook::case::OfferFacts;
use casebook::catalogue::Catalogue;
use casebook::finding::{FactOutcome, Reading};
use proptest::prelude::*;

fn catalogue() -> Catalogue {
    toml::from_str(
        r#"
schema = "untorn.catalogue/1"
line = { id = "kelpwright", name = "Kelpwright" }
release = { id = "night-dredge", name = "Night Dredge", source = "invented" }
products = []
never_made = [{ form = "box", source = "invented", date = "2024-03-01" }]
"#,
    )
    .unwrap()
}

fn points(title: &str) -> bool {
    let facts = OfferFacts {
        title: title.to_owned(),
        description: String::new(),
        venue: None,
        price: None,
        shipping: None,
        returns: None,
        seller: None,
        bids: Vec::new(),
        captured: None,
        ends: None,
    };
    let catalogues = [catalogue()];
    let claims = offer::claims(&facts, &catalogues);
    for claim in &claims.products {
        let span = claim.span;
        assert_eq!(title.get(span.start..span.end), Some(claim.words.as_str()));
        assert!((0.0..=1.0).contains(&claim.score));
    }
    offer::findings(&"a".parse().unwrap(), Some(&facts), &claims, &[], &catalogues)
        .iter()
        .any(|f| matches!(f.reading, Reading::Fact { outcome: FactOutcome::Points { .. }, .. }))
}

proptest! {
    #[test]
    fn any_text_is_read(title in any::<String>()) {
        points(&title);
    }

    #[test]
    fn a_text_without_the_name_never_points(words in proptest::collection::vec("(box|display|kelpwright|[a-z]{1,7}|[0-9]{1,2})", 0..10)) {
        let title = words.join(" ");
        if !words.iter().any(|w| w.starts_with('n')) {
            prop_assert!(!points(&title));
        }
    }

    #[test]
    fn case_and_hyphens_do_not_matter(flips in proptest::collection::vec(any::<bool>(), 36), hyphen in any::<bool>()) {
        let plain = "kelpwright night dredge booster box";
        let mut title: String = plain
            .chars()
            .zip(flips)
            .map(|(c, up)| if up { c.to_ascii_uppercase() } else { c })
            .collect();
        if hyphen {
            title = title.replace(' ', "-");
        }
        prop_assert!(points(&title));
    }
}
