//! What is looked for of one face: its features, straight on and from steep angles, and its coarse
//! picture; and the bytes in which a library keeps it, because describing takes longer than reading.
//!
//! In: a reference face, or bytes. Out: [`FaceDescription`]. Never here: photos, files, whether the bytes
//! are of this version (whoever keeps them names them by everything that they depend on).

use casebook::names::FaceId;
use photo::Plane;

use crate::error::GeometryError;
use crate::features::{LENGTH, Wanted, find};
use crate::grey::Grey;
use crate::homography::check_size;
use crate::matching::FaceFeatures;
use crate::reference::ReferenceFace;
use crate::refine::{LEVELS, level_px_per_mm};
use crate::template::Template;
use crate::views::{Linear, STRAIGHT, View, steep};

/// Longer side at which a face is described, pixels.
const FACE_SIDE: usize = 900;
/// Features kept of a face straight on.
const FACE_FEATURES: Wanted = Wanted { most: 900, contrast: 0.008, enlarge: false };

/// Most features, views and pixels a side that are read from bytes: some times what is written.
const MOST_FEATURES: usize = 20_000;
const MOST_VIEWS: usize = 64;
const MOST_SIDE: usize = 4_096;

/// One face, ready to be looked for.
#[derive(Debug, Clone)]
pub struct FaceDescription {
    pub(crate) face: FaceId,
    pub(crate) size_mm: (f64, f64),
    /// Of the face seen straight on.
    pub(crate) straight: FaceFeatures,
    /// Of simulated steep views.
    pub(crate) steep: FaceFeatures,
    pub(crate) coarse: Template,
}

impl FaceDescription {
    /// Describes a face.
    ///
    /// # Errors
    /// [`GeometryError::Size`] or [`GeometryError::Reference`], naming the face that cannot be used.
    pub fn of(reference: &ReferenceFace) -> Result<Self, GeometryError> {
        let map = reference.mm_to_px()?;
        let (plane, scale) = reference.raster.small_luma(FACE_SIDE);
        let size = reference.size_mm;
        let mm_per_px = (
            size.0 / reference.raster.width() as f64 * scale,
            size.1 / reference.raster.height() as f64 * scale,
        );
        let view =
            View { features: find(&plane, FACE_FEATURES), linear: STRAIGHT, origin: [0.0; 2], mm_per_px };
        let own = map.local_scale_px_per_mm([size.0 / 2.0, size.1 / 2.0]).ok_or(GeometryError::Horizon)?;
        let level = level_px_per_mm(LEVELS[1], size, own, f64::INFINITY);
        let coarse = Template::new(&Grey::for_scale(&reference.raster, own, level), &map, size, level);
        Ok(Self {
            face: reference.face.clone(),
            size_mm: size,
            straight: FaceFeatures::new(&[view], size),
            steep: FaceFeatures::new(&steep(reference, &map), size),
            coarse,
        })
    }

    /// Which face.
    #[must_use]
    pub const fn face(&self) -> &FaceId {
        &self.face
    }

    /// The form that a library keeps: little-endian numbers, no padding.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut out = Vec::new();
        for features in [&self.straight, &self.steep] {
            put_length(&mut out, features.linear.len());
            for v in features.linear.iter().flatten().flatten() {
                out.extend_from_slice(&v.to_le_bytes());
            }
            put_length(&mut out, features.len());
            for k in 0..features.len() {
                let [x, y] = features.places[k];
                for v in [x, y, features.sigma_mm[k], features.angle[k]] {
                    out.extend_from_slice(&v.to_le_bytes());
                }
                out.push(features.view[k]);
                out.extend_from_slice(&features.descriptions[k]);
                out.extend_from_slice(&features.signatures[k].to_le_bytes());
            }
        }
        let tone = self.coarse.tone();
        out.extend_from_slice(&self.coarse.px_per_mm.to_le_bytes());
        put_length(&mut out, tone.width());
        put_length(&mut out, tone.height());
        for v in tone.data() {
            out.extend_from_slice(&v.to_le_bytes());
        }
        out
    }

    /// Reads what [`FaceDescription::to_bytes`] wrote.
    ///
    /// # Cannot tell
    /// Nothing when the bytes are no description, are cut short or too long, or hold a number that no
    /// face has. Never a panic, and never more memory than the bytes call for.
    #[must_use]
    pub fn from_bytes(face: FaceId, size_mm: (f64, f64), bytes: &[u8]) -> Option<Self> {
        check_size(size_mm).ok()?;
        let mut from = Bytes(bytes);
        let straight = features(&mut from, size_mm)?;
        let steep = features(&mut from, size_mm)?;
        let px_per_mm = from.f64().filter(|s| *s > 0.0)?;
        let (width, height) = (from.length(MOST_SIDE)?, from.length(MOST_SIDE)?);
        let tone = (0..width * height).map(|_| from.f32()).collect::<Option<Vec<f32>>>()?;
        let coarse = Template::of_tone(Plane::from_vec(width, height, tone)?, size_mm, px_per_mm)?;
        from.0.is_empty().then_some(Self { face, size_mm, straight, steep, coarse })
    }
}

fn features(from: &mut Bytes<'_>, size_mm: (f64, f64)) -> Option<FaceFeatures> {
    let views = from.length(MOST_VIEWS)?;
    let mut linear: Vec<Linear> = Vec::new();
    for _ in 0..views {
        let a = [[from.f64()?, from.f64()?], [from.f64()?, from.f64()?]];
        let area = a[0][0] * a[1][1] - a[0][1] * a[1][0];
        // What a view of a face can be: neither mirrored nor squeezed to nothing.
        if !(1e-3..=1e3).contains(&area) {
            return None;
        }
        linear.push(a);
    }
    let count = from.length(MOST_FEATURES)?;
    let mut out = FaceFeatures::empty(linear, size_mm);
    for _ in 0..count {
        let place = [from.f32()?, from.f32()?];
        let sigma = from.f32().filter(|s| *s > 0.0)?;
        let angle = from.f32()?;
        let view = from.byte().filter(|v| usize::from(*v) < views)?;
        let description = *from.take::<LENGTH>()?;
        out.push(place, sigma, angle, view, description);
        out.signatures.push(u64::from_le_bytes(*from.take()?));
    }
    Some(out)
}

fn put_length(out: &mut Vec<u8>, length: usize) {
    out.extend_from_slice(&u32::try_from(length).unwrap_or(u32::MAX).to_le_bytes());
}

/// Bytes that are still to be read; every number is finite.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn take<const N: usize>(&mut self) -> Option<&'a [u8; N]> {
        let (first, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(first)
    }

    fn byte(&mut self) -> Option<u8> {
        self.take::<1>().map(|[b]| *b)
    }

    fn length(&mut self, most: usize) -> Option<usize> {
        let length = usize::try_from(u32::from_le_bytes(*self.take()?)).ok()?;
        (length <= most).then_some(length)
    }

    fn f32(&mut self) -> Option<f32> {
        Some(f32::from_le_bytes(*self.take()?)).filter(|v| v.is_finite())
    }

    fn f64(&mut self) -> Option<f64> {
        Some(f64::from_le_bytes(*self.take()?)).filter(|v| v.is_finite())
    }
}
