//! All that the photos of one item say about one end.
//!
//! In: the item's placed photos. Out: [`JointEnd`] for each end: the readings that count, or what each
//! photo lacks. Never here: findings' words, another item.

use std::sync::Arc;

use casebook::catalogue::RidgeDirection;
use casebook::elementary::hypot;
use casebook::finding::Lack;
use photo::Photo;
use placement::Homography;
use rayon::prelude::*;

use super::evenness::Seen;
use super::light::UnevenLight;
use super::phases::Blocks;
use super::pitch::{MIN_PX_PER_RIDGE, Pitch};
use super::reading::{EndFacts, EndReading, Located};
use super::view::End;
use crate::ItemView;

/// Beyond this angle foil mirrors a strip of the room too narrow for contrast to be predicted.
const MAX_ANGLE_DEG: f64 = 62.0;
/// Share of the band that must be usable.
const MIN_USABLE: f64 = 0.35;
/// Below this likeness the print of the end was not found where the placement says.
const MIN_LIKENESS: f64 = 0.25;
/// Blur at which ridges keep 5 % of their contrast: σ = 0.39 pitch, from exp(−2π²σ²/pitch²) = 0.05.
const MAX_BLUR_PITCHES: f64 = 0.39;
/// Mean light below which an 8-bit code holds too few steps.
const MIN_LIGHT: f64 = 0.003;

/// One reading with the photo it comes from.
#[derive(Debug, Clone)]
pub struct SeenEnd {
    /// Index of the photo in the item's view.
    pub photo: usize,
    /// Whether the face is the back.
    pub back: bool,
    /// The reading.
    pub reading: EndReading,
    /// Angle of view, degrees.
    pub angle_deg: f64,
    /// Standard deviation of the blur, photo pixels, where measured.
    pub blur_px: Option<f64>,
    /// Coherence from block to block at the wave of the map.
    pub step_coherence: f64,
    /// Amplitude of the strongest other wave over that of the ridges.
    pub other_wave: f64,
    /// Light beside a product of two profiles, where enough of the band is seen.
    pub light: Option<UnevenLight>,
    /// Trust in it, relative.
    pub weight: f64,
}

/// What a photo lacks for an end.
#[derive(Debug, Clone, PartialEq)]
pub struct Lacking {
    /// Index of the photo.
    pub photo: usize,
    /// The kind.
    pub lack: Lack,
    /// In words with numbers.
    pub words: String,
}

/// One end in all photos.
#[derive(Debug, Clone)]
pub struct JointEnd {
    /// Which.
    pub end: End,
    /// Readings that count, best first.
    pub seen: Vec<SeenEnd>,
    /// What the other photos lack.
    pub lacking: Vec<Lacking>,
}

impl JointEnd {
    /// The maps of all readings.
    #[must_use]
    pub fn maps(&self) -> Vec<Seen<'_>> {
        self.seen
            .iter()
            .filter_map(|s| {
                Some(Seen {
                    map: s.reading.map.as_ref()?,
                    back: s.back,
                    weight: s.weight,
                    step_coherence: s.step_coherence,
                    other_wave: s.other_wave,
                    light: s.light,
                })
            })
            .collect()
    }
}

/// Says that the lettering of an end does not stand out from chance; `None` when it does, or when the
/// reference has none.
#[must_use]
pub fn hidden(at: &Located) -> Option<String> {
    let (whole, end) = (at.lie.seal_whole?, at.end.word());
    let chance =
        at.lie.seal_chance.map_or_else(String::new, |chance| format!(", chance reaches {chance:.2}"));
    at.lie.lettering_is_seen().is_some_and(|seen| !seen).then(|| {
        format!(
            "the lettering of the {end} end seal is not seen (agreement {whole:.2} of 1{chance}): something lies over it, or light drowns it"
        )
    })
}

