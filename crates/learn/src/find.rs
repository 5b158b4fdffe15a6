//! Which photo shows which face, and where: by what people said, by file names, by outlines.
//!
//! In: decoded photos with what was said. Out: [`Sight`]s, one a face in a photo. Never here: merging,
//! print (see `run`, which places what has no outline by print).

use casebook::catalogue::Form;
use casebook::learn::LearnPhoto;
use casebook::names::{PhotoFile, Slug};
use photo::Photo;
use placement::outline::{NoOutline, Outline, Sides, outlines};
use rayon::prelude::*;

use crate::names::face_of_file;
use crate::size::{Size, by_card, card_among};

/// Standard uncertainty of a corner that a person set, pixels of a picture as a screen shows it (1,500
/// on the long side): two screen pixels, as everywhere in the program.
const CLICK_U_SCREEN_PX: f64 = 2.0;
const SCREEN_PX: f64 = 1_500.0;

/// A decoded photo with what was said of it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shot<'a> {
    pub(crate) file: &'a PhotoFile,
    pub(crate) photo: &'a Photo,
    pub(crate) told: Option<&'a LearnPhoto>,
}

/// What the outlines of one photo gave.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    /// Faces with their outlines; the face is `None` when nobody said which it is.
    pub(crate) faces: Vec<(Option<Slug>, Outline)>,
    /// The card's outline, when one was asked for and found.
    pub(crate) card: Option<Outline>,
    /// Faces that were named but whose outline was not found.
    pub(crate) named: Option<Slug>,
    /// Why there is no outline.
    pub(crate) lack: Option<NoOutline>,
}

/// How the sides of a form run.
pub(crate) const fn sides_of(form: Form) -> Sides {
    match form {
        Form::Pack => Sides::Waisted,
        _ => Sides::Straight,
    }
}

/// Outlines of every photo.
pub(crate) fn look(shots: &[Shot<'_>], form: Form, card: bool) -> Vec<Seen> {
    shots.par_iter().map(|shot| look_at(shot, form, card)).collect()
}

fn look_at(shot: &Shot<'_>, form: Form, card: bool) -> Seen {
    let by_name = face_of_file(shot.file.as_str(), form);
    let click = CLICK_U_SCREEN_PX * (shot.photo.width().max(shot.photo.height()) as f64 / SCREEN_PX).max(1.0);
    let told = shot.told.map_or(&[][..], |told| told.shows.as_slice());
    let by_hand: Vec<(Option<Slug>, Outline)> = told
        .iter()
        .filter_map(|shown| Some((Some(shown.face.clone()), Outline::by_hand(shown.corners_px?, click))))
        .collect();
    let card_by_hand = shot.told.and_then(|told| told.card_corners_px).map(|c| Outline::by_hand(c, click));
    let mut seen = Seen { faces: by_hand, card: card_by_hand, named: None, lack: None };
    if !seen.faces.is_empty() && (seen.card.is_some() || !card) {
        return seen;
    }
    let named = told.first().map(|shown| shown.face.clone()).or(by_name);
    match outlines(shot.photo, sides_of(form)) {
        Ok(mut found) => {
            if card && seen.card.is_none() {
                let rounded = outlines(shot.photo, Sides::Rounded).unwrap_or_default();
                if rounded.len() > 1
                    && let Some(at) = card_among(&rounded)
                {
                    let own = &rounded[at];
                    found.retain(|o| !same_place(o, own));
                    seen.card = Some(own.clone());
                }
            }
            if seen.faces.is_empty() {
                match found.into_iter().next() {
                    Some(outline) => seen.faces.push((named, outline)),
                    None => (seen.named, seen.lack) = (named, Some(NoOutline::NothingStandsOut)),
                }
            }
        }
        Err(lack) if seen.faces.is_empty() => (seen.named, seen.lack) = (named, Some(lack)),
        Err(_) => {}
    }
    seen
}

/// Whether the middle of one lies within the other's size of its middle.
fn same_place(a: &Outline, b: &Outline) -> bool {
    let middle = |o: &Outline| {
        let sum = o.corners_px.iter().fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
        [sum[0] / 4.0, sum[1] / 4.0]
    };
    let (p, q) = (middle(a), middle(b));
    let near = a.area_px().min(b.area_px()).sqrt() / 3.0;
    (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]) < near * near
}

/// The size of the front (and the depth, from a side face) against the card, from all photos that
/// show one; else why not.
pub(crate) fn size_by_card(seen: &[Seen], form: Form) -> Result<Size, String> {
    let mut fronts: Vec<(f64, f64, f64)> = Vec::new();
    let mut depths: Vec<(f64, f64)> = Vec::new();
    let mut cards = 0;
    for one in seen {
        let Some(card) = &one.card else { continue };
        cards += 1;
        let [(face, item)] = one.faces.as_slice() else { continue };
        let Some((w, h, u)) = by_card(item, card) else { continue };
        match face.as_ref().map(Slug::as_str) {
            Some("left" | "right") => depths.push((w, u)),
            Some("top" | "bottom") => depths.push((h, u)),
            // A pack that lies on its side is still as high as it is long.
            _ if form == Form::Pack && w > h => fronts.push((h, w, u)),
            _ => fronts.push((w, h, u)),
        }
    }
    if fronts.is_empty() {
        return Err(match cards {
            0 => "no card was found beside the item in any photo".to_owned(),
            _ => "the card and the item do not lie in one plane in any photo of the front or back".to_owned(),
        });
    }
    let mean = |values: &[(f64, f64)]| {
        let weight: f64 = values.iter().map(|v| 1.0 / (v.1 * v.1)).sum();
        let mean = values.iter().map(|v| v.0 / (v.1 * v.1)).sum::<f64>() / weight;
        let spread = values.iter().map(|v| (v.0 - mean) * (v.0 - mean)).sum::<f64>();
        let n = values.len() as f64;
        let scatter = if n > 1.0 { (spread / (n - 1.0) / n).sqrt() } else { 0.0 };
        (mean, (1.0 / weight).sqrt().max(scatter))
    };
    let (width, wu) = mean(&fronts.iter().map(|f| (f.0, f.2)).collect::<Vec<_>>());
    let (height, hu) = mean(&fronts.iter().map(|f| (f.1, f.2)).collect::<Vec<_>>());
    let depth = (!depths.is_empty()).then(|| mean(&depths).0);
    Ok(Size { width, height, depth, u: wu.max(hu), by_card: true })
}

/// The outline with the corner first that makes it as wide and high as the face, and whether it had to
/// be turned: then nobody knows which end is up.
pub(crate) fn fitting(outline: &Outline, size_mm: [f64; 2]) -> (Outline, bool) {
    let [a, b, c, d] = outline.sides_px();
    let seen = casebook::elementary::ln((a + c) / (b + d).max(1e-9));
    let is = casebook::elementary::ln(size_mm[0] / size_mm[1]);
    // A face that is nearly square keeps the way it was photographed.
    if (seen + is).abs() + 0.05 < (seen - is).abs() {
        (outline.turned(3), true)
    } else {
        (outline.clone(), false)
    }
}
