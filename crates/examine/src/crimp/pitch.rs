//! Ridge direction and pitch of one strip, with the uncertainty that its own scatter shows.
//!
//! In: a [`Strip`]. Out: [`Pitch`], or [`NoRidges`] that says what the strip lacks. Never here: the
//! scale's uncertainty (the caller adds it), makes, a verdict.
//!
//! Read [`measure_pitch`]: the most prominent peak of the spectrum starts it, `settle_octave` decides
//! whether the peak is the ridges or their second glint, and `phases` refines the frequency by
//! regression of the phase over blocks, the multi-block form of a sine fit. Residual phases that keep
//! to each other from block to block widen the uncertainty.
//! Sources: [`ieee1057`] (sine fitting), [`jcgm100`]. Outside check: `tests/pitch_scipy.rs`.

use casebook::catalogue::RidgeDirection;
use casebook::elementary::{atan2, hypot};

use super::phases::{Blocks, Regression};
use super::spectrum::{Modulation, Peak, Spectrum};
use super::strip::Strip;

/// Pitches that are searched, mm. Sealing jaws are cut at about 0.6 to 2.5 mm a ridge; the range is a
/// little wider.
pub const PITCH_RANGE_MM: (f64, f64) = (0.45, 2.8);
/// Fewest samples a ridge: at 2 a wave is lost, and the anti-aliasing of cameras leaves little
/// contrast below 2.5.
pub const MIN_PX_PER_RIDGE: f64 = 2.5;
/// Largest slant of ridges against the seal's own axes, degrees: jaws are mounted square, and
/// placement is off by a few degrees at most.
pub const MAX_SLANT_DEG: f64 = 14.0;
/// Peaks of noise reach `ln(cells) / ln 2`, about 12 medians, in a strip of 3,000 cells; wrinkles and
/// lettering reach about 30 in strips without ridges.
pub const MIN_PROMINENCE: f64 = 40.0;
/// Least coherence from block to block. Chance phases of 40 pairs reach 0.3.
pub const MIN_COHERENCE: f64 = 0.55;
/// A sub-harmonic must stand this far over its background to be the true pitch.
const MIN_SUBHARMONIC_PROMINENCE: f64 = 22.0;
/// And its amplitude must be at least this share of the peak's: the two glints of a ridge differ by
/// more than a tenth on all but a perfectly even jaw in perfectly even light.
const MIN_SUBHARMONIC_SHARE: f64 = 0.08;
/// Fewest millimetres of strip along the ridges' normal, in pitches.
const MIN_RIDGES: f64 = 5.0;

/// What the ridges of a strip are.
#[derive(Debug, Clone, PartialEq)]
pub struct Pitch {
    /// Mean distance from ridge to ridge, mm.
    pub pitch_mm: f64,
    /// Standard uncertainty from the phases' scatter, mm; without that of the scale.
    pub standard_uncertainty_mm: f64,
    /// Which way the ridges run.
    pub direction: RidgeDirection,
    /// Wave vector, cycles per mm: along the end.
    pub fx: f64,
    /// And inward.
    pub fy: f64,
    /// Slant against the seal's axis, degrees, clockwise positive in the strip's frame.
    pub slant_deg: f64,
    /// How far the peak stands over the background.
    pub prominence: f64,
    /// Amplitude of the relative modulation at the pitch, mean over blocks.
    pub amplitude: f64,
    /// Amplitude at half the pitch over that at the pitch: above 1 where ridges glint twice.
    pub second_harmonic: f64,
    /// How well the phases of all blocks agree with one even spacing, 0 to 1.
    pub coherence: f64,
    /// How well neighbouring blocks keep step, whatever the bow of the seal, 0 to 1.
    pub step_coherence: f64,
    /// Blocks that were read.
    pub blocks: usize,
    /// Residual phases, cycles, with the place of each block's centre: (x mm, d mm, cycles, amplitude).
    pub residuals: Vec<(f64, f64, f64, f64)>,
}

/// Why a strip gave no pitch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoRidges {
    /// The strip has too few samples for the finest pitch; the value is its samples per mm.
    Coarse {
        /// Samples per mm.
        px_per_mm: f64,
    },
    /// The strip is too short or too little of it is usable.
    Short {
        /// Usable share.
        usable: f64,
    },
    /// A frequency stands out, but its waves do not keep step over the strip: wrinkles, lettering.
    OutOfStep {
        /// Coherence of their phases, 0 to 1.
        coherence: f64,
    },
    /// No frequency stands out; the value is the prominence of the best.
    NoPeak {
        /// Best prominence.
        prominence: f64,
    },
}

/// Measures direction and pitch of the ridges on a strip.
///
/// # Input
/// `strip`: one band of an end seal, linear light, ridges along or across it.
///
/// # Result
/// See [`Pitch`]. The uncertainty is that of the mean spacing under the strip's scale, k = 1.
///
/// # Cannot tell
/// [`NoRidges`]: too coarse for [`MIN_PX_PER_RIDGE`] at any pitch of [`PITCH_RANGE_MM`], too short,
/// nothing that stands out by [`MIN_PROMINENCE`], or waves out of step. Never an error, never a panic.
///
/// # Errors
/// None but the above.
///
/// # Source
/// Multi-block sine fit after [`ieee1057`].
///
/// # Example
/// ```
/// use examine::crimp::{measure_pitch, Strip};
/// let (width, height, px_per_mm) = (600, 70, 10.0);
/// let wave = |i: usize| ((i % width) as f32 % 12.0 < 6.0) as u8 as f32 * 0.2 + 0.3;
/// let strip = Strip::new(width, height, (0..width * height).map(wave).collect(), px_per_mm).unwrap();
/// let pitch = measure_pitch(&strip).unwrap();
/// assert!((pitch.pitch_mm - 1.2).abs() < 0.005, "{}", pitch.pitch_mm);
/// ```
pub fn measure_pitch(strip: &Strip) -> Result<Pitch, NoRidges> {
    let field = Modulation::of(strip);
    measure(&field, &Spectrum::of(&field), strip.usable_share())
}

