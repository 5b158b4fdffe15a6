//! The files under `schemas/` are what the types say. `UNTORN_REWRITE=1 cargo test -p casebook --test schemas`
//! writes them anew after a deliberate change (with a new version number, see `document`).

use std::path::Path;

#[test]
fn published_schemas_match_the_types() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../schemas");
    let rewrite = std::env::var_os("UNTORN_REWRITE").is_some();
    let mut stale = Vec::new();
    for (name, text) in casebook::schemas::all() {
        let file = folder.join(&name);
        if rewrite {
            std::fs::create_dir_all(&folder).unwrap();
            casebook::atomic::write(&file, text.as_bytes()).unwrap();
        }
        if std::fs::read_to_string(&file).ok().as_deref() != Some(text.as_str()) {
            stale.push(name);
        }
    }
    assert!(stale.is_empty(), "stale schemas: {stale:?}; rewrite them as the head of this file says");
}
