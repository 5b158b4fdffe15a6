//! Findings of the end seals, in words and numbers.
//!
//! In: both ends as read in all photos. Out: [`Finding`]s. Never here: pixels, pictures.
//!
//! | quantity | value | features |
//! |---|---|---|
//! | `ridge-pitch` | mm | `pitch-misfit`: ln of the relative distance to the nearest make |
//! | `ridge-evenness` | share of the band with ridges | `ridge-odds`, `ridge-low-tail`, `ridge-spread`, `ridge-step`, `other-wave`, `uneven-light` |
//! | `ends-alike` | difference over its standard uncertainty | `ridge-gap`, `dip-gap`, `step-gap` |

use casebook::catalogue::RidgeDirection;
use casebook::elementary::ln;
use casebook::finding::{Expected, Feature, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::names::{PhotoFile, Slug};
use casebook::units::RectMm;

use super::bootstrap::deviations;
use super::evenness::{Evenness, evenness, statistics};
use super::joint::{JointEnd, SeenEnd};
use super::reading::EndFacts;
use super::view::End;
use crate::ItemView;
use crate::genuine;

/// Dependence group of everything that re-closing changes at the ends.
pub(crate) const GROUP: &str = "end-seals";
/// Part of the finding that compares both ends.
pub(crate) const BOTH: &str = "both-end-seals";
/// Least relative standard uncertainty of the scale along an end: registration of the print over 40 mm.
const SCALE_U: f64 = 0.008;
/// As a wave's two glints change with the light along the end, its phase drifts by up to a quarter of a
/// pitch each way; rectangular, as a standard uncertainty over the whole end, in pitches.
const LIGHT_DRIFT_PITCHES: f64 = 0.14;
/// Specimens from which on their range is given.
const MIN_SPECIMENS: usize = 6;

/// A name, or the plainest one should it break the rule, which a test rules out.
#[must_use]
pub(crate) fn slug(text: &str) -> Option<Slug> {
    text.parse().ok()
}

/// A feature; `None` for a number that is not finite.
#[must_use]
pub(crate) fn feature(name: &str, value: f64, u: f64) -> Option<Feature> {
    (value.is_finite() && u.is_finite()).then_some(())?;
    Some(Feature { name: slug(name)?, value, standard_uncertainty: u, unit: "1".to_owned() })
}

/// Everything that findings of one examiner share.
pub(crate) struct Frame<'a> {
    /// The item's view.
    pub(crate) view: &'a ItemView<'a>,
    /// The examiner's name.
    pub(crate) examiner: &'static str,
}

impl Frame<'_> {
    /// Files of the photos that an end was read in.
    #[must_use]
    pub(crate) fn files(&self, photos: impl Iterator<Item = usize>) -> Vec<PhotoFile> {
        let mut files: Vec<PhotoFile> = Vec::new();
        for file in photos.filter_map(|p| self.view.photos.get(p)).map(|p| p.file) {
            if !files.contains(file) {
                files.push(file.clone());
            }
        }
        files
    }

    /// The middle 95 % of the values that sealed specimens gave, where there are enough.
    #[must_use]
    pub(crate) fn expected(&self, quantity: &str, part: &str) -> Option<Expected> {
        let mut values = genuine::values(self.view, |f| {
            f.examiner.as_str() == self.examiner
                && f.quantity.as_str() == quantity
                && f.place.part.as_deref() == Some(part)
        });
        if values.len() < MIN_SPECIMENS {
            return None;
        }
        values.sort_by(f64::total_cmp);
        let at = |share: f64| {
            let place = share * (values.len() - 1) as f64;
            let (low, part) = (place.floor() as usize, place - place.floor());
            values[low] + part * (values[(low + 1).min(values.len() - 1)] - values[low])
        };
        let basis = format!("middle 95 % of {} readings of sealed specimens of this product", values.len());
        Some(Expected { low: at(0.025), high: at(0.975), basis })
    }
}

/// Place of an end on the pack's front.
#[must_use]
pub(crate) fn place(view: &ItemView<'_>, end: End, seal_mm: f64) -> Place {
    let face = view.product.faces.iter().find(|f| f.id.as_str() == "front");
    let rect_mm = face.map(|f| match end {
        End::Top => RectMm::new(0.0, 0.0, f.size_mm[0], seal_mm),
        End::Bottom => RectMm::new(0.0, f.size_mm[1] - seal_mm, f.size_mm[0], seal_mm),
    });
    Place { face: face.map(|f| f.id.clone()), part: Some(end.part().to_owned()), rect_mm }
}

