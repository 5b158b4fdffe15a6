//! What each column of a line may show, and how well a wording fits all of them.
//!
//! In: a recogniser's probabilities. Out: [`Columns`]. Never here: the network.
//!
//! A wording is read when its letters appear in order, each in one column or several beside each other,
//! with any number of columns between that show no letter. The likelihood of a wording is the sum over
//! all such ways (`graves2006`, the forward variables). So what the recogniser holds for possible is
//! weighed, and not its first choice alone: an `l` read where an `I` is nearly as likely is no evidence
//! of a fault.

use casebook::elementary::{exp, ln};

/// Probability below which a letter is not told apart from impossible.
const LEAST: f64 = 1e-9;
/// Steps to which log-probabilities are rounded, so that the last bits of another machine's arithmetic
/// do not show.
const STEPS_PER_NAT: f64 = 256.0;
const NEVER: f64 = -1e30;

/// What the columns of one line may show, over the letters that matter for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Columns {
    /// The letters, sorted; class 0 of `log` is "no letter", class k the letter k − 1.
    letters: Vec<char>,
    /// Natural logarithms of probabilities, columns × (letters + 1).
    log: Vec<f64>,
}

/// The best reading of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Read {
    /// Its letters.
    pub letters: Vec<char>,
    /// First and last column of each letter.
    pub columns: Vec<(usize, usize)>,
    /// Mean over the letters of the highest probability within each: 0 to 1; 0 without letters.
    pub confidence: f64,
}

impl Columns {
    /// From probabilities.
    ///
    /// # Input
    /// `letters`: sorted, each once. `probabilities`: columns × (letters + 1), row by row, 0 to 1; the
    /// first of a row is that of no letter.
    ///
    /// # Result
    /// `None` when the shape is wrong or a letter stands twice.
    #[must_use]
    pub fn new(letters: Vec<char>, probabilities: &[f64]) -> Option<Self> {
        let classes = letters.len() + 1;
        if !letters.is_sorted_by(|a, b| a < b) || !probabilities.len().is_multiple_of(classes) {
            return None;
        }
        let log = probabilities.iter().map(|p| (ln(p.max(LEAST)) * STEPS_PER_NAT).round() / STEPS_PER_NAT);
        Some(Self { letters, log: log.collect() })
    }

    /// How many columns.
    #[must_use]
    pub fn count(&self) -> usize {
        self.log.len() / (self.letters.len() + 1)
    }

    fn class(&self, letter: char) -> Option<usize> {
        self.letters.binary_search(&letter).ok().map(|k| k + 1)
    }

    /// Natural logarithm of the probability that the line says this: of exactly these letters in this
    /// order, whatever stands between them.
    #[must_use]
    pub fn log_likelihood(&self, wording: &[char]) -> f64 {
        let width = self.letters.len() + 1;
        // No letter, letter, no letter, … ; `None`: a letter that no column holds for possible.
        let states: Vec<Option<usize>> =
            std::iter::once(Some(0)).chain(wording.iter().flat_map(|c| [self.class(*c), Some(0)])).collect();
        let mut forward = vec![NEVER; states.len()];
        for (t, column) in self.log.chunks(width).enumerate() {
            let of = |state: Option<usize>| state.map_or(ln(LEAST), |s| column[s]);
            if t == 0 {
                for (f, s) in forward.iter_mut().zip(&states).take(2) {
                    *f = of(*s);
                }
                continue;
            }
            for k in (0..states.len()).rev() {
                let mut sum = forward[k];
                if k >= 1 {
                    sum = add(sum, forward[k - 1]);
                }
                // A letter may follow the letter before directly, unless it is the same.
                if k >= 3 && k % 2 == 1 && wording[k / 2] != wording[k / 2 - 1] {
                    sum = add(sum, forward[k - 2]);
                }
                forward[k] = if sum <= NEVER { NEVER } else { sum + of(states[k]) };
            }
        }
        match forward.as_slice() {
            [] => NEVER,
            [only] => *only,
            [.., a, b] => add(*a, *b),
        }
    }

