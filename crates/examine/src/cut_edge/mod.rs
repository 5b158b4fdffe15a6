//! The cut edge: the line where the film was cut at both ends of a pack.
//!
//! In: an [`ItemView`] of a pack. Out: findings on the cut's shape (straight or toothed, judged against
//! the makes) and its waviness. Never here: ridges, a weight, a verdict.
//!
//! The line itself is traced by `crimp` when it locates an end; this module says what shape it has.
//! Read [`shape::shape`], then [`CutEdge`].
//!
//! | quantity | value | features | group |
//! |---|---|---|---|
//! | `cut-shape` | depth of teeth, mm | `tooth-misfit`: ln of the distance to the nearest make | `cut-edge` |
//! | `cut-waviness` | mm, root mean square | `cut-waviness`, `cut-roughness`: ln of mm over 0.1 mm | `end-seals` |

pub mod shape;

use std::sync::Arc;

use casebook::catalogue::{CutEdgeFacts, Form, Product};
use casebook::elementary::{exp, ln};
use casebook::finding::{Expected, Finding, Lack, Missing, Reading, Seeing};
use casebook::picture::{Content, Curve, Picture, Plot};
use rayon::prelude::*;

use crate::crimp::End;
use crate::crimp::findings::{Frame, blank, feature, place, request, slug};
use crate::crimp::joint::hidden;
use crate::crimp::reading::{EndFacts, Located};
use crate::{Examined, Examiner, ItemView};
use shape::{CutShape, MIN_TOOTH_MM, shape};

/// Dependence group of teeth; waves belong to `end-seals`.
const GROUP: &str = "cut-edge";
/// Below this likeness the print of the end was not found where the placement says.
const MIN_LIKENESS: f64 = 0.25;
/// Photo pixels per mm below which a tooth's depth drowns in a pixel.
const MIN_PX_PER_MM: f64 = 3.0;
/// Scale of lengths in features, mm, and the floor that keeps logarithms finite.
const UNIT_MM: f64 = 0.1;
const FLOOR_MM: f64 = 0.01;

/// Shape of the cut at both ends.
#[derive(Debug, Clone, Copy, Default)]
pub struct CutEdge;

struct Traced {
    photo: usize,
    located: Arc<Located>,
    shape: CutShape,
    weight: f64,
}

impl Examiner for CutEdge {
    fn name(&self) -> &'static str {
        "cut-edge"
    }

    fn concerns(&self, product: &Product) -> bool {
        product.form == Form::Pack
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        let frame = Frame { view, examiner: self.name() };
        let facts = EndFacts::of(view.product);
        let mut out = Vec::new();
        for end in End::BOTH {
            let photos: Vec<usize> =
                (0..view.photos.len()).filter(|p| view.photos[*p].shows_ends()).collect();
            let results: Vec<Result<Traced, (Lack, String)>> = photos
                .par_iter()
                .map(|photo| {
                    let reference = view.reference_end(&view.photos[*photo].face.id, end);
                    trace(*photo, view.located(*photo, end).cloned(), reference.is_some(), end)
                })
                .collect();
            let mut traced = Vec::new();
            let mut lacking = Vec::new();
            for result in results {
                match result {
                    Ok(t) => traced.push(t),
                    Err(l) => lacking.push(l),
                }
            }
            traced
                .sort_by(|a: &Traced, b: &Traced| b.weight.total_cmp(&a.weight).then(a.photo.cmp(&b.photo)));
            out.extend(report(&frame, end, &facts, &traced, &lacking));
        }
        out
    }
}

fn trace(
    photo: usize,
    located: Option<Arc<Located>>,
    has_reference: bool,
    end: End,
) -> Result<Traced, (Lack, String)> {
    let word = end.word();
    let Some(located) = located else {
        return Err((Lack::OutOfFrame, format!("the {word} end lies outside the photo")));
    };
    if has_reference && located.lie.likeness < MIN_LIKENESS {
        let words = format!(
            "the print at the {word} end agrees with the reference by {:.2} of 1; {MIN_LIKENESS} is needed",
            located.lie.likeness
        );
        return Err((Lack::Covered, words));
    }
    if let Some(words) = hidden(&located) {
        return Err((Lack::Covered, words));
    }
    let [a, b] = located.view.seen_px_per_mm;
    let px_per_mm = a.min(b);
    if px_per_mm < MIN_PX_PER_MM {
        let words =
            format!("the {word} cut edge is seen at {px_per_mm:.1} px/mm; {MIN_PX_PER_MM} are needed");
        return Err((Lack::Resolution, words));
    }
    let seen = located.line.seen_share;
    match shape(&located.line) {
        Some(shape) => {
            let weight = seen * px_per_mm.min(16.0) * located.lie.likeness.max(0.1);
            Ok(Traced { photo, located, shape, weight })
        }
        None => Err((
            Lack::OutOfFrame,
            format!("only {:.0} % of the {word} cut edge stands out from what lies behind it", 100.0 * seen),
        )),
    }
}

