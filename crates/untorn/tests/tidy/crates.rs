//! Which crate may use which, and where versions, lints and reasons stand.

use std::collections::BTreeMap;

use crate::tree::{assert_none, files, text};

/// The crates from the ground up: one may use those that stand before it, never after.
const ORDER: [&str; 12] = [
    "casebook",
    "photo",
    "ocr",
    "placement",
    "examine",
    "learn",
    "offer",
    "opinion",
    "examination",
    "dossier",
    "desk",
    "untorn",
];

/// Arrows that point down and are still wrong: what a crate must not know, with the reason.
const MUST_NOT_KNOW: [(&str, &[&str], &str); 4] = [
    ("offer", &["placement", "examine"], "an offer is words and numbers, not pictures"),
    ("opinion", &["photo", "placement", "examine", "offer"], "an opinion weighs findings only"),
    (
        "dossier",
        &["placement", "examine", "learn", "offer", "opinion", "examination"],
        "a report tells, it does not find",
    ),
    ("desk", &["photo", "placement", "examine", "opinion"], "the desk shows cases, it does not examine them"),
];

fn manifests() -> BTreeMap<String, toml::Table> {
    files()
        .iter()
        .filter_map(|path| {
            let name = path.strip_prefix("crates/")?.strip_suffix("/Cargo.toml")?;
            let table = text(path)?.parse().unwrap_or_else(|error| panic!("{path}: {error}"));
            Some((name.to_owned(), table))
        })
        .collect()
}

/// Name and value of every dependency: of the crate, its tests, its build script, each platform.
fn dependencies(manifest: &toml::Table) -> Vec<(String, toml::Value)> {
    let mut found = Vec::new();
    for (key, value) in manifest {
        match (key.as_str(), value) {
            ("dependencies" | "dev-dependencies" | "build-dependencies", toml::Value::Table(table)) => {
                found.extend(table.clone())
            }
            ("target", toml::Value::Table(platforms)) => {
                for platform in platforms.values().filter_map(toml::Value::as_table) {
                    found.extend(dependencies(platform));
                }
            }
            _ => {}
        }
    }
    found
}

#[test]
fn arrows_between_crates_point_down() {
    let manifests = manifests();
    let rank = |name: &str| ORDER.iter().position(|other| *other == name);
    let mut misses = Vec::new();
    for name in ORDER.iter().filter(|name| !manifests.contains_key(**name)) {
        misses.push(format!("crates/{name} is in ORDER but has no Cargo.toml"));
    }
    for (name, manifest) in &manifests {
        let Some(own) = rank(name) else {
            misses.push(format!("crates/{name}: give it a place in ORDER"));
            continue;
        };
        for (used, _) in dependencies(manifest) {
            if rank(&used).is_some_and(|other| other >= own) {
                misses.push(format!("crates/{name} uses {used}, which does not stand below it"));
            }
            for (who, what, why) in MUST_NOT_KNOW {
                if who == name && what.contains(&used.as_str()) {
                    misses.push(format!("crates/{name} uses {used}: {why}"));
                }
            }
        }
    }
    assert_none(&misses);
}

#[test]
fn crates_take_versions_and_lints_from_the_workspace() {
    let mut misses = Vec::new();
    for (name, manifest) in manifests() {
        let flag = |table: &toml::Value| table.get("workspace").and_then(toml::Value::as_bool);
        if manifest.get("lints").and_then(flag) != Some(true) {
            misses.push(format!("crates/{name}: `[lints] workspace = true` is missing"));
        }
        for (used, value) in dependencies(&manifest) {
            if flag(&value) != Some(true) {
                misses.push(format!("crates/{name}: {used} names a version of its own"));
            }
        }
    }
    assert_none(&misses);
}

#[test]
fn the_architecture_page_gives_a_reason_for_every_library() {
    let manifest: toml::Table =
        text("Cargo.toml").expect("Cargo.toml").parse().expect("a workspace manifest");
    let page = text("ARCHITECTURE.md").expect("ARCHITECTURE.md");
    let taken = manifest["workspace"]["dependencies"].as_table().expect("dependencies");
    let misses: Vec<String> = taken
        .keys()
        .filter(|name| !ORDER.contains(&name.as_str()) && !page.contains(&format!("`{name}`")))
        .map(|name| format!("ARCHITECTURE.md, \"Libraries\": `{name}` is taken without a reason"))
        .collect();
    assert_none(&misses);
}
