//! The examiner `barcode`: which photos show a code well enough, what it reads, and its findings.
//!
//! In: an [`ItemView`]. Out: findings with pictures. Never here: how bars are decoded.

use std::collections::BTreeMap;

use casebook::catalogue::{Face, Product, Region, RegionKind};
use casebook::finding::{FactOutcome, Finding, Lack, Missing, Place, Reading, Seeing};
use casebook::gtin;
use casebook::hypothesis::State;
use casebook::names::{PhotoFile, ProductId, Slug};
use casebook::picture::{Mark, MarkRole, Picture};
use casebook::units::RectMm;
use placement::{Patch, rectify};
use rayon::prelude::*;

use super::reader::{CodeReading, CodeView, expected, read};
use crate::{Examined, Examiner, ItemView, PlacedPhoto, drawing};

/// Most photos of one code, best first.
const MOST_PHOTOS: usize = 4;
/// Around the region, mm: what placement and register may be off.
const MARGIN_MM: f64 = 1.5;
/// Pixels a millimetre of the straightened code. An EAN module is 0.264 to 0.66 mm (80 % to 200 %;
/// source: `iso15420`), so this is four pixels a module or more.
const PX_PER_MM: f64 = 16.0;
/// Modules over a symbol with quiet zones. Source: `iso15420`.
const MODULES: f64 = 113.0;
/// Photo pixels a module from which codes are mostly read: 23 of 32 of the blurred, tilted and noisy
/// ones of `checks/codes` at this resolution, 14 of 32 at 1.2.
const READABLE_PX_PER_MODULE: f64 = 1.5;
/// Below it no attempt is made.
const LEAST_PX_PER_MODULE: f64 = 0.7;
/// Share of the region at the photo's top code from which glare is named as the reason.
const GLARED: f64 = 0.15;
/// Rate of wrong GTINs in catalogues. Assumed, no source: as for existence, one entry in a hundred.
const CATALOGUE_ERROR_RATE: f64 = 0.01;
/// Rate at which a number that passed check digit and agreement is wrong. Upper 95 % bound after no
/// wrong one among the 111 readings of `checks/codes`: three in so many.
const MISREAD_RATE: f64 = 0.027;
/// Digits that a GS1 company prefix has at least; fewer agree by country alone. Source: `gs1general`.
const COMPANY_DIGITS: usize = 7;

/// Examines the codes printed on every face.
#[derive(Debug, Clone, Copy, Default)]
pub struct Barcode;

impl Examiner for Barcode {
    fn name(&self) -> &'static str {
        "barcode"
    }

    fn concerns(&self, product: &Product) -> bool {
        product.faces.iter().flat_map(|f| &f.regions).any(|r| r.kind == RegionKind::Code)
    }

    fn examine(&self, view: &ItemView<'_>) -> Vec<Examined> {
        let codes: Vec<(&Face, &Region)> = view
            .product
            .faces
            .iter()
            .flat_map(|face| face.regions.iter().map(move |region| (face, region)))
            .filter(|(_, region)| region.kind == RegionKind::Code)
            .collect();
        codes.par_iter().filter_map(|(face, region)| examine_code(view, face, region)).collect()
    }
}

/// One photo's straightened code.
struct Seen<'a> {
    placed: &'a PlacedPhoto<'a>,
    patch: Patch,
    px_per_module: f64,
    clipped: f64,
}

