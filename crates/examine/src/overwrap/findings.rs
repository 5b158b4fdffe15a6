//! The findings on a box's film, in words and numbers.
//!
//! In: what was read, or what is missing. Out: [`Examined`]. Never here: measuring, a verdict.
//!
//! Quantities: `film-present` (how far a makes' mark stands out; features `mark-at-repeat`,
//! `repeat-contest`), `mark-repeat` (mm; feature `repeat-off`), `mark-direction` (degrees),
//! `mark-veil` (L*), `unexpected-mark` where a make's film is plain (feature `mark-excess`), and `film-seam`, which always
//! cannot tell. Group: `film`.

use casebook::elementary::ln;
use casebook::finding::{Expected, Feature, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::names::{PhotoFile, Slug};
use casebook::picture::Picture;

use super::examiner::{CLEAR, Facts, Read, WANTS};
use super::lattice::{Found, Lattice};
use super::residual::length;
use crate::genuine::{self, MIN_SPECIMENS};
use crate::{Examined, ItemView};

/// Added to a deviation over its tolerance before the logarithm: well inside is as good as none.
const CALM: f64 = 0.5;
/// Excess that the search reaches on almost any print by chance: less tells no more than this.
const CHANCE: f64 = 4.0;
/// Relative standard uncertainty of the face's millimetres where the catalogue gives no tolerance.
const SCALE_U: f64 = 0.005;

const FILM: &str = "Does the factory's printed mark lie over the box, as on the makes' film?";
const REPEAT: &str = "How far apart do the marks on the film stand?";
const DIRECTION: &str = "In which direction do the marks on the film follow each other?";
const VEIL: &str = "How strong is the mark on the film?";
const UNEXPECTED: &str = "Does the film carry a repeated mark where no make's film has one?";
const SEAM: &str = "Are the film's seam and end folds those of the factory's machine?";

/// Pictures by what they show.
#[derive(Debug, Default)]
pub(super) struct Drawn {
    pub(super) film: Vec<Picture>,
}

struct Maker<'a> {
    view: &'a ItemView<'a>,
    photos: Vec<PhotoFile>,
    seeing: Seeing,
}

impl Maker<'_> {
    fn push(
        &self,
        out: &mut Vec<Examined>,
        (quantity, question): (&str, &str),
        reading: Reading,
        says: String,
        features: Vec<Feature>,
        expected: Option<Expected>,
    ) {
        let (Some(examiner), Some(quantity), Some(group)) = (slug("overwrap"), slug(quantity), slug("film"))
        else {
            return;
        };
        let expected = expected.or_else(|| self.specimens(&quantity));
        let finding = Finding {
            examiner,
            item: self.view.item.clone(),
            place: Place { part: Some("film".to_owned()), ..Place::default() },
            quantity,
            question: question.to_owned(),
            reading,
            expected,
            features,
            seeing: self.seeing,
            group,
            photos: self.photos.clone(),
            pictures: Vec::new(),
            says,
        };
        out.push(Examined { finding, pictures: Vec::new() });
    }

    fn cannot_tell(&self, out: &mut Vec<Examined>, asked: (&str, &str), missing: Vec<Missing>) {
        let says = missing.first().map_or_else(|| "it could not be read".to_owned(), |m| m.words.clone());
        self.push(out, asked, Reading::CannotTell { missing }, says, Vec::new(), None);
    }

    /// Range of the same quantity among genuine specimens.
    fn specimens(&self, quantity: &Slug) -> Option<Expected> {
        let values = genuine::values(self.view, |f| f.quantity == *quantity);
        if values.len() < MIN_SPECIMENS {
            return None;
        }
        Some(Expected {
            low: values.iter().copied().fold(f64::INFINITY, f64::min),
            high: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            basis: format!("least and largest of {} sittings of genuine specimens", values.len()),
        })
    }
}

fn slug(text: &str) -> Option<Slug> {
    text.parse().ok()
}

fn feature(name: &str, value: f64, u: f64) -> Option<Feature> {
    (value.is_finite() && u.is_finite()).then_some(())?;
    Some(Feature { name: slug(name)?, value, standard_uncertainty: u, unit: "1".to_owned() })
}

fn measured_reading(value: f64, u: f64, unit: &str) -> Reading {
    Reading::Measured { value, standard_uncertainty: u, unit: unit.to_owned() }
}

