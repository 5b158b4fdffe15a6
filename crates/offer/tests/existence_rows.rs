//! Titles as sellers write them, against an invented catalogue: which product they mean, and what
//! may be said of its existence. Truth by construction: each row was written for its meaning.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use casebook::case::OfferFacts;
use casebook::catalogue::Catalogue;
use casebook::finding::{FactOutcome, Finding, Lack, Reading};
use casebook::hypothesis::State;
use casebook::names::ProductId;
use offer::Standing;

fn catalogue(release: &str, name: &str, pack_gtin: &str, box_part: &str) -> Catalogue {
    let text = format!(
        r#"
schema = "untorn.catalogue/1"
[line]
id = "kelpwright"
name = "Kelpwright"
aliases = ["Kelp Wright"]
[release]
id = "{release}"
name = "{name}"
source = "invented"
[[products]]
id = "pack"
name = "Kelpwright {name} pack"
form = "pack"
gtins = ["{pack_gtin}"]
faces = []
makes = [{{ id = "only", source = "invented" }}]
{box_part}
"#
    );
    toml::from_str(&text).unwrap()
}

fn catalogues() -> Vec<Catalogue> {
    let a_box = |name: &str, gtin: &str| {
        format!(
            "[[products]]\nid = \"box\"\nname = \"Kelpwright {name} box\"\nform = \"box\"\ngtins = [\"{gtin}\"]\n\
             faces = []\nmakes = [{{ id = \"only\", source = \"invented\" }}]\n"
        )
    };
    let none = "[[never_made]]\nform = \"box\"\nsource = \"trade letter no. 41 (invented)\"\ndate = \"2024-03-01\"\n";
    vec![
        catalogue(
            "first-soundings",
            "First Soundings",
            "2004173000117",
            &a_box("First Soundings", "2004173000360"),
        ),
        catalogue(
            "brass-estuary",
            "Brass Estuary",
            "2004173001107",
            &a_box("Brass Estuary", "2004173001367"),
        ),
        catalogue("night-dredge", "Night Dredge", "2004173002197", none),
    ]
}

fn offer(title: &str, description: &str) -> OfferFacts {
    OfferFacts {
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
    }
}

fn examined(title: &str, description: &str, placed: &[&str]) -> Vec<Finding> {
    let (facts, catalogues) = (offer(title, description), catalogues());
    let placed: Vec<ProductId> = placed.iter().map(|p| p.parse().unwrap()).collect();
    let claims = offer::claims(&facts, &catalogues);
    offer::findings(&"a".parse().unwrap(), Some(&facts), &claims, &placed, &catalogues)
}

/// What the existence finding says: `made`, `never`, `library` (not covered) or `unclear`.
fn existence(found: &[Finding]) -> &'static str {
    let one = found.iter().find(|f| f.quantity.as_str() == "made-in-this-form").unwrap();
    match &one.reading {
        Reading::Fact { outcome: FactOutcome::AsGenuine, .. } => "made",
        Reading::Fact { outcome: FactOutcome::Points { to: State::NeverMade }, .. } => "never",
        Reading::CannotTell { missing } if missing[0].lack == Lack::Library => "library",
        Reading::CannotTell { .. } => "unclear",
        other => panic!("{other:?}"),
    }
}

