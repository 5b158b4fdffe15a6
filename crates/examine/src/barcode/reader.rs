//! Many attempts at one code in one or more photos, and the number that they agree on.
//!
//! In: straightened patches of the code. Out: [`CodeReading`]. Never here: products, words.
//!
//! A general reader fails on codes that are small, tilted or curved. Here the symbol's place is known,
//! so it is read strip by strip (a curved symbol is straight in a short strip), at several slopes and
//! cuts between black and white, in both directions and upright too. Attempts that fail cost nothing;
//! a number counts only if its check digit is right (source: `gs1general`), if strips of the symbol
//! that share no row agree on it, and if hardly any attempt says otherwise.

use std::collections::BTreeMap;

use casebook::gtin;
use photo::Plane;
use rxing::DecodeHints;
use rxing::common::BitArray;
use rxing::oned::{EAN8Reader, EAN13Reader, ITFReader, OneDReader, UPCEReader};

use super::rows::{CUTS, Strip, bars, profile};

/// Heights of the strips, mm: from a noisy symbol's to a curved one's.
const STRIPS_MM: [f64; 3] = [3.0, 1.5, 0.7];
/// Columns that bars may lean a row, either way: what placement and curl leave over. In the lowest
/// strips leaning makes no difference.
const SLOPES: [f64; 5] = [0.0, 0.015, -0.015, 0.035, -0.035];
/// A region less wide than this share of its height may hold a code printed upright.
const UPRIGHT: f64 = 1.25;
/// Places (strips that share no row, or photos) that must agree on a number.
const AGREEING: usize = 2;
/// Share of all attempts with a right check digit that must say the same.
const MAJORITY: f64 = 0.8;
/// Once so many attempts agree with none against them, the rest are left out.
const ENOUGH: usize = 24;
/// Modules over a whole EAN-13 or UPC-A symbol with its quiet zones. Source: `iso15420`.
const MODULES: f64 = 113.0;

/// A kind of code that a region can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Symbology {
    /// EAN-13, and UPC-A, which is an EAN-13 whose first digit is 0.
    Ean13,
    /// EAN-8.
    Ean8,
    /// UPC-E, a UPC-A with zeros left out.
    UpcE,
    /// ITF-14, on shipping cases.
    Itf14,
}

/// One straightened photo of a code.
#[derive(Debug, Clone)]
pub struct CodeView {
    /// Luminance in linear light.
    pub light: Plane<f32>,
    /// Resolution of `light`, pixels a millimetre.
    pub px_per_mm: f64,
    /// Photo pixels a millimetre, along x and y.
    pub seen_px_per_mm: [f64; 2],
}

/// What came of reading.
#[derive(Debug, Clone, PartialEq)]
pub enum CodeReading {
    /// The number, by check digit and agreement.
    Read {
        /// Its digits as printed (UPC-A with the leading 0 left out).
        digits: String,
        /// Attempts that gave it, and attempts with a right check digit that gave another.
        attempts: (usize, usize),
        /// Indices of the views that it was read in.
        views: Vec<usize>,
    },
    /// Bars with right check digits, but not two that agree.
    Disagreeing,
    /// Nothing with a right check digit.
    Nothing,
}

/// The kinds to look for where the catalogue gives the number as text; without one all of a shop's till.
#[must_use]
pub fn expected(text: Option<&str>) -> Vec<Symbology> {
    let digits = text.map_or(0, |t| t.chars().filter(char::is_ascii_digit).count());
    match digits {
        8 => vec![Symbology::Ean8, Symbology::UpcE],
        12 => vec![Symbology::Ean13, Symbology::UpcE],
        13 => vec![Symbology::Ean13],
        14 => vec![Symbology::Itf14],
        _ => vec![Symbology::Ean13, Symbology::Ean8],
    }
}

/// Reads one code in all its views.
///
/// # Input
/// `views`: straightened, the symbol with a little around it, at four or more pixels a module.
/// `kinds`: the symbologies that can be there; fewer leave less to chance.
///
/// # Result
/// A number with a right check digit that disjoint strips (or photos) agree on; never a guess.
#[must_use]
pub fn read(views: &[CodeView], kinds: &[Symbology]) -> CodeReading {
    let mut votes: BTreeMap<String, Vote> = BTreeMap::new();
    for (index, view) in views.iter().enumerate() {
        let light = &view.light;
        attempt_all(&mut votes, index, false, light, view.px_per_mm, kinds);
        if !settled(&votes) && (light.width() as f64) < UPRIGHT * light.height() as f64 {
            attempt_all(&mut votes, index, true, &turned(light), view.px_per_mm, kinds);
        }
        if settled(&votes) {
            break;
        }
    }
    decide(&votes)
}

