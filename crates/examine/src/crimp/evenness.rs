//! How even the ridges of one end are: what light cannot do, and a re-closing does.
//!
//! In: the local maps of one end from one or more photos. Out: [`Evenness`], numbers without unit that
//! do not move with gain, with a smooth light or with its side. Never here: another end, makes, words.
//!
//! A ridge that is pressed flat shows no wave whatever the light; a ridge that lies in the shade shows
//! a weak wave that keeps step with its neighbours. So three things are read: over how much of the band
//! the wave explains what is seen; how far windows fall below their neighbours under the same light;
//! and how well the wave keeps step. Windows of several photos are laid over one another on the film,
//! the back mirrored: a dip that both sides show is shape, a dip of one side may be light.

use casebook::elementary::{ln, tanh};

use super::light::UnevenLight;
use super::map::{RidgeMap, Window};

/// Neighbourhood along the end that a window is compared with, mm each way: wider than a flattened
/// patch, narrower than the change of light over a pack.
const NEAR_MM: f64 = 9.0;
/// Distance between places on the film, mm.
const PLACE_MM: f64 = 1.75;
/// Share of the places that counts as the low tail.
const TAIL: f64 = 0.15;
/// Share of the variance below which a place counts as without ridges.
pub const FLAT_BELOW: f64 = 1.0 / 3.0;
/// Modulation that noise leaves after the fit of a window; keeps logarithms finite.
const MODULATION_FLOOR: f64 = 0.01;
/// Explained shares are held this far from 0 and 1 before their odds are taken.
const SHARE_FLOOR: f64 = 0.01;

/// One photo's map of an end, with how it lies on the film.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    /// The map.
    pub map: &'a RidgeMap,
    /// Whether it shows the back: x runs the other way on the film.
    pub back: bool,
    /// Relative trust, positive.
    pub weight: f64,
    /// Coherence from block to block at the map's wave.
    pub step_coherence: f64,
    /// Amplitude of the strongest other wave over that of the ridges.
    pub other_wave: f64,
    /// Light beside a product of two profiles, where enough of the band is seen.
    pub light: Option<UnevenLight>,
}

/// A place on the film with what all photos together say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceReading {
    /// Along the end on the front, mm.
    pub x_mm: f64,
    /// Inward, mm.
    pub d_mm: f64,
    /// ln modulation against the neighbours under the same light, mean over photos.
    pub dip: f64,
    /// Largest share of the variance that the wave explains in any photo.
    pub explained: f64,
    /// Photos that read it.
    pub photos: usize,
}

/// How even an end's ridges are.
#[derive(Debug, Clone, PartialEq)]
pub struct Evenness {
    /// Log odds of the mean share that ridges explain.
    pub ridge_odds: f64,
    /// Share of the places at which ridges explain less than a third of what is seen.
    pub flat_share: f64,
    /// Mean of the lowest [`TAIL`] of ln modulation against neighbours; 0 is even, −1 means a third.
    pub low_tail: f64,
    /// ln of the standard deviation of the same.
    pub spread: f64,
    /// Inverse hyperbolic tangent of the coherence from block to block.
    pub step: f64,
    /// ln amplitude of the strongest other wave over that of the ridges.
    pub other_wave: f64,
    /// Light beside a product of two profiles, all photos together.
    pub light: Option<UnevenLight>,
    /// The places.
    pub places: Vec<PlaceReading>,
}

/// ln modulation of each window against the median of its neighbourhood.
fn dips(map: &RidgeMap) -> Vec<(Window, f64)> {
    let windows: Vec<(Window, f64)> =
        map.read().map(|w| (*w, ln(w.modulation() + MODULATION_FLOOR))).collect();
    windows
        .iter()
        .map(|(w, level)| {
            let mut near: Vec<f64> = windows
                .iter()
                .filter(|(o, _)| (o.x_mm - w.x_mm).abs() <= NEAR_MM)
                .map(|(_, level)| *level)
                .collect();
            let middle = near.len() / 2;
            let median = *near.select_nth_unstable_by(middle, f64::total_cmp).1;
            (*w, level - median)
        })
        .collect()
}

