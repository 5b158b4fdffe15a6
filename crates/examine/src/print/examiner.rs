//! The examiner `print`: which photos of a face are good enough, and the questions asked of each face.
//!
//! In: an [`ItemView`]. Out: findings with pictures. Never here: how a comparison works.

use casebook::catalogue::{Face, Product};
use casebook::finding::{Lack, Missing, Seeing};
use casebook::names::PhotoFile;
use photo::{Photo, Plane};
use rayon::prelude::*;

use super::findings;
use super::joint::{FaceReading, Seen, join};
use super::pictures;
use super::region::{Lightness, RegionReading, measure};
use crate::compare::facing::{photo_layer, reference_layer};
use crate::compare::filter::smooth;
use crate::compare::grid::Grid;
use crate::compare::layer::Layer;
use crate::compare::{Comparison, Lack as CompareLack, Reference};
use crate::{Examined, Examiner, ItemView, PlacedPhoto};

/// Fewest photo pixels a millimetre at which print is compared: a letter of 2 mm has 5 pixels.
const MIN_PX_PER_MM: f64 = 2.5;
/// Largest angle of view, degrees: beyond it a third of the resolution is left along the tilt.
const MAX_ANGLE_DEG: f64 = 70.0;
/// Finest grid, pixels a millimetre.
const FINEST: f64 = 6.0;
const COARSEST: f64 = 3.0;
/// Most photos of one face that are compared, best first.
const MOST_PHOTOS: usize = 3;
/// Print this near to a pack's side turns away from the camera, mm.
const PACK_RIM_MM: f64 = 3.0;
/// The same for a box: the rounded edge.
const BOX_RIM_MM: f64 = 1.5;
/// Print this near to an end seal is gathered by it, mm.
const SEAL_RIM_MM: f64 = 2.5;
/// Height of an end seal where the catalogue does not say, mm.
const SEAL_MM: f64 = 10.0;

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
    pub(super) reference: Reference,
    pub(super) photos: Vec<ReadPhoto<'a>>,
    pub(super) reading: FaceReading,
}

/// One photo of it.
pub(super) struct ReadPhoto<'a> {
    pub(super) file: &'a PhotoFile,
    pub(super) comparison: Comparison,
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