/// Findings of a film of which photos tell something.
pub(super) fn measured(view: &ItemView<'_>, facts: &Facts, read: &Read<'_>, drawn: Drawn) -> Vec<Examined> {
    let mut photos: Vec<PhotoFile> = Vec::new();
    for photo in &read.photos {
        if !photos.contains(photo.file) {
            photos.push(photo.file.clone());
        }
    }
    let best = read
        .photos
        .iter()
        .max_by(|a, b| a.seeing.px_per_mm.unwrap_or(0.0).total_cmp(&b.seeing.px_per_mm.unwrap_or(0.0)));
    let maker = Maker { view, photos, seeing: best.map(|p| p.seeing).unwrap_or_default() };
    let mut out = Vec::new();
    present(&maker, &mut out, facts, read);
    repeat(&maker, &mut out, facts, read);
    if facts.plain && facts.marked.is_empty() {
        unexpected(&maker, &mut out, read);
    }
    seam(&maker, &mut out);
    if let Some(first) = out.first_mut() {
        first.finding.pictures = drawn.film.iter().map(|p| p.id.clone()).collect();
        first.pictures = drawn.film;
    }
    out
}

/// The same questions where no photo tells anything.
pub(super) fn cannot_tell(view: &ItemView<'_>, facts: &Facts, missing: &[Missing]) -> Vec<Examined> {
    let maker = Maker { view, photos: Vec::new(), seeing: Seeing::default() };
    let mut out = Vec::new();
    maker.cannot_tell(&mut out, ("film-present", FILM), missing.to_vec());
    maker.cannot_tell(&mut out, ("mark-repeat", REPEAT), missing.to_vec());
    maker.cannot_tell(&mut out, ("mark-direction", DIRECTION), missing.to_vec());
    maker.cannot_tell(&mut out, ("mark-veil", VEIL), missing.to_vec());
    if facts.plain && facts.marked.is_empty() {
        maker.cannot_tell(&mut out, ("unexpected-mark", UNEXPECTED), missing.to_vec());
    }
    seam(&maker, &mut out);
    out
}

/// How far the makes' mark stands out.
fn present(maker: &Maker<'_>, out: &mut Vec<Examined>, facts: &Facts, read: &Read<'_>) {
    let asked = ("film-present", FILM);
    if facts.marked.is_empty() {
        let words = if facts.plain {
            "the makes' film is plain, and plain film does not show whose it is".to_owned()
        } else {
            "the catalogue does not say what film the makes have".to_owned()
        };
        let wants = "close photos of the film's seams and end folds, to look at yourself".to_owned();
        let lack = if facts.plain { Lack::NotExaminedYet } else { Lack::Library };
        return maker.cannot_tell(out, asked, vec![Missing { lack, words, wants }]);
    }
    if facts.repeats().next().is_none() {
        let words = "the catalogue does not say how far apart the makes' marks stand".to_owned();
        return maker.cannot_tell(
            out,
            asked,
            vec![Missing { lack: Lack::Library, words, wants: String::new() }],
        );
    }
    if read.clear().is_none() && !read.could_tell() {
        return maker.cannot_tell(out, asked, vec![too_faint(read)]);
    }
    let at = read.at.map_or(0.0, |f| f.excess.max(0.0));
    let any = read.any.map_or(0.0, |f| f.excess).max(at);
    let mut says = format!(
        "On the makes' repeat the film is like itself {at:.1} standard deviations above chance; prints without a mark reach up to {CLEAR:.0} by chance."
    );
    if any > at + 1.0
        && let Some(found) = read.clear()
    {
        says += &format!(
            " On a repeat of {:.1} mm it is so by {any:.1}, and that is none of the makes'.",
            found.lattice.repeat_mm()
        );
    }
    let mut features = Vec::new();
    let (floor_at, floor_any) = (at.max(CHANCE), any.max(CHANCE));
    features.extend(feature("mark-at-repeat", ln(floor_at), 1.0 / floor_at));
    features.extend(feature("repeat-contest", ln(floor_at / floor_any), 1.0 / floor_any));
    maker.push(out, asked, measured_reading(at, 1.0, "1"), says, features, None);
}

