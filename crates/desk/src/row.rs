//! What the queue shows of an offer, and how far its examination has come.
//!
//! In: a case and its examination. Out: [`Row`], which the queue filters and sorts. It holds no
//! seller's name. Never here: HTML, a file.

use casebook::case::{CaseFile, ReturnTerms};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::names::{PhotoHash, ProductId, Slug};
use casebook::opinion::{Action, Examination, Stance, WeightInterval};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// How far an offer has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Standing {
    /// In line.
    Waiting,
    /// Being looked at.
    Examining,
    /// Looked at.
    Examined,
    /// Could not be looked at; the problem says why.
    Stuck,
}

impl Standing {
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Examining => "examining",
            Self::Examined => "examined",
            Self::Stuck => "stuck",
        }
    }

    pub(crate) fn of_word(word: &str) -> Self {
        match word {
            "waiting" => Self::Waiting,
            "examining" => Self::Examining,
            "examined" => Self::Examined,
            _ => Self::Stuck,
        }
    }

    /// Whether something is still going to happen by itself.
    pub(crate) const fn is_open(self) -> bool {
        matches!(self, Self::Waiting | Self::Examining)
    }
}

/// One offer of the queue.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub(crate) id: Slug,
    pub(crate) added_at: String,
    pub(crate) standing: Standing,
    pub(crate) problem: Option<String>,
    /// Put away: kept, but not shown in the queue.
    pub(crate) away: bool,
    pub(crate) row: Row,
}

/// What the queue shows.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Row {
    pub(crate) title: String,
    pub(crate) venue: Option<String>,
    pub(crate) price: Option<Money>,
    pub(crate) shipping: Option<Money>,
    pub(crate) returns: Option<ReturnTerms>,
    pub(crate) ends: Option<Timestamp>,
    pub(crate) photos: usize,
    /// Small picture: name and size in pixels.
    pub(crate) thumb: Option<(PhotoHash, u32, u32)>,
    pub(crate) items: Vec<RowItem>,
    /// Requests that were sent and not answered.
    pub(crate) asked: usize,
    pub(crate) outcome: Option<String>,
    /// Everything that a search looks through, lower case.
    pub(crate) words: String,
}

/// What the queue shows of one item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct RowItem {
    pub(crate) item: Slug,
    pub(crate) product: Option<ProductId>,
    pub(crate) words: String,
    pub(crate) stance: Stance,
    pub(crate) weight: WeightInterval,
    pub(crate) action: Action,
    /// Deciding views that were not read.
    pub(crate) missing: Vec<String>,
}

impl Row {
    /// What is known before anything was looked at.
    pub(crate) fn of_case(case: &CaseFile, photos: usize) -> Self {
        let offer = case.offer.as_ref();
        let title =
            offer.map(|o| o.title.trim()).filter(|t| !t.is_empty()).unwrap_or(case.id.as_str()).to_owned();
        let mut words = format!("{title} {}", case.id);
        if let Some(offer) = offer {
            words.push(' ');
            words.push_str(offer.venue.as_deref().unwrap_or_default());
            words.push(' ');
            words.push_str(&offer.description);
        }
        for note in &case.notes {
            words.push(' ');
            words.push_str(note);
        }
        let outcome = case.outcome.as_ref().map(|outcome| {
            let course = outcome.course.map(|course| course.word().replace('-', " "));
            let state = outcome.state.map(State::word).map(str::to_owned);
            [course, state].into_iter().flatten().collect::<Vec<_>>().join(", ")
        });
        Self {
            title,
            venue: offer.and_then(|o| o.venue.clone()),
            price: offer.and_then(|o| o.price.clone()),
            shipping: offer.and_then(|o| o.shipping.clone()),
            returns: offer.and_then(|o| o.returns.clone()),
            ends: offer.and_then(|o| o.ends),
            photos,
            thumb: None,
            items: Vec::new(),
            asked: case.requests.iter().filter(|r| r.state == casebook::case::RequestState::Asked).count(),
            outcome,
            words: words.to_lowercase(),
        }
    }

    /// The same with what was found.
    pub(crate) fn with(mut self, examination: &Examination) -> Self {
        self.photos = examination.photos.len();
        let whole = examination.offer.as_ref().map(|offer| &offer.decision.action);
        for report in &examination.items {
            let opinion = &report.opinion;
            if let Some(product) = &opinion.product {
                self.words.push(' ');
                self.words.push_str(&dossier::parts::product_phrase(product).to_lowercase());
            }
            self.items.push(RowItem {
                item: opinion.item.clone(),
                product: opinion.product.clone(),
                words: opinion.words.clone(),
                stance: opinion.stance,
                weight: opinion.weight,
                action: match &report.decision.action {
                    // An item of a lot goes with the lot.
                    Action::WithTheLot => whole.unwrap_or(&report.decision.action).clone(),
                    own => own.clone(),
                },
                missing: opinion
                    .coverage
                    .iter()
                    .filter(|view| !view.read)
                    .map(|view| view.view.replace('-', " "))
                    .collect(),
            });
        }
        self
    }
}
