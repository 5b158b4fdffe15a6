//! A case as people write it: `case.toml` beside its photos.
//!
//! In: the offer's facts, the items, which photo shows what (as far as anybody knows), requests, the
//! user's values and prior. Out: [`CaseFile`], checked. A folder of photos without `case.toml` is a
//! case too: one item, nothing claimed.
//! Never here: findings and opinions (JSON, see `finding` and `opinion`), pixels.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hypothesis::State;
use crate::money::Money;
use crate::names::{PhotoFile, ProductId, Slug};

/// Version mark that a case file starts with.
pub const CASE_SCHEMA: &str = "untorn.case/3";

/// One offer, or items in hand, under examination.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaseFile {
    /// Always [`CASE_SCHEMA`].
    pub schema: String,
    /// Name of the case.
    pub id: Slug,
    /// What the seller says; absent for items in hand.
    #[serde(default)]
    pub offer: Option<OfferFacts>,
    /// The physical things offered. Empty: one item `a` of which nothing is claimed.
    #[serde(default)]
    pub items: Vec<ItemFacts>,
    /// The photos in their order. Empty: every photo of the folder, by name.
    #[serde(default)]
    pub photos: Vec<CasePhoto>,
    /// Photos or facts asked for.
    #[serde(default)]
    pub requests: Vec<Request>,
    /// What the whole offer would be worth to the user in each state.
    #[serde(default)]
    pub values: Option<Values>,
    /// The user's own prior; never moves a weight.
    #[serde(default)]
    pub prior: Option<Prior>,
    /// Free notes.
    #[serde(default)]
    pub notes: Vec<String>,
    /// What came of it, once that is known. Since `untorn.case/2`.
    #[serde(default)]
    pub outcome: Option<CaseOutcome>,
}

/// What came of a case.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaseOutcome {
    /// What the user did.
    #[serde(default)]
    pub course: Option<Course>,
    /// What the item turned out to be, by whoever held it.
    #[serde(default)]
    pub state: Option<State>,
    /// How that is known: "opened by me", "examined in hand by a shop".
    #[serde(default)]
    pub known_by: String,
}

/// What the user did about an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// Left it.
    Passed,
    /// Bought it.
    Bought,
    /// Bought it and sent it back.
    SentBack,
}

impl Course {
    /// Every course.
    pub const ALL: [Self; 3] = [Self::Passed, Self::Bought, Self::SentBack];

    /// The word that files and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Bought => "bought",
            Self::SentBack => "sent-back",
        }
    }
}

/// What the seller shows besides photos.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OfferFacts {
    /// The listing's title.
    pub title: String,
    /// The listing's text.
    #[serde(default)]
    pub description: String,
    /// Where it is offered.
    #[serde(default)]
    pub venue: Option<String>,
    /// Asking price, or highest bid.
    #[serde(default)]
    pub price: Option<Money>,
    /// Shipping to the user.
    #[serde(default)]
    pub shipping: Option<Money>,
    /// Return terms.
    #[serde(default)]
    pub returns: Option<ReturnTerms>,
    /// The seller, as far as the venue shows.
    #[serde(default)]
    pub seller: Option<Seller>,
    /// Bids in the order they came.
    #[serde(default)]
    pub bids: Vec<Bid>,
    /// When the listing was saved.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub captured: Option<jiff::Timestamp>,
    /// When the listing ends. Since `untorn.case/2`.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub ends: Option<jiff::Timestamp>,
}

/// Whether and how long an item can be sent back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReturnTerms {
    /// Whether the seller takes it back.
    pub accepted: bool,
    /// For how many days.
    #[serde(default)]
    pub days: Option<u16>,
    /// Whether the buyer pays the way back.
    #[serde(default)]
    pub buyer_pays_postage: bool,
}

/// What the venue shows of a seller. Kept apart from findings; deletable.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seller {
    /// Name at the venue.
    pub name: String,
    /// Since when, as the venue writes it.
    #[serde(default)]
    pub since_year: Option<i16>,
    /// Ratings received.
    #[serde(default)]
    pub ratings: Option<u32>,
    /// Outcomes confirmed by the user or a specialist, never our own opinions.
    #[serde(default)]
    pub confirmed: ConfirmedOutcomes,
}

/// Counts of confirmed outcomes with one seller.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConfirmedOutcomes {
    /// Items that turned out sealed and genuine.
    #[serde(default)]
    pub sealed: u32,
    /// Items that did not.
    #[serde(default)]
    pub not_sealed: u32,
}

/// One bid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Bid {
    /// The bidder, as the venue masks it.
    pub bidder: String,
    /// The amount.
    pub amount: Money,
    /// When.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub at: Option<jiff::Timestamp>,
}

/// One physical thing of the offer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ItemFacts {
    /// Name inside the case.
    pub id: Slug,
    /// What it is said or known to be.
    #[serde(default)]
    pub product: Option<ProductId>,
    /// The item that contains it.
    #[serde(default)]
    pub inside: Option<Slug>,
}

/// One photo of the case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CasePhoto {
    /// File in the case's folder.
    pub file: PhotoFile,
    /// How sure it is that the photo shows the offered item.
    #[serde(default)]
    pub group: PhotoGroup,
    /// Photos taken with one camera in one light share a sitting. Specimens name it on every photo,
    /// so that each sitting is measured by itself, as an offer would be.
    #[serde(default)]
    pub sitting: Option<Slug>,
    /// Faces that somebody has pointed out in it. Empty: the program looks for them.
    #[serde(default)]
    pub shows: Vec<Shown>,
}

/// How sure it is that photos show the same physical item.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum PhotoGroup {
    /// Surely the same item: taken in hand, or joined by what is seen.
    Same,
    /// The offer claims so.
    #[default]
    Claimed,
    /// A stock picture: says nothing about the item.
    Stock,
}

