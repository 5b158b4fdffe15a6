//! The end-seal examiner: joins what the photos show into findings and pictures.
//!
//! In: an [`ItemView`]. Out: [`Examined`]. Never here: measurement.

use casebook::catalogue::{Form, Product};
use casebook::picture::Picture;

use super::evenness::{Evenness, evenness};
use super::findings::{Frame, ends_alike, ridge_evenness, ridge_pitch};
use super::joint::{JointEnd, SeenEnd, gather};
use super::pictures;
use super::reading::EndFacts;
use crate::{Examined, Examiner, ItemView};

/// Ridges of the end seals.
#[derive(Debug, Clone, Copy, Default)]
pub struct EndSeal;

impl Examiner for EndSeal {
    fn name(&self) -> &'static str {
        "end-seal"
    }

    fn concerns(&self, product: &Product) -> bool {
        product.form == Form::Pack
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        let frame = Frame { view, examiner: self.name() };
        let facts = EndFacts::of(view.product);
        let ends = gather(view);
        let width = view.product.faces.first().map_or(65.0, |f| f.size_mm[0]);
        let even = [0, 1].map(|i| evenness(&ends[i].maps(), width));
        let mut out = Vec::new();
        for (joint, even) in ends.iter().zip(&even) {
            out.extend(pitch_of(&frame, joint, &facts));
            out.extend(evenness_of(&frame, joint, &facts, even.as_ref()));
        }
        if let Some(mut finding) = ends_alike(&frame, &ends) {
            let pictures = side_by_side(view, &ends);
            finding.pictures = pictures.iter().map(|p| p.id.clone()).collect();
            out.push(Examined { finding, pictures });
        }
        out
    }
}

fn pitch_of(frame: &Frame<'_>, joint: &JointEnd, facts: &EndFacts) -> Option<Examined> {
    let mut finding = ridge_pitch(frame, joint, facts)?;
    let mut shown: Vec<Picture> = Vec::new();
    if let Some(best) = joint.seen.iter().find(|s| s.reading.pitch.is_ok()) {
        let name = |what: &str| format!("{}-{}-{what}", frame.view.item, joint.end.part());
        shown.extend(pictures::profile(name("profile"), best));
    }
    finding.pictures = shown.iter().map(|p| p.id.clone()).collect();
    Some(Examined { finding, pictures: shown })
}

fn evenness_of(
    frame: &Frame<'_>,
    joint: &JointEnd,
    facts: &EndFacts,
    even: Option<&Evenness>,
) -> Option<Examined> {
    let mut finding = ridge_evenness(frame, joint, facts, even)?;
    let mut shown = Vec::new();
    if let Some(best) = joint.seen.first() {
        let name = |what: &str| format!("{}-{}-{what}", frame.view.item, joint.end.part());
        shown.extend(pictures::local_map(name("map"), &[best]));
    }
    finding.pictures = shown.iter().map(|p| p.id.clone()).collect();
    Some(Examined { finding, pictures: shown })
}

/// Both ends of the photo that shows them best, and their spectra.
fn side_by_side(view: &ItemView<'_>, ends: &[JointEnd; 2]) -> Vec<Picture> {
    let find =
        |end: &JointEnd, photo: usize| -> Option<usize> { end.seen.iter().position(|s| s.photo == photo) };
    let mut best: Option<(f64, usize)> = None;
    for s in ends.iter().flat_map(|e| &e.seen) {
        let together: f64 = ends
            .iter()
            .filter_map(|e| find(e, s.photo).map(|i| e.seen[i].reading.band.strip.usable_share()))
            .sum();
        if best.is_none_or(|(top, _)| together > top + 1e-9) {
            best = Some((together, s.photo));
        }
    }
    let Some((_, photo)) = best else { return Vec::new() };
    let of = |k: usize| -> Option<&SeenEnd> { find(&ends[k], photo).map(|i| &ends[k].seen[i]) };
    let pair: Vec<&SeenEnd> = [of(0), of(1)].into_iter().flatten().collect();
    let file = view.photos.get(photo).map_or("", |p| p.file.as_str());
    let name = |what: &str| format!("{}-end-seals-{what}", view.item);
    let mut shown = Vec::new();
    shown.extend(pictures::both_ends(name("strips"), file, of(0), of(1)));
    shown.extend(pictures::spectrum(name("spectrum"), &pair));
    shown.extend(pictures::local_map(name("map"), &pair));
    shown
}
