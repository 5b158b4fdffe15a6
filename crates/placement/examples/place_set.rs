//! Places every photo of a labelled set and prints how well: a row a face, then the sums.
//!
//! `cargo run --release -p placement --example place_set -- CATALOGUE FACES SET [leave-out]`: a folder
//! of catalogue files, the folder of reference pictures, a folder with `truth.json` and a folder of
//! photos a case. With `leave-out` the true product is taken from the library first: then every
//! placement is a false one, and rows are printed for those only.

mod library;

use std::collections::BTreeMap;
use std::error::Error;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use casebook::document;
use casebook::names::FaceId;
use casebook::truth::{FaceTruth, TruthFile};
use library::references;
use photo::Limits;
use placement::{FaceIndex, Homography, Placement, ReferenceFace, corners_mm};

#[derive(Default)]
struct Sum {
    faces: usize,
    placed: usize,
    right: usize,
    largest_mm: Vec<f64>,
    middle_mm: Vec<f64>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, catalogue, faces, set, rest @ ..] = arguments.as_slice() else {
        return Err("usage: place_set CATALOGUE FACES SET [leave-out]".into());
    };
    let leave_out = rest.first().is_some_and(|a| a == "leave-out");
    let references = references(Path::new(catalogue), Path::new(faces))?;
    let started = Instant::now();
    let whole = FaceIndex::build(&references)?;
    let mut out = std::io::stdout().lock();
    writeln!(out, "{} faces described in {} ms", whole.len(), started.elapsed().as_millis())?;
    let truth: TruthFile = document::read(&Path::new(set).join("truth.json"))?;
    let mut sums: BTreeMap<&str, Sum> = BTreeMap::new();
    let (mut times, mut false_alarms, mut photos) = (Vec::new(), 0, 0);
    writeln!(
        out,
        "photo                     face                                      px/mm angle vis  middle off mm  named                      error mm: rms largest  res mm  agree   nfa"
    )?;
    for (case, facts) in &truth.cases {
        let mut without: Option<FaceIndex> = None;
        if leave_out {
            let kept: Vec<ReferenceFace> = references
                .iter()
                .filter(|r| facts.items.values().all(|i| i.product != r.face.product))
                .cloned()
                .collect();
            without = Some(FaceIndex::build(&kept)?);
        }
        for (file, seen) in &facts.photos {
            let path = Path::new(set).join(case.as_str()).join(file);
            let Ok(photo) = photo::read(&path, &Limits::default()) else { continue };
            photos += 1;
            let started = Instant::now();
            let found = without.as_ref().unwrap_or(&whole).place(&photo, &references);
            times.push(started.elapsed().as_secs_f64() * 1e3);
            if leave_out {
                for p in &found {
                    false_alarms += 1;
                    writeln!(
                        out,
                        "{case}/{file}: false {} {:?} {:?}",
                        p.face,
                        p.support,
                        facts.items.values().next().map(|i| i.product.clone())
                    )?;
                }
                continue;
            }
            let mut used = vec![false; found.len()];
            for face in &seen.faces {
                let Some(item) = facts.items.get(&face.item) else { continue };
                let id = FaceId { product: item.product.clone(), face: face.face.clone() };
                let Some(size) = references.iter().find(|r| r.face == id).map(|r| r.size_mm) else {
                    continue;
                };
                let map = Homography::new(face.mm_to_px)?;
                let near = nearest(&found, &map, size, &used);
                let bucket = bucket(face);
                for name in ["all", bucket, item.product.parts().2] {
                    let sum = sums.entry(name).or_default();
                    sum.faces += 1;
                    if let Some((k, largest, middle)) = near {
                        sum.placed += 1;
                        sum.right += usize::from(found[k].face == id);
                        if found[k].face == id {
                            sum.largest_mm.push(largest);
                            sum.middle_mm.push(middle);
                        }
                    }
                }
                let place = format!("{case}/{file}");
                let head = format!(
                    "{place:25} {:41} {:5.2} {:5.1} {:4.2}",
                    id.to_string(),
                    face.px_per_mm,
                    face.angle_deg,
                    face.visible
                );
                match near {
                    Some((k, largest, middle)) => {
                        used[k] = true;
                        let p = &found[k];
                        let name =
                            if p.face == id { "right".to_owned() } else { format!("WRONG {}", p.face) };
                        let (back, own) = (map.inverse(), |m: [f64; 2]| p.mm_to_px.map(m));
                        let centre = [size.0 / 2.0, size.1 / 2.0];
                        let shift = own(centre)
                            .and_then(|q| back.map(q))
                            .map_or([f64::NAN; 2], |m| [m[0] - centre[0], m[1] - centre[1]]);
                        writeln!(
                            out,
                            "{head} {:6.2} {:6.2} {name:32} {middle:13.3} {largest:7.3} {:7.3} {:6.2} {:6.0}",
                            shift[0],
                            shift[1],
                            p.residual_px / p.px_per_mm,
                            p.support.agreement.unwrap_or(0.0),
                            p.support.false_alarms_log10.unwrap_or(0.0)
                        )?;
                    }
                    None => writeln!(out, "{head}  MISSED")?,
                }
            }
            for (p, _) in found.iter().zip(&used).filter(|(_, used)| !**used) {
                false_alarms += 1;
                writeln!(
                    out,
                    "{case}/{file}: extra {} at {:?} {:?}",
                    p.face,
                    p.mm_to_px.map([0.0, 0.0]),
                    p.support
                )?;
            }
        }
    }
    for (name, mut s) in sums {
        s.largest_mm.sort_by(f64::total_cmp);
        s.middle_mm.sort_by(f64::total_cmp);
        let at = |v: &[f64], q: f64| {
            v.get(((v.len() as f64 - 1.0).max(0.0) * q) as usize).copied().unwrap_or(f64::NAN)
        };
        writeln!(
            out,
            "{name:24} {:4} faces, {:4} placed, {:4} right; error over the face median {:.3} mm, 90 % {:.3}; largest corner median {:.3}, 90 % {:.3}",
            s.faces,
            s.placed,
            s.right,
            at(&s.middle_mm, 0.5),
            at(&s.middle_mm, 0.9),
            at(&s.largest_mm, 0.5),
            at(&s.largest_mm, 0.9)
        )?;
    }
    times.sort_by(f64::total_cmp);
    let median = times.get(times.len() / 2).copied().unwrap_or(f64::NAN);
    writeln!(
        out,
        "{photos} photos, {false_alarms} placements where nothing known is; place() median {median:.0} ms, longest {:.0}",
        times.last().copied().unwrap_or(f64::NAN)
    )?;
    Ok(())
}

