//! One face, several photos, one reading.
//!
//! In: comparisons of every usable photo of a face. Out: [`FaceReading`].
//! Never here: words, pictures.
//!
//! Pattern: at every place the photo that agrees best counts, since glare or a crease in one photo is no
//! fault of the print that another shows well. Regions and inks: means weighted by information, with
//! the scatter between photos in the uncertainty where it is larger than they state (`birge1932`).
//! Sources: `birge1932`, `jcgm100`.

use casebook::catalogue::Region;
use casebook::elementary::{ln, log10, pow};
use photo::Plane;

use super::region::RegionReading;
use crate::compare::grid::Grid;
use crate::compare::inks::Inks;
use crate::compare::patches::patches;
use crate::compare::structure::Structure;

/// How far genuine regions lie apart from their surroundings beyond measurement: shift mm, shift mm,
/// scale, turn rad. Origin: rendered genuine specimens (see `checks/print/README.md`).
pub(super) const REGION_SPREAD: [f64; 4] = [0.12, 0.12, 0.010, 0.010];
/// How far genuine inks lie apart from the reference beyond measurement, ΔL, ΔC, ΔH over CIEDE2000's
/// weights. Origin: as above.
pub(super) const INK_SPREAD: [f64; 3] = [3.0, 2.2, 1.5];
/// Lightness below which haze on the film and the camera's black decide an ink's chroma more and more:
/// the spread grows by its own size every 10 L* below.
const DARK: f64 = 28.0;
/// Width of the ring about a region that its own unexplained share is compared with, mm.
const RING_MM: f64 = 5.0;
/// Reference contrast (L* units) from which a place has a pattern that must be there.
const PATTERN: f32 = 2.5;
/// Photo contrast from which a pattern without counterpart is something added.
const ADDED: f32 = 6.0;
/// Correlation below which a pattern counts as not the same.
const SAME: f32 = 0.35;
/// A region is measured only where its pattern is surely the one: correlation at least this …
const SURE: f64 = 0.72;
/// … or, where the whole face is seen badly, a Fisher z not further below the face's than this.
const SURE_GAP: f64 = -0.4;
/// Energy (L* units) beyond which a place counts no more.
const LOUD: f32 = 15.0;
/// Added to shares before their logarithm: a share below it is as good as none.
const LEAST_SHARE: f64 = 0.003;
/// Side of the tiles whose scatter gives the uncertainty of averages over the face, mm.
const TILE_MM: f64 = 12.0;

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Value {
    /// The value.
    pub(super) value: f64,
    /// Standard uncertainty.
    pub(super) u: f64,
}

/// A region over all photos.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct JointRegion {
    /// Which region of the face, by index.
    pub(super) index: usize,
    /// Shift x, y (mm), scale − 1, turn (rad).
    pub(super) similarity: [Value; 4],
    /// Whether the pattern agrees well enough for these to be measurements.
    pub(super) sure: bool,
    /// Correlation of the pattern in the photo that shows it best.
    pub(super) likeness: f64,
    /// Its standard uncertainty.
    pub(super) likeness_u: f64,
    /// Share of the region's pattern that is missing, beyond that of the ring about it, 0 to 1.
    pub(super) missing: Value,
    /// Chance correlation: mean and standard deviation.
    pub(super) chance: (f64, f64),
    /// Root of the sum of squares of the four over their uncertainty and spread; 0 when not sure.
    pub(super) misfit: f64,
}

/// An ink over all photos.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct JointInk {
    /// Which ink of the reference.
    pub(super) index: usize,
    /// ΔL, ΔC, ΔH over CIEDE2000's weights, the camera judged without this ink.
    pub(super) lch: [Value; 3],
    /// Length of (ΔC, ΔH), each over its uncertainty and spread.
    pub(super) misfit: f64,
}

