//! What every source file owes its reader: a head, a bearable length, no test left out.

use crate::tree::{assert_none, files, has_extension, is_rust, text};

/// Longest source file that needs no reason.
const LONG_LINES: usize = 1_000;
/// A reason for a longer one stands within its first lines.
const REASON_WITHIN_LINES: usize = 40;
#[test]
fn every_module_begins_with_a_head() {
    let mut misses = Vec::new();
    for path in files().iter().filter(|path| is_rust(path)) {
        let text = text(path).unwrap_or_default();
        let head: Vec<&str> = text.lines().take_while(|line| line.starts_with("//!")).collect();
        let words = head.iter().flat_map(|line| line[3..].split_whitespace()).count();
        if words < 3 {
            misses.push(format!("{path}: begins without a `//!` head that says what it is for"));
        }
    }
    assert_none(&misses);
}

#[test]
fn long_files_say_why() {
    let mut misses = Vec::new();
    for path in files() {
        if !has_extension(&path, &["rs", "py", "sh", "js", "css", "html", "md"]) {
            continue;
        }
        let text = text(&path).unwrap_or_default();
        let lines = text.lines().count();
        let excused = text.lines().take(REASON_WITHIN_LINES).any(|line| line.contains("long because:"));
        if lines > LONG_LINES && !excused {
            misses.push(format!("{path}: {lines} lines; split it, or say `long because: …` on top"));
        }
    }
    assert_none(&misses);
}

#[test]
fn no_test_is_ignored() {
    let mark = concat!("#[", "ignore");
    let misses: Vec<String> = files()
        .iter()
        .filter(|path| is_rust(path) && text(path).unwrap_or_default().contains(mark))
        .map(|path| format!("{path}: assert today's answer and say why it is wrong, instead"))
        .collect();
    assert_none(&misses);
}
