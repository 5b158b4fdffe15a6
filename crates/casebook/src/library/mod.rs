//! The library on disk: what the user knows of genuine and other items.
//!
//! In: a folder. Out: [`Library`], which keeps catalogues, specimens with what was measured of them,
//! photos, examinations and the audit trail.
//!
//! ```text
//! library/
//!   index.sqlite          tables of `schema.sql` and its later steps; WAL, foreign keys
//!   catalogue/<line>/<release>.toml
//!   photos/ab/abcd….jpg   named by the BLAKE3 of their bytes, never changed
//!   cache/                what can be computed again
//! ```
//!
//! Read [`Library::open`], then `catalogues`, `specimens`, `photos`, `outcomes`, `audit`, `integrity`,
//! `bundle`.
//! Never here: what is in a photo. Time is an argument: the library has no clock.

mod audit;
pub mod bundle;
mod cache;
mod catalogues;
mod error;
mod examinations;
mod integrity;
mod outcomes;
mod photos;
mod specimens;

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

pub use audit::AuditEntry;
pub use cache::{Cache, CacheKey};
pub use error::LibraryError;
pub use integrity::Fault;
pub use specimens::StoredSpecimen;

/// Version of the tables, kept in SQLite's `user_version`.
const TABLES_VERSION: i64 = 2;
/// Step `i` brings the tables from version `i` to `i + 1`.
const TABLES: [&str; 2] = [include_str!("schema.sql"), include_str!("schema_2.sql")];
/// How long a second process waits for the first one's transaction.
const BUSY: Duration = Duration::from_secs(10);

/// How long it waits before it tries again to switch a new index to its write-ahead log.
const PATIENCE: Duration = Duration::from_millis(20);

/// An open library.
#[derive(Debug)]
pub struct Library {
    folder: PathBuf,
    index: Connection,
    read_only: bool,
}

impl Library {
    /// Opens the library in `folder`, making it when the folder is new or empty. A library that
    /// cannot be written is opened for reading.
    ///
    /// # Errors
    /// [`LibraryError`] when the folder holds something else, a newer version, or a damaged index.
    pub fn open(folder: &Path) -> Result<Self, LibraryError> {
        let index_file = folder.join("index.sqlite");
        if !index_file.exists() {
            if !is_fresh(folder) {
                return Err(LibraryError::NotALibrary { folder: folder.to_owned() });
            }
            fs::create_dir_all(folder.join("photos"))
                .and_then(|()| fs::create_dir_all(folder.join("catalogue")))
                .map_err(|source| LibraryError::Folder { folder: folder.to_owned(), source })?;
        }
        // SQLite takes an empty file for a new index; beside stored photos it is a lost one.
        // Looked at twice: another process that begins the library may have filled it in between.
        let empty = || fs::metadata(&index_file).is_ok_and(|index| index.len() == 0);
        if empty() && !is_fresh(folder) && empty() {
            let source = rusqlite::Error::InvalidPath(index_file);
            return Err(LibraryError::Damaged { folder: folder.to_owned(), source });
        }
        match Self::connect(folder, &index_file, false) {
            Err(error) if index_file.exists() && error.is_read_only() => {
                Self::connect(folder, &index_file, true)
            }
            other => other,
        }
    }

    fn connect(folder: &Path, index_file: &Path, read_only: bool) -> Result<Self, LibraryError> {
        let fail = |source| LibraryError::index(folder, source);
        let index = if read_only {
            // `immutable` lets SQLite read a WAL database in a folder where it may make no files.
            let name = format!("file:{}?immutable=1", percent_encoded(index_file));
            Connection::open_with_flags(name, OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI)
        } else {
            Connection::open(index_file)
        }
        .map_err(fail)?;
        index.busy_timeout(BUSY).map_err(fail)?;
        index.pragma_update(None, "foreign_keys", true).map_err(fail)?;
        let mut library = Self { folder: folder.to_owned(), index, read_only };
        if !read_only {
            use_write_ahead_log(&library.index).map_err(fail)?;
            library.index.pragma_update(None, "synchronous", "FULL").map_err(fail)?;
        }
        library.bring_tables_up()?;
        Ok(library)
    }

