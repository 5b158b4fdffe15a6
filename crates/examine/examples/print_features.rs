//! Prints the features of one examiner (`EXAMINER`, else `print`) over a folder of labelled photos, by state.
//!
//! `cargo run --release -p examine --example print_features -- SET CATALOGUE FACES [ONLY]`
//!
//! SET holds folders of photos and a `truth.json` ([`casebook::truth`]) whose homographies stand in
//! for placement. CATALOGUE holds the release files, FACES the reference pictures. For every feature
//! the table gives mean and standard deviation by state, and the area under the ROC curve of
//! counterfeit against sealed.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod labelled;

use std::collections::BTreeMap;
use std::time::Instant;

use casebook::case::PhotoGroup;
use examine::{ItemView, Known, PlacedPhoto};
use labelled::{Labelled, auc, mean_and_deviation, place, write_pictures};

fn main() {
    let mut set = Labelled::from_arguments();
    let which = std::env::var("EXAMINER").unwrap_or_else(|_| "print".to_owned());
    // feature → state → values
    let mut table: BTreeMap<String, BTreeMap<String, Vec<(f64, String)>>> = BTreeMap::new();
    for (case, known) in set.truth.cases.clone() {
        if !case.as_str().contains(&set.only) {
            continue;
        }
        for (item, state) in &known.items {
            set.load(state.product.as_str());
            let Some(product) = set.products.get(state.product.as_str()) else {
                println!("{case}: no product {}", state.product);
                continue;
            };
            let examiners: Vec<_> = examine::all(without_words())
                .into_iter()
                .filter(|e| e.name() == which && e.concerns(product))
                .collect();
            if examiners.is_empty() {
                continue;
            }
            let flat = set.references(product);
            // Every photo by itself and by camera: a sitting.
            for (camera, files) in sittings(&known) {
                let photos = set.photos(case.as_str(), &files);
                let placements = place(&known, item, product, &state.product, &photos);
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
                let gtins = BTreeMap::new();
                let view = ItemView::new(Known {
                    item,
                    product_id: &state.product,
                    product,
                    references: &flat,
                    photos: &placed,
                    gtins: &gtins,
                    specimens: &[],
                });
                let start = Instant::now();
                let found: Vec<examine::Examined> = examiners.iter().flat_map(|e| e.examine(&view)).collect();
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
                        f.place.face.as_ref().map_or("", |f| f.as_str()),
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
                    write_pictures(&format!("{case}-{camera}"), e);
                }
            }
        }
    }
    for (name, states) in &table {
        println!("\n{name}");
        for (state, values) in states {
            let n = values.len();
            let (mean, sd) = mean_and_deviation(&values.iter().map(|v| v.0).collect::<Vec<_>>());
            let lowest = values.iter().min_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            let highest = values.iter().max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            println!(
                "  {state:12} n {n:3} mean {mean:7.3} sd {sd:6.3}  {:.2} ({}) … {:.2} ({})",
                lowest.0, lowest.1, highest.0, highest.1
            );
        }
        let of = |state: &str| -> Vec<f64> {
            states.get(state).into_iter().flatten().map(|(value, _)| *value).collect()
        };
        let (genuine, false_ones) = ([of("sealed"), of("resealed")].concat(), of("counterfeit"));
        if !genuine.is_empty() && !false_ones.is_empty() {
            println!("  AUC counterfeit > genuine print: {:.3}", auc(&false_ones, &genuine));
        }
    }
}

/// Photos of one camera in one light belong together.
fn sittings(known: &casebook::truth::CaseTruth) -> Vec<(String, Vec<String>)> {
    let mut out: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (file, photo) in &known.photos {
        out.entry(format!("{}+{}", photo.camera, photo.light)).or_default().push(file.clone());
    }
    out.into_iter().collect()
}

/// Features of words are tabulated by the program, which knows where the recogniser's model lies.
fn without_words() -> examine::words::Words {
    examine::words::Words::Absent { why: "words are not read here".to_owned() }
}
