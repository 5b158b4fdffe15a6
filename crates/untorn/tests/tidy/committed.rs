//! What must not be committed: places on one machine, registry hosts, large or broken files.

use crate::tree::{assert_none, files, has_extension, root, size, text};

/// Largest committed file, in bytes (5 MB): what a clone can bear without a large-file store.
const LARGEST_FILE: u64 = 5_000_000;
/// Largest sum of `demo/`, in bytes (40 MB).
const LARGEST_DEMO: u64 = 40_000_000;
/// Largest reference picture of what people see, in bytes (20 KiB).
const LARGEST_SEEN: u64 = 20 * 1024;

/// Places on one machine, and hosts that a build must not depend on by name.
fn forbidden_texts() -> [&'static [u8]; 13] {
    [
        concat!("/wo", "rk/").as_bytes(),
        concat!("/ro", "ot/").as_bytes(),
        concat!("/ho", "me/").as_bytes(),
        concat!("/Us", "ers/").as_bytes(),
        concat!("C:", "\\Users").as_bytes(),
        concat!("crates", ".io").as_bytes(),
        concat!("pypi", ".org").as_bytes(),
        concat!("python", "hosted.org").as_bytes(),
        concat!("registry", ".npmjs").as_bytes(),
        concat!("npmjs", ".com").as_bytes(),
        concat!("static", ".rust-lang").as_bytes(),
        concat!("deb.", "debian.org").as_bytes(),
        concat!("docs", ".rs/").as_bytes(),
    ]
}

#[test]
fn no_host_of_a_registry_and_no_place_on_one_machine() {
    let forbidden = forbidden_texts();
    let mut begins = [false; 256];
    for needle in forbidden {
        begins[usize::from(needle[0])] = true;
    }
    let mut misses = Vec::new();
    for path in files() {
        // Lock files name the registry that they lock.
        if path.ends_with(".lock") || path.ends_with("package-lock.json") {
            continue;
        }
        let bytes = std::fs::read(root().join(&path)).unwrap_or_default();
        // By first bytes, because pictures are large and tests are built to be debugged.
        for at in (0..bytes.len()).filter(|at| begins[usize::from(bytes[*at])]) {
            for needle in forbidden.iter().filter(|needle| bytes[at..].starts_with(needle)) {
                misses.push(format!("{path}: holds {}", String::from_utf8_lossy(needle)));
            }
        }
    }
    assert_none(&misses);
}

#[test]
fn files_stay_small_enough_to_clone() {
    let mut misses = Vec::new();
    let mut demo = 0;
    for path in files() {
        let bytes = size(&path);
        demo += if path.starts_with("demo/") { bytes } else { 0 };
        if bytes > LARGEST_FILE {
            misses.push(format!("{path}: {bytes} bytes, over {LARGEST_FILE}"));
        }
        if path.contains("/tests/seen/") && bytes > LARGEST_SEEN {
            misses.push(format!("{path}: {bytes} bytes, over {LARGEST_SEEN} for a picture seen"));
        }
    }
    if demo > LARGEST_DEMO {
        misses.push(format!("demo/: {demo} bytes together, over {LARGEST_DEMO}"));
    }
    assert_none(&misses);
}

#[test]
fn text_files_end_with_one_line_feed_and_hold_no_conflict_marks() {
    let known = ["rs", "toml", "md", "py", "bib", "csv", "json", "sh", "html", "css", "js", "xml"];
    let mark = "<".repeat(7);
    let mut misses = Vec::new();
    for path in files().iter().filter(|path| has_extension(path, &known)) {
        // Fuzz inputs are kept as they were found; a JSON truth is what its maker wrote.
        if path.starts_with("fuzz/corpus/") {
            continue;
        }
        match text(path) {
            None => misses.push(format!("{path}: is no UTF-8")),
            Some(text) => {
                if text.lines().any(|line| line.starts_with(&mark)) {
                    misses.push(format!("{path}: holds a conflict mark"));
                }
                if text.contains('\r') {
                    misses.push(format!("{path}: holds a carriage return"));
                }
                if !text.is_empty() && (!text.ends_with('\n') || text.ends_with("\n\n")) {
                    misses.push(format!("{path}: does not end with one line feed"));
                }
            }
        }
    }
    assert_none(&misses);
}
