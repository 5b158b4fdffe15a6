//! The desk over real connections: what it refuses, and what people can do with a case.
#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "helpers of tests; a panic is the failure"
)]

mod cases;
mod guarded;
mod support;
