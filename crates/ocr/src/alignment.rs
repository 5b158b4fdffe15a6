//! Two wordings laid side by side: which letters were exchanged, left out or put in.
//!
//! In: two rows of letters. Out: [`Edit`]s. Never here: how likely any of them is.
//!
//! Source: `levenshtein1966` (fewest edits), by the usual table.

/// One place where two wordings are compared, in the order of the wordings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Edit {
    /// The same letter, at these places of the first and of the second.
    Same(usize, usize),
    /// Another letter.
    Exchanged(usize, usize),
    /// The first's letter is not in the second; there it would stand before this place.
    LeftOut(usize, usize),
    /// The second has a letter more; in the first it would stand before this place.
    PutIn(usize, usize),
}

impl Edit {
    /// Whether the two wordings differ here.
    #[must_use]
    pub const fn differs(self) -> bool {
        !matches!(self, Self::Same(..))
    }
}

/// Lays two wordings side by side with the fewest edits.
///
/// # Result
/// Every letter of both stands in exactly one edit, in order. Of several ways with as few edits the one
/// that exchanges rather than moves letters, then the one that leaves out first: always the same.
#[must_use]
pub fn align(first: &[char], second: &[char]) -> Vec<Edit> {
    let (n, m) = (first.len(), second.len());
    let width = m + 1;
    let mut cost = vec![0_u32; (n + 1) * width];
    for i in 0..=n {
        for j in 0..=m {
            cost[i * width + j] = match (i, j) {
                (0, j) => j as u32,
                (i, 0) => i as u32,
                _ => {
                    let same = u32::from(first[i - 1] != second[j - 1]);
                    (cost[(i - 1) * width + j - 1] + same)
                        .min(cost[(i - 1) * width + j] + 1)
                        .min(cost[i * width + j - 1] + 1)
                }
            };
        }
    }
    let (mut i, mut j) = (n, m);
    let mut out = Vec::new();
    while i > 0 || j > 0 {
        let here = cost[i * width + j];
        if i > 0 && j > 0 {
            let same = first[i - 1] == second[j - 1];
            if cost[(i - 1) * width + j - 1] + u32::from(!same) == here {
                (i, j) = (i - 1, j - 1);
                out.push(if same { Edit::Same(i, j) } else { Edit::Exchanged(i, j) });
                continue;
            }
        }
        if i > 0 && cost[(i - 1) * width + j] + 1 == here {
            i -= 1;
            out.push(Edit::LeftOut(i, j));
        } else {
            j -= 1;
            out.push(Edit::PutIn(i, j));
        }
    }
    out.reverse();
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn edits(a: &str, b: &str) -> usize {
        let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
        align(&a, &b).iter().filter(|e| e.differs()).count()
    }

    #[test]
    fn counts_the_textbook_distances() {
        // From memory: the customary examples of the Levenshtein distance.
        for (a, b, n) in
            [("kitten", "sitting", 3), ("saturday", "sunday", 3), ("", "abc", 3), ("flaw", "lawn", 2)]
        {
            assert_eq!(edits(a, b), n, "{a} {b}");
        }
    }

    proptest! {
        #[test]
        fn every_letter_stands_once_and_the_edits_turn_one_into_the_other(a in "[abc]{0,12}", b in "[abc]{0,12}") {
            let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
            let (mut from, mut to) = (0, 0);
            for edit in align(&a, &b) {
                let (di, dj) = match edit {
                    Edit::Same(i, j) => { prop_assert_eq!(a[i], b[j]); (1, 1) }
                    Edit::Exchanged(i, j) => { prop_assert_ne!(a[i], b[j]); (1, 1) }
                    Edit::LeftOut(..) => (1, 0),
                    Edit::PutIn(..) => (0, 1),
                };
                let (Edit::Same(i, j) | Edit::Exchanged(i, j) | Edit::LeftOut(i, j) | Edit::PutIn(i, j)) = edit;
                prop_assert_eq!((i, j), (from, to));
                (from, to) = (from + di, to + dj);
            }
            prop_assert_eq!((from, to), (a.len(), b.len()));
        }
    }
}
