//! The examiner `words`: which photos show a face's lines well enough, and what is measured on them.
//!
//! In: an [`ItemView`] and a [`Tool`], or why there is none. Out: findings with pictures. Never here: how
//! a line is read or its letters are measured.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use casebook::catalogue::{Face, Product, RegionKind};
use casebook::finding::{Lack, Missing, Seeing};
use casebook::names::{PhotoFile, ProductId, Slug};
use casebook::units::RectMm;
use ocr::{LINE_PX, MAX_LINE_PX, Recogniser, align};
use photo::{Photo, Plane};
use placement::{Homography, Patch};
use rayon::prelude::*;

use super::cut::{clipped, cut, displaced, lightness, reference_map, rows};
use super::heights::{Profile, Span, spans, stretch};
use super::lines::{Line, edges, grown, lines};
use super::reading::{Joint, SeenLine, join};
use super::{findings, pictures};
use crate::compare::Laid;
use crate::compare::filter::smooth;
use crate::{Examined, Examiner, ItemView};

/// Most photos of one face whose lines are read, best first: each costs time, and two exposures tell a
/// slip from print.
const MOST_PHOTOS: usize = 2;
/// Photo pixels over a line's height (capital to descender) from which it is read. On calibration photos
/// the recogniser gets one letter in three wrong at 6 to 8, one in ten at 8 to 10, one in fifty above.
pub(super) const LEAST_LINE_PX: f64 = 8.0;
/// Share of a line that must lie inside the frame, and that may be at the top code.
const FRAMED: f64 = 0.97;
const CLIPPED: f64 = 0.10;
/// Mean probability of a reading's letters from which the line counts as read.
const SURE: f64 = 0.75;
/// Share of letters as expected from which it is the same line, worn or misread in places.
const ALIKE: f64 = 0.6;
/// Rows of the picture on which letters are measured.
const MEASURED_ROWS: usize = 72;
/// Around a line when its letters are measured, as a share of its height.
const ROOM: f64 = 0.35;
/// Fewest letters of a word whose height is measured.
const LEAST_LETTERS: usize = 3;
/// Softness that is tried to match photo and reference, standard deviations in mm.
const SOFTNESS_MM: [f64; 8] = [0.0, 0.04, 0.07, 0.10, 0.14, 0.19, 0.26, 0.36];
/// Photo pixels that an edge of a gap may be off by: a third of one, as uniform error (`jcgm100` 4.3.7).
const EDGE_PX: f64 = 0.29;
/// What creases, the pillow and softness that is matched only nearly add to a word's stretch. With it 62
/// of the 64 drawn words of `checks/words` lie within two standard uncertainties; the largest error was 5.4 %.
const CREASE: f64 = 0.025;
/// Most faces whose lines are kept.
const KEPT: usize = 256;

/// A recogniser with the lines of the references that it has read.
#[derive(Debug)]
pub struct Tool {
    recogniser: Recogniser,
    known: Mutex<BTreeMap<(ProductId, Slug), Known>>,
}

/// What one face's lines were read from, and the lines.
#[derive(Debug, Clone)]
struct Known {
    face: Face,
    picture: u64,
    lines: Arc<Vec<Line>>,
}

impl Tool {
    /// From a recogniser.
    #[must_use]
    pub fn new(recogniser: Recogniser) -> Self {
        Self { recogniser, known: Mutex::default() }
    }

    /// The lines of a face, read once while its reference stays the same.
    fn lines(&self, product: &ProductId, face: &Face, reference: &Photo) -> Arc<Vec<Line>> {
        let key = (product.clone(), face.id.clone());
        let picture = mark(reference);
        let open = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = open().get(&key).filter(|k| k.face == *face && k.picture == picture) {
            return Arc::clone(&known.lines);
        }
        let lines = Arc::new(lines(face, reference, &self.recogniser));
        let mut known = open();
        if known.len() >= KEPT {
            known.pop_first();
        }
        known.insert(key, Known { face: face.clone(), picture, lines: Arc::clone(&lines) });
        lines
    }
}