/// Repeat and direction of the mark that stands out most.
fn repeat(maker: &Maker<'_>, out: &mut Vec<Examined>, facts: &Facts, read: &Read<'_>) {
    let Some(found) = read.clear() else {
        let lack = if read.could_tell() {
            let words = "no repeated mark stands out from the print".to_owned();
            Missing { lack: Lack::NotShown, words, wants: WANTS.to_owned() }
        } else {
            too_faint(read)
        };
        maker.cannot_tell(out, ("mark-repeat", REPEAT), vec![lack.clone()]);
        maker.cannot_tell(out, ("mark-veil", VEIL), vec![lack.clone()]);
        return maker.cannot_tell(out, ("mark-direction", DIRECTION), vec![lack]);
    };
    let stated = facts.nearest(&found.lattice);
    let vector = found.lattice.a;
    let value = length(vector);
    let scale = maker
        .view
        .product
        .size_mm
        .iter()
        .flatten()
        .filter(|size| size.value > 0.0 && size.tolerance > 0.0)
        .map(|size| size.standard_uncertainty() / size.value)
        .reduce(f64::min)
        .unwrap_or(SCALE_U);
    let by_chance = found.length_u_mm();
    let u = casebook::elementary::hypot(by_chance, scale * value);
    let Lattice { a, b } = found.lattice;
    let mut says = format!(
        "A mark repeats every {value:.1} ± {u:.1} mm; the nearest two ways from mark to mark are {:.1} mm at {:.0}° and {:.1} mm at {:.0}° from the face's top side.",
        length(a),
        Lattice::direction_deg(a),
        length(b),
        Lattice::direction_deg(b),
    );
    let mut features = Vec::new();
    let mut expected = None;
    if let Some((make, repeat, off)) = stated {
        says +=
            &format!(" The film of {make} repeats every {:.1} ± {:.1} mm.", repeat.value, repeat.tolerance);
        let allowed = repeat.tolerance.max(1e-3);
        let ratio = off.abs() / allowed;
        features.extend(feature("repeat-off", ln(CALM + ratio), u / allowed / (CALM + ratio)));
        expected = Some(Expected {
            low: repeat.value - repeat.tolerance,
            high: repeat.value + repeat.tolerance,
            basis: format!("catalogue, make {make}"),
        });
    }
    maker.push(out, ("mark-repeat", REPEAT), measured_reading(value, u, "mm"), says, features, expected);
    let mut direction = Lattice::direction_deg(vector);
    if direction > 177.5 {
        direction -= 180.0; // A little above the horizontal, not almost all the way round.
    }
    let u = (by_chance / value.max(1.0)).to_degrees();
    let says = format!(
        "The marks follow each other at {direction:.1} ± {u:.1}° from the face's top side, towards its bottom."
    );
    maker.push(
        out,
        ("mark-direction", DIRECTION),
        measured_reading(direction, u, "°"),
        says,
        Vec::new(),
        None,
    );
    veil(maker, out, &found);
}

/// How strong the mark is, so that specimens say what would have been seen.
fn veil(maker: &Maker<'_>, out: &mut Vec<Examined>, found: &Found) {
    let (power, u) = found.power;
    let root = power.max(0.0).sqrt();
    if root > 0.0 && u.is_finite() {
        let says = format!(
            "The mark changes print of middle lightness by {root:.2} in L*, as root mean square over a whole repeat."
        );
        let reading = measured_reading(root, u / (2.0 * root), "L*");
        maker.push(out, ("mark-veil", VEIL), reading, says, Vec::new(), None);
    }
}

/// A mark where there should be none.
fn unexpected(maker: &Maker<'_>, out: &mut Vec<Examined>, read: &Read<'_>) {
    let asked = ("unexpected-mark", UNEXPECTED);
    if read.clear().is_none() && !read.could_tell() {
        return maker.cannot_tell(out, asked, vec![too_faint(read)]);
    }
    let any = read.any.map_or(0.0, |f| f.excess.max(0.0));
    let says = format!(
        "The film is like itself {any:.1} standard deviations above chance on the repeat that stands out most; prints without a mark reach up to {CLEAR:.0} by chance."
    );
    let floor = any.max(CHANCE);
    let features = feature("mark-excess", ln(floor), 1.0 / floor).into_iter().collect();
    maker.push(out, asked, measured_reading(any, 1.0, "1"), says, features, None);
}

fn seam(maker: &Maker<'_>, out: &mut Vec<Examined>) {
    let missing = Missing {
        lack: Lack::NotExaminedYet,
        words: "the film's seam and end folds are not measured; compare them yourself with a genuine box's"
            .to_owned(),
        wants: "close photos of the film's seam and of an end fold, with light from the side".to_owned(),
    };
    maker.cannot_tell(out, ("film-seam", SEAM), vec![missing]);
}

/// What stands in the way when even a mark that is there might not be seen.
fn too_faint(read: &Read<'_>) -> Missing {
    let finest = read.photos.iter().filter_map(|p| p.seeing.px_per_mm).fold(0.0, f64::max);
    let glare = read.photos.iter().filter_map(|p| p.seeing.glare).fold(1.0, f64::min);
    let lack = if glare > 0.3 { Lack::Glare } else { Lack::Resolution };
    let words = format!(
        "a faint mark would stand out by {:.1} standard deviations in these photos (finest {finest:.1} px/mm, {:.0} % glare in the best); {CLEAR:.0} are needed",
        read.faint,
        100.0 * glare
    );
    Missing { lack, words, wants: WANTS.to_owned() }
}

/// Lattices as words, for pictures.
pub(super) fn in_words(found: &Found) -> String {
    format!("every {:.1} mm", found.lattice.repeat_mm())
}
