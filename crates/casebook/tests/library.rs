//! The library keeps what it is given, lets nobody change it unseen, and says what is wrong in words.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "helpers of tests; scratch files")]

use std::fs;
use std::path::{Path, PathBuf};

use casebook::library::{Library, LibraryError};
use jiff::Timestamp;

const CATALOGUE: &str = r#"
schema = "untorn.catalogue/1"
line = { id = "kelpwright", name = "Kelpwright" }
release = { id = "night-dredge", name = "Night Dredge", source = "invented" }
[[products]]
id = "pack"
name = "Night Dredge pack"
form = "pack"
faces = [{ id = "front", size_mm = [65.0, 112.0], reference = "front.jpg" }]
makes = [{ id = "only", source = "invented" }]
"#;

const SPECIMEN: &str = r#"
schema = "untorn.specimen/1"
id = "one"
product = "kelpwright/night-dredge/pack"
state = "sealed"
known_by = "made so"
origin = "rendered"
photos = [{ file = "01.jpg", sitting = "s1" }]
"#;

fn now() -> Timestamp {
    "2026-11-25T09:00:00Z".parse().unwrap()
}

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let bench = Self { folder };
        fs::create_dir_all(bench.path("faces")).unwrap();
        fs::create_dir_all(bench.path("one")).unwrap();
        fs::write(bench.path("release.toml"), CATALOGUE).unwrap();
        fs::write(bench.path("faces/front.jpg"), b"a reference").unwrap();
        fs::write(bench.path("one/specimen.toml"), SPECIMEN).unwrap();
        fs::write(bench.path("one/01.jpg"), b"a photo").unwrap();
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn open(&self) -> Library {
        Library::open(&self.path("library")).unwrap()
    }

    fn filled(&self) -> Library {
        let mut library = self.open();
        library.add_catalogue(&self.path("release.toml"), &self.path("faces"), now()).unwrap();
        library.add_specimen(&self.path("one"), now()).unwrap();
        library
    }
}

#[test]
fn keeps_what_it_is_given() {
    let bench = Bench::new();
    let mut library = bench.filled();
    library.add_specimen(&bench.path("one"), now()).unwrap(); // again: nothing changes
    let specimens = library.specimens().unwrap();
    assert_eq!(specimens.len(), 1);
    let hash = specimens[0].photos.values().next().unwrap();
    let stored = library.photo_path(hash).unwrap().unwrap();
    assert_eq!(fs::read(stored).unwrap(), b"a photo");
    assert_eq!(library.references().unwrap().len(), 1);
    let acts: Vec<_> = library.audit_trail().unwrap().into_iter().map(|e| e.act).collect();
    assert_eq!(acts, ["add-catalogue", "add-specimen"]);
    assert_eq!(library.check().unwrap(), []);
    drop(library);
    assert_eq!(bench.open().specimens().unwrap().len(), 1, "and finds it after reopening");
}

#[test]
fn the_same_id_with_other_content_is_refused() {
    let bench = Bench::new();
    let mut library = bench.filled();
    fs::write(bench.path("one/specimen.toml"), SPECIMEN.replace("\"sealed\"", "\"resealed\"")).unwrap();
    let error = library.add_specimen(&bench.path("one"), now()).unwrap_err();
    assert!(matches!(error, LibraryError::SpecimenTaken { .. }), "{error}");
    assert_eq!(library.specimens().unwrap()[0].specimen.state.word(), "sealed");
}

#[test]
fn a_specimen_of_an_unknown_product_is_refused() {
    let bench = Bench::new();
    let mut library = bench.open();
    let error = library.add_specimen(&bench.path("one"), now()).unwrap_err().to_string();
    assert!(error.contains("add the catalogue first"), "{error}");
}

#[test]
fn changes_behind_its_back_are_found() {
    let bench = Bench::new();
    let library = bench.filled();
    let hash = library.specimens().unwrap()[0].photos.values().next().unwrap().clone();
    let stored = library.photo_path(&hash).unwrap().unwrap();
    fs::write(&stored, b"another photo").unwrap();
    drop(library);

    let raw = rusqlite::Connection::open(bench.path("library/index.sqlite")).unwrap();
    for sql in ["UPDATE audit SET subject = 'x'", "DELETE FROM audit"] {
        let refused = raw.execute_batch(sql).unwrap_err().to_string();
        assert!(refused.contains("only grows"), "{refused}");
    }
    raw.execute_batch("DROP TRIGGER audit_stays; UPDATE audit SET subject = 'x' WHERE number = 1").unwrap();
    drop(raw);

    let faults: Vec<String> = bench.open().check().unwrap().into_iter().map(|f| f.0).collect();
    assert_eq!(faults.len(), 2, "{faults:?}");
    assert!(faults[0].contains("has changed"), "{faults:?}");
    assert!(faults[1].contains("entry 1"), "{faults:?}");
}

#[test]
fn folders_that_are_no_library_are_named() {
    let bench = Bench::new();
    let error = Library::open(&bench.path("one")).unwrap_err().to_string();
    assert!(error.contains("one") && error.contains("empty folder"), "{error}");

    drop(bench.filled());
    fs::remove_file(bench.path("library/index.sqlite-wal")).ok();
    fs::write(bench.path("library/index.sqlite"), b"this is no database, whatever its name says").unwrap();
    let error = Library::open(&bench.path("library")).unwrap_err();
    assert!(matches!(error, LibraryError::Damaged { .. }), "{error}");
}

#[test]
fn an_index_cut_short_is_an_error_and_no_panic() {
    let bench = Bench::new();
    drop(bench.filled());
    let whole = fs::read(bench.path("library/index.sqlite")).unwrap();
    for part in 1..40 {
        let copy = bench.path(&format!("cut-{part}"));
        fs::create_dir_all(&copy).unwrap();
        fs::write(copy.join("index.sqlite"), &whole[..whole.len() * part / 40]).unwrap();
        let outcome = Library::open(&copy).and_then(|library| {
            let faults = library.check()?;
            Ok((faults, library.specimens()?))
        });
        if let Ok((faults, _)) = outcome {
            assert!(!faults.is_empty(), "a cut at {part}/40 went unseen");
        }
    }
}

#[test]
fn a_newer_library_is_refused() {
    let bench = Bench::new();
    drop(bench.filled());
    let raw = rusqlite::Connection::open(bench.path("library/index.sqlite")).unwrap();
    raw.pragma_update(None, "user_version", 99).unwrap();
    drop(raw);
    let error = Library::open(&bench.path("library")).unwrap_err().to_string();
    assert!(error.contains("version 99") && error.contains("update the program"), "{error}");
}

#[test]
fn two_writers_lose_nothing() {
    let bench = Bench::new();
    drop(bench.filled());
    let folder = bench.path("library");
    let make = |name: &str| {
        let own = bench.path(name);
        fs::create_dir_all(&own).unwrap();
        fs::write(own.join("specimen.toml"), SPECIMEN.replace("\"one\"", &format!("\"{name}\""))).unwrap();
        fs::write(own.join("01.jpg"), name).unwrap();
        own
    };
    let folders: Vec<PathBuf> = (0..16).map(|i| make(&format!("s{i}"))).collect();
    std::thread::scope(|scope| {
        for half in folders.chunks(8) {
            let library: &Path = &folder;
            scope.spawn(move || {
                let mut library = Library::open(library).unwrap();
                for specimen in half {
                    library.add_specimen(specimen, now()).unwrap();
                }
            });
        }
    });
    let library = bench.open();
    assert_eq!(library.specimens().unwrap().len(), 17);
    assert_eq!(library.check().unwrap(), [], "and the audit trail is one chain");
}
