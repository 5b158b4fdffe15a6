//! Contrast of every pair of colours that the report uses, by the formula of `wcag22` (relative
//! luminance and contrast ratio), for light and dark.
//!
//! The formula is written out here a second time, on purpose: the crate has none, it only names
//! colours. It is checked on ratios that follow from the definition (black on white is 21).

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers may fail the test")]

use std::collections::BTreeMap;

mod invented;

/// Text, level AA.
const LEAST_TEXT: f64 = 4.5;
/// Lines and shapes that carry meaning, level AA.
const LEAST_SHAPE: f64 = 3.0;

fn luminance(hex: &str) -> f64 {
    let channel = |at: usize| {
        let v = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { casebook::elementary::pow((v + 0.055) / 1.055, 2.4) }
    };
    0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
}

fn contrast(a: &str, b: &str) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The variables of each rule that sets them, in the page's order: light, dark, print.
fn palettes() -> Vec<BTreeMap<String, String>> {
    let html = invented::cases::never_made().html();
    let mut palettes = Vec::new();
    for rule in html.split(":root{").skip(1) {
        let body = &rule[..rule.find('}').unwrap()];
        let pairs = body.split(';').filter_map(|d| d.trim().strip_prefix("--")?.split_once(':'));
        palettes.push(pairs.map(|(k, v)| (k.to_owned(), v.to_owned())).collect());
    }
    palettes
}

#[test]
fn the_formula_gives_the_known_ratios() {
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    assert!((contrast("#ffffff", "#ffffff") - 1.0).abs() < 1e-9);
    // #767676 is the lightest grey that passes 4.5 on white, as accessibility guides print it.
    assert!(contrast("#767676", "#ffffff") >= 4.5 && contrast("#777777", "#ffffff") < 4.5);
}

#[test]
fn every_pair_is_legible_in_light_dark_and_print() {
    let palettes = palettes();
    assert_eq!(palettes.len(), 3);
    let mut misses = String::new();
    for (place, palette) in palettes.iter().enumerate() {
        let rows = [
            ("ink", "paper", LEAST_TEXT),
            ("ink", "panel", LEAST_TEXT),
            ("muted", "paper", LEAST_TEXT),
            ("muted", "panel", LEAST_TEXT),
            ("first", "paper", LEAST_TEXT),
            ("second", "paper", LEAST_TEXT),
            ("first", "panel", LEAST_TEXT),
            ("second", "panel", LEAST_TEXT),
            ("rule", "paper", LEAST_SHAPE),
            ("rule", "panel", LEAST_SHAPE),
        ];
        for (front, back, least) in rows {
            let got = contrast(&palette[front], &palette[back]);
            if got < least {
                misses += &format!("palette {place}: {front} on {back} is {got:.2}, needs {least}\n");
            }
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn text_is_only_ever_in_the_palette() {
    // A colour outside the palette would escape the table above. The marks drawn over photos have
    // their own pair, light halo and dark line, which carries its contrast with it.
    let html = invented::cases::reclosed().html();
    let style = html.split("<style>").nth(1).and_then(|s| s.split("</style>").next()).unwrap();
    let rules = style.split('}').filter(|r| !r.contains(":root"));
    let allowed = ["#fff", "#10202c", "#8d969e", "#hatch", "#veil"];
    for rule in rules {
        for (at, _) in rule.match_indices('#') {
            assert!(allowed.iter().any(|a| rule[at..].starts_with(a)), "{rule}");
        }
    }
    assert!(contrast("#10202c", "#ffffff") > 7.0);
}