/// What stands against using a reading; `None` when nothing does.
#[must_use]
pub fn objection(
    reading: &EndReading,
    has_reference: bool,
    angle_deg: f64,
    blur_px: Option<f64>,
    facts: &EndFacts,
) -> Option<(Lack, String)> {
    let end = reading.at.end.word();
    let band = &reading.band;
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    if band.outside > 0.5 {
        return Some((
            Lack::OutOfFrame,
            format!("{} of the {end} end seal lies outside the photo", percent(band.outside)),
        ));
    }
    if has_reference && reading.at.lie.likeness < MIN_LIKENESS {
        let words = format!(
            "the print at the {end} end agrees with the reference by {:.2} of 1; {MIN_LIKENESS} is needed, so something else is in front or the face lies elsewhere",
            reading.at.lie.likeness
        );
        return Some((Lack::Covered, words));
    }
    // Ridges of a make show that the seal itself is seen, however faint its lettering.
    if let Some(words) = hidden(&reading.at)
        && !reading.pitch.as_ref().is_ok_and(|own| fits(own, facts))
    {
        let lack = if band.glare > 0.3 { Lack::Glare } else { Lack::Covered };
        return Some((lack, words));
    }
    if angle_deg > MAX_ANGLE_DEG {
        let words = format!(
            "the {end} end is seen at {angle_deg:.0}° from straight on; up to {MAX_ANGLE_DEG:.0}° can be read"
        );
        return Some((Lack::Angle, words));
    }
    // The finest ridges of any make, in the direction they repeat in.
    let finest = facts
        .ridges
        .iter()
        .map(|(_, direction, pitch, _)| {
            let along = matches!(direction, RidgeDirection::Along);
            reading.at.view.seen_px_per_mm[usize::from(!along)] * pitch
        })
        .fold(f64::INFINITY, f64::min);
    let px_per_ridge = if finest.is_finite() { finest } else { reading.at.view.seen_px_per_mm[0] };
    if px_per_ridge < MIN_PX_PER_RIDGE {
        let words =
            format!("the {end} end is seen at {px_per_ridge:.1} px per ridge; {MIN_PX_PER_RIDGE} are needed");
        return Some((Lack::Resolution, words));
    }
    if let Some(blur) = blur_px
        && blur > MAX_BLUR_PITCHES * px_per_ridge
    {
        let words = format!(
            "the {end} end is blurred by {blur:.1} px (standard deviation) at {px_per_ridge:.1} px per ridge; up to {:.1} px can be read",
            MAX_BLUR_PITCHES * px_per_ridge
        );
        return Some((Lack::Blur, words));
    }
    let usable = band.strip.usable_share();
    if usable < MIN_USABLE {
        let worst = [
            (band.outside, Lack::OutOfFrame, "outside the photo"),
            (band.covered, Lack::Covered, "covered by something that is not the pack's print"),
            (band.glare, Lack::Glare, "lost to glare"),
        ];
        let (share, lack, how) = worst.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
        let words = format!(
            "{} of the {end} end seal is {how}; {} can be used, {} is needed",
            percent(share),
            percent(usable),
            percent(MIN_USABLE)
        );
        return Some((lack, words));
    }
    let (mut sum, mut n) = (0.0, 0.0);
    for (l, used) in band.strip.luminance.iter().zip(&band.strip.usable) {
        if *used {
            sum += f64::from(*l);
            n += 1.0;
        }
    }
    if sum < MIN_LIGHT * n {
        return Some((
            Lack::Exposure,
            format!("the {end} end is too dark: {:.2} % of white", 100.0 * sum / n),
        ));
    }
    None
}

/// Relative distance within which two pitches count as the same, beside the make's tolerance: scale of
/// a seal that lies below the body, and drift of the glints.
const SAME_PITCH: f64 = 0.06;

fn fits(pitch: &Pitch, facts: &EndFacts) -> bool {
    facts.ridges.iter().any(|(_, direction, nominal, tolerance)| {
        pitch.direction == *direction && (pitch.pitch_mm - nominal).abs() <= tolerance + SAME_PITCH * nominal
    })
}

fn alike(a: &Pitch, b: &Pitch) -> bool {
    a.direction == b.direction && (a.pitch_mm / b.pitch_mm - 1.0).abs() <= SAME_PITCH
}

/// Whether an end's own wave is the one that its ridges are judged at. An end that was pressed again
/// with another tool shows that tool's wave: then the other end, or the makes, say what to look for.
/// Where both ends agree they are judged at their own wave, whatever the makes say.
fn own_counts(own: &Pitch, other: Option<&Pitch>, facts: &EndFacts) -> bool {
    facts.ridges.is_empty() || fits(own, facts) || other.is_some_and(|other| alike(own, other))
}

