//! The tree's own rules, checked: arrows between crates, module heads, citations, outside data,
//! file sizes, and text that must not be committed.
//!
//! In: the files of the working tree (tracked, or new and not ignored). Out: each test lists every
//! miss at once. Never here: what the program does. The rules stand in ARCHITECTURE.md and
//! CONTRIBUTING.md; a rule that nothing checks wears away.

#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests; a panic is the failure")]

mod citations;
mod committed;
mod crates;
mod modules;
mod outside;
mod tree;
