//! How far a long task has come, told to whoever shows it.

/// Receives progress. Calls come from several threads.
pub trait Progress: Sync {
    /// A task of so many steps begins.
    fn begin(&self, what: &str, steps: usize);
    /// One step is done.
    fn step(&self);
    /// The task is done.
    fn end(&self);
}

/// Shows nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn begin(&self, _: &str, _: usize) {}
    fn step(&self) {}
    fn end(&self) {}
}
