//! The lines of a face's text: where they lie on the reference, what they say, where each letter stands.
//!
//! In: the reference picture, the catalogue's regions and a recogniser. Out: [`Line`]s, once a face.
//! Never here: a photo of the item.
//!
//! The catalogue gives a region's text as one string. Its lines are found on the reference, either the
//! whole region or the bands of rows that hold edges, and its words are dealt to them by laying the
//! string beside what the recogniser reads there. A line that it cannot read even on the flat reference
//! (script lettering, a stylised mark) is left out: nothing could be said of a photo of it.

use casebook::catalogue::{Face, RegionKind};
use casebook::units::RectMm;
use ocr::{Edit, LINE_PX, MAX_LINE_PX, Recogniser, align, fold, folded};
use photo::{Photo, Plane};
use placement::Homography;

use super::cut::{Frame, cut, lightness, reference_map, rows};

/// Resolution at which bands are looked for, pixels a millimetre.
const BANDS_PX_PER_MM: f64 = 10.0;
/// Share of a strong row's edges from which a row belongs to a line.
const ROW_EDGES: f64 = 0.18;
/// Lowest line, mm: half a millimetre of small letters is the least that print carries.
const LEAST_LINE_MM: f64 = 0.5;
/// Around a line, as a share of its height, when it is read.
pub(super) const MARGIN: f64 = 0.15;
/// Largest share of letters that the recogniser may get wrong on the reference.
const WRONG_ON_REFERENCE: f64 = 0.12;
/// Share from which another way of cutting or turning is tried.
const WORTH_TRYING: f64 = 0.05;
/// Fewest letters of a line that is read.
const LEAST_LETTERS: usize = 3;

/// A word of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Word {
    /// As the catalogue writes it.
    pub(super) text: String,
    /// Its letters among the line's: first, and one past the last.
    pub(super) letters: [usize; 2],
}

/// A line of text of a face.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    /// Index of its region.
    pub(super) region: usize,
    /// How it is turned.
    pub(super) frame: Frame,
    /// Where its letters lie, in its own frame, tight above and below.
    pub(super) rect: RectMm,
    /// The letters expected.
    pub(super) letters: Vec<char>,
    /// The words expected; at least one.
    pub(super) words: Vec<Word>,
    /// Middle of each letter along the line on the reference, mm in its frame, where it was read.
    pub(super) middles: Vec<Option<f64>>,
}

impl Line {
    /// What is cut out to be read.
    pub(super) fn read_rect(&self) -> RectMm {
        grown(self.rect, MARGIN * self.rect.height)
    }

    /// The line as printed, in words.
    pub(super) fn text(&self) -> String {
        self.words.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" ")
    }
}

/// A rectangle grown on all sides.
pub(super) fn grown(rect: RectMm, by: f64) -> RectMm {
    RectMm { x: rect.x - by, y: rect.y - by, width: rect.width + 2.0 * by, height: rect.height + 2.0 * by }
}

/// One cut of a region into lines, read.
struct Cut {
    lines: Vec<ReadBand>,
    /// Share of the text's letters that the readings get wrong.
    wrong: f64,
}

struct ReadBand {
    rect: RectMm,
    letters: Vec<char>,
    middles: Vec<f64>,
}

/// The lines of a face that can be read on its reference.
pub(super) fn lines(face: &Face, reference: &Photo, recogniser: &Recogniser) -> Vec<Line> {
    let Some(map) = reference_map(reference, face.size_mm) else { return Vec::new() };
    let mut out = Vec::new();
    for (index, region) in face.regions.iter().enumerate() {
        let Some(text) = region.text.as_deref().filter(|_| is_text(region.kind)) else { continue };
        let letters = folded(text);
        if letters.len() < LEAST_LETTERS {
            continue;
        }
        let r = region.rect_mm;
        let turns: &[u8] = if r.height > 1.5 * r.width { &[1, 3, 0] } else { &[0, 2] };
        let mut best: Option<(Frame, Cut)> = None;
        for quarters in turns {
            let frame = Frame { quarters: *quarters };
            let rect = frame.rect_of(r);
            for whole in [true, false] {
                if best.as_ref().is_some_and(|(_, cut)| cut.wrong <= WORTH_TRYING) {
                    break;
                }
                let bands = if whole { vec![rect] } else { bands(reference, &map, frame, rect) };
                if let Some(cut) = read(reference, &map, frame, &bands, &letters, recogniser)
                    && best.as_ref().is_none_or(|(_, b)| cut.wrong < b.wrong)
                {
                    best = Some((frame, cut));
                }
            }
        }
        if let Some((frame, cut)) = best {
            out.extend(deal(index, frame, &cut.lines, text));
        }
    }
    out
}

