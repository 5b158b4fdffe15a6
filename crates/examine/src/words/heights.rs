//! How large the letters of a word are beside the reference's, and how wide the gaps between words.
//!
//! In: profiles of edges of a line, over its height or along it. Out: [`Stretch`], [`Extent`], gaps.
//! Never here: photos, words, what a difference means.
//!
//! A word's height is compared through its whole profile over the line's height, not through two
//! edges found on it: the reference's profile, made as soft as the photo, is stretched and moved until
//! it lies on the photo's, by least squares. Ascenders, descenders and the x-height all pull on the same
//! stretch. The uncertainty is that of the fit (`jcgm100`), widened by how far its residuals hang
//! together.

/// Stretches that are searched, from and to.
const RANGE: (f64, f64) = (0.70, 1.45);
const STEP: f64 = 0.015;
/// How far a word may lie above or below its place, as a share of its profile's length.
const SHIFT: f64 = 0.22;
/// Fewest pixels of a profile.
const LEAST_PX: usize = 16;
/// Lowest correlation of a fit that is believed.
const BELIEVED: f64 = 0.90;
/// Share of a line's usual edges below which a column belongs to no letter.
const GAP: f64 = 0.25;

/// Strength of edges along one axis, one value a pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// The values; at least 0.
    pub values: Vec<f64>,
    /// Pixels a millimetre.
    pub px_per_mm: f64,
}

/// How a profile lies on the reference's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its size over the reference's: 1.23 is 23 % larger.
    pub scale: f64,
    /// Standard uncertainty of `scale`.
    pub scale_u: f64,
    /// How far it lies beyond its place, mm, downwards or to the right.
    pub shift_mm: f64,
    /// Correlation of the two, −1 to 1.
    pub correlation: f64,
}

/// From where to where a profile has edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// First edge, mm from the profile's start.
    pub from_mm: f64,
    /// Last edge.
    pub to_mm: f64,
    /// Standard uncertainty of the distance between them, mm.
    pub length_u_mm: f64,
}

impl Extent {
    /// Distance between the edges, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.to_mm - self.from_mm
    }
}

/// Measures from where to where a profile has edges: where it crosses half of its plateau. A blur that
/// is the same to both sides moves neither.
///
/// # Cannot tell
/// `None` when the profile is short, flat, or runs out of its ends.
///
/// # Example
/// ```
/// use examine::words::{Profile, extent};
/// let mut values = vec![0.0; 40];
/// values[10..30].fill(1.0);
/// let found = extent(&Profile { values, px_per_mm: 10.0 }).unwrap();
/// assert!((found.length_mm() - 2.0).abs() < 0.05); // 20 pixels at 10 a millimetre
/// ```
#[must_use]
pub fn extent(profile: &Profile) -> Option<Extent> {
    let v = &profile.values;
    if v.len() < LEAST_PX {
        return None;
    }
    let mut sorted = v.clone();
    sorted.sort_by(f64::total_cmp);
    let floor = sorted[v.len() / 10];
    let top = sorted[v.len() - 1];
    let strong: Vec<f64> = sorted.iter().copied().filter(|x| *x > floor + 0.3 * (top - floor)).collect();
    let plateau = *strong.get(strong.len() / 2)?;
    let half = floor + 0.5 * (plateau - floor);
    let noise = (sorted[v.len() / 5] - floor).abs();
    let first = v.iter().position(|x| *x > half)?;
    let last = v.iter().rposition(|x| *x > half)?;
    if first == 0 || last + 1 == v.len() || plateau - floor < 1e-9 {
        return None;
    }
    let cross = |out: usize, inside: usize| (half - v[out]) / (v[inside] - v[out]);
    let from = first as f64 - 1.0 + cross(first - 1, first) + 0.5;
    let to = last as f64 + 1.0 - cross(last + 1, last) + 0.5;
    let slope = |a: usize, b: usize| (v[a] - v[b]).abs().max(1e-12);
    // A tenth of a pixel: the crossing is interpolated in a straight line.
    let u = |slope: f64| (noise / slope).min(1.0) * 0.5 + 0.1;
    let (a, b) = (u(slope(first, first - 1)), u(slope(last, last + 1)));
    Some(Extent {
        from_mm: from / profile.px_per_mm,
        to_mm: to / profile.px_per_mm,
        length_u_mm: (a * a + b * b).sqrt() / profile.px_per_mm,
    })
}

