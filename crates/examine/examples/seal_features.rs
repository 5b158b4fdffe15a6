//! Prints the features of the examiners `end-seal` and `cut-edge` over a folder of labelled photos, by
//! what was done to each end, with the area under the ROC curve of re-closed against genuine ends.
//!
//! `cargo run --release -p examine --example seal_features -- SET CATALOGUE FACES [ONLY]`
//!
//! SET holds folders of photos and a `truth.json` ([`casebook::truth`]) whose homographies stand in
//! for placement. CATALOGUE holds the release files, FACES the reference pictures. Photos of a sealed
//! specimen count in pairs, front and back, as the others have them. A row for every finding goes to
//! standard output as CSV before the table; `PICTURES=FOLDER` writes the images.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod labelled;

use std::collections::BTreeMap;
use std::time::Instant;

use casebook::case::PhotoGroup;
use casebook::catalogue::Form;
use casebook::finding::Reading;
use casebook::hypothesis::State;
use casebook::truth::CaseTruth;
use examine::crimp::EndSeal;
use examine::cut_edge::CutEdge;
use examine::{Examiner, ItemView, Known, PlacedPhoto};
use labelled::{Labelled, auc, mean_and_deviation, place, write_pictures};

/// One value of a feature with what is known of where it was read.
struct Row {
    value: f64,
    class: &'static str,
    severity: f64,
    wear: f64,
    name: String,
}

fn main() {
    let mut set = Labelled::from_arguments();
    let mut table: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    let mut seconds: Vec<f64> = Vec::new();
    println!("case,item,photos,state,done,severity,wear,examiner,quantity,part,reading,value,u,features");
    for (case, known) in set.truth.cases.clone() {
        if !case.as_str().contains(&set.only) {
            continue;
        }
        for (item, state) in &known.items {
            set.load(state.product.as_str());
            let Some(product) = set.products.get(state.product.as_str()).filter(|p| p.form == Form::Pack)
            else {
                continue;
            };
            let flat = set.references(product);
            for files in pairs(&known) {
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
                let gtins = std::collections::BTreeMap::new();
                let view = ItemView::new(Known {
                    item,
                    product_id: &state.product,
                    product,
                    references: &flat,
                    photos: &placed,
                    gtins: &gtins,
                    specimens: &[],
                });
                let began = Instant::now();
                let mut found = EndSeal.examine(&view);
                seconds.push(began.elapsed().as_secs_f64() / (2.0 * placed.len().max(1) as f64));
                found.extend(CutEdge.examine(&view));
                for e in &found {
                    let f = &e.finding;
                    let part = f.place.part.clone().unwrap_or_default();
                    let end = part.strip_suffix("-end-seal").unwrap_or("both");
                    let done = if end == "both" { state.ends.values().next() } else { state.ends.get(end) };
                    let by = done.map_or("-", |d| d.by.as_str());
                    let severity = done.map_or(0.0, |d| d.severity);
                    let class = match (state.state, done) {
                        (_, Some(_)) => "re-closed",
                        (State::Counterfeit, None) => "counterfeit",
                        // The other end of a re-closed pack is as the factory left it.
                        (_, None) => "genuine",
                    };
                    let features: Vec<String> = f
                        .features
                        .iter()
                        .map(|x| format!("{}={:.3}±{:.3}", x.name, x.value, x.standard_uncertainty))
                        .collect();
                    let (kind, value, u) = match &f.reading {
                        Reading::Measured { value, standard_uncertainty, .. } => {
                            ("measured".to_owned(), *value, *standard_uncertainty)
                        }
                        Reading::CannotTell { missing } => {
                            (format!("cannot tell {:?}", missing[0].lack), f64::NAN, f64::NAN)
                        }
                        Reading::Fact { .. } => ("fact".to_owned(), f64::NAN, f64::NAN),
                    };
                    println!(
                        "{case},{item},{},{},{by},{severity},{},{},{},{part},{kind},{value:.4},{u:.4},{}",
                        files.join("+"),
                        state.state,
                        state.wear,
                        f.examiner,
                        f.quantity,
                        features.join(" ")
                    );
                    if std::env::var("SAYS").is_ok() {
                        println!("    {}", f.says);
                    }
                    for x in &f.features {
                        let row = Row {
                            value: x.value,
                            class,
                            severity,
                            wear: state.wear,
                            name: format!("{case}/{}/{end} {by}", files.join("+")),
                        };
                        table.entry(format!("{}/{}", f.quantity, x.name)).or_default().push(row);
                    }
                    write_pictures(case.as_str(), e);
                }
            }
        }
    }
    summary(&table);
    seconds.sort_by(f64::total_cmp);
    if !seconds.is_empty() {
        let ms = |share: f64| 1e3 * seconds[((seconds.len() - 1) as f64 * share) as usize];
        println!(
            "\nend-seal a seal and photo, all cores: median {:.0} ms, longest {:.0} ms",
            ms(0.5),
            ms(1.0)
        );
    }
}

/// A label and which rows it takes.
type Group = (&'static str, Box<dyn Fn(&Row) -> bool>);

fn summary(table: &BTreeMap<String, Vec<Row>>) {
    for (name, rows) in table {
        println!("\n{name}");
        let genuine: Vec<&Row> = rows.iter().filter(|r| r.class == "genuine").collect();
        let groups: [Group; 6] = [
            ("genuine, wear < 0.5", Box::new(|r| r.class == "genuine" && r.wear < 0.5)),
            ("genuine, worn", Box::new(|r| r.class == "genuine" && r.wear >= 0.5)),
            ("counterfeit", Box::new(|r| r.class == "counterfeit")),
            ("re-closed, < 0.6", Box::new(|r| r.class == "re-closed" && r.severity < 0.6)),
            ("re-closed, ≥ 0.6", Box::new(|r| r.class == "re-closed" && r.severity >= 0.6)),
            ("re-closed, all", Box::new(|r| r.class == "re-closed")),
        ];
        for (label, keep) in &groups {
            let kept: Vec<&Row> = rows.iter().filter(|r| keep(r)).collect();
            if kept.is_empty() {
                continue;
            }
            let values: Vec<f64> = kept.iter().map(|r| r.value).collect();
            let (mean, sd) = mean_and_deviation(&values);
            let low = kept.iter().min_by(|a, b| a.value.total_cmp(&b.value)).unwrap();
            let high = kept.iter().max_by(|a, b| a.value.total_cmp(&b.value)).unwrap();
            let auc = auc(&values, &genuine.iter().map(|r| r.value).collect::<Vec<_>>());
            println!(
                "  {label:20} n {:3} mean {mean:7.3} sd {sd:6.3} AUC {:.3}  {:.2} ({}) … {:.2} ({})",
                kept.len(),
                auc.max(1.0 - auc),
                low.value,
                low.name,
                high.value,
                high.name
            );
        }
    }
}

/// Photos in pairs, in the order of their names.
fn pairs(known: &CaseTruth) -> Vec<Vec<String>> {
    let files: Vec<String> = known.photos.keys().cloned().collect();
    files.chunks(2).map(<[String]>::to_vec).collect()
}
