//! All photos of one face in one picture: straight on, free of glare, each part from those that saw it
//! best, without seams.
//!
//! In: photos with a map each. Out: [`Merged`] in linear light, and how far the cameras differ. Never
//! here: finding the face, ridges, names.
//!
//! 1. The photo whose outline is surest gives the frame. The others are laid over it (`examine::compare`:
//!    smooth displacement, camera and light taken out), then all over the result once more.
//! 2. The frame is moved to where the photos' outlines lie on average: a homography through the mean
//!    of their displacements.
//! 3. Light is split in two bands at a millimetre. In the broad one a photo counts less where it is
//!    brighter than the darkest of them: reflections add light and never take it. In the fine one the
//!    sharp photos count, and a place that only one photo shows bright counts little.
//!
//! Sources: [`evangelidis2008`] (alignment, in `compare`); two bands after [`burt-adelson1983`].

use casebook::elementary::{exp, exp32, ln32};
use examine::compare::facing::photo_layer;
use examine::compare::filter::{smooth, smooth_weighted, zip};
use examine::compare::grid::Grid;
use examine::compare::layer::Layer;
use examine::compare::{Comparison, Lack, Reference};
use photo::{Photo, Plane};
use placement::{Homography, Point, corners_mm, fit_weighted};
use rayon::prelude::*;

use crate::learned::Measured;

/// Resolutions of a merged picture, pixels per mm: below the first print is lost, above the second
/// nothing of a hand-held photo is.
const PX_PER_MM: (f64, f64) = (4.0, 20.0);
/// Most pixels of one face's picture.
const MOST_PIXELS: f64 = 6e6;
/// Standard deviation that splits light into two bands, mm.
const SPLIT_MM: f64 = 1.0;
/// Light added before logarithms.
const TOE: f32 = 0.003;
/// Excess of light over the darkest photo at which a photo counts 1/e, e-folds.
const EXCESS: f32 = 0.10;
/// Excess that shading alone makes.
const SHADING: f32 = 0.03;
/// Excess of fine detail at which a place counts 1/e, e-folds.
const FINE_EXCESS: f32 = 0.18;
/// Standard deviation over which weights are spread, so that no seam is seen, mm.
const SEAM_MM: f64 = 0.6;
/// Blur of a photo that is as sharp as can be told, grid pixels.
const SHARP_PX: f64 = 0.5;
/// Height of a filled pack's body over its outline, mm, that displaces print in a tilted view.
const PILLOW_MM: f64 = 3.0;

/// One photo of the face.
#[derive(Debug, Clone, Copy)]
pub struct View<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Millimetres on the face to its pixels, right to about 3 mm.
    pub map: Homography,
    /// Standard uncertainty of the outline behind it, mm; infinite when the map is not of an outline.
    pub outline_u_mm: f64,
    /// Angle of view, degrees.
    pub angle_deg: f64,
    /// Whether the face bulges over its outline.
    pub pillowed: bool,
}

/// The merged picture.
#[derive(Debug, Clone)]
pub struct Merged {
    /// Linear light; edges are the face's edges.
    pub rgb: [Plane<f32>; 3],
    /// Its resolution.
    pub px_per_mm: f64,
    /// Relative standard uncertainty of its light by channel: the cameras' spread over the root of
    /// their number; that of a single camera (0.15, common practice, no source) for one photo.
    pub colour_u: [f64; 3],
    /// Share of the face that every photo shows clipped.
    pub glare_left: f64,
    /// Standard uncertainty of a corner of the frame, mm.
    pub corner_u_mm: f64,
    /// Index of each view that was used, the one that gave the frame first, with the map of the frame
    /// to its pixels.
    pub used: Vec<(usize, Homography)>,
    /// What stood against using the others.
    pub lacks: Vec<(usize, Lack)>,
    /// How far the views' frames lie from each other at the corners, root mean square, mm.
    pub disagreement: Measured,
}

/// Red, green, blue.
type Rgb = [Plane<f32>; 3];

/// A photo laid over the frame.
struct Laid {
    view: usize,
    /// In the frame's light.
    rgb: [Plane<f32>; 3],
    usable: Plane<f32>,
    /// In its own light.
    own: [Plane<f32>; 3],
    /// Weight of its detail.
    sharp: f32,
    /// Displacement of the frame's places in its own map, at the probes, mm.
    moved: Vec<Point>,
}

