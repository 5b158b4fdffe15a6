//! One item from its photos to what was learned.
//!
//! In: decoded photos, what was said, names. Out: [`Learned`]. Never here: files, how any step works.

use std::collections::BTreeMap;
use std::sync::Arc;

use casebook::catalogue::Form;
use casebook::learn::LearnFile;
use casebook::names::{FaceId, PhotoFile, ProductId, Slug};
use photo::{Codes, Encoding, Photo, Plane};
use placement::outline::Outline;
use placement::{FaceIndex, Homography, ReferenceFace, view_angle};

use crate::error::LearnError;
use crate::find::{Seen, Shot, fitting, look, size_by_card};
use crate::learned::{Learned, LearnedFace, Used};
use crate::merge::{Merged, View, merge};
use crate::names::faces_of;
use crate::regions::propose;
use crate::seals;
use crate::size::Size;
use crate::unridge::unridge;

/// Who hears how far the work is.
pub trait Progress: Sync {
    /// A step begins.
    fn begin(&self, what: &str, steps: usize);
    /// A part of it is done.
    fn step(&self);
    /// The step ends.
    fn end(&self);
}

impl Progress for () {
    fn begin(&self, _: &str, _: usize) {}
    fn step(&self) {}
    fn end(&self) {}
}

/// What is to be learned from.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// The product.
    pub product: &'a ProductId,
    /// Its form.
    pub form: Form,
    /// What was said.
    pub told: &'a LearnFile,
    /// Reference pictures that the library has of this product already: each counts as one more view.
    pub known: &'a [ReferenceFace],
}

/// A face in a photo with its map.
#[derive(Debug, Clone)]
struct Sight {
    photo: usize,
    map: Homography,
    /// By the outline; only these say where the seals lie.
    outline: Option<Outline>,
    u_px: f64,
}

/// Learns a product.
///
/// # Input
/// `photos`: each with its file's name, in the order of their names.
///
/// # Result
/// Faces, seals, regions, what to confirm and what is lacking; the same bits for the same input.
///
/// # Errors
/// [`LearnError::NoSize`] when nothing says how large the item is; [`LearnError::NoFace`] when no photo
/// shows a face that could be found.
pub fn learn(
    photos: &[(PhotoFile, Photo)],
    wanted: &Wanted<'_>,
    progress: &dyn Progress,
) -> Result<Learned, LearnError> {
    let told = wanted.told;
    let shots: Vec<Shot<'_>> =
        photos.iter().map(|(file, photo)| Shot { file, photo, told: told.photo(file) }).collect();
    progress.begin("finding outlines", 1);
    let wants_card = told.size_mm.is_empty() && wanted.known.is_empty();
    let seen = look(&shots, wanted.form, told.card || wants_card);
    progress.end();
    let size = size_of(wanted, &seen)?;
    let mut said = Said::default();
    let mut by_face = sort(&shots, &seen, wanted, &size, &mut said);
    progress.begin("merging photos", by_face.len().max(1));
    let mut merged = merge_all(&shots, &by_face, wanted, &size, progress);
    progress.end();
    // Photos whose outline or face nobody knows yet are placed by print.
    if place_by_print(&shots, &seen, &mut by_face, &merged, wanted, &size, &mut said) {
        progress.begin("merging once more", by_face.len().max(1));
        merged = merge_all(&shots, &by_face, wanted, &size, progress);
        progress.end();
    }
    if merged.is_empty() {
        let why =
            if said.lacking.is_empty() { "no photo shows one".to_owned() } else { said.lacking.join("; ") };
        return Err(LearnError::NoFace { why });
    }
    progress.begin("reading seals and regions", 1);
    let seal = if wanted.form == Form::Pack { read_seals(&shots, &by_face, &size, wanted) } else { None };
    if wanted.form == Form::Pack && seal.as_ref().is_none_or(|s| s.ridges.is_none()) {
        said.lacking.push(
            "the ridges of the end seals: a sharp photo of the whole front or back from straight on"
                .to_owned(),
        );
    }
    let mut faces = Vec::new();
    let mut used = Vec::new();
    for name in order(wanted.form, merged.keys()) {
        let Some(one) = merged.get(&name) else { continue };
        let Some(size_mm) = size.face(wanted.form, name.as_str()) else { continue };
        let sights = &by_face[&name];
        let mut rgb = one.rgb.clone();
        if let Some(seal) = &seal {
            unridge(&mut rgb, one.px_per_mm, seal);
        }
        for (view, map) in &one.used {
            let Some(sight) = sights.get(*view) else { continue };
            let shot = &shots[sight.photo];
            let Ok(corners_px) = map.corners_px((size_mm[0], size_mm[1])) else { continue };
            used.push(Used {
                file: shot.file.clone(),
                face: name.clone(),
                corners_px,
                u_px: sight.u_px,
                angle_deg: angle(map, size_mm, shot.photo),
            });
        }
        for (view, lack) in &one.lacks {
            if let Some(sight) = sights.get(*view) {
                said.lacking.push(format!(
                    "{}: the {name} could not be laid over the others ({lack:?})",
                    shots[sight.photo].file
                ));
            }
        }
        if one.used.len() == 1 {
            said.lacking.push(format!(
                "a second photo of the {name}: reflections of the only one stay in its reference"
            ));
        }
        let seal_mm = seal.as_ref().and_then(|s| s.height_mm).map_or(0.0, |h| h.value);
        let regions =
            propose(&rgb, one.px_per_mm, if wanted.form == Form::Pack { seal_mm.max(8.0) } else { 0.0 });
        faces.push(LearnedFace {
            id: name.clone(),
            size_mm,
            corner_u_mm: one.corner_u_mm,
            rgb,
            px_per_mm: one.px_per_mm,
            colour_u: one.colour_u,
            glare_left: one.glare_left,
            photos: one
                .used
                .iter()
                .filter_map(|(v, _)| sights.get(*v))
                .map(|s| shots[s.photo].file.clone())
                .collect(),
            regions,
        });
    }
    progress.end();
    for name in faces_of(wanted.form) {
        if !faces.iter().any(|f| f.id.as_str() == *name) {
            said.lacking.push(format!("a photo of the {name}"));
        }
    }
    if faces.iter().any(|f| !f.regions.is_empty()) {
        said.confirm.push("names and kinds of the regions".to_owned());
    }
    if size.by_card {
        said.confirm.push(format!(
            "the size, measured against the card: {:.1} × {:.1} mm ± {:.1} mm",
            size.width, size.height, size.u
        ));
    }
    Ok(Learned { form: wanted.form, size, faces, seal, used, confirm: said.confirm, lacking: said.lacking })
}

