//! What is known of products: the catalogue file, one a release, written by people in TOML.
//!
//! In: `catalogue/<line>/<release>.toml`. Out: [`Catalogue`], checked. A fact without a source is no
//! fact: makes and forms that were never made carry theirs.
//! Never here: a photo's pixels, an offer, an opinion.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::names::{FaceId, PhotoFile, ProductId, Slug};
use crate::units::{RectMm, Toleranced};

/// Version mark that a catalogue file starts with.
pub const CATALOGUE_SCHEMA: &str = "untorn.catalogue/1";

/// One release of one line: its products and the forms it was never sold in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Catalogue {
    /// Always [`CATALOGUE_SCHEMA`].
    pub schema: String,
    /// The line the release belongs to.
    pub line: Named,
    /// The release.
    pub release: Release,
    /// Everything it was sold as.
    #[serde(default)]
    pub products: Vec<Product>,
    /// Forms known never to have been made. Absence from `products` alone proves nothing.
    #[serde(default)]
    pub never_made: Vec<NeverMade>,
}

/// A name for people beside the one for files.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Named {
    /// Name in paths.
    pub id: Slug,
    /// Name as printed.
    pub name: String,
    /// Other spellings that sellers use.
    #[serde(default)]
    pub aliases: Vec<String>,
}

/// One release (set) of a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Release {
    /// Name in paths.
    pub id: Slug,
    /// Name as printed.
    pub name: String,
    /// Other spellings that sellers use.
    #[serde(default)]
    pub aliases: Vec<String>,
    /// Year of first sale.
    #[serde(default)]
    pub year: Option<i16>,
    /// Language of the printed text, BCP 47.
    #[serde(default)]
    pub language: Option<String>,
    /// Where these facts come from.
    pub source: String,
}

/// What kind of package a product is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// A flow-wrapped pack: two end seals, one fin seal.
    Pack,
    /// A box of packs, usually in clear overwrap.
    Box,
    /// A card-backed blister.
    Blister,
    /// A tin.
    Tin,
    /// A shipping case of boxes.
    Case,
}

impl Form {
    /// Every form, in the order of the enum.
    pub const ALL: [Self; 5] = [Self::Pack, Self::Box, Self::Blister, Self::Tin, Self::Case];

    /// The trade's word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pack => "pack",
            Self::Box => "box",
            Self::Blister => "blister",
            Self::Tin => "tin",
            Self::Case => "case",
        }
    }
}

/// A release in a form.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Product {
    /// The last word of its [`ProductId`]; usually the form's own word.
    pub id: Slug,
    /// Name as a shop would print it.
    pub name: String,
    /// What kind of package.
    pub form: Form,
    /// Width, height and depth in mm with tolerance, of the item as sold (filled).
    #[serde(default)]
    pub size_mm: Option<[Toleranced; 3]>,
    /// Mass in grams with tolerance.
    #[serde(default)]
    pub mass_g: Option<Toleranced>,
    /// What it holds: a product of the same release and how many.
    #[serde(default)]
    pub contains: Option<Contents>,
    /// GTINs printed on it, 8 to 14 digits with a right check digit.
    #[serde(default)]
    pub gtins: Vec<String>,
    /// Its faces, each with its own frame.
    pub faces: Vec<Face>,
    /// The genuine ways it left a factory; at least one.
    pub makes: Vec<Make>,
}

impl Product {
    /// The face of that name.
    #[must_use]
    pub fn face(&self, name: &Slug) -> Option<&Face> {
        self.faces.iter().find(|face| face.id == *name)
    }
}

/// How many of which product an item holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Contents {
    /// The product's `id` in the same file.
    pub product: Slug,
    /// How many.
    pub count: u32,
}

/// One side of a product with its own millimetre frame: origin top-left, x right, y down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Face {
    /// `front`, `back`, `left`, `right`, `top`, `bottom`.
    pub id: Slug,
    /// Width and height in mm.
    pub size_mm: [f64; 2],
    /// Flat reference picture; its edges are the face's edges.
    pub reference: PhotoFile,
    /// Named parts of the artwork.
    #[serde(default)]
    pub regions: Vec<Region>,
}

/// What a region shows, which decides how it is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RegionKind {
    /// The line's or release's name in its own lettering.
    Wordmark,
    /// A release's sign.
    Emblem,
    /// Legal text: owner, year, warnings.
    Legal,
    /// A figure of the artwork.
    Art,
    /// A flat or patterned panel.
    Panel,
    /// How many cards are inside.
    Count,
    /// A linear or two-dimensional code.
    Code,
    /// Other text.
    Text,
}

/// A named part of a face.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// Name in reports.
    pub name: String,
    /// What it shows.
    pub kind: RegionKind,
    /// Where, on the face.
    pub rect_mm: RectMm,
    /// The words or digits printed there.
    #[serde(default)]
    pub text: Option<String>,
}

/// One genuine way a product left a factory.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Make {
    /// Name in paths.
    pub id: Slug,
    /// Plant, region or run in words.
    #[serde(default)]
    pub note: Option<String>,
    /// Where this is known from.
    pub source: String,
    /// The transverse seals of a flow-wrapped pack.
    #[serde(default)]
    pub end_seal: Option<EndSealFacts>,
    /// How the film was cut at the ends.
    #[serde(default)]
    pub cut_edge: Option<CutEdgeFacts>,
    /// The lengthwise back seam.
    #[serde(default)]
    pub fin_seal: Option<FinSealFacts>,
    /// The clear film round a box.
    #[serde(default)]
    pub film: Option<FilmFacts>,
}

