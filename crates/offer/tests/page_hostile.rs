//! Saved pages: what schema.org and OpenGraph say, from pages as sites write them and as an enemy would.
//!
//! Names of types and properties are those of `schemaorg2025` and `opengraph2017`. The kept fuzz inputs
//! are replayed whole, cut short and bent; the laws stand in `fuzz/laws/pages.rs`.
#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "helpers of tests; a panic is the failure"
)]

use std::path::Path;

use offer::page::{MAX_PAGE_BYTES, PageError, read};

#[path = "../../../fuzz/laws/pages.rs"]
mod pages;

fn kept(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/page_html").join(name))
        .unwrap()
}

#[test]
fn a_listing_is_read_from_its_json_ld() {
    let page = pages::holds(&kept("listing.html"));
    assert_eq!(page.title, "Kelpwright Night Dredge pack");
    assert!(page.description.contains("fresh") && !page.description.contains('<'), "{}", page.description);
    assert_eq!(page.price.unwrap().to_string(), "1234.50 EUR");
    assert_eq!(page.shipping.unwrap().to_string(), "4.9 EUR");
    assert_eq!(page.venue.as_deref(), Some("Pennyferry Market"));
    assert_eq!(page.seller.as_deref(), Some("gearwife"));
    assert_eq!(page.ends.unwrap().to_string(), "2026-12-24T17:00:00Z");
    assert_eq!(page.pictures, ["a.jpg", "b.jpg"]);
    let returns = page.returns.unwrap();
    assert_eq!((returns.accepted, returns.days, returns.buyer_pays_postage), (true, Some(14), true));
}

#[test]
fn open_graph_serves_where_there_is_no_json_ld() {
    let page = pages::holds(&kept("open-graph.html"));
    assert_eq!(page.title, "Two packs <img src=x onerror=alert(1)>", "text stays text");
    assert_eq!(page.price.unwrap().to_string(), "12 USD");
}

#[test]
fn nonsense_is_left_out() {
    let page = pages::holds(&kept("broken.html"));
    assert!(page.price.is_none() && page.ends.is_none());
    let empty = pages::holds(b"");
    assert!(empty.facts().is_none());
    for amount in ["-1", "1e9", "12.3.4", "NaN", "", "0x10", "99999999999999999999999999999999"] {
        let html = format!(
            "<meta property='product:price:amount' content='{amount}'><meta property='product:price:currency' content='EUR'>"
        );
        assert!(read(html.as_bytes()).unwrap().price.is_none(), "{amount}");
    }
}

#[test]
fn deep_wide_and_long_pages_end() {
    let deep = "<div>".repeat(60_000);
    pages::holds(deep.as_bytes());
    let nested = format!("<script type='application/ld+json'>{}</script>", "[".repeat(100_000));
    pages::holds(nested.as_bytes());
    let many =
        "<script type='application/ld+json'>{\"@type\":\"Product\",\"name\":\"x\"}</script>".repeat(5_000);
    assert_eq!(pages::holds(many.as_bytes()).title, "x");
    let wide = format!(
        "<script type='application/ld+json'>[{}{{\"@type\":\"Product\",\"name\":\"late\"}}]</script>",
        "{\"a\":1},".repeat(100_000)
    );
    pages::holds(wide.as_bytes());
    let long = format!("<title>{}</title>", "é ".repeat(200_000));
    assert!(pages::holds(long.as_bytes()).title.chars().count() <= 300);
    assert!(matches!(read(&vec![b' '; MAX_PAGE_BYTES + 1]), Err(PageError::TooLarge { .. })));
}

#[test]
fn kept_inputs_keep_the_laws_whole_cut_and_bent() {
    for name in ["listing.html", "open-graph.html", "broken.html"] {
        let bytes = kept(name);
        for at in (0..bytes.len()).step_by(3) {
            pages::holds(&bytes[..at]);
            let mut bent = bytes.clone();
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            pages::holds(&bent);
        }
    }
}