/// What all photos of a face say of its print.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FaceReading {
    /// Energy-weighted correlation of the pattern over the face, −1 to 1.
    pub(super) likeness: f64,
    /// Its Fisher z.
    pub(super) likeness_z: Value,
    /// Share of the compared area whose pattern is missing or added.
    pub(super) unexplained: Value,
    /// log10 of that share.
    pub(super) unexplained_log: Value,
    /// Area that was compared in at least one photo, mm².
    pub(super) compared_mm2: f64,
    /// Regions that could be measured.
    pub(super) regions: Vec<JointRegion>,
    /// Inks that could be measured.
    pub(super) inks: Vec<JointInk>,
    /// Places with a pattern that disagrees: 1 missing, 2 added, 0 neither, on the structure's grid.
    pub(super) disagreement: Plane<u8>,
}

/// What one photo adds.
pub(super) struct Seen<'a> {
    pub(super) structure: &'a Structure,
    pub(super) regions: &'a [Option<RegionReading>],
    pub(super) inks: &'a [Option<crate::compare::response::LeftOut>],
}

/// Joins photos of one face; nothing when no place was seen.
pub(super) fn join(photos: &[Seen<'_>], regions: &[Region], inks: &Inks) -> Option<FaceReading> {
    let first = photos.first()?.structure;
    let (w, h) = (first.grid.width, first.grid.height);
    let side = ((TILE_MM * first.grid.px_per_mm).round() as usize).max(1);
    let columns = w.div_ceil(side);
    let mut tiles = vec![Tile::default(); columns * h.div_ceil(side)];
    let mut disagreement = Plane::filled(w, h, 0_u8);
    let mut patterned = Plane::filled(w, h, false);
    for y in 0..h {
        for x in 0..w {
            let mut best: Option<(f32, f32, f32)> = None;
            for photo in photos {
                let s = photo.structure;
                if s.seen.row(y)[x] < 0.6 {
                    continue;
                }
                let here = (s.correlation.row(y)[x], s.reference.row(y)[x], s.photo.row(y)[x]);
                if best.is_none_or(|b| here.0 > b.0) {
                    best = Some(here);
                }
            }
            let Some((rho, reference, shown)) = best else { continue };
            let tile = &mut tiles[(y / side) * columns + x / side];
            tile.area += 1.0;
            if reference >= PATTERN / 2.0 {
                let weight = f64::from(reference.min(LOUD));
                tile.weight += weight;
                tile.agreement += weight * f64::from(rho);
            }
            patterned.row_mut(y)[x] = reference >= PATTERN;
            if rho < SAME {
                let kind = if reference >= PATTERN {
                    1
                } else if shown >= ADDED {
                    2
                } else {
                    0
                };
                if kind > 0 {
                    disagreement.row_mut(y)[x] = kind;
                }
            }
        }
    }
    keep_patches(&mut disagreement, 1.5 * first.grid.px_per_mm * first.grid.px_per_mm);
    for y in 0..h {
        for x in 0..w {
            if disagreement.row(y)[x] > 0 {
                tiles[(y / side) * columns + x / side].apart += 1.0;
            }
        }
    }
    let area: f64 = tiles.iter().map(|t| t.area).sum();
    let weight: f64 = tiles.iter().map(|t| t.weight).sum();
    if area < 1.0 || weight <= 0.0 {
        return None;
    }
    let likeness = ratio(&tiles, |t| t.agreement, |t| t.weight);
    let unexplained = ratio(&tiles, |t| t.apart, |t| t.area);
    let z = fisher(likeness.value);
    let slope = 1.0 / (1.0 - likeness.value * likeness.value).max(1e-3);
    let share = unexplained.value + LEAST_SHARE;
    let joint_regions = regions
        .iter()
        .enumerate()
        .filter_map(|(i, region)| {
            let missing = missing_share(&patterned, &disagreement, &first.grid, region);
            join_region(i, photos, z, missing)
        })
        .collect();
    let joint_inks = (0..inks.colours.len()).filter_map(|i| join_ink(i, photos, inks)).collect();
    Some(FaceReading {
        likeness: likeness.value,
        likeness_z: Value { value: z, u: likeness.u * slope },
        unexplained,
        unexplained_log: Value { value: log10(share), u: unexplained.u / share / ln(10.0) },
        compared_mm2: area / (first.grid.px_per_mm * first.grid.px_per_mm),
        regions: joint_regions,
        inks: joint_inks,
        disagreement,
    })
}

#[derive(Debug, Clone, Copy, Default)]
struct Tile {
    area: f64,
    weight: f64,
    agreement: f64,
    apart: f64,
}

/// Σ top ÷ Σ bottom with the scatter between tiles as its uncertainty.
fn ratio(tiles: &[Tile], top: fn(&Tile) -> f64, bottom: fn(&Tile) -> f64) -> Value {
    let (t, b): (f64, f64) = (tiles.iter().map(top).sum(), tiles.iter().map(bottom).sum());
    if b <= 0.0 || b.is_nan() {
        return Value::default();
    }
    let value = t / b;
    let n = tiles.iter().filter(|tile| bottom(tile) > 0.0).count() as f64;
    let square: f64 = tiles
        .iter()
        .map(|tile| {
            let r = top(tile) - value * bottom(tile);
            r * r
        })
        .sum();
    let u = if n > 1.5 { (square * n / (n - 1.0)).sqrt() / b } else { 1.0 };
    Value { value, u }
}

/// Fisher's z = artanh ρ, with ρ held inside −0.99 … 0.995.
pub(super) fn fisher(rho: f64) -> f64 {
    let r = rho.clamp(-0.99, 0.995);
    0.5 * ln((1.0 + r) / (1.0 - r))
}

/// Mean of values with their information; where they scatter more than they state, the scatter counts.
pub(super) fn combine(values: &[Value]) -> Option<Value> {
    let weights: Vec<f64> = values.iter().map(|v| 1.0 / (v.u * v.u).max(1e-12)).collect();
    let total: f64 = weights.iter().sum();
    if total <= 0.0 || total.is_nan() {
        return None;
    }
    let mean = values.iter().zip(&weights).map(|(v, w)| v.value * w).sum::<f64>() / total;
    let chi: f64 = values.iter().zip(&weights).map(|(v, w)| w * (v.value - mean) * (v.value - mean)).sum();
    let birge = if values.len() > 1 { (chi / (values.len() - 1) as f64).max(1.0) } else { 1.0 };
    Some(Value { value: mean, u: (birge / total).sqrt() })
}

fn join_region(index: usize, photos: &[Seen<'_>], face_z: f64, missing: Value) -> Option<JointRegion> {
    let readings: Vec<&RegionReading> =
        photos.iter().filter_map(|p| p.regions.get(index)?.as_ref()).collect();
    let best = readings.iter().copied().reduce(|a, b| if b.likeness > a.likeness { b } else { a })?;
    let sure = |r: &RegionReading| r.likeness >= SURE || fisher(r.likeness) - face_z >= SURE_GAP;
    let measured: Vec<&RegionReading> = readings.iter().copied().filter(|r| sure(r)).collect();
    let used = if measured.is_empty() { &readings } else { &measured };
    let mut similarity = [Value::default(); 4];
    let mut square = 0.0;
    for (k, joint) in similarity.iter_mut().enumerate() {
        let values: Vec<Value> = used
            .iter()
            .map(|r| Value {
                value: r.similarity.value[k],
                u: r.similarity.covariance[k][k].max(1e-10).sqrt(),
            })
            .collect();
        *joint = combine(&values)?;
        square += joint.value * joint.value / (joint.u * joint.u + REGION_SPREAD[k] * REGION_SPREAD[k]);
    }
    Some(JointRegion {
        index,
        similarity,
        likeness: best.likeness,
        likeness_u: best.likeness_u * (1.0 - best.likeness * best.likeness),
        missing,
        chance: best.chance,
        sure: !measured.is_empty(),
        misfit: if measured.is_empty() { 0.0 } else { square.sqrt() },
    })
}

/// Share of a region's pattern that disagrees, less that of the ring about it.
fn missing_share(patterned: &Plane<bool>, disagreement: &Plane<u8>, grid: &Grid, region: &Region) -> Value {
    let (inner, outer) = (grid.pixels(&region.rect_mm, 0.0), grid.pixels(&region.rect_mm, RING_MM));
    let (mut own, mut ring) = ([0.0; 2], [0.0; 2]);
    for y in outer.y0..outer.y1 {
        for x in outer.x0..outer.x1 {
            if !patterned.row(y)[x] {
                continue;
            }
            let inside = (inner.x0..inner.x1).contains(&x) && (inner.y0..inner.y1).contains(&y);
            let part = if inside { &mut own } else { &mut ring };
            part[0] += 1.0;
            part[1] += if disagreement.row(y)[x] > 0 { 1.0 } else { 0.0 };
        }
    }
    let cell = 1.0 / (grid.px_per_mm * grid.px_per_mm);
    let share = |[all, bad]: [f64; 2]| if all > 0.0 { bad / all } else { 0.0 };
    // Windows of about 4 mm² count as one trial each; two are added for the share's own unsureness.
    let trials = own[0] * cell / 4.0 + 2.0;
    let p = (share(own) * trials + 0.5) / (trials + 1.0);
    Value { value: (share(own) - share(ring)).max(0.0), u: (p * (1.0 - p) / trials).sqrt() }
}

fn join_ink(index: usize, photos: &[Seen<'_>], inks: &Inks) -> Option<JointInk> {
    let dark = ((DARK - inks.colours.get(index)?.l) / 10.0).max(0.0);
    let readings: Vec<_> = photos.iter().filter_map(|p| p.inks.get(index)?.as_ref()).collect();
    if readings.is_empty() {
        return None;
    }
    let mut lch = [Value::default(); 3];
    for (k, joint) in lch.iter_mut().enumerate() {
        let values: Vec<Value> = readings
            .iter()
            .map(|r| Value { value: r.lch[k], u: (r.camera[k][k] + r.scatter[k]).max(1e-6).sqrt() })
            .collect();
        *joint = combine(&values)?;
    }
    let part = |k: usize| {
        let v = lch[k];
        let spread = INK_SPREAD[k] * (1.0 + dark);
        v.value * v.value / (v.u * v.u + spread * spread)
    };
    Some(JointInk { index, lch, misfit: (part(1) + part(2)).sqrt() })
}

/// Clears connected patches of fewer than `least` pixels.
fn keep_patches(map: &mut Plane<u8>, least: f64) {
    for patch in patches(map) {
        if (patch.len() as f64) < least {
            for (x, y) in patch {
                map.row_mut(y)[x] = 0;
            }
        }
    }
}

/// Mean of the p-th powers to the 1/p: near the largest, but several count together.
#[must_use]
pub(super) fn soft_largest(values: &[f64], p: f64) -> f64 {
    let sum: f64 = values.iter().map(|v| pow(v.max(0.0), p)).sum();
    if sum > 0.0 { pow(sum, 1.0 / p) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_beyond_the_stated_counts() {
        let agreeing = combine(&[Value { value: 1.0, u: 0.1 }, Value { value: 1.05, u: 0.1 }]).expect("two");
        assert!((agreeing.u - 0.1 / 2.0_f64.sqrt()).abs() < 1e-12);
        let apart = combine(&[Value { value: 1.0, u: 0.1 }, Value { value: 2.0, u: 0.1 }]).expect("two");
        assert!(apart.u > 0.4, "{apart:?}");
    }

    #[test]
    fn small_patches_are_cleared() {
        let mut map = Plane::filled(8, 5, 0_u8);
        for (x, y) in [(1, 1), (2, 1), (2, 2), (6, 3)] {
            map.row_mut(y)[x] = 1;
        }
        keep_patches(&mut map, 2.0);
        assert_eq!(map.data().iter().filter(|v| **v > 0).count(), 3);
    }
}
