//! Findings from an offer's words: was this ever made, do words and photos agree, are the codes right.
//!
//! In: [`Claims`], the products placed in the photos, the catalogue. Out: findings, one a question.
//! Never here: reading text, a weight. Only existence is a fact about the item; agreement of words
//! and photos and quoted codes carry no features, so they weigh nothing and are shown as they are.

use casebook::case::OfferFacts;
use casebook::catalogue::Catalogue;
use casebook::finding::{FactOutcome, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::hypothesis::State;
use casebook::names::{ProductId, Slug};

use crate::claims::{Claims, ProductClaim, Standing};
use crate::codes::{CodeClaim, CodeMatch};

/// How often an entry of the catalogue is wrong. Assumed, not counted: it is what some fifty entries
/// checked against a second source without a fault would leave (mean of the Jeffreys posterior,
/// 0.5 / (n + 1)). Source: `jeffreys1946`.
pub const CATALOGUE_ERROR_RATE: f64 = 0.01;

/// How often words that spell out line, release and form still mean another product. Assumed.
const READING_ERROR_RATE: f64 = 0.005;
/// Added for each mistyped letter. Assumed.
const ERROR_PER_TYPING_ERROR: f64 = 0.01;
/// Added when only the description names the form. Assumed.
const ERROR_OF_BORROWED_FORM: f64 = 0.04;
/// Added when the line is not named. Assumed.
const ERROR_OF_UNNAMED_LINE: f64 = 0.02;

/// Answers the questions that an offer's words can answer about one item.
///
/// # Input
/// `offer`: absent for items in hand. `claims`: read from it by [`crate::claims`].
/// `placed_products`: products whose faces the item's photos show; empty when none was placed.
///
/// # Result
/// `existence` always; `title-against-photos` when there are words; a finding for each quoted code.
///
/// # Cannot tell
/// [`Lack::Library`] when the catalogue lacks the line, the release or the form: not covered is
/// never the same as never made.
#[must_use]
pub fn findings(
    item: &Slug,
    offer: Option<&OfferFacts>,
    claims: &Claims,
    placed_products: &[ProductId],
    catalogues: &[Catalogue],
) -> Vec<Finding> {
    let mut out = Vec::new();
    out.extend(existence(item, offer.is_some(), claims, placed_products, catalogues));
    if offer.is_some() {
        out.extend(title_against_photos(item, claims, placed_products, catalogues));
        out.extend(claims.codes.iter().filter_map(|code| quoted_code(item, code, claims, placed_products)));
    }
    out
}

/// The parts of a finding that differ from answer to answer.
pub(crate) struct Answer<'a> {
    pub(crate) examiner: &'a str,
    pub(crate) quantity: &'a str,
    pub(crate) group: &'a str,
    pub(crate) part: Option<String>,
    pub(crate) question: String,
    pub(crate) reading: Reading,
    pub(crate) says: String,
}

pub(crate) fn finding(item: &Slug, answer: Answer<'_>) -> Option<Finding> {
    Some(Finding {
        examiner: answer.examiner.parse().ok()?,
        item: item.clone(),
        place: Place { face: None, part: answer.part, rect_mm: None },
        quantity: answer.quantity.parse().ok()?,
        question: answer.question,
        reading: answer.reading,
        expected: None,
        features: Vec::new(),
        seeing: Seeing::default(),
        group: answer.group.parse().ok()?,
        photos: Vec::new(),
        pictures: Vec::new(),
        says: answer.says,
    })
}

pub(crate) fn cannot(lack: Lack, words: &str, wants: &str) -> Reading {
    let missing = Missing { lack, words: words.to_owned(), wants: wants.to_owned() };
    Reading::CannotTell { missing: vec![missing] }
}

/// The release's name as printed, with its line.
fn release_name(line: &str, release: &str, catalogues: &[Catalogue]) -> String {
    catalogues
        .iter()
        .find(|c| c.line.id.as_str() == line && c.release.id.as_str() == release)
        .map_or_else(|| format!("{line} {release}"), |c| format!("{} {}", c.line.name, c.release.name))
}

pub(crate) fn name_of(product: &ProductId, catalogues: &[Catalogue]) -> String {
    let (line, release, last) = product.parts();
    catalogues
        .iter()
        .filter(|c| c.line.id.as_str() == line && c.release.id.as_str() == release)
        .flat_map(|c| &c.products)
        .find(|p| p.id.as_str() == last)
        .map_or_else(|| product.to_string(), |p| p.name.clone())
}

fn error_rate(claim: &ProductClaim) -> f64 {
    let mut reading = READING_ERROR_RATE + ERROR_PER_TYPING_ERROR * claim.typing_errors as f64;
    if claim.form_from_description {
        reading += ERROR_OF_BORROWED_FORM;
    }
    if !claim.line_named {
        reading += ERROR_OF_UNNAMED_LINE;
    }
    (1.0 - (1.0 - CATALOGUE_ERROR_RATE) * (1.0 - reading)).min(0.5)
}

