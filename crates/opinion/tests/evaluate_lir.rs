//! Figures of merit against the `lir` library on the same scores. Source: `lir2021`.
//! Tables and their origin: `checks/lir/`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

use std::collections::BTreeMap;
use std::path::PathBuf;

use opinion::evaluate::{Scored, auc, cllr, empirical_bounds, min_cllr, pav_log10_lr};
use opinion::weigh::{kde_log10_lr, silverman_bandwidth};

/// Both compute the same formulas in double precision.
const TOLERANCE: f64 = 1e-6;
/// Kernel densities: scikit-learn's tree sums in another order and may stop early.
const KDE_TOLERANCE: f64 = 1e-3;

fn rows(file: &str) -> Vec<csv::StringRecord> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../checks/lir").join(file);
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(&path).unwrap();
    reader.records().map(Result::unwrap).collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

fn sets() -> BTreeMap<String, Scored> {
    let mut sets: BTreeMap<String, Scored> = BTreeMap::new();
    for row in rows("scores.csv") {
        let set = sets.entry(row[0].to_owned()).or_default();
        let side = if &row[1] == "first" { &mut set.first } else { &mut set.second };
        side.push(number(&row[2]));
    }
    sets
}

fn close(a: f64, b: f64, tolerance: f64) -> bool {
    a == b || (a - b).abs() <= tolerance
}

#[test]
fn figures_agree() {
    let sets = sets();
    let rows = rows("figures.csv");
    assert_eq!(rows.len(), 35, "a shorter table would prove less");
    let mut misses = String::new();
    for row in rows {
        let scored = &sets[&row[0]];
        let got = match &row[1] {
            "cllr" => cllr(scored),
            "min-cllr" => min_cllr(scored),
            "lower-bound" => empirical_bounds(scored).lower,
            "upper-bound" => empirical_bounds(scored).upper,
            "auc" => auc(scored),
            other => panic!("{other}"),
        };
        if !close(got, number(&row[2]), TOLERANCE) {
            misses += &format!("{} {}: lir {}, got {got}\n", &row[0], &row[1], &row[2]);
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn pool_adjacent_violators_agrees() {
    let sets = sets();
    let rows = rows("pav.csv");
    assert_eq!(rows.len(), 450);
    let mut misses = String::new();
    for row in rows {
        let calibrated = pav_log10_lr(&sets[&row[0]]);
        let at: usize = row[1].parse().unwrap();
        let n = calibrated.first.len();
        let got = if at < n { calibrated.first[at] } else { calibrated.second[at - n] };
        if !close(got, number(&row[2]), TOLERANCE) {
            misses += &format!("{} {at}: lir {}, got {got}\n", &row[0], &row[2]);
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn kernel_densities_agree() {
    let sets = sets();
    let rows = rows("kde.csv");
    assert_eq!(rows.len(), 99);
    let mut misses = String::new();
    for row in rows {
        let set = &sets[&row[0]];
        let (h1, h2) = (silverman_bandwidth(&set.first), silverman_bandwidth(&set.second));
        let got = kde_log10_lr(number(&row[1]), &set.first, h1, &set.second, h2);
        if !close(got, number(&row[2]), KDE_TOLERANCE) {
            misses += &format!("{} {}: lir {}, got {got}\n", &row[0], &row[1], &row[2]);
        }
    }
    assert!(misses.is_empty(), "{misses}");
}
