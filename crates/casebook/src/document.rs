//! Reading and writing the project's documents: TOML that people write, JSON that programs exchange.
//!
//! In: a file or text. Out: a checked value, or one error that names the file, what was found and the
//! remedy. Every document starts with a version mark, `untorn.case/1`.
//!
//! Migration rule: the number after the slash grows when an old reader would misread a new file. A
//! program reads its own version and every older one, by the steps in [`Document::MIGRATIONS`]; a
//! newer one is refused, because guessing at unknown fields could hide evidence. New optional fields
//! need a new number too, since every type refuses unknown fields.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::bundle::{BUNDLE_SCHEMA, BundleManifest};
use crate::calibration::{CALIBRATION_SCHEMA, CalibrationFile};
use crate::case::{CASE_SCHEMA, CaseFile};
use crate::catalogue::{CATALOGUE_SCHEMA, Catalogue};
use crate::evaluation::{EVALUATION_SCHEMA, EvaluationFile};
use crate::learn::{LEARN_SCHEMA, LearnFile};
use crate::opinion::{EXAMINATION_SCHEMA, Examination};
use crate::outcome::{OUTCOME_SCHEMA, OutcomeFile};
use crate::specimen::{SPECIMEN_SCHEMA, SpecimenFile};
use crate::truth::{TRUTH_SCHEMA, TruthFile};

/// Largest document that is read, bytes. A catalogue of one release takes some tens of kilobytes; a
/// truth file of a thousand photos some megabytes.
pub const MAX_DOCUMENT_BYTES: u64 = 64 * 1024 * 1024;

/// Changes a document of one version into the next, in its generic form.
pub type Migration = fn(&mut serde_json::Value);

/// A document with a version mark.
pub trait Document: Serialize + DeserializeOwned {
    /// Its mark: family and version, `untorn.case/1`.
    const SCHEMA: &'static str;
    /// What people call it.
    const WHAT: &'static str;
    /// Step `i` changes version `i + 1` into version `i + 2`.
    const MIGRATIONS: &'static [Migration];
    /// Since this version only optional fields were added, so that a text of it that is wrong is wrong
    /// in the newest as well, and the parser can name the place.
    const ADDED_ONLY_SINCE: u32 = u32::MAX;

    /// What is wrong beyond the shape: one sentence each.
    fn faults(&self) -> Vec<String> {
        Vec::new()
    }
}

impl Document for Catalogue {
    const SCHEMA: &'static str = CATALOGUE_SCHEMA;
    const WHAT: &'static str = "catalogue";
    const MIGRATIONS: &'static [Migration] = &[];

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

impl Document for CalibrationFile {
    const SCHEMA: &'static str = CALIBRATION_SCHEMA;
    const WHAT: &'static str = "calibration";
    // Files of the first version were kept by the program itself, never written for people; one is refused
    // by its missing fields.
    // 2 → 3: which ends were opened, and forms that mix over them; older files know of neither.
    const MIGRATIONS: &'static [Migration] = &[|_| {}, |_| {}];
    const ADDED_ONLY_SINCE: u32 = 2;

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

impl Document for CaseFile {
    const SCHEMA: &'static str = CASE_SCHEMA;
    const WHAT: &'static str = "case";
    // 1 → 2: the outcome and the listing's end were added. 2 → 3: values may name single items; those of
    // older files are of the whole offer.
    const MIGRATIONS: &'static [Migration] = &[|_| {}, |_| {}];
    const ADDED_ONLY_SINCE: u32 = 1;

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

impl Document for SpecimenFile {
    const SCHEMA: &'static str = SPECIMEN_SCHEMA;
    const WHAT: &'static str = "specimen";
    const MIGRATIONS: &'static [Migration] = &[];

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

impl Document for TruthFile {
    const SCHEMA: &'static str = TRUTH_SCHEMA;
    const WHAT: &'static str = "truth";
    // 1 → 2: an item may say what it was photographed in.
    const MIGRATIONS: &'static [Migration] = &[|_| ()];
}

impl Document for EvaluationFile {
    const SCHEMA: &'static str = EVALUATION_SCHEMA;
    const WHAT: &'static str = "evaluation";
    const MIGRATIONS: &'static [Migration] = &[];
}

impl Document for Examination {
    const SCHEMA: &'static str = EXAMINATION_SCHEMA;
    const WHAT: &'static str = "examination";
    const MIGRATIONS: &'static [Migration] = &[offer_decides];
}

impl Document for OutcomeFile {
    const SCHEMA: &'static str = OUTCOME_SCHEMA;
    const WHAT: &'static str = "outcome";
    const MIGRATIONS: &'static [Migration] = &[];

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

/// Examination 1 → 2: the offer is decided as a whole. With one item its decision is the offer's; with
/// several the prices were meant for single items, so none is carried over.
fn offer_decides(value: &mut serde_json::Value) {
    let Some(items) = value.get_mut("items").and_then(|items| items.as_array_mut()) else { return };
    if let [only] = items.as_slice() {
        let decision = only.get("decision").cloned();
        if let (Some(decision), Some(map)) = (decision, value.as_object_mut()) {
            map.insert("offer".to_owned(), serde_json::json!({ "decision": decision }));
        }
        return;
    }
    for item in items {
        let decision = item.get_mut("decision").and_then(|decision| decision.as_object_mut());
        let Some(decision) = decision else { continue };
        decision.remove("flips_at");
        if decision.get("action").and_then(|action| action.get("do")).is_some_and(|act| act == "buy") {
            decision.insert("action".to_owned(), serde_json::json!({ "do": "with-the-lot" }));
        }
    }
}

impl Document for BundleManifest {
    const SCHEMA: &'static str = BUNDLE_SCHEMA;
    const WHAT: &'static str = "bundle manifest";
    const MIGRATIONS: &'static [Migration] = &[];

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

impl Document for LearnFile {
    const SCHEMA: &'static str = LEARN_SCHEMA;
    const WHAT: &'static str = "learn file";
    const MIGRATIONS: &'static [Migration] = &[];

