//! The examiner `overwrap`: which photos tell of the film, and the lattice that they show together.
//!
//! In: an [`ItemView`]. Out: findings with pictures. Never here: how a lattice is found.

use casebook::catalogue::{Form, Product};
use casebook::finding::{Lack, Missing, Seeing};
use casebook::names::{PhotoFile, Slug};
use casebook::units::Toleranced;
use rayon::prelude::*;

use super::lattice::{Found, Lattice, search};
use super::residual::Residual;
use super::shifts::ShiftMap;
use super::{findings, pictures};
use crate::compare::{Comparison, Lack as CompareLack};
use crate::genuine::{self, MIN_SPECIMENS};
use crate::{Examined, Examiner, ItemView, PlacedPhoto};

/// Fewest photo pixels a millimetre at which a drawn line of half a millimetre is seen.
const MIN_PX_PER_MM: f64 = 2.3;
/// Largest angle of view, degrees.
const MAX_ANGLE_DEG: f64 = 70.0;
/// Shortest and longest repeat that is searched, as a multiple of the makes'.
const RANGE: (f64, f64) = (0.5, 1.7);
/// Longest shift that is looked at, as a multiple of the largest repeat: two repeats and a half.
const REACH: f64 = 2.6;
/// Repeats that are searched where no make states one, mm: common practice, no source.
const USUAL_MM: (f64, f64) = (12.0, 45.0);
/// Excess from which a lattice is read as a mark's: what the search made of 45 boxes and invented faces without
/// a mark reached up to 7.7 (December 2026). It decides what is read, never what it weighs.
pub const CLEAR: f64 = 8.0;
/// Veil of a faint mark, L* at mid print, root of the mean square over a cell: the lower tenth of the
/// rendered calibration set's genuine boxes (December 2026). A product's own specimens speak instead once
/// there are [`MIN_SPECIMENS`].
const FAINT: f64 = 0.17;
/// Added to the tolerance of a stated repeat when lattices are sorted by it, as a share of it: cartons
/// and prints differ in size by so much.
const SCALE: f64 = 0.006;

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
        let facts = Facts::of(view.product);
        match read(view, &facts) {
            Ok(read) => {
                let drawn = pictures::draw(view, &facts, &read);
                findings::measured(view, &facts, &read, drawn)
            }
            Err(missing) => findings::cannot_tell(view, &facts, &missing),
        }
    }
}

/// What the catalogue knows of the film of a product's makes.
#[derive(Debug, Clone, Default)]
pub(super) struct Facts {
    /// Makes whose film carries a mark, with its repeat where that is known.
    pub(super) marked: Vec<(Slug, Option<Toleranced>)>,
    /// Whether some make's film is plain.
    pub(super) plain: bool,
}

impl Facts {
    fn of(product: &Product) -> Self {
        let mut facts = Self::default();
        for make in &product.makes {
            match &make.film {
                Some(film) if film.printed_mark => {
                    facts.marked.push((make.id.clone(), film.mark_repeat_mm));
                }
                Some(_) => facts.plain = true,
                None => {}
            }
        }
        facts
    }

    /// Repeats that makes state.
    pub(super) fn repeats(&self) -> impl Iterator<Item = (&Slug, Toleranced)> {
        self.marked.iter().filter_map(|(make, repeat)| Some((make, (*repeat)?)))
    }

    /// The stated repeat nearest to a lattice's, with how far off the lattice's is, mm. A repeat is the
    /// distance from a mark to the nearest other.
    pub(super) fn nearest(&self, lattice: &Lattice) -> Option<(&Slug, Toleranced, f64)> {
        self.repeats()
            .map(|(make, repeat)| (make, repeat, lattice.repeat_mm() - repeat.value))
            .min_by(|p, q| p.2.abs().total_cmp(&q.2.abs()))
    }

    fn fits(&self, lattice: &Lattice) -> bool {
        self.nearest(lattice)
            .is_some_and(|(_, repeat, off)| off.abs() <= repeat.tolerance + SCALE * repeat.value)
    }

    /// Shortest and longest distance of marks that is searched, mm.
    fn range_mm(&self) -> (f64, f64) {
        let values: Vec<f64> =
            self.repeats().map(|(_, r)| r.value).filter(|v| v.is_finite() && *v > 0.0).collect();
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(0.0, f64::max);
        if high > 0.0 { (RANGE.0 * low, (RANGE.1 * high).min(MOST_MM)) } else { USUAL_MM }
    }
}

/// Longest repeat that is searched, mm: no face of a box shows two of a longer one.
const MOST_MM: f64 = 120.0;

/// The film as all photos show it.
pub(super) struct Read<'a> {
    pub(super) photos: Vec<ReadPhoto<'a>>,
    pub(super) map: ShiftMap,
    /// The lattice that stands out most.
    pub(super) any: Option<Found>,
    /// The one that stands out most among those with a make's repeat.
    pub(super) at: Option<Found>,
    /// Excess that a faint mark on the makes' lattice would show in these photos.
    pub(super) faint: f64,
    /// Distances of marks that were searched, mm.
    pub(super) range_mm: (f64, f64),
}

/// One photo of one face.
pub(super) struct ReadPhoto<'a> {
    pub(super) file: &'a PhotoFile,
    pub(super) face: &'a Slug,
    pub(super) comparison: &'a Comparison,
    /// Scale of the comparison, pixels a millimetre.
    pub(super) px_per_mm: f64,
    pub(super) residual: Residual,
    pub(super) seeing: Seeing,
}