/// Joins the maps of one end.
///
/// `None` when no window was read.
#[must_use]
pub fn evenness(seen: &[Seen<'_>], face_width_mm: f64) -> Option<Evenness> {
    let count = (face_width_mm / PLACE_MM) as usize + 1;
    let rows = seen.iter().map(|s| s.map.rows).max()?;
    // (weighted dips, weights, best explained, photos, place inward)
    let mut grid = vec![(0.0, 0.0, 0.0_f64, 0_usize, 0.0); count * rows];
    for one in seen {
        let trust = one.weight.max(1e-6);
        for (window, dip) in dips(one.map) {
            let x = if one.back { face_width_mm - window.x_mm } else { window.x_mm };
            let column = (x / PLACE_MM).round();
            if column < 0.0 || column >= count as f64 {
                continue;
            }
            let row = if one.map.rows == rows { row_of(one.map, &window) } else { 0 };
            let cell = &mut grid[row * count + column as usize];
            cell.0 += trust * dip;
            cell.1 += trust;
            cell.2 = cell.2.max(window.explained);
            cell.3 += 1;
            cell.4 += trust * window.d_mm;
        }
    }
    let places: Vec<PlaceReading> = grid
        .iter()
        .enumerate()
        .filter(|(_, c)| c.3 > 0)
        .map(|(i, c)| PlaceReading {
            x_mm: (i % count) as f64 * PLACE_MM,
            d_mm: c.4 / c.1,
            dip: c.0 / c.1,
            explained: c.2,
            photos: c.3,
        })
        .collect();
    if places.is_empty() {
        return None;
    }
    let local = statistics(&places);
    let step = seen.iter().map(|s| s.step_coherence).fold(0.0, f64::max);
    let other = seen.iter().map(|s| s.other_wave).fold(f64::INFINITY, f64::min);
    Some(Evenness {
        ridge_odds: local[0],
        low_tail: local[1],
        spread: local[2],
        flat_share: local[3],
        step: inverse_tanh(step),
        other_wave: ln(other.clamp(0.01, 100.0)),
        light: UnevenLight::mean(&seen.iter().filter_map(|s| s.light).collect::<Vec<_>>()),
        places,
    })
}

/// What the places alone say: log odds of the mean explained share, low tail, ln spread, flat share.
#[must_use]
pub fn statistics(places: &[PlaceReading]) -> Vec<f64> {
    let n = places.len().max(1) as f64;
    let mean_explained = places.iter().map(|p| p.explained).sum::<f64>() / n;
    let flat = places.iter().filter(|p| p.explained < FLAT_BELOW).count() as f64;
    let mut sorted: Vec<f64> = places.iter().map(|p| p.dip).collect();
    sorted.sort_by(f64::total_cmp);
    let tail = ((TAIL * n).ceil() as usize).min(sorted.len()).max(1);
    let low_tail = sorted.iter().take(tail).sum::<f64>() / tail as f64;
    let mean_dip = sorted.iter().sum::<f64>() / n;
    let variance = sorted.iter().map(|d| (d - mean_dip) * (d - mean_dip)).sum::<f64>() / n;
    vec![odds(mean_explained), low_tail, ln(variance.sqrt() + 0.01), flat / n]
}

/// Log odds of a share, held away from 0 and 1.
#[must_use]
pub fn odds(share: f64) -> f64 {
    let share = share.clamp(SHARE_FLOOR, 1.0 - SHARE_FLOOR);
    ln(share / (1.0 - share))
}

fn inverse_tanh(r: f64) -> f64 {
    // Beyond 0.999 photos differ by their noise alone.
    let r = r.clamp(0.0, 0.999);
    let z = 0.5 * ln((1.0 + r) / (1.0 - r));
    debug_assert!((tanh(z) - r).abs() < 1e-9);
    z
}

fn row_of(map: &RidgeMap, window: &Window) -> usize {
    map.windows.iter().position(|w| w.is_some_and(|w| w == *window)).map_or(0, |at| at / map.columns.max(1))
}
