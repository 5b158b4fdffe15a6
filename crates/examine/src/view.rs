//! Everything seen and known of one item, and what several examiners need of it, made once.
//!
//! In: an item's placed photos, its product with reference pictures, measured specimens. Out:
//! [`ItemView`], which lays a photo over its reference and locates the ends when first asked. Never here:
//! findings, another item.
//!
//! `cover` and `print` read the same comparison of a photo, `end-seal` and `cut-edge` the same location of
//! an end: made twice, both would cost twice and could differ.

use std::collections::BTreeMap;
use std::sync::Arc;

use casebook::case::PhotoGroup;
use casebook::catalogue::{Face, Product};
use casebook::names::{PhotoFile, ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use photo::{Once, Photo};
use placement::Placement;
use rayon::prelude::*;

use crate::compare::facing::{photo_layer, reference_layer};
use crate::compare::grid::Grid;
use crate::compare::{Lack, Laid, Reference};
use crate::crimp::End;
use crate::crimp::reading::{EndFacts, Located, ReferenceEnd};
use crate::print_area::compared;

/// Most photos of one face that are laid over its reference, best first.
const MOST_PHOTOS: usize = 3;
/// Finest grid on which a face is compared, pixels a millimetre.
const FINEST: f64 = 6.0;
/// Coarsest.
const COARSEST: f64 = 3.0;

/// What is seen and known of one item, before anything is made of it.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// The item.
    pub item: &'a Slug,
    /// The product it shows or claims to be.
    pub product_id: &'a ProductId,
    /// That product's facts.
    pub product: &'a Product,
    /// Flat reference pictures by face; edges of the picture are edges of the face. Those of faces
    /// that no photo shows may be left out.
    pub references: &'a BTreeMap<Slug, &'a Photo>,
    /// The photos that show the item, each with one placed face; a photo that shows two faces
    /// stands twice. Best seen first.
    pub photos: &'a [PlacedPhoto<'a>],
    /// Every GTIN of the library and the product that it is listed for.
    pub gtins: &'a BTreeMap<String, ProductId>,
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

impl PlacedPhoto<'_> {
    /// How much detail of the print it shows: resolution across the line of sight, pixels a millimetre.
    #[must_use]
    pub fn detail(&self) -> f64 {
        let angle = self.placement.angle.value_deg.min(89.0).to_radians();
        self.placement.px_per_mm.min(12.0) * casebook::elementary::cos(angle).max(0.0).sqrt()
    }

    /// Whether both ends of a pack are seen on this face.
    #[must_use]
    pub fn shows_ends(&self) -> bool {
        matches!(self.face.id.as_str(), "front" | "back")
    }
}

/// Everything seen and known of one item.
#[derive(Debug)]
pub struct ItemView<'a> {
    known: Known<'a>,
    /// By face: the reference on the grid that its photos are compared on.
    faces: BTreeMap<Slug, Once<Option<Reference>>>,
    /// By photo.
    laid: Vec<Once<Result<Laid, Lack>>>,
    reference_ends: BTreeMap<(Slug, End), Once<Option<ReferenceEnd>>>,
    located: Vec<[Once<Option<Arc<Located>>>; 2]>,
}

impl<'a> std::ops::Deref for ItemView<'a> {
    type Target = Known<'a>;

    fn deref(&self) -> &Known<'a> {
        &self.known
    }
}

impl<'a> ItemView<'a> {
    /// A view of which nothing is made yet.
    #[must_use]
    pub fn new(known: Known<'a>) -> Self {
        let faces = || known.photos.iter().map(|placed| placed.face.id.clone());
        Self {
            known,
            faces: faces().map(|face| (face, Once::new())).collect(),
            laid: known.photos.iter().map(|_| Once::new()).collect(),
            reference_ends: faces()
                .flat_map(|face| End::BOTH.map(|end| ((face.clone(), end), Once::new())))
                .collect(),
            located: known.photos.iter().map(|_| [Once::new(), Once::new()]).collect(),
        }
    }

