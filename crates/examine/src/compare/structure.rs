//! Where the pattern of the print disagrees: missing, added, or explained.
//!
//! In: photo (response removed) and reference in CIELAB on one grid, aligned. Out: [`Structure`]: local
//! correlation and energies at every place.
//! Never here: the cause, words.
//!
//! Both are freed of slow changes (light, shading, haze), then multiplied in windows of about a
//! millimetre: correlation does not care how strong the print stands out, so glare that only greys it
//! is no disagreement.
//! Source: `wang2004` (the structure term of SSIM, here over three colour channels).

use photo::Plane;

use super::filter::{reduce, smooth, smooth_weighted, zip};
use super::grid::Grid;

/// Changes slower than this are light, mm.
const SLOW_MM: f64 = 2.2;
/// Standard deviation of the window, mm.
const WINDOW_MM: f64 = 0.75;
/// Weight of a* and b* beside L*.
const CHROMA: f32 = 0.6;

/// Local agreement of two pictures on a grid reduced by [`Structure::reduction`].
#[derive(Debug, Clone)]
pub struct Structure {
    /// Correlation −1 to 1 at each place.
    pub correlation: Plane<f32>,
    /// Root of the reference's local energy, in units of L*.
    pub reference: Plane<f32>,
    /// The same of the photo.
    pub photo: Plane<f32>,
    /// Share of the window that was usable.
    pub seen: Plane<f32>,
    /// Grid of these planes.
    pub grid: Grid,
    /// Pixels of the full grid in one of these, along either axis.
    pub reduction: usize,
}

/// Compares two pictures in CIELAB. `usable`: 1 where they may be compared.
#[must_use]
pub fn structure(
    grid: &Grid,
    reference: &[Plane<f32>; 3],
    photo: &[Plane<f32>; 3],
    usable: &Plane<f32>,
) -> Structure {
    let reduction = ((grid.px_per_mm / 3.0).round() as usize).max(1);
    let small = Grid {
        width: grid.width / reduction,
        height: grid.height / reduction,
        px_per_mm: grid.px_per_mm / reduction as f64,
        size_mm: grid.size_mm,
    };
    let s = small.px_per_mm;
    let mask = reduce(usable, reduction).map(|u| if *u > 0.5 { 1.0 } else { 0.0 });
    let fast = |plane: &Plane<f32>| {
        let fine = reduce(plane, reduction);
        let (slow, _) = smooth_weighted(&fine, &mask, SLOW_MM * s);
        let mut out = zip(&fine, &slow, |a, b| a - b);
        for (o, m) in out.data_mut().iter_mut().zip(mask.data()) {
            *o *= *m;
        }
        out
    };
    let mut sums: Option<[Plane<f32>; 3]> = None;
    for (c, weight) in [1.0, CHROMA * CHROMA, CHROMA * CHROMA].into_iter().enumerate() {
        let (r, p) = rayon::join(|| fast(&reference[c]), || fast(&photo[c]));
        let part = [zip(&r, &p, |a, b| weight * a * b), r.map(|v| weight * v * v), p.map(|v| weight * v * v)];
        sums = Some(match sums {
            None => part,
            Some(old) => [0, 1, 2].map(|k| zip(&old[k], &part[k], |a, b| a + b)),
        });
    }
    let empty = || Plane::filled(small.width, small.height, 0.0_f32);
    let [cross, rr, pp] = sums.unwrap_or_else(|| [empty(), empty(), empty()]);
    let seen = smooth(&mask, WINDOW_MM * s);
    let over =
        |p: &Plane<f32>| zip(&smooth(p, WINDOW_MM * s), &seen, |v, m| if m > 0.05 { v / m } else { 0.0 });
    let (cross, (rr, pp)) = rayon::join(|| over(&cross), || rayon::join(|| over(&rr), || over(&pp)));
    let bottom = zip(&rr, &pp, |a, b| (a.max(0.0) * b.max(0.0)).sqrt() + 0.5);
    let correlation = zip(&cross, &bottom, |c, b| c / b);
    Structure {
        correlation,
        reference: rr.map(|v| v.max(0.0).sqrt()),
        photo: pp.map(|v| v.max(0.0).sqrt()),
        seen: zip(&seen, &mask, |s, m| s * m),
        grid: small,
        reduction,
    }
}
