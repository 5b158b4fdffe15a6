//! Citations in documentation against the bibliography, both ways.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use crate::tree::{assert_none, files, has_extension, is_rust, text};

/// Keys of the bibliography, in their order.
fn bibliography() -> Vec<String> {
    let text = text("checks/sources.bib").expect("checks/sources.bib");
    text.lines()
        .filter_map(|line| line.strip_prefix('@')?.split_once('{'))
        .map(|(_, key)| key.trim_end_matches([',', ' ']).to_owned())
        .collect()
}

/// Keys cited in documentation: what stands in backticks after `Source:` or `Sources:` up to the
/// end of the sentence, or under a heading `# Source`, and has the form of a key. A file name or a
/// function has another form: a key is lower case, digits and hyphens, with a digit in it.
fn cited_keys(documentation: &str) -> Vec<String> {
    let mut keys = Vec::new();
    for block in documentation.split("\n\n") {
        let block = block.replace('\n', " ");
        let mut rest = block.as_str();
        while let Some((start, whole_block)) = ["Source: ", "Sources: ", "# Source "]
            .iter()
            .filter_map(|mark| Some((rest.find(mark)? + mark.len(), mark.starts_with('#'))))
            .min()
        {
            rest = &rest[start..];
            let end = if whole_block { rest.len() } else { sentence_end(rest) };
            // Every second piece between backticks is inside them.
            keys.extend(rest[..end].split('`').skip(1).step_by(2).filter(|t| is_key(t)).map(String::from));
            rest = &rest[end..];
        }
    }
    keys
}

/// Where a sentence ends: at a full stop outside backticks that a space or the end follows.
fn sentence_end(text: &str) -> usize {
    let mut inside = false;
    let bytes = text.as_bytes();
    for (at, byte) in bytes.iter().enumerate() {
        match byte {
            b'`' => inside = !inside,
            b'.' if !inside && bytes.get(at + 1).is_none_or(|next| *next == b' ') => return at,
            _ => {}
        }
    }
    text.len()
}

fn is_key(token: &str) -> bool {
    token.starts_with(|c: char| c.is_ascii_lowercase())
        && token.contains(|c: char| c.is_ascii_digit())
        && token.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
}

/// The comments of a Rust file as running text: one blank line where code or an empty comment
/// stands between.
fn comments(text: &str) -> String {
    let mut running = String::new();
    for line in text.lines() {
        let line = line.trim();
        let words = ["//!", "///", "//"].iter().find_map(|mark| line.strip_prefix(mark));
        // A heading belongs to what follows it, whatever stands between.
        match words.map(str::trim).filter(|words| !words.is_empty()) {
            Some(heading) if heading.starts_with("# ") => write!(running, "\n\n{heading} "),
            Some(words) => writeln!(running, "{words}"),
            None => writeln!(running),
        }
        .expect("a string");
    }
    running
}

#[test]
fn finds_the_keys_that_documentation_cites() {
    for (documentation, keys) in [
        ("Sources: `a1`, `b-2` (table 3). Then `c3`.", vec!["a1", "b-2"]),
        ("25 to the seventh. Source: `sharma2005`, equation 4.", vec!["sharma2005"]),
        ("Sources: `x1` and\n`y2`. Outside check: `tests/z_3.rs`", vec!["x1", "y2"]),
        ("# Source Sine fit, `ieee1057`; start. See `jcgm100`.", vec!["ieee1057", "jcgm100"]),
        ("Source: [`good1985`].", vec!["good1985"]),
        ("Source: see `fn_one1`, `Upper1`, `nodigit`, `a.b1`.", vec![]),
        ("the source `bayer1976` of a cell", vec![]),
    ] {
        assert_eq!(cited_keys(documentation), keys, "{documentation}");
    }
    let rust = "//! Head.\n//! Source: `a1`.\n\n/// # Source\n///\n/// By `b2`.\nfn f() {}\n// c3\n";
    assert_eq!(cited_keys(&comments(rust)), ["a1", "b2"]);
}

#[test]
fn every_citation_is_in_the_bibliography_and_every_entry_cited() {
    let entries = bibliography();
    let known: BTreeSet<&str> = entries.iter().map(String::as_str).collect();
    let mut misses = Vec::new();
    if known.len() != entries.len() {
        misses.push("checks/sources.bib: a key stands there twice".to_owned());
    }
    let mut mentioned = BTreeSet::new();
    for path in files().iter().filter(|path| has_extension(path, &["rs", "md", "py", "toml"])) {
        let Some(text) = text(path) else { continue };
        for key in known.iter().filter(|key| text.contains(&format!("`{key}`"))) {
            mentioned.insert(*key);
        }
        // This file's own examples are no citations.
        if path.ends_with("tidy/citations.rs") || has_extension(path, &["toml"]) {
            continue;
        }
        let documentation = if is_rust(path) { comments(&text) } else { text };
        for key in cited_keys(&documentation).iter().filter(|key| !known.contains(key.as_str())) {
            misses.push(format!("{path}: cites `{key}`, which checks/sources.bib lacks"));
        }
    }
    for key in known.difference(&mentioned) {
        misses.push(format!("checks/sources.bib: nothing cites `{key}`"));
    }
    assert_none(&misses);
}
