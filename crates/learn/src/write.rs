//! What was learned, laid into a folder as anybody could have written it by hand.
//!
//! In: [`Learned`], names, the photos. Out: a folder that appears whole or not at all:
//!
//! ```text
//! DIR/catalogue.toml        the release: what the library has of it, and the product
//! DIR/<reference>.png       the reference picture of each face
//! DIR/specimen/             specimen.toml and the photos, unchanged
//! DIR/learned.txt           how well each part is known, what to confirm, what is lacking
//! ```
//!
//! Never here: measuring, the library itself (`library add-catalogue` and `add-specimen` take it).

use std::fs;
use std::path::{Path, PathBuf};

use casebook::atomic;
use casebook::case::{CasePhoto, PhotoGroup, Shown};
use casebook::catalogue::{
    CATALOGUE_SCHEMA, Catalogue, CutEdgeFacts, EndSealFacts, Face, Make, Named, Product, Release,
};
use casebook::document::{self, Notation};
use casebook::hypothesis::State;
use casebook::learn::LearnFile;
use casebook::names::{PhotoFile, Slug};
use casebook::specimen::{Origin, SPECIMEN_SCHEMA, SpecimenFile};
use casebook::units::Toleranced;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder};

use crate::error::LearnError;
use crate::learned::{Learned, LearnedFace, LearnedSeal, Measured};
use crate::names::Names;
use crate::run::codes;

/// How far genuine items of one make may differ, beside the measurement's own uncertainty, while only
/// one of them was seen: relative of a pitch, mm of a height. Common practice, no source.
const PITCH_SPREAD: f64 = 0.025;
const HEIGHT_SPREAD_MM: f64 = 0.8;
const TOOTH_SPREAD: f64 = 0.06;

/// Where everything was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The folder.
    pub folder: PathBuf,
    /// The catalogue in it.
    pub catalogue: PathBuf,
    /// The specimen's folder in it; none when the photos are only a weak reference.
    pub specimen: Option<PathBuf>,
}

/// What goes beside what was learned.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// What was said.
    pub told: &'a LearnFile,
    /// The photos' places, by name.
    pub photos: &'a [(PhotoFile, PathBuf)],
    /// The library's catalogue of that release, with a path to each reference picture that it names.
    pub release: Option<(&'a Catalogue, &'a [(PhotoFile, PathBuf)])>,
    /// Name of the specimen.
    pub specimen: &'a Slug,
    /// The photos are of an offer that the user trusts: no specimen is written, and the facts say so.
    pub weak: bool,
    /// The day as text, `2026-11-25`, for sources: the core has no clock.
    pub day: &'a str,
}

/// Writes a folder.
///
/// # Errors
/// [`LearnError`] when the folder is there already or cannot be made; then nothing is left behind.
pub fn write(
    into: &Path,
    learned: &Learned,
    names: &Names,
    beside: &Beside<'_>,
) -> Result<Written, LearnError> {
    if into.exists() {
        return Err(LearnError::Occupied { folder: into.to_owned() });
    }
    let name = into.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let parent = match into.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    let make = |path: &Path| {
        fs::create_dir_all(path).map_err(|source| LearnError::Make { path: path.to_owned(), source })
    };
    make(&parent)?;
    let part = parent.join(format!(".{name}.{}.part", std::process::id()));
    let outcome = fill(&part, learned, names, beside).and_then(|()| {
        fs::rename(&part, into).map_err(|source| LearnError::Make { path: into.to_owned(), source })
    });
    if outcome.is_err() {
        // Best effort: the error to report is the first one.
        let _ = fs::remove_dir_all(&part);
    }
    outcome?;
    Ok(Written {
        folder: into.to_owned(),
        catalogue: into.join("catalogue.toml"),
        specimen: (!beside.weak).then(|| into.join("specimen")),
    })
}

