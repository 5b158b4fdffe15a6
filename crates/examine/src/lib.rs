//! The examiners: each looks at one item in all its placed photos and answers its own questions.
//!
//! In: an [`ItemView`], which is everything seen and known of one item. Out: [`Examined`] findings with pictures.
//! Never here: a weight, a verdict, another item, the offer's text, a price, a file, a clock.
//!
//! Start at [`Examiner`]; [`all`] lists the examiners. Each module is one examiner and knows no other; what
//! several of them need of a photo is made once, by [`ItemView`].

pub mod barcode;
pub mod compare;
pub mod cover;
pub mod crimp;
pub mod cut_edge;
mod drawing;
pub mod face_set;
mod genuine;
pub mod overwrap;
pub mod print;
mod print_area;
mod seal_height;
mod view;
pub mod words;

use casebook::catalogue::Product;
use casebook::finding::Finding;
use casebook::picture::Picture;

pub use seal_height::{SealHeight, USUAL_SEAL_MM};
pub use view::{Ends, ItemView, Known, PlacedPhoto};

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

/// Every examiner, in the order of a report.
///
/// `words`: the examiner of words, with its recogniser or with the reason why there is none.
#[must_use]
pub fn all(words: words::Words) -> Vec<Box<dyn Examiner>> {
    vec![
        Box::new(cover::Cover),
        Box::new(crimp::EndSeal),
        Box::new(cut_edge::CutEdge),
        Box::new(print::Print),
        Box::new(words),
        Box::new(barcode::Barcode),
        Box::new(overwrap::Overwrap),
        Box::new(face_set::FaceSet),
    ]
}
