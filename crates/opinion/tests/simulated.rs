//! By simulation, from a generating model whose likelihood ratio is known in closed form: do the
//! intervals cover it, is the mean ratio under the alternative 1, do more specimens help.

mod common;

use casebook::elementary::exp10;
use casebook::hypothesis::State;
use casebook::opinion::MeasuredSpecimen;
use common::{PACK, at_face, finding, specimen};
use opinion::Calibration;
use opinion::numeric::order::quantile;
use opinion::numeric::random::Random;
use opinion::weigh::PairWeight;

/// Two independent normal features; re-closed items have both shifted by this many deviations.
const SHIFT: [f64; 2] = [1.2, 0.8];

fn draw(random: &mut Random, state: State) -> [f64; 2] {
    let shift = if state == State::Sealed { [0.0; 2] } else { SHIFT };
    [shift[0] + random.normal(), shift[1] + random.normal()]
}

/// log10 of the ratio of the two normal densities.
fn true_bans(x: [f64; 2]) -> f64 {
    let ln: f64 = x.iter().zip(SHIFT).map(|(x, m)| 0.5 * ((x - m) * (x - m) - x * x)).sum();
    ln / std::f64::consts::LN_10
}

fn library(random: &mut Random, sealed: usize, resealed: usize) -> Vec<MeasuredSpecimen> {
    let mut out = Vec::new();
    for (state, count) in [(State::Sealed, sealed), (State::Resealed, resealed)] {
        for at in 0..count {
            let x = draw(random, state);
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
    let mut random = Random::new(20);
    let (mut covered, mut asked, mut silent) = (0, 0, 0);
    for _ in 0..60 {
        let calibration = Calibration::fit(&library(&mut random, 30, 20));
        for state in [State::Sealed, State::Resealed, State::Sealed, State::Resealed] {
            let x = draw(&mut random, state);
            let weight = weigh(&calibration, x);
            if weight.silent {
                silent += 1;
                continue;
            }
            let low = quantile(&weight.replicates, 0.05);
            let high = quantile(&weight.replicates, 0.95);
            covered += u32::from((low..=high).contains(&true_bans(x)));
            asked += 1;
        }
    }
    let share = f64::from(covered) / f64::from(asked);
    println!("90 % intervals cover {covered} of {asked} ({share:.3}); {silent} said nothing");
    assert!((0.85..=0.96).contains(&share), "{share}");
}

#[test]
fn the_mean_ratio_under_the_alternative_is_one() {
    let mut random = Random::new(30);
    let mut means = Vec::new();
    for _ in 0..3 {
        let calibration = Calibration::fit(&library(&mut random, 300, 300));
        let model = Ratio::new(&calibration);
        let n = 400;
        let sum: f64 = (0..n).map(|_| exp10(model.of(draw(&mut random, State::Resealed)))).sum();
        means.push(sum / f64::from(n));
    }
    let mean = means.iter().sum::<f64>() / means.len() as f64;
    println!("E[LR | re-closed] = {mean:.3} {means:.3?}");
    assert!((mean - 1.0).abs() < 0.15, "{means:?}");
}

struct Ratio<'a>(&'a Calibration);

impl<'a> Ratio<'a> {
    fn new(calibration: &'a Calibration) -> Self {
        Self(calibration)
    }

    fn of(&self, x: [f64; 2]) -> f64 {
        weigh(self.0, x).unbounded
    }
}

#[test]
fn timing() {
    let mut random = Random::new(20);
    let lib = library(&mut random, 30, 20);
    let now = std::time::Instant::now();
    let calibration = Calibration::fit(&lib);
    println!("fit {:?}", now.elapsed());
    let now = std::time::Instant::now();
    weigh(&calibration, [0.0, 0.0]);
    println!("weigh {:?}", now.elapsed());
}
