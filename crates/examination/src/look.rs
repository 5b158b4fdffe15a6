//! Looking at one set of photos: which faces they show, sorted by item, and what the examiners read.
//!
//! In: decoded photos with what people said of them, the shelf's products. Out: items with placed
//! faces and findings. The same way for offers and for specimens, so that what is weighed was measured alike.

use casebook::case::{CaseFile, CasePhoto, PhotoGroup};
use casebook::catalogue::Form;
use casebook::finding::Finding;
use casebook::names::{FaceId, ProductId, Slug};
use casebook::opinion::MeasuredSpecimen;
use casebook::picture::Picture;
use examine::{Ends, Examiner, ItemView, Known, PlacedPhoto};
use photo::{CollageTile, Photo};
use placement::Placement;
use rayon::prelude::*;

use crate::assign::{Assignment, Found, assign};
use crate::shelf::Products;

/// Standard uncertainty of a corner that a person clicked, pixels of a picture as large as a screen
/// shows it (1,500 on the long side). Assumed: a hand is good for about two screen pixels.
const CLICK_U_SCREEN_PX: f64 = 2.0;
/// Long side of a picture as a screen shows it.
const SCREEN_PX: f64 = 1_500.0;
/// How far a face's corner may lie outside its tile of a collage, as a share of the tile's longer side:
/// a corner is found to a few pixels, and a pack bulges over its flat outline.
const TILE_MARGIN: f64 = 0.01;

/// A photo that could be decoded, with what was said of it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seen<'a> {
    /// What the case says.
    pub(crate) told: &'a CasePhoto,
    /// The photo; `None` when it could not be read.
    pub(crate) photo: Option<&'a Photo>,
}

/// Faces placed in the photos of a case, sorted by item.
#[derive(Debug, Clone)]
pub(crate) struct Placed {
    /// Per photo, its placed faces.
    pub(crate) faces: Vec<Vec<Placement>>,
    /// Which belongs to which item.
    pub(crate) assignment: Assignment,
    /// What went wrong with corners that a person set: (photo, words).
    pub(crate) problems: Vec<(usize, String)>,
}

/// What was placed in one photo, each face with the item that a person said it is, and what was wrong
/// with corners that a person set.
type PhotoPlaced = (Vec<(Placement, Option<Slug>)>, Option<String>);

/// Places every face in every photo and sorts them by item.
pub(crate) fn place(case: &CaseFile, photos: &[Seen<'_>], products: &Products) -> Placed {
    let placed: Vec<PhotoPlaced> = photos.par_iter().map(|seen| place_one(case, seen, products)).collect();
    let mut faces = Vec::new();
    let mut found = Vec::new();
    let mut problems = Vec::new();
    for (index, (list, problem)) in placed.into_iter().enumerate() {
        problems.extend(problem.map(|words| (index, words)));
        // Where only one face is, there is nothing to tell apart.
        let photo = photos.get(index).and_then(|seen| seen.photo).filter(|_| list.len() > 1);
        let tiles = photo.map(photo::collage_tiles).unwrap_or_default();
        found.push(
            list.iter()
                .filter_map(|(placement, item)| describe(placement, item.clone(), &tiles, products))
                .collect(),
        );
        faces.push(list.into_iter().map(|(placement, _)| placement).collect());
    }
    Placed { assignment: assign(case, &found), faces, problems }
}

fn place_one(case: &CaseFile, seen: &Seen<'_>, products: &Products) -> PhotoPlaced {
    let Some(photo) = seen.photo else { return (Vec::new(), None) };
    if seen.told.group == PhotoGroup::Stock {
        return (Vec::new(), None);
    }
    let mut out = Vec::new();
    let mut problem = None;
    let by_hand = seen.told.shows.iter().filter(|shown| shown.corners_px.is_some());
    for shown in by_hand {
        match by_corners(case, photo, shown, products) {
            Ok(placement) => out.push((placement, Some(shown.item.clone()))),
            Err(words) => problem = Some(format!("{}: {words}", seen.told.file)),
        }
    }
    // Corners by hand always win: nothing else is looked for in that photo.
    if !out.is_empty() || problem.is_some() {
        return (out, problem);
    }
    let mut found = products.place(photo);
    found.retain(|placement| products.get(&placement.face.product).is_some());
    if seen.told.shows.is_empty() {
        return (found.into_iter().map(|placement| (placement, None)).collect(), None);
    }
    for shown in &seen.told.shows {
        let product = product_of(case, &shown.item);
        let hit = found.iter().position(|placement| {
            placement.face.face == shown.face
                && product.is_none_or(|product| placement.face.product == *product)
        });
        if let Some(hit) = hit {
            out.push((found.remove(hit), Some(shown.item.clone())));
        }
    }
    (out, None)
}

fn product_of<'a>(case: &'a CaseFile, item: &Slug) -> Option<&'a ProductId> {
    case.items.iter().find(|facts| facts.id == *item)?.product.as_ref()
}

