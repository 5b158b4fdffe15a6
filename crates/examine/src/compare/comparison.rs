//! One photo of a face compared with its reference, from rectified light to what is left over.
//!
//! In: [`Reference`] and the photo's [`Layer`]. Out: [`Comparison`], or which [`Lack`] stood in the way.
//! Never here: findings.

use photo::Plane;
use photo::colour::{Lab, linear_to_lab_slice};

use super::align::{Alignment, align};
use super::cells::{Cell, cells};
use super::filter::{gradient, smooth, zip};
use super::grid::Grid;
use super::inks::{FLAT, Inks};
use super::layer::Layer;
use super::response::{Labels, Response};
use super::structure::{Structure, structure};

/// Linear light at and above which a channel counts as clipped (code 252 of 255 in sRGB is 0.974).
pub(super) const CLIPPED: f32 = 0.97;
/// Blur added to both before patterns are compared, so that small misalignment does not show, mm.
const TOLERANCE_MM: f64 = 0.12;

/// Why a photo could not be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lack {
    /// The face could not be cut out of the photo.
    Unplaced,
    /// Too little of the face is in the frame and free.
    Unseen,
    /// The print could not be found where the face should be.
    Unaligned,
    /// Too few flat, unclipped cells to judge the camera.
    NoCamera,
}

/// A face's reference on the grid, prepared once for all photos.
#[derive(Debug, Clone)]
pub struct Reference {
    /// The grid.
    pub grid: Grid,
    /// Linear light, no margin.
    pub layer: Layer,
    /// 1 where print is compared, 0 for seals, seams and what else belongs to other examiners.
    pub compared: Plane<f32>,
    /// Its inks.
    pub inks: Inks,
}

/// A photo laid over its reference.
#[derive(Debug, Clone)]
pub struct Comparison {
    /// Where each piece of print lies.
    pub alignment: Alignment,
    /// The photo, aligned, in its own light.
    pub photo: Layer,
    /// The photo with the response removed, linear.
    pub corrected: [Plane<f32>; 3],
    /// The same in CIELAB.
    pub corrected_lab: [Plane<f32>; 3],
    /// The reference, as blurred as the photo, in CIELAB.
    pub reference_lab: [Plane<f32>; 3],
    /// 1 where inside the frame, compared and not clipped.
    pub usable: Plane<f32>,
    /// Standard deviation of the blur that makes the reference as soft as the photo, grid pixels.
    pub blur_px: f64,
    /// Share of the compared area that is clipped.
    pub clipped: f64,
    /// Share of the compared area inside the frame.
    pub framed: f64,
    /// The cells that the response rests on.
    pub cells: Vec<Cell>,
    /// Ink of each cell.
    pub labels: Vec<Labels>,
    /// Camera and light.
    pub response: Response,
    /// Agreement of the pattern.
    pub structure: Structure,
}

impl Reference {
    /// Prepares a reference. `compared`: 1 where print is compared.
    #[must_use]
    pub fn new(grid: Grid, layer: Layer, compared: Plane<f32>) -> Self {
        let flat: Vec<Lab> = cells(&grid, &layer.rgb, &layer.rgb, &compared)
            .iter()
            .filter(|c| c.contrast < FLAT)
            .map(|c| c.lab)
            .collect();
        Self { grid, layer, compared, inks: Inks::of(&flat) }
    }
}

