//! One case, examined.

use casebook::case::{CaseFile, CasePhoto, OfferFacts, PhotoGroup};
use casebook::catalogue::Form;
use casebook::finding::Finding;
use casebook::hypothesis::State;
use casebook::names::{PhotoHash, ProductId, Slug};
use casebook::opinion::{
    EXAMINATION_SCHEMA, Examination, ItemReport, OfferReport, Opinion, PhotoReport, PlacedFace,
};
use casebook::picture::Picture;
use opinion::weigh::MIN_SPECIMENS;
use opinion::{Circumstances, Judged, Question, conclude, opine};
use photo::{Limits, Photo};
use placement::{Origin, Placement};
use rayon::prelude::*;

use crate::folder::CaseFolder;
use crate::look::{Placed, Read, Seen, place, read_item};
use crate::shelf::Shelf;
use crate::thumbnail::Thumbnail;

/// Name and version of the program, as reports print it.
pub const PROGRAM: &str = concat!("untorn ", env!("CARGO_PKG_VERSION"));

/// Everything that came of one case.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What is kept and exchanged.
    pub examination: Examination,
    /// The pictures that its findings name.
    pub pictures: Vec<Picture>,
    /// Small copies of the photos that could be read, in the case's order; none where not wanted.
    pub thumbnails: Vec<Thumbnail>,
}

/// Whether small copies of the photos are made: only who shows them needs them, and of 12 megapixels
/// each they cost as much as finding the faces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SmallCopies {
    /// Beside the examination.
    Made,
    /// Nobody will look at them.
    LeftOut,
}

/// What is held of one item before anything is decided.
pub(crate) type Held = (Vec<Finding>, Opinion);

/// The photos of one case in its order: decoded, or the words of why not.
#[derive(Debug)]
pub struct DecodedPhotos(Vec<Result<Photo, String>>);

impl DecodedPhotos {
    /// Decodes them all, in parallel.
    #[must_use]
    pub fn of(folder: &CaseFolder) -> Self {
        let read = |path| photo::read(path, &Limits::default()).map_err(|error| error.to_string());
        Self(folder.photos.par_iter().map(|(_, path)| read(path)).collect())
    }
}

/// Examines one case. A photo that cannot be read is reported in its place; the others are examined.
#[must_use]
pub fn examine(folder: &CaseFolder, shelf: &Shelf, copies: SmallCopies) -> Outcome {
    examine_decoded(folder, DecodedPhotos::of(folder), shelf, copies)
}

/// [`examine`] of photos that were decoded before: while the shelf was taken, say.
#[must_use]
pub fn examine_decoded(
    folder: &CaseFolder,
    photos: DecodedPhotos,
    shelf: &Shelf,
    copies: SmallCopies,
) -> Outcome {
    let decoded: Vec<(&CasePhoto, Result<Photo, String>)> =
        folder.photos.iter().map(|(told, _)| told).zip(photos.0).collect();
    let seen: Vec<Seen<'_>> =
        decoded.iter().map(|(told, photo)| Seen { told, photo: photo.as_ref().ok() }).collect();
    let placed = place(&folder.case, &seen, shelf.products());
    let (examined, thumbnails) = rayon::join(
        || items(folder, shelf, &seen, &placed),
        || match copies {
            SmallCopies::LeftOut => Vec::new(),
            SmallCopies::Made => seen
                .par_iter()
                .filter_map(|seen| Thumbnail::of(&seen.told.file, seen.photo?))
                .collect::<Vec<Thumbnail>>(),
        },
    );
    let (judged, pictures): (Vec<Held>, Vec<Vec<Picture>>) = examined.into_iter().unzip();
    let (items, offer) = decided(&folder.case, shelf, judged);
    let forms: Vec<Form> = items
        .iter()
        .filter_map(|item| Some(shelf.products().get(item.opinion.product.as_ref()?)?.form))
        .collect();
    let photos = decoded
        .iter()
        .enumerate()
        .map(|(index, (told, photo))| photo_report(index, told, photo, &placed))
        .collect();
    let examination = Examination {
        schema: EXAMINATION_SCHEMA.to_owned(),
        program: PROGRAM.to_owned(),
        case: folder.case.id.clone(),
        title: folder.case.offer.as_ref().map(|offer| offer.title.clone()),
        photos,
        items,
        offer: Some(offer),
        cautions: cautions(shelf, &forms),
    };
    Outcome { examination, pictures: pictures.into_iter().flatten().collect(), thumbnails }
}