/// Weighted mean and its standard uncertainty: the larger of what was stated and what photos differ by.
fn mean(values: &[(f64, f64, f64)]) -> (f64, f64) {
    let weight: f64 = values.iter().map(|v| v.2).sum();
    let mean = values.iter().map(|v| v.2 * v.0).sum::<f64>() / weight;
    let stated = values.iter().map(|v| v.2 * v.2 * v.1 * v.1).sum::<f64>().sqrt() / weight;
    let n = values.len() as f64;
    let spread = if values.len() > 1 {
        (values.iter().map(|v| v.2 * (v.0 - mean) * (v.0 - mean)).sum::<f64>() / weight / (n - 1.0)).sqrt()
    } else {
        0.0
    };
    (mean, stated.max(spread))
}

fn report(
    frame: &Frame<'_>,
    end: End,
    facts: &EndFacts,
    traced: &[Traced],
    lacking: &[(Lack, String)],
) -> Vec<Examined> {
    let mut out = Vec::new();
    let word = end.word();
    let picture = traced.first().map(|t| residual_picture(frame, t, end));
    let mut push = |finding: Option<Finding>, with_picture: bool| {
        let Some(mut finding) = finding else { return };
        finding.photos = frame.files(traced.iter().map(|t| t.photo));
        finding.seeing = seeing(traced.first());
        let pictures: Vec<Picture> =
            if with_picture { picture.clone().into_iter().collect() } else { Vec::new() };
        finding.pictures = picture.iter().map(|p| p.id.clone()).collect();
        out.push(Examined { finding, pictures });
    };
    let question = format!("Is the {word} end cut the way one of the makes is cut?");
    let mut cut = blank(frame, place(frame.view, end, facts.seal_mm), "cut-shape", question);
    let question = format!("Does the {word} cut edge run straight, apart from teeth and a smooth bend?");
    let mut wave = blank(frame, place(frame.view, end, facts.seal_mm), "cut-waviness", question);
    if traced.is_empty() {
        for finding in [&mut cut, &mut wave].into_iter().flatten() {
            let missing = missing(word, lacking);
            finding.says = missing[0].words.clone();
            finding.reading = Reading::CannotTell { missing };
        }
    } else {
        if let Some(finding) = &mut cut {
            cut_shape(finding, frame.view, word, traced);
        }
        if let Some(finding) = &mut wave {
            cut_waviness(finding, word, traced);
            finding.expected = frame.expected("cut-waviness", end.part());
        }
    }
    push(cut, true);
    push(wave, false);
    out
}

fn cut_shape(finding: &mut Finding, view: &ItemView<'_>, word: &str, traced: &[Traced]) {
    if let Some(group) = slug(GROUP) {
        finding.group = group;
    }
    let toothed = 2 * traced.iter().filter(|t| t.shape.is_toothed()).count() >= traced.len().max(1)
        && traced[0].shape.is_toothed();
    let depths: Vec<_> =
        traced.iter().map(|t| (t.shape.tooth_depth_mm, t.shape.tooth_depth_u_mm, t.weight)).collect();
    let scaled = |t: &Traced| t.shape.tooth_pitch_mm / t.located.lie.scale_x;
    let pitches: Vec<_> = traced
        .iter()
        .filter(|t| t.shape.is_toothed())
        .map(|t| (scaled(t), t.shape.tooth_pitch_u_mm, t.weight))
        .collect();
    let (depth, depth_u) = mean(&depths);
    finding.reading =
        Reading::Measured { value: depth, standard_uncertainty: depth_u, unit: "mm".to_owned() };
    let mut nearest: Option<(f64, f64, Expected)> = None;
    for make in &view.product.makes {
        let Some(cut) = &make.cut_edge else { continue };
        let (off, allowed, expected) = match cut {
            CutEdgeFacts::Straight => {
                let off = if toothed { depth } else { 0.0 };
                let basis =
                    format!("catalogue, make {}: straight cut, with scallops of ridges up to", make.id);
                (
                    off,
                    0.0,
                    Expected { low: 0.0, high: MIN_TOOTH_MM, basis: format!("{basis} {MIN_TOOTH_MM} mm") },
                )
            }
            CutEdgeFacts::Toothed { pitch_mm, depth_mm } => {
                let pitch = if toothed { mean(&pitches).0 } else { 0.0 };
                let pitch_off = if toothed { (pitch / pitch_mm.value - 1.0).abs() } else { 0.0 };
                let depth_off = (depth - depth_mm.value).abs();
                // A tooth of another pitch is another knife: its whole depth counts.
                let off = if pitch_off > 0.12 { depth_off + depth } else { depth_off };
                let expected = Expected {
                    low: depth_mm.value - depth_mm.tolerance,
                    high: depth_mm.value + depth_mm.tolerance,
                    basis: format!("catalogue, make {}: teeth of {} mm", make.id, pitch_mm.value),
                };
                (off, depth_mm.tolerance, expected)
            }
        };
        let misfit = (off - allowed).max(0.0);
        if nearest.as_ref().is_none_or(|(best, at, _)| misfit < *best || (misfit == *best && off < *at)) {
            nearest = Some((misfit, off, expected));
        }
    }
    finding.says = if toothed {
        let (pitch, pitch_u) = mean(&pitches);
        let pitch_u = hypot_relative(pitch, pitch_u);
        format!(
            "The {word} end is cut in teeth, {pitch:.2} mm ± {pitch_u:.2} mm apart and {depth:.2} mm ± {depth_u:.2} mm deep."
        )
    } else {
        format!("The {word} end is cut without teeth; what repeats along it is {depth:.2} mm deep.")
    };
    if let Some((misfit, _, expected)) = nearest {
        let value = ln((FLOOR_MM * 3.0 + misfit) / UNIT_MM);
        finding.features.extend(feature("tooth-misfit", value, depth_u / (FLOOR_MM * 3.0 + misfit)));
        finding.expected = Some(expected);
    }
}

