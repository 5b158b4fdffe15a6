//! What every report must have, read back from its HTML with a browser's parser: headings in order,
//! text alternatives, table heads, labels, unique ids, all findings, all cautions, nothing loaded.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers may fail the test")]

use std::collections::BTreeSet;

use casebook::evaluation::EvaluationFile;
use casebook::finding::Reading;
use scraper::{ElementRef, Html, Selector};

mod invented;

fn all<'a>(page: &'a Html, selector: &str) -> Vec<ElementRef<'a>> {
    page.select(&Selector::parse(selector).unwrap()).collect()
}

fn text(element: ElementRef<'_>) -> String {
    element.text().flat_map(str::split_whitespace).collect::<Vec<_>>().join(" ")
}

/// Every page that the crate can write, with its name.
fn pages() -> Vec<(String, String)> {
    let cases = invented::cases::all();
    let mut pages: Vec<(String, String)> =
        cases.iter().map(|c| (c.examination.case.to_string(), c.html())).collect();
    let entries: Vec<_> = cases
        .iter()
        .map(|c| dossier::SetEntry {
            examination: &c.examination,
            thumb: c.photos.first(),
            link: Some("cases/x.html"),
        })
        .collect();
    let set = dossier::SetInput {
        title: "Offers",
        introduction: "",
        entries: &entries,
        generated_at: None,
        program: "untorn",
    };
    pages.push(("set".to_owned(), dossier::set_report(&set)));
    pages.push(("product".to_owned(), invented::product::page("")));
    pages.push(("evaluation".to_owned(), dossier::evaluation_report(&evaluation(), Some("today"))));
    pages
}

/// An evaluation of three items with a comparison that has figures and one that has none.
fn evaluation() -> EvaluationFile {
    let item = |name: &str, state: &str, bans: f64| {
        serde_json::json!({
            "case": name, "item": "a", "state": state, "product": "kelpwright/brass-estuary/pack", "severity": 0.5,
            "wear": 0.1, "stance": { "kind": "neither" }, "action": { "do": "pass" }, "weight": bans,
            "against": [{ "state": "resealed", "bans": bans }],
        })
    };
    let share = serde_json::json!({ "count": 1, "of": 2, "low": 0.01, "high": 0.99 });
    serde_json::from_value(serde_json::json!({
        "schema": "untorn.evaluation/1", "program": "untorn", "set": "offers <b>of</b> ours",
        "calibration": [{ "state": "sealed", "origin": "rendered", "count": 24 }],
        "comparisons": [{
            "sealed": 2, "others": 1, "cllr": 0.4, "min_cllr": 0.3, "auc": 0.9, "equal_error_rate": 0.1,
            "steps": [{ "step": "weak", "false_sealed": share, "false_not_sealed": share }],
            "reliability": [[-1.0, -0.5], [0.4, 0.3], [1.5, 0.3]],
        }, { "against": "counterfeit", "sealed": 2, "others": 0 }],
        "slices": [{ "by": "light", "part": "window", "comparison": { "sealed": 2, "others": 0 } }],
        "decisions": { "bought_unread": 0, "hidden_asked": 1, "hidden": 1, "bought_not_sealed": 0, "passed_sealed": 0 },
        "items": [item("x", "sealed", 1.5), item("y", "sealed", 0.4), item("z", "resealed", -1.0)],
    }))
    .unwrap()
}

#[test]
fn plots_stand_alone_with_axes_units_and_words() {
    let plots = dossier::evaluation_plots(&evaluation());
    let names: Vec<&str> = plots.iter().map(|p| p.0.as_str()).collect();
    assert_eq!(names, ["tippett-all.svg", "reliability-all.svg"], "nothing is drawn without figures");
    for (name, svg) in plots {
        assert!(svg.starts_with("<svg xmlns=") && svg.contains("prefers-color-scheme:dark"), "{name}");
        assert!(
            svg.contains("(ban)") && svg.contains("aria-label=") && !svg.contains("NaN"),
            "{name}: {svg}"
        );
    }
}

