//! Outside data: every file of `checks/` is read by a test, every folder says where it is from.

use std::collections::BTreeSet;

use crate::tree::{assert_none, files, has_extension, is_rust, text};

#[test]
fn every_outside_file_is_read_by_a_test() {
    let files = files();
    let tests: String = files
        .iter()
        .filter(|path| path.starts_with("crates/") && is_rust(path) && !path.contains("/tidy/"))
        .filter_map(|path| text(path))
        .collect();
    let mut folders = BTreeSet::new();
    let mut misses = Vec::new();
    for path in files.iter().filter(|path| path.starts_with("checks/")) {
        let parts: Vec<&str> = path.split('/').collect();
        let [_, folder, inside @ ..] = parts.as_slice() else {
            continue;
        };
        let Some(name) = inside.last() else {
            let known = ["README.md", "oracle.py", "requirements.txt", "run_oracles.py"];
            if !known.contains(folder) && *folder != "sources.bib" {
                misses.push(format!("{path}: belongs into the folder of its source"));
            }
            continue;
        };
        // Tests of their own, in another language: `./check` runs the folder's runner, which takes every
        // file of `tests/`; what lies beside them helps one of them.
        if *folder == "browser" {
            let beside =
                ["package.json", "package-lock.json", "README.md", ".gitignore", "run.js", "look.js"];
            let named = |text: String| text.contains(&format!("/{name}\""));
            let in_browser =
                |other: &&String| other.starts_with("checks/browser/") && has_extension(other, &["js"]);
            let used = files.iter().filter(in_browser).filter_map(|other| text(other)).any(named);
            if !(used || beside.contains(name) || (inside.len() == 2 && name.ends_with(".test.js"))) {
                misses.push(format!("{path}: no test of checks/browser imports it"));
            }
            if !text("check").unwrap_or_default().contains("checks/browser/run.js") {
                misses.push("check: does not run checks/browser/run.js".to_owned());
            }
            continue;
        }
        folders.insert((*folder).to_owned());
        if matches!(*name, "README.md" | "make.py" | ".gitignore") {
            continue;
        }
        let script = text(&format!("checks/{folder}/make.py")).unwrap_or_default();
        // A test names the file, or the folder below the source's that it reads whole.
        let whole_folder = inside.len() > 1 && tests.contains(inside[0]);
        let read = tests.contains(name) || whole_folder;
        let helps = has_extension(name, &["py"]) && script.contains(name.trim_end_matches(".py"));
        let made = script.contains(name);
        if !(read || helps || made) {
            misses.push(format!("{path}: neither a test nor the make.py beside it names it"));
        }
    }
    for folder in folders {
        if !files.contains(&format!("checks/{folder}/README.md")) {
            misses.push(format!("checks/{folder}: has no README.md (who, when, whence, licence)"));
        }
        let mark = format!("checks/{folder}");
        let joined = format!("\"{folder}\"");
        let slash = format!("{folder}/");
        if ![&mark, &joined, &slash].iter().any(|mark| tests.contains(mark.as_str())) {
            misses.push(format!("checks/{folder}: no Rust test reads it"));
        }
    }
    assert_none(&misses);
}
