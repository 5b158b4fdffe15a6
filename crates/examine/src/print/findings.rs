//! The findings of a face's print, in words and numbers.
//!
//! In: what was measured, or what is missing. Out: [`Examined`]. Never here: measuring, a verdict.
//!
//! Quantities: `print-match` (one a face: the features that are weighed), `ink-colour` (one a face,
//! weighed), and for each named region `region-present`, `region-size`, `region-place` (shown, and
//! summed up in `print-match`; they carry no features of their own, because regions differ from
//! product to product). Group: `print-<face>`.

use casebook::catalogue::{Face, Region};
use casebook::elementary::{hypot, ln};
use casebook::finding::{Feature, Finding, Missing, Place, Reading, Seeing};
use casebook::names::{PhotoFile, Slug};
use casebook::picture::Picture;

use super::examiner::Read;
use super::joint::{JointInk, JointRegion, Value, soft_largest};
use crate::genuine::expected;
use crate::{Examined, ItemView};

/// Added to misfits before their logarithm: a misfit well below 1 is as good as none.
const CALM: f64 = 0.5;
/// Added to the share of a region that is missing before its logarithm.
const LEAST_MISSING: f64 = 0.05;
/// Power of the soft maximum over regions and inks.
const LOUDEST: f64 = 6.0;

/// Pictures by what they show.
#[derive(Debug, Default)]
pub(super) struct Drawn {
    /// Aligned pair and difference map.
    pub(super) face: Vec<Picture>,
    /// Ink chart.
    pub(super) inks: Vec<Picture>,
}

struct Maker<'a> {
    view: &'a ItemView<'a>,
    face: &'a Face,
    photos: Vec<PhotoFile>,
    seeing: Seeing,
}

impl Maker<'_> {
    fn finding(
        &self,
        quantity: &str,
        region: Option<&Region>,
        question: String,
        reading: Reading,
        says: String,
    ) -> Option<Finding> {
        let place = Place {
            face: Some(self.face.id.clone()),
            part: region.map(|r| r.name.clone()),
            rect_mm: region.map(|r| r.rect_mm),
        };
        let quantity = slug(quantity)?;
        let expected = expected(self.view, &quantity, &place);
        Some(Finding {
            examiner: slug("print")?,
            item: self.view.item.clone(),
            place,
            quantity,
            question,
            reading,
            expected,
            features: Vec::new(),
            seeing: self.seeing,
            group: slug(&format!("print-{}", self.face.id))?,
            photos: self.photos.clone(),
            pictures: Vec::new(),
            says,
        })
    }
}

fn slug(text: &str) -> Option<Slug> {
    text.parse().ok()
}

fn measured_reading(value: Value, unit: &str) -> Reading {
    Reading::Measured { value: value.value, standard_uncertainty: value.u, unit: unit.to_owned() }
}

fn feature(name: &str, value: Value, unit: &str) -> Option<Feature> {
    (value.value.is_finite() && value.u.is_finite()).then_some(())?;
    Some(Feature {
        name: slug(name)?,
        value: value.value,
        standard_uncertainty: value.u,
        unit: unit.to_owned(),
    })
}

fn question_match(face: &Face) -> String {
    format!("Is the print on the {} the same as on the genuine product?", face.id)
}

fn question_ink(face: &Face) -> String {
    format!("Are the inks of the {} those of the genuine product, whatever the camera did?", face.id)
}

fn question_present(region: &Region, face: &Face) -> String {
    format!("Is the {} printed on the {} as it should be?", region.name, face.id)
}

fn question_size(region: &Region, face: &Face) -> String {
    format!("Has the {} on the {} the right size?", region.name, face.id)
}

fn question_place(region: &Region, face: &Face) -> String {
    format!("Is the {} on the {} in its place?", region.name, face.id)
}

