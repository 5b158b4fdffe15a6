//! The inks of a face: the few colours that most of its flat area has.
//!
//! In: cells of the reference. Out: [`Inks`], and the ink of any colour. Seeded by the data alone
//! (the commonest colour first, then the one farthest from all so far), so it comes out the same
//! everywhere.
//! Never here: the photo.
//!
//! Sources: `lloyd1982` (k-means), `gonzalez1985` (farthest-first start).

use photo::colour::{Lab, delta_e_2000, linear_from_lab};

/// Most inks of a face.
const MOST: usize = 8;
/// Colours nearer than this are one ink, ΔE00.
const APART: f64 = 9.0;
/// A cell belongs to an ink within this, ΔE00.
const WITHIN: f64 = 7.5;
/// A cell with more contrast than this inside (L* units) is no flat ink.
pub const FLAT: f64 = 9.0;
/// Least share of the flat cells for an ink to count.
const LEAST_SHARE: f64 = 0.015;

/// The inks of one face.
#[derive(Debug, Clone, PartialEq)]
pub struct Inks {
    /// Their colours, commonest first.
    pub colours: Vec<Lab>,
    /// Share of the flat cells that each has.
    pub shares: Vec<f64>,
}

impl Inks {
    /// Finds the inks among the colours of flat cells.
    #[must_use]
    pub fn of(colours: &[Lab]) -> Self {
        if colours.is_empty() {
            return Self { colours: Vec::new(), shares: Vec::new() };
        }
        let mut centres = seeds(colours);
        let mut labels: Vec<usize> = Vec::new();
        for _ in 0..12 {
            labels = colours.iter().map(|c| nearest(&centres, *c)).collect();
            for (k, centre) in centres.iter_mut().enumerate() {
                if let Some(mean) =
                    mean(colours.iter().zip(&labels).filter(|(_, l)| **l == k).map(|(c, _)| *c))
                {
                    *centre = mean;
                }
            }
        }
        // Centres that moved together become one: the commoner keeps its place.
        let mut counted: Vec<(Lab, usize)> = Vec::new();
        for (k, centre) in centres.iter().enumerate() {
            counted.push((*centre, labels.iter().filter(|l| **l == k).count()));
        }
        counted.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.l.total_cmp(&b.0.l)));
        let mut kept: Vec<(Lab, usize)> = Vec::new();
        for (lab, count) in counted {
            match kept.iter_mut().find(|(other, _)| delta_e_2000(*other, lab) < APART) {
                Some(same) => same.1 += count,
                None => kept.push((lab, count)),
            }
        }
        let total = colours.len() as f64;
        kept.retain(|(_, count)| *count as f64 / total >= LEAST_SHARE);
        Self {
            shares: kept.iter().map(|(_, count)| *count as f64 / total).collect(),
            colours: kept.into_iter().map(|(lab, _)| lab).collect(),
        }
    }

    /// The ink of a colour, if it is near to one.
    #[must_use]
    pub fn label(&self, colour: Lab) -> Option<usize> {
        let k = nearest(&self.colours, colour);
        self.colours.get(k).is_some_and(|c| delta_e_2000(*c, colour) < WITHIN).then_some(k)
    }

    /// The ink nearest to a colour, however far.
    #[must_use]
    pub fn nearest(&self, colour: Lab) -> Option<usize> {
        (!self.colours.is_empty()).then(|| nearest(&self.colours, colour))
    }

    /// An ink's colour in plain words.
    #[must_use]
    pub fn word(&self, ink: usize) -> String {
        self.colours.get(ink).map_or_else(|| "unknown".to_owned(), |lab| word(*lab))
    }

    /// An ink's colour as linear light, for a sample patch.
    #[must_use]
    pub fn light(&self, ink: usize) -> [f64; 3] {
        self.colours.get(ink).map_or([0.0; 3], |lab| linear_from_lab(*lab).map(|v| v.clamp(0.0, 1.0)))
    }
}