/// How an end was seen, from its best reading.
#[must_use]
pub(crate) fn seeing(best: Option<&SeenEnd>) -> Seeing {
    let Some(s) = best else { return Seeing::default() };
    let [a, b] = s.reading.at.view.seen_px_per_mm;
    let band = &s.reading.band;
    Seeing {
        px_per_mm: Some((a * b).sqrt()),
        angle_deg: Some(s.angle_deg),
        blur_px: s.blur_px,
        glare: Some(band.glare),
        covered: Some((band.covered + band.outside).min(1.0)),
        usable: Some(band.strip.usable_share()),
    }
}

/// What is missing for an end that no photo shows well enough.
#[must_use]
pub(crate) fn missing(joint: &JointEnd) -> Vec<Missing> {
    let end = joint.end.word();
    if joint.lacking.is_empty() {
        return vec![Missing {
            lack: Lack::NotShown,
            words: format!("no photo shows the {end} end of the pack"),
            wants: request(end, Lack::NotShown),
        }];
    }
    let mut out: Vec<Missing> = Vec::new();
    for l in &joint.lacking {
        if !out.iter().any(|m| m.lack == l.lack) {
            out.push(Missing { lack: l.lack, words: l.words.clone(), wants: request(end, l.lack) });
        }
    }
    out
}

/// A courteous request for the photo that would settle it.
#[must_use]
pub(crate) fn request(end: &str, lack: Lack) -> String {
    let how = match lack {
        Lack::OutOfFrame | Lack::NotShown => {
            "with the whole width of the seal and a little background in the frame"
        }
        Lack::Covered => "with nothing over it: no sticker, finger or sleeve edge",
        Lack::Resolution => "from close by, so that the seal fills the width of the picture",
        Lack::Angle => "from straight above",
        Lack::Blur => "held still and in focus",
        Lack::Glare => "without flash, turned a little so that the lamp is not mirrored",
        Lack::Exposure => "by a window or under a lamp",
        _ => "from straight above, with light from one side",
    };
    format!("Could you please add a sharp photo of the {end} end of the pack, {how}?")
}

fn direction_word(direction: RidgeDirection) -> &'static str {
    match direction {
        RidgeDirection::Along => "along",
        RidgeDirection::Across => "across",
    }
}

