//! The same findings, judged again: when the user changes prior, values, price or requests, the opinion
//! and the decision follow at once, without looking at a photo.
//!
//! In: a kept examination, the case as it is now, the shelf. Out: the examination with new opinions and
//! decisions; findings from photos stay as they are, those from the offer's words are made anew.
//! Never here: a pixel.

use casebook::case::{CaseFile, OfferFacts};
use casebook::finding::Finding;
use casebook::names::ProductId;
use casebook::opinion::Examination;

use crate::run::{decided, judge, of_words};
use crate::shelf::Shelf;

/// Judges a kept examination again.
///
/// # Input
/// `examination`: of this very case, made with the photos that it has now.
#[must_use]
pub fn reconsider(case: &CaseFile, examination: &Examination, shelf: &Shelf) -> Examination {
    let nothing_said = OfferFacts::default();
    let claims = offer::claims(case.offer.as_ref().unwrap_or(&nothing_said), shelf.catalogues());
    let judged = examination
        .items
        .iter()
        .map(|report| {
            let item = &report.opinion.item;
            let mut shown: Vec<ProductId> = Vec::new();
            for face in examination.photos.iter().flat_map(|photo| &photo.faces) {
                if face.item == *item && !shown.contains(&face.face.product) {
                    shown.push(face.face.product.clone());
                }
            }
            let none_readable =
                !examination.photos.is_empty() && examination.photos.iter().all(|photo| photo.hash.is_none());
            let words = of_words(case, shelf, &claims, item, &shown, none_readable);
            // What the words said before is replaced, whatever they say now.
            let from_words = |finding: &Finding| finding.photos.is_empty() && is_of_words(finding);
            let mut findings: Vec<Finding> =
                report.findings.iter().filter(|finding| !from_words(finding)).cloned().collect();
            findings.extend(words);
            judge(case, shelf, &claims, (item, report.opinion.product.as_ref()), findings)
        })
        .collect();
    let (items, offer) = decided(case, shelf, judged);
    let title = case.offer.as_ref().map(|offer| offer.title.clone());
    Examination { title, items, offer: Some(offer), ..examination.clone() }
}

/// Whether a finding is one of the crate `offer`, which reads words only.
fn is_of_words(finding: &Finding) -> bool {
    matches!(finding.examiner.as_str(), "existence" | "gtin")
}