/// The fixed cautions, and for each form what the library lacks before anything seen can weigh.
fn cautions(shelf: &Shelf, forms: &[Form]) -> Vec<String> {
    let mut cautions: Vec<String> = casebook::opinion::CAUTIONS.iter().map(ToString::to_string).collect();
    for form in Form::ALL.into_iter().filter(|form| forms.contains(form)) {
        let of = |wanted: &dyn Fn(State) -> bool| {
            let own = shelf.measured().iter().filter(|m| {
                wanted(m.state) && shelf.products().get(&m.product).is_some_and(|p| p.form == form)
            });
            own.map(|m| &m.specimen).collect::<std::collections::BTreeSet<_>>().len()
        };
        let sealed = of(&|state| state == State::Sealed);
        let other = of(&|state| state != State::Sealed);
        if sealed < MIN_SPECIMENS || other < MIN_SPECIMENS {
            let word = form.word();
            cautions.push(format!(
                "The library holds {sealed} specimens of a {word} known to be sealed and {other} known to be something else. Until there are {MIN_SPECIMENS} of each, what was measured is shown and can weigh little or nothing between them: compare one end with the other, and the item with its reference, yourself."
            ));
        }
    }
    cautions
}

fn items(
    folder: &CaseFolder,
    shelf: &Shelf,
    seen: &[Seen<'_>],
    placed: &Placed,
) -> Vec<(Held, Vec<Picture>)> {
    let case = &folder.case;
    let nothing_said = OfferFacts::default();
    let claims = offer::claims(case.offer.as_ref().unwrap_or(&nothing_said), shelf.catalogues());
    let none_readable = !seen.is_empty() && seen.iter().all(|seen| seen.photo.is_none());
    placed
        .assignment
        .items
        .par_iter()
        .map(|item| {
            let mut faces: Vec<(usize, &Placement)> = Vec::new();
            let mut shown: Vec<ProductId> = Vec::new();
            for (photo, face) in &item.faces {
                let Some(placement) = placed.faces.get(*photo).and_then(|list| list.get(*face)) else {
                    continue;
                };
                if !shown.contains(&placement.face.product) {
                    shown.push(placement.face.product.clone());
                }
                faces.push((*photo, placement));
            }
            let uncovered =
                stated(case, &item.item).filter(|product| shelf.products().get(product).is_none());
            let product = item.product.clone().or_else(|| claimed_product(&claims));
            let product = product.filter(|_| uncovered.is_none());
            faces.retain(|(_, placement)| Some(&placement.face.product) == product.as_ref());
            let Read { mut findings, pictures } = product.as_ref().map_or_else(Read::default, |product| {
                read_item(&item.item, product, seen, &faces, shelf.products(), shelf.measured())
            });
            findings.extend(of_words(case, shelf, &claims, &item.item, &shown, none_readable));
            let held = judge(case, shelf, &claims, (&item.item, product.as_ref()), findings);
            (held, pictures)
        })
        .collect()
}

/// What is held of one item from its findings.
pub(crate) fn judge(
    case: &CaseFile,
    shelf: &Shelf,
    claims: &offer::Claims,
    (item, product): (&Slug, Option<&ProductId>),
    findings: Vec<Finding>,
) -> Held {
    let form = product
        .and_then(|product| shelf.products().get(product).map(|facts| facts.form))
        .or_else(|| claimed_form(claims));
    let opinion = opine(
        &Question {
            item,
            product,
            form,
            findings: &findings,
            prior: case.prior,
            outcomes: case.offer.as_ref().and_then(|o| o.seller.as_ref()).map(|s| s.confirmed),
            mix: None,
        },
        shelf.calibration(),
    );
    (findings, opinion)
}

/// The decision about the offer as a whole, and what it means for each item.
pub(crate) fn decided(case: &CaseFile, shelf: &Shelf, judged: Vec<Held>) -> (Vec<ItemReport>, OfferReport) {
    let inside = |item: &Slug| case.items.iter().any(|facts| facts.id == *item && facts.inside.is_some());
    let views: Vec<Judged<'_>> = judged
        .iter()
        .map(|(findings, opinion)| Judged { opinion, findings, inside: inside(&opinion.item) })
        .collect();
    let (decisions, offer) = conclude(&views, &Circumstances::of_case(case), shelf.calibration());
    let items = judged
        .into_iter()
        .zip(decisions)
        .map(|((findings, opinion), decision)| ItemReport { findings, opinion, decision })
        .collect();
    (items, offer)
}

/// The product that the case states for an item.
fn stated<'a>(case: &'a CaseFile, item: &Slug) -> Option<&'a ProductId> {
    case.items.iter().find(|facts| facts.id == *item)?.product.as_ref()
}

