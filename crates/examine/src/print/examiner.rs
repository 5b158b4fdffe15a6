//! The examiner `print`: which photos of a face are good enough, and the questions asked of each face.
//!
//! In: an [`ItemView`]. Out: findings with pictures. Never here: how a comparison works.

use casebook::catalogue::{Face, Product};
use casebook::finding::{Lack, Missing, Seeing};
use casebook::names::PhotoFile;
use rayon::prelude::*;

use super::findings;
use super::joint::{FaceReading, Seen, join};
use super::pictures;
use super::region::{Lightness, RegionReading, measure};
use crate::compare::filter::smooth;
use crate::compare::{Comparison, Lack as CompareLack, Laid, Reference};
use crate::{Examined, Examiner, ItemView, PlacedPhoto};

/// Fewest photo pixels a millimetre at which print is compared: a letter of 2 mm has 5 pixels.
const MIN_PX_PER_MM: f64 = 2.5;
/// Largest angle of view, degrees: beyond it a third of the resolution is left along the tilt.
const MAX_ANGLE_DEG: f64 = 70.0;

/// Examines what is printed on every face.
#[derive(Debug, Clone, Copy, Default)]
pub struct Print;

impl Examiner for Print {
    fn name(&self) -> &'static str {
        "print"
    }

    fn concerns(&self, _product: &Product) -> bool {
        true
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        let faces: Vec<Vec<Examined>> =
            view.product.faces.par_iter().map(|face| examine_face(view, face)).collect();
        faces.into_iter().flatten().collect()
    }
}

/// One face with everything measured, for findings and pictures.
pub(super) struct Read<'a> {
    pub(super) face: &'a Face,
    pub(super) reference: &'a Reference,
    pub(super) photos: Vec<ReadPhoto<'a>>,
    pub(super) reading: FaceReading,
}

/// One photo of it.
pub(super) struct ReadPhoto<'a> {
    pub(super) file: &'a PhotoFile,
    pub(super) comparison: &'a Comparison,
    pub(super) regions: Vec<Option<RegionReading>>,
    pub(super) seeing: Seeing,
}

fn examine_face(view: &ItemView<'_>, face: &Face) -> Vec<Examined> {
    match read(view, face) {
        Ok(read) => {
            let drawn = pictures::draw(view, &read);
            findings::measured(view, &read, drawn)
        }
        Err(missing) => findings::cannot_tell(view, face, &missing),
    }
}

fn read<'a>(view: &'a ItemView<'_>, face: &'a Face) -> Result<Read<'a>, Vec<Missing>> {
    let wants = format!("a sharp photo of the whole {}, straight on, without glare", face.id);
    let missing = |lack, words: String| Missing { lack, words, wants: wants.clone() };
    let placed = view.best_of(&face.id);
    if placed.is_empty() {
        return Err(vec![missing(Lack::NotShown, format!("no photo shows the {}", face.id))]);
    }
    let Some(reference) = view.reference(&face.id) else {
        return Err(vec![Missing {
            lack: Lack::Library,
            words: format!("the library holds no reference picture of the {} that can be used", face.id),
            wants: String::new(),
        }]);
    };
    let mut lacks = Vec::new();
    let mut photos = Vec::new();
    for index in placed {
        let photo = &view.photos[index];
        let outcome = objection(photo).map_or_else(|| read_photo(view, reference, face, index), Err);
        match outcome {
            Ok(read) => photos.push(read),
            Err((lack, words)) => lacks.push(missing(lack, format!("{} {words}", photo.file))),
        }
    }
    let seen: Vec<Seen<'_>> = photos
        .iter()
        .map(|p| Seen {
            structure: &p.comparison.structure,
            regions: &p.regions,
            inks: &p.comparison.response.left_out,
        })
        .collect();
    match join(&seen, &face.regions, &reference.inks) {
        Some(reading) => Ok(Read { face, reference, photos, reading }),
        None if lacks.is_empty() => {
            Err(vec![missing(Lack::Placement, format!("the print of the {} could not be compared", face.id))])
        }
        None => Err(lacks),
    }
}

/// What stands against comparing a photo at all.
fn objection(placed: &PlacedPhoto<'_>) -> Option<(Lack, String)> {
    let (placement, face) = (placed.placement, &placed.face.id);
    if placement.px_per_mm < MIN_PX_PER_MM {
        let words =
            format!("shows the {face} at {:.1} px/mm; {MIN_PX_PER_MM} are needed", placement.px_per_mm);
        Some((Lack::Resolution, words))
    } else if placement.angle.value_deg > MAX_ANGLE_DEG {
        let words = format!(
            "shows the {face} at {:.0}° from straight on; at most {MAX_ANGLE_DEG:.0}° can be read",
            placement.angle.value_deg
        );
        Some((Lack::Angle, words))
    } else {
        None
    }
}

fn read_photo<'a>(
    view: &'a ItemView<'_>,
    reference: &Reference,
    face: &Face,
    index: usize,
) -> Result<ReadPhoto<'a>, (Lack, String)> {
    let placed = &view.photos[index];
    let laid = view.laid(index).unwrap_or(Err(CompareLack::Unplaced)).map_err(|lack| match lack {
        CompareLack::Unplaced => {
            (Lack::Placement, format!("shows the {} so that it cannot be cut out", face.id))
        }
        CompareLack::Unseen => {
            (Lack::OutOfFrame, format!("shows too little of the {} in the frame and free of glare", face.id))
        }
        CompareLack::Unaligned => {
            (Lack::Placement, format!("does not show the print of the {} where the face should be", face.id))
        }
        CompareLack::NoCamera => {
            (Lack::Glare, format!("shows too little colour of the {} to judge the camera", face.id))
        }
    })?;
    let (grid, comparison) = (&reference.grid, &laid.comparison);
    let light = lightness(reference, laid);
    let regions = face
        .regions
        .par_iter()
        .map(|region| measure(grid, &light, &comparison.alignment, &region.rect_mm))
        .collect();
    let seeing = Seeing {
        px_per_mm: Some(placed.placement.px_per_mm),
        angle_deg: Some(placed.placement.angle.value_deg),
        blur_px: Some(comparison.blur_px * placed.placement.px_per_mm / grid.px_per_mm),
        glare: Some(comparison.clipped),
        covered: Some(1.0 - comparison.framed),
        usable: Some(comparison.framed * (1.0 - comparison.clipped)),
    };
    Ok(ReadPhoto { file: placed.file, comparison, regions, seeing })
}

/// Lightness of both pictures for the regions' fits.
fn lightness<'a>(reference: &Reference, laid: &'a Laid) -> Lightness<'a> {
    Lightness {
        reference: smooth(&reference.layer.lightness(), laid.comparison.blur_px),
        photo: &laid.lightness,
        usable: &laid.free,
        margin_px: laid.margin_px,
    }
}
