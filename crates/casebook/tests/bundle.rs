//! Product bundles: what goes out comes in the same, nothing is overwritten, and a file that is not
//! what it says is refused with words that name it.
//!
//! The laws stand in `fuzz/laws/bundles.rs`, which the fuzz target shares; kept inputs are replayed
//! whole, cut and bent.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "helpers of tests; scratch files"
)]

use std::fs;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

use casebook::library::Library;
use casebook::library::bundle::{Bundle, BundleError, Limits};
use casebook::names::ProductId;
use jiff::Timestamp;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

#[path = "../../../fuzz/laws/bundles.rs"]
mod bundles;

const CATALOGUE: &str = r#"
schema = "untorn.catalogue/1"
line = { id = "kelpwright", name = "Kelpwright" }
release = { id = "night-dredge", name = "Night Dredge", source = "invented" }
[[products]]
id = "pack"
name = "Night Dredge pack"
form = "pack"
gtins = ["2004173000117"]
faces = [{ id = "front", size_mm = [65.0, 112.0], reference = "front.jpg" }]
makes = [{ id = "only", source = "invented" }]
[[products]]
id = "box"
name = "Night Dredge box"
form = "box"
contains = { product = "pack", count = 36 }
faces = [{ id = "front", size_mm = [135.0, 125.0], reference = "box.jpg" }]
makes = [{ id = "only", source = "invented" }]
[[never_made]]
form = "tin"
source = "invented"
date = "2026-01-02"
"#;

const SPECIMEN: &str = r#"
schema = "untorn.specimen/1"
id = "one"
product = "kelpwright/night-dredge/pack"
state = "sealed"
known_by = "made so"
origin = "rendered"
photos = [{ file = "01.jpg", sitting = "s1" }, { file = "02.jpg", sitting = "s1" }]
"#;

fn now() -> Timestamp {
    "2026-11-25T09:00:00Z".parse().unwrap()
}

fn pack() -> ProductId {
    "kelpwright/night-dredge/pack".parse().unwrap()
}

struct Bench(tempfile::TempDir);

impl Bench {
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().unwrap());
        fs::create_dir_all(bench.path("one")).unwrap();
        fs::write(bench.path("release.toml"), CATALOGUE).unwrap();
        fs::write(bench.path("front.jpg"), b"a reference").unwrap();
        fs::write(bench.path("box.jpg"), b"a reference of a box").unwrap();
        fs::write(bench.path("one/specimen.toml"), SPECIMEN).unwrap();
        fs::write(bench.path("one/01.jpg"), b"a photo").unwrap();
        fs::write(bench.path("one/02.jpg"), b"another photo").unwrap();
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn filled(&self, name: &str) -> Library {
        let mut library = Library::open(&self.path(name)).unwrap();
        library.add_catalogue(&self.path("release.toml"), self.0.path(), now()).unwrap();
        library.add_specimen(&self.path("one"), now()).unwrap();
        library
    }

    /// A bundle of the pack and its bytes.
    fn exported(&self) -> (PathBuf, Vec<u8>) {
        let file = self.path("pack.zip");
        self.filled("sender").export_product(&pack(), &file, now()).unwrap();
        let bytes = fs::read(&file).unwrap();
        (file, bytes)
    }
}

/// The files of a zip: name and content.
type Files = Vec<(String, Vec<u8>)>;

/// The files of a zip, in order.
fn unpacked(bytes: &[u8]) -> Files {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).unwrap();
    (0..archive.len())
        .map(|i| {
            let mut entry = archive.by_index(i).unwrap();
            let mut content = Vec::new();
            std::io::Read::read_to_end(&mut entry, &mut content).unwrap();
            (entry.name().unwrap().into_owned(), content)
        })
        .collect()
}