/// Attempts that gave one number.
#[derive(Debug, Clone, Default, PartialEq)]
struct Vote {
    attempts: usize,
    /// View, orientation and rows of each.
    places: Vec<(usize, bool, usize, usize)>,
}

impl Vote {
    /// Most places that share no row of one picture.
    fn apart(&self) -> usize {
        let mut sorted = self.places.clone();
        sorted.sort_by_key(|p| (p.0, p.1, p.3));
        let mut count = 0;
        let mut last: Option<(usize, bool, usize)> = None;
        for (view, upright, from, to) in sorted {
            let free = last.is_none_or(|(v, u, end)| v != view || u != upright || from >= end);
            if free {
                count += 1;
                last = Some((view, upright, to));
            }
        }
        count
    }
}

fn settled(votes: &BTreeMap<String, Vote>) -> bool {
    let mut all = votes.values();
    matches!((all.next(), all.next()), (Some(only), None) if only.attempts >= ENOUGH && only.apart() >= AGREEING)
}

fn decide(votes: &BTreeMap<String, Vote>) -> CodeReading {
    let total: usize = votes.values().map(|v| v.attempts).sum();
    let Some((digits, best)) = votes.iter().max_by_key(|(_, v)| v.attempts) else {
        return CodeReading::Nothing;
    };
    if best.apart() < AGREEING || (best.attempts as f64) < MAJORITY * total as f64 {
        return CodeReading::Disagreeing;
    }
    let mut views: Vec<usize> = best.places.iter().map(|p| p.0).collect();
    views.sort_unstable();
    views.dedup();
    CodeReading::Read { digits: digits.clone(), attempts: (best.attempts, total - best.attempts), views }
}

fn attempt_all(
    votes: &mut BTreeMap<String, Vote>,
    view: usize,
    upright: bool,
    light: &Plane<f32>,
    px_per_mm: f64,
    kinds: &[Symbology],
) {
    let module = (light.width() as f64 / MODULES).max(1.0);
    for strip_mm in STRIPS_MM {
        let rows = ((strip_mm * px_per_mm).round() as usize).clamp(1, light.height().max(1));
        let slopes = if strip_mm < 1.0 { &SLOPES[..1] } else { &SLOPES[..] };
        for slope in slopes.iter().copied() {
            for from in (0..light.height().saturating_sub(rows - 1)).step_by(rows) {
                let strip = Strip { from, to: from + rows, slope };
                let profile = profile(light, strip);
                for cut in CUTS {
                    let black = bars(&profile, module, cut);
                    for digits in decode(&black, kinds) {
                        let vote = votes.entry(digits).or_default();
                        vote.attempts += 1;
                        let place = (view, upright, from, from + rows);
                        if !vote.places.contains(&place) {
                            vote.places.push(place);
                        }
                    }
                }
            }
            if settled(votes) {
                return;
            }
        }
    }
}

/// What a row of bars says, read from either end.
fn decode(black: &[bool], kinds: &[Symbology]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut row = BitArray::with_size(black.len());
    for (i, b) in black.iter().enumerate() {
        if *b {
            row.set(i);
        }
    }
    let hints = DecodeHints::default();
    for turn in 0..2 {
        if turn == 1 {
            row.reverse();
        }
        for kind in kinds {
            let read = match kind {
                Symbology::Ean13 => EAN13Reader.decode_row(0, &row, &hints),
                Symbology::Ean8 => EAN8Reader.decode_row(0, &row, &hints),
                Symbology::UpcE => UPCEReader.decode_row(0, &row, &hints),
                Symbology::Itf14 => ITFReader::default().decode_row(0, &row, &hints),
            };
            if let Some(digits) = read.ok().and_then(|r| proper(*kind, r.getText())) {
                out.push(digits);
            }
        }
    }
    out.dedup();
    out
}