/// With the scale's own 1 %.
fn hypot_relative(value: f64, u: f64) -> f64 {
    (u * u + 1e-4 * value * value).sqrt()
}

fn cut_waviness(finding: &mut Finding, word: &str, traced: &[Traced]) {
    // Logarithms are averaged: two photos of one line differ by factors, not by millimetres.
    let log = |mm: f64| ln((FLOOR_MM + mm) / UNIT_MM);
    let waves: Vec<_> = traced
        .iter()
        .map(|t| {
            let s = &t.shape;
            (log(s.waviness_mm), s.waviness_u_mm / (FLOOR_MM + s.waviness_mm), t.weight)
        })
        .collect();
    let rough: Vec<_> = traced.iter().map(|t| (log(t.shape.roughness_mm), 0.2, t.weight)).collect();
    let (wave, wave_u) = mean(&waves);
    let (roughness, roughness_u) = mean(&rough);
    let mm = UNIT_MM * exp(wave) - FLOOR_MM;
    finding.reading = Reading::Measured {
        value: mm.max(0.0),
        standard_uncertainty: (wave_u * UNIT_MM * exp(wave)).max(0.005),
        unit: "mm".to_owned(),
    };
    finding.says = format!(
        "Apart from teeth and a smooth bend the {word} cut edge wanders by {mm:.2} mm (root mean square)."
    );
    finding.features.extend(feature("cut-waviness", wave, wave_u));
    finding.features.extend(feature("cut-roughness", roughness, roughness_u));
}

fn missing(word: &str, lacking: &[(Lack, String)]) -> Vec<Missing> {
    let mut out: Vec<Missing> = Vec::new();
    for (lack, words) in lacking {
        if !out.iter().any(|m| m.lack == *lack) {
            out.push(Missing { lack: *lack, words: words.clone(), wants: request(word, *lack) });
        }
    }
    if out.is_empty() {
        out.push(Missing {
            lack: Lack::NotShown,
            words: format!("no photo shows the {word} end of the pack"),
            wants: request(word, Lack::NotShown),
        });
    }
    out
}

fn seeing(best: Option<&Traced>) -> Seeing {
    let Some(t) = best else { return Seeing::default() };
    let [a, b] = t.located.view.seen_px_per_mm;
    Seeing { px_per_mm: Some((a * b).sqrt()), usable: Some(t.located.line.seen_share), ..Seeing::default() }
}

fn residual_picture(frame: &Frame<'_>, traced: &Traced, end: End) -> Picture {
    let shape = &traced.shape;
    let file = frame.view.photos.get(traced.photo).map_or("", |p| p.file.as_str());
    let word = end.word();
    Picture {
        id: format!("{}-{}-cut-line", frame.view.item, end.part()),
        caption: format!("The {word} cut line in {file}, its smooth course taken away"),
        alt: format!(
            "Curve of the {word} cut line in millimetres outward over the place along it, with its waves dashed"
        ),
        content: Content::Plot(Plot {
            x_label: "place along the end (mm)".to_owned(),
            y_label: "outward from the course (mm)".to_owned(),
            curves: vec![
                Curve { label: "cut line".to_owned(), points: shape.residual.clone(), dashed: false },
                Curve { label: "waves".to_owned(), points: shape.waves.clone(), dashed: true },
            ],
            band: None,
        }),
    }
}