fn packed(files: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let how = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    for (name, content) in files {
        zip.start_file(name.as_str(), how).unwrap();
        zip.write_all(content).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn refusal(bytes: &[u8], limits: &Limits) -> String {
    let error =
        Bundle::open(Cursor::new(bytes), Path::new("x.zip"), limits).expect_err("it should be refused");
    let message = error.to_string();
    assert!(message.starts_with("x.zip"), "{message}");
    message
}

#[test]
fn what_goes_out_comes_in_the_same() {
    let bench = Bench::new();
    let (file, _) = bench.exported();
    let mut receiver = Library::open(&bench.path("receiver")).unwrap();
    let said = receiver.import_bundle(&file, &Limits::default(), now()).unwrap();
    assert_eq!(said.added.len(), 2, "{said:?}");
    assert_eq!(said.kept, Vec::<String>::new());
    let sender = Library::open(&bench.path("sender")).unwrap();
    assert_eq!(sender.packed(&pack(), now()).unwrap(), receiver.packed(&pack(), now()).unwrap());
    assert_eq!(receiver.check().unwrap(), []);
    let again = bench.path("again.zip");
    receiver.export_product(&pack(), &again, now()).unwrap();
    assert_eq!(fs::read(&file).unwrap(), fs::read(&again).unwrap(), "the same content, the same bytes");
    let acts =
        |library: &Library| library.audit_trail().unwrap().into_iter().map(|e| e.act).collect::<Vec<_>>();
    assert_eq!(acts(&sender).last().unwrap(), "export-product");
    assert_eq!(acts(&receiver), ["import-catalogue", "import-specimen", "import-bundle", "export-product"]);
}

#[test]
fn a_product_brings_what_it_contains_and_no_more() {
    let bench = Bench::new();
    let library = bench.filled("sender");
    let of = |name: &str| {
        let packed = library.packed(&name.parse().unwrap(), now()).unwrap();
        packed.catalogue.products.iter().map(|p| p.id.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(of("kelpwright/night-dredge/box"), ["pack", "box"]);
    assert_eq!(of("kelpwright/night-dredge/pack"), ["pack"]);
    let missing = library.packed(&"kelpwright/night-dredge/tin".parse().unwrap(), now()).unwrap_err();
    assert!(matches!(missing, BundleError::NoSuchProduct { .. }), "{missing}");
}

#[test]
fn nothing_that_is_there_is_overwritten() {
    let bench = Bench::new();
    let (file, _) = bench.exported();
    // The receiver knows the release otherwise: another make of that name, another picture, another
    // specimen of that id, and no code.
    fs::write(
        bench.path("release.toml"),
        CATALOGUE
            .replace(
                "makes = [{ id = \"only\", source = \"invented\" }]",
                "makes = [{ id = \"only\", source = \"seen\" }]",
            )
            .replace("gtins = [\"2004173000117\"]", ""),
    )
    .unwrap();
    fs::write(bench.path("front.jpg"), b"my own reference").unwrap();
    fs::write(bench.path("one/specimen.toml"), SPECIMEN.replace("made so", "bought in a shop")).unwrap();
    let mut receiver = bench.filled("receiver");
    let before = receiver.packed(&pack(), now()).unwrap();
    let said = receiver.import_bundle(&file, &Limits::default(), now()).unwrap();
    assert_eq!(said.added, ["kelpwright/night-dredge/pack: code 2004173000117"]);
    assert_eq!(said.kept.len(), 3, "{said:?}");
    let after = receiver.packed(&pack(), now()).unwrap();
    assert_eq!(after.references, before.references);
    assert_eq!(after.specimens, before.specimens);
    assert_eq!(after.catalogue.products[0].makes, before.catalogue.products[0].makes);
    assert_eq!(after.catalogue.products[0].gtins, ["2004173000117"]);
    // A second time nothing changes but the trail.
    let said = receiver.import_bundle(&file, &Limits::default(), now()).unwrap();
    assert_eq!(said.added, Vec::<String>::new());
    assert_eq!(receiver.packed(&pack(), now()).unwrap(), after);
    assert_eq!(receiver.check().unwrap(), []);
}

#[test]
fn what_is_no_bundle_is_refused_in_words() {
    let bench = Bench::new();
    let (_, bytes) = bench.exported();
    let files = unpacked(&bytes);
    let usual = Limits::default();
    let with = |change: &dyn Fn(&mut Files)| {
        let mut files = files.clone();
        change(&mut files);
        packed(&files)
    };
    let photo = files.iter().position(|(name, _)| name.starts_with("photos/")).unwrap();
    let rows: Vec<(&str, Vec<u8>, &str)> = vec![
        ("nothing", Vec::new(), "no complete zip file"),
        ("text", b"schema = 1".to_vec(), "no complete zip file"),
        ("no manifest", with(&|f| drop(f.remove(0))), "is missing"),
        ("an empty zip", packed(&[]), "is missing"),
        ("a changed photo", with(&|f| f[photo].1[0] ^= 1), "has another content"),
        ("a longer photo", with(&|f| f[photo].1.push(0)), "has another length"),
        ("a photo too few", with(&|f| drop(f.remove(photo))), "lacks some that it lists"),
        ("a file too many", with(&|f| f.push(("specimens/two.json".into(), vec![1]))), "does not list"),
        ("a way out", with(&|f| f.push(("../../evil.jpg".into(), vec![1]))), "holds \"../../evil.jpg\""),
        ("an absolute way", with(&|f| f.push(("/etc/passwd".into(), vec![1]))), "holds \"/etc/passwd\""),
        (
            "a way out below",
            with(&|f| f.push(("photos/../../x.jpg".into(), vec![1]))),
            "holds \"photos/../../x.jpg\"",
        ),
        ("backslashes", with(&|f| f.push(("photos\\x.jpg".into(), vec![1]))), "holds \"photos"),
        (
            "a changed fact",
            with(&|f| {
                let at = f.iter().position(|(name, _)| name == "catalogue.toml").unwrap();
                f[at].1 = String::from_utf8(f[at].1.clone()).unwrap().replace("65.0", "66.0").into_bytes();
            }),
            "has another content",
        ),
        (
            "a newer manifest",
            with(&|f| {
                f[0].1 = String::from_utf8(f[0].1.clone())
                    .unwrap()
                    .replace("untorn.bundle/1", "untorn.bundle/9")
                    .into_bytes();
            }),
            "update the program",
        ),
    ];
    for (name, bytes, words) in rows {
        let message = refusal(&bytes, &usual);
        assert!(message.contains(words), "{name}: {message}");
    }
    for cut in 0..60 {
        let part = &bytes[..bytes.len() * cut / 60];
        assert!(Bundle::open(Cursor::new(part), Path::new("x.zip"), &usual).is_err(), "cut at {cut}/60");
    }
}

#[test]
fn two_files_of_one_name_are_refused() {
    let bench = Bench::new();
    let (_, bytes) = bench.exported();
    let mut files = unpacked(&bytes);
    // A neighbour of equal length, whose name is then turned into the first one's in the bytes.
    let twin = files.iter().find(|(name, _)| name.starts_with("specimens/")).unwrap().clone();
    files.push(("specimens/eno.json".into(), twin.1));
    let mut raw = packed(&files);
    let (from, to) = (b"specimens/eno.json", b"specimens/one.json");
    let places: Vec<usize> = (0..raw.len() - from.len()).filter(|&i| raw[i..].starts_with(from)).collect();
    assert_eq!(places.len(), 2, "once in its header and once in the directory");
    for at in places {
        raw[at..at + to.len()].copy_from_slice(to);
    }
    assert!(refusal(&raw, &Limits::default()).contains("two files of one name"));
}

#[test]
fn each_limit_is_kept_one_over() {
    let bench = Bench::new();
    let (_, bytes) = bench.exported();
    let files = unpacked(&bytes);
    let (count, total) = (files.len(), files.iter().map(|(_, b)| b.len() as u64).sum::<u64>());
    let most = |photos: bool| {
        files
            .iter()
            .filter(|(n, _)| n.starts_with("photos/") == photos)
            .map(|(_, b)| b.len() as u64)
            .max()
            .unwrap()
    };
    let just = Limits { files: count, file_bytes: most(true), bytes: total, document_bytes: most(false) };
    assert!(Bundle::open(Cursor::new(bytes.as_slice()), Path::new("x.zip"), &just).is_ok());
    for tight in [
        Limits { files: count - 1, ..just },
        Limits { file_bytes: most(true) - 1, ..just },
        Limits { bytes: total - 1, ..just },
        Limits { document_bytes: most(false) - 1, ..just },
    ] {
        assert!(refusal(&bytes, &tight).contains("over the limit"), "{tight:?}");
    }
}

#[test]
fn a_bomb_costs_no_more_than_the_limit() {
    // A manifest of 64 MiB of spaces packs into some 64 KiB, and its header may claim what it likes.
    let raw = packed(&[("manifest.json".into(), vec![b' '; 64 << 20])]);
    assert!(raw.len() < 1 << 20);
    assert!(refusal(&raw, &Limits::default()).contains("over the limit"));
    let mut lying = raw.clone();
    let claimed = (64u32 << 20).to_le_bytes();
    let places: Vec<usize> = (0..lying.len() - 4).filter(|&i| lying[i..i + 4] == claimed).collect();
    assert!(!places.is_empty(), "the length stands in the header");
    for at in places {
        lying[at..at + 4].copy_from_slice(&1024u32.to_le_bytes());
    }
    let message = refusal(&lying, &Limits::default());
    assert!(
        message.contains("over the limit") || message.contains("unpacked") || message.contains("no readable"),
        "{message}"
    );
}

#[test]
fn kept_inputs_hold_the_laws_whole_cut_and_bent() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/product_bundle");
    let mut files: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let mut read = 0;
    for file in files {
        let bytes = fs::read(&file).unwrap();
        read += usize::from(bundles::holds(&bytes).is_ok());
        let step = bytes.len() / 300 + 1;
        for at in (0..bytes.len()).step_by(step) {
            let _ = bundles::holds(&bytes[..at]);
            let mut bent = bytes.clone();
            bent[at] ^= 1 << (at.wrapping_mul(5) % 7);
            let _ = bundles::holds(&bent);
        }
    }
    assert!(read >= 1, "no kept input is a whole bundle");
}

/// Writes the kept input of the fuzz target anew: `UNTORN_REWRITE=1`.
#[test]
fn the_kept_bundle_is_what_an_export_gives() {
    let bench = Bench::new();
    let (_, bytes) = bench.exported();
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/product_bundle/whole.zip");
    if std::env::var_os("UNTORN_REWRITE").is_some() {
        fs::create_dir_all(kept.parent().unwrap()).unwrap();
        fs::write(&kept, &bytes).unwrap();
    }
    assert_eq!(unpacked(&fs::read(&kept).unwrap()), unpacked(&bytes));
}