#[test]
fn the_parser_has_nothing_to_repair() {
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        assert!(page.errors.is_empty(), "{name}: {:?}", page.errors);
    }
}

#[test]
fn headings_start_at_one_and_skip_no_level() {
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        let levels: Vec<u8> = all(&page, "h1, h2, h3, h4, h5, h6")
            .iter()
            .map(|h| h.value().name().as_bytes()[1] - b'0')
            .collect();
        assert_eq!(levels[0], 1, "{name}");
        assert_eq!(levels.iter().filter(|l| **l == 1).count(), 1, "{name}");
        assert!(levels.windows(2).all(|w| w[1] <= w[0] + 1), "{name}: {levels:?}");
    }
}

#[test]
fn pictures_and_drawings_have_words() {
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        for image in all(&page, "img") {
            assert!(image.attr("alt").is_some_and(|a| a.len() > 5), "{name}: {:?}", image.html().get(..200));
            assert!(image.attr("width").is_some() && image.attr("height").is_some());
        }
        for svg in all(&page, "svg") {
            let nested = svg.ancestors().filter_map(ElementRef::wrap).any(|e| e.value().name() == "svg");
            let named =
                svg.attr("role") == Some("img") && svg.attr("aria-label").is_some_and(|a| a.len() > 5);
            assert!(nested || named || svg.attr("aria-hidden") == Some("true"), "{name}: {}", svg.html());
        }
    }
}

#[test]
fn tables_have_heads_with_scope_and_a_caption() {
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        for head in all(&page, "th") {
            assert!(
                matches!(head.attr("scope"), Some("col" | "row" | "rowgroup")),
                "{name}: {}",
                head.html()
            );
        }
        for table in all(&page, "table") {
            let caption = Selector::parse("caption").unwrap();
            assert!(table.select(&caption).next().is_some(), "{name}");
        }
    }
}

#[test]
fn rows_are_as_wide_as_their_table() {
    let (row, cell) = (Selector::parse("tr").unwrap(), Selector::parse("td, th").unwrap());
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        for table in all(&page, "table") {
            let span =
                |c: &ElementRef<'_>, what: &str| c.attr(what).map_or(1, |v| v.parse::<usize>().unwrap());
            let mut carried: Vec<(usize, usize)> = Vec::new(); // (rows left, columns)
            let mut widths = BTreeSet::new();
            for r in table.select(&row) {
                let from_above: usize =
                    carried.iter().filter(|(rows, _)| *rows > 0).map(|(_, columns)| columns).sum();
                carried.iter_mut().for_each(|c| c.0 = c.0.saturating_sub(1));
                let mut own = 0;
                for c in r.select(&cell) {
                    own += span(&c, "colspan");
                    if span(&c, "rowspan") > 1 {
                        carried.push((span(&c, "rowspan") - 1, span(&c, "colspan")));
                    }
                }
                widths.insert(own + from_above);
            }
            assert_eq!(widths.len(), 1, "{name}: {widths:?} {}", table.html().get(..300).unwrap_or_default());
        }
    }
}

#[test]
fn ids_are_unique_links_lead_somewhere_and_fields_have_labels() {
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        let ids: Vec<&str> = all(&page, "[id]").iter().filter_map(|e| e.attr("id")).collect();
        let unique: BTreeSet<&str> = ids.iter().copied().collect();
        assert_eq!(ids.len(), unique.len(), "{name}");
        for link in all(&page, "a[href^='#']") {
            let target = &link.attr("href").unwrap()[1..];
            assert!(unique.contains(target), "{name}: #{target}");
        }
        for label in all(&page, "label[for]") {
            assert!(unique.contains(label.attr("for").unwrap()), "{name}");
        }
        for input in all(&page, "input") {
            let wrapped = input.ancestors().filter_map(ElementRef::wrap).any(|e| e.value().name() == "label");
            assert!(wrapped || input.attr("aria-label").is_some(), "{name}: {}", input.html());
        }
    }
}

