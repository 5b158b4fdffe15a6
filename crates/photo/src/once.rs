//! A value that is made when it is first asked for, safe among tasks that share threads.
//!
//! In: how to make it. Out: a reference to it. Never here: what it is.

use std::sync::OnceLock;

/// A value made at the first [`Once::get`] and kept.
///
/// Two that ask at once may both make it, and the first that is done stays; so the making must give
/// the same value every time. Nobody waits for another: while a task waits for its own parallel
/// parts, its thread may take up another task that asks for the same value, and that one would wait
/// for itself for ever.
///
/// # Example
/// ```
/// let once = photo::Once::new();
/// assert_eq!(*once.get(|| 7), 7);
/// assert_eq!(*once.get(|| 8), 7);
/// ```
#[derive(Debug, Clone)]
pub struct Once<T>(OnceLock<T>);

impl<T> Once<T> {
    /// Not made yet.
    #[must_use]
    pub const fn new() -> Self {
        Self(OnceLock::new())
    }

    /// The value, made now if it was not yet.
    pub fn get(&self, make: impl FnOnce() -> T) -> &T {
        if let Some(value) = self.0.get() {
            return value;
        }
        let made = make();
        self.0.get_or_init(|| made)
    }
}

impl<T> Default for Once<T> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rayon::prelude::*;

    /// With a lock that waits, this test would hang: the tasks of one thread ask within each other.
    #[test]
    fn tasks_that_ask_within_each_other_do_not_wait_for_themselves() {
        let once = Once::new();
        let sum = || (0..2_000_u64).into_par_iter().map(|i| i % 7).sum::<u64>();
        let all: Vec<u64> = (0..200).into_par_iter().map(|_| *once.get(sum)).collect();
        assert!(all.iter().all(|v| *v == all[0]));
    }
}
