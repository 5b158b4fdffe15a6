//! What a person states of an item, against the library and the photos.
//!
//! In: the product that the case names for an item, and the products that its photos show. Out: findings.
//! Never here: reading text, a weight; a statement is shown as it is.

use casebook::catalogue::Catalogue;
use casebook::finding::{Finding, Lack, Reading};
use casebook::names::{ProductId, Slug};

use crate::existence::{Answer, cannot, finding, name_of};

/// Says that the product a case names for an item is not in the library.
#[must_use]
pub fn not_covered(item: &Slug, stated: &ProductId) -> Option<Finding> {
    let words = format!(
        "the library has no product \"{stated}\", which the case names; not covered is not never made"
    );
    let reading = cannot(Lack::Library, &words, "");
    let says = format!("The case names \"{stated}\", which the library does not cover.");
    existence(item, reading, says)
}

/// Says that no photo of the case could be read, so that nothing can be told of what is offered.
#[must_use]
pub fn unreadable(item: &Slug) -> Option<Finding> {
    let reading = cannot(Lack::NotShown, "no photo could be read", "photos that open");
    existence(item, reading, "No photo could be read.".to_owned())
}

/// Says that the photos show another product than the case names; nothing when they agree or show
/// none.
#[must_use]
pub fn another_shown(
    item: &Slug,
    stated: &ProductId,
    shown: &[ProductId],
    catalogues: &[Catalogue],
) -> Option<Finding> {
    if shown.is_empty() || shown.contains(stated) {
        return None;
    }
    let names: Vec<String> = shown.iter().map(|product| name_of(product, catalogues)).collect();
    let says =
        format!("The case names {}; the photos show {}.", name_of(stated, catalogues), names.join(" and "));
    let reading =
        Reading::Measured { value: shown.len() as f64, standard_uncertainty: 0.0, unit: "1".to_owned() };
    let answer = Answer {
        examiner: "existence",
        quantity: "stated-against-photos",
        group: "title",
        part: None,
        question: "Do the photos show the product that the case names? (other products shown)".to_owned(),
        reading,
        says,
    };
    finding(item, answer)
}

fn existence(item: &Slug, reading: Reading, says: String) -> Option<Finding> {
    let answer = Answer {
        examiner: "existence",
        quantity: "made-in-this-form",
        group: "existence",
        part: None,
        question: "Was such a product ever made?".to_owned(),
        reading,
        says,
    };
    finding(item, answer)
}
