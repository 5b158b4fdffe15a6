//! CIEDE2000 against the 34 pairs of `sharma2005`; `checks/ciede2000/README.md` says who copied them
//! and when.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use photo::colour::{Lab, delta_e_2000, delta_e_2000_slice};

/// The source prints four decimals, so a right answer is within half of the last one.
const HALF_LAST_DIGIT: f64 = 0.5e-4;

struct Pair {
    number: String,
    first: Lab,
    second: Lab,
    published: f64,
}

fn published_pairs() -> Vec<Pair> {
    let pair = |row: &Vec<String>| {
        let v: Vec<f64> = row[1..].iter().map(|c| common::number(c)).collect();
        Pair {
            number: row[0].clone(),
            first: Lab::new(v[0], v[1], v[2]),
            second: Lab::new(v[3], v[4], v[5]),
            published: v[6],
        }
    };
    common::rows("ciede2000/sharma2005.csv").iter().map(pair).collect()
}

#[test]
fn agrees_with_every_published_pair_both_ways() {
    let pairs = published_pairs();
    assert_eq!(pairs.len(), 34, "a shorter file would prove less");
    let mut misses = String::new();
    for p in &pairs {
        for got in [delta_e_2000(p.first, p.second), delta_e_2000(p.second, p.first)] {
            if (got - p.published).abs() > HALF_LAST_DIGIT {
                misses += &format!("pair {}: published {}, got {got:.6}\n", p.number, p.published);
            }
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

/// The fast version rounds its input to single precision and keeps within its stated bound.
#[test]
fn the_fast_version_agrees_within_its_bound_both_ways() {
    let pairs = published_pairs();
    let planes = |pick: fn(&Pair) -> Lab| {
        let lab: Vec<Lab> = pairs.iter().map(pick).collect();
        let plane = |f: fn(&Lab) -> f64| lab.iter().map(|c| f(c) as f32).collect::<Vec<f32>>();
        [plane(|c| c.l), plane(|c| c.a), plane(|c| c.b)]
    };
    let (first, second) = (planes(|p| p.first), planes(|p| p.second));
    let bound = f64::from(photo::colour::fast::MAX_ERROR) + HALF_LAST_DIGIT;
    for (p, q) in [(&first, &second), (&second, &first)] {
        let mut got = vec![0.0; pairs.len()];
        delta_e_2000_slice([&p[0], &p[1], &p[2]], [&q[0], &q[1], &q[2]], &mut got);
        let mut misses = String::new();
        for (pair, got) in pairs.iter().zip(&got) {
            if (f64::from(*got) - pair.published).abs() > bound {
                misses += &format!("pair {}: published {}, got {got:.6}\n", pair.number, pair.published);
            }
        }
        assert!(misses.is_empty(), "{misses}");
    }
}