/// Measures how a profile is stretched against the reference's of the same resolution.
///
/// # Input
/// Both over the same stretch of the face, at the same pixels a millimetre, equally soft.
///
/// # Cannot tell
/// `None` when they are short or of other length, when one is flat, when their likeness stays under 0.9
/// or the best stretch leaves 0.70 to 1.45.
#[must_use]
pub fn stretch(reference: &Profile, seen: &Profile) -> Option<Stretch> {
    let (r, s) = (&reference.values, &seen.values);
    let n = r.len();
    if n < LEAST_PX || s.len() != n {
        return None;
    }
    let weight: f64 = r.iter().sum();
    if weight <= 0.0 {
        return None;
    }
    // Stretched about the middle of the reference's edges, so that scale and shift hardly hang together.
    let middle = r.iter().enumerate().map(|(i, v)| i as f64 * v).sum::<f64>() / weight;
    let reach = (SHIFT * n as f64).round() as i32;
    let mut best = (f64::NEG_INFINITY, 1.0, 0.0);
    let steps = ((RANGE.1 - RANGE.0) / STEP).round() as i32;
    for k in 0..=steps {
        let a = RANGE.0 + STEP * f64::from(k);
        for shift in -reach..=reach {
            let b = f64::from(shift);
            let model: Vec<f64> = (0..n).map(|i| at(r, middle + (i as f64 - middle - b) / a)).collect();
            let c = correlation(&model, s);
            if c > best.0 {
                best = (c, a, b);
            }
        }
    }
    let (_, mut a, mut b) = best;
    let mut covariance = [[0.0; 2]; 2];
    for _ in 0..8 {
        let step = improve(r, s, middle, a, b)?;
        a += step.0[0].clamp(-0.05, 0.05);
        b += step.0[1].clamp(-1.0, 1.0);
        covariance = step.1;
    }
    let model: Vec<f64> = (0..n).map(|i| at(r, middle + (i as f64 - middle - b) / a)).collect();
    let correlation = correlation(&model, s);
    let u = covariance[0][0].sqrt();
    let inside = a > RANGE.0 + STEP && a < RANGE.1 - STEP && b.abs() < f64::from(reach);
    (inside && correlation >= BELIEVED && u.is_finite()).then_some(Stretch {
        scale: a,
        scale_u: u,
        shift_mm: b / seen.px_per_mm,
        correlation,
    })
}

/// A profile between its pixels, repeated beyond its ends.
fn at(v: &[f64], x: f64) -> f64 {
    let last = v.len() - 1;
    let x = x.clamp(0.0, last as f64);
    let i = (x as usize).min(last.saturating_sub(1));
    let t = x - i as f64;
    v[i] + (v[(i + 1).min(last)] - v[i]) * t
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let (ma, mb) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma) * (x - ma);
        bb += (y - mb) * (y - mb);
    }
    if aa * bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

