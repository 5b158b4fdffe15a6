//! Distributions, quantiles and exact proportions against SciPy. Tables: `checks/quantiles/`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use std::path::PathBuf;

use opinion::evaluate::clopper_pearson;
use opinion::numeric::special::{
    beta_cdf, beta_quantile, fisher_quantile, fisher_tail, ln_gamma, student_quantile, student_tail,
};

/// Relative; the Lanczos coefficients carry fifteen digits, and the prefactor of the incomplete beta
/// function loses some where its logarithm is large.
const RELATIVE: f64 = 1e-9;

fn rows(file: &str) -> Vec<csv::StringRecord> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../checks/quantiles").join(file);
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(&path)
        .unwrap()
        .records()
        .map(Result::unwrap)
        .collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

#[test]
fn values_agree() {
    let rows = rows("values.csv");
    assert_eq!(rows.len(), 177);
    let mut misses = String::new();
    for row in rows {
        let [x, a, b, expected] = [1, 2, 3, 4].map(|i: usize| number(&row[i]));
        let got = match &row[0] {
            "ln-gamma" => ln_gamma(x),
            "beta-cdf" => beta_cdf(x, a, b),
            "beta-quantile" => beta_quantile(x, a, b),
            "student-quantile" => student_quantile(x, a),
            "student-tail" => student_tail(x, a),
            "fisher-quantile" => fisher_quantile(x, a, b),
            "fisher-tail" => fisher_tail(x, a, b),
            other => panic!("{other}"),
        };
        let miss = (got - expected).abs();
        if miss.is_nan() || miss > RELATIVE * expected.abs() + 1e-14 {
            misses += &format!("{} {x} {a} {b}: SciPy {expected}, got {got}\n", &row[0]);
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn proportions_agree() {
    let rows = rows("proportions.csv");
    assert_eq!(rows.len(), 114);
    for row in rows {
        let got = clopper_pearson(row[0].parse().unwrap(), row[1].parse().unwrap(), number(&row[2]));
        let (low, high) = (number(&row[3]), number(&row[4]));
        assert!((got.low - low).abs() < RELATIVE && (got.high - high).abs() < RELATIVE, "{row:?}: {got:?}");
    }
}
