//! What a line says in all its photos together, and how surely it says something else than expected.
//!
//! In: a [`Line`] and the recogniser's columns of each photo of it. Out: [`Joint`]. Never here: how a
//! line is cut out, what a difference means.
//!
//! The best reading of one photo is laid beside the expected wording. Each stretch where they differ is
//! weighed by itself: how much likelier the reading is than the same reading with that stretch as
//! expected, over all photos (their likelihoods multiply: the noise of two exposures is not the same).
//! Where the recogniser wavers, that ratio is small. Recognisers are too sure of themselves, so the
//! ratio becomes a probability through what it was on genuine print: see [`SLIP`].

use casebook::elementary::exp;
use ocr::{Columns, Edit, Read, align};

use super::lines::{Line, is_year};

/// Log-likelihood ratio (natural) at which half of the differences are real, and the scale over which
/// slips die out. On 83 legible lines of genuine print in calibration and development photos no
/// exchanged letter exceeded 8.4 (letters that were merely left out went higher); on 8 lines with another year the difference was at 11.4 or more (2026-12-01).
const SLIP: (f64, f64) = (9.5, 1.2);
/// Most stretches that are weighed one by one.
const MOST: usize = 12;

/// One photo's columns of a line.
#[derive(Debug, Clone)]
pub(super) struct SeenLine {
    /// Which photo.
    pub(super) photo: usize,
    /// The columns.
    pub(super) columns: Columns,
    /// Their best reading.
    pub(super) read: Read,
    /// Photo pixels over the line's height.
    pub(super) line_px: f64,
}

/// A stretch where the reading differs from what is expected.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Difference {
    /// Letters expected there: first, and one past the last.
    pub(super) expected: [usize; 2],
    /// Letters read there.
    pub(super) read: Vec<char>,
    /// Natural logarithm of how much likelier the reading is.
    pub(super) llr: f64,
    /// Probability that print differs, 0 to 1.
    pub(super) probability: f64,
}

impl Difference {
    /// How many letters are concerned.
    pub(super) fn letters(&self) -> usize {
        (self.expected[1] - self.expected[0]).max(self.read.len())
    }
}

/// What a line says.
#[derive(Debug, Clone)]
pub(super) struct Joint {
    /// The photos it was read from, the one whose reading is shown first.
    pub(super) photos: Vec<usize>,
    /// The reading.
    pub(super) read: Vec<char>,
    /// Where it differs.
    pub(super) differences: Vec<Difference>,
    /// Photo pixels over the line's height in the best photo.
    pub(super) line_px: f64,
    /// The expected letters beside those read.
    pub(super) edits: Vec<Edit>,
}

impl Joint {
    /// Expected number of wrong letters and its standard uncertainty.
    pub(super) fn wrong_letters(&self) -> (f64, f64) {
        let (value, variance) = wrong_letters(self.differences.iter());
        (value, variance.sqrt())
    }
}

/// The differences outside the line's years: those are judged as a fact of their own, and what is
/// weighed twice would count double.
pub(super) fn beside_years<'a>(line: &'a Line, joint: &'a Joint) -> impl Iterator<Item = &'a Difference> {
    let in_year = |d: &Difference| {
        line.words.iter().map(|w| w.letters).any(|[from, to]| {
            is_year(&line.letters[from..to])
                && d.expected[0] < to
                && d.expected[1].max(d.expected[0] + 1) > from
        })
    };
    joint.differences.iter().filter(move |d| !in_year(d))
}

/// Expected number of wrong letters and its variance.
pub(super) fn wrong_letters<'a>(differences: impl Iterator<Item = &'a Difference>) -> (f64, f64) {
    differences.fold((0.0, 0.0), |(sum, variance), d| {
        let (n, p) = (d.letters() as f64, d.probability);
        (sum + n * p, variance + n * n * p * (1.0 - p))
    })
}