fn fill(folder: &Path, learned: &Learned, names: &Names, beside: &Beside<'_>) -> Result<(), LearnError> {
    let make = |path: &Path| {
        fs::create_dir_all(path).map_err(|source| LearnError::Make { path: path.to_owned(), source })
    };
    let copy = |from: &Path, to: &Path| -> Result<(), LearnError> {
        let bytes = fs::read(from).map_err(|source| LearnError::Make { path: from.to_owned(), source })?;
        Ok(atomic::write(to, &bytes)?)
    };
    make(folder)?;
    let product = product(learned, names, beside)?;
    let (_, _, own) = names.slugs()?;
    let catalogue = match beside.release {
        None => alone(product, names, beside)?,
        Some((release, pictures)) => {
            let mut whole = release.clone();
            let kept: Vec<&PhotoFile> = whole
                .products
                .iter()
                .filter(|p| p.id != own)
                .flat_map(|p| p.faces.iter().map(|f| &f.reference))
                .collect();
            for (file, path) in pictures.iter().filter(|(file, _)| kept.contains(&file)) {
                copy(path, &folder.join(file.as_str()))?;
            }
            match whole.products.iter().position(|p| p.id == own) {
                Some(at) => whole.products[at] = joined(&whole.products[at], product),
                None => whole.products.push(product),
            }
            whole
        }
    };
    let faults = Catalogue::faults(&catalogue);
    if !faults.is_empty() {
        return Err(document::DocumentError::Faults { file: folder.join("catalogue.toml"), faults }.into());
    }
    for face in &learned.faces {
        atomic::write(&folder.join(reference(names, face)?.as_str()), &png(face)?)?;
    }
    let head = format!(
        "# Learned by untorn on {} from {} photos. Correct what is wrong, then:\n#   untorn library add-catalogue {}\n",
        beside.day,
        beside.photos.len(),
        "catalogue.toml"
    );
    let text = document::print(&catalogue, Notation::Toml)?;
    atomic::write(&folder.join("catalogue.toml"), format!("{head}{text}").as_bytes())?;
    if !beside.weak {
        let own = folder.join("specimen");
        make(&own)?;
        for (file, path) in beside.photos {
            copy(path, &own.join(file.as_str()))?;
        }
        let text = document::print(&specimen(learned, names, beside)?, Notation::Toml)?;
        atomic::write(&own.join("specimen.toml"), text.as_bytes())?;
    }
    atomic::write(&folder.join("learned.txt"), account(learned, names).as_bytes())?;
    Ok(())
}

/// The library's product with what was learned anew: pictures and sizes of the faces learned now, and
/// makes added or, of one name, replaced; names that people gave to regions stay.
fn joined(old: &Product, new: Product) -> Product {
    let mut out = old.clone();
    for face in new.faces {
        match out.faces.iter_mut().find(|f| f.id == face.id) {
            Some(own) => {
                let regions = if own.regions.is_empty() { face.regions } else { own.regions.clone() };
                *own = Face { regions, ..face };
            }
            None => out.faces.push(face),
        }
    }
    for make in new.makes {
        match out.makes.iter_mut().find(|m| m.id == make.id) {
            Some(own) => *own = refined(own, make),
            None => out.makes.push(make),
        }
    }
    out
}

/// A make's facts with a further item: the mean of both by their tolerances, which shrink to no less
/// than half the difference.
fn refined(old: &Make, new: Make) -> Make {
    let mean = |a: Toleranced, b: Toleranced| {
        let (wa, wb) =
            (1.0 / (a.tolerance * a.tolerance).max(1e-9), 1.0 / (b.tolerance * b.tolerance).max(1e-9));
        let value = (wa * a.value + wb * b.value) / (wa + wb);
        let tolerance = (1.0 / (wa + wb))
            .sqrt()
            .max((a.value - b.value).abs() / 2.0)
            .max(0.6 * a.tolerance.min(b.tolerance));
        rounded(Measured { value, u: 0.0 }, tolerance)
    };
    let end_seal = match (&old.end_seal, new.end_seal) {
        (Some(a), Some(b)) if a.ridge_direction == b.ridge_direction => Some(EndSealFacts {
            height_mm: mean(a.height_mm, b.height_mm),
            ridge_direction: a.ridge_direction,
            pitch_mm: mean(a.pitch_mm, b.pitch_mm),
        }),
        (Some(a), _) => Some(a.clone()),
        (None, b) => b,
    };
    Make {
        end_seal,
        cut_edge: old.cut_edge.clone().or(new.cut_edge),
        source: format!("{}; {}", old.source, new.source),
        ..old.clone()
    }
}

