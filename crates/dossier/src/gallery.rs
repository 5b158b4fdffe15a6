//! Which picture stands where: aligned pairs with their difference map, end seals one above the
//! other, curves, the rest. And the number of each figure.
//!
//! In: findings and pictures. Out: [`Gallery`]. Pictures say what they are through words of their
//! id, separated by any of `- _ / : .`:
//!
//! - `offered` and `reference` make a pair when the rest of the id is the same; a picture with
//!   `difference` instead stands with them (`a/print/front/offered`, `a/print/front/reference`, …);
//! - pictures of the examiners `end-seal`, `crimp` and `cut-edge` are seals; `top` comes before
//!   `bottom`, images before curves;
//! - every other picture is shown after them, so none is lost.
//!
//! Never here: drawing.

use casebook::opinion::ItemReport;
use casebook::picture::{Content, Picture};

/// Examiners whose pictures show the ends of a pack.
const SEAL_EXAMINERS: [&str; 3] = ["end-seal", "crimp", "cut-edge"];

/// The pictures of one item in the order they are shown.
#[derive(Debug, Default)]
pub(crate) struct Gallery<'a> {
    pub(crate) aligned: Vec<Aligned<'a>>,
    pub(crate) seals: Vec<Shown<'a>>,
    pub(crate) rest: Vec<Shown<'a>>,
}

/// One picture with its number.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shown<'a> {
    pub(crate) number: usize,
    pub(crate) picture: &'a Picture,
}

/// The offered item and the reference, aligned, and where they differ.
#[derive(Debug, Default)]
pub(crate) struct Aligned<'a> {
    stem: String,
    pub(crate) reference: Option<Shown<'a>>,
    pub(crate) offered: Option<Shown<'a>>,
    pub(crate) difference: Option<Shown<'a>>,
}

/// Hands out figure numbers and sees to it that no picture is shown twice.
#[derive(Debug, Default)]
pub(crate) struct Numbering<'a> {
    taken: Vec<&'a str>,
}

impl<'a> Numbering<'a> {
    /// The number of a picture that is already placed.
    pub(crate) fn of(&self, id: &str) -> Option<usize> {
        self.taken.iter().position(|taken| *taken == id).map(|index| index + 1)
    }

    fn take(&mut self, picture: &'a Picture) -> Shown<'a> {
        self.taken.push(&picture.id);
        Shown { number: self.taken.len(), picture }
    }
}

/// The role that a word of an id gives.
fn role(id: &str) -> Option<(&'static str, String)> {
    let words: Vec<&str> = id.split(['-', '_', '/', ':', '.']).collect();
    let place = words.iter().rposition(|w| matches!(*w, "offered" | "reference" | "difference"))?;
    let stem: Vec<&str> = words.iter().enumerate().filter(|(i, _)| *i != place).map(|(_, w)| *w).collect();
    let name = match words[place] {
        "offered" => "offered",
        "reference" => "reference",
        _ => "difference",
    };
    Some((name, stem.join(" ")))
}

/// Sorts the pictures that an item's findings name.
pub(crate) fn of_item<'a>(
    item: &ItemReport,
    pictures: &'a [Picture],
    numbering: &mut Numbering<'a>,
) -> Gallery<'a> {
    let mut gallery = Gallery::default();
    let (mut pairs, mut seals, mut rest): (Vec<&Picture>, Vec<&Picture>, Vec<&Picture>) = Default::default();
    let mut seen: Vec<&str> = Vec::new();
    for finding in &item.findings {
        for id in &finding.pictures {
            let Some(picture) = pictures.iter().find(|p| p.id == *id) else { continue };
            if seen.contains(&picture.id.as_str()) || numbering.of(id).is_some() {
                continue;
            }
            seen.push(&picture.id);
            let is_image = matches!(picture.content, Content::Image { .. });
            if SEAL_EXAMINERS.contains(&finding.examiner.as_str()) {
                seals.push(picture);
            } else if is_image && role(id).is_some() {
                pairs.push(picture);
            } else {
                rest.push(picture);
            }
        }
    }
    // Groups in the order of their first picture; within one, reference, offered, difference.
    let mut stems: Vec<String> = Vec::new();
    for (_, stem) in pairs.iter().filter_map(|p| role(&p.id)) {
        if !stems.contains(&stem) {
            stems.push(stem);
        }
    }
    for stem in stems {
        let mut group = Aligned { stem, ..Aligned::default() };
        let mut pick = |name: &str, stem: &str| {
            let found = pairs.iter().find(|p| role(&p.id).is_some_and(|(n, s)| n == name && s == stem));
            found.map(|p| numbering.take(p))
        };
        group.reference = pick("reference", &group.stem);
        group.offered = pick("offered", &group.stem);
        group.difference = pick("difference", &group.stem);
        gallery.aligned.push(group);
    }
    seals.sort_by_key(|p| seal_order(p));
    gallery.seals = seals.into_iter().map(|p| numbering.take(p)).collect();
    gallery.rest = rest.into_iter().map(|p| numbering.take(p)).collect();
    gallery
}

/// Pictures that no finding names, after everything else.
pub(crate) fn unnamed<'a>(pictures: &'a [Picture], numbering: &mut Numbering<'a>) -> Vec<Shown<'a>> {
    let left: Vec<&Picture> = pictures.iter().filter(|p| numbering.of(&p.id).is_none()).collect();
    left.into_iter().map(|p| numbering.take(p)).collect()
}

/// Images before curves, the top seal before the bottom seal.
fn seal_order(picture: &Picture) -> (bool, u8) {
    let is_plot = matches!(picture.content, Content::Plot(_));
    let words: Vec<&str> = picture.id.split(['-', '_', '/', ':', '.']).collect();
    let end = match () {
        () if words.contains(&"top") => 0,
        () if words.contains(&"bottom") => 1,
        () => 2,
    };
    (is_plot, end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roles_are_words_of_the_id() {
        let rows = [
            ("a/print/front/offered", Some(("offered", "a print front"))),
            ("a-print-front-reference", Some(("reference", "a print front"))),
            ("difference.a", Some(("difference", "a"))),
            ("a-preferenced", None),
            ("top-seal", None),
        ];
        for (id, expected) in rows {
            assert_eq!(role(id).as_ref().map(|(n, s)| (*n, s.as_str())), expected, "{id}");
        }
    }
}
