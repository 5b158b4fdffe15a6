//! Typing errors: how many letters apart two words are, given up beyond a bound.
//!
//! In: two folded words. Out: the distance, if within the bound. Never here: which words matter.
//!
//! Sources: `damerau1964` (the four kinds of error); the recurrence is optimal string alignment,
//! which lets no part be edited twice.

/// The number of insertions, deletions, substitutions and swaps of neighbours between two words,
/// `None` when it exceeds `bound`.
///
/// # Example
/// ```
/// assert_eq!(offer::within("estuary", "esturay", 2), Some(1)); // neighbours swapped
/// assert_eq!(offer::within("brass", "estuary", 2), None);
/// ```
#[must_use]
pub fn within(a: &str, b: &str, bound: usize) -> Option<usize> {
    let a: Vec<char> = a.chars().collect();
    let b: Vec<char> = b.chars().collect();
    if a.len().abs_diff(b.len()) > bound {
        return None;
    }
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let substituted = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = substituted.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        if row.iter().all(|d| *d > bound) {
            return None;
        }
        before = std::mem::replace(&mut last, row);
    }
    last.last().copied().filter(|d| *d <= bound)
}

/// How many typing errors a word of that many letters may carry and still be taken for the name.
/// One in four letters, none in the shortest: three-letter words with one error are other words.
pub(crate) const fn budget(letters: usize) -> usize {
    match letters {
        0..4 => 0,
        4..8 => 1,
        _ => 2,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn rows() {
        let rows = [
            ("", "", 0, Some(0)),
            ("kelpwright", "kelpwrihgt", 2, Some(1)),
            ("kelpwright", "kelpright", 2, Some(1)),
            ("kelpwright", "kelppwright", 2, Some(1)),
            ("kelpwright", "kelpwrite", 2, None),
            ("ca", "abc", 3, Some(3)), // optimal string alignment; the unrestricted distance is 2
        ];
        for (a, b, bound, expected) in rows {
            assert_eq!(within(a, b, bound), expected, "{a} {b}");
        }
    }

    proptest! {
        #[test]
        fn is_symmetric_and_zero_only_for_equals(a in "[ab]{0,6}", b in "[ab]{0,6}") {
            prop_assert_eq!(within(&a, &b, 9), within(&b, &a, 9));
            prop_assert_eq!(within(&a, &b, 9) == Some(0), a == b);
        }

        #[test]
        fn a_tighter_bound_only_hides(a in "[abc]{0,7}", b in "[abc]{0,7}", bound in 0usize..8) {
            let full = within(&a, &b, 99);
            prop_assert_eq!(within(&a, &b, bound), full.filter(|d| *d <= bound));
        }
    }
}
