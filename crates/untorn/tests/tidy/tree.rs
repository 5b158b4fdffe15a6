//! The files that the rules look at, and how a miss is told.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(2).expect("crates/untorn").to_owned()
}

/// Paths relative to the root with `/`, sorted: what is tracked, or would be by `git add`.
pub(crate) fn files() -> Vec<String> {
    let listed = Command::new("git")
        .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .current_dir(root())
        .output();
    let mut paths: Vec<String> = match listed {
        Ok(out) if out.status.success() && !out.stdout.is_empty() => {
            String::from_utf8_lossy(&out.stdout).split('\0').map(str::to_owned).collect()
        }
        _ => {
            let mut found = Vec::new();
            walk(&root(), "", &mut found);
            found
        }
    };
    paths.retain(|path| !path.is_empty() && root().join(path).is_file());
    paths.sort();
    paths.dedup();
    paths
}

/// Every file below `folder`, for a tree without git: without what `.gitignore` leaves out.
fn walk(folder: &Path, prefix: &str, found: &mut Vec<String>) {
    let left_out = ["target", "node_modules", "artifacts", "coverage", "__pycache__"];
    for entry in std::fs::read_dir(folder).expect("a readable tree") {
        let entry = entry.expect("a readable tree");
        let name = entry.file_name().to_string_lossy().into_owned();
        let path = if prefix.is_empty() { name.clone() } else { format!("{prefix}/{name}") };
        if entry.path().is_dir() {
            let hidden = matches!(name.as_str(), ".git" | ".venv");
            if !hidden && !left_out.contains(&name.as_str()) {
                walk(&entry.path(), &path, found);
            }
        } else {
            found.push(path);
        }
    }
}

/// The text of a file of ours; `None` for one that is no UTF-8, such as a picture.
pub(crate) fn text(path: &str) -> Option<String> {
    std::fs::read(root().join(path)).ok().and_then(|bytes| String::from_utf8(bytes).ok())
}

pub(crate) fn size(path: &str) -> u64 {
    std::fs::metadata(root().join(path)).map_or(0, |meta| meta.len())
}

pub(crate) fn has_extension(path: &str, of: &[&str]) -> bool {
    path.rsplit_once('.').is_some_and(|(_, extension)| of.contains(&extension))
}

pub(crate) fn is_rust(path: &str) -> bool {
    has_extension(path, &["rs"])
}

/// Fails with all of `misses`, each once.
pub(crate) fn assert_none(misses: &[String]) {
    let misses: Vec<&str> = misses.iter().map(String::as_str).collect::<BTreeSet<_>>().into_iter().collect();
    assert!(misses.is_empty(), "{} of these:\n{}\n", misses.len(), misses.join("\n"));
}