/// Waves that an end's ridges may have: its own, or else the other end's and the makes'.
fn candidates(
    own: Option<&Pitch>,
    other: Option<&Pitch>,
    facts: &EndFacts,
) -> Vec<(RidgeDirection, f64, f64)> {
    let mut waves: Vec<(RidgeDirection, f64, f64)> = Vec::new();
    if let Some(p) = own {
        waves.push((p.direction, p.fx, p.fy));
        return waves;
    }
    if let Some(p) = other.filter(|p| facts.ridges.is_empty() || fits(p, facts)) {
        waves.push((p.direction, p.fx, p.fy));
    }
    for (_, direction, pitch, _) in &facts.ridges {
        waves.push(match direction {
            RidgeDirection::Along => (*direction, 1.0 / pitch, 0.0),
            RidgeDirection::Across => (*direction, 0.0, 1.0 / pitch),
        });
    }
    waves
}

/// Reads the map of an end at the best of its possible waves, and how well that wave keeps step.
pub fn settle(reading: &mut EndReading, other: Option<&Pitch>, facts: &EndFacts) -> (f64, f64) {
    let own = reading.pitch.as_ref().ok().filter(|own| own_counts(own, other, facts));
    let mut best: Option<(f64, RidgeDirection, f64, f64)> = None;
    for (direction, fx, fy) in candidates(own, other, facts) {
        let (fx, fy) = if own.is_some() { (fx, fy) } else { nearby(reading, direction, fx, fy) };
        // A ridge that glints twice keeps step at half its pitch where its own wave fades.
        let step = [1.0, 2.0]
            .into_iter()
            .map(|k| Blocks::of(&reading.field, direction, k * fx, k * fy).step_coherence())
            .fold(0.0, f64::max);
        if best.is_none_or(|(top, ..)| step > top) {
            best = Some((step, direction, fx, fy));
        }
    }
    let Some((step, direction, fx, fy)) = best else { return (0.0, 1.0) };
    reading.settle(direction, fx, fy);
    (step, other_wave(reading, fx, fy))
}

/// The strongest frequency within 6 % and a few degrees of a wave that ridges ought to have; its own
/// second glint counts for it.
fn nearby(reading: &EndReading, direction: RidgeDirection, fx: f64, fy: f64) -> (f64, f64) {
    let f = hypot(fx, fy);
    let mut best = (0.0, fx, fy);
    for i in -6..=6 {
        let size = f * (1.0 + 0.01 * f64::from(i));
        for j in -4..=4 {
            let slant = 0.02 * f64::from(j) * size;
            let (x, y) = match direction {
                RidgeDirection::Along => (size, slant),
                RidgeDirection::Across => (slant, size),
            };
            // Negative frequencies along the end stand for their positive twins.
            let (x, y) = if x < 0.0 { (-x, -y) } else { (x, y) };
            let here = reading
                .spectrum
                .prominence_at(x, y)
                .1
                .max(reading.spectrum.prominence_at(2.0 * x, 2.0 * y).1);
            if here > best.0 {
                best = (here, x, y);
            }
        }
    }
    (best.1, best.2)
}

/// Amplitude of the strongest wave that is neither the ridges' nor one of their harmonics.
fn other_wave(reading: &EndReading, fx: f64, fy: f64) -> f64 {
    let spectrum = &reading.spectrum;
    let f = hypot(fx, fy);
    let (length, height) = reading.field.size_mm();
    let main = spectrum.prominence_at(fx, fy).0.max(spectrum.prominence_at(2.0 * fx, 2.0 * fy).0);
    // Beside the main wave and its harmonics, uneven ridges spread their own power: leave two
    // resolution steps of room.
    let far = |x: f64, y: f64| {
        [0.5, 1.0, 1.5, 2.0, 3.0].iter().all(|k| {
            let (a, b) = (x - k * fx, y - k * fy);
            let (c, d) = (x + k * fx, y + k * fy);
            let near = |dx: f64, dy: f64| (dx * length / 8.0).abs() < 1.0 && (dy * height / 2.5).abs() < 1.0;
            !near(a, b) && !near(c, d)
        })
    };
    let straight = |x: f64, y: f64| x < 0.2 * y.abs() || y.abs() < 0.2 * x;
    let peaks = spectrum.peaks(0.33, (f * 1.8).min(1.9), 1, |x, y| straight(x, y) && far(x, y));
    match peaks.first() {
        Some(peak) if main > 0.0 => (peak.power / main).sqrt(),
        _ => 0.01,
    }
}