/// A face pointed out in a photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shown {
    /// The item.
    pub item: Slug,
    /// Its face.
    pub face: Slug,
    /// Corners of the face in pixels (x right, y down, the centre of the top-left pixel is 0, 0):
    /// the face's own top-left, top-right, bottom-right, bottom-left. They overrule the program.
    #[serde(default)]
    pub corners_px: Option<[[f64; 2]; 4]>,
}

/// Something asked of the seller.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// What for: the deciding view or fact.
    pub wants: String,
    /// How it stands.
    pub state: RequestState,
}

/// How a request stands. A declined request weighs in the decision, never as evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RequestState {
    /// Sent, no answer yet.
    Asked,
    /// Answered; the photo is in the case.
    Answered,
    /// The seller would not.
    Declined,
}

/// What the whole offer is worth to the user by state, all of its items being in that state. All in one
/// currency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Values {
    /// Sealed as it left the factory.
    pub sealed: Money,
    /// Genuine, but opened and closed again.
    pub resealed: Money,
    /// Counterfeit or never made.
    pub counterfeit: Money,
    /// What single items of a lot are worth. The items that are not named here share equally what the
    /// named ones leave of the whole.
    #[serde(default)]
    pub items: Vec<ItemValues>,
    /// How likely a refund really is when the item is not as described, 0 to 1.
    #[serde(default = "half")]
    pub refund_probability: f64,
    /// Absolute risk aversion per unit of currency (CARA); 0 is risk-neutral.
    #[serde(default)]
    pub risk_aversion: f64,
}

/// What one item of a lot is worth to the user by state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ItemValues {
    /// The item.
    pub item: Slug,
    /// Sealed as it left the factory.
    pub sealed: Money,
    /// Genuine, but opened and closed again.
    pub resealed: Money,
    /// Counterfeit or never made.
    pub counterfeit: Money,
}

fn half() -> f64 {
    0.5
}

/// The user's prior over the hypotheses, before any photo. Normalised when used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Prior {
    /// Genuine and factory-closed.
    pub sealed: f64,
    /// Genuine article, opened and closed again.
    pub resealed: f64,
    /// Not the genuine article.
    pub counterfeit: f64,
    /// No such product in this form.
    #[serde(default)]
    pub never_made: f64,
}

impl CaseFile {
    /// A case of photos alone: one item `a`, nothing claimed.
    ///
    /// # Errors
    /// [`crate::names::NameError`] when `id` is no slug.
    pub fn of_photos(id: &str) -> Result<Self, crate::names::NameError> {
        Ok(Self {
            schema: CASE_SCHEMA.to_owned(),
            id: id.parse()?,
            offer: None,
            items: Vec::new(),
            photos: Vec::new(),
            requests: Vec::new(),
            values: None,
            prior: None,
            notes: Vec::new(),
            outcome: None,
        })
    }

    /// What is wrong beyond the shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        for (index, item) in self.items.iter().enumerate() {
            if self.items[..index].iter().any(|other| other.id == item.id) {
                faults.push(format!("item \"{}\" stands twice", item.id));
            }
            if let Some(holder) = &item.inside
                && (*holder == item.id || !self.items.iter().any(|other| other.id == *holder))
            {
                faults.push(format!("item \"{}\" is inside \"{holder}\", which is no other item", item.id));
            }
        }
        for (index, photo) in self.photos.iter().enumerate() {
            if self.photos[..index].iter().any(|other| other.file == photo.file) {
                faults.push(format!("photo \"{}\" stands twice", photo.file));
            }
            for shown in &photo.shows {
                let listed = self.items.iter().any(|item| item.id == shown.item);
                let only = self.items.is_empty() && shown.item.as_str() == "a";
                if !(listed || only) {
                    faults.push(format!(
                        "photo \"{}\" shows item \"{}\", which is not listed",
                        photo.file, shown.item
                    ));
                }
                if shown.corners_px.is_some_and(|c| c.iter().flatten().any(|v| !v.is_finite())) {
                    faults.push(format!("photo \"{}\": a corner is no number", photo.file));
                }
            }
        }
        if let Some(prior) = &self.prior {
            let parts = [prior.sealed, prior.resealed, prior.counterfeit, prior.never_made];
            let sum: f64 = parts.iter().sum();
            if parts.iter().any(|p| !p.is_finite() || *p < 0.0) || !(sum.is_finite() && sum > 0.0) {
                faults.push("prior: every part must be 0 or more, and one above 0".to_owned());
            }
        }
        if let Some(values) = &self.values {
            if !(0.0..=1.0).contains(&values.refund_probability) {
                faults.push("values.refund_probability: must be between 0 and 1".to_owned());
            }
            if !(values.risk_aversion.is_finite() && values.risk_aversion >= 0.0) {
                faults.push("values.risk_aversion: must be 0 or more".to_owned());
            }
            let currency = &values.sealed.currency;
            if values.resealed.currency != *currency || values.counterfeit.currency != *currency {
                faults.push("values: give all three in one currency".to_owned());
            }
            for (index, own) in values.items.iter().enumerate() {
                let listed = self.items.iter().any(|item| item.id == own.item);
                let only = self.items.is_empty() && own.item.as_str() == "a";
                if !(listed || only) {
                    faults.push(format!("values: item \"{}\" is not listed", own.item));
                }
                if values.items[..index].iter().any(|other| other.item == own.item) {
                    faults.push(format!("values: item \"{}\" stands twice", own.item));
                }
                if [&own.sealed, &own.resealed, &own.counterfeit].iter().any(|m| m.currency != *currency) {
                    faults.push(format!("values: give item \"{}\" in the currency of the whole", own.item));
                }
            }
        }
        faults
    }
}