/// `ridge-pitch` of an end.
pub(crate) fn ridge_pitch(frame: &Frame<'_>, joint: &JointEnd, facts: &EndFacts) -> Option<Finding> {
    let end = joint.end;
    let mut pitches: Vec<(f64, f64, RidgeDirection, usize)> = Vec::new();
    for s in &joint.seen {
        let Ok(p) = &s.reading.pitch else { continue };
        // Film millimetres: the strip was cut in them along the end, in the view's inward.
        let ridges = match p.direction {
            RidgeDirection::Along => s.reading.field.size_mm().0 / p.pitch_mm,
            RidgeDirection::Across => s.reading.field.size_mm().1 / p.pitch_mm,
        };
        let drift = LIGHT_DRIFT_PITCHES / ridges;
        let own = p.standard_uncertainty_mm / p.pitch_mm;
        let scale = match p.direction {
            RidgeDirection::Along => SCALE_U.max(s.reading.at.lie.scale_u),
            // Inward nothing of known length lies on the seal.
            RidgeDirection::Across => 0.025,
        };
        let u = p.pitch_mm * (own * own + drift * drift + scale * scale).sqrt();
        pitches.push((p.pitch_mm, u, p.direction, s.photo));
    }
    // The direction that more photos saw; then a mean weighted by uncertainty.
    let along = pitches.iter().filter(|p| p.2 == RidgeDirection::Along).count();
    let direction = if 2 * along >= pitches.len() { RidgeDirection::Along } else { RidgeDirection::Across };
    pitches.retain(|p| p.2 == direction);
    let question =
        format!("How far apart are the ridges of the {} end seal, and is that one of the makes?", end.word());
    let mut finding = blank(frame, place(frame.view, end, facts.seal_mm), "ridge-pitch", question)?;
    finding.seeing = seeing(joint.seen.first());
    if pitches.is_empty() {
        let missing = if joint.seen.is_empty() {
            missing(joint)
        } else {
            vec![Missing {
                lack: Lack::NotShown,
                words: format!("no evenly spaced ridges stand out on the {} end", end.word()),
                wants: request(end.word(), Lack::Tool),
            }]
        };
        finding.says = missing[0].words.clone();
        finding.reading = Reading::CannotTell { missing };
        return Some(finding);
    }
    let weight: f64 = pitches.iter().map(|p| 1.0 / (p.1 * p.1)).sum();
    let mean = pitches.iter().map(|p| p.0 / (p.1 * p.1)).sum::<f64>() / weight;
    // Photos that disagree by more than they claim widen the uncertainty.
    let chi2: f64 = pitches.iter().map(|p| (p.0 - mean) * (p.0 - mean) / (p.1 * p.1)).sum();
    let birge = if pitches.len() > 1 { (chi2 / (pitches.len() - 1) as f64).max(1.0).sqrt() } else { 1.0 };
    let u = birge / weight.sqrt();
    let misfit = facts
        .ridges
        .iter()
        .map(|(_, d, pitch, tolerance)| {
            let off = ((mean - pitch).abs() - tolerance).max(0.0) / pitch;
            off + if *d == direction { 0.0 } else { 0.5 }
        })
        .fold(f64::INFINITY, f64::min);
    finding.photos = frame.files(pitches.iter().map(|p| p.3));
    finding.says = format!(
        "The {} end has ridges running {} the pack, {mean:.3} mm ± {u:.3} mm apart.",
        end.word(),
        direction_word(direction)
    );
    finding.reading = Reading::Measured { value: mean, standard_uncertainty: u, unit: "mm".to_owned() };
    let same: Vec<_> = facts.ridges.iter().filter(|r| r.1 == direction).collect();
    if misfit.is_finite() {
        finding.features.extend(feature("pitch-misfit", ln(0.01 + misfit), u / mean / (0.01 + misfit)));
        let nearest = same.iter().min_by(|a, b| (a.2 - mean).abs().total_cmp(&(b.2 - mean).abs()));
        let basis =
            |make: &str| format!("catalogue, make {make}, ridges {} the pack", direction_word(direction));
        finding.expected = match nearest {
            Some((make, _, pitch, tolerance)) => {
                Some(Expected { low: pitch - tolerance, high: pitch + tolerance, basis: basis(make) })
            }
            None => facts.ridges.first().map(|(make, d, pitch, tolerance)| Expected {
                low: pitch - tolerance,
                high: pitch + tolerance,
                basis: format!("catalogue, make {make}, ridges {} the pack", direction_word(*d)),
            }),
        };
    }
    Some(finding)
}

/// `ridge-evenness` of an end, with what it was read from.
pub(crate) fn ridge_evenness(
    frame: &Frame<'_>,
    joint: &JointEnd,
    facts: &EndFacts,
    even: Option<&Evenness>,
) -> Option<Finding> {
    let end = joint.end;
    let question = format!(
        "Do the ridges run over the whole {} end seal as evenly as a factory jaw leaves them?",
        end.word()
    );
    let mut finding = blank(frame, place(frame.view, end, facts.seal_mm), "ridge-evenness", question)?;
    finding.seeing = seeing(joint.seen.first());
    let Some(even) = even else {
        let missing = missing(joint);
        finding.says = missing[0].words.clone();
        finding.reading = Reading::CannotTell { missing };
        return Some(finding);
    };
    let u = deviations(&even.places, statistics);
    let value = 1.0 - even.flat_share;
    finding.photos = frame.files(joint.seen.iter().map(|s| s.photo));
    finding.says = format!(
        "Ridges are seen on {:.0} % of the {} end; the weakest places keep {:.0} % of their neighbours' depth of light and dark.",
        100.0 * value,
        end.word(),
        100.0 * casebook::elementary::exp(even.low_tail)
    );
    finding.reading =
        Reading::Measured { value, standard_uncertainty: u[3].max(0.005), unit: "1".to_owned() };
    finding.expected = frame.expected("ridge-evenness", end.part());
    finding.features.extend(feature("ridge-odds", even.ridge_odds, u[0]));
    finding.features.extend(feature("ridge-low-tail", even.low_tail, u[1]));
    finding.features.extend(feature("ridge-spread", even.spread, u[2]));
    // Of 40 pairs of blocks; the transform makes the deviation the same everywhere.
    finding.features.extend(feature("ridge-step", even.step, 1.0 / 37.0_f64.sqrt()));
    finding.features.extend(feature("other-wave", even.other_wave, 0.15));
    if let Some(light) = even.light {
        finding.features.extend(feature("uneven-light", light.value, light.standard_uncertainty));
    }
    Some(finding)
}