/// Blur of a photo around an end, standard deviation in photo pixels.
#[must_use]
pub fn blur_around(photo: &Photo, map: &Homography, face_mm: [f64; 2], end: End) -> Option<f64> {
    let [w, h] = face_mm;
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for (x, d) in [(0.0, -1.0), (w, -1.0), (0.0, 12.0), (w, 12.0)] {
        let p = map.map(end.on_face(x, d, h))?;
        for k in 0..2 {
            low[k] = low[k].min(p[k]);
            high[k] = high[k].max(p[k]);
        }
    }
    let whole = |v: f64| v.clamp(0.0, 1e6) as usize;
    let (sigma, _) =
        photo::quality::blur_over(photo, whole(low[0]), whole(low[1]), whole(high[0]), whole(high[1]))?;
    Some(f64::from(sigma))
}

/// What one end of one photo gave: a reading, or what it lacks.
type EndOutcome = (Option<SeenEnd>, Option<Lacking>);

/// Reads both ends in every photo of an item.
#[must_use]
pub fn gather(view: &ItemView<'_>) -> [JointEnd; 2] {
    let facts = EndFacts::of(view.product);
    let photos: Vec<usize> = (0..view.photos.len()).filter(|p| view.photos[*p].shows_ends()).collect();
    let read: Vec<Vec<EndOutcome>> = photos.par_iter().map(|photo| read_face(view, *photo, &facts)).collect();
    let mut ends = End::BOTH.map(|end| JointEnd { end, seen: Vec::new(), lacking: Vec::new() });
    for both in read {
        for (joint, (seen, lacking)) in ends.iter_mut().zip(both) {
            joint.seen.extend(seen);
            joint.lacking.extend(lacking);
        }
    }
    for joint in &mut ends {
        joint.seen.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.photo.cmp(&b.photo)));
    }
    ends
}

fn read_face(view: &ItemView<'_>, index: usize, facts: &EndFacts) -> Vec<EndOutcome> {
    let placed = &view.photos[index];
    let (map, face_mm) = (&placed.placement.mm_to_px, placed.face.size_mm);
    let angle_deg = placed.placement.angle.value_deg;
    let reference = |end: End| view.reference_end(&placed.face.id, end);
    let mut both: Vec<Option<EndReading>> = End::BOTH
        .par_iter()
        .map(|end| EndReading::of(Arc::clone(view.located(index, *end)?), reference(*end), facts))
        .collect();
    let pitches: Vec<Option<Pitch>> =
        both.iter().map(|r| r.as_ref().and_then(|r| r.pitch.as_ref().ok().cloned())).collect();
    let mut out = Vec::new();
    for (at, end) in End::BOTH.into_iter().enumerate() {
        let Some(mut reading) = both[at].take() else {
            let words = format!("the {} end lies outside the photo", end.word());
            out.push((None, Some(Lacking { photo: index, lack: Lack::OutOfFrame, words })));
            continue;
        };
        let blur_px = blur_around(placed.photo, map, face_mm, end);
        if let Some((lack, words)) = objection(&reading, reference(end).is_some(), angle_deg, blur_px, facts)
        {
            out.push((None, Some(Lacking { photo: index, lack, words })));
            continue;
        }
        let (step_coherence, other_wave) = settle(&mut reading, pitches[1 - at].as_ref(), facts);
        // A view in which ridges explain little is ruled by noise: its dips count less.
        let explained = reading.map.as_ref().map_or(0.0, |map| {
            map.read().map(|w| w.explained).sum::<f64>() / map.read().count().max(1) as f64
        });
        let weight = reading.band.strip.usable_share() * (0.05 + explained * explained);
        let light = UnevenLight::of(&reading.band.strip);
        let back = placed.face.id.as_str() == "back";
        out.push((
            Some(SeenEnd {
                photo: index,
                back,
                reading,
                angle_deg,
                blur_px,
                step_coherence,
                other_wave,
                light,
                weight,
            }),
            None,
        ));
    }
    out
}