/// Findings of a face that was read.
pub(super) fn measured(view: &ItemView<'_>, read: &Read<'_>, drawn: Drawn) -> Vec<Examined> {
    let best = read.photos.first();
    let maker = Maker {
        view,
        face: read.face,
        photos: read.photos.iter().map(|p| p.file.clone()).collect(),
        seeing: best.map(|p| p.seeing).unwrap_or_default(),
    };
    let mut out = Vec::new();
    push(&mut out, whole(&maker, read), drawn.face);
    push(&mut out, inks(&maker, read), drawn.inks);
    for (index, region) in read.face.regions.iter().enumerate() {
        match read.reading.regions.iter().find(|r| r.index == index) {
            Some(joint) => {
                push(&mut out, present(&maker, region, joint), Vec::new());
                if joint.sure {
                    push(&mut out, size(&maker, region, joint), Vec::new());
                    push(&mut out, place(&maker, region, joint), Vec::new());
                } else {
                    unsure(&mut out, &maker, region, joint);
                }
            }
            None => {
                let missing = vec![Missing {
                    lack: casebook::finding::Lack::Glare,
                    words: format!(
                        "too little of the {} is free of glare and in the frame, or its pattern was not found",
                        region.name
                    ),
                    wants: format!("a photo of the {} of the {} without glare", region.name, read.face.id),
                }];
                unread_region(&mut out, &maker, region, &missing);
            }
        }
    }
    out
}

/// The same questions for a face that could not be read.
pub(super) fn cannot_tell(view: &ItemView<'_>, face: &Face, missing: &[Missing]) -> Vec<Examined> {
    let photos = view.photos.iter().filter(|p| p.face.id == face.id).map(|p| p.file.clone()).collect();
    let maker = Maker { view, face, photos, seeing: Seeing::default() };
    let says = missing.first().map_or_else(|| "it could not be read".to_owned(), |m| m.words.clone());
    let reading = || Reading::CannotTell { missing: missing.to_vec() };
    let mut out = Vec::new();
    push(
        &mut out,
        maker.finding("print-match", None, question_match(face), reading(), says.clone()),
        Vec::new(),
    );
    push(&mut out, maker.finding("ink-colour", None, question_ink(face), reading(), says), Vec::new());
    for region in &face.regions {
        unread_region(&mut out, &maker, region, missing);
    }
    out
}

fn unread_region(out: &mut Vec<Examined>, maker: &Maker<'_>, region: &Region, missing: &[Missing]) {
    let face = maker.face;
    let says = missing.first().map_or_else(|| "it could not be read".to_owned(), |m| m.words.clone());
    let rows = [
        ("region-present", question_present(region, face)),
        ("region-size", question_size(region, face)),
        ("region-place", question_place(region, face)),
    ];
    for (quantity, question) in rows {
        let reading = Reading::CannotTell { missing: missing.to_vec() };
        push(out, maker.finding(quantity, Some(region), question, reading, says.clone()), Vec::new());
    }
}

/// Size and place of a region whose pattern agrees too little to be measured.
fn unsure(out: &mut Vec<Examined>, maker: &Maker<'_>, region: &Region, joint: &JointRegion) {
    let words = format!(
        "the pattern of the {} agrees too little ({:.2}) to measure its size and place",
        region.name, joint.likeness
    );
    let wants = format!("a closer photo of the {} of the {} without glare", region.name, maker.face.id);
    let missing = vec![Missing { lack: casebook::finding::Lack::Placement, words: words.clone(), wants }];
    let rows = [
        ("region-size", question_size(region, maker.face)),
        ("region-place", question_place(region, maker.face)),
    ];
    for (quantity, question) in rows {
        let reading = Reading::CannotTell { missing: missing.clone() };
        push(out, maker.finding(quantity, Some(region), question, reading, words.clone()), Vec::new());
    }
}

fn push(out: &mut Vec<Examined>, finding: Option<Finding>, pictures: Vec<Picture>) {
    if let Some(mut finding) = finding {
        finding.pictures = pictures.iter().map(|p| p.id.clone()).collect();
        out.push(Examined { finding, pictures });
    }
}

