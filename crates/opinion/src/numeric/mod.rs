//! Numbers that the rest of the crate stands on, the same bits on every machine.
//!
//! `random`: a seeded generator. `special`: gamma, incomplete beta and the distributions made from
//! it. `matrix`: Cholesky of small symmetric matrices. `order`: sorting, medians, quantiles.
//! Never here: evidence.

pub mod matrix;
pub mod order;
pub mod random;
pub mod special;