const fn is_text(kind: RegionKind) -> bool {
    matches!(kind, RegionKind::Wordmark | RegionKind::Legal | RegionKind::Count | RegionKind::Text)
}

/// Rectangles of rows with edges, in the line's frame, drawn tight around them.
fn bands(reference: &Photo, map: &Homography, frame: Frame, rect: RectMm) -> Vec<RectMm> {
    let count = (rect.height * BANDS_PX_PER_MM).ceil().clamp(8.0, 4_000.0) as usize;
    let Some(patch) = cut(reference, map, frame, rect, count) else { return Vec::new() };
    let light = lightness(&patch);
    let edges = edges(&light);
    let by_row: Vec<f64> =
        (0..edges.height()).map(|y| edges.row(y).iter().map(|v| f64::from(*v)).sum()).collect();
    let scale = patch.px_per_mm;
    runs(&by_row)
        .into_iter()
        .filter(|(a, b)| (b - a) as f64 >= LEAST_LINE_MM * scale)
        .filter_map(|(a, b)| {
            let by_column: Vec<f64> = (0..edges.width())
                .map(|x| (a..b).filter_map(|y| edges.get(x, y)).map(|v| f64::from(*v)).sum())
                .collect();
            let within = runs(&by_column);
            let (left, right) = (within.first()?.0, within.last()?.1);
            Some(RectMm {
                x: rect.x + left as f64 / scale,
                y: rect.y + a as f64 / scale,
                width: (right - left) as f64 / scale,
                height: (b - a) as f64 / scale,
            })
        })
        .collect()
}

/// Strength of edges along the text: what letters are made of, whatever their colour.
pub(super) fn edges(light: &Plane<f32>) -> Plane<f32> {
    Plane::from_fn(light.width(), light.height(), |x, y| {
        let row = light.row(y);
        let (left, right) = (row[x.saturating_sub(1)], row[(x + 1).min(row.len() - 1)]);
        (right - left).abs()
    })
}

/// Runs of places whose value, averaged over three, is above a share of the strong ones.
fn runs(values: &[f64]) -> Vec<(usize, usize)> {
    if values.is_empty() {
        return Vec::new();
    }
    let last = values.len() - 1;
    let smooth: Vec<f64> = (0..values.len())
        .map(|i| (values[i.saturating_sub(1)] + values[i] + values[(i + 1).min(last)]) / 3.0)
        .collect();
    let mut sorted = smooth.clone();
    sorted.sort_by(f64::total_cmp);
    let strong = sorted[(0.95 * last as f64) as usize];
    let mut out = Vec::new();
    let mut start = None;
    for (i, v) in smooth.iter().chain([&0.0]).enumerate() {
        let on = i < values.len() && *v > ROW_EDGES * strong;
        match (on, start) {
            (true, None) => start = Some(i),
            (false, Some(from)) => {
                out.push((from, i));
                start = None;
            }
            _ => {}
        }
    }
    out
}

fn read(
    reference: &Photo,
    map: &Homography,
    frame: Frame,
    bands: &[RectMm],
    letters: &[char],
    recogniser: &Recogniser,
) -> Option<Cut> {
    let mut lines = Vec::new();
    for rect in bands {
        let around = grown(*rect, MARGIN * rect.height);
        let patch = cut(reference, map, frame, around, LINE_PX)?;
        if patch.width() < 8 || patch.width() > MAX_LINE_PX {
            continue;
        }
        let columns = recogniser.read(&rows(&patch.rgb, LINE_PX), letters).ok()?;
        let best = columns.best();
        let step = patch.width() as f64 / columns.count().max(1) as f64 / patch.px_per_mm;
        let middles =
            best.columns.iter().map(|(a, b)| around.x + step * ((a + b) as f64 / 2.0 + 0.5)).collect();
        lines.push(ReadBand { rect: *rect, letters: best.letters, middles });
    }
    let all: Vec<char> = lines.iter().flat_map(|l| l.letters.iter().copied()).collect();
    let wrong = align(letters, &all).iter().filter(|e| e.differs()).count() as f64 / letters.len() as f64;
    Some(Cut { lines, wrong })
}