fn alone(product: Product, names: &Names, beside: &Beside<'_>) -> Result<Catalogue, LearnError> {
    let (line, release, _) = names.slugs()?;
    Ok(Catalogue {
        schema: CATALOGUE_SCHEMA.to_owned(),
        line: Named { id: line, name: names.line.clone(), aliases: Vec::new() },
        release: Release {
            id: release,
            name: names.release.clone(),
            aliases: Vec::new(),
            year: beside.told.year,
            language: beside.told.language.clone(),
            source: source(beside),
        },
        products: vec![product],
        never_made: Vec::new(),
    })
}

fn source(beside: &Beside<'_>) -> String {
    let known = beside.told.known_by.as_deref().unwrap_or("the user's word");
    let what = if beside.weak {
        "a weak reference: an offer's photos, taken at the user's word"
    } else {
        "measured on one item"
    };
    format!("{what}, {} photos, {}; known by: {known}", beside.photos.len(), beside.day)
}

fn rounded(value: Measured, tolerance: f64) -> Toleranced {
    let round = |v: f64| (v * 1000.0).round() / 1000.0;
    Toleranced { value: round(value.value), tolerance: round(tolerance).max(0.001) }
}

/// A tolerance that holds a genuine item's value: the spread of a make and twice the uncertainty.
fn facts(seal: &LearnedSeal) -> (Option<EndSealFacts>, Option<CutEdgeFacts>) {
    let end = seal.ridges.map(|(ridge_direction, pitch)| EndSealFacts {
        height_mm: seal
            .height_mm
            .map_or(Toleranced { value: 9.0, tolerance: 3.0 }, |h| rounded(h, HEIGHT_SPREAD_MM + 2.0 * h.u)),
        ridge_direction,
        pitch_mm: rounded(pitch, PITCH_SPREAD * pitch.value + 2.0 * pitch.u),
    });
    let cut = seal.cut.map(|cut| match cut {
        None => CutEdgeFacts::Straight,
        Some((pitch, depth)) => CutEdgeFacts::Toothed {
            pitch_mm: rounded(pitch, TOOTH_SPREAD * pitch.value + 2.0 * pitch.u),
            depth_mm: rounded(depth, 0.15 + 2.0 * depth.u),
        },
    });
    (end, cut)
}

fn reference(names: &Names, face: &LearnedFace) -> Result<PhotoFile, LearnError> {
    let (_, release, product) = names.product.parts();
    Ok(format!("{release}-{product}-{}.png", face.id).parse()?)
}

fn product(learned: &Learned, names: &Names, beside: &Beside<'_>) -> Result<Product, LearnError> {
    let (_, _, id) = names.slugs()?;
    let mut faces = Vec::new();
    for face in &learned.faces {
        faces.push(Face {
            id: face.id.clone(),
            size_mm: face.size_mm.map(|v| (v * 100.0).round() / 100.0),
            reference: reference(names, face)?,
            regions: face.regions.clone(),
        });
    }
    let (end_seal, cut_edge) = learned.seal.as_ref().map_or((None, None), facts);
    let make = match &beside.told.make {
        Some(make) => make.clone(),
        None => "first".parse()?,
    };
    let size = &learned.size;
    let of = |value: f64| Toleranced { value: (value * 10.0).round() / 10.0, tolerance: 1.0 + 2.0 * size.u };
    Ok(Product {
        id,
        name: names.name.clone(),
        form: learned.form,
        size_mm: size.depth.map(|d| [of(size.width), of(size.height), of(d)]),
        mass_g: None,
        contains: None,
        gtins: Vec::new(),
        faces,
        makes: vec![Make {
            id: make,
            note: None,
            source: source(beside),
            end_seal,
            cut_edge,
            fin_seal: None,
            film: None,
        }],
    })
}