/// What is told to the user in the end.
#[derive(Default)]
struct Said {
    confirm: Vec<String>,
    lacking: Vec<String>,
}

fn size_of(wanted: &Wanted<'_>, seen: &[Seen]) -> Result<Size, LearnError> {
    if let Some(size) = Size::typed(&wanted.told.size_mm, wanted.told.size_u_mm) {
        return Ok(size);
    }
    let of = |name: &str| wanted.known.iter().find(|r| r.face.face.as_str() == name).map(|r| r.size_mm);
    if let Some((width, height)) = of("front").or_else(|| of("back")) {
        let depth = of("left")
            .or_else(|| of("right"))
            .map(|s| s.0)
            .or_else(|| of("top").or_else(|| of("bottom")).map(|s| s.1));
        return Ok(Size { width, height, depth, u: crate::size::RULER_U_MM, by_card: false });
    }
    size_by_card(seen, wanted.form).map_err(|why| LearnError::NoSize { why })
}

/// Faces with the photos that show them, by what was said, by name, or in the order of the photos.
fn sort(
    shots: &[Shot<'_>],
    seen: &[Seen],
    wanted: &Wanted<'_>,
    size: &Size,
    said: &mut Said,
) -> BTreeMap<Slug, Vec<Sight>> {
    let mut by_face: BTreeMap<Slug, Vec<Sight>> = BTreeMap::new();
    for (index, one) in seen.iter().enumerate() {
        if let Some(lack) = one.lack {
            said.lacking.push(format!("{}: {}", shots[index].file, lack.words()));
        }
        for (face, outline) in &one.faces {
            let Some(face) = face else { continue };
            let Some(size_mm) = size.face(wanted.form, face.as_str()) else {
                said.lacking
                    .push(format!("the size of the {face}: give the depth too, --size WIDTHxHEIGHTxDEPTH"));
                continue;
            };
            add(&mut by_face, face, index, outline, size_mm, shots, said);
        }
    }
    // With no face named at all, the first photo shows the first face; print says which others do too.
    let nameless =
        seen.iter().all(|one| one.faces.iter().all(|(face, _)| face.is_none()) && one.named.is_none());
    if nameless && wanted.known.is_empty() {
        let first = seen.iter().enumerate().find_map(|(i, one)| Some((i, one.faces.first()?)));
        if let (Some((index, (_, outline))), Some(name)) = (first, faces_of(wanted.form).first())
            && let Ok(face) = name.parse::<Slug>()
            && let Some(size_mm) = size.face(wanted.form, name)
        {
            said.confirm.push(format!(
                "that {} shows the {name}: name the files front…, back… to be sure",
                shots[index].file
            ));
            add(&mut by_face, &face, index, outline, size_mm, shots, said);
        }
    }
    by_face
}

fn add(
    by_face: &mut BTreeMap<Slug, Vec<Sight>>,
    face: &Slug,
    photo: usize,
    outline: &Outline,
    size_mm: [f64; 2],
    shots: &[Shot<'_>],
    said: &mut Said,
) {
    let by_hand =
        shots[photo].told.is_some_and(|t| t.shows.iter().any(|s| s.face == *face && s.corners_px.is_some()));
    let (outline, turned) = if by_hand { (outline.clone(), false) } else { fitting(outline, size_mm) };
    if turned {
        said.confirm.push(format!("which end of {} is up: it lies on its side", shots[photo].file));
    }
    match Homography::from_four(outline.corners_px, (size_mm[0], size_mm[1])) {
        Ok(map) => {
            let u_px = outline.u_px();
            by_face.entry(face.clone()).or_default().push(Sight { photo, map, outline: Some(outline), u_px });
        }
        Err(error) => said.lacking.push(format!("{}: {error}", shots[photo].file)),
    }
}

fn angle(map: &Homography, size_mm: [f64; 2], photo: &Photo) -> f64 {
    view_angle(map, (size_mm[0], size_mm[1]), (photo.width(), photo.height()), None)
        .map_or(45.0, |a| a.value_deg)
}

fn merge_all(
    shots: &[Shot<'_>],
    by_face: &BTreeMap<Slug, Vec<Sight>>,
    wanted: &Wanted<'_>,
    size: &Size,
    progress: &dyn Progress,
) -> BTreeMap<Slug, Merged> {
    let mut out = BTreeMap::new();
    for (face, sights) in by_face {
        let Some(size_mm) = size.face(wanted.form, face.as_str()) else { continue };
        let mut views: Vec<View<'_>> = sights
            .iter()
            .map(|sight| {
                let photo = shots[sight.photo].photo;
                let scale =
                    sight.map.local_scale_px_per_mm([size_mm[0] / 2.0, size_mm[1] / 2.0]).unwrap_or(1.0);
                let outline_u_mm = match sight.outline {
                    Some(_) => sight.u_px / scale.max(1e-6),
                    None => f64::INFINITY,
                };
                View {
                    photo,
                    map: sight.map,
                    outline_u_mm,
                    angle_deg: angle(&sight.map, size_mm, photo),
                    pillowed: wanted.form == Form::Pack,
                }
            })
            .collect();
        let known = wanted.known.iter().find(|r| r.face.face == *face);
        if let Some(reference) = known
            && let Ok(map) = reference.mm_to_px()
        {
            views.push(View {
                photo: &reference.raster,
                map,
                outline_u_mm: 0.1,
                angle_deg: 0.0,
                pillowed: false,
            });
        }
        if let Some(merged) = merge(&views, size_mm) {
            out.insert(face.clone(), merged);
        }
        progress.step();
    }
    out
}

/// Places photos without outline or face by the print of the faces found so far; says whether any was.
/// Photos that show none of them begin a face of their own.
fn place_by_print(
    shots: &[Shot<'_>],
    seen: &[Seen],
    by_face: &mut BTreeMap<Slug, Vec<Sight>>,
    merged: &BTreeMap<Slug, Merged>,
    wanted: &Wanted<'_>,
    size: &Size,
    said: &mut Said,
) -> bool {
    let mut changed = false;
    let mut pictures: Vec<ReferenceFace> = wanted.known.to_vec();
    for (face, one) in merged {
        if let Some(size_mm) = size.face(wanted.form, face.as_str()) {
            let id = FaceId { product: wanted.product.clone(), face: face.clone() };
            pictures.retain(|p| p.face != id);
            pictures.extend(picture(&one.rgb).map(|raster| ReferenceFace {
                face: id,
                size_mm: (size_mm[0], size_mm[1]),
                raster: Arc::new(raster),
            }));
        }
    }
    for (index, shot) in shots.iter().enumerate() {
        let used = by_face.values().flatten().any(|s| s.photo == index);
        if used {
            continue;
        }
        let found =
            FaceIndex::build(&pictures).map(|all| all.place(shot.photo, &pictures)).unwrap_or_default();
        if let Some(placement) = found.into_iter().next() {
            let face = placement.face.face.clone();
            let u_px = placement.residual_px;
            // Print says which face; the outline, when there is one, where its edges are.
            let outline = seen[index]
                .faces
                .first()
                .and_then(|(_, outline)| nearest_turn(outline, &placement.outline_px()));
            let map = outline
                .as_ref()
                .and_then(|o| Homography::from_four(o.corners_px, placement.size_mm).ok())
                .unwrap_or(placement.mm_to_px);
            by_face.entry(face).or_default().push(Sight { photo: index, map, outline, u_px });
            changed = true;
            continue;
        }
        let Some((None, outline)) = seen[index].faces.first() else { continue };
        let free = faces_of(wanted.form).iter().find(|name| {
            let taken = by_face.keys().any(|f| f.as_str() == **name)
                || wanted.known.iter().any(|r| r.face.face.as_str() == **name);
            !taken && size.face(wanted.form, name).is_some()
        });
        let Some(name) = free else { continue };
        let (Ok(face), Some(size_mm)) = (name.parse::<Slug>(), size.face(wanted.form, name)) else {
            continue;
        };
        said.confirm
            .push(format!("that {} shows the {name}: name the files front…, back… to be sure", shot.file));
        add(by_face, &face, index, outline, size_mm, shots, said);
        changed = true;
        // Later photos may show it again.
        let alone = by_face.get(&face).and_then(|sights| {
            let sight = sights.first()?;
            let view = View {
                photo: shot.photo,
                map: sight.map,
                outline_u_mm: 0.3,
                angle_deg: 0.0,
                pillowed: false,
            };
            picture(&merge(&[view], size_mm)?.rgb)
        });
        let id = FaceId { product: wanted.product.clone(), face };
        pictures.extend(alone.map(|raster| ReferenceFace {
            face: id,
            size_mm: (size_mm[0], size_mm[1]),
            raster: Arc::new(raster),
        }));
    }
    changed
}

/// The outline begun at the corner that lies nearest to the placement's first, when both agree.
fn nearest_turn(outline: &Outline, corners: &[[f64; 2]]) -> Option<Outline> {
    let distance = |o: &Outline| -> f64 {
        o.corners_px
            .iter()
            .zip(corners)
            .map(|(p, q)| (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]))
            .sum()
    };
    let best = (0..4).map(|k| outline.turned(k)).min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    let near = 0.06 * outline.area_px().sqrt();
    (corners.len() == 4 && distance(&best) < 4.0 * near * near).then_some(best)
}

/// Linear light as a picture of 8 bits.
pub(crate) fn codes(rgb: &[Plane<f32>; 3]) -> Vec<u8> {
    let n = rgb[0].data().len();
    let mut out = Vec::with_capacity(3 * n);
    for i in 0..n {
        for plane in rgb {
            out.push(photo::colour::transfer::srgb_code(plane.data()[i].clamp(0.0, 1.0)));
        }
    }
    out
}

fn picture(rgb: &[Plane<f32>; 3]) -> Option<Photo> {
    Photo::from_codes(
        "reference",
        rgb[0].width(),
        rgb[0].height(),
        Codes::Eight(codes(rgb)),
        Encoding::srgb(),
    )
}

fn read_seals(
    shots: &[Shot<'_>],
    by_face: &BTreeMap<Slug, Vec<Sight>>,
    size: &Size,
    wanted: &Wanted<'_>,
) -> Option<crate::learned::LearnedSeal> {
    let mut faces = Vec::new();
    for (face, sights) in by_face {
        let Some(size_mm) = size.face(wanted.form, face.as_str()) else { continue };
        for sight in sights.iter().filter(|s| s.outline.is_some()) {
            let photo = shots[sight.photo].photo;
            let scale = sight.map.local_scale_px_per_mm([size_mm[0] / 2.0, size_mm[1] / 2.0])?;
            faces.push(seals::Face {
                photo,
                map: &sight.map,
                size_mm,
                angle_deg: angle(&sight.map, size_mm, photo),
                corner_u_mm: sight.u_px / scale,
            });
        }
    }
    seals::read(&faces, size.u / size.width)
}

/// Faces in the form's order, then any others.
fn order<'a>(form: Form, names: impl Iterator<Item = &'a Slug>) -> Vec<Slug> {
    let mut names: Vec<Slug> = names.cloned().collect();
    let rank = |name: &Slug| faces_of(form).iter().position(|f| *f == name.as_str()).unwrap_or(usize::MAX);
    names.sort_by(|a, b| rank(a).cmp(&rank(b)).then_with(|| a.cmp(b)));
    names
}
