//! The examiners: each looks at one item in all its placed photos and answers its own questions.
//!
//! In: an [`ItemView`], which is everything seen and known of one item. Out: [`Examined`] findings with pictures.
//! Never here: a weight, a verdict, another item, the offer's text, a price, a file, a clock.
//!
//! Start at [`Examiner`]; [`all`] lists the examiners. Each module is one examiner and knows no other.

pub mod compare;
pub mod cover;
pub mod crimp;
pub mod cut_edge;
pub mod overwrap;
pub mod print;

use std::collections::BTreeMap;

use casebook::case::PhotoGroup;
use casebook::catalogue::{Face, Product};
use casebook::finding::Finding;
use casebook::names::{PhotoFile, ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::picture::Picture;
use photo::Photo;
use placement::Placement;

/// One examiner. It answers the same way for the same view, on any machine.
pub trait Examiner: Sync {
    /// Its name, as findings carry it.
    fn name(&self) -> &'static str;

    /// Whether it has anything to say about this form of product.
    fn concerns(&self, product: &Product) -> bool;

    /// Looks at one item in all its photos.
    ///
    /// # Input
    /// `view`: the item's placed photos (any number, none included), its product with makes and
    /// references, and measured specimens. Stock photos are left out by the caller.
    ///
    /// # Result
    /// One finding a question and place. Several photos of one place give one joint reading.
    /// The same questions are answered whatever the photos show: a question that cannot be
    /// answered gives [`casebook::finding::Reading::CannotTell`] with what is missing.
    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined>;
}

/// A finding and the pictures it names.
#[derive(Debug, Clone)]
pub struct Examined {
    /// The finding.
    pub finding: Finding,
    /// Its pictures; their ids stand in `finding.pictures`.
    pub pictures: Vec<Picture>,
}

/// Everything seen and known of one item.
#[derive(Debug, Clone, Copy)]
pub struct ItemView<'a> {
    /// The item.
    pub item: &'a Slug,
    /// The product it shows or claims to be.
    pub product_id: &'a ProductId,
    /// That product's facts.
    pub product: &'a Product,
    /// Flat reference pictures by face; edges of the picture are edges of the face.
    pub references: &'a BTreeMap<Slug, Photo>,
    /// The photos that show the item, each with one placed face; a photo that shows two faces
    /// stands twice. Best seen first.
    pub photos: &'a [PlacedPhoto<'a>],
    /// Measured specimens of this product, for expected ranges.
    pub specimens: &'a [MeasuredSpecimen],
}

/// One photo with one placed face of the item.
#[derive(Debug, Clone, Copy)]
pub struct PlacedPhoto<'a> {
    /// Its file name in the case.
    pub file: &'a PhotoFile,
    /// The photo.
    pub photo: &'a Photo,
    /// How sure it is that it shows this item.
    pub group: PhotoGroup,
    /// The face.
    pub face: &'a Face,
    /// Where the face lies in it.
    pub placement: &'a Placement,
}

/// Every examiner, in the order of a report.
#[must_use]
pub fn all() -> Vec<Box<dyn Examiner>> {
    vec![
        Box::new(cover::Cover),
        Box::new(crimp::EndSeal),
        Box::new(cut_edge::CutEdge),
        Box::new(print::Print),
        Box::new(overwrap::Overwrap),
    ]
}