/// Merges the photos of one face.
///
/// # Input
/// `size_mm`: width and height of the face.
///
/// # Result
/// Nothing when no photo shows the face.
///
/// # Errors
/// None; photos that could not be laid over the others are listed with what they lack.
#[must_use]
pub fn merge(views: &[View<'_>], size_mm: [f64; 2]) -> Option<Merged> {
    let scale =
        |v: &View<'_>| v.map.local_scale_px_per_mm([size_mm[0] / 2.0, size_mm[1] / 2.0]).unwrap_or(0.0);
    let best = views.iter().map(scale).fold(0.0, f64::max);
    if best <= 0.0 {
        return None;
    }
    let most = (MOST_PIXELS / (size_mm[0] * size_mm[1])).sqrt();
    let s = (1.1 * best).clamp(PX_PER_MM.0, PX_PER_MM.1.min(most));
    let grid = Grid::over(size_mm, s);
    let base = (0..views.len())
        .filter(|i| scale(&views[*i]) > 0.55 * best)
        .min_by(|a, b| frame_variance(&views[*a]).total_cmp(&frame_variance(&views[*b])))?;
    let probes = probes(size_mm);

    let first = alone(&views[base], base, &grid, &probes)?;
    let mut laid = vec![first];
    let mut lacks: Vec<(usize, Lack)> = Vec::new();
    if views.len() > 1 {
        let mut target = Layer {
            rgb: laid[0].rgb.clone(),
            usable: Plane::filled(grid.width, grid.height, 1.0),
            margin_px: 0,
        };
        for round in 0..2 {
            let reference = Reference::new(grid, target.clone(), Plane::filled(grid.width, grid.height, 1.0));
            let results: Vec<Result<Laid, (usize, Lack)>> = (0..views.len())
                .into_par_iter()
                .filter(|i| round > 0 || *i != base)
                .map(|i| lay(&reference, &views[i], i, &grid, &probes).map_err(|lack| (i, lack)))
                .collect();
            let mut next: Vec<Laid> = Vec::new();
            if round == 0 {
                next.extend(alone(&views[base], base, &grid, &probes));
            }
            lacks.clear();
            for result in results {
                match result {
                    Ok(one) => next.push(one),
                    Err(lack) => lacks.push(lack),
                }
            }
            if next.is_empty() {
                break;
            }
            laid = next;
            target.rgb = blend(&laid, &grid);
        }
    }
    laid.sort_by_key(|l| (l.view != base, l.view));
    let rgb = blend(&laid, &grid);
    let (gain, colour_u) = common_light(&laid);
    let rgb = [0, 1, 2].map(|c| rgb[c].map(|v| v * gain[c]));
    let glare_left = left_over(&laid);
    let weights: Vec<f64> = laid.iter().map(|l| 1.0 / frame_variance(&views[l.view])).collect();
    let (frame, disagreement) = mean_frame(&laid, &weights, &probes, size_mm);
    let corner_u_mm = (1.0 / weights.iter().sum::<f64>()).sqrt().max(disagreement.u);
    let rgb = reframed(&rgb, &grid, &frame);
    let used =
        laid.iter().filter_map(|l| Some((l.view, own_map(l, &views[l.view], &frame, &probes)?))).collect();
    Some(Merged { rgb, px_per_mm: s, colour_u, glare_left, corner_u_mm, used, lacks, disagreement })
}

/// How far a view's frame may be from the face's own, mm².
fn frame_variance(view: &View<'_>) -> f64 {
    let tilt = casebook::elementary::tan(view.angle_deg.clamp(0.0, 80.0).to_radians());
    let pillow = if view.pillowed { PILLOW_MM / 2.0 * tilt } else { 0.0 };
    let u = if view.outline_u_mm.is_finite() { view.outline_u_mm.max(0.02) } else { 2.0 };
    u * u + pillow * pillow + 1e-3 * tilt * tilt
}

/// Places over the face at which frames are compared.
fn probes(size_mm: [f64; 2]) -> Vec<Point> {
    let at = |i: usize, n: usize, size: f64| size * (0.04 + 0.92 * i as f64 / (n - 1) as f64);
    (0..35).map(|k| [at(k % 5, 5, size_mm[0]), at(k / 5, 7, size_mm[1])]).collect()
}

/// The photo that gives the frame, as it is.
fn alone(view: &View<'_>, index: usize, grid: &Grid, probes: &[Point]) -> Option<Laid> {
    let layer = photo_layer(view.photo, &view.map, grid)?;
    let m = layer.margin_px;
    let rgb = [0, 1, 2].map(|c| layer.rgb[c].crop(m, m, grid.width, grid.height));
    let inside = layer.usable.crop(m, m, grid.width, grid.height);
    let usable = unclipped(&rgb, &inside);
    Some(Laid { view: index, own: rgb.clone(), rgb, usable, sharp: 1.0, moved: vec![[0.0; 2]; probes.len()] })
}

fn unclipped(rgb: &[Plane<f32>; 3], inside: &Plane<f32>) -> Plane<f32> {
    let brightest = zip(&zip(&rgb[0], &rgb[1], f32::max), &rgb[2], f32::max);
    zip(&brightest, inside, |v, i| if v < 0.97 { i } else { 0.0 })
}

fn lay(
    reference: &Reference,
    view: &View<'_>,
    index: usize,
    grid: &Grid,
    probes: &[Point],
) -> Result<Laid, Lack> {
    let layer = photo_layer(view.photo, &view.map, grid).ok_or(Lack::Unseen)?;
    let c = Comparison::of(reference, &layer)?;
    let scale = view.map.local_scale_px_per_mm([grid.size_mm[0] / 2.0, grid.size_mm[1] / 2.0]).unwrap_or(1.0);
    let fine = (scale / grid.px_per_mm).min(1.0);
    let sharp = fine * fine / (1.0 + (c.blur_px / SHARP_PX) * (c.blur_px / SHARP_PX));
    let moved = probes.iter().map(|p| c.alignment.field.at(p[0], p[1])).collect();
    let usable = unclipped(&c.photo.rgb, &c.photo.usable);
    Ok(Laid { view: index, rgb: c.corrected, usable, own: c.photo.rgb, sharp: sharp as f32, moved })
}

/// Two bands of light, each from the photos that show it best.
fn blend(laid: &[Laid], grid: &Grid) -> [Plane<f32>; 3] {
    if let [only] = laid {
        return only.rgb.clone();
    }
    let split = SPLIT_MM * grid.px_per_mm;
    // Logarithms in two bands: broad, fine.
    let bands: Vec<(Rgb, Rgb)> = laid
        .par_iter()
        .map(|l| {
            let log = [0, 1, 2].map(|c| l.rgb[c].map(|v| ln32(v.max(0.0) + TOE)));
            let broad = [0, 1, 2].map(|c| {
                let (inside, seen) = smooth_weighted(&log[c], &l.usable, split);
                let whole = smooth(&log[c], split);
                // Where nothing near can be used, what is there is all there is.
                let mut out = inside;
                for ((o, s), w) in out.data_mut().iter_mut().zip(seen.data()).zip(whole.data()) {
                    if *s < 0.05 {
                        *o = *w;
                    }
                }
                out
            });
            let fine = [0, 1, 2].map(|c| zip(&log[c], &broad[c], |v, b| v - b));
            (broad, fine)
        })
        .collect();
    let grey = |p: &[Plane<f32>; 3]| {
        zip(&zip(&p[0], &p[1], |r, g| 0.2126 * r + 0.7152 * g), &p[2], |a, b| a + 0.0722 * b)
    };
    let broad: Vec<Plane<f32>> = bands.iter().map(|b| grey(&b.0)).collect();
    let fine: Vec<Plane<f32>> = bands.iter().map(|b| grey(&b.1)).collect();
    let n = laid.len();
    let pixels = grid.width * grid.height;
    // The darkest usable photo at each place, in the broad band; the median in the fine one.
    let mut darkest = vec![f32::INFINITY; pixels];
    for (l, b) in laid.iter().zip(&broad) {
        for ((d, v), u) in darkest.iter_mut().zip(b.data()).zip(l.usable.data()) {
            if *u > 0.5 && *v < *d {
                *d = *v;
            }
        }
    }
    let middle: Vec<f32> = (0..pixels)
        .into_par_iter()
        .map(|i| {
            let mut values: Vec<f32> = laid
                .iter()
                .zip(&fine)
                .filter(|(l, _)| l.usable.data()[i] > 0.5)
                .map(|(_, f)| f.data()[i])
                .collect();
            values.sort_by(f32::total_cmp);
            // Of two the darker: a glint is bright.
            values.get((values.len().max(1) - 1) / 2).copied().unwrap_or(0.0)
        })
        .collect();
    let seam = SEAM_MM * grid.px_per_mm;
    let weights: Vec<(Plane<f32>, Plane<f32>)> = (0..n)
        .into_par_iter()
        .map(|k| {
            let l = &laid[k];
            let data: Vec<f32> = (0..pixels)
                .map(|i| {
                    let excess = (broad[k].data()[i] - darkest[i] - SHADING).max(0.0) / EXCESS;
                    let free = if darkest[i].is_finite() { exp32(-excess * excess) } else { 1.0 };
                    l.usable.data()[i] * free + 1e-4
                })
                .collect();
            let of_broad = Plane::from_vec(grid.width, grid.height, data).unwrap_or_else(|| l.usable.clone());
            let of_broad = smooth(&of_broad, seam);
            let mut of_fine = of_broad.map(|w| w * w * l.sharp);
            for (i, w) in of_fine.data_mut().iter_mut().enumerate() {
                let excess = (fine[k].data()[i] - middle[i]).max(0.0) / FINE_EXCESS;
                *w *= exp32(-excess * excess) * l.usable.data()[i].max(1e-3);
            }
            (of_broad, of_fine)
        })
        .collect();
    [0, 1, 2].map(|c| {
        let mut out = Plane::filled(grid.width, grid.height, 0.0f32);
        out.data_mut().par_iter_mut().enumerate().for_each(|(i, o)| {
            let (mut b, mut wb, mut f, mut wf) = (0.0f32, 0.0f32, 0.0f32, 0.0f32);
            for (band, (of_broad, of_fine)) in bands.iter().zip(&weights) {
                let (x, y) = (of_broad.data()[i], of_fine.data()[i] + 1e-12);
                b += x * band.0[c].data()[i];
                wb += x;
                f += y * band.1[c].data()[i];
                wf += y;
            }
            *o = (exp32(b / wb + f / wf) - TOE).max(0.0);
        });
        out
    })
}

/// From the frame's light to that of the mean camera, and how far cameras differ.
fn common_light(laid: &[Laid]) -> ([f32; 3], [f64; 3]) {
    let mut gain = [1.0f32; 3];
    let mut u = [0.15; 3];
    for c in 0..3 {
        let logs: Vec<f64> = laid
            .iter()
            .map(|l| {
                let mut ratios: Vec<f32> = l.own[c]
                    .data()
                    .iter()
                    .zip(l.rgb[c].data())
                    .zip(l.usable.data())
                    .step_by(7)
                    .filter(|((o, r), u)| **u > 0.5 && **o > 0.01 && **r > 0.01)
                    .map(|((o, r), _)| ln32(o / r))
                    .collect();
                ratios.sort_by(f32::total_cmp);
                ratios.get(ratios.len() / 2).map_or(0.0, |v| f64::from(*v))
            })
            .collect();
        let n = logs.len() as f64;
        let mean = logs.iter().sum::<f64>() / n;
        gain[c] = exp(mean) as f32;
        if logs.len() > 1 {
            let variance = logs.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0);
            u[c] = (variance / n).sqrt().max(0.01);
        }
    }
    (gain, u)
}

