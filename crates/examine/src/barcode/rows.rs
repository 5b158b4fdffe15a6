//! From a straightened code to rows of bars: strips averaged along the bars, then cut into black and
//! white in several ways.
//!
//! In: luminance in linear light. Out: profiles and their bars. Never here: digits.

use photo::Plane;

/// One way of telling bars from spaces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cut {
    /// How strongly the profile is sharpened: multiples of its difference from its neighbourhood.
    pub(super) sharpen: f32,
    /// Whether the threshold is the local mean instead of the middle of local black and white.
    pub(super) mean: bool,
}

/// Every way, plainest first.
pub(super) const CUTS: [Cut; 6] = [
    Cut { sharpen: 0.0, mean: false },
    Cut { sharpen: 1.5, mean: false },
    Cut { sharpen: 4.0, mean: false },
    Cut { sharpen: 0.0, mean: true },
    Cut { sharpen: 1.5, mean: true },
    Cut { sharpen: 4.0, mean: true },
];

/// A strip across the bars: rows `from..to` of the plane, along lines that fall by `slope` pixels a
/// column... of bars leaning by `slope` columns a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Strip {
    pub(super) from: usize,
    pub(super) to: usize,
    /// Columns that the bars move to the right from one row to the next.
    pub(super) slope: f64,
}

/// Mean light along the bars, one value a column.
pub(super) fn profile(light: &Plane<f32>, strip: Strip) -> Vec<f32> {
    let width = light.width();
    let to = strip.to.min(light.height());
    let middle = (strip.from + to) as f64 / 2.0;
    let mut sum = vec![0.0_f32; width];
    for y in strip.from..to {
        let row = light.row(y);
        let shift = strip.slope * (y as f64 + 0.5 - middle);
        let (whole, part) = (shift.floor(), (shift - shift.floor()) as f32);
        let whole = whole as isize;
        for (x, s) in sum.iter_mut().enumerate() {
            let at = |i: isize| {
                let i = (x as isize + i).clamp(0, width as isize - 1) as usize;
                row[i]
            };
            *s += at(whole) * (1.0 - part) + at(whole + 1) * part;
        }
    }
    let rows = to.saturating_sub(strip.from).max(1) as f32;
    sum.iter().map(|s| s / rows).collect()
}

/// Black (`true`) and white along a profile. `module_px`: about how many columns a module has.
pub(super) fn bars(profile: &[f32], module_px: f64, cut: Cut) -> Vec<bool> {
    let near = boxed(profile, (1.6 * module_px).round().max(1.0) as usize);
    let sharp: Vec<f32> = profile.iter().zip(&near).map(|(v, n)| v + cut.sharpen * (v - n)).collect();
    let threshold = if cut.mean {
        // Three modules to either side hold bars and spaces in every EAN digit.
        boxed(&sharp, (3.2 * module_px).round().max(1.0) as usize)
    } else {
        let reach = (8.0 * module_px).round().max(1.0) as usize;
        extremes(&sharp, reach)
    };
    sharp.iter().zip(&threshold).map(|(v, t)| v < t).collect()
}

/// Mean over `reach` columns to either side.
fn boxed(v: &[f32], reach: usize) -> Vec<f32> {
    let mut sums = Vec::with_capacity(v.len() + 1);
    let mut total = 0.0_f64;
    sums.push(total);
    for x in v {
        total += f64::from(*x);
        sums.push(total);
    }
    (0..v.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(reach), (i + reach + 1).min(v.len()));
            ((sums[b] - sums[a]) / (b - a) as f64) as f32
        })
        .collect()
}

/// Middle of the darkest and the lightest value within `reach` columns.
fn extremes(v: &[f32], reach: usize) -> Vec<f32> {
    let step = (reach / 4).max(1);
    let blocks: Vec<(f32, f32)> = v
        .chunks(step)
        .map(|c| c.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(lo, hi), x| (lo.min(*x), hi.max(*x))))
        .collect();
    (0..v.len())
        .map(|i| {
            let at = i / step;
            let (a, b) = (at.saturating_sub(4), (at + 5).min(blocks.len()));
            let (lo, hi) = blocks[a..b]
                .iter()
                .fold((f32::INFINITY, f32::NEG_INFINITY), |(lo, hi), b| (lo.min(b.0), hi.max(b.1)));
            (lo + hi) / 2.0
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leaning_bars_stand_in_the_profile_of_their_slope() {
        let plane = Plane::from_fn(60, 40, |x, y| {
            let place = x as f64 - 0.25 * (y as f64 + 0.5 - 20.0);
            if (place / 6.0).floor() as i64 % 2 == 0 { 0.05_f32 } else { 0.9 }
        });
        let spread = |slope: f64| {
            let p = profile(&plane, Strip { from: 0, to: 40, slope });
            p[12..48].iter().fold(0.0_f32, |m, v| m.max((v - 0.47).abs()))
        };
        assert!(spread(0.25) > 0.4 && spread(0.0) < 0.3, "{} {}", spread(0.25), spread(0.0));
    }

    #[test]
    fn bars_do_not_depend_on_the_level_of_light() {
        let one: Vec<f32> = (0..200).map(|i| if (i / 5) % 3 == 0 { 0.1 } else { 0.8 }).collect();
        let dim: Vec<f32> = one.iter().enumerate().map(|(i, v)| v * (0.2 + 0.0005 * i as f32)).collect();
        for cut in [CUTS[0], CUTS[1]] {
            let (a, b) = (bars(&one, 5.0, cut), bars(&dim, 5.0, cut));
            let differ = a.iter().zip(&b).filter(|(a, b)| a != b).count();
            assert!(differ <= 2, "{differ} of 200 columns differ");
        }
    }
}
