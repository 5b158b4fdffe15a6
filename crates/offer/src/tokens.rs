//! Words of a listing, folded so that spelling habits do not matter: case, accents, width, hyphens.
//!
//! In: a title or a description. Out: tokens of letters or of digits, each with its place in the
//! text. Never here: what a word means.
//!
//! Sources: `uax15` (compatibility decomposition).

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// Longest text that is read, in tokens: a description of some thirty pages. What follows is ignored.
pub(crate) const MAX_TOKENS: usize = 8_000;

/// Which text of the offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// The listing's title.
    Title,
    /// The listing's description.
    Description,
}

/// Where words stand: bytes `start..end` of that part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// Title or description.
    pub part: Part,
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

/// One word or one number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Token {
    /// Folded: lower case, no accents, plain digits.
    pub(crate) text: String,
    pub(crate) start: usize,
    pub(crate) end: usize,
}

impl Token {
    pub(crate) fn is_number(&self) -> bool {
        self.text.starts_with(|c: char| c.is_ascii_digit())
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Letter,
    Digit,
    Break,
    /// Inside a word and of no weight: apostrophe, soft hyphen.
    Nothing,
}

fn kind(c: char) -> Kind {
    match c {
        '\'' | '’' | '‘' | 'ʼ' | '`' | '´' | '\u{ad}' | '\u{200b}' | '\u{200d}' | '\u{feff}' => {
            Kind::Nothing
        }
        c if is_combining_mark(c) => Kind::Nothing,
        c if c.is_ascii_digit() => Kind::Digit,
        c if c.is_alphanumeric() => Kind::Letter,
        _ => Kind::Break,
    }
}

/// Splits a text into folded tokens. `&` and `+` become the word "and", `×` and `*` the word "x".
pub(crate) fn tokens(text: &str) -> Vec<Token> {
    let mut out: Vec<Token> = Vec::new();
    let mut open: Option<(Token, Kind)> = None;
    for (at, original) in text.char_indices() {
        if out.len() >= MAX_TOKENS {
            break;
        }
        let end = at + original.len_utf8();
        let word = match original {
            '&' | '+' | '＆' | '＋' => Some("and"),
            '×' | '*' | '✕' | '✖' => Some("x"),
            _ => None,
        };
        if let Some(word) = word {
            out.extend(open.take().map(|(token, _)| token));
            out.push(Token { text: word.to_owned(), start: at, end });
            continue;
        }
        for folded in std::iter::once(original).nfkd().flat_map(char::to_lowercase).flat_map(letters) {
            match kind(folded) {
                Kind::Nothing => {}
                Kind::Break => out.extend(open.take().map(|(token, _)| token)),
                found => match &mut open {
                    Some((token, running)) if *running == found => {
                        token.text.push(folded);
                        token.end = end;
                    }
                    _ => {
                        out.extend(open.take().map(|(token, _)| token));
                        open = Some((Token { text: folded.to_string(), start: at, end }, found));
                    }
                },
            }
        }
    }
    out.extend(open.map(|(token, _)| token));
    out
}

/// Letters that decomposition leaves whole but English keyboards lack.
fn letters(c: char) -> impl Iterator<Item = char> {
    let replaced: &[char] = match c {
        'ß' => &['s', 's'],
        'æ' => &['a', 'e'],
        'œ' => &['o', 'e'],
        'ø' => &['o'],
        'ł' => &['l'],
        'đ' => &['d'],
        'ı' => &['i'],
        _ => &[],
    };
    let own = replaced.is_empty().then_some(c);
    replaced.iter().copied().chain(own)
}

/// Small counts that people write as words, and numbers.
pub(crate) fn count_of(token: &Token) -> Option<u32> {
    const WORDS: [(&str, u32); 15] = [
        ("one", 1),
        ("single", 1),
        ("two", 2),
        ("three", 3),
        ("four", 4),
        ("five", 5),
        ("six", 6),
        ("seven", 7),
        ("eight", 8),
        ("nine", 9),
        ("ten", 10),
        ("eleven", 11),
        ("twelve", 12),
        ("dozen", 12),
        ("pair", 2),
    ];
    if token.is_number() {
        return token.text.parse().ok().filter(|n| (1..=10_000).contains(n));
    }
    WORDS.iter().find(|(word, _)| *word == token.text).map(|(_, n)| *n)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<String> {
        tokens(text).into_iter().map(|t| t.text).collect()
    }

    #[test]
    fn folding_rows() {
        let rows: [(&str, &[&str]); 9] = [
            ("Kelpwright", &["kelpwright"]),
            ("KELPWRIGHT’s", &["kelpwrights"]),
            ("Brass-Estuary 36packs", &["brass", "estuary", "36", "packs"]),
            ("Ｂｒａｓｓ　Ｅｓｔｕａｒｙ", &["brass", "estuary"]),
            ("Brâss Estüary", &["brass", "estuary"]),
            ("bra\u{301}ss", &["brass"]),
            ("4× A & B", &["4", "x", "a", "and", "b"]),
            ("Straße Øre", &["strasse", "ore"]),
            ("  ", &[]),
        ];
        for (text, expected) in rows {
            assert_eq!(words(text), expected, "{text:?}");
        }
    }

    #[test]
    fn spans_point_into_the_text() {
        let text = "Zwölf Böxen, 12× „Brass“";
        for token in tokens(text) {
            assert!(text.get(token.start..token.end).is_some(), "{token:?}");
        }
    }
}