/// Whether a claim can mean a product that the photos show.
fn fits(claim: &ProductClaim, placed: &ProductId) -> bool {
    let (line, release, _) = placed.parts();
    match &claim.standing {
        Standing::Catalogued(products) => products.contains(placed),
        Standing::NoForm => {
            claim.line.as_str() == line && claim.release.as_ref().is_some_and(|r| r.as_str() == release)
        }
        Standing::NoRelease => claim.line.as_str() == line,
        Standing::NeverMade { .. } | Standing::FormNotListed => false,
    }
}

fn existence(
    item: &Slug,
    has_words: bool,
    claims: &Claims,
    placed: &[ProductId],
    catalogues: &[Catalogue],
) -> Option<Finding> {
    let (question, reading, says) = judge_existence(has_words, claims, placed, catalogues);
    let answer = Answer {
        examiner: "existence",
        quantity: "made-in-this-form",
        group: "existence",
        part: None,
        question,
        reading,
        says,
    };
    finding(item, answer)
}

fn judge_existence(
    has_words: bool,
    claims: &Claims,
    placed: &[ProductId],
    catalogues: &[Catalogue],
) -> (String, Reading, String) {
    let plain = "Was such a product ever made?".to_owned();
    // What the item's own photos show, where the words allow it, is the product meant.
    let shown = placed.iter().find(|p| claims.products.iter().any(|c| fits(c, p)));
    let never: Vec<&ProductClaim> =
        claims.products.iter().filter(|c| matches!(c.standing, Standing::NeverMade { .. })).collect();
    let others = claims.products.len() - never.len();
    if let Some(product) = shown.or_else(|| placed.first().filter(|_| never.is_empty())) {
        let name = name_of(product, catalogues);
        let reading = Reading::Fact {
            outcome: FactOutcome::AsGenuine,
            error_rate: CATALOGUE_ERROR_RATE,
            source: format!("catalogue entry of {name}; rate of wrong entries assumed"),
        };
        return (plain, reading, format!("The catalogue lists {name}, which the photos show."));
    }
    match (never.as_slice(), others) {
        ([claim, rest @ ..], 0) if rest.iter().all(|c| c.release == claim.release) => {
            never_made(claim, catalogues)
        }
        ([], 0) => no_claim(plain, has_words),
        ([], _) => made_or_not_listed(plain, claims, catalogues),
        _ => {
            let named = list_claims(claims, catalogues);
            let words = format!("the words name {named}; which of them this item is, they do not say");
            let reading = cannot(
                Lack::NotShown,
                &words,
                "which product exactly is offered, with its form (pack or box)",
            );
            (plain, reading, format!("The words name {named}."))
        }
    }
}

fn never_made(claim: &ProductClaim, catalogues: &[Catalogue]) -> (String, Reading, String) {
    let release = claim.release.as_ref().map_or("", Slug::as_str);
    let name = release_name(claim.line.as_str(), release, catalogues);
    let form = claim.form.map_or("package", |form| form.word());
    let Standing::NeverMade { source, date } = &claim.standing else {
        return no_claim(format!("Was {name} ever sold as a {form}?"), true);
    };
    let mut how = format!("{source} ({date}); rate of wrong entries and of misread words assumed");
    if claim.typing_errors > 0 {
        how += &format!("; read over {} typing error(s)", claim.typing_errors);
    }
    if claim.form_from_description {
        how += "; the form stands only in the description";
    }
    let reading = Reading::Fact {
        outcome: FactOutcome::Points { to: State::NeverMade },
        error_rate: error_rate(claim),
        source: how,
    };
    let says =
        format!("The words offer {name} as a {form}; the catalogue says that it was never sold as a {form}.");
    (format!("Was {name} ever sold as a {form}?"), reading, says)
}

fn no_claim(question: String, has_words: bool) -> (String, Reading, String) {
    let (lack, words) = if has_words {
        (
            Lack::Library,
            "the words name no line and release that the catalogue has; that is not covered, not never made",
        )
    } else {
        (Lack::NotShown, "there are no words, and no photo could be placed on a product of the catalogue")
    };
    let reading = cannot(lack, words, "which line, release and form it is");
    (question, reading, "Which product this is could not be told.".to_owned())
}

