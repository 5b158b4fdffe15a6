//! Being written.
