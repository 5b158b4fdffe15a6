//! The arguments, one struct a command; their comments are the help text.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};

/// Examines photos of factory-sealed card packs and boxes: is this one still as it left the factory, and
/// is it the genuine article? Says so with reasons, or says what the photos cannot tell.
///
/// Exit codes: 0 done; 1 a fault of this program; 2 wrong input or usage.
#[derive(Debug, Parser)]
#[command(name = "untorn", version, max_term_width = 100)]
pub(crate) struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Examine one offer: a folder with case.toml and photos, or just photos.
    Examine(Examine),
    /// Open the workbench in the browser: a queue of offers, their cases, the library, boards.
    Desk(Desk),
    /// Make a calibration from feature tables of known items.
    Calibrate(Calibrate),
    /// Lay an invented library and offers into a folder and examine them all.
    Demo(Demo),
    /// Write a table with one row a finding, for calibration.
    Features(Features),
    /// Examine cases whose truth is known and say how often the weights mislead.
    Evaluate(Evaluate),
    /// Learn a product from 4 to 8 hand-held photos of one genuine item.
    Learn(Learn),
    /// Add to, list or check the library of genuine and known items.
    Library(Library),
    /// Record what an item turned out to be, or list what was recorded.
    Outcome(Outcome),
    /// Write the JSON Schemas of all documents.
    Schemas(Schemas),
}

/// Where the library is.
#[derive(Debug, Clone, ClapArgs)]
pub(crate) struct LibraryFolder {
    /// The library's folder [default: `library` in the user's data folder].
    #[arg(long = "library", value_name = "DIR", global = true)]
    pub folder: Option<PathBuf>,
}

/// Whether and with what words are read.
#[derive(Debug, Clone, ClapArgs)]
pub(crate) struct ReadWords {
    /// Do not read words: faster by about half a second a face.
    #[arg(long)]
    pub no_words: bool,
    /// The text recogniser's model, as ./install-words puts it in place [default: `words` in the user's
    /// data folder].
    #[arg(long, value_name = "FILE", conflicts_with = "no_words")]
    pub words_model: Option<PathBuf>,
}

/// `examine`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Examine {
    /// A folder with case.toml and photos, a folder of photos, or photo files.
    #[arg(required = true, value_name = "CASE")]
    pub paths: Vec<PathBuf>,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
    /// Whether words are read.
    #[command(flatten)]
    pub words: ReadWords,
    /// Write a report that opens in any browser.
    #[arg(long, value_name = "FILE.html")]
    pub report: Option<PathBuf>,
    /// Write everything as JSON (schemas/untorn.examination-2.schema.json).
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    /// Start from this calibration (`untorn calibrate`) and take the library's specimens along.
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    /// Do not keep the examination in the library.
    #[arg(long)]
    pub forget: bool,
}

/// `desk`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Desk {
    /// Folder with the offers, the library and the desk's own files [default: the user's data folder].
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Work on the demo's folder, which is laid when it is not there yet.
    #[arg(long)]
    pub demo: bool,
    /// Port on this machine's own address, 127.0.0.1; 0 takes a free one.
    #[arg(long, value_name = "N", default_value_t = 8147)]
    pub port: u16,
    /// Open the page in the browser.
    #[arg(long)]
    pub open: bool,
}

/// `calibrate`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Calibrate {
    /// Feature tables, as `untorn features` writes them, whose items are fitted.
    #[arg(value_name = "TABLE", required_unless_present = "outcomes")]
    pub tables: Vec<PathBuf>,
    /// A table on which forms are chosen besides; it must share no item with the fitted ones. May be given
    /// several times.
    #[arg(long, value_name = "TABLE")]
    pub choose_on: Vec<PathBuf>,
    /// Take along the items of the library whose outcome was recorded.
    #[arg(long)]
    pub outcomes: bool,
    /// The calibration to write (schemas/untorn.calibration-3.schema.json).
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
}

/// `demo`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Demo {
    /// Folder to lay everything into [default: `demo` in the user's data folder].
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// Where the demo's data are [default: beside the program or in its source tree].
    #[arg(long, value_name = "DIR")]
    pub from: Option<PathBuf>,
}

/// `features`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Features {
    /// A folder of cases or specimens, one folder each, with truth.json beside them.
    pub set: PathBuf,
    /// The table to write (CSV).
    #[arg(long, value_name = "TABLE")]
    pub out: PathBuf,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
    /// Whether words are read.
    #[command(flatten)]
    pub words: ReadWords,
}

/// `evaluate`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Evaluate {
    /// A folder with truth.json beside the cases: a folder each, or CASE.json as `examine --json` writes it.
    pub set: PathBuf,
    /// Take the examinations that the library keeps instead of examining anew.
    #[arg(long)]
    pub kept: bool,
    /// Start from this calibration (`untorn calibrate`) and take the library's specimens along.
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    /// Folder for the page and the plots (SVG).
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// Write all figures and every item as JSON (schemas/untorn.evaluation-1.schema.json).
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
    /// Whether words are read.
    #[command(flatten)]
    pub words: ReadWords,
}

