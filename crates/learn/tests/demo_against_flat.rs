//! What is learned from four hand-held photos of one genuine demo pack, against the flat scans and the
//! truth that the studio knew: outlines, seals, and where other items' print comes to lie.
//!
//! The demo's photos are rendered, their truth stands in `demo/specimens/truth.json`. Learning gets the
//! photos, the size of the outline and which photo shows which face, and nothing else.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "helpers of tests"
)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use casebook::catalogue::{Catalogue, Form};
use casebook::document;
use casebook::learn::LearnFile;
use casebook::names::{FaceId, PhotoFile};
use casebook::specimen::SpecimenFile;
use casebook::truth::TruthFile;
use learn::{Learned, Wanted, learn};
use photo::{Codes, Encoding, Limits, Photo};
use placement::{FaceIndex, Homography, Point, ReferenceFace};

/// A genuine pack of each product, clean and without a factory fault, and its release.
const ITEMS: [(&str, &str); 3] = [
    ("fs-eastmere-11", "first-soundings"),
    ("be-quay-05", "brass-estuary"),
    ("nd-eastmere-10", "night-dredge"),
];

fn demo(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(path)
}

/// Photos of a specimen under names that say the face.
fn photos(id: &str) -> Vec<(PhotoFile, Photo, String)> {
    let folder = demo(&format!("specimens/{id}"));
    let specimen: SpecimenFile = document::read(&folder.join("specimen.toml")).unwrap();
    specimen
        .photos
        .iter()
        .map(|p| {
            let photo = photo::read(&folder.join(p.file.as_str()), &Limits::default()).unwrap();
            let name = format!("{}-{}", p.shows[0].face, p.file);
            (name.parse().unwrap(), photo, p.file.to_string())
        })
        .collect()
}

fn catalogue(release: &str) -> Catalogue {
    document::read(&demo(&format!("catalogue/kelpwright/{release}.toml"))).unwrap()
}

fn learned(id: &str, release: &str) -> Learned {
    let own: Vec<(PhotoFile, Photo)> = photos(id).into_iter().map(|(name, photo, _)| (name, photo)).collect();
    let mut told = LearnFile::empty();
    told.size_mm = vec![65.0, 112.0];
    let product = format!("kelpwright/{release}/pack").parse().unwrap();
    let wanted = Wanted { product: &product, form: Form::Pack, told: &told, known: &[] };
    learn(&own, &wanted, &()).unwrap()
}

fn index(faces: Vec<ReferenceFace>) -> (FaceIndex, Vec<ReferenceFace>) {
    (FaceIndex::build(&faces).unwrap(), faces)
}

fn flat_index(release: &str) -> (FaceIndex, Vec<ReferenceFace>) {
    let catalogue = catalogue(release);
    let faces =
        catalogue.faces().filter(|(id, ..)| id.product.as_str().ends_with("/pack")).map(|(id, _, face)| {
            let raster =
                photo::read(&demo(&format!("faces/{}", face.reference)), &Limits::default()).unwrap();
            ReferenceFace { face: id, size_mm: (face.size_mm[0], face.size_mm[1]), raster: Arc::new(raster) }
        });
    index(faces.collect())
}