/// Deals a text's words to the lines where the recogniser read them.
fn deal(region: usize, frame: Frame, bands: &[ReadBand], text: &str) -> Vec<Line> {
    let words: Vec<(&str, Vec<char>)> =
        text.split_whitespace().map(|w| (w, folded(w))).filter(|(_, letters)| !letters.is_empty()).collect();
    let wanted: Vec<char> = words.iter().flat_map(|(_, letters)| letters.iter().copied()).collect();
    let read: Vec<(usize, f64, char)> = bands
        .iter()
        .enumerate()
        .flat_map(|(k, b)| b.letters.iter().zip(&b.middles).map(move |(c, m)| (k, *m, *c)))
        .collect();
    let said: Vec<char> = read.iter().map(|(_, _, c)| *c).collect();
    let mut at: Vec<Option<(usize, f64)>> = vec![None; wanted.len()];
    let mut same = vec![false; wanted.len()];
    for edit in align(&wanted, &said) {
        if let Edit::Same(i, j) | Edit::Exchanged(i, j) = edit {
            at[i] = Some((read[j].0, read[j].1));
            same[i] = !edit.differs();
        }
    }
    let mut lines: Vec<(Line, usize)> = bands
        .iter()
        .map(|b| {
            let line = Line {
                region,
                frame,
                rect: b.rect,
                letters: Vec::new(),
                words: Vec::new(),
                middles: Vec::new(),
            };
            (line, 0)
        })
        .collect();
    let mut start = 0;
    let mut band = 0;
    for (text, letters) in &words {
        let own = start..start + letters.len();
        // The line where most of the word was read; never before the last one's.
        band = (band..bands.len())
            .max_by_key(|k| {
                let here = at[own.clone()].iter().flatten().filter(|(b, _)| b == k).count();
                (here, std::cmp::Reverse(*k))
            })
            .unwrap_or(band);
        if let Some((line, right)) = lines.get_mut(band) {
            let first = line.letters.len();
            line.letters.extend(letters);
            line.middles
                .extend(at[own.clone()].iter().map(|a| a.filter(|(b, _)| *b == band).map(|(_, m)| m)));
            line.words.push(Word { text: (*text).to_owned(), letters: [first, line.letters.len()] });
            *right += same[own.clone()].iter().filter(|s| **s).count();
        }
        start = own.end;
    }
    lines
        .into_iter()
        .filter(|(line, right)| {
            line.letters.len() >= LEAST_LETTERS
                && (line.letters.len() - right) as f64 <= WRONG_ON_REFERENCE * line.letters.len() as f64
        })
        .map(|(line, _)| line)
        .collect()
}

/// Whether a word is a year in print: four digits from 1900 to 2099.
pub(super) fn is_year(letters: &[char]) -> bool {
    letters.len() == 4
        && letters.iter().all(char::is_ascii_digit)
        && matches!((letters[0], letters[1]), ('1', '9') | ('2', '0'))
        && letters.iter().all(|c| fold(*c).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn band(y: f64, said: &str) -> ReadBand {
        let letters = folded(said);
        let middles = (0..letters.len()).map(|i| i as f64).collect();
        ReadBand { rect: RectMm { x: 0.0, y, width: 40.0, height: 1.0 }, letters, middles }
    }

    #[test]
    fn words_go_to_the_line_that_shows_them() {
        let text = "© 2021 Kelp & Sons. All rights reserved. Keep dry.";
        let bands =
            [band(0.0, "©2021 Kelp& Sns."), band(2.0, "A1l rights reserved."), band(4.0, "Keep dry.")];
        let lines = deal(0, Frame { quarters: 0 }, &bands, text);
        let said: Vec<String> = lines.iter().map(Line::text).collect();
        assert_eq!(said, ["2021 Kelp Sons.", "All rights reserved.", "Keep dry."]);
        assert_eq!(lines[0].words[1].letters, [4, 8]);
        assert_eq!(lines[0].middles.iter().filter(|m| m.is_none()).count(), 1, "the o of Sons was not read");
    }

    #[test]
    fn a_line_that_the_recogniser_cannot_read_is_left_out() {
        let bands = [band(0.0, "Xwp qrr"), band(2.0, "Keep it dry")];
        let lines = deal(0, Frame { quarters: 0 }, &bands, "Kelp & Sons Keep it dry");
        let said: Vec<String> = lines.iter().map(Line::text).collect();
        assert_eq!(said, ["Keep it dry"]);
    }

    #[test]
    fn runs_are_found_between_empty_rows() {
        let mut rows = vec![0.0; 40];
        rows[5..15].fill(1.0);
        rows[22..33].fill(0.8);
        assert_eq!(runs(&rows), [(4, 16), (21, 34)]);
        assert!(runs(&[]).is_empty());
    }
}
