//! What was computed once and can be computed again: kept beside the library to save time, and never
//! trusted.
//!
//! In: a kind, a key made of everything that the value depends on, bytes. Out: the same bytes, or nothing.
//! Never here: what the bytes mean, anything that could not be made again.
//!
//! ```text
//! library/cache/<kind>/<key>      the mark, the BLAKE3 of kind, key and value, the value
//! ```
//!
//! A file that is cut short, changed, too large or of another program is as good as none; whoever reads
//! the bytes checks them once more. Deleting the folder costs time and nothing else.

use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use super::Library;
use crate::atomic;

/// First bytes of every file of the cache.
const MARK: &[u8] = b"untorn.cache/1\n";
/// Length of a BLAKE3.
const SUM: usize = 32;
/// Largest value that is kept or read, bytes. A face takes some 200 kB, a calibration some 100 kB.
const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// Names a value by everything that it depends on.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct CacheKey(String);

impl CacheKey {
    /// From the parts in order; where one part ends and the next begins matters.
    ///
    /// # Example
    /// ```
    /// use casebook::library::CacheKey;
    /// assert_eq!(CacheKey::of(&[b"a", b"b"]), CacheKey::of(&[b"a", b"b"]));
    /// assert_ne!(CacheKey::of(&[b"ab", b""]), CacheKey::of(&[b"a", b"b"]));
    /// ```
    #[must_use]
    pub fn of(parts: &[&[u8]]) -> Self {
        let mut hasher = blake3::Hasher::new();
        for part in parts {
            hasher.update(&(part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
        Self(hasher.finalize().to_hex().to_string())
    }
}

/// The cache of one library; may be used from several threads and processes at once.
#[derive(Debug, Clone)]
pub struct Cache {
    folder: PathBuf,
    read_only: bool,
}

impl Library {
    /// Its cache.
    #[must_use]
    pub fn cache(&self) -> Cache {
        Cache { folder: self.folder.join("cache"), read_only: self.read_only }
    }
}

impl Cache {
    /// The value kept under a key; nothing when there is none or it is not as it was written.
    #[must_use]
    pub fn get(&self, kind: &str, key: &CacheKey) -> Option<Vec<u8>> {
        let path = self.folder.join(kind).join(&key.0);
        // Asked before opening: opening a pipe would wait for a writer.
        let facts = fs::metadata(&path).ok().filter(|facts| facts.is_file() && facts.len() <= MOST_BYTES)?;
        let mut bytes = Vec::new();
        bytes.try_reserve_exact(usize::try_from(facts.len()).ok()?).ok()?;
        File::open(&path).ok()?.take(MOST_BYTES).read_to_end(&mut bytes).ok()?;
        let (sum, value) = bytes.strip_prefix(MARK)?.split_at_checked(SUM)?;
        if sum_of(kind, key, value).as_bytes() != sum {
            return None;
        }
        Some(value.to_vec())
    }

    /// Keeps a value. What cannot be written (a library for reading only, a full disk) is not kept,
    /// and nothing is lost by it.
    pub fn put(&self, kind: &str, key: &CacheKey, value: &[u8]) {
        if self.read_only || value.len() as u64 > MOST_BYTES - (MARK.len() + SUM) as u64 {
            return;
        }
        let folder = self.folder.join(kind);
        if fs::create_dir_all(&folder).is_err() {
            return;
        }
        let mut bytes = Vec::with_capacity(MARK.len() + SUM + value.len());
        bytes.extend_from_slice(MARK);
        bytes.extend_from_slice(sum_of(kind, key, value).as_bytes());
        bytes.extend_from_slice(value);
        // A failed write leaves no file, see `atomic`; the value is made again next time.
        let _ = atomic::write(&folder.join(&key.0), &bytes);
    }

    /// Removes the values of a kind that nobody asks for any more.
    pub fn keep_only(&self, kind: &str, keys: &[CacheKey]) {
        if self.read_only {
            return;
        }
        let Ok(entries) = fs::read_dir(self.folder.join(kind)) else { return };
        for path in entries.flatten().map(|entry| entry.path()) {
            let wanted = |path: &Path| keys.iter().any(|key| path.file_name().is_some_and(|n| n == &*key.0));
            if !wanted(&path) && path.is_file() {
                // Another process may have removed it first.
                let _ = fs::remove_file(&path);
            }
        }
    }
}

/// So that a value under another's name is no value.
fn sum_of(kind: &str, key: &CacheKey, value: &[u8]) -> blake3::Hash {
    let mut hasher = blake3::Hasher::new();
    for part in [kind.as_bytes(), b"\n", key.0.as_bytes(), b"\n", value] {
        hasher.update(part);
    }
    hasher.finalize()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cache(folder: &Path) -> Cache {
        Cache { folder: folder.join("cache"), read_only: false }
    }

    #[test]
    fn gives_back_what_was_put_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let cache = cache(folder.path());
        let (one, two) = (CacheKey::of(&[b"one"]), CacheKey::of(&[b"two"]));
        assert_eq!(cache.get("faces", &one), None);
        cache.put("faces", &one, b"first");
        cache.put("faces", &two, b"");
        assert_eq!(cache.get("faces", &one).as_deref(), Some(&b"first"[..]));
        assert_eq!(cache.get("faces", &two).as_deref(), Some(&b""[..]));
        assert_eq!(cache.get("weights", &one), None, "kinds are apart");
        cache.keep_only("faces", std::slice::from_ref(&two));
        assert_eq!(cache.get("faces", &one), None);
        assert!(cache.get("faces", &two).is_some());
    }

    #[test]
    fn a_file_that_is_not_as_written_is_as_good_as_none() {
        let folder = tempfile::tempdir().unwrap();
        let cache = cache(folder.path());
        let key = CacheKey::of(&[b"k"]);
        cache.put("faces", &key, b"some value");
        let path = folder.path().join("cache/faces").join(&key.0);
        let whole = fs::read(&path).unwrap();
        for length in 0..whole.len() {
            atomic::write(&path, &whole[..length]).unwrap();
            assert_eq!(cache.get("faces", &key), None, "cut after {length} bytes");
        }
        for at in 0..whole.len() {
            let mut bent = whole.clone();
            bent[at] ^= 1;
            atomic::write(&path, &bent).unwrap();
            assert_eq!(cache.get("faces", &key), None, "bent at {at}");
        }
        let other = CacheKey::of(&[b"other"]);
        atomic::write(&path.with_file_name(&other.0), &whole).unwrap();
        assert_eq!(cache.get("faces", &other), None, "under another's name");
        fs::remove_file(&path).unwrap();
        fs::create_dir(&path).unwrap();
        assert_eq!(cache.get("faces", &key), None);
        cache.put("faces", &key, b"in the way");
        assert!(path.is_dir());
    }

    #[test]
    fn a_library_for_reading_keeps_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let cache = Cache { read_only: true, ..cache(folder.path()) };
        cache.put("faces", &CacheKey::of(&[b"k"]), b"x");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
