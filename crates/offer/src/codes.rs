//! GTINs that a listing quotes: check digit, and whose they are in the catalogue.
//!
//! In: title and description. Out: the codes with their place. A code typed by a seller is not the
//! code on the item: it is passed on in words and weighs nothing.
//! Never here: codes read from photos (an examiner's), a weight.
//!
//! Sources: `gs1general` (lengths and check digit).

use casebook::catalogue::Catalogue;
use casebook::gtin;
use casebook::names::ProductId;

use crate::tokens::{Part, Span, Token};

/// Whose code it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CodeMatch {
    /// A product of the catalogue.
    Catalogued(ProductId),
    /// Right check digit; the catalogue does not know it.
    Unknown,
    /// Wrong check digit: no such GTIN can exist.
    WrongCheckDigit,
}

/// One code that the text quotes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CodeClaim {
    /// Its digits.
    pub digits: String,
    /// Whose it is.
    pub standing: CodeMatch,
    /// Where it stands.
    pub span: Span,
}

const KEYWORDS: [&str; 6] = ["gtin", "ean", "upc", "barcode", "jan", "code"];

/// Codes of one part. A bare run of digits counts only when it is long enough and right or
/// catalogued, because listings are full of other numbers; after a keyword it always counts.
pub(crate) fn find(text: &[Token], part: Part, catalogues: &[Catalogue]) -> Vec<CodeClaim> {
    let mut out: Vec<CodeClaim> = Vec::new();
    let mut at = 0;
    while at < text.len() {
        if !text[at].is_number() {
            at += 1;
            continue;
        }
        let named = (at.saturating_sub(3)..at).any(|i| KEYWORDS.contains(&text[i].text.as_str()));
        let (digits, to) = longest_code(text, at);
        let (Some(first), Some(last)) = (text.get(at), text.get(to - 1)) else { break };
        let span = Span { part, start: first.start, end: last.end };
        let proper = matches!(digits.len(), 8 | 12 | 13 | 14);
        if proper {
            let standing = standing(&digits, catalogues);
            let counts = match standing {
                CodeMatch::Catalogued(_) => true,
                CodeMatch::Unknown => named || digits.len() > 8,
                CodeMatch::WrongCheckDigit => named,
            };
            if counts {
                out.push(CodeClaim { digits, standing, span });
            }
        }
        at = to;
    }
    out
}

/// Digits from `at` on, joined over spaces and hyphens ("2 004173 001107") while that makes the
/// length of a GTIN with a right check digit; the single token otherwise.
fn longest_code(text: &[Token], at: usize) -> (String, usize) {
    let mut joined = String::new();
    let mut best = (text[at].text.clone(), at + 1);
    for (to, token) in text.iter().enumerate().skip(at) {
        if !token.is_number() || joined.len() + token.text.len() > 14 {
            break;
        }
        // Groups of one code stand close together.
        if to > at && token.start > text[to - 1].end + 1 {
            break;
        }
        joined.push_str(&token.text);
        if gtin::is_valid(&joined) {
            best = (joined.clone(), to + 1);
        }
    }
    best
}

fn standing(digits: &str, catalogues: &[Catalogue]) -> CodeMatch {
    let plain = digits.trim_start_matches('0');
    for catalogue in catalogues {
        for product in &catalogue.products {
            // A GTIN-12 is the GTIN-13 with a zero before it.
            if product.gtins.iter().any(|gtin| gtin.trim_start_matches('0') == plain)
                && let Ok(id) = catalogue.product_id(product)
            {
                return CodeMatch::Catalogued(id);
            }
        }
    }
    if gtin::is_valid(digits) { CodeMatch::Unknown } else { CodeMatch::WrongCheckDigit }
}