fn examine_code(view: &ItemView<'_>, face: &Face, region: &Region) -> Option<Examined> {
    let wanted = region.text.as_deref();
    let mut seen = Vec::new();
    let mut lacks: Vec<Missing> = Vec::new();
    let wants = format!("a sharp photo of the code on the {}, close, square on and without glare", face.id);
    let missing = |lack, words: String| Missing { lack, words, wants: wants.clone() };
    for placed in view.photos.iter().filter(|p| p.face.id == face.id) {
        match look(placed, region) {
            Ok(one) => seen.push(one),
            Err((lack, words)) => lacks.push(missing(lack, words)),
        }
    }
    if seen.is_empty() && lacks.is_empty() {
        lacks.push(missing(Lack::NotShown, format!("no photo shows the {} with its code", face.id)));
    }
    seen.sort_by(|a, b| b.px_per_module.total_cmp(&a.px_per_module));
    seen.truncate(MOST_PHOTOS);
    let views: Vec<CodeView> = seen
        .iter()
        .map(|s| CodeView {
            light: s.patch.luminance(),
            px_per_mm: s.patch.px_per_mm,
            seen_px_per_mm: s.patch.seen_px_per_mm,
        })
        .collect();
    let result = read(&views, &expected(wanted));
    let best = match &result {
        CodeReading::Read { views, .. } => views.first().and_then(|v| seen.get(*v)),
        _ => seen.first(),
    };
    let (reading, says) = match &result {
        CodeReading::Read { digits, attempts, .. } => {
            let (reading, meaning) = judge(view, digits);
            let times = attempts.0;
            let against = if attempts.1 == 0 { String::new() } else { format!(", {} otherwise", attempts.1) };
            (reading, format!("The bars read {digits} ({times} attempts agree{against}). {meaning}"))
        }
        CodeReading::Disagreeing => {
            let words = "attempts at the code disagree with each other".to_owned();
            (cannot(vec![missing(Lack::Blur, words.clone())]), words)
        }
        CodeReading::Nothing => {
            if let Some(best) = best {
                let (lack, words) = why_not(best);
                lacks.insert(0, missing(lack, words));
            }
            let says = lacks.first().map_or_else(String::new, |m| m.words.clone());
            (cannot(lacks), says)
        }
    };
    let pictures: Vec<Picture> =
        best.and_then(|best| picture(view, face, region, best, &result)).into_iter().collect();
    let finding = Finding {
        examiner: slug("barcode")?,
        item: view.item.clone(),
        place: Place {
            face: Some(face.id.clone()),
            part: Some(region.name.clone()),
            rect_mm: Some(region.rect_mm),
        },
        quantity: slug("code-number")?,
        question: format!("Is the number in the {} on the {} this product's?", region.name, face.id),
        reading,
        expected: None,
        features: Vec::new(),
        seeing: best.map_or_else(Seeing::default, seeing),
        group: slug("codes")?,
        photos: photos(&seen, &result),
        pictures: pictures.iter().map(|p| p.id.clone()).collect(),
        says,
    };
    Some(Examined { finding, pictures })
}

fn slug(text: &str) -> Option<Slug> {
    text.parse().ok()
}

fn cannot(missing: Vec<Missing>) -> Reading {
    Reading::CannotTell { missing }
}

fn photos(seen: &[Seen<'_>], result: &CodeReading) -> Vec<PhotoFile> {
    match result {
        CodeReading::Read { views, .. } => {
            views.iter().filter_map(|v| seen.get(*v)).map(|s| s.placed.file.clone()).collect()
        }
        _ => seen.iter().map(|s| s.placed.file.clone()).collect(),
    }
}

fn look<'a>(placed: &'a PlacedPhoto<'a>, region: &Region) -> Result<Seen<'a>, (Lack, String)> {
    let r = region.rect_mm;
    let rect = RectMm {
        x: r.x - MARGIN_MM,
        y: r.y - MARGIN_MM,
        width: r.width + 2.0 * MARGIN_MM,
        height: r.height + 2.0 * MARGIN_MM,
    };
    let patch = rectify(placed.photo, &placed.placement.mm_to_px, rect, PX_PER_MM);
    if patch.usable_share() < 0.6 {
        return Err((Lack::OutOfFrame, format!("the {} leaves the frame of {}", region.name, placed.file)));
    }
    // The bars repeat along the longer side, whichever way the code is printed.
    let long = if r.width >= r.height { 0 } else { 1 };
    let module_mm = r.width.max(r.height) / MODULES;
    let px_per_module = patch.seen_px_per_mm[long] * module_mm;
    if px_per_module < LEAST_PX_PER_MODULE {
        return Err((Lack::Resolution, too_small(placed.file, px_per_module)));
    }
    let cells = patch.clipped.data().len().max(1);
    let clipped = patch.clipped.data().iter().filter(|c| **c).count() as f64 / cells as f64;
    Ok(Seen { placed, patch, px_per_module, clipped })
}

fn too_small(file: &PhotoFile, px_per_module: f64) -> String {
    format!(
        "{file} shows the narrowest bar of the code with {px_per_module:.1} pixels; about {READABLE_PX_PER_MODULE} are needed"
    )
}

/// The most likely reason why nothing was read in the best photo.
fn why_not(best: &Seen<'_>) -> (Lack, String) {
    let file = best.placed.file;
    if best.px_per_module < READABLE_PX_PER_MODULE {
        (Lack::Resolution, too_small(file, best.px_per_module))
    } else if best.clipped > GLARED {
        (
            Lack::Glare,
            format!("{:.0} % of the code in {file} is at the photo's top code", 100.0 * best.clipped),
        )
    } else {
        (
            Lack::Blur,
            format!(
                "the bars in {file} cannot be told apart ({:.1} pixels for the narrowest; it may be blurred, covered or worn)",
                best.px_per_module
            ),
        )
    }
}

fn seeing(seen: &Seen<'_>) -> Seeing {
    Seeing {
        px_per_mm: Some(seen.patch.seen_px_per_mm[0]),
        angle_deg: Some(seen.placed.placement.angle.value_deg),
        glare: Some(seen.clipped),
        usable: Some(seen.patch.usable_share()),
        ..Seeing::default()
    }
}

/// What a number says of the item.
fn judge(view: &ItemView<'_>, digits: &str) -> (Reading, String) {
    let error_rate = 1.0 - (1.0 - CATALOGUE_ERROR_RATE) * (1.0 - MISREAD_RATE);
    let source = "GTINs in the catalogue; rates of wrong entries and of wrong readings assumed".to_owned();
    if view.product.gtins.iter().any(|g| gtin::same(g, digits)) {
        let reading = Reading::Fact { outcome: FactOutcome::AsGenuine, error_rate, source };
        return (reading, format!("The catalogue lists it for {}.", view.product.name));
    }
    if let Some(other) = other_product(view.gtins, view.product_id, digits) {
        let reading =
            Reading::Fact { outcome: FactOutcome::Points { to: State::Counterfeit }, error_rate, source };
        return (reading, format!("The catalogue lists it for another product, {other}."));
    }
    let words = format!("the library lists no product with the number {digits}");
    let missing = Missing { lack: Lack::Library, words, wants: String::new() };
    (cannot(vec![missing]), unlisted(&view.product.gtins, digits))
}

fn other_product<'a>(
    gtins: &'a BTreeMap<String, ProductId>,
    own: &ProductId,
    digits: &str,
) -> Option<&'a ProductId> {
    gtins.iter().find(|(g, product)| *product != own && gtin::same(g, digits)).map(|(_, product)| product)
}

