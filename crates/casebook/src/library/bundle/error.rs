//! Why a bundle could not be read, written or taken in; every message names the file and the remedy.

use std::io;
use std::path::PathBuf;

use crate::document::DocumentError;
use crate::library::LibraryError;

/// Why a bundle was refused. Nothing of it was kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BundleError {
    /// The file cannot be opened or read.
    #[error("{}: cannot be read ({source}); check that it is there and readable", .file.display())]
    Read {
        /// The file.
        file: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// It is no zip file, or one that ends too early.
    #[error("{}: is no complete zip file ({why}); fetch the bundle again", .file.display())]
    NoZip {
        /// The file.
        file: PathBuf,
        /// The reader's words.
        why: String,
    },
    /// It is a zip file that no export writes.
    #[error("{}: {what}, which no bundle does; ask its sender for an export made by this program", .file.display())]
    Odd {
        /// The file.
        file: PathBuf,
        /// What is odd about it.
        what: String,
    },
    /// Something in it is larger than it may be.
    #[error("{}: {what} is over the limit of {limit}; ask its sender for a smaller one", .file.display())]
    OverLimit {
        /// The file.
        file: PathBuf,
        /// What is too large.
        what: String,
        /// The limit with its unit.
        limit: String,
    },
    /// What it holds is not what its manifest says.
    #[error("{}: \"{path}\" {what}: the bundle is damaged; fetch it again", .file.display())]
    Damaged {
        /// The file.
        file: PathBuf,
        /// The place in it.
        path: String,
        /// What is wrong there.
        what: &'static str,
    },
    /// A document in it.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// The library.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The product to export is not in the library.
    #[error("\"{product}\" is no product of this library; `untorn library list` shows what there is")]
    NoSuchProduct {
        /// The product asked for.
        product: String,
    },
    /// The bundle would be too large to write.
    #[error("\"{product}\": its photos are over the limit of {limit}; export fewer specimens")]
    TooMuch {
        /// The product.
        product: String,
        /// The limit with its unit.
        limit: String,
    },
}
