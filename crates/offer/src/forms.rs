//! Which form a text offers: pack, box, blister, tin or case; and how many.
//!
//! In: tokens. Out: the forms that are offered, without those that are only the origin ("packs from
//! a sealed box"), the contents ("box of 36 packs"), denied ("no box") or something else altogether
//! ("acrylic case", "pack fresh"). Never here: releases, standing.

use casebook::catalogue::Form;

use crate::distance::within;
use crate::tokens::{Token, count_of};

/// A form that the text offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct FormHit {
    pub(crate) form: Form,
    /// First token and one past the last.
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// How many are offered, when the text says so.
    pub(crate) count: Option<u32>,
    /// How many smaller ones it says to hold.
    pub(crate) holds: Option<u32>,
    /// Whether the very word was mistyped.
    pub(crate) mistyped: bool,
    /// Bare "booster": usually a pack, but a modifier before "box".
    bare: bool,
}

/// Words of the trade, longest phrase first.
const WORDS: [(&[&str], Form); 26] = [
    (&["blister", "pack"], Form::Blister),
    (&["carded", "pack"], Form::Blister),
    (&["booster", "pack"], Form::Pack),
    (&["booster", "packet"], Form::Pack),
    (&["foil", "pack"], Form::Pack),
    (&["booster", "box"], Form::Box),
    (&["booster", "display"], Form::Box),
    (&["display", "box"], Form::Box),
    (&["pack", "box"], Form::Box),
    (&["master", "case"], Form::Case),
    (&["booster", "case"], Form::Case),
    (&["shipping", "case"], Form::Case),
    (&["boosterpack"], Form::Pack),
    (&["boosterbox"], Form::Box),
    (&["blister"], Form::Blister),
    (&["pack"], Form::Pack),
    (&["packet"], Form::Pack),
    (&["booster"], Form::Pack),
    (&["box"], Form::Box),
    (&["bx"], Form::Box),
    (&["boxe"], Form::Box),
    (&["display"], Form::Box),
    (&["tin"], Form::Tin),
    (&["case"], Form::Case),
    (&["carton"], Form::Case),
    (&["pck"], Form::Pack),
];

/// Form words beyond this many in one text are ignored.
const MAX_FORMS: usize = 256;

/// Before a form word these make it something else.
const OTHER_THINGS: [&str; 17] = [
    "shipping",
    "cardboard",
    "storage",
    "plain",
    "acrylic",
    "protective",
    "protector",
    "magnetic",
    "empty",
    "gift",
    "letter",
    "mail",
    "post",
    "plastic",
    "perspex",
    "pizza",
    "deck",
];

/// After a form word these make it something else: "box topper", "pack fresh", "case break".
const OTHER_ENDS: [&str; 9] =
    ["topper", "toppers", "break", "breaks", "fresh", "art", "opening", "cutter", "protector"];

const DENIALS: [&str; 6] = ["no", "not", "without", "minus", "sans", "never"];
const ORIGINS: [&str; 5] = ["from", "ex", "off", "pulled", "out"];
const HOLDS: [&str; 9] =
    ["of", "with", "containing", "contains", "holds", "holding", "including", "includes", "incl"];

/// The word without its plural: "boxes" → "box", "packs" → "pack".
fn same_word(token: &str, word: &str) -> Option<bool> {
    let singular = [token.strip_suffix("es"), token.strip_suffix('s'), Some(token)];
    if singular.iter().flatten().any(|t| *t == word) {
        return Some(false);
    }
    // Short words have too many neighbours (box, bow, fox); these are the known slips of "pack".
    if word == "pack" && matches!(token, "pakc" | "pakcs" | "packe" | "apck") {
        return Some(true);
    }
    if word.len() >= 6 && token.chars().next() == word.chars().next() {
        let stem = token.strip_suffix('s').unwrap_or(token);
        if within(stem, word, 1).is_some() {
            return Some(true);
        }
    }
    None
}

fn raw_hits(text: &[Token]) -> Vec<FormHit> {
    let mut hits = Vec::new();
    let mut at = 0;
    while at < text.len() && hits.len() < MAX_FORMS {
        let found = WORDS.iter().find_map(|(phrase, form)| {
            let window = text.get(at..at + phrase.len())?;
            let slips: Option<Vec<bool>> =
                window.iter().zip(*phrase).map(|(token, word)| same_word(&token.text, word)).collect();
            Some((*phrase, *form, slips?.contains(&true)))
        });
        match found {
            Some((phrase, form, mistyped)) => {
                let to = at + phrase.len();
                hits.push(FormHit {
                    form,
                    from: at,
                    to,
                    count: None,
                    holds: None,
                    mistyped,
                    bare: *phrase == ["booster"],
                });
                at = to;
            }
            None => at += 1,
        }
    }
    hits
}

