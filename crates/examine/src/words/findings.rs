//! The findings on a face's words, in numbers and sentences.
//!
//! In: what was measured, or what is missing. Out: [`Examined`]. Never here: measuring, a verdict.
//!
//! Quantities: `wording` (one a face, weighed), `letter-height` and `word-spacing` (one a face,
//! weighed), `printed-year` (a fact, one a region whose text holds a year). Group: `print-<face>`,
//! because whoever prints a face anew makes its pictures and its words, so they depend on each other.

use casebook::catalogue::{Face, Region};
use casebook::elementary::{hypot, ln};
use casebook::finding::{FactOutcome, Feature, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::hypothesis::State;
use casebook::names::{PhotoFile, Slug};
use casebook::picture::Picture;
use ocr::Edit;

use super::examiner::{ReadFace, ReadLine, Value};
use super::lines::is_year;
use super::reading::{Year, beside_years, wrong_letters, years};
use crate::genuine::expected;
use crate::{Examined, ItemView};

/// Standard deviations from which a word is named as differing.
pub(super) const STANDS_OUT: f64 = 4.0;
/// Probability from which a differing word is named.
const NAMED: f64 = 0.5;
/// Added to a number of letters before its logarithm: a tenth of a letter is none.
const LEAST_LETTERS: f64 = 0.1;
/// Added to misfits before their logarithm: one well below 1 is as good as none.
const CALM: f64 = 0.5;
/// What a softness that is matched only nearly adds to every letter of a line alike, as a share of its
/// height: large letters come out too small, dense small print too large. Root mean square beyond their
/// stated uncertainty of the farthest line of each of 68 faces with genuine print (42 sealed and re-closed
/// packs of the `calibration` family, 2026-12-01).
const LINE_SOFTNESS: f64 = 0.09;
/// The same for a gap between words, mm: the farthest gap of each of 63 of these faces.
const GAP_SOFTNESS_MM: f64 = 0.17;
/// Rate of wrong years in catalogues. Assumed, no source: as for other printed facts, one entry in a
/// hundred.
const CATALOGUE_ERROR_RATE: f64 = 0.01;
/// Rate at which a year read surely is read wrongly: upper 95 % bound after none in 83 legible lines of
/// genuine print, three in so many (calibration and development photos, 2026-12-01).
const MISREAD_RATE: f64 = 0.036;
/// Evidence from which another year counts as read, natural logarithm. On those lines digits of genuine
/// years reached 1.7; other years began at 11.4.
const YEAR_SURE: f64 = 9.5;

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
        Some(Finding {
            examiner: slug("words")?,
            item: self.view.item.clone(),
            expected: expected(self.view, &quantity, &place),
            place,
            quantity,
            question,
            reading,
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

fn feature(name: &str, value: f64, u: f64) -> Option<Feature> {
    (value.is_finite() && u.is_finite()).then_some(())?;
    Some(Feature { name: slug(name)?, value, standard_uncertainty: u, unit: "1".to_owned() })
}

fn push(
    out: &mut Vec<Examined>,
    finding: Option<Finding>,
    features: Vec<Option<Feature>>,
    pictures: Vec<Picture>,
) {
    if let Some(mut finding) = finding {
        finding.features = features.into_iter().flatten().collect();
        finding.pictures = pictures.iter().map(|p| p.id.clone()).collect();
        out.push(Examined { finding, pictures });
    }
}

fn question_wording(face: &Face) -> String {
    format!("Do the words on the {} say what the genuine product says?", face.id)
}

fn question_height(face: &Face) -> String {
    format!("Are the letters on the {} as large as on the genuine product, word by word?", face.id)
}

fn question_spacing(face: &Face) -> String {
    format!("Are the gaps between words on the {} those of the genuine product?", face.id)
}

fn question_year(region: &Region, face: &Face) -> String {
    format!("Is the year in the {} on the {} the product's?", region.name, face.id)
}

fn has_year(region: &Region) -> bool {
    region.text.as_deref().is_some_and(|t| t.split_whitespace().any(|w| is_year(&ocr::folded(w))))
}

/// One answer for a face that nothing can read.
pub(super) fn absent(view: &ItemView<'_>, face: &Face, missing: &Missing) -> Vec<Examined> {
    let maker = Maker { view, face, photos: Vec::new(), seeing: Seeing::default() };
    let reading = Reading::CannotTell { missing: vec![missing.clone()] };
    let mut out = Vec::new();
    push(
        &mut out,
        maker.finding("wording", None, question_wording(face), reading, missing.words.clone()),
        Vec::new(),
        Vec::new(),
    );
    out
}

/// The same questions for a face that could not be read.
pub(super) fn cannot_tell(view: &ItemView<'_>, face: &Face, missing: &[Missing]) -> Vec<Examined> {
    let photos = view.photos.iter().filter(|p| p.face.id == face.id).map(|p| p.file.clone()).collect();
    let maker = Maker { view, face, photos, seeing: Seeing::default() };
    let mut out = Vec::new();
    for (quantity, question) in [
        ("wording", question_wording(face)),
        ("letter-height", question_height(face)),
        ("word-spacing", question_spacing(face)),
    ] {
        unread(&mut out, &maker, quantity, None, question, missing);
    }
    for region in face.regions.iter().filter(|r| has_year(r)) {
        unread(&mut out, &maker, "printed-year", Some(region), question_year(region, face), missing);
    }
    out
}

fn unread(
    out: &mut Vec<Examined>,
    maker: &Maker<'_>,
    quantity: &str,
    region: Option<&Region>,
    question: String,
    missing: &[Missing],
) {
    let says = missing.first().map_or_else(|| "it could not be read".to_owned(), |m| m.words.clone());
    let reading = Reading::CannotTell { missing: missing.to_vec() };
    push(out, maker.finding(quantity, region, question, reading, says), Vec::new(), Vec::new());
}

/// Findings of a face of which lines were looked at.
pub(super) fn measured(
    view: &ItemView<'_>,
    read: &ReadFace<'_>,
    lacks: &[Missing],
    drawn: Vec<Picture>,
) -> Vec<Examined> {
    let face = read.face;
    let maker = Maker { view, face, photos: read.photos.clone(), seeing: read.seeing };
    let missing = |words: &str| {
        if lacks.is_empty() {
            let wants = format!("a closer photo of the {}, square on and without glare", face.id);
            vec![Missing { lack: Lack::Blur, words: words.to_owned(), wants }]
        } else {
            lacks.to_vec()
        }
    };
    let mut out = Vec::new();
    wording(&mut out, &maker, read, &missing("no line could be read"), drawn);
    heights(&mut out, &maker, read, &missing("no word's letters could be measured"));
    spacing(&mut out, &maker, read, &missing("no gap between words could be measured"));
    for (index, region) in face.regions.iter().enumerate().filter(|(_, r)| has_year(r)) {
        let own = read.lines.iter().filter(|l| l.line.region == index);
        let found: Vec<Year> = own.filter_map(|l| Some(years(l.line, l.joint.as_ref()?))).flatten().collect();
        year(&mut out, &maker, region, &found, &missing("the year could not be read"));
    }
    out
}

/// A word that reads otherwise than expected.
pub(super) struct Differing {
    pub(super) word: usize,
    pub(super) words: String,
}

/// The words of a line that probably read otherwise.
pub(super) fn differing_words(line: &ReadLine<'_>) -> Vec<Differing> {
    let Some(joint) = &line.joint else { return Vec::new() };
    line.line
        .words
        .iter()
        .enumerate()
        .filter_map(|(k, word)| {
            let [from, to] = word.letters;
            let concerned = |d: &&super::reading::Difference| {
                d.expected[0] < to
                    && (d.expected[1] > from || (d.expected[0] == d.expected[1] && d.expected[0] > from))
            };
            joint.differences.iter().filter(concerned).find(|d| d.probability >= NAMED)?;
            let said: String = joint
                .edits
                .iter()
                .filter_map(|edit| match *edit {
                    Edit::Same(i, j) | Edit::Exchanged(i, j) if i >= from && i < to => Some(joint.read[j]),
                    Edit::PutIn(i, j) if i > from && i < to => Some(joint.read[j]),
                    _ => None,
                })
                .collect();
            Some(Differing { word: k, words: format!("\"{said}\" read, \"{}\" expected", word.text) })
        })
        .collect()
}

fn wording(
    out: &mut Vec<Examined>,
    maker: &Maker<'_>,
    read: &ReadFace<'_>,
    missing: &[Missing],
    drawn: Vec<Picture>,
) {
    let question = question_wording(maker.face);
    let joints: Vec<_> = read.lines.iter().filter_map(|l| l.joint.as_ref()).collect();
    let strengths: Vec<Value> = read.lines.iter().filter_map(|l| l.strength).collect();
    let faintest = strengths.iter().copied().reduce(|a, b| if b.value < a.value { b } else { a });
    let faint = faintest.and_then(|f| feature("faintest-line", f.value, f.u));
    if joints.is_empty() {
        // What the letters say is unknown; whether print is there at all may still be seen.
        if let (Some(f), true) = (faintest, faint.is_some()) {
            let says = format!(
                "No line is legible. The faintest of {} shows {:.0} ± {:.0} % of the reference's contrast.",
                strengths.len(),
                100.0 * f.value,
                100.0 * f.u
            );
            let reading = Reading::CannotTell { missing: missing.to_vec() };
            push(out, maker.finding("wording", None, question, reading, says), Vec::new(), drawn);
        } else {
            unread(out, maker, "wording", None, question, missing);
        }
        return;
    }
    let (mut wrong, mut variance) = (0.0, 0.0);
    for joint in &joints {
        let (value, u) = joint.wrong_letters();
        wrong += value;
        variance += u * u;
    }
    let u = variance.sqrt().max(0.05);
    let weighed =
        || read.lines.iter().filter_map(|l| Some(beside_years(l.line, l.joint.as_ref()?))).flatten();
    let (wrong_weighed, variance_weighed) = wrong_letters(weighed());
    let u_weighed = variance_weighed.sqrt().max(0.05);
    // Letters that are merely not seen are no other wording.
    let strongest = weighed().filter(|d| !d.read.is_empty()).map(|d| d.llr).fold(0.0, f64::max);
    let said: Vec<String> = read.lines.iter().flat_map(differing_words).map(|d| d.words).collect();
    let lines = read.lines.len();
    let finest = joints.iter().map(|j| j.line_px).fold(f64::INFINITY, f64::min);
    let counted =
        if lines == 1 { "the line".to_owned() } else { format!("{} of {lines} lines", joints.len()) };
    let counted = format!("{counted} (letters of {finest:.0} pixels and more)");
    let faded = faintest.filter(|f| f.value + 2.0 * f.u < 0.5).map_or_else(String::new, |f| {
        format!(" One line shows {:.0} ± {:.0} % of the reference's contrast.", 100.0 * f.value, 100.0 * f.u)
    });
    let says = if said.is_empty() {
        format!("Read {counted}: {wrong:.1} ± {u:.1} letters differ from what is expected.{faded}")
    } else {
        format!("Read {counted}: {}; {wrong:.1} ± {u:.1} letters differ.{faded}", said.join(", "))
    };
    let features = vec![
        feature(
            "wrong-letters",
            ln(LEAST_LETTERS + wrong_weighed),
            u_weighed / (LEAST_LETTERS + wrong_weighed),
        ),
        // One natural unit: what two exposures of one line differ by.
        feature("other-wording", ln(1.0 + strongest), 1.0 / (1.0 + strongest)),
        faint,
    ];
    let reading = Reading::Measured { value: wrong, standard_uncertainty: u, unit: "1".to_owned() };
    push(out, maker.finding("wording", None, question, reading, says), features, drawn);
}

/// Size of a line's letters over the reference's: the median of its words.
fn line_size(line: &ReadLine<'_>) -> Option<Value> {
    let mut own: Vec<Value> = line.words.iter().flatten().copied().collect();
    own.sort_by(|a, b| a.value.total_cmp(&b.value));
    let n = own.len();
    let middle = *own.get(n / 2)?;
    let value = if n.is_multiple_of(2) { (own[n / 2 - 1].value + middle.value) / 2.0 } else { middle.value };
    let mut us: Vec<f64> = own.iter().map(|v| v.u).collect();
    us.sort_by(f64::total_cmp);
    // The median of n normal values scatters by 1.25 of what their mean would.
    let u = us[n / 2] * if n > 2 { 1.25 / (n as f64).sqrt() } else { 1.0 / (n as f64).sqrt() };
    Some(Value { value, u })
}

/// How much larger a word of a line is set than the others (0.23: 23 %); nothing in a line of one.
pub(super) fn deviation(line: &ReadLine<'_>, word: usize) -> Option<Value> {
    let own = line.words.get(word).copied().flatten()?;
    let mut others: Vec<Value> =
        line.words.iter().enumerate().filter(|(k, _)| *k != word).filter_map(|(_, v)| *v).collect();
    others.sort_by(|a, b| a.value.total_cmp(&b.value));
    let n = others.len();
    let middle = *others.get(n / 2)?;
    let value =
        if n.is_multiple_of(2) { (others[n / 2 - 1].value + middle.value) / 2.0 } else { middle.value };
    let u_others = middle.u * if n > 2 { 1.25 } else { 1.0 } / (n as f64).sqrt();
    let ratio = own.value / value;
    Some(Value { value: ratio - 1.0, u: ratio * hypot(own.u / own.value, u_others / value) })
}

/// The value farthest from nothing for its uncertainty.
fn farthest<T>(values: impl Iterator<Item = (T, Value)>) -> Option<(T, Value)> {
    values.reduce(|a, b| if b.1.value.abs() * a.1.u > a.1.value.abs() * b.1.u { b } else { a })
}

fn misfit(name: &str, v: Option<Value>) -> Option<Feature> {
    let z = v.map(|v| v.value.abs() / v.u)?;
    feature(name, ln(CALM + z), 1.0 / (CALM + z))
}

fn heights(out: &mut Vec<Examined>, maker: &Maker<'_>, read: &ReadFace<'_>, missing: &[Missing]) {
    let question = question_height(maker.face);
    let lines = farthest(read.lines.iter().filter_map(|l| {
        let size = line_size(l)?;
        Some((l, Value { value: size.value - 1.0, u: hypot(size.u, LINE_SOFTNESS) }))
    }));
    let words = farthest(
        read.lines
            .iter()
            .flat_map(|l| (0..l.words.len()).filter_map(move |k| Some(((l, k), deviation(l, k)?)))),
    );
    let Some((line, size)) = lines else {
        unread(out, maker, "letter-height", None, question, missing);
        return;
    };
    let count = read.lines.iter().flat_map(|l| &l.words).flatten().count();
    let told = |v: Value| {
        format!(
            "{:.1} ± {:.1} % {}",
            100.0 * v.value.abs(),
            100.0 * v.u,
            if v.value < 0.0 { "smaller" } else { "larger" }
        )
    };
    let word = words.as_ref().map_or_else(String::new, |((l, k), v)| {
        format!(" The word \"{}\" is set {} than its line.", l.line.words[*k].text, told(*v))
    });
    let says = format!(
        "Letters of {count} words were measured. The line \"{}\" is set {} than on the reference ({:.2} mm high there).{word}",
        line.line.text(),
        told(size),
        line.line.rect.height
    );
    let value = words.as_ref().map_or(size, |(_, v)| *v);
    let reading = Reading::Measured {
        value: 100.0 * value.value,
        standard_uncertainty: 100.0 * value.u,
        unit: "%".to_owned(),
    };
    let features = vec![misfit("line-height", Some(size)), misfit("word-height", words.map(|(_, v)| v))];
    push(out, maker.finding("letter-height", None, question, reading, says), features, Vec::new());
}

fn softened(gap: Value) -> Value {
    Value { u: hypot(gap.u, GAP_SOFTNESS_MM), ..gap }
}

fn spacing(out: &mut Vec<Examined>, maker: &Maker<'_>, read: &ReadFace<'_>, missing: &[Missing]) {
    let question = question_spacing(maker.face);
    let gaps = || {
        read.lines
            .iter()
            .flat_map(|l| l.gaps.iter().enumerate().filter_map(move |(k, g)| Some(((l, k), softened((*g)?)))))
    };
    let Some(((line, k), worst)) = farthest(gaps()) else {
        unread(out, maker, "word-spacing", None, question, missing);
        return;
    };
    let says = format!(
        "{} gaps between words were measured; the one after \"{}\" is {:.2} ± {:.2} mm {} than on the reference.",
        gaps().count(),
        line.line.words[k].text,
        worst.value.abs(),
        worst.u,
        if worst.value < 0.0 { "narrower" } else { "wider" }
    );
    let reading =
        Reading::Measured { value: worst.value, standard_uncertainty: worst.u, unit: "mm".to_owned() };
    push(
        out,
        maker.finding("word-spacing", None, question, reading, says),
        vec![misfit("gap", Some(worst))],
        Vec::new(),
    );
}

fn year(out: &mut Vec<Examined>, maker: &Maker<'_>, region: &Region, found: &[Year], missing: &[Missing]) {
    let question = question_year(region, maker.face);
    let other =
        found.iter().find(|y| y.llr >= YEAR_SURE && y.read.as_ref().is_some_and(|r| *r != y.expected));
    let fact = |outcome| Reading::Fact {
        outcome,
        error_rate: 1.0 - (1.0 - CATALOGUE_ERROR_RATE) * (1.0 - MISREAD_RATE),
        source: "years in the catalogue; rate of wrong entries assumed, rate of wrong readings measured"
            .to_owned(),
    };
    let (reading, says) = match (other, found.iter().find(|y| y.read.as_ref() == Some(&y.expected))) {
        (Some(y), _) => (
            fact(FactOutcome::Points { to: State::Counterfeit }),
            format!(
                "The {} reads the year {}; the catalogue says {}.",
                region.name,
                y.read.as_deref().unwrap_or(""),
                y.expected
            ),
        ),
        (None, Some(y)) => (
            fact(FactOutcome::AsGenuine),
            format!("The {} reads the year {}, as the catalogue says.", region.name, y.expected),
        ),
        (None, None) => {
            unread(out, maker, "printed-year", Some(region), question, missing);
            return;
        }
    };
    push(out, maker.finding("printed-year", Some(region), question, reading, says), Vec::new(), Vec::new());
}
