//! The clear film round a box. Not examined yet: says so, and knows which products it would concern.
//!
//! In: an item's placed photos. Out: one finding that cannot tell. Never here: a guess.

use casebook::catalogue::{Form, Product};
use casebook::finding::{Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::names::Slug;

use crate::{Examined, Examiner, ItemView};

/// Examines the film round a box.
#[derive(Debug, Clone, Copy, Default)]
pub struct Overwrap;

impl Examiner for Overwrap {
    fn name(&self) -> &'static str {
        "overwrap"
    }

    fn concerns(&self, product: &Product) -> bool {
        product.form == Form::Box || product.makes.iter().any(|make| make.film.is_some())
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        let slug = |text: &str| -> Option<Slug> { text.parse().ok() };
        let words = "film on boxes is not examined yet".to_owned();
        let found = || {
            Some(Finding {
                examiner: slug("overwrap")?,
                item: view.item.clone(),
                place: Place { part: Some("film".to_owned()), ..Place::default() },
                quantity: slug("film-present")?,
                question: "Is the film round the box the factory's, and whole?".to_owned(),
                reading: Reading::CannotTell {
                    missing: vec![Missing {
                        lack: Lack::NotExaminedYet,
                        words: words.clone(),
                        wants: String::new(),
                    }],
                },
                expected: None,
                features: Vec::new(),
                seeing: Seeing::default(),
                group: slug("film")?,
                photos: Vec::new(),
                pictures: Vec::new(),
                says: words.clone(),
            })
        };
        found().map(|finding| Examined { finding, pictures: Vec::new() }).into_iter().collect()
    }
}