/// A number that no entry has: what its beginning says.
fn unlisted(listed: &[String], digits: &str) -> String {
    let own = gtin::padded(digits);
    let common = listed
        .iter()
        .map(|g| gtin::padded(g).chars().zip(own.chars()).skip(1).take_while(|(a, b)| a == b).count())
        .max()
        .unwrap_or(0);
    if listed.is_empty() {
        "The library lists no number for this product, so it cannot be compared.".to_owned()
    } else if common >= COMPANY_DIGITS {
        format!(
            "The library does not list it, but it begins with the same {common} digits as a listed number of this product; prints for other shops or countries may have their own."
        )
    } else {
        "The library does not list it, and it begins otherwise than the listed numbers of this product; a distributor's own number would look like that as well.".to_owned()
    }
}

/// The straightened code with its region outlined.
fn picture(
    view: &ItemView<'_>,
    face: &Face,
    region: &Region,
    best: &Seen<'_>,
    result: &CodeReading,
) -> Option<Picture> {
    let patch = &best.patch;
    let corner = |x: f64, y: f64| {
        let [px, py] = patch.px_of([x, y]);
        (px, py)
    };
    let r = region.rect_mm;
    let outline = vec![
        corner(r.x, r.y),
        corner(r.x + r.width, r.y),
        corner(r.x + r.width, r.y + r.height),
        corner(r.x, r.y + r.height),
    ];
    let (role, label) = match result {
        CodeReading::Read { digits, .. } => (MarkRole::Outline, digits.clone()),
        _ => (MarkRole::Unread, "not read".to_owned()),
    };
    let told = match result {
        CodeReading::Read { digits, .. } => format!("it reads {digits}"),
        _ => "it could not be read".to_owned(),
    };
    Some(Picture {
        id: format!("{}-code-{}-{}", view.item, face.id, region.name.replace(' ', "-")),
        caption: format!(
            "The {} on the {} in {}, straightened: {told}",
            region.name, face.id, best.placed.file
        ),
        alt: format!(
            "The {} cut out of {} and straightened, {:.1} photo pixels for the narrowest bar; {told}",
            region.name, best.placed.file, best.px_per_module
        ),
        content: drawing::jpeg(
            &patch.rgb,
            Some(patch.px_per_mm),
            vec![Mark { points: outline, label, role }],
        )?,
    })
}
