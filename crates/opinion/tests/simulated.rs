//! By simulation, from generating models whose likelihood ratio is known in closed form: do the
//! intervals cover it, and is the mean ratio under the alternative 1 before bounding.
#![allow(clippy::unwrap_used, clippy::panic, reason = "test helpers stop the test, as they should")]

mod common;

use casebook::elementary::exp10;
use casebook::hypothesis::State;
use casebook::opinion::MeasuredSpecimen;
use common::{PACK, at_face, finding, specimen};
use opinion::Calibration;
use opinion::numeric::order::quantile;
use opinion::numeric::random::Random;
use opinion::weigh::PairWeight;

/// Two independent normal features; re-closed items have both shifted by so many deviations.
type Shift = [f64; 2];

fn draw(random: &mut Random, shift: Shift, state: State) -> [f64; 2] {
    let shift = if state == State::Sealed { [0.0; 2] } else { shift };
    [shift[0] + random.normal(), shift[1] + random.normal()]
}

/// log10 of the ratio of the two normal densities.
fn true_bans(x: [f64; 2], shift: Shift) -> f64 {
    let ln: f64 = x.iter().zip(shift).map(|(x, m)| 0.5 * ((x - m) * (x - m) - x * x)).sum();
    ln / std::f64::consts::LN_10
}

fn library(random: &mut Random, shift: Shift, sealed: usize, resealed: usize) -> Vec<MeasuredSpecimen> {
    let mut out = Vec::new();
    for (state, count) in [(State::Sealed, sealed), (State::Resealed, resealed)] {
        for at in 0..count {
            let x = draw(random, shift, state);
            let one = finding("print", "print-match", at_face("front"), "print", &x);
            out.push(specimen(&format!("{state}-{at}"), 0, state, vec![one]));
        }
    }
    out
}

fn weigh(calibration: &Calibration, x: [f64; 2]) -> PairWeight {
    let one = finding("print", "print-match", at_face("front"), "print", &x);
    let group = calibration.weigh(&PACK.parse().unwrap(), "print", &[&one]).unwrap();
    group.pairs.into_iter().next().unwrap().1
}

#[test]
fn intervals_cover_the_generating_ratio() {
    let mut shares = Vec::new();
    for (seed, shift, sealed, resealed) in
        [(20, [1.8, 1.2], 30, 20), (21, [2.5, 0.0], 24, 16), (22, [1.5, 1.5], 48, 16)]
    {
        let mut random = Random::new(seed);
        let (mut covered, mut asked, mut silent) = (0, 0, 0);
        for _ in 0..40 {
            let calibration = Calibration::fit(&library(&mut random, shift, sealed, resealed));
            for at in 0..10 {
                let state = if at % 2 == 0 { State::Sealed } else { State::Resealed };
                let x = draw(&mut random, shift, state);
                let weight = weigh(&calibration, x);
                if weight.silent {
                    silent += 1;
                    continue;
                }
                let (low, high) = (quantile(&weight.replicates, 0.05), quantile(&weight.replicates, 0.95));
                covered += u32::from((low..=high).contains(&true_bans(x, shift)));
                asked += 1;
            }
        }
        let share = f64::from(covered) / f64::from(asked);
        println!(
            "shift {shift:?}, {sealed} + {resealed} specimens: 90 % intervals cover {share:.3} of {asked}; {silent} silent"
        );
        shares.push(share);
    }
    assert!(shares.iter().all(|share| (0.85..=0.95).contains(share)), "{shares:?}");
}

#[test]
fn the_mean_ratio_under_the_alternative_is_one() {
    let shift = [0.9, 0.6];
    let mut random = Random::new(30);
    let mut all: Vec<f64> = Vec::new();
    for _ in 0..4 {
        let calibration = Calibration::fit(&library(&mut random, shift, 250, 250));
        for _ in 0..1_500 {
            all.push(exp10(weigh(&calibration, draw(&mut random, shift, State::Resealed)).unbounded));
        }
    }
    let n = all.len() as f64;
    let mean = all.iter().sum::<f64>() / n;
    let error = (all.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n / n).sqrt();
    // The libraries themselves are samples: a mean shift is known to √(2/250) deviations, which moves
    // the log ratio by about 0.1 and the mean of four libraries by half of that.
    let library_error = 0.05;
    println!("E[LR | re-closed] = {mean:.3} ± {error:.3} (draws) ± {library_error} (libraries)");
    assert!((mean - 1.0).abs() < 3.0 * (error * error + library_error * library_error).sqrt(), "{mean}");
}