/// `learn`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Learn {
    /// A folder of photos of one genuine item; files named front…, back…, left…, right…, top…, bottom… say
    /// which face they show, and so may learn.toml.
    #[arg(value_name = "FOLDER")]
    pub photos: PathBuf,
    /// The product's name: line/release/form, such as kelpwright/first-soundings/pack.
    #[arg(long, value_name = "PRODUCT")]
    pub product: Option<casebook::names::ProductId>,
    /// Width and height of the front in mm, for a box the depth too: 65x112, 135x125x70 [default: from a
    /// card of 85.60 × 53.98 mm lying beside the item].
    #[arg(long, value_name = "SIZE")]
    pub size: Option<Lengths>,
    /// A card of 85.60 × 53.98 mm lies beside the item, flat and at the height of its edges.
    #[arg(long)]
    pub card: bool,
    /// The product's name as a shop would print it.
    #[arg(long)]
    pub name: Option<String>,
    /// How the item is known to be genuine and sealed.
    #[arg(long, value_name = "WORDS")]
    pub known_by: Option<String>,
    /// The make that it is of, or a new name for a make of its own.
    #[arg(long, value_name = "MAKE")]
    pub make: Option<casebook::names::Slug>,
    /// The photos are an offer's: use them as a weak reference, at your word, and keep no specimen.
    #[arg(long)]
    pub weak: bool,
    /// Folder to write; it must not be there yet [default: beside FOLDER, with -learned].
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// Take the result into the library at once.
    #[arg(long)]
    pub into_library: bool,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
}

/// Two or three lengths in mm, `65x112`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Lengths(pub Vec<f64>);

impl std::str::FromStr for Lengths {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong =
            || format!("\"{text}\" is no size; write 65x112 or 135x125x70, in mm, each between 1 and 2000");
        let lengths: Vec<f64> = text
            .split(['x', 'X', '×'])
            .map(|part| part.trim().parse())
            .collect::<Result<_, _>>()
            .map_err(|_| wrong())?;
        let proper = lengths.iter().all(|v: &f64| v.is_finite() && *v > 1.0 && *v < 2_000.0);
        if proper && (2..=3).contains(&lengths.len()) { Ok(Self(lengths)) } else { Err(wrong()) }
    }
}

/// `library`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Library {
    /// What to do with it.
    #[command(subcommand)]
    pub act: LibraryAct,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
}

/// What to do with the library.
#[derive(Debug, Subcommand)]
pub(crate) enum LibraryAct {
    /// Add or replace a release from its catalogue file.
    AddCatalogue {
        /// The catalogue file (TOML).
        file: PathBuf,
        /// Folder with its reference pictures [default: the file's own folder].
        #[arg(long, value_name = "DIR")]
        faces: Option<PathBuf>,
    },
    /// Add a specimen from its folder (specimen.toml and photos).
    AddSpecimen {
        /// The folder.
        folder: PathBuf,
    },
    /// Write a product with its specimens, photos, facts and sources into one file.
    Export {
        /// The product, as `library list` names it: line/release/form.
        product: casebook::names::ProductId,
        /// The file to write.
        #[arg(long, value_name = "FILE.zip")]
        out: PathBuf,
    },
    /// Take in a product that another library exported; what is here already stays as it is.
    Import {
        /// The file.
        file: PathBuf,
    },
    /// Write the page of a product: what this should look like.
    Page {
        /// The product, as `library list` names it: line/release/form.
        product: casebook::names::ProductId,
        /// The page to write; it opens in any browser and prints.
        #[arg(long, value_name = "FILE.html")]
        out: PathBuf,
    },
    /// List products and specimens.
    List,
    /// Check index, photos and audit trail.
    Check,
    /// Print the audit trail.
    Trail,
}

/// `outcome`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Outcome {
    /// What to do.
    #[command(subcommand)]
    pub act: OutcomeAct,
    /// Where the library is.
    #[command(flatten)]
    pub library: LibraryFolder,
}

/// What to do with outcomes.
#[derive(Debug, Subcommand)]
pub(crate) enum OutcomeAct {
    /// Record what an item turned out to be. The case must have been examined with this library.
    Record {
        /// The case's id.
        case: String,
        /// The item's id.
        #[arg(default_value = "a")]
        item: String,
        /// What it turned out to be.
        #[arg(long)]
        found: FoundWord,
        /// How that is known.
        #[arg(long, value_name = "HOW")]
        known_by: KnownByWord,
        /// The day: 2026-11-30.
        #[arg(long, value_name = "DAY")]
        on: Option<String>,
        /// Whether the money came back, if it was asked for.
        #[arg(long)]
        refund: Option<RefundWord>,
        /// The item is a rendering, as those of the demo are.
        #[arg(long)]
        rendered: bool,
        /// Free words, about the item.
        #[arg(long)]
        note: Option<String>,
    },
    /// List what was recorded.
    List,
}

/// What an item can turn out to be.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum FoundWord {
    /// Genuine and factory-closed.
    Sealed,
    /// Genuine, opened and closed again.
    Resealed,
    /// Not the genuine article.
    Counterfeit,
    /// No such product in this form.
    NeverMade,
    /// Still not known.
    Unknown,
}

/// How an outcome can be known.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum KnownByWord {
    /// It was opened.
    Opened,
    /// A specialist held it.
    Specialist,
    /// It was sent back.
    Returned,
    /// Another way; say which in the note.
    Other,
}

/// What can become of a claim.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum RefundWord {
    /// The money came back.
    Granted,
    /// It did not.
    Refused,
}

/// `schemas`.
#[derive(Debug, ClapArgs)]
pub(crate) struct Schemas {
    /// Folder to write them into.
    pub into: PathBuf,
}