/// What is found about an item without looking at it: in the offer's words and in what the case states.
///
/// `shown`: the products that its photos show; `none_readable`: whether no photo of the case opened.
pub(crate) fn of_words(
    case: &CaseFile,
    shelf: &Shelf,
    claims: &offer::Claims,
    item: &Slug,
    shown: &[ProductId],
    none_readable: bool,
) -> Vec<Finding> {
    let catalogues = shelf.catalogues();
    let mut findings = offer::findings(item, case.offer.as_ref(), claims, shown, catalogues);
    let stated = stated(case, item);
    findings.extend(stated.and_then(|stated| offer::another_shown(item, stated, shown, catalogues)));
    let known = findings.iter().any(|finding| finding.group.as_str() == "existence" && finding.is_read());
    let instead = match stated.filter(|product| shelf.products().get(product).is_none()) {
        Some(stated) => offer::not_covered(item, stated),
        None if none_readable && !known => offer::unreadable(item),
        None => None,
    };
    if let Some(instead) = instead {
        findings.retain(|finding| finding.group != instead.group);
        findings.push(instead);
    }
    findings
}

fn claimed_product(claims: &offer::Claims) -> Option<ProductId> {
    match claims.products.as_slice() {
        [only] => match &only.standing {
            offer::Standing::Catalogued(products) => match products.as_slice() {
                [product] => Some(product.clone()),
                _ => None,
            },
            _ => None,
        },
        _ => None,
    }
}

fn claimed_form(claims: &offer::Claims) -> Option<Form> {
    match claims.products.as_slice() {
        [only] => only.form,
        _ => None,
    }
}

fn photo_report(
    index: usize,
    told: &CasePhoto,
    photo: &Result<Photo, String>,
    placed: &Placed,
) -> PhotoReport {
    let faces = placed
        .assignment
        .items
        .iter()
        .flat_map(|item| item.faces.iter().map(move |place| (&item.item, place)))
        .filter(|(_, (photo, _))| *photo == index)
        .filter_map(|(item, (photo, face))| Some(placed_face(item, placed.faces.get(*photo)?.get(*face)?)))
        .collect();
    let problem = match photo {
        Err(words) => Some(words.clone()),
        Ok(_) => placed.problems.iter().find(|(photo, _)| *photo == index).map(|(_, words)| words.clone()),
    };
    PhotoReport {
        file: told.file.clone(),
        hash: photo.as_ref().ok().and_then(|photo| photo.hash().as_str().parse::<PhotoHash>().ok()),
        size_px: photo.as_ref().ok().and_then(|photo| {
            Some([u32::try_from(photo.width()).ok()?, u32::try_from(photo.height()).ok()?])
        }),
        faces,
        problem,
        note: note(index, told, placed),
    }
}

fn note(index: usize, told: &CasePhoto, placed: &Placed) -> Option<String> {
    if told.group == PhotoGroup::Stock {
        return Some("a stock picture: it says nothing about the item".to_owned());
    }
    placed.assignment.unlinked.contains(&index).then(|| {
        "shows something that could not be linked to one item; say in case.toml which item it shows"
            .to_owned()
    })
}

fn placed_face(item: &Slug, placement: &Placement) -> PlacedFace {
    let (width, height) = placement.size_mm;
    let corners = [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
    let corner_u = corners
        .iter()
        .filter_map(|corner| placement.position_u_mm(*corner))
        .map(|[x, y]| casebook::elementary::hypot(x, y))
        .fold(0.0, f64::max);
    PlacedFace {
        item: item.clone(),
        face: placement.face.clone(),
        mm_to_px: placement.mm_to_px.rows(),
        corner_uncertainty_mm: corner_u,
        px_per_mm: placement.px_per_mm,
        angle_deg: placement.angle.value_deg,
        by_hand: placement.origin == Origin::Manual,
    }
}