/// A number that changes with a picture (FNV-1a over its size and every 61st code).
fn mark(photo: &Photo) -> u64 {
    let size = [photo.width() as u64, photo.height() as u64];
    let codes = photo.codes8().unwrap_or(&[]).iter().step_by(61).map(|c| u64::from(*c));
    size.into_iter()
        .chain(codes)
        .fold(0xcbf2_9ce4_8422_2325, |hash, v| (hash ^ v).wrapping_mul(0x0100_0000_01b3))
}

/// Examines the words on every face.
#[derive(Debug, Clone)]
pub enum Words {
    /// With a recogniser.
    Reading(Arc<Tool>),
    /// Without: every face's wording cannot be told, for this reason.
    Absent {
        /// Why, and what to do about it, in words.
        why: String,
    },
}

impl Examiner for Words {
    fn name(&self) -> &'static str {
        "words"
    }

    fn concerns(&self, product: &Product) -> bool {
        product.faces.iter().any(has_text)
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        let faces: Vec<&Face> = view.product.faces.iter().filter(|f| has_text(f)).collect();
        let answers: Vec<Vec<Examined>> = match self {
            Self::Reading(tool) => faces.par_iter().map(|face| examine_face(view, face, tool)).collect(),
            Self::Absent { why } => {
                let missing = Missing { lack: Lack::Tool, words: why.clone(), wants: String::new() };
                faces.iter().map(|face| findings::absent(view, face, &missing)).collect()
            }
        };
        answers.into_iter().flatten().collect()
    }
}

fn has_text(face: &Face) -> bool {
    face.regions.iter().any(|r| {
        r.text.is_some()
            && !matches!(r.kind, RegionKind::Code | RegionKind::Art | RegionKind::Emblem | RegionKind::Panel)
    })
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Value {
    pub(super) value: f64,
    pub(super) u: f64,
}

/// One line with everything measured.
pub(super) struct ReadLine<'a> {
    pub(super) line: &'a Line,
    /// What it says; nothing where no photo shows it legibly.
    pub(super) joint: Option<Joint>,
    /// How strong its pattern is beside the reference's: 1 as printed, 0 not there.
    pub(super) strength: Option<Value>,
    /// Size of each word's letters over the reference's.
    pub(super) words: Vec<Option<Value>>,
    /// The gap after each word beyond the reference's, mm.
    pub(super) gaps: Vec<Option<Value>>,
}

/// One face with everything measured.
pub(super) struct ReadFace<'a> {
    pub(super) face: &'a Face,
    pub(super) lines: Vec<ReadLine<'a>>,
    pub(super) photos: Vec<PhotoFile>,
    pub(super) seeing: Seeing,
}

/// One photo of a face.
struct Shown<'a> {
    index: usize,
    file: &'a PhotoFile,
    photo: &'a Photo,
    mm_to_px: &'a Homography,
    laid: &'a Laid,
}