fn whole(maker: &Maker<'_>, read: &Read<'_>) -> Option<Finding> {
    let reading = &read.reading;
    let missing = reading.disagreement.data().iter().filter(|v| **v == 1).count();
    let added = reading.disagreement.data().iter().filter(|v| **v == 2).count();
    let cell = read.photos.first().map_or(1.0, |p| {
        let s = p.comparison.structure.grid.px_per_mm;
        1.0 / (s * s)
    });
    let worst = reading.regions.iter().max_by(|a, b| a.misfit.total_cmp(&b.misfit));
    let mut says = format!(
        "The pattern agrees to {:.2} (1 is the same); {:.0} mm² of the reference's pattern {} not found and {:.0} mm² {} without counterpart, of {:.0} mm² compared.",
        reading.likeness,
        missing as f64 * cell,
        if missing == 1 { "is" } else { "are" },
        added as f64 * cell,
        if added == 1 { "is" } else { "are" },
        reading.compared_mm2,
    );
    if let Some(region) = worst.filter(|r| r.misfit > 3.5)
        && let Some(named) = read.face.regions.get(region.index)
    {
        says += &format!(" The {} stands out: {}.", named.name, in_words(region));
    }
    let mut finding = maker.finding(
        "print-match",
        None,
        question_match(read.face),
        measured_reading(
            Value {
                value: reading.likeness,
                u: reading.likeness_z.u * (1.0 - reading.likeness * reading.likeness),
            },
            "1",
        ),
        says,
    )?;
    finding.features.extend(feature("pattern-likeness", reading.likeness_z, "1"));
    finding.features.extend(feature("unexplained-share", reading.unexplained_log, "1"));
    if !reading.regions.is_empty() {
        let misfits: Vec<f64> = reading.regions.iter().map(|r| r.misfit).collect();
        let loud = soft_largest(&misfits, LOUDEST);
        finding.features.extend(feature(
            "region-misfit",
            Value { value: ln(CALM + loud), u: 1.0 / (CALM + loud) },
            "1",
        ));
        let gone =
            reading.regions.iter().map(|r| r.missing).reduce(|a, b| if b.value > a.value { b } else { a });
        if let Some(gone) = gone {
            let share = LEAST_MISSING + gone.value;
            finding.features.extend(feature(
                "region-missing",
                Value { value: ln(share), u: gone.u / share },
                "1",
            ));
        }
    }
    Some(finding)
}

fn inks(maker: &Maker<'_>, read: &Read<'_>) -> Option<Finding> {
    let question = question_ink(read.face);
    let all = &read.reading.inks;
    let Some(worst) = all.iter().max_by(|a, b| a.misfit.total_cmp(&b.misfit)) else {
        let missing = vec![Missing {
            lack: casebook::finding::Lack::Glare,
            words: "no ink has enough flat area free of glare".to_owned(),
            wants: format!("a photo of the {} in even light", read.face.id),
        }];
        let says = "no ink could be read".to_owned();
        return maker.finding("ink-colour", None, question, Reading::CannotTell { missing }, says);
    };
    let chromatic = chromatic(worst);
    let word = read.reference.inks.word(worst.index);
    let says = format!(
        "After the camera's response is taken out, the {word} ink differs most: {:.1} ± {:.1} ΔE00 in hue and strength ({} in lightness, which light and camera can explain); {} inks read.",
        chromatic.value,
        chromatic.u,
        signed(worst.lch[0].value),
        all.len(),
    );
    let mut finding =
        maker.finding("ink-colour", None, question, measured_reading(chromatic, "ΔE00"), says)?;
    let loud = soft_largest(&all.iter().map(|i| i.misfit).collect::<Vec<_>>(), LOUDEST);
    finding.features.extend(feature(
        "ink-misfit",
        Value { value: ln(CALM + loud), u: 1.0 / (CALM + loud) },
        "1",
    ));
    let hues: Vec<f64> = all.iter().map(|i| i.lch[2].value.abs()).collect();
    let hue = soft_largest(&hues, LOUDEST);
    let u = all.iter().map(|i| i.lch[2].u).fold(0.0, f64::max);
    finding.features.extend(feature("ink-hue", Value { value: ln(1.0 + hue), u: u / (1.0 + hue) }, "1"));
    Some(finding)
}