    fn faults(&self) -> Vec<String> {
        Self::faults(self)
    }
}

/// How a document is written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Notation {
    /// For people.
    Toml,
    /// For programs.
    Json,
}

impl Notation {
    fn of(file: &Path) -> Self {
        let json = file.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
        if json { Self::Json } else { Self::Toml }
    }

    const fn word(self) -> &'static str {
        match self {
            Self::Toml => "TOML",
            Self::Json => "JSON",
        }
    }
}

/// Why a document could not be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DocumentError {
    /// The file cannot be opened or read.
    #[error("{}: cannot be read ({source}); check that it is there and readable", .file.display())]
    Read {
        /// The file.
        file: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The file is too large for a document.
    #[error("{}: larger than {} MiB, which no {what} is; choose the right file", .file.display(), .limit / (1024 * 1024))]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// What it should have been.
        what: &'static str,
        /// The limit in bytes.
        limit: u64,
    },
    /// It is a folder, a pipe or a device.
    #[error("{}: is not a regular file; remove it or put the file itself there", .file.display())]
    NotAFile {
        /// What was to be read.
        file: PathBuf,
    },
    /// The file is not text.
    #[error("{}: is not UTF-8 text (byte {at}); save it as UTF-8", .file.display())]
    NotText {
        /// The file.
        file: PathBuf,
        /// First byte that is not.
        at: usize,
    },
    /// The text does not parse or has an unknown, missing or wrong field.
    #[error("{}: is no readable {what} in {notation}: {message}; correct that place", .file.display())]
    Syntax {
        /// The file.
        file: PathBuf,
        /// What it should have been.
        what: &'static str,
        /// TOML or JSON.
        notation: &'static str,
        /// The parser's words with line and column.
        message: String,
    },
    /// The version mark is missing or of another family.
    #[error("{}: the mark `schema` is {found}; a {what} needs `schema = \"{expected}\"`", .file.display())]
    Mark {
        /// The file.
        file: PathBuf,
        /// What it should have been.
        what: &'static str,
        /// What stood there.
        found: String,
        /// What is needed.
        expected: &'static str,
    },
    /// The file was written by a newer program.
    #[error("{}: is of version {found}, this program reads up to {newest}; update the program", .file.display())]
    Newer {
        /// The file.
        file: PathBuf,
        /// Its version.
        found: u32,
        /// The newest version that is read.
        newest: u32,
    },
    /// The shape is right and the content is not.
    #[error("{}: {}; correct that and run it again", .file.display(), .faults.join("; "))]
    Faults {
        /// The file.
        file: PathBuf,
        /// One sentence a fault.
        faults: Vec<String>,
    },
}

/// Reads a document from a file; a name ending in `.json` is JSON, everything else TOML.
///
/// # Errors
/// [`DocumentError`], always with the file's name and the remedy.
pub fn read<D: Document>(file: &Path) -> Result<D, DocumentError> {
    let fail = |source| DocumentError::Read { file: file.to_owned(), source };
    // Asked before opening: opening a pipe would wait for a writer.
    if !std::fs::metadata(file).map_err(fail)?.is_file() {
        return Err(DocumentError::NotAFile { file: file.to_owned() });
    }
    let handle = File::open(file).map_err(fail)?;
    let mut bytes = Vec::new();
    handle.take(MAX_DOCUMENT_BYTES + 1).read_to_end(&mut bytes).map_err(fail)?;
    if bytes.len() as u64 > MAX_DOCUMENT_BYTES {
        return Err(DocumentError::TooLarge {
            file: file.to_owned(),
            what: D::WHAT,
            limit: MAX_DOCUMENT_BYTES,
        });
    }
    let text = std::str::from_utf8(&bytes)
        .map_err(|e| DocumentError::NotText { file: file.to_owned(), at: e.valid_up_to() })?;
    parse(text, file, Notation::of(file))
}

/// Reads a document from text; `file` is for messages.
///
/// # Errors
/// [`DocumentError`], always with the file's name and the remedy.
pub fn parse<D: Document>(text: &str, file: &Path, notation: Notation) -> Result<D, DocumentError> {
    let syntax = |message: String| DocumentError::Syntax {
        file: file.to_owned(),
        what: D::WHAT,
        notation: notation.word(),
        message: message.trim_end().replace('\n', " "),
    };
    // First the mark alone, so that a wrong version is named as such and not as a wrong field.
    let mark = match notation {
        Notation::Toml => {
            let table: toml::Table = text.parse().map_err(|e: toml::de::Error| syntax(e.to_string()))?;
            table.get("schema").map(|v| v.as_str().map_or_else(|| v.to_string(), str::to_owned))
        }
        Notation::Json => {
            let value: serde_json::Value = serde_json::from_str(text).map_err(|e| syntax(e.to_string()))?;
            value.get("schema").map(|v| v.as_str().map_or_else(|| v.to_string(), str::to_owned))
        }
    };
    let version = check_mark::<D>(mark.as_deref(), file)?;
    let document: D = if version == newest::<D>() {
        match notation {
            Notation::Toml => toml::from_str(text).map_err(|e| syntax(e.to_string()))?,
            Notation::Json => serde_json::from_str(text).map_err(|e| syntax(e.to_string()))?,
        }
    } else {
        if version >= D::ADDED_ONLY_SINCE {
            match notation {
                Notation::Toml => toml::from_str::<D>(text).map_err(|e| syntax(e.to_string()))?,
                Notation::Json => serde_json::from_str::<D>(text).map_err(|e| syntax(e.to_string()))?,
            };
        }
        let mut value: serde_json::Value = match notation {
            Notation::Toml => toml::from_str(text).map_err(|e| syntax(e.to_string()))?,
            Notation::Json => serde_json::from_str(text).map_err(|e| syntax(e.to_string()))?,
        };
        for step in D::MIGRATIONS.iter().skip(version as usize - 1) {
            step(&mut value);
        }
        if let Some(map) = value.as_object_mut() {
            map.insert("schema".to_owned(), D::SCHEMA.into());
        }
        serde_json::from_value(value).map_err(|e| syntax(e.to_string()))?
    };
    let faults = document.faults();
    if faults.is_empty() {
        Ok(document)
    } else {
        Err(DocumentError::Faults { file: file.to_owned(), faults })
    }
}

/// Writes a document as text.
///
/// # Errors
/// [`DocumentError::Syntax`] when a value cannot be written in that notation (TOML has no null
/// inside arrays); cannot happen for the types of this crate.
pub fn print<D: Document>(document: &D, notation: Notation) -> Result<String, DocumentError> {
    let fail = |message: String| DocumentError::Syntax {
        file: PathBuf::from("(being written)"),
        what: D::WHAT,
        notation: notation.word(),
        message,
    };
    match notation {
        Notation::Toml => toml::to_string(document).map_err(|e| fail(e.to_string())),
        Notation::Json => {
            let mut text = serde_json::to_string_pretty(document).map_err(|e| fail(e.to_string()))?;
            text.push('\n');
            Ok(text)
        }
    }
}

fn split_mark(mark: &str) -> Option<(&str, u32)> {
    let (family, version) = mark.rsplit_once('/')?;
    Some((family, version.parse().ok().filter(|v| *v >= 1)?))
}

fn newest<D: Document>() -> u32 {
    split_mark(D::SCHEMA).map_or(1, |(_, version)| version)
}

fn check_mark<D: Document>(mark: Option<&str>, file: &Path) -> Result<u32, DocumentError> {
    let wrong = |found: String| DocumentError::Mark {
        file: file.to_owned(),
        what: D::WHAT,
        found,
        expected: D::SCHEMA,
    };
    let Some(mark) = mark else { return Err(wrong("missing".to_owned())) };
    let shown = || format!("\"{}\"", mark.chars().take(80).collect::<String>());
    let (family, version) = split_mark(mark).ok_or_else(|| wrong(shown()))?;
    let (own_family, own_version) = split_mark(D::SCHEMA).unwrap_or((D::SCHEMA, 1));
    if family != own_family {
        return Err(wrong(shown()));
    }
    if version > own_version {
        return Err(DocumentError::Newer { file: file.to_owned(), found: version, newest: own_version });
    }
    Ok(version)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASE: &str = "schema = \"untorn.case/1\"\nid = \"one\"\n[[items]]\nid = \"a\"\n";

    fn message<D: Document + std::fmt::Debug>(text: &str) -> String {
        parse::<D>(text, Path::new("x.toml"), Notation::Toml).unwrap_err().to_string()
    }

    #[test]
    fn every_mistake_names_the_file_and_the_remedy() {
        let rows = [
            ("id = \"one\"", "needs `schema = \"untorn.case/3\"`"),
            ("schema = 3", "the mark `schema` is \"3\""),
            ("schema = \"untorn.catalogue/1\"", "a case needs"),
            ("schema = \"untorn.case/4\"\nfuture = 1", "update the program"),
            ("schema = \"untorn.case/0\"", "needs `schema"),
            ("schema = \"untorn.case/1\"\nid = \"one\"\nphoto = 1", "unknown field `photo`"),
            ("schema = \"untorn.case/1\"\nid = \"ONE\"", "a-z, 0-9"),
            ("schema = \"untorn.case/1\"\nid = ", "correct that place"),
            (
                "schema = \"untorn.case/1\"\nid = \"one\"\n[[items]]\nid=\"a\"\n[[items]]\nid=\"a\"",
                "stands twice",
            ),
            ("schema = \"untorn.case/1\"\nid = \"one\"\nphotos = [{file = \"../a.jpg\"}]", "plain file name"),
        ];
        for (text, part) in rows {
            let got = message::<CaseFile>(text);
            assert!(got.starts_with("x.toml: ") && got.contains(part), "{text:?} gave {got:?}");
        }
    }

    #[test]
    fn print_then_parse_is_the_same() {
        let case: CaseFile = parse(CASE, Path::new("x.toml"), Notation::Toml).unwrap();
        for notation in [Notation::Toml, Notation::Json] {
            let text = print(&case, notation).unwrap();
            let again: CaseFile = parse(&text, Path::new("x"), notation).unwrap();
            assert_eq!(case, again);
        }
    }

    #[derive(Debug, PartialEq, serde::Serialize, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Third {
        schema: String,
        length_mm: f64,
    }

    impl Document for Third {
        const SCHEMA: &'static str = "untorn.example/3";
        const WHAT: &'static str = "example";
        const MIGRATIONS: &'static [Migration] = &[
            |value| {
                // 1 → 2: centimetres became millimetres.
                let cm = value["length_cm"].as_f64().unwrap_or_default();
                value["length"] = (cm * 10.0).into();
                value.as_object_mut().map(|map| map.remove("length_cm"));
            },
            |value| {
                // 2 → 3: the field's name says its unit.
                value["length_mm"] = value["length"].take();
                value.as_object_mut().map(|map| map.remove("length"));
            },
        ];
    }

    #[test]
    fn older_versions_are_brought_up_step_by_step() {
        for old in [
            "schema = \"untorn.example/1\"\nlength_cm = 1.5",
            "schema = \"untorn.example/2\"\nlength = 15.0",
            "schema = \"untorn.example/3\"\nlength_mm = 15.0",
        ] {
            let got: Third = parse(old, Path::new("x.toml"), Notation::Toml).unwrap();
            assert_eq!(got, Third { schema: "untorn.example/3".into(), length_mm: 15.0 }, "{old}");
        }
    }
}
