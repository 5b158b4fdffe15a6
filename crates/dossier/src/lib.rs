//! The report a person reads: one HTML file that stands alone, and the index page of a whole run.
//!
//! In: an [`Examination`], its pictures, small copies of the photos. Out: HTML as text, the same
//! bytes for the same input. It loads nothing, runs no script, and holds no name of a seller or
//! bidder and no location. Never here: how findings were made, weighing, a file, a clock, the
//! network. No badge, certificate, grade, score, gauge or traffic light: a state is words and a
//! scale in bans.
//!
//! Start at [`report`], [`set_report`], [`product_page`] and [`evaluation_report`]; `item` lists the sections,
//! [`CAUTIONS`] is what every
//! report says.
//!
//! Sources: `enfsi2015` (verbal scale), `wcag22` (contrast, structure), `jcgm100` (uncertainty).

mod axis;
mod closing;
mod evaluation;
mod figure;
mod findings;
mod gallery;
mod item;
mod number;
mod offer;
mod opening;
mod page;
mod palette;
pub mod parts;
mod photos;
mod plot;
mod product;
mod scale;
mod set;
mod waterfall;
mod words;

use std::collections::BTreeMap;

use casebook::case::CaseFile;
use casebook::names::{PhotoFile, ProductId};
use casebook::opinion::{Examination, PlacedFace};
use casebook::picture::{Mark, MarkRole, Picture};

pub use casebook::opinion::CAUTIONS;
pub use evaluation::{evaluation_plots, evaluation_report};
pub use product::{FacePicture, ProductInput, product_page};
pub use set::{SetEntry, SetInput, set_report, strongest_reason};

/// Everything that one report is made from.
#[derive(Debug, Clone)]
pub struct ReportInput<'a> {
    /// What was found.
    pub examination: &'a Examination,
    /// The case as people wrote it: price, terms, requests, prior. The seller's and bidders' names
    /// in it are never printed. `None` leaves those lines out.
    pub case: Option<&'a CaseFile>,
    /// The pictures that findings name by id; `gallery`'s head says how ids sort them.
    pub pictures: &'a [Picture],
    /// Small copies of the photos, in the case's order. A photo without one is listed in words.
    pub photos: &'a [PhotoThumb],
    /// Names of products as a shop would print them. A product that is missing gets a name made
    /// from its path.
    pub product_names: &'a BTreeMap<ProductId, String>,
    /// When the report was made, as it is to be printed. The core has no clock.
    pub generated_at: Option<&'a str>,
    /// Name and version of the program: `untorn 0.1.0`.
    pub program: &'a str,
    /// What the weights rest on, in one or two sentences.
    pub calibration: &'a str,
}

/// A small copy of one photo.
#[derive(Debug, Clone, PartialEq)]
pub struct PhotoThumb {
    /// The photo's file in the case.
    pub file: PhotoFile,
    /// `image/png` or `image/jpeg`.
    pub media_type: &'static str,
    /// The encoded file. It must carry no EXIF block: a location would leave with it.
    pub bytes: Vec<u8>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Shapes drawn over it, in this copy's pixels; see [`face_outline`].
    pub marks: Vec<Mark>,
}

/// Writes the report of one case.
///
/// # Input
/// See [`ReportInput`]. Text in it is hostile and comes out escaped; pictures of other types than
/// PNG and JPEG do not load.
///
/// # Result
/// One HTML document, UTF-8. The same input gives the same bytes.
#[must_use]
pub fn report(input: &ReportInput<'_>) -> String {
    let mut numbering = gallery::Numbering::default();
    let body = opening::page(input, &mut numbering);
    page::document(&opening::title(input), &body)
}

/// The outline of a placed face, for [`PhotoThumb::marks`].
///
/// # Input
/// `size_mm`: width and height of the face. `photo_to_thumb`: the copy's width over the photo's.
///
/// # Result
/// Its four corners in the copy's pixels (the centre of the top-left pixel is 0, 0), or `None` when
/// a corner lies on or behind the horizon of the view.
#[must_use]
pub fn face_outline(placed: &PlacedFace, size_mm: [f64; 2], photo_to_thumb: f64) -> Option<Mark> {
    let h = &placed.mm_to_px;
    let [width, height] = size_mm;
    let corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)];
    // The sign of the third coordinate at the face's centre says which side is before the camera.
    let depth = |x: f64, y: f64| h[2][0] * x + h[2][1] * y + h[2][2];
    let facing = depth(width / 2.0, height / 2.0);
    let mut points = Vec::new();
    for (x, y) in corners {
        let w = depth(x, y);
        if !(w.is_finite() && w * facing > 0.0) {
            return None;
        }
        let at = |row: [f64; 3]| ((row[0] * x + row[1] * y + row[2]) / w + 0.5) * photo_to_thumb - 0.5;
        points.push((at(h[0]), at(h[1])));
    }
    let label = format!("item {}: {}", placed.item, placed.face.face);
    let finite = points.iter().all(|(x, y): &(f64, f64)| x.is_finite() && y.is_finite());
    finite.then_some(Mark { points, label, role: MarkRole::Outline })
}