/// Reads a line in all its photos; nothing without one.
pub(super) fn join(line: &Line, seen: &[SeenLine]) -> Option<Joint> {
    let fit = |wording: &[char]| -> f64 { seen.iter().map(|s| s.columns.log_likelihood(wording)).sum() };
    let expected = fit(&line.letters);
    let mut shown: Option<(&SeenLine, f64)> = None;
    for one in seen {
        let gain = fit(&one.read.letters) - expected;
        if shown.is_none_or(|(_, best)| gain > best) {
            shown = Some((one, gain));
        }
    }
    let (shown, gain) = shown?;
    // A reading that fits worse than what is expected is none.
    let read = if gain > 0.0 { shown.read.letters.clone() } else { line.letters.clone() };
    let edits = align(&line.letters, &read);
    let whole = fit(&read);
    let stretches = stretches(&edits);
    let differences = stretches
        .iter()
        .take(MOST)
        .map(|(from, to)| {
            let mended: Vec<char> = edits
                .iter()
                .enumerate()
                .filter_map(|(k, edit)| {
                    let own = (*from..*to).contains(&k);
                    match *edit {
                        Edit::Same(_, j) => Some(read[j]),
                        Edit::Exchanged(i, j) => Some(if own { line.letters[i] } else { read[j] }),
                        Edit::LeftOut(i, _) => own.then(|| line.letters[i]),
                        Edit::PutIn(_, j) => (!own).then(|| read[j]),
                    }
                })
                .collect();
            let llr = whole - fit(&mended);
            let (start, end) = (expected_place(edits[*from]), expected_place(edits[*to - 1]));
            let end = end + usize::from(!matches!(edits[*to - 1], Edit::PutIn(..)));
            let said = edits[*from..*to].iter().filter_map(|edit| match edit {
                Edit::Exchanged(_, j) | Edit::PutIn(_, j) => Some(read[*j]),
                _ => None,
            });
            let said: Vec<char> = said.collect();
            // Letters that are merely not there may be under glare or a finger: whether something is
            // missing is asked of the contrast, not of the recogniser.
            let probability = if said.is_empty() { 0.0 } else { 1.0 / (1.0 + exp((SLIP.0 - llr) / SLIP.1)) };
            Difference { expected: [start, end], read: said, llr, probability }
        })
        .collect();
    let mut photos = vec![shown.photo];
    photos.extend(seen.iter().map(|s| s.photo).filter(|p| *p != shown.photo));
    Some(Joint {
        photos,
        read,
        differences,
        line_px: seen.iter().map(|s| s.line_px).fold(0.0, f64::max),
        edits,
    })
}

const fn expected_place(edit: Edit) -> usize {
    match edit {
        Edit::Same(i, _) | Edit::Exchanged(i, _) | Edit::LeftOut(i, _) | Edit::PutIn(i, _) => i,
    }
}

/// Runs of edits that differ.
fn stretches(edits: &[Edit]) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    for (k, _) in edits.iter().enumerate().filter(|(_, e)| e.differs()) {
        match out.last_mut() {
            Some(run) if run.1 == k => run.1 = k + 1,
            _ => out.push((k, k + 1)),
        }
    }
    out
}

/// What a printed year reads as.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Year {
    /// As expected.
    pub(super) expected: String,
    /// As read: as expected, another year, or no year at all.
    pub(super) read: Option<String>,
    /// Evidence for another year, natural logarithm; 0 where it reads as expected.
    pub(super) llr: f64,
}