/// The digits, if they are of this kind and their check digit is right.
fn proper(kind: Symbology, text: &str) -> Option<String> {
    let digits = match kind {
        Symbology::Ean13 if text.len() == 13 => text,
        Symbology::Ean8 if text.len() == 8 => text,
        Symbology::Itf14 if text.len() == 14 => text,
        // Its check digit is that of the UPC-A that it stands for.
        Symbology::UpcE if text.len() == 8 => {
            return upc_a(text).filter(|a| gtin::is_valid(a));
        }
        _ => return None,
    };
    gtin::is_valid(digits).then(|| match digits.strip_prefix('0') {
        Some(upc) if kind == Symbology::Ean13 && gtin::is_valid(upc) => upc.to_owned(),
        _ => digits.to_owned(),
    })
}

/// The UPC-A that a UPC-E stands for. Source: `gs1general` (zero suppression).
fn upc_a(upc_e: &str) -> Option<String> {
    let digits: Vec<char> = upc_e.chars().filter(char::is_ascii_digit).collect();
    let [system, a, b, c, d, e, last, check] = digits.as_slice() else { return None };
    let body = match last {
        '0'..='2' => format!("{a}{b}{last}0000{c}{d}{e}"),
        '3' => format!("{a}{b}{c}00000{d}{e}"),
        '4' => format!("{a}{b}{c}{d}00000{e}"),
        _ => format!("{a}{b}{c}{d}{e}0000{last}"),
    };
    Some(format!("{system}{body}{check}"))
}

/// The plane turned by a quarter, for codes printed upright.
fn turned(light: &Plane<f32>) -> Plane<f32> {
    Plane::from_fn(light.height(), light.width(), |x, y| {
        light.get(y, light.height() - 1 - x).copied().unwrap_or(0.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vote(attempts: usize, places: &[(usize, usize)]) -> Vote {
        Vote { attempts, places: places.iter().map(|(a, b)| (0, false, *a, *b)).collect() }
    }

    #[test]
    fn one_strip_alone_is_no_reading() {
        let mut votes = BTreeMap::new();
        votes.insert("2004173001107".to_owned(), vote(9, &[(0, 10), (5, 15)]));
        assert_eq!(decide(&votes), CodeReading::Disagreeing, "overlapping strips are one place");
        votes.insert("2004173001107".to_owned(), vote(9, &[(0, 10), (10, 20)]));
        assert!(matches!(decide(&votes), CodeReading::Read { .. }));
        votes.insert("2004173001367".to_owned(), vote(4, &[(20, 30)]));
        assert_eq!(decide(&votes), CodeReading::Disagreeing, "4 of 13 attempts say otherwise");
    }

    #[test]
    fn wrong_check_digits_never_pass() {
        assert_eq!(proper(Symbology::Ean13, "2004173001108"), None);
        assert_eq!(proper(Symbology::Ean13, "2004173001107").as_deref(), Some("2004173001107"));
        assert_eq!(proper(Symbology::Ean13, "0036000291452").as_deref(), Some("036000291452"), "UPC-A");
        assert_eq!(proper(Symbology::Ean8, "96385074").as_deref(), Some("96385074"));
    }

    #[test]
    fn suppressed_zeros_come_back() {
        // Source: `gs1general`, the worked rows of zero suppression; check digits by its rule.
        for (short, long) in [("01234505", "012000003455"), ("01234531", "012300000451")] {
            let got = upc_a(short);
            assert_eq!(got.as_deref().map(|g| &g[..11]), Some(&long[..11]), "{short}");
        }
        assert_eq!(upc_a("0123450"), None);
    }

    #[test]
    fn nothing_is_read_from_noise_or_from_no_view() {
        assert_eq!(read(&[], &[Symbology::Ean13]), CodeReading::Nothing);
        let mut seed = 7_u32;
        let light = Plane::from_fn(900, 300, |_, _| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / 16_777_216.0
        });
        let view = CodeView { light, px_per_mm: 24.0, seen_px_per_mm: [24.0, 24.0] };
        let kinds = [Symbology::Ean13, Symbology::Ean8, Symbology::UpcE, Symbology::Itf14];
        assert!(!matches!(read(&[view], &kinds), CodeReading::Read { .. }));
    }
}