/// Joins neighbours into one thing: "pack box", "display booster", "blister pack". The larger
/// container names the thing; a blister or tin beside "box" stays what it is.
fn join_neighbours(hits: Vec<FormHit>) -> Vec<FormHit> {
    let mut joined: Vec<FormHit> = Vec::new();
    for hit in hits {
        match joined.last_mut() {
            Some(last) if last.to == hit.from => {
                // "booster box packs": which of the two is sold stays open, so both are kept.
                if last.form == Form::Box && hit.form == Form::Pack && !hit.bare && !last.bare {
                    joined.push(hit);
                    continue;
                }
                last.form = container(last.form, hit.form);
                last.to = hit.to;
                last.mistyped |= hit.mistyped;
                last.bare = false;
            }
            _ => joined.push(hit),
        }
    }
    joined
}

/// What can hold what.
const fn rank(form: Form) -> u8 {
    match form {
        Form::Pack => 0,
        Form::Blister | Form::Tin => 1,
        Form::Box => 2,
        Form::Case => 3,
    }
}

fn container(a: Form, b: Form) -> Form {
    const RANK: [Form; 5] = [Form::Blister, Form::Tin, Form::Case, Form::Box, Form::Pack];
    RANK.into_iter().find(|form| *form == a || *form == b).unwrap_or(a)
}

/// The forms that a text offers, in text order.
pub(crate) fn find(text: &[Token]) -> Vec<FormHit> {
    let mut raw = raw_hits(text);
    drop_furniture(&mut raw, text);
    let mut hits = join_neighbours(raw);
    let all = hits.clone();
    hits.retain(|hit| is_offered(hit, &all, text));
    for hit in &mut hits {
        hit.count = count_beside(hit, text);
    }
    settle_contents(&mut hits, text);
    hits
}

/// "display case" is furniture.
fn drop_furniture(hits: &mut Vec<FormHit>, text: &[Token]) {
    let mut at = 0;
    while at + 1 < hits.len() {
        let (first, second) = (&hits[at], &hits[at + 1]);
        let is_display = first.to == first.from + 1 && word(text, first.from) == "display";
        if is_display && second.form == Form::Case && first.to == second.from {
            hits.drain(at..at + 2);
        } else {
            at += 1;
        }
    }
}

fn word(text: &[Token], at: usize) -> &str {
    text.get(at).map_or("", |t| t.text.as_str())
}

fn is_offered(hit: &FormHit, all: &[FormHit], text: &[Token]) -> bool {
    let before = hit.from.checked_sub(1).map_or("", |at| word(text, at));
    if OTHER_THINGS.contains(&before) || OTHER_ENDS.contains(&word(text, hit.to)) {
        return false;
    }
    // Look back up to four words, not past another form or an "and".
    let stop = all.iter().filter(|other| other.to <= hit.from).map(|other| other.to).max().unwrap_or(0);
    for at in (stop.max(hit.from.saturating_sub(4))..hit.from).rev() {
        let seen = word(text, at);
        if seen == "and" {
            break;
        }
        if DENIALS.contains(&seen) || ORIGINS.contains(&seen) {
            return false;
        }
    }
    true
}

/// "4 packs", "4 x packs", "lot of 4 sealed packs", "packs x4", "pack of 4".
fn count_beside(hit: &FormHit, text: &[Token]) -> Option<u32> {
    for back in 1..=3 {
        let Some(at) = hit.from.checked_sub(back) else { break };
        let token = &text[at];
        if let Some(count) = count_of(token) {
            return Some(count);
        }
        if !matches!(
            token.text.as_str(),
            "x" | "sealed" | "new" | "factory" | "unopened" | "booster" | "of" | "ct"
        ) {
            break;
        }
    }
    if word(text, hit.to) == "x" {
        return text.get(hit.to + 1).filter(|t| t.is_number()).and_then(count_of);
    }
    None
}

