//! Why a case could not be examined at all. A single photo that cannot be read is no such error: it
//! stands in its [`casebook::opinion::PhotoReport`] and the others are still examined.

use std::io;
use std::path::PathBuf;

use casebook::document::DocumentError;
use casebook::library::LibraryError;
use casebook::names::NameError;

/// Why a case or library could not be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExaminationError {
    /// No path was given.
    #[error("nothing to examine: name a folder with photos, or photo files")]
    NothingNamed,
    /// The folder holds no photo.
    #[error("{}: holds no photo; put the offer's photos (JPEG, PNG, WebP, HEIC) into it", .folder.display())]
    NoPhotos {
        /// The folder.
        folder: PathBuf,
    },
    /// A set holds no case and no specimen.
    #[error("{}: holds no folder with case.toml or specimen.toml; name the set's own folder", .folder.display())]
    EmptySet {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder cannot be listed.
    #[error("{}: cannot be listed ({source}); check that it is there and readable", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A folder was named among files.
    #[error("{}: is a folder among photo files; name one folder, or files only", .folder.display())]
    FolderAmongFiles {
        /// The folder.
        folder: PathBuf,
    },
    /// Far too many photos for one case.
    #[error("{found} photos are more than one case may have ({limit}); split the folder by offer")]
    TooManyPhotos {
        /// How many there are.
        found: usize,
        /// The limit.
        limit: usize,
    },
    /// A file name or id breaks its rule.
    #[error("{0}; rename it")]
    Name(#[from] NameError),
    /// `case.toml`, a catalogue or another document is wrong.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// The library.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// A reference picture of the library cannot be decoded.
    #[error("the library's reference picture of {face} cannot be used: {problem}; add its catalogue again")]
    Reference {
        /// Which face.
        face: String,
        /// Why.
        problem: String,
    },
    /// The library has no such product.
    #[error("\"{product}\" is no product of this library; `untorn library list` shows what there is")]
    NoSuchProduct {
        /// The product asked for.
        product: String,
    },
    /// A feature table cannot be read.
    #[error("{}: {problem}; write it anew with `untorn features`", .file.display())]
    FeatureTable {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        problem: String,
    },
    /// A shipped calibration and the library do not go together.
    #[error(transparent)]
    Calibration(#[from] opinion::OpinionError),
    /// A table could not be made.
    #[error("the table cannot be written: {0}")]
    Table(String),
    /// A table or other file could not be written.
    #[error(transparent)]
    Write(#[from] casebook::atomic::WriteError),
}