fn learned_index(learned: &Learned, release: &str) -> (FaceIndex, Vec<ReferenceFace>) {
    let faces = learned.faces.iter().map(|face| {
        let (w, h) = (face.rgb[0].width(), face.rgb[0].height());
        let codes = (0..w * h)
            .flat_map(|i| {
                [0, 1, 2].map(|c| photo::colour::transfer::srgb_code(face.rgb[c].data()[i].clamp(0.0, 1.0)))
            })
            .collect();
        let raster = Photo::from_codes("learned", w, h, Codes::Eight(codes), Encoding::srgb()).unwrap();
        let product = format!("kelpwright/{release}/pack").parse().unwrap();
        ReferenceFace {
            face: FaceId { product, face: face.id.clone() },
            size_mm: (face.size_mm[0], face.size_mm[1]),
            raster: Arc::new(raster),
        }
    });
    index(faces.collect())
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn distance(a: Point, b: Point) -> f64 {
    ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
}

/// Writes a learned picture where `UNTORN_SEEN` says, for looking at.
fn show(learned: &Learned, id: &str) {
    let Some(folder) = std::env::var_os("UNTORN_SEEN") else { return };
    for face in &learned.faces {
        let (w, h) = (face.rgb[0].width() as u32, face.rgb[0].height() as u32);
        let picture = image::RgbImage::from_fn(w, h, |x, y| {
            let at = (y * w + x) as usize;
            image::Rgb(
                [0, 1, 2].map(|c| photo::colour::transfer::srgb_code(face.rgb[c].data()[at].clamp(0.0, 1.0))),
            )
        });
        picture.save(Path::new(&folder).join(format!("{id}-{}.png", face.id))).unwrap();
    }
}

#[test]
fn a_product_learned_from_four_photos_stands_in_for_the_flat_scan() {
    let truth: TruthFile = document::read(&demo("specimens/truth.json")).unwrap();
    let mut misses = Vec::new();
    for (id, release) in ITEMS {
        let own = learned(id, release);
        show(&own, id);
        for line in own.confirm.iter().chain(&own.lacking) {
            println!("{id}: {line}");
        }
        if own.faces.len() != 2 {
            misses.push(format!("{id}: {} faces", own.faces.len()));
            continue;
        }
        // Seals against the catalogue, which the studio kept to.
        let catalogue = catalogue(release);
        let specimen: SpecimenFile = document::read(&demo(&format!("specimens/{id}/specimen.toml"))).unwrap();
        let product = catalogue.products.iter().find(|p| p.id.as_str() == "pack").unwrap();
        let make = product.makes.iter().find(|m| Some(&m.id) == specimen.make.as_ref()).unwrap();
        let facts = make.end_seal.as_ref().unwrap();
        let seal = own.seal.as_ref();
        println!("{id}: learned {seal:?}; catalogue {:?} {:?}", make.end_seal, make.cut_edge);
        match seal.and_then(|s| s.ridges) {
            Some((direction, pitch)) => {
                let off = pitch.value / facts.pitch_mm.value - 1.0;
                if direction != facts.ridge_direction || off.abs() > 0.01 {
                    misses.push(format!("{id}: pitch {pitch:?} {direction:?}, {:.2} % off", 100.0 * off));
                }
            }
            None => misses.push(format!("{id}: no ridges")),
        }
        if let Some(h) = seal.and_then(|s| s.height_mm) {
            if (h.value - facts.height_mm.value).abs() > facts.height_mm.tolerance {
                misses.push(format!("{id}: height {h:?}"));
            }
        } else {
            misses.push(format!("{id}: no height"));
        }
        // Outlines against the seals' plane, which they lie in.
        let files: BTreeMap<String, String> =
            photos(id).into_iter().map(|(name, _, file)| (name.to_string(), file)).collect();
        let mut corners = Vec::new();
        for used in &own.used {
            let case = &truth.cases[&id.parse().unwrap()];
            let placed = &case.photos[&files[used.file.as_str()]].faces[0];
            let Some(rows) = placed.seal_mm_to_px else { continue };
            let map = Homography::new(rows).unwrap();
            let ends = map.corners_px((65.0, 112.0)).unwrap();
            for (a, b) in used.corners_px.iter().zip(ends) {
                corners.push(distance(*a, b) / placed.px_per_mm);
            }
        }
        println!("{id}: corners off by {:.2} mm (median of {})", median(&mut corners.clone()), corners.len());
        // Other items of the product, placed by the flat scans and by what was learned.
        let (flat, taught) = (flat_index(release), learned_index(&own, release));
        let prefix = id.split('-').next().unwrap();
        let mut others: Vec<String> = std::fs::read_dir(demo("specimens"))
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .filter(|n| {
                n.starts_with(&format!("{prefix}-")) && !n.contains("box") && n != id && !n.ends_with(".json")
            })
            .collect();
        others.sort();
        let (mut places, mut sizes, mut found, mut sought) = (Vec::new(), Vec::new(), 0, 0);
        for other in others.iter().step_by(3) {
            for (_, photo, _) in photos(other) {
                let Some(by_flat) = flat.0.place(&photo, &flat.1).into_iter().next() else { continue };
                sought += 1;
                let by_taught =
                    taught.0.place(&photo, &taught.1).into_iter().find(|p| p.face.face == by_flat.face.face);
                let Some(by_taught) = by_taught else { continue };
                found += 1;
                let back = by_taught.mm_to_px.inverse();
                let moved = |p: Point| back.map(by_flat.mm_to_px.map(p)?);
                for k in 0..45 {
                    let p = [6.0 + 13.0 * f64::from(k % 5), 14.0 + 10.5 * f64::from(k / 5)];
                    places.extend(moved(p).map(|q| distance(p, q)));
                }
                for region in &product.face(&by_flat.face.face).unwrap().regions {
                    let r = region.rect_mm;
                    let c = [[r.x, r.y], [r.x + r.width, r.y], [r.x, r.y + r.height]].map(&moved);
                    if let [Some(a), Some(b), Some(c)] = c {
                        sizes.push((distance(a, b) - r.width).abs());
                        sizes.push((distance(a, c) - r.height).abs());
                    }
                }
            }
        }
        let (place, size) = (median(&mut places), median(&mut sizes));
        println!(
            "{id}: {found} of {sought} photos of other items placed; print {place:.3} mm from where the flat scan has it, regions' sizes {size:.3} mm (medians)"
        );
        if found * 10 < sought * 9 {
            misses.push(format!("{id}: only {found} of {sought} photos placed"));
        }
        if !(place <= 0.4 && size <= 0.4) {
            misses.push(format!("{id}: places {place:.3} mm, sizes {size:.3} mm"));
        }
    }
    assert!(misses.is_empty(), "{}", misses.join("\n"));
}
