//! Writing a bundle: the same content gives the same bytes.
//!
//! In: [`Packed`] documents and a way to a photo's bytes. Out: the bytes of a zip file. Never here:
//! the library's tables.

use std::collections::BTreeMap;
use std::io::{Cursor, Write};

use jiff::Timestamp;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::BundleError;
use crate::bundle::{
    BUNDLE_SCHEMA, BundleFile, BundleManifest, BundlePhoto, BundleReference, BundleSpecimen, CATALOGUE,
    MANIFEST,
};
use crate::catalogue::Catalogue;
use crate::document::{self, Notation};
use crate::library::StoredSpecimen;
use crate::names::{FaceId, PhotoHash, ProductId};

/// Most bytes that are written into one bundle, which is made in memory: 2 GiB.
const MAX_BYTES: u64 = 2 << 30;

/// What goes into a bundle.
#[derive(Debug, Clone, PartialEq)]
pub struct Packed {
    /// The product.
    pub product: ProductId,
    /// When it is exported.
    pub made_at: Timestamp,
    /// One release with the product and what it contains.
    pub catalogue: Catalogue,
    /// The reference picture of every face of that catalogue.
    pub references: BTreeMap<FaceId, PhotoHash>,
    /// The product's specimens.
    pub specimens: Vec<StoredSpecimen>,
}

/// Makes the bytes of a bundle.
///
/// # Input
/// `photo`: gives a photo's ending (1 to 5 of a-z and 0-9) and bytes.
///
/// # Errors
/// [`BundleError`] when a photo cannot be had or all together are too large.
pub fn pack(
    packed: &Packed,
    mut photo: impl FnMut(&PhotoHash) -> Result<(String, Vec<u8>), BundleError>,
) -> Result<Vec<u8>, BundleError> {
    let mut files = Vec::new();
    let mut contents: Vec<Vec<u8>> = Vec::new();
    let mut total = 0u64;
    let mut put = |path: String, bytes: Vec<u8>| {
        total += bytes.len() as u64;
        files.push(BundleFile { path, bytes: bytes.len() as u64, hash: PhotoHash::of(&bytes) });
        contents.push(bytes);
        if total > MAX_BYTES {
            let limit = format!("{} MiB", MAX_BYTES >> 20);
            return Err(BundleError::TooMuch { product: packed.product.to_string(), limit });
        }
        Ok(())
    };
    put(CATALOGUE.to_owned(), document::print(&packed.catalogue, Notation::Toml)?.into_bytes())?;
    for stored in &packed.specimens {
        let text = document::print(&stored.specimen, Notation::Json)?;
        put(format!("specimens/{}.json", stored.specimen.id), text.into_bytes())?;
    }
    let of_specimens = packed.specimens.iter().flat_map(|s| s.photos.values());
    let hashes: std::collections::BTreeSet<&PhotoHash> =
        packed.references.values().chain(of_specimens).collect();
    for hash in hashes {
        let (ending, bytes) = photo(hash)?;
        put(format!("photos/{hash}.{ending}"), bytes)?;
    }
    let manifest = BundleManifest {
        schema: BUNDLE_SCHEMA.to_owned(),
        product: packed.product.clone(),
        made_at: packed.made_at,
        references: packed
            .references
            .iter()
            .map(|(face, photo)| BundleReference { face: face.clone(), photo: photo.clone() })
            .collect(),
        specimens: packed
            .specimens
            .iter()
            .map(|stored| BundleSpecimen {
                id: stored.specimen.id.clone(),
                photos: stored
                    .photos
                    .iter()
                    .map(|(file, photo)| BundlePhoto { file: file.clone(), photo: photo.clone() })
                    .collect(),
            })
            .collect(),
        files: files.clone(),
    };
    let text = document::print(&manifest, Notation::Json)?;
    zipped(&text, &files, &contents)
        .map_err(|why| BundleError::Odd { file: "(being written)".into(), what: why })
}

fn zipped(manifest: &str, files: &[BundleFile], contents: &[Vec<u8>]) -> Result<Vec<u8>, String> {
    // One fixed time, so that the same content gives the same bytes.
    let options = SimpleFileOptions::default().last_modified_time(DateTime::default());
    let documents = options.compression_method(CompressionMethod::Deflated);
    // Photos are compressed already.
    let photos = options.compression_method(CompressionMethod::Stored);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    zip.start_file(MANIFEST, documents).map_err(|e| e.to_string())?;
    zip.write_all(manifest.as_bytes()).map_err(|e| e.to_string())?;
    for (file, bytes) in files.iter().zip(contents) {
        let how = if file.path.starts_with("photos/") { photos } else { documents };
        zip.start_file(file.path.as_str(), how).map_err(|e| e.to_string())?;
        zip.write_all(bytes).map_err(|e| e.to_string())?;
    }
    Ok(zip.finish().map_err(|e| e.to_string())?.into_inner())
}
