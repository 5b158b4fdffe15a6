//! Which faces of a library a photo may show, without comparing it with each: an inverted file.
//!
//! In: signatures of the faces' descriptions, then those of a photo's. Out: a short list of faces, most
//! likely first. Never here: geometry, a decision; whoever is on the list is still to be matched.
//!
//! A description becomes 64 signs of fixed projections, so that like descriptions differ in few signs.
//! The signs are cut into four words of 16; descriptions that differ in up to seven signs share a word
//! but for one sign, and are found by looking up each word and its 16 neighbours. A feature of the
//! photo has one vote, shared by all faces that have one like it: a wordmark that a whole line carries
//! names nobody.
//! Sources: `charikar2002` (signs of projections), `norouzi2012` (search by parts of the signs).

use crate::features::{Features, LENGTH};
use crate::robust::Random;

/// Signs of a signature, and of one word of it.
const SIGNS: usize = 64;
const WORD: usize = 16;
const WORDS: usize = SIGNS / WORD;
/// Descriptions that differ in more signs are not alike. Of pairs at random it passes about one in
/// 20,000 (binomial, 64 fair signs).
const MOST_APART: u32 = 16;
/// Seed of the projections; another one gives other signatures.
const SEED: u64 = 0x6b65_6c70;

/// Fixed projections of a description onto signs.
pub(crate) struct Projections(Vec<[i16; LENGTH]>);

impl Projections {
    /// Rows of as many +1 as −1, drawn from a fixed seed.
    pub(crate) fn new() -> Self {
        let mut random = Random(SEED);
        let row = |_| {
            let mut row = [1i16; LENGTH];
            row[..LENGTH / 2].fill(-1);
            // Shuffled after Fisher and Yates.
            for last in (1..LENGTH).rev() {
                let other = ((u128::from(random.next()) * (last as u128 + 1)) >> 64) as usize;
                row.swap(last, other);
            }
            row
        };
        Self((0..SIGNS).map(row).collect())
    }

    /// The signs of a description.
    pub(crate) fn signature(&self, description: &[u8; LENGTH]) -> u64 {
        let mut wide = [0i16; LENGTH];
        for (w, d) in wide.iter_mut().zip(description) {
            *w = i16::from(*d);
        }
        let mut signs = 0;
        for (k, row) in self.0.iter().enumerate() {
            let sum: i32 = row.iter().zip(&wide).map(|(r, w)| i32::from(*r) * i32::from(*w)).sum();
            signs |= u64::from(sum > 0) << k;
        }
        signs
    }
}

/// The inverted file: for each word of the signs, where it occurs.
pub(crate) struct Votes {
    faces: usize,
    tables: Vec<Table>,
}

/// One word's occurrences, by value; entries of value v stand at `starts[v]..starts[v + 1]`.
struct Table {
    starts: Vec<u32>,
    entries: Vec<(u64, u32)>,
}

/// What was looked at to make a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ShortList {
    /// Faces, most likely first.
    pub(crate) faces: Vec<usize>,
    /// Entries of the file that were compared.
    pub(crate) compared: usize,
}

fn word(signature: u64, table: usize) -> usize {
    (signature >> (WORD * table)) as usize & ((1 << WORD) - 1)
}