/// Share of the face that no photo shows unclipped.
fn left_over(laid: &[Laid]) -> f64 {
    let Some(first) = laid.first() else { return 1.0 };
    let n = first.usable.data().len();
    let lost = (0..n).filter(|i| laid.iter().all(|l| l.usable.data()[*i] < 0.5)).count();
    lost as f64 / n.max(1) as f64
}

/// The homography from true places to the frame's: the frame moved by the mean of the displacements.
fn mean_frame(laid: &[Laid], weights: &[f64], probes: &[Point], size_mm: [f64; 2]) -> (Homography, Measured) {
    let still = Homography::scale_and_shift(1.0, [0.0, 0.0]);
    if laid.len() < 2 {
        return (still, Measured { value: 0.0, u: 0.0 });
    }
    let total: f64 = weights.iter().sum();
    // A frame of its own for each photo, so that a pillow's bend is not taken for a wrong outline.
    let frames: Vec<Option<Homography>> = laid
        .iter()
        .map(|l| {
            let to: Vec<Point> =
                probes.iter().zip(&l.moved).map(|(p, d)| [p[0] + d[0], p[1] + d[1]]).collect();
            fit_weighted(probes, &to, &vec![1.0; probes.len()]).ok().map(|f| f.map)
        })
        .collect();
    let shift = |p: Point| {
        let mut sum = [0.0; 2];
        for (f, w) in frames.iter().zip(weights) {
            if let Some(q) = f.as_ref().and_then(|f| f.map(p)) {
                sum = [sum[0] + w * (q[0] - p[0]), sum[1] + w * (q[1] - p[1])];
            }
        }
        [sum[0] / total, sum[1] / total]
    };
    let corners = corners_mm((size_mm[0], size_mm[1]));
    let (mut square, mut count) = (0.0, 0.0);
    for p in corners {
        let m = shift(p);
        for (f, w) in frames.iter().zip(weights) {
            if let Some(q) = f.as_ref().and_then(|f| f.map(p)) {
                let d = [q[0] - p[0] - m[0], q[1] - p[1] - m[1]];
                square += w * (d[0] * d[0] + d[1] * d[1]) / 2.0;
                count += w;
            }
        }
    }
    let spread = if count > 0.0 { (square / count).sqrt() } else { 0.0 };
    let effective = total * total / weights.iter().map(|w| w * w).sum::<f64>();
    let disagreement = Measured { value: spread, u: spread / effective.max(1.0).sqrt() };
    // Content at x in the frame truly lies at x + shift(x).
    let truth: Vec<Point> = probes
        .iter()
        .map(|p| {
            let m = shift(*p);
            [p[0] + m[0], p[1] + m[1]]
        })
        .collect();
    let frame = fit_weighted(&truth, probes, &vec![1.0; probes.len()]).map_or(still, |f| f.map);
    (frame, disagreement)
}

