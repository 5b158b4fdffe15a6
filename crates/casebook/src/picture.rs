//! Pictures that go with findings: encoded images and plots, with the words that stand for them.
//!
//! In: what an examiner draws. Out: what the report embeds. Never here: decoded pixels.

/// One picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Unique within the case; findings name it.
    pub id: String,
    /// What is to be seen, in one line.
    pub caption: String,
    /// Text that stands in for the picture.
    pub alt: String,
    /// The picture.
    pub content: Content,
}

/// What a picture consists of.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// An encoded raster image.
    Image {
        /// `image/png` or `image/jpeg`.
        media_type: &'static str,
        /// The file's bytes.
        bytes: Vec<u8>,
        /// Width in pixels.
        width: u32,
        /// Height in pixels.
        height: u32,
        /// Scale, when the picture is rectified: pixels per millimetre.
        px_per_mm: Option<f64>,
        /// Shapes drawn over it, in the picture's pixels.
        marks: Vec<Mark>,
    },
    /// Curves over axes with units.
    Plot(Plot),
}

/// A shape drawn over an image, in the image's pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// The shape's corners; two for a line, more for a closed polygon.
    pub points: Vec<(f64, f64)>,
    /// What it marks; short.
    pub label: String,
    /// What kind of thing it marks; decides stroke and pattern, never colour alone.
    pub role: MarkRole,
}

/// What a mark means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkRole {
    /// Where a face or part lies.
    Outline,
    /// Where something differs from what was expected.
    Difference,
    /// Where nothing could be read.
    Unread,
}

/// Curves over axes with units.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Horizontal axis with unit: "place along the seal (mm)".
    pub x_label: String,
    /// Vertical axis with unit.
    pub y_label: String,
    /// The curves.
    pub curves: Vec<Curve>,
    /// Horizontal band of expected values, low and high, with its words.
    pub band: Option<(f64, f64, String)>,
}

/// One curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Its name in the legend.
    pub label: String,
    /// (x, y), x ascending. NaN breaks the line.
    pub points: Vec<(f64, f64)>,
    /// Whether it is drawn dashed (a fit or a reference).
    pub dashed: bool,
}
