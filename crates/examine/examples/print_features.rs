//! Prints the features of the examiner `print` over a folder of labelled photos, by state.
//!
//! `cargo run --release -p examine --example print_features -- SET CATALOGUE FACES [ONLY]`
//!
//! SET holds folders of photos and a `truth.json` ([`casebook::truth`]) whose homographies stand in
//! for placement. CATALOGUE holds the release files, FACES the reference pictures. For every feature
//! the table gives mean and standard deviation by state, and the area under the ROC curve of
//! counterfeit against sealed.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

use casebook::case::PhotoGroup;
use casebook::catalogue::{Catalogue, Product};
use casebook::names::{FaceId, PhotoFile, Slug};
use casebook::truth::TruthFile;
use examine::{Examiner, ItemView, PlacedPhoto};
use photo::{Limits, Photo};
use placement::{Homography, Placement};

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [set, catalogue, faces] = [0, 1, 2].map(|i| PathBuf::from(args.get(i).expect("SET CATALOGUE FACES")));
    let only = args.get(3).cloned().unwrap_or_default();
    let products = products(&catalogue);
    let truth: TruthFile =
        serde_json::from_str(&std::fs::read_to_string(set.join("truth.json")).unwrap()).unwrap();
    let mut references: BTreeMap<String, Photo> = BTreeMap::new();
    // feature → state → values
    let mut table: BTreeMap<String, BTreeMap<String, Vec<(f64, String)>>> = BTreeMap::new();
    for (case, known) in &truth.cases {
        if !only.is_empty() && !case.as_str().contains(&only) {
            continue;
        }
        for (item, state) in &known.items {
            let Some(product) = products.get(state.product.as_str()) else {
                println!("{case}: no product {}", state.product);
                continue;
            };
            for face in &product.faces {
                references
                    .entry(face.reference.as_str().to_owned())
                    .or_insert_with(|| read(&faces.join(face.reference.as_str())));
            }
            let flat: BTreeMap<Slug, Photo> = product
                .faces
                .iter()
                .map(|f| (f.id.clone(), references.get(f.reference.as_str()).unwrap().clone()))
                .collect();
            // Every photo by itself and by camera: a sitting.
            for (camera, files) in sittings(known) {
                let photos: Vec<(PhotoFile, Photo)> = files
                    .iter()
                    .map(|f| (f.parse().unwrap(), read(&set.join(case.as_str()).join(f))))
                    .collect();
                let mut placements: Vec<(usize, Placement)> = Vec::new();
                for (index, (file, photo)) in photos.iter().enumerate() {
                    for shown in known.photos.get(file.as_str()).into_iter().flat_map(|p| &p.faces) {
                        if shown.item != *item {
                            continue;
                        }
                        let Some(face) = product.face(&shown.face) else { continue };
                        let Ok(map) = Homography::new(shown.mm_to_px) else { continue };
                        let size = (face.size_mm[0], face.size_mm[1]);
                        let Ok(corners) = map.corners_px(size) else { continue };
                        let id = FaceId { product: state.product.clone(), face: face.id.clone() };
                        if let Ok(p) =
                            Placement::from_corners(id, size, corners, 1.0, (photo.width(), photo.height()))
                        {
                            placements.push((index, p));
                        }
                    }
                }
                let placed: Vec<PlacedPhoto<'_>> = placements
                    .iter()
                    .map(|(index, placement)| PlacedPhoto {
                        file: &photos[*index].0,
                        photo: &photos[*index].1,
                        group: PhotoGroup::Same,
                        face: product.face(&placement.face.face).unwrap(),
                        placement,
                    })
                    .collect();
                let view = ItemView {
                    item,
                    product_id: &state.product,
                    product,
                    references: &flat,
                    photos: &placed,
                    specimens: &[],
                };
                let start = Instant::now();
                let found = examine::print::Print.examine(&view);
                let ms = start.elapsed().as_millis();
                println!(
                    "{case}/{item} {camera} {} {ms} ms, {} photos, {:?}",
                    state.state,
                    photos.len(),
                    state.faults
                );
                for e in &found {
                    let f = &e.finding;
                    let place = format!(
                        "{}{}",
                        f.place.face.as_ref().unwrap(),
                        f.place.part.as_ref().map_or(String::new(), |p| format!("/{p}"))
                    );
                    if std::env::var("SAYS").is_ok()
                        && (f.is_read() || f.features.is_empty() && f.place.part.is_none())
                    {
                        println!("    {place} {}: {}", f.quantity, f.says);
                    }
                    for feature in &f.features {
                        let name = format!("{}/{}", f.quantity, feature.name);
                        table
                            .entry(name)
                            .or_default()
                            .entry(state.state.word().to_owned())
                            .or_default()
                            .push((feature.value, format!("{case}/{camera}/{place}")));
                    }
                    if let Ok(folder) = std::env::var("PICTURES") {
                        for p in &e.pictures {
                            if let casebook::picture::Content::Image { bytes, media_type, .. } = &p.content {
                                let end = if *media_type == "image/png" { "png" } else { "jpg" };
                                let name = format!("{case}-{camera}-{}.{end}", p.id);
                                let _ = std::fs::create_dir_all(&folder);
                                #[allow(clippy::disallowed_methods)]
                                std::fs::write(Path::new(&folder).join(name), bytes).unwrap();
                            }
                        }
                    }
                }
            }
        }
    }
    for (name, states) in &table {
        println!("\n{name}");
        for (state, values) in states {
            let n = values.len() as f64;
            let mean = values.iter().map(|v| v.0).sum::<f64>() / n;
            let sd =
                (values.iter().map(|v| (v.0 - mean) * (v.0 - mean)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt();
            let lowest = values.iter().min_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            let highest = values.iter().max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            println!(
                "  {state:12} n {n:3} mean {mean:7.3} sd {sd:6.3}  {:.2} ({}) … {:.2} ({})",
                lowest.0, lowest.1, highest.0, highest.1
            );
        }
        let of = |state: &str| states.get(state).cloned().unwrap_or_default();
        let (sealed, false_ones) = ([of("sealed"), of("resealed")].concat(), of("counterfeit"));
        if !sealed.is_empty() && !false_ones.is_empty() {
            let mut wins = 0.0;
            for a in &false_ones {
                for b in &sealed {
                    wins += if a.0 > b.0 {
                        1.0
                    } else if a.0 == b.0 {
                        0.5
                    } else {
                        0.0
                    };
                }
            }
            println!(
                "  AUC counterfeit > genuine print: {:.3}",
                wins / (sealed.len() * false_ones.len()) as f64
            );
        }
    }
}

fn read(path: &Path) -> Photo {
    photo::read(path, &Limits::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn products(folder: &Path) -> BTreeMap<String, Product> {
    let mut out = BTreeMap::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "toml") {
                let catalogue: Catalogue = toml::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
                for product in &catalogue.products {
                    out.insert(catalogue.product_id(product).unwrap().as_str().to_owned(), product.clone());
                }
            }
        }
    }
    out
}

/// Photos of one camera in one light belong together.
fn sittings(known: &casebook::truth::CaseTruth) -> Vec<(String, Vec<String>)> {
    let mut out: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (file, photo) in &known.photos {
        out.entry(format!("{}+{}", photo.camera, photo.light)).or_default().push(file.clone());
    }
    out.into_iter().collect()
}
