//! The examiner `cover` and the map of covered places.
//!
//! In: an [`ItemView`], or one comparison. Out: findings, or a plane. Never here: the print's quality.

use casebook::catalogue::{Face, Product};
use casebook::finding::{Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::names::{PhotoFile, Slug};
use casebook::units::RectMm;
use photo::Plane;
use rayon::prelude::*;

use crate::compare::facing::frame;
use crate::compare::filter::{reduce, smooth, smooth_weighted, zip};
use crate::compare::grid::Grid;
use crate::compare::patches::patches;
use crate::compare::{Comparison, Reference};
use crate::{Examined, Examiner, ItemView, PlacedPhoto, SealHeight};

/// Resolution at which shares are counted, pixels a millimetre: covers are centimetres wide.
const PX_PER_MM: f64 = 3.0;
/// Least resolution of a photo in which covers are looked for.
pub(crate) const MIN_PX_PER_MM: f64 = 1.5;
/// Window in which patterns are compared, standard deviation, mm.
const WINDOW_MM: f64 = 2.0;
/// Light that changes slower than this is no pattern, mm.
const SLOW_MM: f64 = 2.2;
/// Contrast (L* units) from which the reference must show a pattern.
const PATTERN: f32 = 3.0;
/// A pattern this much weaker than the reference's (after the camera's gain) is not there.
const PLAIN: f32 = 0.45;
/// A mean colour this far from the reference's is another thing's, in CIELAB's a*, b* and half of L*.
const FOREIGN: f32 = 16.0;
/// Smallest cover that is told from a fault, mm².
const LEAST_MM2: f64 = 45.0;
/// Standard uncertainty of a share: the border of a cover is known to about a window.
const SHARE_U: f64 = 0.03;

/// Examines what hides the item.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cover;

impl Examiner for Cover {
    fn name(&self) -> &'static str {
        "cover"
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

/// Where something that is not the print lies over the face, in one compared photo.
///
/// # Input
/// A comparison and its reference. Places outside the frame are not covered, they are unseen.
///
/// # Result
/// 1 where covered, on the grid of the comparison's structure ([`crate::compare::structure::Structure::grid`]).
/// A place is covered when the reference has a pattern there and the photo none, and the mean colour is
/// another's; both over at least [`LEAST_MM2`] together, reaching the face's border or larger than 6 cm².
/// A wrong but printed pattern is not a cover; neither is glare, which has no colour of its own.
#[must_use]
pub fn covered(reference: &Reference, comparison: &Comparison) -> Plane<f32> {
    let n = comparison.structure.reduction;
    let grid = comparison.structure.grid;
    let s = grid.px_per_mm;
    let frame = reduce(&comparison.photo.usable, n).map(|u| if *u > 0.95 { 1.0 } else { 0.0 });
    let small = |planes: &[Plane<f32>; 3]| [0, 1, 2].map(|c| reduce(&planes[c], n));
    let (shown, wanted) = (small(&comparison.corrected_lab), small(&comparison.reference_lab));
    let energy = |planes: &[Plane<f32>; 3]| -> Plane<f32> {
        let (slow, _) = smooth_weighted(&planes[0], &frame, SLOW_MM * s);
        let square = zip(&planes[0], &slow, |a, b| (a - b) * (a - b));
        smooth_weighted(&square, &frame, WINDOW_MM * s).0.map(|v| v.max(0.0).sqrt())
    };
    let (pattern, contrast) = rayon::join(|| energy(&wanted), || energy(&shown));
    // The same comparison of signs: where the pattern is there, however weak, it correlates.
    let likeness = zip(&smooth(&comparison.structure.correlation, WINDOW_MM * s / 2.0), &frame, |c, f| c * f);
    let mean = |p: &Plane<f32>| smooth_weighted(p, &frame, WINDOW_MM * s * 0.75).0;
    let apart = [0, 1, 2].map(|c| zip(&mean(&shown[c]), &mean(&wanted[c]), |a, b| a - b));
    let compared = reduce(&reference.compared, n);
    let mut map = Plane::filled(grid.width, grid.height, 0_u8);
    for y in 0..grid.height {
        for x in 0..grid.width {
            if frame.row(y)[x] < 0.5 {
                continue;
            }
            let judged = compared.row(y)[x] > 0.5;
            let (want, have) = (pattern.row(y)[x], contrast.row(y)[x]);
            let (dl, da, db) = (apart[0].row(y)[x], apart[1].row(y)[x], apart[2].row(y)[x]);
            let foreign = (0.25 * dl * dl + da * da + db * db).sqrt() > FOREIGN;
            let plain = want > PATTERN && have < PLAIN * want;
            let lost = judged && want > PATTERN && likeness.row(y)[x] < 0.25;
            if plain && (foreign || !judged) || lost && foreign {
                map.row_mut(y)[x] = 1;
            }
        }
    }
    keep_covers(&map, s)
}

/// Keeps patches that are large, or not small and touching the border.
fn keep_covers(map: &Plane<u8>, px_per_mm: f64) -> Plane<f32> {
    let (w, h) = (map.width(), map.height());
    let rim = (2.0 * px_per_mm) as usize;
    let mut out = Plane::filled(w, h, 0.0_f32);
    for patch in patches(map) {
        let touches = patch.iter().any(|(x, y)| *x < rim || *y < rim || x + rim >= w || y + rim >= h);
        let area = patch.len() as f64 / (px_per_mm * px_per_mm);
        if area > 600.0 || touches && area > LEAST_MM2 {
            for (x, y) in patch {
                out.row_mut(y)[x] = 1.0;
            }
        }
    }
    out
}

/// What one photo shows: 1 where the face is seen.
struct SeenMap {
    grid: Grid,
    seen: Plane<f32>,
    covered_share: f64,
}

fn seen_map(view: &ItemView<'_>, face: &Face, photo: usize) -> Option<SeenMap> {
    let placed = view.photos.get(photo)?;
    let grid = Grid::over(face.size_mm, PX_PER_MM);
    let mut seen = frame(placed.photo, &placed.placement.mm_to_px, &grid);
    let mut hidden = 0.0;
    if placed.placement.px_per_mm >= MIN_PX_PER_MM
        && let Some(Ok(laid)) = view.laid(photo)
        && let Some(reference) = view.reference(&face.id)
    {
        let cover = covered(reference, &laid.comparison);
        let s = laid.comparison.structure.grid.px_per_mm;
        for y in 0..grid.height {
            for x in 0..grid.width {
                let (x_mm, y_mm) = grid.mm(x as f64, y as f64);
                if cover.get((x_mm * s) as usize, (y_mm * s) as usize).is_some_and(|c| *c > 0.5) {
                    hidden += f64::from(seen.row(y)[x]);
                    seen.row_mut(y)[x] = 0.0;
                }
            }
        }
    }
    let covered_share = hidden / grid.len() as f64;
    Some(SeenMap { grid, seen, covered_share })
}

fn examine_face(view: &ItemView<'_>, face: &Face) -> Vec<Examined> {
    let best = view.best_of(&face.id);
    let placed: Vec<&PlacedPhoto<'_>> = best.iter().map(|photo| &view.photos[*photo]).collect();
    let maps: Vec<(PhotoFile, SeenMap)> = best
        .iter()
        .filter_map(|photo| Some((view.photos[*photo].file.clone(), seen_map(view, face, *photo)?)))
        .collect();
    let mut parts =
        vec![(None, RectMm::new(0.0, 0.0, face.size_mm[0], face.size_mm[1]), format!("the {}", face.id))];
    // The end seals belong to both faces; each face reports what it shows of them.
    if let Some(seal) = SealHeight::of(view.product).map(|seal| seal.most)
        && ["front", "back"].contains(&face.id.as_str())
    {
        for end in ["top", "bottom"] {
            let y = if end == "top" { 0.0 } else { face.size_mm[1] - seal };
            let rect = RectMm::new(0.0, y, face.size_mm[0], seal);
            parts.push((
                Some(format!("{end}-end-seal")),
                rect,
                format!("the {end} end seal on the {}", face.id),
            ));
        }
    }
    parts
        .into_iter()
        .filter_map(|(part, rect, words)| finding(view, face, part, rect, &words, &placed, &maps))
        .collect()
}

fn finding(
    view: &ItemView<'_>,
    face: &Face,
    part: Option<String>,
    rect: RectMm,
    words: &str,
    placed: &[&PlacedPhoto<'_>],
    maps: &[(PhotoFile, SeenMap)],
) -> Option<Examined> {
    let slug = |text: &str| -> Option<Slug> { text.parse().ok() };
    let photos: Vec<PhotoFile> = maps.iter().map(|(file, _)| file.clone()).collect();
    let (reading, says, covered) = if maps.is_empty() {
        let missing = Missing {
            lack: Lack::NotShown,
            words: format!("no photo shows {words}"),
            wants: format!("a photo of {words}, whole and uncovered"),
        };
        let says = missing.words.clone();
        (Reading::CannotTell { missing: vec![missing] }, says, None)
    } else {
        let share = seen_share(maps, &rect);
        let covered = maps.iter().map(|(_, m)| m.covered_share).fold(f64::INFINITY, f64::min);
        let says = format!("{:.0} % of {words} is in the frame and uncovered.", 100.0 * share);
        let reading = Reading::Measured { value: share, standard_uncertainty: SHARE_U, unit: "1".to_owned() };
        (reading, says, Some((1.0 - share, covered)))
    };
    let finding = Finding {
        examiner: slug("cover")?,
        item: view.item.clone(),
        place: Place { face: Some(face.id.clone()), part, rect_mm: Some(rect) },
        quantity: slug("visible-share")?,
        question: format!("How much of {words} do the photos show?"),
        reading,
        expected: None,
        features: Vec::new(),
        seeing: Seeing {
            px_per_mm: placed.first().map(|p| p.placement.px_per_mm),
            angle_deg: placed.first().map(|p| p.placement.angle.value_deg),
            covered: covered.map(|(hidden, _)| hidden),
            ..Seeing::default()
        },
        group: slug("seeing")?,
        photos,
        pictures: Vec::new(),
        says,
    };
    Some(Examined { finding, pictures: Vec::new() })
}

/// Share of a rectangle that at least one photo shows.
fn seen_share(maps: &[(PhotoFile, SeenMap)], rect: &RectMm) -> f64 {
    let Some((_, first)) = maps.first() else { return 0.0 };
    let block = first.grid.pixels(rect, 0.0);
    let mut seen = 0_usize;
    for y in block.y0..block.y1 {
        for x in block.x0..block.x1 {
            if maps.iter().any(|(_, m)| m.seen.get(x, y).is_some_and(|v| *v > 0.5)) {
                seen += 1;
            }
        }
    }
    seen as f64 / block.area().max(1) as f64
}