/// The picture with its frame moved.
fn reframed(rgb: &[Plane<f32>; 3], grid: &Grid, frame: &Homography) -> [Plane<f32>; 3] {
    let moves = corners_mm((grid.size_mm[0], grid.size_mm[1])).iter().any(|p| {
        frame.map(*p).is_some_and(|q| (q[0] - p[0]).abs() + (q[1] - p[1]).abs() > 0.02 / grid.px_per_mm)
    });
    if !moves {
        return rgb.clone();
    }
    let (w, h) = (grid.width, grid.height);
    [0, 1, 2].map(|c| {
        let mut out = Plane::filled(w, h, 0.0f32);
        out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            for (x, o) in row.iter_mut().enumerate() {
                let (mx, my) = grid.mm(x as f64, y as f64);
                let q = frame.map([mx, my]).unwrap_or([mx, my]);
                let (px, py) = grid.px(q[0], q[1]);
                *o = cubic(&rgb[c], px.clamp(0.0, (w - 1) as f64), py.clamp(0.0, (h - 1) as f64));
            }
        });
        out
    })
}

/// Catmull–Rom's cubic at a place; edges repeat. Source: [`keys1981`].
fn cubic(plane: &Plane<f32>, x: f64, y: f64) -> f32 {
    let (x0, y0) = (x.floor(), y.floor());
    let weights = |t: f32| {
        let (t2, t3) = (t * t, t * t * t);
        [
            -0.5 * t + t2 - 0.5 * t3,
            1.0 - 2.5 * t2 + 1.5 * t3,
            0.5 * t + 2.0 * t2 - 1.5 * t3,
            -0.5 * t2 + 0.5 * t3,
        ]
    };
    let (wx, wy) = (weights((x - x0) as f32), weights((y - y0) as f32));
    let mut sum = 0.0;
    for (j, wy) in wy.iter().enumerate() {
        let mut row = 0.0;
        for (i, wx) in wx.iter().enumerate() {
            row +=
                wx * plane.nearest(x0 as isize + i as isize - 1, y0 as isize + j as isize - 1).unwrap_or(0.0);
        }
        sum += wy * row;
    }
    sum.max(0.0)
}

/// The map of the final frame to one photo's pixels: print where the alignment found it.
fn own_map(laid: &Laid, view: &View<'_>, frame: &Homography, probes: &[Point]) -> Option<Homography> {
    let mut px = Vec::with_capacity(probes.len());
    let mut mm = Vec::with_capacity(probes.len());
    let back = frame.inverse();
    for (p, d) in probes.iter().zip(&laid.moved) {
        mm.push(back.map(*p)?);
        px.push(view.map.map([p[0] + d[0], p[1] + d[1]])?);
    }
    fit_weighted(&mm, &px, &vec![1.0; mm.len()]).ok().map(|f| f.map)
}