fn seeds(colours: &[Lab]) -> Vec<Lab> {
    // The commonest: most others within a just visible range. A sample is enough to rank them.
    let step = (colours.len() / 400).max(1);
    let sample: Vec<Lab> = colours.iter().step_by(step).copied().collect();
    let crowd = |c: Lab| sample.iter().filter(|o| plain(c, **o) < 36.0).count();
    let mut first = sample[0];
    let mut most = 0;
    for c in &sample {
        let n = crowd(*c);
        if n > most {
            most = n;
            first = *c;
        }
    }
    let mut centres = vec![first];
    while centres.len() < MOST {
        let mut far: Option<(f64, Lab)> = None;
        for c in &sample {
            // Rare colours are no inks: at least 1 % of the sample must be near.
            if crowd(*c) * 100 < sample.len() {
                continue;
            }
            let d = centres.iter().map(|o| plain(*c, *o)).fold(f64::INFINITY, f64::min);
            if far.is_none_or(|(best, _)| d > best) {
                far = Some((d, *c));
            }
        }
        match far {
            Some((d, c)) if d > 100.0 => centres.push(c),
            _ => break,
        }
    }
    centres
}

/// Squared distance in CIELAB.
fn plain(a: Lab, b: Lab) -> f64 {
    (a.l - b.l) * (a.l - b.l) + (a.a - b.a) * (a.a - b.a) + (a.b - b.b) * (a.b - b.b)
}

fn nearest(centres: &[Lab], colour: Lab) -> usize {
    let mut best = (0, f64::INFINITY);
    for (k, c) in centres.iter().enumerate() {
        let d = plain(*c, colour);
        if d < best.1 {
            best = (k, d);
        }
    }
    best.0
}

fn mean(colours: impl Iterator<Item = Lab>) -> Option<Lab> {
    let (mut sum, mut n) = ([0.0; 3], 0.0);
    for c in colours {
        sum = [sum[0] + c.l, sum[1] + c.a, sum[2] + c.b];
        n += 1.0;
    }
    (n > 0.0).then(|| Lab::new(sum[0] / n, sum[1] / n, sum[2] / n))
}

/// A colour in plain words: lightness, strength and hue.
#[must_use]
pub fn word(lab: Lab) -> String {
    let chroma = (lab.a * lab.a + lab.b * lab.b).sqrt();
    if chroma < 7.0 {
        return match lab.l {
            l if l < 18.0 => "black",
            l if l < 40.0 => "dark grey",
            l if l < 70.0 => "grey",
            l if l < 88.0 => "light grey",
            _ => "white",
        }
        .to_owned();
    }
    let hue = casebook::elementary::atan2(lab.b, lab.a) * 180.0 / std::f64::consts::PI;
    let hue = if hue < 0.0 { hue + 360.0 } else { hue };
    let warm_dark = lab.l < 45.0 && (25.0..95.0).contains(&hue);
    let base = match hue {
        _ if warm_dark => "brown",
        h if h < 20.0 => "pink-red",
        h if h < 48.0 => "red",
        h if h < 72.0 => "orange",
        h if h < 105.0 => "yellow",
        h if h < 165.0 => "green",
        h if h < 220.0 => "teal",
        h if h < 262.0 => "blue-green",
        h if h < 300.0 => "blue",
        h if h < 330.0 => "violet",
        _ => "magenta",
    };
    let light = match lab.l {
        l if l < 25.0 => "very dark ",
        l if l < 45.0 => "dark ",
        l if l > 82.0 => "pale ",
        _ => "",
    };
    format!("{light}{base}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_inks_are_three_inks() {
        let mut colours = Vec::new();
        for i in 0..300 {
            let jitter = f64::from(i % 7) * 0.4 - 1.2;
            colours.push(match i % 6 {
                0..=2 => Lab::new(30.0 + jitter, 40.0, 20.0 + jitter),
                3 | 4 => Lab::new(70.0 + jitter, -30.0, 5.0),
                _ => Lab::new(92.0, 0.0 + jitter, 6.0),
            });
        }
        let inks = Inks::of(&colours);
        assert_eq!(inks.colours.len(), 3, "{inks:?}");
        assert!((inks.shares[0] - 0.5).abs() < 0.02);
        assert_eq!(inks.label(Lab::new(30.5, 39.0, 20.0)), Some(0));
        assert_eq!(inks.label(Lab::new(10.0, -40.0, -40.0)), None);
        assert_eq!(word(Lab::new(95.0, 0.0, 2.0)), "white");
        assert_eq!(word(Lab::new(40.0, 20.0, 20.0)), "dark brown");
    }
}