    /// The reading by the likeliest class of every column.
    #[must_use]
    pub fn best(&self) -> Read {
        let width = self.letters.len() + 1;
        let (mut letters, mut columns, mut sure): (Vec<char>, Vec<(usize, usize)>, Vec<f64>) =
            Default::default();
        let mut before = 0;
        for (t, column) in self.log.chunks(width).enumerate() {
            let top = (0..width).fold(0, |best, k| if column[k] > column[best] { k } else { best });
            if top > 0 {
                let p = exp(column[top]);
                match (columns.last_mut(), sure.last_mut()) {
                    (Some(span), Some(best)) if top == before => {
                        span.1 = t;
                        *best = f64::max(*best, p);
                    }
                    _ => {
                        letters.push(self.letters[top - 1]);
                        columns.push((t, t));
                        sure.push(p);
                    }
                }
            }
            before = top;
        }
        let confidence = if sure.is_empty() { 0.0 } else { sure.iter().sum::<f64>() / sure.len() as f64 };
        Read { letters, columns, confidence }
    }
}

/// ln(eᵃ + eᵇ).
fn add(a: f64, b: f64) -> f64 {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    if high <= NEVER || low - high < -40.0 { high } else { high + ln(1.0 + exp(low - high)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn columns(rows: &[[f64; 3]]) -> Columns {
        Columns::new(vec!['a', 'b'], &rows.concat()).unwrap()
    }

    /// Every way through the columns, collapsed: repeats joined, columns without letter dropped.
    fn by_hand(rows: &[[f64; 3]], wording: &[char]) -> f64 {
        let mut sum = 0.0;
        for way in 0..3_usize.pow(rows.len() as u32) {
            let classes: Vec<usize> = (0..rows.len()).map(|t| way / 3_usize.pow(t as u32) % 3).collect();
            let mut said = Vec::new();
            for (t, k) in classes.iter().enumerate() {
                if *k > 0 && (t == 0 || classes[t - 1] != *k) {
                    said.push(['a', 'b'][*k - 1]);
                }
            }
            if said == wording {
                sum += classes.iter().enumerate().map(|(t, k)| rows[t][*k]).product::<f64>();
            }
        }
        sum
    }

    proptest! {
        #[test]
        fn the_likelihood_is_the_sum_over_all_ways(
            rows in prop::collection::vec((0.05..1.0_f64, 0.05..1.0_f64, 0.05..1.0_f64), 1..7),
            wording in "[ab]{0,4}",
        ) {
            let rows: Vec<[f64; 3]> = rows.iter().map(|(a, b, c)| { let s = a + b + c; [a / s, b / s, c / s] }).collect();
            let wording: Vec<char> = wording.chars().collect();
            let (got, wanted) = (exp(columns(&rows).log_likelihood(&wording)), by_hand(&rows, &wording));
            // Each column is rounded to 1/256 nat, so up to 1/512 off.
            prop_assert!((got - wanted).abs() <= 0.02 * wanted + 1e-9, "{got} {wanted}");
        }
    }

    #[test]
    fn the_best_reading_joins_repeats_and_keeps_doubles() {
        let (n, a, b) = ([0.9, 0.05, 0.05], [0.1, 0.8, 0.1], [0.1, 0.3, 0.6]);
        let read = columns(&[a, a, n, a, b, b, n]).best();
        assert_eq!(read.letters, ['a', 'a', 'b']);
        assert_eq!(read.columns, [(0, 1), (3, 3), (4, 5)]);
        assert!((read.confidence - (0.8 + 0.8 + 0.6) / 3.0).abs() < 0.01);
    }

    #[test]
    fn a_letter_that_no_column_knows_is_nearly_impossible() {
        let line = columns(&[[0.1, 0.8, 0.1]; 4]);
        assert!(line.log_likelihood(&['z']) < line.log_likelihood(&['b']) - 5.0);
        assert!(Columns::new(vec!['b', 'a'], &[0.3; 3]).is_none());
    }
}