/// Which kind of view a face is.
fn bucket(face: &FaceTruth) -> &'static str {
    match (face.visible, face.angle_deg) {
        (v, _) if v < 0.6 => "part (below 0.6)",
        (_, a) if a < 15.0 => "whole, 0-15 degrees",
        (_, a) if a < 30.0 => "whole, 15-30 degrees",
        (_, a) if a < 45.0 => "whole, 30-45 degrees",
        _ => "whole, 45 and more",
    }
}

/// The unused placement closest to a truth, if its middle is on the face: index, largest corner
/// error and root mean square error over a grid of the face, both in millimetres.
fn nearest(
    found: &[Placement],
    truth: &Homography,
    size: (f64, f64),
    used: &[bool],
) -> Option<(usize, f64, f64)> {
    let back = truth.inverse();
    let mut best: Option<(usize, f64, f64)> = None;
    for (k, p) in found.iter().enumerate().filter(|(k, _)| !used[*k]) {
        let error = |mm: [f64; 2]| -> Option<f64> {
            // The same place by share of the face: a wrong name may have another size.
            let own = [mm[0] / size.0 * p.size_mm.0, mm[1] / size.1 * p.size_mm.1];
            let q = back.map(p.mm_to_px.map(own)?)?;
            Some(((q[0] - mm[0]) * (q[0] - mm[0]) + (q[1] - mm[1]) * (q[1] - mm[1])).sqrt())
        };
        let Some(middle) =
            back.map(p.mm_to_px.map([p.size_mm.0 / 2.0, p.size_mm.1 / 2.0]).unwrap_or([f64::NAN; 2]))
        else {
            continue;
        };
        if !(0.0..size.0).contains(&middle[0]) || !(0.0..size.1).contains(&middle[1]) {
            continue;
        }
        let largest = corners_mm(size).into_iter().filter_map(error).fold(0.0, f64::max);
        let grid: Vec<f64> = (0..25)
            .filter_map(|i| {
                error([
                    f64::from(i % 5) / 4.0 * size.0 * 0.8 + size.0 * 0.1,
                    f64::from(i / 5) / 4.0 * size.1 * 0.8 + size.1 * 0.1,
                ])
            })
            .collect();
        let rms = (grid.iter().map(|e| e * e).sum::<f64>() / grid.len() as f64).sqrt();
        if best.is_none_or(|b| rms < b.2) {
            best = Some((k, largest, rms));
        }
    }
    best
}
