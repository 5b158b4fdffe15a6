//! Tells the pages how far a long piece of work is.
//!
//! In: what a library crate says of its progress. Out: one call with what is being done, how many of its
//! steps are, and of how many. Never here: where it is shown.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// Keeps count and calls `tell(what, done, steps)` at every step.
pub(crate) struct Telling<F> {
    tell: F,
    what: Mutex<String>,
    steps: AtomicUsize,
    done: AtomicUsize,
}

impl<F: Fn(&str, usize, usize) + Sync> Telling<F> {
    pub(crate) const fn new(tell: F) -> Self {
        Self { tell, what: Mutex::new(String::new()), steps: AtomicUsize::new(0), done: AtomicUsize::new(0) }
    }

    fn begin(&self, what: &str, steps: usize) {
        what.clone_into(&mut self.what.lock().unwrap_or_else(PoisonError::into_inner));
        self.steps.store(steps, Ordering::Relaxed);
        self.done.store(0, Ordering::Relaxed);
        self.tell();
    }

    fn step(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.tell();
    }

    fn tell(&self) {
        let what = self.what.lock().unwrap_or_else(PoisonError::into_inner).clone();
        (self.tell)(&what, self.done.load(Ordering::Relaxed), self.steps.load(Ordering::Relaxed));
    }
}

impl<F: Fn(&str, usize, usize) + Sync> examination::Progress for Telling<F> {
    fn begin(&self, what: &str, steps: usize) {
        self.begin(what, steps);
    }

    fn step(&self) {
        self.step();
    }

    fn end(&self) {}
}

impl<F: Fn(&str, usize, usize) + Sync> learn::Progress for Telling<F> {
    fn begin(&self, what: &str, steps: usize) {
        self.begin(what, steps);
    }

    fn step(&self) {
        self.step();
    }

    fn end(&self) {}
}
