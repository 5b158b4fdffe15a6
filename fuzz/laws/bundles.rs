//! What the reader of product bundles must keep, for the fuzz target and for the ordinary replay of
//! its inputs (`crates/casebook/tests/bundle.rs`).
//!
//! Laws: arbitrary bytes give a bundle or an error, never a panic. The error names the file. A bundle
//! that was read can be written again, and what is read from that is the same bundle.

use std::io::Cursor;
use std::path::Path;

use casebook::library::StoredSpecimen;
use casebook::library::bundle::{Bundle, Limits, Packed, pack};

/// Small enough for a fuzzer to meet them.
const LIMITS: Limits = Limits { files: 64, file_bytes: 1 << 20, bytes: 4 << 20, document_bytes: 1 << 18 };

/// Everything that a bundle holds but its photos.
fn packed(bundle: &Bundle<Cursor<&[u8]>>) -> Packed {
    let manifest = &bundle.manifest;
    let specimens =
        bundle.specimens.iter().zip(&manifest.specimens).map(|(specimen, listed)| StoredSpecimen {
            specimen: specimen.clone(),
            photos: listed.photos.iter().map(|p| (p.file.clone(), p.photo.clone())).collect(),
        });
    Packed {
        product: manifest.product.clone(),
        made_at: manifest.made_at,
        catalogue: bundle.catalogue.clone(),
        references: manifest.references.iter().map(|r| (r.face.clone(), r.photo.clone())).collect(),
        specimens: specimens.collect(),
    }
}

/// Holds `bytes` to the laws. `Err` says why it was no bundle, which is no fault.
pub(crate) fn holds(bytes: &[u8]) -> Result<(), String> {
    let file = Path::new("input.zip");
    let mut first = match Bundle::open(Cursor::new(bytes), file, &LIMITS) {
        Ok(bundle) => bundle,
        Err(error) => {
            let message = error.to_string();
            assert!(message.starts_with("input.zip: "), "an error that does not name the file: {message}");
            return Err(message);
        }
    };
    let before = packed(&first);
    let endings: Vec<_> = first.photos();
    let written = pack(&before, |hash| {
        let ending = endings.iter().find(|(own, _)| own == hash).map(|(_, e)| e.clone()).unwrap_or_default();
        Ok((ending, first.photo(hash)?))
    })
    .unwrap_or_else(|error| panic!("read but cannot be written: {error}"));
    let mut second = Bundle::open(Cursor::new(written.as_slice()), file, &LIMITS)
        .unwrap_or_else(|error| panic!("its own writing is refused: {error}"));
    assert_eq!(before, packed(&second), "writing and reading changed it");
    for (hash, _) in endings {
        let (a, b) = (first.photo(&hash), second.photo(&hash));
        assert_eq!(a.ok(), b.ok(), "a photo changed on the way");
    }
    Ok(())
}