fn examine_face(view: &ItemView<'_>, face: &Face, tool: &Tool) -> Vec<Examined> {
    let wants = format!("a sharp photo of the {}, close, square on and without glare", face.id);
    let missing = |lack, words: String, wants: String| Missing { lack, words, wants };
    let best = view.best_of(&face.id);
    if best.is_empty() {
        let words = format!("no photo shows the {}", face.id);
        return findings::cannot_tell(view, face, &[missing(Lack::NotShown, words, wants)]);
    }
    let Some(reference) = view.references.get(&face.id) else {
        let words = format!("the library holds no reference picture of the {}", face.id);
        return findings::cannot_tell(view, face, &[missing(Lack::Library, words, String::new())]);
    };
    let shown: Vec<Shown<'_>> = best
        .iter()
        .filter_map(|index| {
            let placed = &view.photos[*index];
            let laid = view.laid(*index)?.ok()?;
            let (photo, mm_to_px) = (placed.photo, &placed.placement.mm_to_px);
            Some(Shown { index: *index, file: placed.file, photo, mm_to_px, laid })
        })
        .take(MOST_PHOTOS)
        .collect();
    if shown.is_empty() {
        let words = format!("in no photo could the print of the {} be laid over the reference", face.id);
        return findings::cannot_tell(view, face, &[missing(Lack::Placement, words, wants)]);
    }
    // Reading the reference costs as much as reading a photo: not for a face too small to be read.
    let lines = tool.lines(view.product_id, face, reference);
    if lines.is_empty() {
        let words = format!("the recogniser reads no line of the {} even on its reference", face.id);
        return findings::cannot_tell(view, face, &[missing(Lack::Library, words, String::new())]);
    }
    let read: Vec<(ReadLine<'_>, Vec<(Lack, String)>)> = lines
        .par_iter()
        .map(|line| read_line(line, &lines, &shown, reference, face, &tool.recogniser))
        .collect();
    let placed = &view.photos[shown[0].index];
    let comparison = &shown[0].laid.comparison;
    let seeing = Seeing {
        px_per_mm: Some(placed.placement.px_per_mm),
        angle_deg: Some(placed.placement.angle.value_deg),
        blur_px: view
            .reference(&face.id)
            .map(|r| comparison.blur_px * placed.placement.px_per_mm / r.grid.px_per_mm),
        glare: Some(comparison.clipped),
        covered: Some(1.0 - comparison.framed),
        usable: Some(comparison.framed * (1.0 - comparison.clipped)),
    };
    let mut lacks: Vec<Missing> = Vec::new();
    let mut lines = Vec::new();
    for (line, own) in read {
        for (lack, words) in own {
            if lacks.iter().all(|m| m.lack != lack) {
                lacks.push(missing(lack, words, wants.clone()));
            }
        }
        lines.push(line);
    }
    let photos: Vec<PhotoFile> = shown.iter().map(|s| s.file.clone()).collect();
    let read = ReadFace { face, lines, photos, seeing };
    let drawn = pictures::draw(view, &read, |line, photo| {
        let shown = shown.iter().find(|s| s.index == photo)?;
        let around = line.read_rect();
        let map = displaced(
            shown.mm_to_px,
            &shown.laid.comparison.alignment.field,
            line.frame.rect_on_face(line.rect),
        )?;
        let there = cut(shown.photo, &map, line.frame, around, pictures::ROWS)?;
        let own = reference_map(reference, face.size_mm)?;
        Some((there, cut(reference, &own, line.frame, around, pictures::ROWS)?, shown.file))
    });
    findings::measured(view, &read, &lacks, drawn)
}

fn read_line<'a>(
    line: &'a Line,
    all: &[Line],
    shown: &[Shown<'_>],
    reference: &Photo,
    face: &Face,
    recogniser: &Recogniser,
) -> (ReadLine<'a>, Vec<(Lack, String)>) {
    let mut lacks = Vec::new();
    let mut seen = Vec::new();
    let mut maps = BTreeMap::new();
    let near = line.frame.rect_on_face(line.rect);
    for one in shown {
        let Some(map) = displaced(one.mm_to_px, &one.laid.comparison.alignment.field, near) else { continue };
        match read_one(line, one, &map, face, recogniser) {
            Ok(read) => {
                maps.insert(one.index, map);
                seen.push(read);
            }
            Err(lack) => lacks.push(lack),
        }
    }
    let joint = join(line, &seen);
    let room = room(line, all);
    let measured: Vec<Measured> = seen
        .iter()
        .filter_map(|one| {
            let shown = shown.iter().find(|s| s.index == one.photo)?;
            measure(line, one, shown.photo, maps.get(&one.photo)?, reference, face, room)
        })
        .collect();
    let combine =
        |of: &dyn Fn(&Measured) -> Option<Value>| mean(&measured.iter().filter_map(of).collect::<Vec<_>>());
    let words = (0..line.words.len()).map(|k| combine(&|m| m.words[k])).collect();
    let gaps = (0..line.words.len()).map(|k| combine(&|m| m.gaps[k])).collect();
    let strengths: Vec<Value> = shown.iter().filter_map(|s| strength(s.laid, face, near)).collect();
    (ReadLine { line, joint, strength: mean(&strengths), words, gaps }, lacks)
}

/// Weighted mean with the larger of stated and seen scatter (Birge ratio).
fn mean(values: &[Value]) -> Option<Value> {
    let weights: f64 = values.iter().map(|v| 1.0 / (v.u * v.u)).sum();
    if values.is_empty() || !weights.is_finite() {
        return None;
    }
    let value = values.iter().map(|v| v.value / (v.u * v.u)).sum::<f64>() / weights;
    let chi2: f64 = values.iter().map(|v| (v.value - value) * (v.value - value) / (v.u * v.u)).sum();
    let birge = (chi2 / (values.len() as f64 - 1.0).max(1.0)).max(1.0);
    Some(Value { value, u: (birge / weights).sqrt() })
}

fn read_one(
    line: &Line,
    shown: &Shown<'_>,
    map: &Homography,
    face: &Face,
    recogniser: &Recogniser,
) -> Result<SeenLine, (Lack, String)> {
    let file = shown.file;
    let lost = || (Lack::OutOfFrame, format!("a line of the {} leaves the frame of {file}", face.id));
    let patch = cut(shown.photo, map, line.frame, line.read_rect(), LINE_PX).ok_or_else(lost)?;
    if patch.usable_share() < FRAMED {
        return Err(lost());
    }
    let line_px = patch.seen_px_per_mm[1].min(1.3 * patch.seen_px_per_mm[0]) * line.rect.height;
    if line_px < LEAST_LINE_PX {
        let words = format!(
            "{file} shows letters of {:.1} mm on the {} with {line_px:.1} pixels; {LEAST_LINE_PX} are needed",
            line.rect.height, face.id
        );
        return Err((Lack::Resolution, words));
    }
    if clipped(&patch) > CLIPPED {
        let words = format!(
            "{:.0} % of a line on the {} in {file} is at the photo's top code",
            100.0 * clipped(&patch),
            face.id
        );
        return Err((Lack::Glare, words));
    }
    if !(8..=MAX_LINE_PX).contains(&patch.width()) {
        let words = format!("a line of the {} is too long for the recogniser", face.id);
        return Err((Lack::Tool, words));
    }
    let fail = |error: ocr::OcrError| (Lack::Tool, error.to_string());
    let columns = recogniser.read(&rows(&patch.rgb, LINE_PX), &line.letters).map_err(fail)?;
    let read = columns.best();
    let same = align(&line.letters, &read.letters).iter().filter(|e| !e.differs()).count() as f64;
    let alike = same / line.letters.len().max(1) as f64;
    if read.confidence < SURE || alike < ALIKE {
        let words = format!(
            "a line on the {} in {file} cannot be read surely; it may be blurred, worn, covered or not there",
            face.id
        );
        return Err((Lack::Blur, words));
    }
    Ok(SeenLine { photo: shown.index, columns, read, line_px })
}

/// How much room a line has above and below, mm: so that a neighbour's letters do not enter.
fn room(line: &Line, all: &[Line]) -> f64 {
    let own = line.rect;
    let gap = all
        .iter()
        .filter(|other| other.frame == line.frame && other.rect != own)
        .filter(|o| o.rect.x < own.x + own.width && own.x < o.rect.x + o.rect.width)
        .map(|o| (o.rect.y - own.y - own.height).max(own.y - o.rect.y - o.rect.height))
        .filter(|gap| *gap > 0.0)
        .fold(f64::INFINITY, f64::min);
    (ROOM * own.height).min(0.45 * gap)
}

/// How much softer a line is than the reference's: the standard deviation, mm, that makes the reference
/// lose as much of its edges to a given blur as the photo does. It asks neither for contrast nor for
/// place, and hardly for size: fitted together with a stretch, a softer reference would pass for smaller
/// letters.
fn softness(there: &Patch, own: &Patch, height_mm: f64) -> Option<f64> {
    let edge_sum = |light: &Plane<f32>, sigma_px: f64| -> f64 {
        edges(&smooth(light, sigma_px)).data().iter().map(|v| f64::from(*v)).sum()
    };
    let (fine, coarse) = (0.05 * height_mm * there.px_per_mm, 0.15 * height_mm * there.px_per_mm);
    let kept = |light: &Plane<f32>| edge_sum(light, coarse) / edge_sum(light, fine).max(1e-9);
    let (photo, reference) = (kept(&lightness(there)), lightness(own));
    let mut before: Option<(f64, f64)> = None;
    for soft in SOFTNESS_MM {
        let now = kept(&smooth(&reference, soft * own.px_per_mm));
        if now >= photo {
            // Sharper than the reference even as it is: nothing is added.
            let Some((s, k)) = before else { return Some(0.0) };
            return Some(s + (soft - s) * ((photo - k) / (now - k)).clamp(0.0, 1.0));
        }
        before = Some((soft, now));
    }
    None
}

struct Measured {
    words: Vec<Option<Value>>,
    gaps: Vec<Option<Value>>,
}

/// A line's picture for measuring: edges, by rows and columns.
struct Edges {
    plane: Plane<f32>,
    px_per_mm: f64,
}

impl Edges {
    fn of(patch: &Patch, soft_mm: f64) -> Self {
        let soft = smooth(&lightness(patch), soft_mm * patch.px_per_mm);
        Self { plane: edges(&soft), px_per_mm: patch.px_per_mm }
    }

    /// Over the height, of the columns from and to.
    fn upright(&self, from: f64, to: f64) -> Profile {
        let last = self.plane.width();
        let (from, to) = (from.max(0.0) as usize, (to.max(0.0).ceil() as usize).min(last));
        let values = (0..self.plane.height())
            .map(|y| self.plane.row(y).get(from..to).unwrap_or(&[]).iter().map(|v| f64::from(*v)).sum())
            .collect();
        Profile { values, px_per_mm: self.px_per_mm }
    }

    /// Along the line, of the rows that hold its letters.
    fn along(&self, rows: std::ops::Range<usize>) -> Vec<f64> {
        let width = self.plane.width();
        let mut sum = vec![0.0; width];
        for y in rows {
            for (s, v) in sum.iter_mut().zip(self.plane.row(y)) {
                *s += f64::from(*v);
            }
        }
        let reach = (0.04 * self.plane.height() as f64).round().max(1.0) as usize;
        (0..width)
            .map(|x| {
                let (a, b) = (x.saturating_sub(reach), (x + reach + 1).min(width));
                sum[a..b].iter().sum::<f64>() / (b - a) as f64
            })
            .collect()
    }
}

fn measure(
    line: &Line,
    seen: &SeenLine,
    photo: &Photo,
    map: &Homography,
    reference: &Photo,
    face: &Face,
    room: f64,
) -> Option<Measured> {
    let side = ROOM * line.rect.height;
    let around = RectMm {
        x: line.rect.x - side,
        y: line.rect.y - room,
        width: line.rect.width + 2.0 * side,
        height: line.rect.height + 2.0 * room,
    };
    let there = cut(photo, map, line.frame, around, MEASURED_ROWS)?;
    let own = cut(reference, &reference_map(reference, face.size_mm)?, line.frame, around, MEASURED_ROWS)?;
    if there.height() != own.height() || there.width() != own.width() {
        return None;
    }
    let seen_px_per_mm = there.seen_px_per_mm[0].min(there.seen_px_per_mm[1]);
    let scale = there.px_per_mm;
    let photo_edges = Edges::of(&there, 0.0);
    let soft = Edges::of(&own, softness(&there, &own, line.rect.height)?);
    let letters = (room * scale) as usize..((room + line.rect.height) * scale) as usize;
    let letters = letters.start..letters.end.min(there.height());
    let read = line.read_rect();
    let step = read.width / seen.columns.count().max(1) as f64;
    let mut at: Vec<Option<f64>> = vec![None; line.letters.len()];
    for edit in align(&line.letters, &seen.read.letters) {
        if let ocr::Edit::Same(i, j) | ocr::Edit::Exchanged(i, j) = edit {
            let (a, b) = seen.read.columns[j];
            at[i] = Some(read.x + step * ((a + b) as f64 / 2.0 + 0.5));
        }
    }
    let px = |mm: f64| (mm - around.x) * scale - 0.5;
    let ends = |middles: &[Option<f64>]| -> Vec<Option<(f64, f64)>> {
        line.words
            .iter()
            .map(|w| {
                let own: Vec<f64> = middles[w.letters[0]..w.letters[1]].iter().flatten().copied().collect();
                Some((px(*own.first()?), px(*own.last()?)))
            })
            .collect()
    };
    let there_spans = spans(&photo_edges.along(letters.clone()), &ends(&at));
    let own_spans = spans(&soft.along(letters), &ends(&line.middles));
    let words: Vec<Option<Value>> = line
        .words
        .iter()
        .zip(there_spans.iter().zip(&own_spans))
        .map(|(word, (there, own))| {
            if word.letters[1] - word.letters[0] < LEAST_LETTERS {
                return None;
            }
            let (there, own) = ((*there)?, (*own)?);
            let fit = stretch(&soft.upright(own.from, own.to), &photo_edges.upright(there.from, there.to))?;
            Some(Value { value: fit.scale, u: (fit.scale_u * fit.scale_u + CREASE * CREASE).sqrt() })
        })
        .collect();
    let ratio = along_ratio(&there_spans, &own_spans);
    let gaps = there_spans
        .iter()
        .zip(&own_spans)
        .map(|(there, own)| {
            let ((a, b), (c, d)) = ((*there)?.gap?, (*own)?.gap?);
            let u = std::f64::consts::SQRT_2 * EDGE_PX / seen_px_per_mm;
            Some(Value { value: ((b - a) - ratio * (d - c)) / scale, u })
        })
        .collect();
    Some(Measured { words, gaps })
}

/// How much longer the line is than the reference's, by the middles of its gaps: the median of all pairs
/// (Theil–Sen); 1 with fewer than three gaps.
fn along_ratio(there: &[Option<Span>], own: &[Option<Span>]) -> f64 {
    let middles: Vec<(f64, f64)> = there
        .iter()
        .zip(own)
        .filter_map(|(t, o)| {
            let ((a, b), (c, d)) = ((*t)?.gap?, (*o)?.gap?);
            Some(((a + b) / 2.0, (c + d) / 2.0))
        })
        .collect();
    let mut slopes = Vec::new();
    for (k, (t, o)) in middles.iter().enumerate() {
        slopes.extend(middles[k + 1..].iter().filter(|(_, p)| p > o).map(|(s, p)| (s - t) / (p - o)));
    }
    if middles.len() < 3 || slopes.is_empty() {
        return 1.0;
    }
    slopes.sort_by(f64::total_cmp);
    slopes[slopes.len() / 2].clamp(0.9, 1.1)
}

/// How strong the pattern of a place is beside the reference's: the slope of lightness on lightness,
/// both in the same light and equally soft.
fn strength(laid: &Laid, face: &Face, rect: RectMm) -> Option<Value> {
    let comparison = &laid.comparison;
    let (photo, reference) = (&comparison.corrected_lab[0], &comparison.reference_lab[0]);
    let scale = photo.width() as f64 / face.size_mm[0];
    let around = grown(rect, 0.2);
    let span = |from: f64, length: f64, limit: usize| {
        let at = |v: f64| ((v * scale).round().max(0.0) as usize).min(limit);
        at(from)..at(from + length)
    };
    let columns = span(around.x, around.width, photo.width());
    let rows = span(around.y, around.height, photo.height());
    let area = columns.len() * rows.len();
    let mut points = Vec::new();
    for y in rows {
        for x in columns.clone() {
            if comparison.usable.get(x, y).is_some_and(|u| *u > 0.5)
                && let (Some(r), Some(p)) = (reference.get(x, y), photo.get(x, y))
            {
                points.push((f64::from(*r), f64::from(*p)));
            }
        }
    }
    if points.len() < 40 || (points.len() as f64) < 0.6 * area as f64 {
        return None;
    }
    let n = points.len() as f64;
    let (mr, mp) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let (mut rr, mut rp, mut pp) = (0.0, 0.0, 0.0);
    for (r, p) in points {
        rr += (r - mr) * (r - mr);
        rp += (r - mr) * (p - mp);
        pp += (p - mp) * (p - mp);
    }
    // A reference pattern of less than two units of L* is none.
    if rr / n < 4.0 {
        return None;
    }
    let value = rp / rr;
    let rest = (pp - value * rp).max(0.0);
    // Neighbouring pixels of the grid share their light: four count as one.
    Some(Value { value, u: (rest / (n / 4.0 - 2.0).max(1.0) / (rr / n) / n * 4.0).sqrt().max(0.02) })
}