/// The years of a line.
pub(super) fn years(line: &Line, joint: &Joint) -> Vec<Year> {
    line.words
        .iter()
        .filter(|w| is_year(&line.letters[w.letters[0]..w.letters[1]]))
        .map(|word| {
            let own = word.letters[0]..word.letters[1];
            let said: Vec<char> = joint
                .edits
                .iter()
                .filter_map(|edit| match *edit {
                    Edit::Same(i, j) | Edit::Exchanged(i, j) if own.contains(&i) => Some(joint.read[j]),
                    // A digit put in within the year belongs to it.
                    Edit::PutIn(i, j) if i > own.start && i < own.end => Some(joint.read[j]),
                    _ => None,
                })
                .collect();
            let llr = joint
                .differences
                .iter()
                .filter(|d| d.expected[0] < own.end && d.expected[1] > own.start)
                .map(|d| d.llr)
                .fold(0.0, f64::max);
            Year {
                expected: line.letters[own].iter().collect(),
                read: is_year(&said).then(|| said.into_iter().collect()),
                llr,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use casebook::units::RectMm;

    use super::*;
    use crate::words::cut::Frame;
    use crate::words::lines::Word;

    fn line(words: &[&str]) -> Line {
        let mut letters = Vec::new();
        let words = words
            .iter()
            .map(|w| {
                let first = letters.len();
                letters.extend(w.chars());
                Word { text: (*w).to_owned(), letters: [first, letters.len()] }
            })
            .collect();
        let middles = vec![None; letters.len()];
        let rect = RectMm { x: 0.0, y: 0.0, width: 30.0, height: 2.0 };
        Line { region: 0, frame: Frame { quarters: 0 }, rect, letters, words, middles }
    }

    /// Columns that say a text, each letter with a probability, the rest to another letter.
    fn seen(photo: usize, said: &[(char, char, f64)]) -> SeenLine {
        let mut letters: Vec<char> = said.iter().flat_map(|(a, b, _)| [*a, *b]).collect();
        letters.sort_unstable();
        letters.dedup();
        let mut p = Vec::new();
        for (a, b, share) in said {
            for blank in [0.002, 0.99] {
                let mut row = vec![1e-9; letters.len() + 1];
                row[0] = blank;
                row[1 + letters.binary_search(a).unwrap()] += (1.0 - blank) * share;
                row[1 + letters.binary_search(b).unwrap()] += (1.0 - blank) * (1.0 - share);
                p.extend(row);
            }
        }
        let columns = Columns::new(letters, &p).unwrap();
        let read = columns.best();
        SeenLine { photo, columns, read, line_px: 12.0 }
    }

    fn surely(text: &str) -> Vec<(char, char, f64)> {
        text.chars().map(|c| (c, if c == 'x' { 'y' } else { 'x' }, 0.9999)).collect()
    }

    #[test]
    fn another_year_is_found_and_named() {
        let line = line(&["kelp", "2019", "sons"]);
        let joint = join(&line, &[seen(0, &surely("kelp2024sons"))]).unwrap();
        let year = &years(&line, &joint)[0];
        assert_eq!((year.expected.as_str(), year.read.as_deref()), ("2019", Some("2024")));
        assert!(year.llr > 9.0 && joint.wrong_letters().0 > 0.3, "{joint:?}");
        assert_eq!(beside_years(&line, &joint).count(), 0, "a year is weighed once, as a fact");
    }

    #[test]
    fn a_slip_of_the_recogniser_is_no_fault() {
        let line = line(&["kelp", "2019"]);
        let mut said = surely("kelp2019");
        said[6] = ('l', '1', 0.7); // an l where a 1 is nearly as likely
        let joint = join(&line, &[seen(0, &said)]).unwrap();
        assert_eq!(joint.differences.len(), 1);
        assert!(joint.wrong_letters().0 < 0.05, "{:?}", joint.differences);
        // Another photo that reads the 1 surely leaves nothing of it.
        let joint = join(&line, &[seen(0, &said), seen(1, &surely("kelp2019"))]).unwrap();
        assert!(joint.differences.is_empty(), "{:?}", joint.differences);
    }

    #[test]
    fn letters_that_are_not_seen_count_for_nothing() {
        let line = line(&["kelp", "sons"]);
        let joint = join(&line, &[seen(0, &surely("kelps"))]).unwrap();
        assert_eq!(joint.wrong_letters().0, 0.0);
        assert!(join(&line, &[]).is_none());
    }
}