fn by_corners(
    case: &CaseFile,
    photo: &Photo,
    shown: &casebook::case::Shown,
    products: &Products,
) -> Result<Placement, String> {
    let product = product_of(case, &shown.item).ok_or_else(|| {
        format!("corners are given for item \"{}\", whose product is not; add it under items", shown.item)
    })?;
    let facts = products
        .get(product)
        .ok_or_else(|| format!("the library has no product \"{product}\"; add its catalogue"))?;
    let face = facts
        .face(&shown.face)
        .ok_or_else(|| format!("product \"{product}\" has no face \"{}\"; correct `face`", shown.face))?;
    let corners = shown.corners_px.unwrap_or_default();
    let frame = (photo.width(), photo.height());
    let u_px = CLICK_U_SCREEN_PX * (frame.0.max(frame.1) as f64 / SCREEN_PX).max(1.0);
    let id = FaceId { product: product.clone(), face: shown.face.clone() };
    Placement::from_corners(id, (face.size_mm[0], face.size_mm[1]), corners, u_px, frame)
        .map_err(|error| format!("the corners of \"{}\" cannot be right: {error}", shown.face))
}

fn describe(
    placement: &Placement,
    item: Option<Slug>,
    tiles: &[CollageTile],
    products: &Products,
) -> Option<Found> {
    let product = products.get(&placement.face.product)?;
    let (width, height) = placement.size_mm;
    let outline = placement.outline_px();
    let low = outline.iter().map(|p| p[1]).fold(f64::INFINITY, f64::min);
    let high = outline.iter().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max);
    Some(Found {
        product: placement.face.product.clone(),
        form: product.form,
        face: placement.face.face.clone(),
        centre_px: placement.mm_to_px.map([width / 2.0, height / 2.0])?,
        height_px: (high - low).max(0.0),
        support: (placement.support.inliers as f64).max(1.0),
        pointed_out: item,
        tile: tile_of(&outline, tiles),
    })
}

/// The tile that holds a whole face; `None` where a seam cuts it.
fn tile_of(outline_px: &[[f64; 2]], tiles: &[CollageTile]) -> Option<usize> {
    tiles.iter().position(|tile| {
        let margin_px = TILE_MARGIN * (tile.right - tile.left).max(tile.bottom - tile.top) as f64;
        !outline_px.is_empty() && outline_px.iter().all(|corner| tile.holds(*corner, margin_px))
    })
}

/// What the examiners read of one item.
#[derive(Debug, Clone, Default)]
pub(crate) struct Read {
    /// The findings, in the order of the examiners.
    pub(crate) findings: Vec<Finding>,
    /// Their pictures.
    pub(crate) pictures: Vec<Picture>,
}

/// Lets every examiner look at one item.
///
/// # Input
/// `faces`: (photo, placed face) of this item and product only.
pub(crate) fn read_item(
    item: &Slug,
    product: &ProductId,
    photos: &[Seen<'_>],
    faces: &[(usize, &Placement)],
    products: &Products,
    specimens: &[MeasuredSpecimen],
) -> Read {
    let Some(facts) = products.get(product) else { return Read::default() };
    let mut placed: Vec<PlacedPhoto<'_>> = faces
        .iter()
        .filter_map(|(index, placement)| {
            let seen = photos.get(*index)?;
            Some(PlacedPhoto {
                file: &seen.told.file,
                photo: seen.photo?,
                group: seen.told.group,
                face: facts.face(&placement.face.face)?,
                placement,
            })
        })
        .collect();
    let clearness = |p: &PlacedPhoto<'_>| {
        let angle = casebook::elementary::cos(p.placement.angle.value_deg.to_radians());
        p.placement.px_per_mm * angle * p.placement.visible_share()
    };
    placed.sort_by(|a, b| clearness(b).total_cmp(&clearness(a)));
    let own: Vec<MeasuredSpecimen> = specimens.iter().filter(|s| s.product == *product).cloned().collect();
    let mut shown: Vec<&Slug> = placed.iter().map(|photo| &photo.face.id).collect();
    shown.sort_unstable();
    shown.dedup();
    let references = products.references(product, &shown);
    let view = ItemView::new(Known {
        item,
        product_id: product,
        product: facts,
        references: &references,
        photos: &placed,
        gtins: products.gtins(),
        specimens: &own,
    });
    view.prepare(if facts.form == Form::Pack { Ends::Located } else { Ends::None });
    let examiners: Vec<Box<dyn Examiner>> =
        examine::all(products.reader().0.clone()).into_iter().filter(|e| e.concerns(facts)).collect();
    let answers: Vec<Vec<examine::Examined>> = examiners.par_iter().map(|e| e.examine(&view)).collect();
    let mut read = Read::default();
    for examined in answers.into_iter().flatten() {
        read.findings.push(examined.finding);
        read.pictures.extend(examined.pictures);
    }
    read
}