fn specimen(learned: &Learned, names: &Names, beside: &Beside<'_>) -> Result<SpecimenFile, LearnError> {
    let item: Slug = "a".parse()?;
    let sitting: Slug = "s1".parse()?;
    let photos = beside
        .photos
        .iter()
        .map(|(file, _)| CasePhoto {
            file: file.clone(),
            group: PhotoGroup::Same,
            sitting: Some(
                beside.told.photo(file).and_then(|p| p.sitting.clone()).unwrap_or_else(|| sitting.clone()),
            ),
            shows: learned
                .used
                .iter()
                .filter(|u| u.file == *file)
                .map(|u| Shown { item: item.clone(), face: u.face.clone(), corners_px: None })
                .collect(),
        })
        .collect();
    Ok(SpecimenFile {
        schema: SPECIMEN_SCHEMA.to_owned(),
        id: beside.specimen.clone(),
        product: names.product.clone(),
        make: beside.told.make.clone(),
        state: State::Sealed,
        known_by: beside.told.known_by.clone().unwrap_or_else(|| "the user's word".to_owned()),
        origin: beside.told.origin.unwrap_or(Origin::Physical),
        photos,
        notes: Vec::new(),
    })
}

fn png(face: &LearnedFace) -> Result<Vec<u8>, LearnError> {
    let fail = |why: String| LearnError::Encode { face: face.id.to_string(), why };
    let side = |v: usize| u32::try_from(v).map_err(|e| fail(e.to_string()));
    let (width, height) = (side(face.rgb[0].width())?, side(face.rgb[0].height())?);
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Default, FilterType::Adaptive)
        .write_image(&codes(&face.rgb), width, height, ExtendedColorType::Rgb8)
        .map_err(|e| fail(e.to_string()))?;
    Ok(bytes)
}

/// How well everything is known, in words.
fn account(learned: &Learned, names: &Names) -> String {
    use std::fmt::Write;
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(out, "{} ({})\n", names.name, names.product);
    for face in &learned.faces {
        let files: Vec<&str> = face.photos.iter().map(PhotoFile::as_str).collect();
        let _ = writeln!(
            out,
            "{}: {:.1} × {:.1} mm, corners ± {:.2} mm, {:.1} px/mm, from {}; light ± {:.0} %; {:.1} % lost to glare in every photo; {} regions proposed",
            face.id,
            face.size_mm[0],
            face.size_mm[1],
            face.corner_u_mm,
            face.px_per_mm,
            files.join(", "),
            100.0 * face.colour_u.iter().copied().fold(0.0, f64::max),
            100.0 * face.glare_left,
            face.regions.len()
        );
    }
    if let Some(seal) = &learned.seal {
        if let Some(h) = seal.height_mm {
            let _ = writeln!(out, "end seals: {:.2} mm ± {:.2} mm high", h.value, h.u);
        }
        if let Some((direction, pitch)) = seal.ridges {
            let word =
                if direction == casebook::catalogue::RidgeDirection::Along { "along" } else { "across" };
            let _ = writeln!(out, "ridges: {word} the pack, {:.4} mm ± {:.4} mm apart", pitch.value, pitch.u);
        }
        match seal.cut {
            Some(None) => {
                let _ = writeln!(out, "cut: straight");
            }
            Some(Some((pitch, depth))) => {
                let _ = writeln!(
                    out,
                    "cut: teeth {:.2} mm ± {:.2} mm apart, {:.2} mm ± {:.2} mm deep",
                    pitch.value, pitch.u, depth.value, depth.u
                );
            }
            None => {}
        }
    }
    for (title, lines) in [("To confirm", &learned.confirm), ("Lacking", &learned.lacking)] {
        if !lines.is_empty() {
            let _ = writeln!(out, "\n{title}:");
            for line in lines {
                let _ = writeln!(out, "- {line}");
            }
        }
    }
    out
}