/// Length of an ink's residual in hue and chroma.
pub(super) fn chromatic(ink: &JointInk) -> Value {
    let (c, h) = (ink.lch[1], ink.lch[2]);
    let value = hypot(c.value, h.value);
    let u = if value > 1e-9 { hypot(c.u * c.value, h.u * h.value) / value } else { hypot(c.u, h.u) };
    Value { value, u }
}

fn present(maker: &Maker<'_>, region: &Region, joint: &JointRegion) -> Option<Finding> {
    let (mean, sd) = joint.chance;
    let u = joint.likeness_u;
    let mut says = format!(
        "The pattern of the {} agrees to {:.2}; by chance it would to {:.2} ± {:.2}.",
        region.name, joint.likeness, mean, sd
    );
    if joint.missing.value > 0.1 {
        says += &format!(" {:.0} % of it is not found where it should be.", 100.0 * joint.missing.value);
    }
    let reading = measured_reading(Value { value: joint.likeness, u }, "1");
    maker.finding("region-present", Some(region), question_present(region, maker.face), reading, says)
}

fn size(maker: &Maker<'_>, region: &Region, joint: &JointRegion) -> Option<Finding> {
    let scale = Value { value: 100.0 * joint.similarity[2].value, u: 100.0 * joint.similarity[2].u };
    let says = format!(
        "The {} is {:.1} ± {:.1} % {} than its surroundings ask for.",
        region.name,
        scale.value.abs(),
        scale.u,
        if scale.value < 0.0 { "smaller" } else { "larger" }
    );
    maker.finding(
        "region-size",
        Some(region),
        question_size(region, maker.face),
        measured_reading(scale, "%"),
        says,
    )
}

fn place(maker: &Maker<'_>, region: &Region, joint: &JointRegion) -> Option<Finding> {
    let [x, y, ..] = joint.similarity;
    let value = hypot(x.value, y.value);
    let u = if value > 1e-9 { hypot(x.u * x.value, y.u * y.value) / value } else { hypot(x.u, y.u) };
    let turn = joint.similarity[3];
    let degrees = 180.0 / std::f64::consts::PI;
    let says = format!(
        "The {} lies {:.2} ± {:.2} mm {} and {:.2} ± {:.2} mm {} of where its surroundings put it, turned by {:.1} ± {:.1}°.",
        region.name,
        x.value.abs(),
        x.u,
        if x.value < 0.0 { "left" } else { "right" },
        y.value.abs(),
        y.u,
        if y.value < 0.0 { "above" } else { "below" },
        turn.value * degrees,
        turn.u * degrees,
    );
    let reading = measured_reading(Value { value, u }, "mm");
    maker.finding("region-place", Some(region), question_place(region, maker.face), reading, says)
}

fn in_words(joint: &JointRegion) -> String {
    let [x, y, s, _] = joint.similarity;
    let mut parts = Vec::new();
    if s.value.abs() > 2.5 * s.u.max(0.01) {
        parts.push(format!(
            "{:.1} ± {:.1} % {}",
            100.0 * s.value.abs(),
            100.0 * s.u,
            if s.value < 0.0 { "smaller" } else { "larger" }
        ));
    }
    if y.value.abs() > 2.5 * y.u.max(0.1) {
        parts.push(format!(
            "{:.1} ± {:.1} mm {}",
            y.value.abs(),
            y.u,
            if y.value < 0.0 { "high" } else { "low" }
        ));
    }
    if x.value.abs() > 2.5 * x.u.max(0.1) {
        parts.push(format!(
            "{:.1} ± {:.1} mm to the {}",
            x.value.abs(),
            x.u,
            if x.value < 0.0 { "left" } else { "right" }
        ));
    }
    if parts.is_empty() {
        format!("{:.1} standard deviations from its surroundings", joint.misfit)
    } else {
        parts.join(", ")
    }
}

fn signed(v: f64) -> String {
    format!("{}{:.1}", if v < 0.0 { "−" } else { "+" }, v.abs())
}