/// One step of Gauss–Newton in stretch and shift, with gain and floor solved for, and the covariance of
/// stretch and shift there.
fn improve(r: &[f64], s: &[f64], middle: f64, a: f64, b: f64) -> Option<([f64; 2], [[f64; 2]; 2])> {
    let n = r.len();
    let place = |i: usize| middle + (i as f64 - middle - b) / a;
    let model: Vec<f64> = (0..n).map(|i| at(r, place(i))).collect();
    let (mm, ms) = (model.iter().sum::<f64>() / n as f64, s.iter().sum::<f64>() / n as f64);
    let var: f64 = model.iter().map(|m| (m - mm) * (m - mm)).sum();
    let cov: f64 = model.iter().zip(s).map(|(m, s)| (m - mm) * (s - ms)).sum();
    if var <= 0.0 {
        return None;
    }
    let gain = cov / var;
    let floor = ms - gain * mm;
    let rows: Vec<[f64; 4]> = (0..n)
        .map(|i| {
            let x = place(i);
            let slope = (at(r, x + 0.5) - at(r, x - 0.5)) * gain;
            [-slope * (i as f64 - middle - b) / (a * a), -slope / a, model[i], 1.0]
        })
        .collect();
    let residuals: Vec<f64> = (0..n).map(|i| s[i] - gain * model[i] - floor).collect();
    let normal = nalgebra::Matrix4::from_fn(|i, j| rows.iter().map(|row| row[i] * row[j]).sum());
    let right =
        nalgebra::Vector4::from_fn(|i, _| rows.iter().zip(&residuals).map(|(row, e)| row[i] * e).sum());
    let inverse = normal.try_inverse()?;
    let step = inverse * right;
    let rss: f64 = residuals.iter().map(|e| e * e).sum();
    // Neighbouring residuals are one blur wide: so many pixels count as one.
    let lag =
        |k: usize| residuals.iter().zip(&residuals[k..]).map(|(a, b)| a * b).sum::<f64>() / rss.max(1e-300);
    let together = 1.0 + 2.0 * (1..n / 4).map(lag).take_while(|c| *c > 0.0).sum::<f64>();
    let variance = rss / (n as f64 / together - 4.0).max(2.0);
    let c = |i: usize, j: usize| inverse[(i, j)] * variance;
    Some(([step[0], step[1]], [[c(0, 0), c(0, 1)], [c(1, 0), c(1, 1)]]))
}

/// Where each word's neighbourhood begins and ends along a line, and the gap after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    /// From the middle of the gap before, pixels.
    pub(super) from: f64,
    /// To the middle of the gap after.
    pub(super) to: f64,
    /// The gap after: first and last edge, pixels; nothing after the last word or where none is seen.
    pub(super) gap: Option<(f64, f64)>,
}

