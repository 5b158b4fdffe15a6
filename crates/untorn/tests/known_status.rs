//! The commands that live on known status, from end to end: `evaluate` on examinations with their truth,
//! `outcome` on an examined item, `calibrate` on a feature table, the same file from the same table.
//!
//! In: an examination from the fuzz inputs, with weights put in whose figures are known; a feature table
//! drawn here. Never here: a photo.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "test helpers stop the test, as they should; scratch files"
)]

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

use casebook::calibration::CalibrationFile;
use casebook::document;
use casebook::evaluation::EvaluationFile;

/// Runs the program and gives its exit code, standard output and standard error.
fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_untorn")).args(arguments).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (done.status.code(), text(&done.stdout), text(&done.stderr))
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// An examination of one item with a weight against re-closed.
fn examination(case: &str, bans: f64) -> String {
    let one = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/examination_json/one.json");
    let weight = format!("\"value\": {bans:?}, \"low\": {:?}, \"high\": {:?}", bans - 0.3, bans + 0.3);
    fs::read_to_string(one)
        .unwrap()
        .replace("\"o-01\"", &format!("\"{case}\""))
        .replace("\"value\": 0.1, \"low\": -0.2, \"high\": 0.4", &weight)
}

#[test]
fn a_labelled_set_is_evaluated() {
    let folder = tempfile::tempdir().unwrap();
    let set = folder.path().join("set");
    fs::create_dir_all(&set).unwrap();
    // Sealed: 1.2, 0.5, −0.4. Re-closed: −1.3, 0.4, −0.9. Eight of nine pairs are in order.
    let rows = [
        ("s-1", "sealed", 1.2),
        ("s-2", "sealed", 0.5),
        ("s-3", "sealed", -0.4),
        ("r-1", "resealed", -1.3),
        ("r-2", "resealed", 0.4),
        ("r-3", "resealed", -0.9),
    ];
    let mut cases = serde_json::Map::new();
    for (case, state, bans) in rows {
        fs::write(set.join(format!("{case}.json")), examination(case, bans)).unwrap();
        let item =
            serde_json::json!({ "state": state, "product": "kelpwright/night-dredge/pack", "severity": 0.9 });
        cases.insert(case.to_owned(), serde_json::json!({ "items": { "a": item } }));
    }
    cases.insert(
        "gone".to_owned(),
        serde_json::json!({ "items": { "a": { "state": "sealed", "product": "kelpwright/night-dredge/pack" } } }),
    );
    let truth = serde_json::json!({ "schema": "untorn.truth/1", "cases": cases });
    fs::write(set.join("truth.json"), truth.to_string()).unwrap();
    let library = folder.path().join("library");
    let (into, json) = (folder.path().join("plots"), folder.path().join("e.json"));
    let (code, out, err) = run(&[
        "evaluate",
        text(&set),
        "--library",
        text(&library),
        "--into",
        text(&into),
        "--json",
        text(&json),
    ]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.contains("no opinion: gone a") && out.contains("Misleading support"), "{out}");
    let file: EvaluationFile = document::read(&json).unwrap();
    let resealed = file.comparisons.iter().find(|c| c.against.is_some()).unwrap();
    assert!((resealed.auc.unwrap() - 8.0 / 9.0).abs() < 1e-12, "{:?}", resealed.auc);
    assert_eq!(file.items.len(), 6);
    for name in ["evaluation.html", "tippett-all.svg", "reliability-all.svg", "tippett-resealed.svg"] {
        assert!(into.join(name).is_file(), "{name}");
    }
    let (code, _, err) = run(&["evaluate", text(folder.path()), "--library", text(&library)]);
    assert_eq!(code, Some(2));
    assert!(err.contains("truth.json"), "{err}");
}

#[test]
fn an_outcome_needs_an_examination() {
    let folder = tempfile::tempdir().unwrap();
    let library = folder.path().join("library");
    let record = |found: &str, by: &str, more: &[&str]| {
        let mut all = vec![
            "outcome",
            "--library",
            text(&library),
            "record",
            "pf-1",
            "--found",
            found,
            "--known-by",
            by,
        ];
        all.extend(more);
        run(&all)
    };
    let (code, _, err) = record("sealed", "opened", &[]);
    assert_eq!(code, Some(2));
    assert!(err.contains("run `untorn examine`"), "{err}");
    let (code, _, err) = record("unknown", "opened", &[]);
    assert_eq!(code, Some(2));
    assert!(err.contains("say what was found"), "{err}");
    let (code, _, err) = record("sealed", "opened", &["--on", "yesterday"]);
    assert_eq!(code, Some(2));
    assert!(err.contains("2026-11-30"), "{err}");
    let (code, out, err) = run(&["outcome", "--library", text(&library), "list"]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.contains("0 of these items"), "{out}");
}

#[test]
fn the_same_tables_give_the_same_calibration() {
    let folder = tempfile::tempdir().unwrap();
    let table = |name: &str, prefix: &str, seed: u32| {
        let mut csv = "case,sitting,item,examiner,quantity,face,part,group,reading,value,standard_uncertainty,unit,features,says,truth_state,truth_product\n".to_owned();
        let mut state = seed;
        for at in 0..24 {
            let sealed = at % 2 == 0;
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state >> 8) / f64::from(1_u32 << 24);
            let value = noise + if sealed { 0.0 } else { 1.2 };
            let word = if sealed { "sealed" } else { "resealed" };
            writeln!(
                csv,
                "{prefix}-{at},s1,a,cut-edge,cut-waviness,front,,cut-edge,measured,{value},0.01,1,cut-waviness={value}±0.01 1,seen,{word},kelpwright/night-dredge/pack"
            )
            .unwrap();
        }
        let file = folder.path().join(name);
        fs::write(&file, csv).unwrap();
        file
    };
    let (fitted, held) = (table("fitted.csv", "f", 7), table("held.csv", "h", 11));
    let mut files = Vec::new();
    for name in ["one.json", "two.json"] {
        let out = folder.path().join(name);
        let (code, said, err) =
            run(&["calibrate", text(&fitted), "--choose-on", text(&held), "--out", text(&out)]);
        assert_eq!(code, Some(0), "{err}");
        assert!(said.contains("cut-edge@pack"), "{said}");
        files.push(fs::read(&out).unwrap());
    }
    assert!(files[0] == files[1], "byte for byte");
    let file: CalibrationFile = document::read(&folder.path().join("one.json")).unwrap();
    assert_eq!(file.sittings.len(), 24);
    assert_eq!((file.fitted_on[0].name.as_str(), file.chosen_on[0].sittings), ("fitted.csv", 24));
    assert!(file.forms.iter().any(|f| !f.silent && f.cllr < 0.6), "{:?}", file.forms);
    let twice = folder.path().join("three.json");
    let (code, _, err) =
        run(&["calibrate", text(&fitted), "--choose-on", text(&fitted), "--out", text(&twice)]);
    // A table is not held out from itself; told by its items' names when they come by another file.
    assert_eq!(code, Some(2), "{err}");
}

#[test]
fn the_shipped_calibration_is_made_from_the_kept_tables() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let table = |set: &str| root.join("families").join(format!("{set}.features.csv"));
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("calibration.json");
    let (fitted, held) = (table("calibration"), table("development"));
    let (code, said, err) =
        run(&["calibrate", text(&fitted), "--choose-on", text(&held), "--out", text(&out)]);
    assert_eq!(code, Some(0), "{said}{err}");
    let shipped = fs::read(root.join("crates/examination/data/calibration.json")).unwrap();
    assert!(fs::read(&out).unwrap() == shipped, "families/README.md says how it is made again");
}
