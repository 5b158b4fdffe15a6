//! Letter heights against lines of text of known size, drawn by FreeType.
//!
//! `checks/words/sizes` holds pairs: a line, and the same line with one word set larger or smaller,
//! softer, dimmer and noisy. Its sizes in mm follow from the font's outlines (fontTools); the README
//! there says who made them.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test's helpers may fail the test and print its figures"
)]

use std::path::{Path, PathBuf};

use examine::words::{Profile, extent, stretch};

/// Pixels a millimetre of the pairs.
const PX_PER_MM: f64 = 20.0;
const PAIRS: usize = 16;
/// Standard uncertainty of a word's size beyond its fit, as the examiner states it (`CREASE` there).
const MODEL_U: f64 = 0.025;

fn checks() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../checks/words")
}

struct Picture {
    width: usize,
    rows: Vec<Vec<f64>>,
}

fn picture(name: &str) -> Picture {
    let picture = image::open(checks().join("sizes").join(name)).unwrap().to_luma8();
    let width = picture.width() as usize;
    let rows = picture.rows().map(|row| row.map(|p| f64::from(p.0[0]).sqrt()).collect()).collect();
    Picture { width, rows }
}

impl Picture {
    /// Softened along rows and columns by a Gaussian, pixels.
    fn soft(&self, sigma: f64) -> Self {
        let reach = (3.0 * sigma).ceil() as isize;
        let kernel: Vec<f64> = (-reach..=reach)
            .map(|i| casebook::elementary::exp(-0.5 * (i as f64 / sigma) * (i as f64 / sigma)))
            .collect();
        let sum: f64 = kernel.iter().sum();
        let (w, h) = (self.width as isize, self.rows.len() as isize);
        let at = |x: isize, y: isize| self.rows[y.clamp(0, h - 1) as usize][x.clamp(0, w - 1) as usize];
        let across: Vec<Vec<f64>> = (0..h)
            .map(|y| {
                (0..w)
                    .map(|x| {
                        (-reach..=reach).map(|i| kernel[(i + reach) as usize] * at(x + i, y)).sum::<f64>()
                            / sum
                    })
                    .collect()
            })
            .collect();
        let at = |x: isize, y: isize| across[y.clamp(0, h - 1) as usize][x as usize];
        let rows = (0..h)
            .map(|y| {
                (0..w)
                    .map(|x| {
                        (-reach..=reach).map(|i| kernel[(i + reach) as usize] * at(x, y + i)).sum::<f64>()
                            / sum
                    })
                    .collect()
            })
            .collect();
        Self { width: self.width, rows }
    }

    /// Strength of edges along the text, over the height, of some columns.
    fn upright(&self, from: usize, to: usize) -> Profile {
        let of = |row: &Vec<f64>| {
            (from.max(1)..to.min(row.len() - 1)).map(|x| (row[x + 1] - row[x - 1]).abs()).sum()
        };
        Profile { values: self.rows.iter().map(of).collect(), px_per_mm: PX_PER_MM }
    }

    /// Columns of each word: runs of ink with gaps of more than a third of a capital between.
    fn words(&self, capital_px: f64) -> Vec<(usize, usize)> {
        let paper = self.rows[0][0];
        let dark = |x: usize| self.rows.iter().map(|r| paper - r[x]).fold(0.0, f64::max) > 0.12 * paper;
        let mut out: Vec<(usize, usize)> = Vec::new();
        for x in (0..self.width).filter(|x| dark(*x)) {
            match out.last_mut() {
                Some(word) if (x - word.1) as f64 <= 0.38 * capital_px => word.1 = x,
                _ => out.push((x, x)),
            }
        }
        out
    }
}

fn rows() -> Vec<(String, String, f64, usize, f64)> {
    let text = std::fs::read_to_string(checks().join("sizes.csv")).unwrap();
    let rows: Vec<_> = text
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            (
                cells[0].to_owned(),
                cells[1].to_owned(),
                cells[3].parse().unwrap(),
                cells[4].parse().unwrap(),
                cells[5].parse().unwrap(),
            )
        })
        .collect();
    assert_eq!(rows.len(), PAIRS, "a shorter file would prove less");
    rows
}

#[test]
fn capitals_are_as_high_as_the_font_says() {
    let mut misses = String::new();
    for (pair, words, capital_mm, ..) in rows().iter().filter(|r| r.1.chars().all(|c| !c.is_lowercase())) {
        let plain = picture(&format!("{pair}-plain.png"));
        let found = extent(&plain.upright(0, plain.width)).unwrap();
        // Round letters stand over the line by a few hundredths; half a pixel is what rows leave.
        if (found.length_mm() - capital_mm).abs() > 0.03 * capital_mm + 0.5 / PX_PER_MM {
            misses += &format!("{pair} {words}: {:.3} mm, drawn {capital_mm}\n", found.length_mm());
        }
    }
    assert!(misses.is_empty(), "{misses}");
}

#[test]
fn a_word_set_larger_is_measured_within_its_uncertainty() {
    let (mut measured, mut within_two, mut largest) = (0, 0, 0.0_f64);
    for (pair, words, capital_mm, which, factor) in rows() {
        let (plain, set) = (picture(&format!("{pair}-plain.png")), picture(&format!("{pair}-set.jpg")));
        let (own, there) = (plain.words(capital_mm * PX_PER_MM), set.words(capital_mm * PX_PER_MM));
        let count = words.split(' ').count();
        assert_eq!((own.len(), there.len()), (count, count), "{pair}");
        let soft = plain.soft(if pair.parse::<usize>().unwrap() % 2 == 0 { 1.0 } else { 2.0 });
        for k in 0..count {
            let wanted = if k == which { factor } else { 1.0 };
            let pad = 6;
            let of = |p: &Picture, w: (usize, usize)| p.upright(w.0.saturating_sub(pad), w.1 + pad);
            let Some(got) = stretch(&of(&soft, own[k]), &of(&set, there[k])) else { continue };
            measured += 1;
            // What the examiner adds to the fit's own uncertainty for softness that is matched only nearly.
            let u = (got.scale_u * got.scale_u + MODEL_U * MODEL_U).sqrt();
            within_two += usize::from((got.scale - wanted).abs() < 2.0 * u);
            largest = largest.max((got.scale - wanted).abs());
        }
    }
    eprintln!(
        "{measured} of 64 words measured, {within_two} within 2 u, largest error {:.1} %",
        100.0 * largest
    );
    assert!(measured >= 60, "{measured} of 64 words measured");
    assert!(within_two * 10 >= measured * 9, "{within_two} of {measured} within 2 u");
    assert!(largest < 0.06, "{largest}");
}
