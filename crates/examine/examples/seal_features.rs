//! Draft.
use std::collections::BTreeMap;
use casebook::truth::TruthFile;
use casebook::catalogue::Catalogue;
use examine::crimp::reading::{EndFacts, EndReading, ReferenceEnd};
use examine::crimp::evenness::evenness;
use examine::crimp::joint::{JointEnd, SeenEnd, objection, settle};
use examine::crimp::view::End;
use placement::Homography;
fn main() {
    let root = std::path::PathBuf::from(std::env::args().nth(1).unwrap());
    let demo = std::path::PathBuf::from(std::env::args().nth(2).unwrap());
    let verbose = std::env::args().nth(3).is_some();
    let truth: TruthFile = serde_json::from_str(&std::fs::read_to_string(root.join("truth.json")).unwrap()).unwrap();
    let mut refs: BTreeMap<String, Option<ReferenceEnd>> = BTreeMap::new();
    println!("case,item,end,state,by,severity,wear,photos,odds,flat,tail,spread,step,other,lacks");
    for (case, t) in &truth.cases {
        let mut joints: BTreeMap<(String, End), JointEnd> = BTreeMap::new();
        for (index, (file, p)) in t.photos.iter().enumerate() {
            let photo = photo::read(&root.join(case.as_str()).join(file), &photo::Limits::default()).unwrap();
            for f in &p.faces {
                let item = &t.items[&f.item];
                let (line, release, form) = item.product.parts();
                if form != "pack" { continue; }
                let cat: Catalogue = toml::from_str(&std::fs::read_to_string(demo.join("catalogue").join(line).join(format!("{release}.toml"))).unwrap()).unwrap();
                let product = cat.products.iter().find(|q| q.id.as_str() == form).unwrap();
                let face = product.face(&f.face).unwrap();
                let facts = EndFacts::of(product);
                let map = Homography::new(f.mm_to_px).unwrap();
                let mut both = Vec::new();
                let began = std::time::Instant::now();
                for end in End::BOTH {
                    let key = format!("{} {:?}", face.reference, end);
                    let reference = refs.entry(key).or_insert_with(|| {
                        let r = photo::read(&demo.join("faces").join(face.reference.as_str()), &photo::Limits::default()).unwrap();
                        ReferenceEnd::of(&r, face.size_mm, end)
                    });
                    both.push(EndReading::of(&photo, &map, face.size_mm, end, reference.as_ref(), &facts));
                }
                let pitches: Vec<_> = both.iter().map(|r| r.as_ref().and_then(|r| r.pitch.clone().ok())).collect();
                for (i, r) in both.into_iter().enumerate() {
                    let Some(mut r) = r else { continue };
                    let (step, other) = settle(&mut r, pitches[1 - i].as_ref(), &facts);
                    let end = r.end;
                    let object = objection(&r, true, f.angle_deg, None, &facts);
                    if verbose {
                        let e = evenness(&[examine::crimp::evenness::Seen { map: r.map.as_ref().unwrap(), back: false, weight: 1.0, step_coherence: step, other_wave: other }], 65.0);
                        let what = item.ends.get(end.word()).map_or(String::from("-"), |e| format!("{} {}", e.by, e.severity));
                        if let Some(e) = e {
                        println!("# {case} {file} {:5} {:6} {:12} w{:.1} | seen {:.1} {:.1} glare {:.2} cov {:.2} print {:.2} cutseen {:.2} | {} wave {:.3} | odds {:6.2} flat {:.2} tail {:6.2} spread {:6.2} step {:5.2} other {:5.2} {object:?} | {:.0} ms", f.face, end.word(), what, item.wear, r.view.seen_px_per_mm[0], r.view.seen_px_per_mm[1], r.band.glare, r.band.covered, r.band.print_seen, r.line.seen_share,
                            match &r.pitch { Ok(p) => format!("{:?} {:.4}*{:.4} ±{:.4} pr {:.0} amp {:.3} h2 {:.2}", p.direction, p.pitch_mm, r.lie.scale_x, p.standard_uncertainty_mm, p.prominence, p.amplitude, p.second_harmonic), Err(e) => format!("{e:?}") },
                            r.wave.map_or(0.0, |w| 1.0 / (w.1*w.1+w.2*w.2).sqrt()), e.ridge_odds, e.flat_share, e.low_tail, e.spread, e.step, e.other_wave, began.elapsed().as_secs_f64() * 500.0);
                        }
                    }
                    let joint = joints.entry((f.item.to_string(), end)).or_insert_with(|| JointEnd { end, seen: vec![], lacking: vec![] });
                    if let Some((lack, words)) = object { joint.lacking.push(examine::crimp::joint::Lacking { photo: index, lack, words }); continue; }
                    joint.seen.push(SeenEnd { photo: index, back: face.id.as_str() == "back", angle_deg: f.angle_deg, blur_px: None, step_coherence: step, other_wave: other, weight: r.band.strip.usable_share(), reading: r });
                }
            }
        }
        for ((item, end), joint) in &joints {
            let it = &t.items[&item.parse().unwrap()];
            let e = evenness(&joint.maps(), 65.0);
            let (by, sev) = it.ends.get(end.word()).map_or(("-".to_owned(), 0.0), |e| (e.by.clone(), e.severity));
            let lacks: Vec<String> = joint.lacking.iter().map(|l| format!("{:?}", l.lack)).collect();
            match e {
                Some(e) => println!("{case},{item},{},{},{by},{sev},{},{},{:.3},{:.3},{:.3},{:.3},{:.3},{:.3},{}", end.word(), it.state, it.wear, joint.seen.len(), e.ridge_odds, e.flat_share, e.low_tail, e.spread, e.step, e.other_wave, lacks.join(" ")),
                None => println!("{case},{item},{},{},{by},{sev},{},0,,,,,,,{}", end.word(), it.state, it.wear, lacks.join(" ")),
            }
        }
    }
}
