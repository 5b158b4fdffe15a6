//! Why the desk cannot start or go on, and what a request is answered when something is wrong.
//!
//! Messages name the file or field and the remedy. A [`Trouble`] is for the person at the screen; a
//! [`DeskError`] at the start goes to the terminal.

use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;

use axum::http::StatusCode;
use casebook::atomic::WriteError;
use casebook::document::DocumentError;
use casebook::library::LibraryError;
use examination::ExaminationError;

/// Why the desk could not do something.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DeskError {
    /// The port is taken or not allowed.
    #[error(
        "{address}: cannot be listened on ({source}); choose another port with --port N (0 takes a free one)"
    )]
    Listen {
        /// The address.
        address: SocketAddr,
        /// Why.
        source: io::Error,
    },
    /// The desk serves on this machine only.
    #[error("{address}: is no address of this machine alone; the desk serves on loopback only")]
    NotLoopback {
        /// The address.
        address: SocketAddr,
    },
    /// A folder cannot be used.
    #[error("{}: cannot be used ({source}); choose a folder that you may write to with --data DIR", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The desk's own index.
    #[error("{}: the desk's index answered: {source}; end other desks on this folder, or move the file away to start it anew (cases stay)", .file.display())]
    Store {
        /// The file.
        file: PathBuf,
        /// SQLite's words.
        source: rusqlite::Error,
    },
    /// The index was written by a newer program.
    #[error("{}: is of version {found}, this program knows up to {newest}; update the program", .file.display())]
    Newer {
        /// The file.
        file: PathBuf,
        /// Its version.
        found: i64,
        /// The newest known.
        newest: i64,
    },
    /// Another desk works on the same folder.
    #[error("{}: another desk is working on this folder; use that one or end it first", .folder.display())]
    Taken {
        /// The folder.
        folder: PathBuf,
    },
    /// No random numbers for the token.
    #[error("the system gives no random numbers ({0}); the desk does not start without them")]
    Random(String),
    /// The threads could not be started.
    #[error("the server could not be started ({0}); free memory or threads and try again")]
    Threads(io::Error),
    /// The library.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// A case.
    #[error(transparent)]
    Examination(#[from] ExaminationError),
    /// A document.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// What a request is answered when it cannot be done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Trouble {
    pub(crate) status: StatusCode,
    pub(crate) words: String,
}

impl Trouble {
    pub(crate) fn new(status: StatusCode, words: impl Into<String>) -> Self {
        Self { status, words: words.into() }
    }

    /// There is no such thing.
    pub(crate) fn missing(what: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, format!("there is no {what}; go back to the queue and choose again"))
    }

    /// What was sent cannot be taken.
    pub(crate) fn wrong(words: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, words)
    }
}

impl<E: Into<DeskError>> From<E> for Trouble {
    fn from(error: E) -> Self {
        let error: DeskError = error.into();
        let status = match &error {
            DeskError::Document(_) | DeskError::Examination(_) => StatusCode::UNPROCESSABLE_ENTITY,
            DeskError::Library(
                LibraryError::SpecimenTaken { .. }
                | LibraryError::NoSuchProduct { .. }
                | LibraryError::NoReference { .. }
                | LibraryError::Document(_),
            ) => StatusCode::UNPROCESSABLE_ENTITY,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Self { status, words: error.to_string() }
    }
}
