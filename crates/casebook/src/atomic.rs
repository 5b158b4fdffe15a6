//! Writing files so that nobody ever sees half of one.
//!
//! In: a path and bytes. Out: the file, complete and on disk, or an error and the old file untouched.
//! Never here: what the bytes mean.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// A file could not be written. Its previous content, if any, is untouched.
#[derive(Debug, thiserror::Error)]
#[error("{}: cannot be written ({source}); {}", .file.display(), remedy(.source))]
pub struct WriteError {
    /// The file that was to be written.
    pub file: PathBuf,
    /// Why.
    pub source: io::Error,
}

fn remedy(source: &io::Error) -> &'static str {
    match source.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "the disk is full: make room and run it again"
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "choose a folder that you may write to"
        }
        io::ErrorKind::NotFound => "the folder does not exist: make it first",
        io::ErrorKind::IsADirectory => "a folder of that name is in the way: choose another name",
        _ => "check the disk and the folder",
    }
}

static SERIAL: AtomicU64 = AtomicU64::new(0);

/// Writes a file by way of a temporary neighbour: written, flushed to disk, renamed.
///
/// # Errors
/// [`WriteError`] when any step fails; the temporary file is removed again.
pub fn write(file: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let fail = |source| WriteError { file: file.to_owned(), source };
    let folder = match file.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let name = file.file_name().ok_or_else(|| fail(io::Error::from(io::ErrorKind::InvalidInput)))?;
    let serial = SERIAL.fetch_add(1, Ordering::Relaxed);
    let temporary = folder.join(format!(".{}.{}.{serial}.part", name.to_string_lossy(), std::process::id()));
    let written = write_and_rename(&temporary, file, bytes);
    if let Err(source) = written {
        // Best effort: the error to report is the first one.
        let _ = fs::remove_file(&temporary);
        return Err(fail(source));
    }
    // The new name itself must survive a power cut; some file systems refuse to sync a folder.
    if let Ok(handle) = File::open(folder) {
        let _ = handle.sync_all();
    }
    Ok(())
}

fn write_and_rename(temporary: &Path, file: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut handle = OpenOptions::new().write(true).create_new(true).open(temporary)?;
    handle.write_all(bytes)?;
    handle.sync_all()?;
    drop(handle);
    fs::rename(temporary, file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replaces_and_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a.txt");
        write(&file, b"one").unwrap();
        write(&file, b"two").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"two");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_failure_names_the_file_and_keeps_the_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let missing = folder.path().join("no").join("a.txt");
        let error = write(&missing, b"x").unwrap_err().to_string();
        assert!(error.contains("a.txt") && error.contains("make it first"), "{error}");

        let in_the_way = folder.path().join("d");
        fs::create_dir(&in_the_way).unwrap();
        fs::create_dir(in_the_way.join("full")).unwrap();
        assert!(write(&in_the_way, b"x").is_err());
        assert!(in_the_way.join("full").exists());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "no temporary file stays");
    }
}