#[test]
fn titles_and_what_exists() {
    // title, description, products meant ("never", "unlisted", "form?" or "release?" for none), existence
    let rows: &[(&str, &str, &str, &str)] = &[
        ("Kelpwright Night Dredge booster box sealed", "", "never", "never"),
        ("KELPWRIGHT NIGHT DREDGE BOOSTER BOXES x2", "", "never", "never"),
        ("Kelpwright Night Dredge Display 36 packs", "", "never", "never"),
        ("kelpwright night-dredge 36-pack box", "", "never", "never"),
        ("Kelpwrihgt Nigth Dredge boster box", "", "never", "never"),
        ("Kelp Wright NightDredge boosterbox OVP", "", "never", "never"),
        ("Night Dredge booster box", "", "never", "never"),
        ("Kelpwright Níght Dredge ｂｏｘ", "", "never", "never"),
        ("Kelpwright Night Dredge factory sealed", "You get one booster box.", "never", "never"),
        ("Kelpwright Night Dredge booster pack", "", "night-dredge/pack", "made"),
        ("4x Kelpwright Night Dredge booster packs", "", "night-dredge/pack", "made"),
        ("Kelpwright Night Dredge 36 packs (no box)", "", "night-dredge/pack", "made"),
        ("Kelpwright Night Dredge booster", "fresh from the tray", "night-dredge/pack", "made"),
        ("Kelpwright Night Dredge tray of packs", "", "night-dredge/pack", "made"),
        ("Kelpwright Night Dredge pack from sealed box", "", "night-dredge/pack", "made"),
        ("Kelpwright Night Dredge pack in acrylic case", "", "night-dredge/pack", "made"),
        ("Kelpwright Night Dredge tin", "", "unlisted", "library"),
        ("Kelpwright Night Dredge blister pack", "", "unlisted", "library"),
        ("Kelpwright Night Dredge", "", "form?", "unclear"),
        ("Kelpwright Night Dredge", "Packs and boxes in my shop", "form?", "unclear"),
        ("Kelpwright Silver Shoals booster box", "", "release?", "library"),
        ("Kelpwright booster box", "", "release?", "library"),
        ("Kelpwright booster box", "This is Brass Estuary.", "brass-estuary/box", "made"),
        ("Kelpwright Glass Estuary booster box", "", "release?", "library"),
        ("Somebody's Harbour booster box", "", "", "library"),
        ("", "", "", "library"),
        ("Kelpwright First Soundings booster box", "", "first-soundings/box", "made"),
        ("Kelpwright First Soundings box of 36 packs", "", "first-soundings/box", "made"),
        ("Booster box Kelpwright First Soundings", "", "first-soundings/box", "made"),
        ("Kelpwright First Soundings sealed pack not Night Dredge", "", "first-soundings/pack", "made"),
        ("Kelpwright First Soundings pack (like Night Dredge)", "", "first-soundings/pack", "made"),
        ("Kelpwright First Soundings pack fresh from booster box", "", "form?", "unclear"),
        (
            "Kelpwright Brass Estuary and Night Dredge booster packs",
            "",
            "brass-estuary/pack night-dredge/pack",
            "made",
        ),
        (
            "Kelpwright Brass Estuary box + Night Dredge pack",
            "",
            "brass-estuary/box night-dredge/pack",
            "made",
        ),
        ("Kelpwright Brass Estuary box + Night Dredge box", "", "brass-estuary/box never", "unclear"),
        (
            "Booster box Brass Estuary, pack Night Dredge",
            "Kelpwright",
            "brass-estuary/box night-dredge/pack",
            "made",
        ),
        ("Kelpwright Brass Estaury boosters", "", "brass-estuary/pack", "made"),
        ("Brass band at the estuary, box of photos", "", "", "library"),
        ("A night to dredge the box", "", "", "library"),
    ];
    let catalogues = catalogues();
    let mut misses = String::new();
    for (title, description, meant, exists) in rows {
        let claims = offer::claims(&offer(title, description), &catalogues);
        let found: Vec<String> = claims
            .products
            .iter()
            .map(|claim| match &claim.standing {
                Standing::Catalogued(ids) => ids
                    .iter()
                    .map(|id| id.as_str().trim_start_matches("kelpwright/").to_owned())
                    .collect::<Vec<_>>()
                    .join("|"),
                Standing::NeverMade { .. } => "never".to_owned(),
                Standing::FormNotListed => "unlisted".to_owned(),
                Standing::NoRelease => "release?".to_owned(),
                Standing::NoForm => "form?".to_owned(),
            })
            .collect();
        let found = found.join(" ");
        if found != *meant {
            misses += &format!("{title:?} {description:?}: meant {meant:?}, found {found:?}\n");
        }
        let says = existence(&examined(title, description, &[]));
        if says != *exists {
            misses += &format!("{title:?} {description:?}: existence {exists}, found {says}\n");
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn photos_say_which_of_several_products_it_is() {
    let title = "Kelpwright Brass Estuary box + Night Dredge box";
    assert_eq!(existence(&examined(title, "", &["kelpwright/brass-estuary/box"])), "made");
    assert_eq!(
        existence(&examined("Kelpwright Brass Estuary", "", &["kelpwright/brass-estuary/pack"])),
        "made"
    );
    // A pack in the photos does not bring the box that is offered into being.
    assert_eq!(
        existence(&examined("Night Dredge booster box", "", &["kelpwright/night-dredge/pack"])),
        "never"
    );
    assert_eq!(existence(&examined("old cards", "", &["kelpwright/night-dredge/pack"])), "made");
}

#[test]
fn words_against_photos() {
    let rows: [(&str, &[&str], Option<f64>); 5] = [
        ("Kelpwright Brass Estuary pack", &["kelpwright/brass-estuary/pack"], Some(0.0)),
        ("Kelpwright Brass Estuary", &["kelpwright/brass-estuary/pack"], Some(0.0)),
        ("Kelpwright Brass Estuary pack", &["kelpwright/night-dredge/pack"], Some(1.0)),
        ("Kelpwright Brass Estuary pack", &[], None),
        ("old cards", &["kelpwright/brass-estuary/pack"], None),
    ];
    for (title, placed, expected) in rows {
        let found = examined(title, "", placed);
        let one = found.iter().find(|f| f.quantity.as_str() == "title-against-photos").unwrap();
        let value = match one.reading {
            Reading::Measured { value, .. } => Some(value),
            _ => None,
        };
        assert_eq!(value, expected, "{title} {placed:?}");
        assert!(one.features.is_empty(), "it must weigh nothing");
    }
}

#[test]
fn quoted_codes() {
    let rows = [
        ("Brass Estuary pack", "EAN 2004173001107", Some(0.0)),
        ("Brass Estuary pack", "EAN 2 004173 001107", Some(0.0)),
        ("Brass Estuary pack", "ean: 2004173001106", Some(1.0)),
        ("Brass Estuary pack", "EAN 2004173002197", Some(1.0)), // another product's
        ("Brass Estuary pack", "tel. 2004173001106", None),     // some other number
    ];
    for (title, description, expected) in rows {
        let found = examined(title, description, &[]);
        let one = found.iter().find(|f| f.quantity.as_str() == "gtin-in-words");
        let value = one.map(|f| match f.reading {
            Reading::Measured { value, .. } => value,
            _ => f64::NAN,
        });
        assert_eq!(value, expected, "{description}");
    }
}

#[test]
fn doubtful_readings_raise_the_error_rate() {
    let rate = |title: &str, description: &str| {
        let found = examined(title, description, &[]);
        match found[0].reading {
            Reading::Fact { error_rate, .. } => error_rate,
            ref other => panic!("{title}: {other:?}"),
        }
    };
    let plain = rate("Kelpwright Night Dredge booster box", "");
    assert!((plain - (1.0 - 0.99 * 0.995)).abs() < 1e-12);
    for doubtful in [
        rate("Kelpwright Nihgt Dredge booster box", ""),
        rate("Night Dredge booster box", ""),
        rate("Kelpwright Night Dredge", "booster box"),
    ] {
        assert!(doubtful > plain && doubtful < 0.1, "{doubtful}");
    }
}

#[test]
fn hostile_text_is_only_text() {
    let long = "Kelpwright Night Dredge box ".repeat(20_000);
    for text in [long.as_str(), "\u{0}\u{202e}box", "𝕂𝕖𝕝𝕡𝕨𝕣𝕚𝕘𝕙𝕥", "x".repeat(100_000).as_str()]
    {
        let found = examined(text, text, &[]);
        assert!(!found.is_empty());
    }
}
