//! Sale words: what the seller writes about searching, weighing, opening, returns.
//!
//! In: tokens of title and description. Out: the words with their place and whether they are
//! denied ("not weighed"). They are facts about the offer for the user's decision. They are no
//! evidence about the item, in neither direction: "unsearched" proves nothing, and neither does
//! "no returns".
//! Never here: a weight, a finding.

use crate::tokens::{Part, Span, Token};

/// What a sale word speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SaleWordKind {
    /// Searched, mapped, picked.
    Searched,
    /// Weighed, light, heavy.
    Weighed,
    /// Opened, empty, repacked.
    Opened,
    /// Replica, proxy, custom, made by fans.
    NotOriginal,
    /// Factory sealed, unopened.
    SealedSaid,
    /// No returns, sold as seen.
    NoReturns,
    /// Stock photo, picture for illustration.
    StockPhoto,
}

/// One sale word where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SaleWord {
    /// What it speaks of.
    pub kind: SaleWordKind,
    /// Whether the text denies it: "unsearched", "not weighed".
    pub denied: bool,
    /// Where it stands.
    pub span: Span,
    /// The words as written.
    pub words: String,
}

const PHRASES: [(&[&str], SaleWordKind, bool); 42] = [
    (&["searched"], SaleWordKind::Searched, false),
    (&["unsearched"], SaleWordKind::Searched, true),
    (&["mapped"], SaleWordKind::Searched, false),
    (&["unmapped"], SaleWordKind::Searched, true),
    (&["picked"], SaleWordKind::Searched, false),
    (&["weighed"], SaleWordKind::Weighed, false),
    (&["weighted"], SaleWordKind::Weighed, false),
    (&["unweighed"], SaleWordKind::Weighed, true),
    (&["unweighted"], SaleWordKind::Weighed, true),
    (&["heavy", "pack"], SaleWordKind::Weighed, false),
    (&["heavy", "packs"], SaleWordKind::Weighed, false),
    (&["light", "pack"], SaleWordKind::Weighed, false),
    (&["light", "packs"], SaleWordKind::Weighed, false),
    (&["opened"], SaleWordKind::Opened, false),
    (&["unopened"], SaleWordKind::SealedSaid, false),
    (&["resealed"], SaleWordKind::Opened, false),
    (&["reclosed"], SaleWordKind::Opened, false),
    (&["repacked"], SaleWordKind::Opened, false),
    (&["repack"], SaleWordKind::Opened, false),
    (&["empty", "box"], SaleWordKind::Opened, false),
    (&["empty", "pack"], SaleWordKind::Opened, false),
    (&["empty", "wrapper"], SaleWordKind::Opened, false),
    (&["replica"], SaleWordKind::NotOriginal, false),
    (&["proxy"], SaleWordKind::NotOriginal, false),
    (&["reproduction"], SaleWordKind::NotOriginal, false),
    (&["repro"], SaleWordKind::NotOriginal, false),
    (&["fan", "made"], SaleWordKind::NotOriginal, false),
    (&["custom", "made"], SaleWordKind::NotOriginal, false),
    (&["factory", "sealed"], SaleWordKind::SealedSaid, false),
    (&["still", "sealed"], SaleWordKind::SealedSaid, false),
    (&["sealed"], SaleWordKind::SealedSaid, false),
    (&["unsealed"], SaleWordKind::SealedSaid, true),
    (&["no", "returns"], SaleWordKind::NoReturns, false),
    (&["no", "return"], SaleWordKind::NoReturns, false),
    (&["no", "refunds"], SaleWordKind::NoReturns, false),
    (&["no", "refund"], SaleWordKind::NoReturns, false),
    (&["all", "sales", "final"], SaleWordKind::NoReturns, false),
    (&["sold", "as", "seen"], SaleWordKind::NoReturns, false),
    (&["sold", "as", "is"], SaleWordKind::NoReturns, false),
    (&["returns", "not", "accepted"], SaleWordKind::NoReturns, false),
    (&["stock", "photo"], SaleWordKind::StockPhoto, false),
    (&["stock", "image"], SaleWordKind::StockPhoto, false),
];

const DENIALS: [&str; 9] = ["not", "never", "no", "isnt", "wasnt", "havent", "nor", "without", "un"];

/// Every sale word of one part of the offer.
pub(crate) fn find(text: &[Token], source: &str, part: Part) -> Vec<SaleWord> {
    let mut out: Vec<SaleWord> = Vec::new();
    let (mut at, mut last_end) = (0, 0);
    while at < text.len() {
        let longest = PHRASES
            .iter()
            .filter(|(phrase, ..)| {
                text.get(at..at + phrase.len())
                    .is_some_and(|w| w.iter().zip(*phrase).all(|(t, p)| t.text == **p))
            })
            .max_by_key(|(phrase, ..)| phrase.len());
        let Some((phrase, kind, denied)) = longest else {
            at += 1;
            continue;
        };
        // "not been weighed"; "never weighed or searched" denies both.
        let last: Option<&SaleWord> = out.last();
        let free = last_end.max(at.saturating_sub(3))..at;
        let before = &text[free.clone()];
        let carried = last.is_some_and(|word| word.denied)
            && before.len() == 1
            && free.start == last_end
            && matches!(before[0].text.as_str(), "or" | "nor");
        let own_denial = *kind != SaleWordKind::NoReturns
            && (carried || before.iter().any(|token| DENIALS.contains(&token.text.as_str())));
        let (start, end) = (text[at].start, text[at + phrase.len() - 1].end);
        out.push(SaleWord {
            kind: *kind,
            denied: *denied != own_denial,
            span: Span { part, start, end },
            words: source.get(start..end).unwrap_or_default().to_owned(),
        });
        at += phrase.len();
        last_end = at;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tokens::tokens;

    #[test]
    fn words_and_denials() {
        use SaleWordKind::{NoReturns, NotOriginal, Opened, SealedSaid, Searched, Weighed};
        let rows: [(&str, &[(SaleWordKind, bool)]); 10] = [
            ("unsearched and unweighed", &[(Searched, true), (Weighed, true)]),
            ("has not been weighed", &[(Weighed, true)]),
            ("never weighed or searched", &[(Weighed, true), (Searched, true)]),
            ("not sealed, searched", &[(SealedSaid, true), (Searched, false)]),
            ("Factory Sealed!", &[(SealedSaid, false)]),
            ("not sealed", &[(SealedSaid, true)]),
            ("resealed", &[(Opened, false)]),
            ("No returns, sold as seen", &[(NoReturns, false), (NoReturns, false)]),
            ("proxy pack", &[(NotOriginal, false)]),
            ("lovely pack", &[]),
        ];
        for (text, expected) in rows {
            let found: Vec<_> =
                find(&tokens(text), text, Part::Title).iter().map(|w| (w.kind, w.denied)).collect();
            assert_eq!(found, expected, "{text}");
        }
    }
}