/// `ends-alike`: one end against the other in the photos that show both.
pub(crate) fn ends_alike(frame: &Frame<'_>, ends: &[JointEnd; 2]) -> Option<Finding> {
    let place = Place { face: None, part: Some(BOTH.to_owned()), rect_mm: None };
    let question = "Do both end seals look alike, under the same light in the same photo?".to_owned();
    let mut finding = blank(frame, place, "ends-alike", question)?;
    let in_both = |joint: &JointEnd, other: &JointEnd| {
        let mut kept = joint.clone();
        kept.seen.retain(|s| other.seen.iter().any(|o| o.photo == s.photo));
        kept
    };
    let pair = [in_both(&ends[0], &ends[1]), in_both(&ends[1], &ends[0])];
    let width = frame.view.product.faces.first().map_or(65.0, |f| f.size_mm[0]);
    let read = [0, 1].map(|i| evenness(&pair[i].maps(), width));
    finding.seeing = seeing(pair[0].seen.first());
    let [Some(top), Some(bottom)] = read else {
        let mut all: Vec<Missing> = ends.iter().filter(|e| e.seen.is_empty()).flat_map(missing).collect();
        if all.is_empty() {
            all.push(Missing {
                lack: Lack::NotShown,
                words: "no single photo shows both ends well enough to compare them".to_owned(),
                wants: "Could you please add one sharp photo of the whole front, straight on, with both ends in the frame?"
                    .to_owned(),
            });
        }
        finding.says = all[0].words.clone();
        finding.reading = Reading::CannotTell { missing: all };
        return Some(finding);
    };
    let (u_top, u_bottom) = (deviations(&top.places, statistics), deviations(&bottom.places, statistics));
    let joint_u = |k: usize| (u_top[k] * u_top[k] + u_bottom[k] * u_bottom[k]).sqrt().max(0.02);
    let difference = top.ridge_odds - bottom.ridge_odds;
    let u = joint_u(0);
    let gap = |a: f64, b: f64, floor: f64| ln(floor + (a - b).abs());
    let gap_u = |a: f64, b: f64, floor: f64, u: f64| u / (floor + (a - b).abs());
    finding.photos = frame.files(pair[0].seen.iter().map(|s| s.photo));
    finding.reading =
        Reading::Measured { value: difference / u, standard_uncertainty: 1.0, unit: "1".to_owned() };
    finding.expected = frame.expected("ends-alike", BOTH);
    let low = if difference < 0.0 { "top" } else { "bottom" };
    finding.says = format!(
        "The ridges of the {low} end explain less of what is seen there than those of the other end: the difference is {:.1} times its standard uncertainty.",
        (difference / u).abs()
    );
    let (a, b) = (top.ridge_odds, bottom.ridge_odds);
    finding.features.extend(feature("ridge-gap", gap(a, b, 0.2), gap_u(a, b, 0.2, u)));
    let (a, b) = (top.spread, bottom.spread);
    finding.features.extend(feature("dip-gap", gap(a, b, 0.1), gap_u(a, b, 0.1, joint_u(2))));
    let (a, b) = (top.step, bottom.step);
    finding.features.extend(feature("step-gap", gap(a, b, 0.1), gap_u(a, b, 0.1, 0.23)));
    Some(finding)
}

/// A finding with nothing read yet.
pub(crate) fn blank(frame: &Frame<'_>, place: Place, quantity: &str, question: String) -> Option<Finding> {
    Some(Finding {
        examiner: slug(frame.examiner)?,
        item: frame.view.item.clone(),
        place,
        quantity: slug(quantity)?,
        question,
        reading: Reading::CannotTell { missing: Vec::new() },
        expected: None,
        features: Vec::new(),
        seeing: Seeing::default(),
        group: slug(GROUP)?,
        photos: Vec::new(),
        pictures: Vec::new(),
        says: String::new(),
    })
}