/// Direction of the ridges of an end seal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RidgeDirection {
    /// Ridges run along the pack's length: perpendicular to the cut edge, repeating over its width.
    Along,
    /// Ridges run across the pack: parallel to the cut edge, repeating over the seal's height.
    Across,
}

/// Facts of the end seals of a make.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndSealFacts {
    /// Height of the sealed band from the cut edge, mm, with tolerance.
    pub height_mm: Toleranced,
    /// Which way the ridges run.
    pub ridge_direction: RidgeDirection,
    /// Distance from ridge to ridge, perpendicular to them, mm, with tolerance.
    pub pitch_mm: Toleranced,
}

/// Shape of the factory's cut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "shape", rename_all = "kebab-case", deny_unknown_fields)]
pub enum CutEdgeFacts {
    /// A straight knife.
    Straight,
    /// A toothed knife.
    Toothed {
        /// Distance from tooth to tooth, mm.
        pitch_mm: Toleranced,
        /// From valley to tip, mm.
        depth_mm: Toleranced,
    },
}

/// Facts of the fin seal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FinSealFacts {
    /// Centre of the seam on the back, mm from its left edge.
    pub centre_mm: Toleranced,
    /// Width of the seam, mm.
    pub width_mm: Toleranced,
}

/// Facts of the overwrap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FilmFacts {
    /// Whether the film carries a repeated printed mark.
    pub printed_mark: bool,
    /// Distance from mark to mark, mm.
    #[serde(default)]
    pub mark_repeat_mm: Option<Toleranced>,
}

/// A form the release was never sold in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NeverMade {
    /// The form.
    pub form: Form,
    /// Where that is known from.
    pub source: String,
    /// When the source said so.
    #[schemars(with = "String")]
    pub date: jiff::civil::Date,
}

impl Catalogue {
    /// The full name of one of this file's products.
    ///
    /// # Errors
    /// [`crate::names::NameError`] when the parts do not make a product name; cannot happen in a
    /// checked catalogue.
    pub fn product_id(&self, product: &Product) -> Result<ProductId, crate::names::NameError> {
        format!("{}/{}/{}", self.line.id, self.release.id, product.id).parse()
    }

    /// Every face of every product.
    pub fn faces(&self) -> impl Iterator<Item = (FaceId, &Product, &Face)> {
        self.products.iter().flat_map(move |product| {
            product.faces.iter().filter_map(move |face| {
                let id = self.product_id(product).ok()?;
                Some((FaceId { product: id, face: face.id.clone() }, product, face))
            })
        })
    }

    /// What is wrong with the facts beyond their shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        let mut seen = Vec::new();
        for product in &self.products {
            if seen.contains(&&product.id) {
                faults.push(format!("product \"{}\" stands twice; give each its own id", product.id));
            }
            seen.push(&product.id);
            product_faults(product, &mut faults);
            if self.never_made.iter().any(|never| never.form == product.form) {
                let word = product.form.word();
                faults.push(format!("a {word} stands under products and under never_made; remove one"));
            }
            if let Some(contents) = &product.contents()
                && !self.products.iter().any(|other| other.id == contents.product)
            {
                faults.push(format!(
                    "product \"{}\" contains \"{}\", which this file does not list",
                    product.id, contents.product
                ));
            }
        }
        faults
    }
}

impl Product {
    fn contents(&self) -> Option<&Contents> {
        self.contains.as_ref()
    }
}

fn product_faults(product: &Product, faults: &mut Vec<String>) {
    let name = &product.id;
    if product.makes.is_empty() {
        faults.push(format!("product \"{name}\" has no make; at least one is needed"));
    }
    for (index, face) in product.faces.iter().enumerate() {
        if product.faces[..index].iter().any(|other| other.id == face.id) {
            faults.push(format!("product \"{name}\": face \"{}\" stands twice", face.id));
        }
        let [width, height] = face.size_mm;
        let proper = |v: f64| v.is_finite() && v > 1.0 && v < 2_000.0;
        if !proper(width) || !proper(height) {
            faults.push(format!(
                "product \"{name}\", face \"{}\": {width} × {height} mm is no size between 1 and 2000 mm",
                face.id
            ));
        }
        for region in &face.regions {
            let r = region.rect_mm;
            let inside = r.is_proper()
                && r.x >= 0.0
                && r.y >= 0.0
                && r.x + r.width <= width + 1e-6
                && r.y + r.height <= height + 1e-6;
            if !inside {
                faults.push(format!(
                    "product \"{name}\", face \"{}\": region \"{}\" leaves the face",
                    face.id, region.name
                ));
            }
        }
    }
    for gtin in &product.gtins {
        if !crate::gtin::is_valid(gtin) {
            faults.push(format!("product \"{name}\": GTIN \"{gtin}\" has a wrong length or check digit"));
        }
    }
    for make in &product.makes {
        let lengths = make.end_seal.iter().flat_map(|seal| [seal.height_mm, seal.pitch_mm]);
        for length in lengths {
            if !(length.value.is_finite() && length.value > 0.0 && length.tolerance >= 0.0) {
                faults.push(format!(
                    "product \"{name}\", make \"{}\": a seal length of {} ± {} mm is impossible",
                    make.id, length.value, length.tolerance
                ));
            }
        }
    }
}