/// Cuts a line into its words.
///
/// `along`: edges by column. `ends`: for each word, the middles of its first and last letter, pixels.
pub(super) fn spans(along: &[f64], ends: &[Option<(f64, f64)>]) -> Vec<Option<Span>> {
    let mut strong: Vec<f64> = along.to_vec();
    strong.sort_by(f64::total_cmp);
    let usual = strong.get(strong.len() * 7 / 10).copied().unwrap_or(0.0);
    let floor = strong.get(strong.len() / 50).copied().unwrap_or(0.0);
    let level = floor + GAP * (usual - floor);
    let gap = |k: usize| -> Option<(f64, f64)> {
        let (from, to) = (ends.get(k)?.as_ref()?.1, ends.get(k + 1)?.as_ref()?.0);
        let (from, to) = (from.max(0.0) as usize, (to.max(0.0) as usize).min(along.len().saturating_sub(1)));
        let mut best: Option<(usize, usize)> = None;
        let mut start = None;
        for (x, edge) in along.iter().enumerate().take(to + 1).skip(from) {
            let low = *edge < level;
            match (low, start) {
                (true, None) => start = Some(x),
                (false, Some(a)) => {
                    if best.is_none_or(|(p, q)| x - a > q - p) {
                        best = Some((a, x));
                    }
                    start = None;
                }
                _ => {}
            }
        }
        let (a, b) = best.filter(|(a, _)| *a > 0)?;
        let cross = |out: usize, inside: usize| {
            let rise = along[inside] - along[out];
            if rise.abs() > 0.0 { ((level - along[out]) / rise).clamp(0.0, 1.0) } else { 0.5 }
        };
        Some((a as f64 - cross(a, a - 1), b as f64 - 1.0 + cross(b - 1, b)))
    };
    let gaps: Vec<Option<(f64, f64)>> = (0..ends.len()).map(gap).collect();
    let last = along.len() as f64 - 1.0;
    (0..ends.len())
        .map(|k| {
            ends[k]?;
            let middle = |g: Option<(f64, f64)>| g.map(|(a, b)| (a + b) / 2.0);
            let from = if k == 0 { 0.0 } else { middle(gaps[k - 1])? };
            let to = if k + 1 == ends.len() { last } else { middle(gaps[k])? };
            (to > from).then_some(Span { from, to, gap: gaps[k] })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use casebook::elementary::exp;

    /// A profile as of letters: high from baseline to x-height, lower above to the ascender.
    fn letters(
        n: usize,
        base: f64,
        x_height: f64,
        ascender: f64,
        blur: f64,
        noise: f64,
        seed: u64,
    ) -> Profile {
        let mut state = seed;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
        };
        let step = |d: f64| 1.0 / (1.0 + exp(-1.7 * d / blur));
        let values = (0..n)
            .map(|i| {
                let y = i as f64;
                let high = step(y - (base - x_height)) * step(base - y);
                let rest = 0.35 * step(y - (base - ascender)) * step(base - x_height - y);
                high + rest + 0.1 + noise * 3.46 * random()
            })
            .collect();
        Profile { values, px_per_mm: 20.0 }
    }

    #[test]
    fn a_word_set_larger_is_measured_so() {
        let reference = letters(64, 44.0, 16.0, 24.0, 1.5, 0.0, 1);
        for k in [0.8, 0.95, 1.0, 1.10, 1.23] {
            let seen = letters(64, 44.0, 16.0 * k, 24.0 * k, 1.5, 0.0, 1);
            let got = stretch(&reference, &seen).unwrap();
            assert!((got.scale - k).abs() < 0.012, "{k}: {got:?}");
        }
    }

    #[test]
    fn the_stated_uncertainty_holds() {
        let reference = letters(64, 44.0, 16.0, 24.0, 1.5, 0.0, 1);
        let (mut one, mut two, mut n) = (0, 0, 0);
        for seed in 0..300 {
            let seen = letters(64, 43.0, 17.0, 25.5, 1.5, 0.03, seed + 7);
            let Some(got) = stretch(&reference, &seen) else { continue };
            let off = (got.scale - 1.0625).abs() / got.scale_u;
            n += 1;
            one += usize::from(off < 1.0);
            two += usize::from(off < 2.0);
        }
        let share = |k: usize| k as f64 / f64::from(n);
        assert!(n > 290, "{n} of 300 measured");
        assert!(share(one) > 0.55 && share(two) > 0.88, "{:.2} {:.2}", share(one), share(two));
    }

    #[test]
    fn unlike_profiles_give_no_stretch() {
        let reference = letters(64, 44.0, 16.0, 24.0, 1.5, 0.0, 1);
        let flat = Profile { values: vec![0.3; 64], px_per_mm: 20.0 };
        assert!(stretch(&reference, &flat).is_none() && stretch(&flat, &reference).is_none());
        let short = Profile { values: vec![0.3; 8], px_per_mm: 20.0 };
        assert!(stretch(&short, &short).is_none() && extent(&short).is_none());
    }

    #[test]
    fn words_are_cut_at_the_gaps_between_them() {
        let mut along = vec![1.0; 100];
        for (a, b) in [(0, 5), (40, 50), (95, 100)] {
            along[a..b].fill(0.05);
        }
        along[20] = 0.1; // between two letters
        let found = spans(&along, &[Some((8.0, 36.0)), Some((54.0, 90.0))]);
        let first = found[0].unwrap();
        assert!((first.to - 44.5).abs() < 0.6, "{first:?}");
        let (a, b) = first.gap.unwrap();
        assert!((b - a - 10.0).abs() < 1.2, "{a} {b}");
        assert!(found[1].unwrap().gap.is_none());
    }
}