fn read<'a>(view: &ItemView<'a>, face: &'a Face) -> Result<Read<'a>, Vec<Missing>> {
    let wants = format!("a sharp photo of the whole {}, straight on, without glare", face.id);
    let missing = |lack, words: String| Missing { lack, words, wants: wants.clone() };
    let Some(flat) = view.references.get(&face.id) else {
        return Err(vec![Missing {
            lack: Lack::Library,
            words: format!("the library holds no reference picture of the {}", face.id),
            wants: String::new(),
        }]);
    };
    let placed: Vec<&PlacedPhoto<'a>> = view.photos.iter().filter(|p| p.face.id == face.id).collect();
    if placed.is_empty() {
        return Err(vec![missing(Lack::NotShown, format!("no photo shows the {}", face.id))]);
    }
    let mut lacks = Vec::new();
    let mut usable: Vec<&PlacedPhoto<'a>> = Vec::new();
    for photo in placed {
        let placement = photo.placement;
        if placement.px_per_mm < MIN_PX_PER_MM {
            lacks.push(missing(
                Lack::Resolution,
                format!(
                    "{} shows the {} at {:.1} px/mm; {MIN_PX_PER_MM} are needed",
                    photo.file, face.id, placement.px_per_mm
                ),
            ));
        } else if placement.angle.value_deg > MAX_ANGLE_DEG {
            lacks.push(missing(
                Lack::Angle,
                format!(
                    "{} shows the {} at {:.0}° from straight on; at most {MAX_ANGLE_DEG:.0}° can be read",
                    photo.file, face.id, placement.angle.value_deg
                ),
            ));
        } else {
            usable.push(photo);
        }
    }
    usable.sort_by(|a, b| sight(b).total_cmp(&sight(a)).then_with(|| a.file.cmp(b.file)));
    usable.truncate(MOST_PHOTOS);
    let Some(best) = usable.first() else { return Err(lacks) };
    let s = best.placement.px_per_mm.floor().clamp(COARSEST, FINEST);
    let grid = Grid::over(face.size_mm, s);
    let reference = prepare(view.product, face, flat, grid).ok_or_else(|| {
        vec![missing(Lack::Library, format!("the reference picture of the {} cannot be used", face.id))]
    })?;
    let mut photos = Vec::new();
    for photo in usable {
        match read_photo(&reference, face, photo) {
            Ok(read) => photos.push(read),
            Err(lack) => lacks.push(missing(lack.0, format!("{}: {}", photo.file, lack.1))),
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

/// How much detail a photo shows: resolution across the line of sight.
fn sight(photo: &PlacedPhoto<'_>) -> f64 {
    let cos =
        casebook::elementary::cos(photo.placement.angle.value_deg.min(89.0) * std::f64::consts::PI / 180.0);
    photo.placement.px_per_mm.min(12.0) * cos.max(0.0).sqrt()
}

/// The reference on the grid with the part where print is compared.
pub(super) fn prepare(product: &Product, face: &Face, flat: &Photo, grid: Grid) -> Option<Reference> {
    let layer = reference_layer(flat, &grid)?;
    Some(Reference::new(grid, layer, compared(product, face, &grid)))
}

/// 1 where print is compared: not on end seals and what they gather, not where the side turns away.
fn compared(product: &Product, face: &Face, grid: &Grid) -> Plane<f32> {
    let sealed = product.makes.iter().any(|m| m.end_seal.is_some());
    let seal = product
        .makes
        .iter()
        .filter_map(|m| m.end_seal.as_ref())
        .map(|s| s.height_mm.value + s.height_mm.tolerance)
        .fold(0.0, f64::max);
    let ends = if sealed { seal.max(SEAL_MM - 2.0) + SEAL_RIM_MM } else { BOX_RIM_MM };
    let sides = if sealed { PACK_RIM_MM } else { BOX_RIM_MM };
    let [w, h] = face.size_mm;
    Plane::from_fn(grid.width, grid.height, |x, y| {
        let (x, y) = grid.mm(x as f64, y as f64);
        if x > sides && x < w - sides && y > ends && y < h - ends { 1.0 } else { 0.0 }
    })
}

fn read_photo<'a>(
    reference: &Reference,
    face: &Face,
    placed: &PlacedPhoto<'a>,
) -> Result<ReadPhoto<'a>, (Lack, String)> {
    let grid = &reference.grid;
    let layer = photo_layer(placed.photo, &placed.placement.mm_to_px, grid)
        .ok_or((Lack::Placement, "the face could not be cut out of the photo".to_owned()))?;
    let comparison = Comparison::of(reference, &layer).map_err(|lack| match lack {
        CompareLack::Unseen => {
            (Lack::OutOfFrame, format!("too little of the {} is in the frame and free of glare", face.id))
        }
        CompareLack::Unaligned => {
            (Lack::Placement, format!("the print of the {} was not found where the face should be", face.id))
        }
        CompareLack::NoCamera => {
            (Lack::Glare, format!("too little of the {} shows its colour to judge the camera", face.id))
        }
    })?;
    let light = lightness(reference, &layer, &comparison);
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
fn lightness(reference: &Reference, layer: &Layer, comparison: &Comparison) -> Lightness {
    let clipped = {
        let [r, g, b] = &layer.rgb;
        let data: Vec<f32> = r
            .data()
            .iter()
            .zip(g.data())
            .zip(b.data())
            .zip(layer.usable.data())
            .map(|(((r, g), b), u)| if *u > 0.99 && r.max(*g).max(*b) < 0.97 { 1.0 } else { 0.0 })
            .collect();
        Plane::from_vec(r.width(), r.height(), data).unwrap_or_else(|| Plane::filled(0, 0, 0.0))
    };
    Lightness {
        reference: smooth(&reference.layer.lightness(), comparison.blur_px),
        photo: layer.lightness(),
        usable: clipped,
        margin_px: layer.margin_px,
    }
}