#[test]
fn every_finding_stands_in_the_report() {
    for case in invented::cases::all() {
        let html = case.html();
        let page = Html::parse_document(&html);
        let rows: Vec<String> = all(&page, "tbody tr").into_iter().map(text).collect();
        for finding in case.examination.items.iter().flat_map(|i| &i.findings) {
            let says: Vec<&str> = match &finding.reading {
                Reading::CannotTell { missing } => {
                    missing.iter().flat_map(|m| [m.words.as_str(), m.wants.as_str()]).collect()
                }
                _ => vec![finding.says.as_str()],
            };
            let stands =
                |row: &String| row.contains(&finding.question) && says.iter().all(|s| row.contains(s));
            assert!(rows.iter().any(stands), "{}: {}", case.examination.case, finding.key());
        }
    }
}

#[test]
fn every_picture_is_shown_once() {
    for case in invented::cases::all() {
        let html = case.html();
        for picture in &case.pictures {
            assert_eq!(
                html.matches(&picture.caption).count(),
                case.pictures.iter().filter(|p| p.caption == picture.caption).count(),
                "{}",
                picture.id
            );
        }
        let page = Html::parse_document(&html);
        let numbers: Vec<String> =
            all(&page, "[id^='figure-']").iter().map(|e| e.attr("id").unwrap().to_owned()).collect();
        let expected: Vec<String> = (1..=case.pictures.len()).map(|n| format!("figure-{n}")).collect();
        assert_eq!(numbers, expected, "figures are numbered in the order they are shown");
    }
}

#[test]
fn the_reference_comes_first_and_the_top_seal_above_the_bottom_one() {
    let html = invented::cases::reclosed().html();
    let at = |needle: &str| html.find(needle).unwrap_or_else(|| panic!("{needle}"));
    assert!(at("The front of the reference.") < at("The front as offered"));
    assert!(at("Top end seal, laid flat") < at("Bottom end seal, laid flat"));
    assert!(at("Bottom end seal, laid flat") < at("Ridge profile of both"));
}

#[test]
fn cautions_stand_in_every_report_once() {
    for (name, html) in pages() {
        let page = Html::parse_document(&html);
        let items: Vec<String> = all(&page, "ul.cautions li").into_iter().map(text).collect();
        assert_eq!(items.len(), dossier::CAUTIONS.len(), "{name}");
        for caution in dossier::CAUTIONS {
            assert!(items.iter().any(|i| i == caution), "{name}: {caution}");
        }
    }
}

#[test]
fn nothing_is_loaded_and_nothing_runs() {
    for (name, html) in pages() {
        assert!(!html.contains("http://") && !html.contains("https://"), "{name}");
        let page = Html::parse_document(&html);
        assert!(all(&page, "script, link, iframe, object, embed, form, base").is_empty(), "{name}");
        let policy = all(&page, "meta[http-equiv='Content-Security-Policy']")[0].attr("content").unwrap();
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("script-src"), "{name}");
        for image in all(&page, "img") {
            assert!(image.attr("src").unwrap().starts_with("data:image/png;base64,"), "{name}");
        }
        for element in all(&page, "*") {
            for (attribute, value) in element.value().attrs() {
                assert!(!attribute.starts_with("on"), "{name}: {attribute}");
                let refers = matches!(attribute, "src" | "href" | "action" | "poster" | "srcset");
                assert!(
                    !refers
                        || value.starts_with("data:image/")
                        || value.starts_with('#')
                        || value == "cases/x.html",
                    "{name}: {value}"
                );
            }
        }
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    for (first, second) in pages().into_iter().zip(pages()) {
        assert!(first == second, "{}", first.0);
    }
}

