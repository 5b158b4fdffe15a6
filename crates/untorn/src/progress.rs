//! Progress bars on standard error, for whatever takes over a second.

use std::sync::Mutex;

use examination::Progress;
use indicatif::{ProgressBar, ProgressStyle};
use learn::Progress as LearnProgress;

/// A bar that shows up only on a terminal and vanishes when its work is done.
#[derive(Debug, Default)]
pub(crate) struct Bar(Mutex<Option<ProgressBar>>);

impl Progress for Bar {
    fn begin(&self, what: &str, steps: usize) {
        let bar = ProgressBar::new(steps as u64);
        if let Ok(style) = ProgressStyle::with_template("{msg:32} {wide_bar} {pos}/{len} {elapsed}") {
            bar.set_style(style);
        }
        bar.set_message(what.to_owned());
        self.replace(Some(bar));
    }

    fn step(&self) {
        if let Ok(bar) = self.0.lock()
            && let Some(bar) = bar.as_ref()
        {
            bar.inc(1);
        }
    }

    fn end(&self) {
        self.replace(None);
    }
}

impl LearnProgress for Bar {
    fn begin(&self, what: &str, steps: usize) {
        Progress::begin(self, what, steps);
    }

    fn step(&self) {
        Progress::step(self);
    }

    fn end(&self) {
        Progress::end(self);
    }
}

impl Bar {
    fn replace(&self, next: Option<ProgressBar>) {
        if let Ok(mut bar) = self.0.lock() {
            if let Some(old) = bar.take() {
                old.finish_and_clear();
            }
            *bar = next;
        }
    }
}