/// Drops what a larger container only holds.
fn settle_contents(hits: &mut Vec<FormHit>, text: &[Token]) {
    let mut at = 0;
    while at + 1 < hits.len() {
        let (first, second) = (hits[at].clone(), hits[at + 1].clone());
        let between: Vec<&str> = (first.to..second.from).map(|i| word(text, i)).collect();
        let apart = between.contains(&"and") || between.len() > 6;
        let holds = !apart && rank(first.form) > rank(second.form) && second.count.is_some();
        let held = !apart && rank(first.form) < rank(second.form) && is_held(&first, &between);
        if holds {
            hits[at].holds = second.count;
            hits.remove(at + 1);
        } else if held {
            hits[at + 1].holds = first.count;
            if hits[at + 1].count == first.count {
                hits[at + 1].count = None;
            }
            hits.remove(at);
        } else {
            at += 1;
        }
    }
    // "36-pack box" is one hit with the packs' number before it.
    for hit in hits.iter_mut() {
        let first = word(text, hit.from);
        if hit.form == Form::Box && hit.holds.is_none() && same_word(first, "pack").is_some() {
            hit.holds = hit.count.take();
        }
        // "box of 36", "box 36 ct"
        let mut next = hit.to;
        if HOLDS.contains(&word(text, next)) {
            next += 1;
        }
        let counted = text.get(next).filter(|t| t.is_number()).and_then(count_of);
        let unit = word(text, next + 1);
        if hit.form != Form::Pack && hit.holds.is_none() && (next > hit.to || matches!(unit, "ct" | "count"))
        {
            hit.holds = counted;
        }
    }
}

/// "36 packs per box", "36 packs in sealed box", "36 packs sealed box".
fn is_held(pack: &FormHit, between: &[&str]) -> bool {
    between.iter().any(|w| matches!(*w, "per" | "in" | "a" | "each"))
        || (pack.count.is_some_and(|n| n >= 10) && between.iter().all(|w| *w != "or"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tokens::tokens;

    #[test]
    fn forms_and_traps() {
        use Form::{Blister, Box, Case, Pack, Tin};
        type Row = (&'static str, &'static [(Form, Option<u32>, Option<u32>)]);
        let rows: [Row; 33] = [
            ("booster box", &[(Box, None, None)]),
            ("Booster Boxes", &[(Box, None, None)]),
            ("sealed display", &[(Box, None, None)]),
            ("display booster", &[(Box, None, None)]),
            ("bosster box", &[(Box, None, None)]),
            ("boosterbox", &[(Box, None, None)]),
            ("booster pack", &[(Pack, None, None)]),
            ("4 booster packs", &[(Pack, Some(4), None)]),
            ("4x sealed booster packs", &[(Pack, Some(4), None)]),
            ("booster packs x4", &[(Pack, Some(4), None)]),
            ("lot of three packs", &[(Pack, Some(3), None)]),
            ("booster", &[(Pack, None, None)]),
            ("box of 36 packs", &[(Box, None, Some(36))]),
            ("box (36 packs)", &[(Box, None, Some(36))]),
            ("36-pack box", &[(Box, None, Some(36))]),
            ("36 packs sealed box", &[(Box, None, Some(36))]),
            ("36 packs per box", &[(Box, None, Some(36))]),
            ("booster box 36ct", &[(Box, None, Some(36))]),
            ("2 boxes of 36 packs each", &[(Box, Some(2), Some(36))]),
            ("pack from a sealed booster box", &[(Pack, None, None)]),
            ("3 packs out of booster box", &[(Pack, Some(3), None)]),
            ("36 packs, no box", &[(Pack, Some(36), None)]),
            ("36 packs without the box", &[(Pack, Some(36), None)]),
            ("36 loose packs", &[(Pack, None, None)]),
            ("box and 3 packs", &[(Box, None, None), (Pack, Some(3), None)]),
            ("pack fresh cards", &[]),
            ("box topper", &[]),
            ("booster box in acrylic case", &[(Box, None, None)]),
            ("booster box, display case not included", &[(Box, None, None)]),
            ("case fresh booster box", &[(Box, None, None)]),
            ("blister pack", &[(Blister, None, None)]),
            ("sealed case of 6 booster boxes", &[(Case, None, Some(6))]),
            ("tin", &[(Tin, None, None)]),
        ];
        let mut misses = String::new();
        for (text, expected) in rows {
            let found: Vec<_> = find(&tokens(text)).iter().map(|h| (h.form, h.count, h.holds)).collect();
            if found != expected {
                misses += &format!("{text:?}: expected {expected:?}, found {found:?}\n");
            }
        }
        assert!(misses.is_empty(), "{misses}");
    }
}