impl Read<'_> {
    /// Whether a mark is read.
    pub(super) fn clear(&self) -> Option<Found> {
        self.any.filter(|found| found.excess >= CLEAR)
    }

    /// Whether even a faint mark would have been read.
    pub(super) fn could_tell(&self) -> bool {
        self.faint >= CLEAR
    }
}

/// What is asked for when the photos do not tell.
pub(super) const WANTS: &str = "a sharp photo of a whole face of the box, straight on and filling the frame, best of one with dark print, in soft light from the side so that the film's mark stands out";

fn read<'a>(view: &'a ItemView<'_>, facts: &Facts) -> Result<Read<'a>, Vec<Missing>> {
    let mut chosen: Vec<(usize, &'a PlacedPhoto<'a>)> = Vec::new();
    let mut lacks = Vec::new();
    for face in &view.product.faces {
        for index in view.best_of(&face.id) {
            let photo = &view.photos[index];
            match objection(photo) {
                None => chosen.push((index, photo)),
                Some((lack, words)) => lacks.push(missing(lack, words)),
            }
        }
    }
    let read: Vec<Result<ReadPhoto<'a>, Missing>> =
        chosen.par_iter().map(|(index, placed)| read_photo(view, *index, placed)).collect();
    let mut photos = Vec::new();
    for read in read {
        match read {
            Ok(photo) => photos.push(photo),
            Err(lack) => lacks.push(lack),
        }
    }
    let range_mm = facts.range_mm();
    let residuals: Vec<&Residual> = photos.iter().map(|p| &p.residual).collect();
    let reach = REACH / RANGE.1 * range_mm.1;
    let Some(map) = ShiftMap::pooled(&residuals, reach) else {
        if lacks.is_empty() {
            lacks.push(missing(Lack::NotShown, "no photo shows a face of the box".to_owned()));
        }
        return Err(lacks);
    };
    let any = search(&map, range_mm, &|_| true);
    let at = search(&map, range_mm, &|lattice| facts.fits(lattice));
    let middle = facts.repeats().next().map_or(0.5 * (range_mm.0 + range_mm.1), |(_, r)| r.value);
    let square = Lattice::of([middle, 0.0], [0.0, middle]).in_map(&map);
    let veil = faintest(view).unwrap_or(FAINT);
    let faint = veil * veil / square.power.1;
    // The found lattices are searched apart; whatever fits a make stands out at most as much as any.
    let any = match (any, at) {
        (Some(any), Some(at)) if at.excess > any.excess => Some(at),
        (any, _) => any,
    };
    Ok(Read { photos, map, any, at, faint, range_mm })
}

/// The faintest mark of the product's genuine specimens, L* at mid print; nothing with too few of them.
fn faintest(view: &ItemView<'_>) -> Option<f64> {
    let mut veils = genuine::values(view, |f| f.quantity.as_str() == "mark-veil");
    veils.retain(|value| *value > 0.0);
    (veils.len() >= MIN_SPECIMENS).then(|| veils.into_iter().fold(f64::INFINITY, f64::min))
}

fn missing(lack: Lack, words: String) -> Missing {
    Missing { lack, words, wants: WANTS.to_owned() }
}

/// What stands against reading the film in a photo at all.
fn objection(placed: &PlacedPhoto<'_>) -> Option<(Lack, String)> {
    let (placement, face) = (placed.placement, &placed.face.id);
    if placement.px_per_mm < MIN_PX_PER_MM {
        let words = format!(
            "{} shows the {face} at {:.1} px/mm; {MIN_PX_PER_MM} are needed",
            placed.file, placement.px_per_mm
        );
        Some((Lack::Resolution, words))
    } else if placement.angle.value_deg > MAX_ANGLE_DEG {
        let words = format!(
            "{} shows the {face} at {:.0}° from straight on; at most {MAX_ANGLE_DEG:.0}° can be read",
            placed.file, placement.angle.value_deg
        );
        Some((Lack::Angle, words))
    } else {
        None
    }
}

fn read_photo<'a>(
    view: &'a ItemView<'_>,
    index: usize,
    placed: &'a PlacedPhoto<'a>,
) -> Result<ReadPhoto<'a>, Missing> {
    let (file, face) = (placed.file, &placed.face.id);
    let laid = view.laid(index).unwrap_or(Err(CompareLack::Unplaced)).map_err(|lack| {
        let (lack, words) = match lack {
            CompareLack::Unplaced => (Lack::Placement, "cannot be cut out"),
            CompareLack::Unseen => (Lack::OutOfFrame, "is hardly in the frame and free of glare"),
            CompareLack::Unaligned => (Lack::Placement, "does not show the reference's print"),
            CompareLack::NoCamera => (Lack::Glare, "shows too little colour to judge the camera"),
        };
        missing(lack, format!("in {file} the {face} {words}"))
    })?;
    let Some(reference) = view.reference(face) else {
        let words = format!("the library holds no reference picture of the {face} that can be used");
        return Err(Missing { lack: Lack::Library, words, wants: String::new() });
    };
    let comparison = &laid.comparison;
    Ok(ReadPhoto {
        file,
        face,
        comparison,
        px_per_mm: reference.grid.px_per_mm,
        residual: Residual::of(&reference.grid, comparison),
        seeing: Seeing {
            px_per_mm: Some(placed.placement.px_per_mm),
            angle_deg: Some(placed.placement.angle.value_deg),
            blur_px: Some(comparison.blur_px * placed.placement.px_per_mm / reference.grid.px_per_mm),
            glare: Some(comparison.clipped),
            covered: Some(1.0 - comparison.framed),
            usable: Some(comparison.framed * (1.0 - comparison.clipped)),
        },
    })
}
