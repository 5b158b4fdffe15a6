//! The local map: what the ridges are like in every small window of a band.
//!
//! In: a band's [`Strip`] and the wave that its ridges make. Out: [`RidgeMap`], one [`Window`] each
//! few millimetres. Never here: what is uneven, another end, a verdict.
//!
//! Each window is divided by its plane of light and fitted by least squares with a plane, the wave and
//! its second harmonic; so a slope of the light is no modulation, ridges in its brighter half are no
//! deeper, and a ridge that glints twice is one ridge.
//! Outside check: `tests/pitch_scipy.rs`.

use std::f64::consts::PI;

use casebook::elementary::{atan2, cos, hypot, sin};
use nalgebra::{Cholesky, Const, SMatrix, SVector};

use super::strip::Strip;

/// Length of a window along the end, mm: about three ridges, and short enough that a flattened patch
/// of 4 mm fills one.
pub const WINDOW_MM: f64 = 3.5;
/// Distance from window to window, mm.
pub const STEP_MM: f64 = 1.75;
/// Height of a window inward, mm, about: the tops of a seal whose cut is toothed bend with the teeth,
/// so that a window over the whole height would not be one wave.
const ROW_MM: f64 = 3.6;
/// Share of a window that must be usable.
pub const MIN_WINDOW_USABLE: f64 = 0.5;
/// Basis: 1, x, d, two waves and their second harmonics.
const TERMS: usize = 7;

/// One window's reading. Light values are linear, relative to the file's white.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Centre along the end, mm.
    pub x_mm: f64,
    /// Centre inward, mm.
    pub d_mm: f64,
    /// Mean light.
    pub mean: f64,
    /// Amplitude of the wave over the mean light.
    pub contrast: f64,
    /// Amplitude of its second harmonic over the mean light.
    pub second: f64,
    /// Phase of the wave in cycles against the strip's origin.
    pub phase: f64,
    /// Share of the variance about the plane that wave and harmonic explain, 0 to 1.
    pub explained: f64,
    /// Light that 95 % of the samples stay below, over the median.
    pub high: f64,
    /// Light that 5 % of the samples stay below, over the median.
    pub low: f64,
    /// Usable share, 0 to 1.
    pub usable: f64,
}

impl Window {
    /// Modulation: root of the summed squares of wave and second harmonic over the mean light.
    #[must_use]
    pub fn modulation(&self) -> f64 {
        hypot(self.contrast, self.second)
    }
}

/// Windows of a band on a grid; `None` where too little was usable.
#[derive(Debug, Clone, PartialEq)]
pub struct RidgeMap {
    /// Windows along the end.
    pub columns: usize,
    /// Windows inward.
    pub rows: usize,
    /// Row-major.
    pub windows: Vec<Option<Window>>,
}

impl RidgeMap {
    /// Reads the wave (`fx`, `fy`), cycles per mm, in every window of a band.
    #[must_use]
    pub fn of(band: &Strip, fx: f64, fy: f64) -> Self {
        let (length, height) = (band.width as f64 / band.px_per_mm, band.height as f64 / band.px_per_mm);
        let columns = (((length - WINDOW_MM) / STEP_MM).floor().max(0.0) as usize) + 1;
        let rows = ((height / ROW_MM).round() as usize).max(1);
        // Windows are laid out from the middle, so that a mirrored band has the mirrored map.
        let first = (length - WINDOW_MM - (columns - 1) as f64 * STEP_MM) / 2.0;
        let waves = Waves::of(band, fx, fy);
        let mut windows = Vec::new();
        for row in 0..rows {
            let from = row * band.height / rows;
            let to = (row + 1) * band.height / rows;
            for column in 0..columns {
                let left = (first + column as f64 * STEP_MM) * band.px_per_mm;
                let right = left + WINDOW_MM * band.px_per_mm;
                let left = (left.round().max(0.0) as usize).min(band.width);
                let right = (right.round().max(0.0) as usize).min(band.width);
                windows.push(read(band, &waves, (left, right), (from, to)));
            }
        }
        Self { columns, rows, windows }
    }

    /// Reads the wave over a whole strip as one window; `None` when too little of it is usable.
    #[must_use]
    pub fn whole(strip: &Strip, fx: f64, fy: f64) -> Option<Window> {
        read(strip, &Waves::of(strip, fx, fy), (0, strip.width), (0, strip.height))
    }

    /// The windows that could be read.
    pub fn read(&self) -> impl Iterator<Item = &Window> {
        self.windows.iter().flatten()
    }

    /// Share of the windows that could be read.
    #[must_use]
    pub fn read_share(&self) -> f64 {
        self.read().count() as f64 / self.windows.len().max(1) as f64
    }
}

/// The wave's turning over columns and rows, so that no window computes a sine.
struct Waves {
    x: Vec<(f64, f64)>,
    d: Vec<(f64, f64)>,
    harmonic: bool,
}

impl Waves {
    fn of(band: &Strip, fx: f64, fy: f64) -> Self {
        let turn = |f: f64, origin: f64, count: usize| {
            (0..count)
                .map(|i| {
                    let angle = 2.0 * PI * f * (origin + i as f64 / band.px_per_mm);
                    (cos(angle), sin(angle))
                })
                .collect()
        };
        Self {
            x: turn(fx, band.x0_mm, band.width),
            d: turn(fy, band.d0_mm, band.height),
            // Below 2.5 samples the second harmonic is not resolved.
            harmonic: 2.0 * hypot(fx, fy) * 2.5 <= band.px_per_mm,
        }
    }
}

