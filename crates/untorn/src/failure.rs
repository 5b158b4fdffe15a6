//! Errors as a person meets them: one line on standard error, and an exit code.

use casebook::atomic::WriteError;
use casebook::document::DocumentError;
use casebook::library::LibraryError;
use casebook::library::bundle::BundleError;
use examination::ExaminationError;

/// Why a command ended early. All of these are for the user to mend.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum Failure {
    /// The case or library could not be used.
    #[error(transparent)]
    Examination(#[from] ExaminationError),
    /// The library.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// A product bundle.
    #[error(transparent)]
    Bundle(#[from] BundleError),
    /// Nothing could be learned.
    #[error(transparent)]
    Learn(#[from] learn::LearnError),
    /// A document.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The desk cannot serve.
    #[error(transparent)]
    Desk(#[from] desk::DeskError),
    /// No folder for the user's data is known.
    #[error("no data folder is known on this system; name one with {option}")]
    NoDataFolder {
        /// The option to use.
        option: &'static str,
    },
    /// The demo's data are not there.
    #[error("the demo's data were not found (looked in {looked}); name their folder with --from DIR")]
    NoDemo {
        /// Where it was looked for.
        looked: String,
    },
    /// A name on the command line breaks its rule.
    #[error("{0}; write it as it stands in the case")]
    Name(String),
    /// A day cannot be read.
    #[error("{0}: is no day; write it as 2026-11-30")]
    Day(String),
    /// An outcome says too little.
    #[error("outcome: {0}")]
    Outcome(String),
    /// Nothing to calibrate on.
    #[error(
        "calibrate: the tables hold no features of items of known status; write them with `untorn features` of a set with truth.json"
    )]
    NothingToCalibrate,
    /// Two items of one name.
    #[error(
        "item \"{name}\" stands in {first} and in {second}; give one of them another name, or leave one table out"
    )]
    NameTwice {
        /// The name.
        name: String,
        /// A table.
        first: String,
        /// Another.
        second: String,
    },
    /// A labelled set holds no item with an opinion.
    #[error("{0}: no item of its truth.json was found among the cases; name the folder that holds both")]
    NothingToEvaluate(String),
    /// The folder to lay the demo into holds other things.
    #[error("{0}: holds files that are not the demo's; choose an empty folder with --into DIR")]
    Occupied(String),
    /// A folder or file could not be copied or made.
    #[error("{file}: cannot be made ({source}); choose a folder that you may write to")]
    Lay {
        /// The file.
        file: String,
        /// Why.
        source: std::io::Error,
    },
}

impl Failure {
    /// The exit code.
    pub(crate) const fn exit_code(&self) -> u8 {
        2
    }
}

/// Prints a failure on standard error.
pub(crate) fn print(failure: &Failure) {
    print_words(&failure.to_string());
}

/// Prints one line on standard error, control characters made visible.
#[expect(clippy::print_stderr, reason = "this is where errors leave the program")]
pub(crate) fn print_words(words: &str) {
    let clean: String = words.chars().map(|c| if c.is_control() { '�' } else { c }).collect();
    eprintln!("untorn: {clean}");
}
