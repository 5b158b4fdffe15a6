//! The page of a product says what the catalogue says and no more, and stays one page whatever a
//! stranger's bundle wrote into it.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers may fail the test")]

use scraper::{Html, Selector};

mod invented;

fn words(html: &str) -> String {
    let page = Html::parse_document(html);
    page.root_element()
        .text()
        .flat_map(str::split_whitespace)
        .collect::<Vec<_>>()
        .join(" ")
        .replace('\u{a0}', " ")
}

#[test]
fn every_fact_of_the_catalogue_stands_on_it() {
    let words = words(&invented::product::page(""));
    for fact in [
        "Kelpwright Brass Estuary pack",
        "Brass Estuary, 2023",
        "(63.5 ± 1.5) ×",
        "2004173000117",
        "Front , 63 × 110 mm",
        "wordmark: “Kelpwright” (50 × 11 mm)",
        "Make quay",
        "Quay works",
        "along the pack, square to the cut edge",
        "across the pack, parallel to the cut edge",
        "cut in teeth (1.6 ± 0.1) mm apart",
        "Ends cut straight.",
        "printed mark that repeats every (41 ± 2) mm",
        "Never made as tin, by invented , 2026-01-02.",
        "Nothing is known either way of: box, blister, case.",
        "1 specimens known to be sealed and 1 known to be something else",
        "bottom end: glue",
    ] {
        // Text of neighbouring elements is joined by spaces, which no reader sees.
        let (fact, plain) = (fact.replace(" ,", ","), words.replace(" ,", ","));
        assert!(plain.contains(&fact), "{fact:?} is missing in: {plain}");
    }
}

#[test]
fn ends_are_drawn_to_scale() {
    let page = Html::parse_document(&invented::product::page(""));
    let all = |selector: &str| page.select(&Selector::parse(selector).unwrap()).count();
    assert_eq!(all("svg[role=img] polygon.band"), 2, "one end a make");
    // Along: a ridge every 1.1 mm of 40 mm. Across: from 0.6 mm to the 8 mm of the seal, every 0.9 mm.
    assert_eq!(all("svg[aria-label*=quay] line.axis"), 36);
    assert_eq!(all("svg[aria-label*=north] line.axis"), 9);
}

#[test]
fn hostile_text_adds_no_element() {
    let count = |html: &str| {
        let page = Html::parse_document(html);
        let all = |selector: &str| page.select(&Selector::parse(selector).unwrap()).count();
        (all("*"), all("img"), all("script"), all("[onerror], [onfocus]"))
    };
    let calm = count(&invented::product::page("calm"));
    for text in [
        "</title></style><script>alert(1)</script>",
        "\"><img src=x onerror=alert(1)>",
        "<!-- ]]> <svg>",
        "\u{202e}\u{0}\u{1b}[31m reversed",
    ] {
        let html = invented::product::page(text);
        assert_eq!(count(&html), calm, "{text:?}");
        assert!(!html.contains('\u{0}') && !html.contains('\u{1b}'), "{text:?}");
    }
}
