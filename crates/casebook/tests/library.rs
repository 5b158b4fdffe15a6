//! The library keeps what it is given, lets nobody change it unseen, and says what is wrong in words.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "helpers of tests; scratch files")]

use std::fs;
use std::path::{Path, PathBuf};

use casebook::document::{self, Notation};
use casebook::hypothesis::State;
use casebook::library::{Library, LibraryError};
use casebook::opinion::Examination;
use casebook::outcome::{KnownBy, OUTCOME_SCHEMA, OutcomeFile, Refund};
use casebook::specimen::Origin;
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

/// An examination of the first version, as the fuzz inputs keep it.
fn examination() -> Examination {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/examination_json/one.json");
    document::parse(&fs::read_to_string(&file).unwrap(), &file, Notation::Json).unwrap()
}

fn outcome(item: &str, found: Option<State>) -> OutcomeFile {
    OutcomeFile {
        schema: OUTCOME_SCHEMA.to_owned(),
        case: examination().case,
        item: item.parse().unwrap(),
        found,
        known_by: KnownBy::Opened,
        on: Some("2026-11-30".parse().unwrap()),
        refund: Some(Refund::Granted),
        origin: Origin::Physical,
        note: "opened at the table".to_owned(),
    }
}

#[test]
fn an_outcome_makes_an_examined_item_a_specimen_and_stands_in_the_trail() {
    let bench = Bench::new();
    let mut library = bench.open();
    let item = examination().items[0].opinion.item.to_string();
    let error = library.record_outcome(&outcome(&item, Some(State::Sealed)), now()).unwrap_err();
    assert!(error.to_string().contains("run `untorn examine`"), "{error}");
    library.keep_examination(&examination(), now()).unwrap();
    let error = library.record_outcome(&outcome("none", Some(State::Sealed)), now()).unwrap_err();
    assert!(matches!(error, LibraryError::NotExamined { .. }), "{error}");
    library.record_outcome(&outcome(&item, Some(State::Sealed)), now()).unwrap();
    // What is learned later counts, and what was thought before stays on record.
    library.record_outcome(&outcome(&item, Some(State::Resealed)), now()).unwrap();
    assert_eq!(library.outcomes().unwrap().len(), 2);
    let confirmed = library.confirmed().unwrap();
    assert_eq!(confirmed.len(), 1);
    assert_eq!((confirmed[0].state, confirmed[0].origin), (State::Resealed, Origin::Physical));
    assert_eq!(confirmed[0].findings, examination().items[0].findings);
    let trail = library.audit_trail().unwrap();
    let acts: Vec<&str> = trail.iter().map(|entry| entry.act.as_str()).collect();
    assert_eq!(acts, ["examine", "outcome", "outcome"]);
    assert!(trail[2].detail.starts_with("resealed, opened"), "{}", trail[2].detail);
    assert!(library.check().unwrap().is_empty());
}

#[test]
fn a_library_of_the_first_version_is_brought_up() {
    let bench = Bench::new();
    drop(bench.open());
    let raw = rusqlite::Connection::open(bench.path("library/index.sqlite")).unwrap();
    raw.execute_batch("DROP TABLE outcome; PRAGMA user_version = 1").unwrap();
    drop(raw);
    assert!(bench.open().outcomes().unwrap().is_empty());
}

#[test]
fn an_outcome_must_say_something() {
    let said_nothing = outcome("a", None);
    assert_eq!(said_nothing.faults().len(), 1);
    let other = OutcomeFile { known_by: KnownBy::Other, note: " ".to_owned(), ..outcome("a", None) };
    assert_eq!(other.faults().len(), 1);
    let returned = OutcomeFile { known_by: KnownBy::Returned, ..outcome("a", None) };
    assert_eq!(returned.faults().len(), 0);
}
