//! The library of the examples: reference faces of a folder of catalogue files.

use std::error::Error;
use std::path::Path;
use std::sync::Arc;

use casebook::catalogue::Catalogue;
use casebook::document;
use photo::Limits;
use placement::ReferenceFace;

/// Every face of the catalogues in one folder, its picture from another.
pub(crate) fn references(catalogue: &Path, faces: &Path) -> Result<Vec<ReferenceFace>, Box<dyn Error>> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(catalogue)? {
        let path = entry?.path();
        if path.extension().is_some_and(|e| e == "toml") {
            files.push(path);
        }
    }
    files.sort();
    let mut out = Vec::new();
    for file in files {
        let catalogue: Catalogue = document::read(&file)?;
        for (face, _, facts) in catalogue.faces() {
            let raster = Arc::new(photo::read(&faces.join(facts.reference.as_str()), &Limits::default())?);
            out.push(ReferenceFace { face, size_mm: (facts.size_mm[0], facts.size_mm[1]), raster });
        }
    }
    Ok(out)
}