    /// Makes what several examiners share, each thing once and all of it in parallel. An examiner that
    /// is asked without it makes what it needs itself.
    ///
    /// `ends`: whether the item has end seals to be located.
    pub fn prepare(&self, ends: Ends) {
        let laid: Vec<usize> = self
            .known
            .product
            .faces
            .iter()
            .flat_map(|face| self.best_of(&face.id))
            .filter(|photo| self.known.photos[*photo].placement.px_per_mm >= crate::cover::MIN_PX_PER_MM)
            .collect();
        rayon::join(
            || {
                // The references first: photos of one face share theirs.
                self.faces.keys().collect::<Vec<_>>().into_par_iter().for_each(|face| {
                    let _ = self.reference(face);
                });
                laid.par_iter().for_each(|photo| {
                    let _ = self.laid(*photo);
                });
            },
            || {
                if ends == Ends::Located {
                    let keys: Vec<&(Slug, End)> = self.reference_ends.keys().collect();
                    keys.par_iter().for_each(|(face, end)| {
                        let _ = self.reference_end(face, *end);
                    });
                    (0..2 * self.known.photos.len()).into_par_iter().for_each(|k| {
                        let _ = self.located(k / 2, End::BOTH[k % 2]);
                    });
                }
            },
        );
    }

    /// Indices of the photos of a face that show most of its print, best first, at most three.
    #[must_use]
    pub fn best_of(&self, face: &Slug) -> Vec<usize> {
        let photos = self.known.photos;
        let mut of_face: Vec<usize> = (0..photos.len()).filter(|p| photos[*p].face.id == *face).collect();
        of_face.sort_by(|a, b| {
            let (a, b) = (&photos[*a], &photos[*b]);
            b.detail().total_cmp(&a.detail()).then_with(|| a.file.cmp(b.file))
        });
        of_face.truncate(MOST_PHOTOS);
        of_face
    }

    /// The reference of a face that some photo shows, on the grid that its photos are compared on;
    /// nothing without a reference picture.
    #[must_use]
    pub fn reference(&self, face: &Slug) -> Option<&Reference> {
        self.faces
            .get(face)?
            .get(|| {
                let facts = self.known.product.face(face)?;
                let best = self.best_of(face).first().map(|best| self.known.photos[*best].placement)?;
                let grid = Grid::over(facts.size_mm, best.px_per_mm.floor().clamp(COARSEST, FINEST));
                let layer = reference_layer(self.known.references.get(face)?, &grid)?;
                Some(Reference::new(grid, layer, compared(self.known.product, facts, &grid)))
            })
            .as_ref()
    }

    /// A photo laid over its face's reference, or which lack stood in the way. Nothing for a photo
    /// that is not there or whose face has no reference picture.
    #[must_use]
    pub fn laid(&self, photo: usize) -> Option<Result<&Laid, Lack>> {
        let placed = self.known.photos.get(photo)?;
        let reference = self.reference(&placed.face.id)?;
        let laid = self.laid.get(photo)?.get(|| {
            let layer = photo_layer(placed.photo, &placed.placement.mm_to_px, &reference.grid)
                .ok_or(Lack::Unplaced)?;
            Laid::of(reference, &layer)
        });
        Some(laid.as_ref().map_err(|lack| *lack))
    }

    /// An end of the reference of a face that some photo shows.
    #[must_use]
    pub fn reference_end(&self, face: &Slug, end: End) -> Option<&ReferenceEnd> {
        let once = self.reference_ends.get(&(face.clone(), end))?;
        once.get(|| {
            let size = self.known.product.face(face)?.size_mm;
            ReferenceEnd::of(self.known.references.get(face)?, size, end)
        })
        .as_ref()
    }

    /// Where an end lies in a photo; nothing when it lies outside, or the face has no ends.
    #[must_use]
    pub fn located(&self, photo: usize, end: End) -> Option<&Arc<Located>> {
        let placed = self.known.photos.get(photo).filter(|placed| placed.shows_ends())?;
        self.located.get(photo)?[usize::from(end == End::Bottom)]
            .get(|| {
                let reference = self.reference_end(&placed.face.id, end);
                let facts = EndFacts::of(self.known.product);
                let map = &placed.placement.mm_to_px;
                Located::of(placed.photo, map, placed.face.size_mm, end, reference, &facts).map(Arc::new)
            })
            .as_ref()
    }
}

/// Whether [`ItemView::prepare`] locates ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// They are located in every photo of a front or back.
    Located,
    /// The item has none.
    None,
}
