//! Text that strangers wrote, numbers that are none, pictures that lie: the page stays one page.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers may fail the test")]

use casebook::finding::Reading;
use casebook::picture::Content;
use casebook::units::Bans;
use proptest::prelude::*;
use scraper::{Html, Selector};

mod invented;

const HOSTILE: [&str; 6] = [
    "</title></style></textarea><script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "' autofocus onfocus='alert(1)",
    "<!-- --!> ]]> <svg><script href=data:,alert(1)>",
    "\u{202e}\u{0}\u{7}\u{1b}[31m reversed \u{2028}",
    "&lt;b&gt; &amp; {{7*7}} javascript:alert(1)",
];

/// The invented case with one text in every place that strangers or files fill.
fn poisoned(text: &str) -> invented::Invented {
    let mut it = invented::cases::hidden();
    let t = || text.to_owned();
    it.examination.title = Some(t());
    it.examination.cautions = vec![t()];
    for photo in &mut it.examination.photos {
        photo.problem = Some(t());
        photo.note = Some(t());
    }
    for item in &mut it.examination.items {
        for f in &mut item.findings {
            f.question = t();
            f.says = t();
            f.place.part = Some(t());
            match &mut f.reading {
                Reading::Measured { unit, .. } => *unit = t(),
                Reading::Fact { source, .. } => *source = t(),
                Reading::CannotTell { missing } => {
                    missing.iter_mut().for_each(|m| (m.words, m.wants) = (t(), t()))
                }
            }
            if let Some(e) = &mut f.expected {
                e.basis = t();
            }
        }
        let o = &mut item.opinion;
        (o.words, o.wording_capped, o.conflicts) = (t(), Some(t()), vec![t()]);
        o.coverage.iter_mut().for_each(|v| (v.view, v.words, v.request) = (t(), t(), Some(t())));
        o.contributions.iter_mut().for_each(|c| (c.basis, c.says) = (t(), t()));
        (item.decision.reason, item.decision.requests) = (t(), vec![t()]);
    }
    if let Some(offer) = &mut it.examination.offer {
        (offer.decision.reason, offer.decision.requests, offer.message) = (t(), vec![t()], t());
        offer.requests.iter_mut().for_each(|r| (r.wants, r.view) = (t(), Some(t())));
    }
    for p in &mut it.pictures {
        (p.caption, p.alt) = (t(), t());
        if let Content::Image { marks, .. } = &mut p.content {
            marks.iter_mut().for_each(|m| m.label = t());
        }
    }
    if let Some(case) = &mut it.case {
        case.requests.iter_mut().for_each(|r| r.wants = t());
        if let Some(offer) = &mut case.offer {
            (offer.title, offer.description, offer.venue) = (t(), t(), Some(t()));
        }
    }
    for name in it.names.values_mut() {
        *name = t();
    }
    it
}

fn count(page: &Html, selector: &str) -> usize {
    page.select(&Selector::parse(selector).unwrap()).count()
}

#[test]
fn hostile_text_adds_no_element_and_no_attribute() {
    let calm = Html::parse_document(&poisoned("calm").html());
    for text in HOSTILE {
        let html = poisoned(text).html();
        let page = Html::parse_document(&html);
        assert_eq!(count(&page, "script"), 0, "{text:?}");
        for selector in ["*", "img", "svg", "textarea", "style", "[onerror], [onfocus], [autofocus]"] {
            assert_eq!(count(&page, selector), count(&calm, selector), "{selector} with {text:?}");
        }
        assert!(!html.contains('\u{0}') && !html.contains('\u{1b}'), "{text:?}");
    }
}

#[test]
fn a_title_cannot_reorder_the_page() {
    let html = poisoned("\u{202e}desrever").html();
    assert!(html.contains("<h1><bdi>\u{202e}desrever</bdi></h1>"));
}

#[test]
fn numbers_that_are_none_are_said_and_not_drawn() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e308, -1e308] {
        let mut it = invented::cases::reclosed();
        let item = &mut it.examination.items[0];
        for f in &mut item.findings {
            if let Reading::Measured { value, standard_uncertainty, .. } = &mut f.reading {
                (*value, *standard_uncertainty) = (bad, bad);
            }
            f.seeing.px_per_mm = Some(bad);
            f.seeing.glare = Some(bad);
        }
        item.opinion.weight.value = Bans(bad);
        item.opinion.against[0].weight.low = Bans(bad);
        item.opinion.contributions[0].weights[0].weight.value = Bans(bad);
        item.opinion.posterior[0].share = bad;
        for p in &mut it.pictures {
            match &mut p.content {
                Content::Image { px_per_mm, marks, .. } => {
                    *px_per_mm = Some(bad);
                    marks.iter_mut().for_each(|m| m.points[0].0 = bad);
                }
                Content::Plot(plot) => plot.curves[0].points[3] = (bad, bad),
            }
        }
        let html = it.html();
        let page = Html::parse_document(&html);
        for element in page.select(&Selector::parse("svg, svg *").unwrap()) {
            for (name, value) in element.value().attrs().filter(|(n, _)| *n != "aria-label") {
                let words: Vec<&str> = value.split([' ', ',', '%', 'M', 'L']).collect();
                assert!(!words.iter().any(|w| w.contains("NaN") || w.contains("inf")), "{name}={value}");
            }
        }
    }
}

#[test]
fn a_picture_of_another_type_is_not_loaded_as_one() {
    let mut it = invented::cases::reclosed();
    it.photos[0].media_type = "image/svg+xml";
    let html = it.html();
    assert!(!html.contains("svg+xml") && html.contains("data:application/octet-stream;base64,"));
}

#[test]
fn an_examination_of_nothing_is_a_page_too() {
    let mut it = invented::cases::hidden();
    it.examination.items.clear();
    it.examination.photos.clear();
    it.pictures.clear();
    it.photos.clear();
    it.case = None;
    let html = it.html();
    assert!(html.contains("The case names no item") && html.contains(dossier::CAUTIONS[0]));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_text_comes_back_as_text(text in "\\PC{1,60}") {
        let html = poisoned(&text).html();
        let page = Html::parse_document(&html);
        let heading: String = page.select(&Selector::parse("h1").unwrap()).next().unwrap().text().collect();
        prop_assert_eq!(heading, text);
    }
}
