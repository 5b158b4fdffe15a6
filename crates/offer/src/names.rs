//! Names of lines and releases found in a text, exactly, joined, split or mistyped.
//!
//! In: tokens and the catalogue's names with their aliases. Out: hits with their number of typing
//! errors. Never here: forms, standing, findings.

use casebook::names::Slug;

use crate::distance::{budget, within};
use crate::tokens::{Token, tokens};

/// A name found in a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Hit {
    /// First token and one past the last.
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// Typing errors between the text and the name.
    pub(crate) errors: usize,
    /// Letters of the name.
    pub(crate) letters: usize,
}

impl Hit {
    /// 1 for the exact name, less by the share of wrong letters.
    pub(crate) fn likeness(&self) -> f64 {
        1.0 - self.errors as f64 / self.letters.max(1) as f64
    }

    pub(crate) fn overlaps(&self, other: &Self) -> bool {
        self.from < other.to && other.from < self.to
    }
}

/// Every spelling of a name, folded into tokens: as printed, the aliases, the path name.
pub(crate) fn spellings(id: &Slug, name: &str, aliases: &[String]) -> Vec<Vec<String>> {
    let mut out: Vec<Vec<String>> = Vec::new();
    let all = std::iter::once(name).chain(aliases.iter().map(String::as_str)).chain([id.as_str()]);
    for spelling in all {
        let words: Vec<String> = tokens(spelling).into_iter().map(|t| t.text).collect();
        if !words.is_empty() && !out.contains(&words) {
            out.push(words);
        }
    }
    out
}

fn digits(text: &str) -> impl Iterator<Item = char> + '_ {
    text.chars().filter(char::is_ascii_digit)
}

/// Typing errors between a window of tokens and a spelling, `None` when they are different names.
/// Digits must agree exactly: the third release is no misprint of the second. So must first
/// letters, because people rarely mistype them and other names often differ there.
fn errors(window: &[Token], spelling: &[String]) -> Option<usize> {
    if window.len() == spelling.len() {
        let mut sum = 0;
        for (token, word) in window.iter().zip(spelling) {
            if token.text == *word {
                continue;
            }
            if token.text.chars().next() != word.chars().next() || !digits(&token.text).eq(digits(word)) {
                return None;
            }
            sum += within(&token.text, word, budget(word.chars().count()))?;
        }
        return (sum <= 2).then_some(sum);
    }
    let joined: String = window.iter().map(|t| t.text.as_str()).collect();
    let name: String = spelling.concat();
    if joined.chars().next() != name.chars().next() || !digits(&joined).eq(digits(&name)) {
        return None;
    }
    // A word too many or too few is already a difference: one typing error beside it at most.
    within(&joined, &name, budget(name.chars().count()).min(1))
}

/// Every place where one of the spellings stands, best reading of each place, in text order.
pub(crate) fn find(text: &[Token], spellings: &[Vec<String>]) -> Vec<Hit> {
    let mut hits: Vec<Hit> = Vec::new();
    for spelling in spellings {
        let letters = spelling.iter().map(|w| w.chars().count()).sum();
        for width in spelling.len().saturating_sub(1).max(1)..=spelling.len() + 1 {
            for (from, window) in text.windows(width).enumerate() {
                if let Some(errors) = errors(window, spelling) {
                    hits.push(Hit { from, to: from + width, errors, letters });
                }
            }
        }
    }
    best(hits, |hit| hit)
}

/// Keeps the best of overlapping hits: fewest errors for its length, then longest, then first.
pub(crate) fn best<T>(mut all: Vec<T>, hit: impl Fn(&T) -> &Hit) -> Vec<T> {
    all.sort_by(|a, b| {
        let (a, b) = (hit(a), hit(b));
        let order = (a.errors * b.letters).cmp(&(b.errors * a.letters));
        order.then(b.letters.cmp(&a.letters)).then(a.from.cmp(&b.from)).then(a.to.cmp(&b.to))
    });
    let mut kept: Vec<T> = Vec::new();
    for candidate in all {
        if !kept.iter().any(|other| hit(other).overlaps(hit(&candidate))) {
            kept.push(candidate);
        }
    }
    kept.sort_by_key(|each| hit(each).from);
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_what_is_none() {
        let spellings = spellings(&"brass-estuary".parse().unwrap(), "Brass Estuary", &[]);
        let rows = [
            ("kelpwright brass estuary box", Some(0)),
            ("BRASSESTUARY", Some(0)),
            ("bra ss estuary", Some(0)),
            ("Bras Estuary", Some(1)),
            ("Brass Esturay", Some(1)),
            ("brass estaury", Some(1)),
            ("brass estaury's", None), // two slips in one word
            ("Grass Estuary", None),
            ("Glass Estuary", None),
            ("Brass Estuary 2", Some(0)),
            ("Brass 2 Estuary", None),
            ("estuary of brass", None),
        ];
        for (text, expected) in rows {
            let found = find(&tokens(text), &spellings).first().map(|hit| hit.errors);
            assert_eq!(found, expected, "{text}");
        }
    }
}