fn made_or_not_listed(
    question: String,
    claims: &Claims,
    catalogues: &[Catalogue],
) -> (String, Reading, String) {
    let named = list_claims(claims, catalogues);
    let all_made = claims.products.iter().all(|c| matches!(c.standing, Standing::Catalogued(_)));
    if all_made {
        let error_rate = claims.products.iter().map(error_rate).fold(CATALOGUE_ERROR_RATE, f64::max);
        let source =
            format!("catalogue entry of {named}; rate of wrong entries and of misread words assumed");
        let reading = Reading::Fact { outcome: FactOutcome::AsGenuine, error_rate, source };
        return (question, reading, format!("The catalogue lists {named}, which the words name."));
    }
    let says = format!("The words name {named}.");
    if claims.products.iter().any(|c| c.standing == Standing::NoForm) {
        let words = format!("the words name {named} without a form");
        return (question, cannot(Lack::NotShown, &words, "whether it is a pack or a box"), says);
    }
    let words = format!(
        "the catalogue has no entry that settles it for {named}; that is not covered, not never made"
    );
    (question, cannot(Lack::Library, &words, "a photo of the product's name and its barcode"), says)
}

fn list_claims(claims: &Claims, catalogues: &[Catalogue]) -> String {
    let mut names: Vec<String> = Vec::new();
    for claim in &claims.products {
        let release = claim.release.as_ref().map(Slug::as_str);
        let mut name = match release {
            Some(release) => release_name(claim.line.as_str(), release, catalogues),
            None => catalogues.iter().find(|c| c.line.id == claim.line).map_or_else(
                || claim.line.to_string(),
                |c| format!("{} (no release that is known)", c.line.name),
            ),
        };
        if let Some(form) = claim.form {
            name += &format!(" as a {}", form.word());
        }
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.join(" and ")
}

fn title_against_photos(
    item: &Slug,
    claims: &Claims,
    placed: &[ProductId],
    catalogues: &[Catalogue],
) -> Option<Finding> {
    let named = list_claims(claims, catalogues);
    let (reading, says) = if claims.products.is_empty() {
        let reading = cannot(Lack::Library, "the words name nothing that the catalogue has", "");
        (reading, "The words name no product of the catalogue.".to_owned())
    } else if placed.is_empty() {
        let reading = cannot(
            Lack::Placement,
            "no photo of the item could be placed on a product of the catalogue",
            "a photo of the front, whole, square on",
        );
        (reading, format!("The words name {named}; no photo shows which product it is."))
    } else {
        let strangers: Vec<&ProductId> =
            placed.iter().filter(|p| !claims.products.iter().any(|c| fits(c, p))).collect();
        let shown: Vec<String> = placed.iter().map(|p| name_of(p, catalogues)).collect();
        let shown = shown.join(" and ");
        let says = if strangers.is_empty() {
            format!("Words and photos agree on {shown}.")
        } else {
            format!("The words name {named}; the photos show {shown}.")
        };
        let count = strangers.len() as f64;
        (Reading::Measured { value: count, standard_uncertainty: 0.0, unit: "1".to_owned() }, says)
    };
    let answer = Answer {
        examiner: "existence",
        quantity: "title-against-photos",
        group: "title",
        part: None,
        question:
            "Do words and photos speak of the same product? (products shown that the words do not name)"
                .to_owned(),
        reading,
        says,
    };
    finding(item, answer)
}

fn quoted_code(item: &Slug, code: &CodeClaim, claims: &Claims, placed: &[ProductId]) -> Option<Finding> {
    let digits = &code.digits;
    let meant = |product: &ProductId| {
        placed.contains(product) || (placed.is_empty() && claims.products.iter().any(|c| fits(c, product)))
    };
    let (faults, says) = match &code.standing {
        CodeMatch::WrongCheckDigit => {
            (1.0, format!("The words quote {digits}, whose check digit is wrong; it may be a typing error."))
        }
        CodeMatch::Unknown => {
            let missing = "the catalogue does not know this code";
            let says = format!(
                "The words quote {digits}; its check digit is right, and the catalogue does not know it."
            );
            return finding(item, code_answer(code, cannot(Lack::Library, missing, ""), says));
        }
        CodeMatch::Catalogued(product) if meant(product) => {
            (0.0, format!("The words quote {digits}, the code of {product}."))
        }
        CodeMatch::Catalogued(product) => {
            (1.0, format!("The words quote {digits}, the code of {product}, which is another product."))
        }
    };
    let reading = Reading::Measured { value: faults, standard_uncertainty: 0.0, unit: "1".to_owned() };
    finding(item, code_answer(code, reading, says))
}

fn code_answer<'a>(code: &CodeClaim, reading: Reading, says: String) -> Answer<'a> {
    Answer {
        examiner: "gtin",
        quantity: "gtin-in-words",
        group: "gtin-in-words",
        part: Some(code.digits.clone()),
        question: "Is the quoted code the product's own? (0 yes, 1 no)".to_owned(),
        reading,
        says,
    }
}