impl Comparison {
    /// Compares one photo with the reference.
    ///
    /// # Errors
    /// The [`Lack`] that stood in the way; never a panic.
    pub fn of(reference: &Reference, photo: &Layer) -> Result<Self, Lack> {
        let grid = &reference.grid;
        let alignment = align(grid, &reference.layer, photo, &reference.compared).ok_or(Lack::Unaligned)?;
        let warped = photo.warped(grid, &alignment.field);
        let inside =
            zip(&warped.usable, &reference.compared, |a, b| if a > 0.99 && b > 0.5 { 1.0 } else { 0.0 });
        let clipped_at = clipped(grid, &warped);
        let usable = zip(&inside, &clipped_at, |a, c| if c > 0.5 { 0.0 } else { a });
        let (area, in_frame, free) = (sum(&reference.compared), sum(&inside), sum(&usable));
        if in_frame < 0.08 * area || free < 0.05 * area {
            return Err(Lack::Unseen);
        }
        let blur_px = match_blur(&reference.layer.lightness(), &warped.lightness(), &usable);
        let [r, g, b] = &reference.layer.rgb;
        let soft = [r, g, b].map(|p| smooth(p, blur_px));
        let found = cells(grid, &soft, &warped.rgb, &usable);
        let labels: Vec<Labels> = found
            .iter()
            .map(|c| Labels {
                ink: if c.contrast < FLAT { reference.inks.label(c.lab) } else { None },
                kin: reference.inks.nearest(c.lab),
            })
            .collect();
        let response = Response::fit(grid.size_mm, &found, &labels, reference.inks.colours.len())
            .ok_or(Lack::NoCamera)?;
        let corrected = response.remove(grid, &warped.rgb);
        let tolerance = TOLERANCE_MM * grid.px_per_mm;
        let (corrected_lab, reference_lab) = rayon::join(
            || lab(&[0, 1, 2].map(|c| smooth(&corrected[c], tolerance))),
            || lab(&[0, 1, 2].map(|c| smooth(&soft[c], tolerance))),
        );
        let structure = structure(grid, &reference_lab, &corrected_lab, &usable);
        Ok(Self {
            alignment,
            photo: warped,
            corrected,
            corrected_lab,
            reference_lab,
            clipped: if in_frame > 0.0 { 1.0 - free / in_frame } else { 0.0 },
            framed: if area > 0.0 { in_frame / area } else { 0.0 },
            usable,
            blur_px,
            cells: found,
            labels,
            response,
            structure,
        })
    }
}

fn sum(p: &Plane<f32>) -> f64 {
    p.data().iter().map(|v| f64::from(*v)).sum()
}

/// 1 where a channel is clipped within a third of a millimetre.
fn clipped(grid: &Grid, layer: &Layer) -> Plane<f32> {
    let [r, g, b] = &layer.rgb;
    let data: Vec<f32> = r
        .data()
        .iter()
        .zip(g.data())
        .zip(b.data())
        .map(|((r, g), b)| if r.max(*g).max(*b) >= CLIPPED { 1.0 } else { 0.0 })
        .collect();
    let hard = Plane::from_vec(r.width(), r.height(), data).unwrap_or_else(|| Plane::filled(0, 0, 0.0));
    let sigma = 0.3 * grid.px_per_mm;
    smooth(&hard, sigma).map(|v| if *v > 0.15 { 1.0 } else { 0.0 })
}

/// CIELAB of planes of linear light.
#[must_use]
pub fn lab(rgb: &[Plane<f32>; 3]) -> [Plane<f32>; 3] {
    let (w, h) = (rgb[0].width(), rgb[0].height());
    let mut out = [Plane::filled(w, h, 0.0_f32), Plane::filled(w, h, 0.0_f32), Plane::filled(w, h, 0.0_f32)];
    let light = [0, 1, 2].map(|c| rgb[c].map(|v| v.max(0.0)));
    let [l, a, b] = &mut out;
    linear_to_lab_slice(
        [light[0].data(), light[1].data(), light[2].data()],
        [l.data_mut(), a.data_mut(), b.data_mut()],
    );
    out
}

/// The blur (standard deviation, pixels) that makes the reference's gradients most like the photo's.
fn match_blur(reference: &Plane<f32>, photo: &Plane<f32>, usable: &Plane<f32>) -> f64 {
    // The middle third of the rows is enough and costs a third.
    let (w, h) = (reference.width(), reference.height());
    let band = |p: &Plane<f32>| p.crop(0, h / 3, w, h / 3);
    let (reference, photo, usable) = (band(reference), band(photo), band(usable));
    let (px, py) = gradient(&photo);
    let score = |sigma: f64| -> f64 {
        let (rx, ry) = gradient(&smooth(&reference, sigma));
        let (mut cross, mut rr, mut pp) = (0.0, 0.0, 0.0);
        let all = rx.data().iter().zip(ry.data()).zip(px.data().iter().zip(py.data())).zip(usable.data());
        for (((rx, ry), (px, py)), u) in all {
            if *u > 0.5 {
                cross += f64::from(rx * px + ry * py);
                rr += f64::from(rx * rx + ry * ry);
                pp += f64::from(px * px + py * py);
            }
        }
        if rr * pp > 0.0 { cross / (rr * pp).sqrt() } else { 0.0 }
    };
    const STEPS: [f64; 7] = [0.0, 0.5, 0.8, 1.2, 1.7, 2.4, 3.4];
    let scores: Vec<f64> = STEPS.iter().map(|s| score(*s)).collect();
    let mut best = 0;
    for (i, s) in scores.iter().enumerate() {
        if *s > scores[best] + 1e-4 {
            best = i;
        }
    }
    STEPS[best]
}