impl Votes {
    /// Over the signatures of each face.
    pub(crate) fn over<'a>(faces: impl Iterator<Item = &'a [u64]> + Clone) -> Self {
        let tables = (0..WORDS)
            .map(|table| {
                let mut starts = vec![0u32; (1 << WORD) + 1];
                for signature in faces.clone().flatten() {
                    starts[word(*signature, table) + 1] += 1;
                }
                for v in 0..1 << WORD {
                    starts[v + 1] += starts[v];
                }
                let mut next = starts.clone();
                let mut entries = vec![(0, 0); starts[1 << WORD] as usize];
                for (face, signatures) in faces.clone().enumerate() {
                    for signature in signatures {
                        let at = &mut next[word(*signature, table)];
                        entries[*at as usize] = (*signature, face as u32);
                        *at += 1;
                    }
                }
                Table { starts, entries }
            })
            .collect();
        Self { faces: faces.count(), tables }
    }

    /// The faces that most features of the photo speak for, at most `most`.
    pub(crate) fn short_list(&self, photo: &Features, projections: &Projections, most: usize) -> ShortList {
        let mut votes = vec![0.0f64; self.faces];
        let mut alike: Vec<u32> = Vec::new();
        let mut compared = 0;
        for description in &photo.descriptions {
            let signature = projections.signature(description);
            alike.clear();
            for (t, table) in self.tables.iter().enumerate() {
                let own = word(signature, t);
                for value in std::iter::once(own).chain((0..WORD).map(|bit| own ^ (1 << bit))) {
                    let entries =
                        &table.entries[table.starts[value] as usize..table.starts[value + 1] as usize];
                    compared += entries.len();
                    let near = |e: &&(u64, u32)| (e.0 ^ signature).count_ones() <= MOST_APART;
                    alike.extend(entries.iter().filter(near).map(|e| e.1));
                }
            }
            alike.sort_unstable();
            alike.dedup();
            let share = 1.0 / alike.len().max(1) as f64;
            for face in &alike {
                votes[*face as usize] += share;
            }
        }
        let mut faces: Vec<usize> = (0..self.faces).filter(|f| votes[*f] > 0.0).collect();
        faces.sort_by(|a, b| votes[*b].total_cmp(&votes[*a]).then(a.cmp(b)));
        faces.truncate(most);
        ShortList { faces, compared }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::Feature;

    /// A description as they are: a few strong directions, the rest weak; length about 512.
    fn drawn(random: &mut Random) -> [f64; LENGTH] {
        let mut d = [0.0; LENGTH];
        for v in &mut d {
            let u = (random.next() >> 40) as f64 / (1u64 << 24) as f64;
            *v = u * u * u;
        }
        d
    }

    fn stored(d: &[f64; LENGTH]) -> [u8; LENGTH] {
        let length = d.iter().map(|v| v * v).sum::<f64>().sqrt();
        d.map(|v| (512.0 * v / length).clamp(0.0, 255.0) as u8)
    }

    /// The same seen in a photo: each number off by up to a quarter of the mean one.
    fn seen(d: &[f64; LENGTH], random: &mut Random) -> [u8; LENGTH] {
        let mut other = *d;
        for v in &mut other {
            let u = (random.next() >> 40) as f64 / (1u64 << 24) as f64 - 0.5;
            *v = (*v + 0.25 * u).max(0.0);
        }
        stored(&other)
    }

    fn photo(descriptions: Vec<[u8; LENGTH]>) -> Features {
        let point = Feature { x: 0.0, y: 0.0, sigma: 2.0, angle: 0.0, strength: 1.0 };
        Features { points: vec![point; descriptions.len()], descriptions }
    }

    /// 1,000 faces in 40 lines: 60 features of each are its line's wordmark, 240 its own.
    fn library(random: &mut Random) -> Vec<Vec<[f64; LENGTH]>> {
        let mut faces = Vec::new();
        for _ in 0..40 {
            let wordmark: Vec<_> = (0..60).map(|_| drawn(random)).collect();
            for _ in 0..25 {
                let own = (0..240).map(|_| drawn(random));
                faces.push(wordmark.iter().copied().chain(own).collect());
            }
        }
        faces
    }

    #[test]
    fn the_face_is_on_the_list_of_a_thousand_and_little_is_looked_at() {
        let mut random = Random(3);
        let projections = Projections::new();
        let faces = library(&mut random);
        let signatures: Vec<Vec<u64>> = faces
            .iter()
            .map(|face| face.iter().map(|d| projections.signature(&stored(d))).collect())
            .collect();
        let votes = Votes::over(signatures.iter().map(Vec::as_slice));
        for which in [0, 7, 24, 25, 503, 999] {
            // The photo shows half of the face's features, changed, among as many of the background.
            let mut shown: Vec<[u8; LENGTH]> =
                faces[which].iter().step_by(2).map(|d| seen(d, &mut random)).collect();
            shown.extend((0..600).map(|_| stored(&drawn(&mut random))));
            let list = votes.short_list(&photo(shown.clone()), &projections, 24);
            assert_eq!(list.faces.first(), Some(&which), "the first of {:?}", &list.faces[..3]);
            let all = shown.len() * faces.iter().map(Vec::len).sum::<usize>();
            assert!(list.compared * 50 < all, "{} of {all} looked at", list.compared);
        }
    }

    #[test]
    fn a_wordmark_alone_names_its_line_and_nobody() {
        let mut random = Random(4);
        let projections = Projections::new();
        let faces = library(&mut random);
        let signatures: Vec<Vec<u64>> = faces
            .iter()
            .map(|face| face.iter().map(|d| projections.signature(&stored(d))).collect())
            .collect();
        let votes = Votes::over(signatures.iter().map(Vec::as_slice));
        let shown = faces[130][..60].iter().map(|d| seen(d, &mut random)).collect();
        let list = votes.short_list(&photo(shown), &projections, 24);
        assert!(list.faces.iter().all(|f| (125..150).contains(f)), "{:?}", list.faces);
    }

    #[test]
    fn an_empty_library_or_photo_gives_an_empty_list() {
        let projections = Projections::new();
        let none = Votes::over(std::iter::empty::<&[u64]>());
        assert!(none.short_list(&photo(vec![[9; LENGTH]]), &projections, 24).faces.is_empty());
        let one = [projections.signature(&[9; LENGTH])];
        let votes = Votes::over(std::iter::once(&one[..]));
        assert!(votes.short_list(&photo(Vec::new()), &projections, 24).faces.is_empty());
    }
}