/// One window's samples against the basis: plane, wave and second harmonic. The normal equations depend
/// on which samples are usable alone, so that two readings of one window share them.
struct Basis {
    /// Index of the sample in the band, and its basis; unusable samples are left out.
    samples: Vec<(usize, [f64; TERMS])>,
    all: Cholesky<f64, Const<TERMS>>,
    /// The plane alone, for the share that the waves explain.
    plane: Cholesky<f64, Const<3>>,
    usable: f64,
}

/// A least-squares fit on a basis.
struct Fitted {
    beta: SVector<f64, TERMS>,
    explained: f64,
}

impl Basis {
    /// `None` when too little of the window is usable.
    fn of(band: &Strip, waves: &Waves, columns: (usize, usize), rows: (usize, usize)) -> Option<Self> {
        let (wide, tall) = (columns.1 - columns.0, rows.1 - rows.0);
        let middle = ((columns.0 + columns.1 - 1) as f64 / 2.0, (rows.0 + rows.1 - 1) as f64 / 2.0);
        let (half_w, half_t) = (wide as f64 / 2.0, tall as f64 / 2.0);
        let terms = if waves.harmonic { TERMS } else { TERMS - 2 };
        let mut samples = Vec::with_capacity(wide * tall);
        for row in rows.0..rows.1 {
            let (cd, sd) = waves.d[row];
            let v = (row as f64 - middle.1) / half_t;
            for column in columns.0..columns.1 {
                let at = row * band.width + column;
                if !band.usable[at] {
                    continue;
                }
                let u = (column as f64 - middle.0) / half_w;
                let (cx, sx) = waves.x[column];
                let (c, s) = (cx * cd - sx * sd, sx * cd + cx * sd);
                let (c2, s2) = if waves.harmonic { (c * c - s * s, 2.0 * s * c) } else { (0.0, 0.0) };
                samples.push((at, [1.0, u, v, c, s, c2, s2]));
            }
        }
        let usable = samples.len() as f64 / (wide * tall) as f64;
        if usable < MIN_WINDOW_USABLE {
            return None;
        }
        let mut normal = [[0.0; TERMS]; TERMS];
        for (_, basis) in &samples {
            for i in 0..TERMS {
                for j in 0..TERMS {
                    normal[i][j] += basis[i] * basis[j];
                }
            }
        }
        let normal = SMatrix::<f64, TERMS, TERMS>::from_fn(|i, j| match i == j && i >= terms {
            true => 1.0,
            false => normal[i][j],
        });
        let plane = normal.fixed_view::<3, 3>(0, 0).into_owned().cholesky()?;
        Some(Self { samples, all: normal.cholesky()?, plane, usable })
    }

    /// Fits `value(index of the sample, u, v)`; `u` and `v` run from −1 to 1 across the window.
    fn fit(&self, value: impl Fn(usize, f64, f64) -> f64) -> Option<Fitted> {
        let mut right = [0.0; TERMS];
        let mut squares = 0.0;
        for (at, basis) in &self.samples {
            let value = value(*at, basis[1], basis[2]);
            for (sum, b) in right.iter_mut().zip(basis) {
                *sum += b * value;
            }
            squares += value * value;
        }
        let right = SVector::<f64, TERMS>::from(right);
        let beta = self.all.solve(&right);
        let flat = right.fixed_rows::<3>(0).into_owned();
        let about_plane = squares - self.plane.solve(&flat).dot(&flat);
        let about_all = squares - beta.dot(&right);
        let explained =
            if about_plane > 1e-12 * squares.max(1e-12) { 1.0 - about_all / about_plane } else { 0.0 };
        beta.iter().all(|v| v.is_finite()).then_some(Fitted { beta, explained: explained.clamp(0.0, 1.0) })
    }
}

fn read(band: &Strip, waves: &Waves, columns: (usize, usize), rows: (usize, usize)) -> Option<Window> {
    if columns.1.saturating_sub(columns.0) < 4 || rows.1.saturating_sub(rows.0) < 2 {
        return None;
    }
    // First for the plane of light that is there beside the waves, then against that plane: ridges in
    // the brighter half of a window are no deeper.
    let basis = Basis::of(band, waves, columns, rows)?;
    let lit = basis.fit(|at, _, _| f64::from(band.luminance[at]))?;
    let (mean, across, inward) = (lit.beta[0], lit.beta[1], lit.beta[2]);
    if mean <= 1e-5 {
        return None;
    }
    let relative = basis.fit(|at, u, v| {
        f64::from(band.luminance[at]) / (mean + across * u + inward * v).max(0.1 * mean) - 1.0
    })?;
    let mut light = Vec::with_capacity((columns.1 - columns.0) * (rows.1 - rows.0));
    for row in rows.0..rows.1 {
        let line = row * band.width;
        light.extend(
            (line + columns.0..line + columns.1).filter(|at| band.usable[*at]).map(|at| band.luminance[at]),
        );
    }
    let mut quantile = |share: f64| {
        let at = ((share * light.len() as f64) as usize).min(light.len() - 1);
        f64::from(*light.select_nth_unstable_by(at, f32::total_cmp).1)
    };
    let (low, median, high) = (quantile(0.05), quantile(0.5), quantile(0.95));
    let median = median.max(1e-6);
    let beta = relative.beta;
    Some(Window {
        x_mm: band.x_mm((columns.0 + columns.1 - 1) as f64 / 2.0),
        d_mm: band.d_mm((rows.0 + rows.1 - 1) as f64 / 2.0),
        mean,
        contrast: hypot(beta[3], beta[4]),
        second: if waves.harmonic { hypot(beta[5], beta[6]) } else { 0.0 },
        phase: atan2(-beta[4], beta[3]) / (2.0 * PI),
        explained: relative.explained,
        high: high / median,
        low: low / median,
        usable: basis.usable,
    })
}
