//! One end in one photo: everything measured of it.
//!
//! In: a photo, the map of one of its faces, the reference picture, the product's facts. Out:
//! [`EndReading`]. Never here: another photo, another end, words for people.

use std::sync::Arc;

use casebook::catalogue::{Product, RidgeDirection};
use photo::Photo;
use placement::Homography;

use super::band::{Band, BandFrame, cut_band};
use super::cells::Cells;
use super::edge::{CutLine, trace};
use super::map::RidgeMap;
use super::pitch::{NoRidges, Pitch, measure};
use super::register::{Registration, register};
use super::spectrum::{Modulation, Spectrum};
use super::view::{End, EndView};
use crate::{SealHeight, USUAL_SEAL_MM};

/// Facts of a product's ends, from all its makes.
#[derive(Debug, Clone, PartialEq)]
pub struct EndFacts {
    /// Smallest nominal height of the seal among the makes, mm.
    pub seal_mm: f64,
    /// Ridges that genuine ends may show: make, direction, pitch and its tolerance, mm.
    pub ridges: Vec<(String, RidgeDirection, f64, f64)>,
}

impl EndFacts {
    /// What the catalogue says of a product's ends.
    #[must_use]
    pub fn of(product: &Product) -> Self {
        let seals: Vec<_> =
            product.makes.iter().filter_map(|make| make.end_seal.as_ref().map(|seal| (make, seal))).collect();
        Self {
            seal_mm: SealHeight::of(product).map_or(USUAL_SEAL_MM, |height| height.least),
            ridges: seals
                .iter()
                .map(|(make, s)| {
                    (make.id.to_string(), s.ridge_direction, s.pitch_mm.value, s.pitch_mm.tolerance)
                })
                .collect(),
        }
    }
}

/// A reference picture's ends, cut once and used for every photo.
#[derive(Debug, Clone)]
pub struct ReferenceEnd {
    /// The view.
    pub view: EndView,
    /// Its cells.
    pub cells: Cells,
}

impl ReferenceEnd {
    /// Cuts an end out of a flat reference picture, whose edges are the face's.
    #[must_use]
    pub fn of(reference: &Photo, face_mm: [f64; 2], end: End) -> Option<Self> {
        let [w, h] = face_mm;
        let (sx, sy) = (reference.width() as f64 / w, reference.height() as f64 / h);
        if !(sx > 0.5 && sy > 0.5) {
            return None;
        }
        let map = Homography::new([[sx, 0.0, -0.5], [0.0, sy, -0.5], [0.0, 0.0, 1.0]]).ok()?;
        let view = EndView::cut(reference, &map, face_mm, end)?;
        let cells = Cells::of(&view);
        Some(Self { view, cells })
    }
}

/// Where an end lies in one photo.
#[derive(Debug, Clone)]
pub struct Located {
    /// Which end.
    pub end: End,
    /// The view that everything is read from.
    pub view: EndView,
    /// Its cells.
    pub cells: Cells,
    /// How the print lies.
    pub lie: Registration,
    /// The cut line.
    pub line: CutLine,
}

impl Located {
    /// Finds an end of a face in a photo; `None` when the end is not in the picture at all.
    #[must_use]
    pub fn of(
        photo: &Photo,
        map: &Homography,
        face_mm: [f64; 2],
        end: End,
        reference: Option<&ReferenceEnd>,
        facts: &EndFacts,
    ) -> Option<Self> {
        let view = EndView::cut(photo, map, face_mm, end)?;
        if view.framed_share(facts.seal_mm) < 0.1 {
            return None;
        }
        let cells = Cells::of(&view);
        let unmoved = Registration {
            shift_x_mm: 0.0,
            scale_x: 1.0,
            scale_u: 0.01,
            shift_d_mm: 0.0,
            slope: 0.0,
            likeness: 0.0,
            local_mm: Vec::new(),
            seal_likeness: Vec::new(),
            seal_whole: None,
            seal_chance: None,
        };
        let lie =
            reference.and_then(|reference| register(&cells, &reference.cells, face_mm[0])).unwrap_or(unmoved);
        let line = trace(&view, &cells, &lie);
        Some(Self { end, view, cells, lie, line })
    }
}

/// One end in one photo.
#[derive(Debug, Clone)]
pub struct EndReading {
    /// Where it lies.
    pub at: Arc<Located>,
    /// The band.
    pub band: Band,
    /// Its modulation.
    pub field: Modulation,
    /// Spectrum of the modulation.
    pub spectrum: Spectrum,
    /// Ridges found in it, or why not.
    pub pitch: Result<Pitch, NoRidges>,
    /// The local map, at the wave that [`EndReading::settle`] was told.
    pub map: Option<RidgeMap>,
    /// The wave that the map was read at: direction, fx, fy.
    pub wave: Option<(RidgeDirection, f64, f64)>,
}

impl EndReading {
    /// Reads an end that was found, all but the map.
    #[must_use]
    pub fn of(at: Arc<Located>, reference: Option<&ReferenceEnd>, facts: &EndFacts) -> Option<Self> {
        let frame = BandFrame { face_width_mm: at.view.face_mm[0], seal_mm: facts.seal_mm };
        let print = reference.map(|r| (&r.view, &r.cells));
        let band = cut_band(&at.view, &at.cells, print, &at.lie, &at.line, frame)?;
        let field = Modulation::of(&band.strip);
        let spectrum = Spectrum::of(&field);
        let pitch = measure(&field, &spectrum, band.strip.usable_share());
        Some(Self { at, band, field, spectrum, pitch, map: None, wave: None })
    }

    /// Reads the local map at a wave: this end's own, or the one its ridges ought to have.
    pub fn settle(&mut self, direction: RidgeDirection, fx: f64, fy: f64) {
        self.map = Some(RidgeMap::of(&self.band.strip, fx, fy));
        self.wave = Some((direction, fx, fy));
    }
}