    fn bring_tables_up(&mut self) -> Result<(), LibraryError> {
        let folder = self.folder.clone();
        let fail = |source| LibraryError::index(&folder, source);
        let version: i64 =
            self.index.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(fail)?;
        if version > TABLES_VERSION {
            return Err(LibraryError::Newer { folder, found: version, newest: TABLES_VERSION });
        }
        if version == TABLES_VERSION {
            return Ok(());
        }
        if self.read_only {
            // Earlier tables can be read as they are; without any there is nothing to read.
            return if version > 0 { Ok(()) } else { Err(LibraryError::ReadOnly { folder }) };
        }
        let step =
            self.index.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).map_err(fail)?;
        // Another process may have made the tables while this one waited for the lock.
        let version: i64 = step.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(fail)?;
        for sql in TABLES.iter().skip(usize::try_from(version).unwrap_or_default()) {
            step.execute_batch(sql).map_err(fail)?;
        }
        step.pragma_update(None, "user_version", TABLES_VERSION).map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// The library's folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Whether nothing can be recorded.
    #[must_use]
    pub const fn is_read_only(&self) -> bool {
        self.read_only
    }

    fn fail(&self) -> impl Fn(rusqlite::Error) -> LibraryError + '_ {
        |source| LibraryError::index(&self.folder, source)
    }

    fn must_be_writable(&self) -> Result<(), LibraryError> {
        if self.read_only { Err(LibraryError::ReadOnly { folder: self.folder.clone() }) } else { Ok(()) }
    }

    /// Starts a transaction that takes the write lock at once, so that two writers queue instead of
    /// failing half-way.
    fn write(&mut self) -> Result<rusqlite::Transaction<'_>, LibraryError> {
        self.must_be_writable()?;
        let folder = self.folder.clone();
        self.index
            .transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)
            .map_err(|source| LibraryError::index(&folder, source))
    }
}

/// Switches the index to its write-ahead log. For this one step SQLite does not wait for another process
/// that begins the same library, so the waiting is done here.
fn use_write_ahead_log(index: &Connection) -> rusqlite::Result<()> {
    let mut waited = Duration::ZERO;
    loop {
        let switched = index.pragma_update(None, "journal_mode", "WAL");
        let busy = switched.as_ref().is_err_and(|error| {
            matches!(
                error.sqlite_error_code(),
                Some(rusqlite::ErrorCode::DatabaseBusy | rusqlite::ErrorCode::DatabaseLocked)
            )
        });
        if !busy || waited >= BUSY {
            return switched;
        }
        std::thread::sleep(PATIENCE);
        waited += PATIENCE;
    }
}

/// Whether a folder holds nothing yet but what a library that is just being made (perhaps by another
/// process) holds. A folder that cannot be listed counts as fresh: making the library there says why.
fn is_fresh(folder: &Path) -> bool {
    let empty = |path: &Path| fs::read_dir(path).is_ok_and(|mut entries| entries.next().is_none());
    let Ok(entries) = fs::read_dir(folder) else { return true };
    entries.flatten().all(|entry| match entry.file_name().to_str() {
        Some("photos" | "catalogue") => empty(&entry.path()),
        Some(name) => name.starts_with("index.sqlite"),
        None => false,
    })
}

fn percent_encoded(path: &Path) -> String {
    use std::fmt::Write;
    path.to_string_lossy().bytes().fold(String::new(), |mut text, byte| {
        if byte.is_ascii_alphanumeric() || b"/-_.~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            // Writing to a String cannot fail.
            let _ = write!(text, "%{byte:02X}");
        }
        text
    })
}