/// [`measure_pitch`] on a spectrum that is there already.
pub(crate) fn measure(field: &Modulation, spectrum: &Spectrum, usable: f64) -> Result<Pitch, NoRidges> {
    let top = (field.px_per_mm / MIN_PX_PER_RIDGE).min(1.0 / PITCH_RANGE_MM.0);
    let bottom = 1.0 / PITCH_RANGE_MM.1;
    if top <= bottom * 1.2 {
        return Err(NoRidges::Coarse { px_per_mm: field.px_per_mm });
    }
    let (length, height) = field.size_mm();
    if usable < 0.2 || length < 4.0 || height < 1.0 {
        return Err(NoRidges::Short { usable });
    }
    let slant_limit = MAX_SLANT_DEG.to_radians();
    let keep = |fx: f64, fy: f64| {
        let angle = atan2(fy, fx).abs();
        let along = angle <= slant_limit && fx * length >= MIN_RIDGES;
        let across =
            (angle - std::f64::consts::FRAC_PI_2).abs() <= slant_limit && fy.abs() * height >= MIN_RIDGES;
        along || across
    };
    let peaks = spectrum.peaks(bottom, top, 8, keep);
    let best = peaks.first().copied();
    let Some(peak) = best.filter(|p| p.prominence >= MIN_PROMINENCE) else {
        return Err(NoRidges::NoPeak { prominence: best.map_or(0.0, |p| p.prominence) });
    };
    let peak = settle_octave(spectrum, peak, bottom);
    let pitch = refine(field, peak).ok_or(NoRidges::Short { usable })?;
    if pitch.step_coherence < MIN_COHERENCE {
        return Err(NoRidges::OutOfStep { coherence: pitch.step_coherence });
    }
    Ok(pitch)
}

/// The ridges or their second glint? A ridge that glints on both flanks repeats at half its pitch,
/// but hardly ever with two equal glints: the true frequency then shows at half the peak's.
fn settle_octave(spectrum: &Spectrum, peak: Peak, bottom: f64) -> Peak {
    let half = Peak { fx: peak.fx / 2.0, fy: peak.fy / 2.0, ..peak };
    if half.frequency() < bottom {
        return peak;
    }
    let (power, prominence) = spectrum.prominence_at(half.fx, half.fy);
    // The odd harmonics of the true pitch speak for it as well; take the better of the two.
    let (odd_power, odd) = spectrum.prominence_at(1.5 * peak.fx, 1.5 * peak.fy);
    let share = |p: f64| (p / peak.power).sqrt();
    let first = prominence >= MIN_SUBHARMONIC_PROMINENCE && share(power) >= MIN_SUBHARMONIC_SHARE;
    let third =
        odd >= MIN_SUBHARMONIC_PROMINENCE && share(odd_power) >= MIN_SUBHARMONIC_SHARE && prominence > 6.0;
    if first || third { Peak { power, prominence: prominence.max(peak.prominence), ..half } } else { peak }
}

fn refine(field: &Modulation, peak: Peak) -> Option<Pitch> {
    let direction = if peak.fx >= peak.fy.abs() { RidgeDirection::Along } else { RidgeDirection::Across };
    let (mut fx, mut fy) = (peak.fx, peak.fy);
    let mut fitted: Option<(Blocks, Regression)> = None;
    for _ in 0..3 {
        let blocks = Blocks::of(field, direction, fx, fy);
        let regression = blocks.regress()?;
        // A correction beyond the spectrum's own resolution would mean a false start.
        let (length, height) = field.size_mm();
        fx += regression.slope_x.clamp(-0.7 / length, 0.7 / length);
        fy += regression.slope_d.clamp(-0.7 / height, 0.7 / height);
        fitted = Some((blocks, regression));
    }
    let (_, last) = fitted?;
    let blocks = Blocks::of(field, direction, fx, fy);
    let residuals = blocks.residuals(&last);
    let frequency = hypot(fx, fy);
    let (ux, uy) = (fx / frequency, fy / frequency);
    let variance = last.variance_of_slope(ux, uy);
    let pitch_mm = 1.0 / frequency;
    let slant = match direction {
        RidgeDirection::Along => atan2(fy, fx),
        RidgeDirection::Across => -atan2(fx * fy.signum(), fy.abs()),
    };
    let (amplitude, second) = blocks.mean_amplitudes(field, direction);
    Some(Pitch {
        pitch_mm,
        standard_uncertainty_mm: variance.sqrt() * pitch_mm * pitch_mm,
        direction,
        fx,
        fy,
        slant_deg: slant.to_degrees(),
        prominence: peak.prominence,
        amplitude,
        second_harmonic: if amplitude > 0.0 { second / amplitude } else { 0.0 },
        coherence: last.coherence,
        step_coherence: blocks.step_coherence(),
        blocks: last.used,
        residuals,
    })
}
