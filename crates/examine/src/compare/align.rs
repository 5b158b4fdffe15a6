//! Aligns a photo with its reference: the smooth displacement of the whole print, coarse to fine.
//!
//! In: reference and photo on one grid, placed within a few millimetres. Out: [`Alignment`].
//! Never here: colour, regions, what a displacement means.

use photo::Plane;

use super::blocks::{Search, shifts};
use super::field::{Basis, Field, Shift};
use super::filter::{normalise, zip};
use super::grid::Grid;
use super::layer::{Layer, Places, coarse};

/// Distance over which light is taken out before correlating, mm.
const LIGHT_MM: f64 = 3.0;
/// Least local contrast (of the square root of luminance) that counts fully.
const FLOOR: f32 = 0.03;
/// Fewest blocks that may carry a field.
pub const MIN_BLOCKS: usize = 12;

/// A level of the search: reduction of the grid, block side, stride and reach in mm.
struct Level {
    reduction: usize,
    block_mm: f64,
    stride_mm: f64,
    reach_mm: f64,
}

const LEVELS: [Level; 3] = [
    Level { reduction: 4, block_mm: 13.0, stride_mm: 6.0, reach_mm: 3.4 },
    Level { reduction: 2, block_mm: 9.0, stride_mm: 5.0, reach_mm: 1.4 },
    Level { reduction: 1, block_mm: 7.0, stride_mm: 4.0, reach_mm: 0.34 },
];

/// How one photo's print lies on the reference grid.
#[derive(Debug, Clone)]
pub struct Alignment {
    /// The smooth displacement of the whole face.
    pub field: Field,
    /// The blocks it rests on, with total displacement.
    pub shifts: Vec<Shift>,
    /// Functions of the field, to fit it again without a region.
    pub basis: Basis,
    /// Median correlation of the blocks.
    pub correlation: f64,
}

/// Aligns.
///
/// # Input
/// `reference`: on the grid, no margin. `photo`: with margin (a multiple of 4 pixels).
/// `usable`: on the grid, 1 where print is compared.
///
/// # Cannot tell
/// Nothing when fewer than [`MIN_BLOCKS`] blocks are found at the finest level.
#[must_use]
pub fn align(grid: &Grid, reference: &Layer, photo: &Layer, usable: &Plane<f32>) -> Option<Alignment> {
    let basis = Basis::over(grid.size_mm);
    let mut field = Field::flat(grid.size_mm)?;
    let (dark_reference, dark_photo) = rayon::join(|| reference.lightness(), || photo.lightness());
    let mut last: Vec<Shift> = Vec::new();
    for level in &LEVELS {
        let n = level.reduction;
        let small = Grid {
            width: grid.width / n,
            height: grid.height / n,
            px_per_mm: grid.px_per_mm / n as f64,
            size_mm: grid.size_mm,
        };
        let s = small.px_per_mm;
        let places = Places::of(&small, &field);
        let margin = photo.margin_px / n;
        let (seen, shown) = rayon::join(
            || places.linear(&coarse(&photo.usable, n), margin),
            || places.cubic(&coarse(&dark_photo, n), margin),
        );
        let both = zip(&coarse(usable, n), &seen, |a, b| if a > 0.5 && b > 0.5 { 1.0 } else { 0.0 });
        let (flat_reference, flat_photo) = rayon::join(
            || normalise(&coarse(&dark_reference, n), &both, LIGHT_MM * s, FLOOR),
            || normalise(&shown, &both, LIGHT_MM * s, FLOOR),
        );
        let search = Search {
            block_px: (level.block_mm * s).round() as usize,
            stride_px: (level.stride_mm * s).round().max(1.0) as usize,
            reach_px: (level.reach_mm * s).round() as usize + 1,
            correlated_px: CORRELATED_PX,
            usable: 0.55,
            least_correlation: 0.35,
        };
        let mut found = shifts(&small, &flat_reference, &flat_photo, &both, &search);
        for shift in &mut found {
            let before = field.at(shift.at_mm[0], shift.at_mm[1]);
            shift.d_mm = [shift.d_mm[0] + before[0], shift.d_mm[1] + before[1]];
        }
        if found.len() >= MIN_BLOCKS {
            field = Field::fit(&basis, &found, &[])?;
        } else if n == 1 {
            return None;
        }
        last = found;
    }
    let mut correlations: Vec<f64> = last.iter().map(|s| s.correlation).collect();
    correlations.sort_by(f64::total_cmp);
    let correlation = correlations.get(correlations.len() / 2).copied().unwrap_or(0.0);
    Some(Alignment { field, shifts: last, basis, correlation })
}

/// Pixels that count as one independent one: what is left over between photo and reference is shading
/// and resampling, correlated over about half a millimetre. Origin: trials with known truth.
const CORRELATED_PX: f64 = 16.0;
