//! Why the library could not do something; every message names the folder and the remedy.

use std::io;
use std::path::{Path, PathBuf};

use crate::atomic::WriteError;
use crate::document::DocumentError;

/// Why the library could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LibraryError {
    /// The folder holds other things.
    #[error("{}: holds files but no library (no index.sqlite); choose a library or an empty folder", .folder.display())]
    NotALibrary {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder cannot be made or read.
    #[error("{}: cannot be used as a library ({source}); choose a folder that you may write to", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Nothing can be recorded.
    #[error("{}: the library cannot be written; allow writing there or copy it to another folder", .folder.display())]
    ReadOnly {
        /// The folder.
        folder: PathBuf,
    },
    /// Made by a newer program.
    #[error("{}: the library is of version {found}, this program knows up to {newest}; update the program", .folder.display())]
    Newer {
        /// The folder.
        folder: PathBuf,
        /// Its version.
        found: i64,
        /// The newest known.
        newest: i64,
    },
    /// The disk is full.
    #[error("{}: the disk is full, nothing was recorded; make room and run it again", .folder.display())]
    Full {
        /// The folder.
        folder: PathBuf,
    },
    /// Another process holds it.
    #[error("{}: another process is writing to the library; wait for it and run this again", .folder.display())]
    Busy {
        /// The folder.
        folder: PathBuf,
    },
    /// The index is damaged or is no SQLite file.
    #[error("{}: the index is damaged ({source}); restore index.sqlite from a copy, the photos beside it are untouched", .folder.display())]
    Damaged {
        /// The folder.
        folder: PathBuf,
        /// SQLite's words.
        source: rusqlite::Error,
    },
    /// Any other answer of the index.
    #[error("{}: the index answered: {source}; run `untorn library check`", .folder.display())]
    Index {
        /// The folder.
        folder: PathBuf,
        /// SQLite's words.
        source: rusqlite::Error,
    },
    /// A document could not be read.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A photo file cannot be read.
    #[error("{}: cannot be read ({source}); check that it is there and readable", .file.display())]
    Photo {
        /// The file.
        file: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A stored photo no longer has the content of its name.
    #[error("{}: the stored photo has changed since it was added; restore it from a copy", .file.display())]
    PhotoChanged {
        /// The file.
        file: PathBuf,
    },
    /// A face has no reference picture.
    #[error("face \"{face}\" has no reference picture in the library; add its catalogue with its pictures")]
    NoReference {
        /// The face.
        face: String,
    },
    /// A specimen of that name with other content is there already.
    #[error("specimen \"{id}\" is in the library with other content; give the new one another id")]
    SpecimenTaken {
        /// Its id.
        id: String,
    },
    /// An outcome is about an item that was never examined here.
    #[error(
        "case \"{case}\", item \"{item}\": no examination of it is kept in this library; run `untorn examine` on the case first"
    )]
    NotExamined {
        /// The case.
        case: String,
        /// The item.
        item: String,
    },
    /// A name cannot be made.
    #[error("{0}; rename it")]
    Name(#[from] crate::names::NameError),
    /// A specimen names a product that no catalogue lists.
    #[error(
        "specimen \"{id}\" is of product \"{product}\", which no catalogue lists; add the catalogue first"
    )]
    NoSuchProduct {
        /// Its id.
        id: String,
        /// The product.
        product: String,
    },
}

/// SQLite's result code `SQLITE_IOERR_SHMSIZE`.
const IOERR_SHMSIZE: i32 = 10 | (19 << 8);

impl LibraryError {
    pub(super) fn index(folder: &Path, source: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let folder = folder.to_owned();
        // No room for the shared-memory file, which SQLite calls an I/O error.
        if source.sqlite_error().is_some_and(|error| error.extended_code == IOERR_SHMSIZE) {
            return Self::Full { folder };
        }
        match source.sqlite_error_code() {
            Some(Code::DiskFull) => Self::Full { folder },
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => Self::Busy { folder },
            Some(Code::ReadOnly | Code::CannotOpen | Code::PermissionDenied) => Self::ReadOnly { folder },
            Some(Code::DatabaseCorrupt | Code::NotADatabase) => Self::Damaged { folder, source },
            _ => Self::Index { folder, source },
        }
    }

    pub(super) const fn is_read_only(&self) -> bool {
        matches!(self, Self::ReadOnly { .. })
    }
}