#[test]
fn drawings_name_their_units() {
    let html = invented::cases::reclosed().html();
    let page = Html::parse_document(&html);
    for (selector, unit) in
        [("svg.ladder", "ban"), ("svg.waterfall", "ban"), ("svg.plot", "(mm)"), ("svg.ruler", "mm")]
    {
        let drawings = all(&page, selector);
        assert!(!drawings.is_empty(), "{selector}");
        for drawing in drawings {
            assert!(text(drawing).contains(unit), "{selector}: {}", text(drawing));
        }
    }
    let ladder = text(all(&page, "svg.ladder")[0]);
    assert!(ladder.contains("supports sealed") && ladder.contains("supports the alternatives"), "{ladder}");
    assert!(ladder.contains("moderate") && ladder.contains("weak"), "{ladder}");
}

#[test]
fn the_waterfall_ends_at_the_stated_weight() {
    let case = invented::cases::reclosed();
    let html = case.html();
    let page = Html::parse_document(&html);
    // resealed: −1.6 − 0.7 + 0.1 + 0.0 = −2.2, stated −2.0: the difference is a row of its own.
    let first = text(all(&page, "svg.waterfall")[0]);
    assert!(first.contains("Limit on the sum +0.2 ban") && first.contains("Sum −2.0 ban"), "{first}");
    // counterfeit: −0.3 − 0.2 + 1.3 + 0.0 = 0.8, stated 0.8.
    let second = text(all(&page, "svg.waterfall")[1]);
    assert!(!second.contains("Limit on the sum") && second.contains("Sum +0.8 ban"), "{second}");
}

#[test]
fn money_and_posteriors_are_exact() {
    let html = invented::cases::plausible().html().replace('\u{a0}', " ");
    for expected in ["14.50 EUR", "Buy up to 23.80 EUR, shipping included.", "98.5 %", "70 %"] {
        assert!(html.contains(expected), "{expected}");
    }
    // Prior 50 %, weight +1.8 ban: odds 63.1, probability 0.9844.
    let page = Html::parse_document(&html);
    let row = all(&page, "tbody tr").into_iter().map(text).find(|r| r.starts_with("50 % likely")).unwrap();
    assert!(row.starts_with("50 % likely 98.4 %"), "{row}");
}

#[test]
fn a_missing_view_asks_and_never_buys() {
    let html = invented::cases::hidden().html();
    let page = Html::parse_document(&html);
    let message = text(all(&page, "textarea")[0]);
    assert!(
        message.contains("1. a sharp photo of the bottom end seal")
            && message.contains("2. a photo of the whole back")
    );
    assert!(html.contains("no purchase follows from this table"));
    assert!(html.contains("declined (weighs in the decision, never as evidence)"));
    assert!(html.contains("ends after 1200 of 80311 bytes"));
}

#[test]
fn people_stay_out_of_it() {
    let case = invented::cases::reclosed();
    let seller =
        case.case.as_ref().and_then(|c| c.offer.as_ref()?.seller.as_ref()).map(|s| s.name.clone()).unwrap();
    assert!(!case.html().contains(&seller));
}

#[test]
fn no_word_promises_more_than_photos_show() {
    for (name, html) in pages() {
        let shown = Html::parse_document(&html);
        let words = text(shown.root_element()).to_lowercase();
        for word in ["authenticated", "verified", " safe ", "fraud", "scam", "fake", "score", "grade"] {
            assert!(!words.contains(word), "{name}: {word}");
        }
    }
}

#[test]
fn the_strongest_reason_speaks_for_the_opinion() {
    // Whatever order the groups come in: existence weighs more in itself, but not for this opinion.
    let mut case = invented::cases::reclosed();
    let opinion = &mut case.examination.items[0].opinion;
    opinion.contributions.reverse();
    assert!(dossier::strongest_reason(opinion).starts_with("The bottom seal's ridges change"));
    let mut case = invented::cases::plausible();
    let opinion = &mut case.examination.items[0].opinion;
    opinion.contributions.reverse();
    assert_eq!(dossier::strongest_reason(opinion), "Both seals' ridges are equally even.");
    let case = invented::cases::hidden();
    assert_eq!(
        dossier::strongest_reason(&case.examination.items[0].opinion),
        "not read: back (no photo shows it)"
    );
}
