//! The audit trail: what was done to the library, in order, each entry bound to the one before.
//!
//! An entry's hash is the BLAKE3 of the previous hash and its own fields, each preceded by its length, so
//! that a changed, removed or reordered entry breaks the chain ([`Library::check`] walks it).

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use super::{Library, LibraryError};

/// One act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditEntry {
    /// Its place in the trail, from 1.
    pub number: i64,
    /// When, as the caller's clock said.
    pub at: String,
    /// What was done: `add-specimen`.
    pub act: String,
    /// To what.
    pub subject: String,
    /// Details, in words or JSON.
    pub detail: String,
    /// The hash of the entry before; 64 zeros for the first.
    pub before: String,
    /// The entry's own hash.
    pub hash: String,
}

impl AuditEntry {
    pub(super) fn expected_hash(&self) -> String {
        let mut hasher = blake3::Hasher::new();
        let number = self.number.to_string();
        for field in [&self.before, &number, &self.at, &self.act, &self.subject, &self.detail] {
            hasher.update(&(field.len() as u64).to_le_bytes());
            hasher.update(field.as_bytes());
        }
        hasher.finalize().to_hex().to_string()
    }
}

/// Appends one act within the caller's transaction.
pub(super) fn append(
    index: &Connection,
    at: Timestamp,
    act: &str,
    subject: &str,
    detail: &str,
) -> rusqlite::Result<()> {
    let last: Option<(i64, String)> = index
        .query_row("SELECT number, hash FROM audit ORDER BY number DESC LIMIT 1", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()?;
    let (number, before) = last.map_or_else(|| (1, "0".repeat(64)), |(number, hash)| (number + 1, hash));
    let mut entry = AuditEntry {
        number,
        at: at.to_string(),
        act: act.to_owned(),
        subject: subject.to_owned(),
        detail: detail.to_owned(),
        before,
        hash: String::new(),
    };
    entry.hash = entry.expected_hash();
    index.execute(
        "INSERT INTO audit (number, at, act, subject, detail, before, hash) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![entry.number, entry.at, entry.act, entry.subject, entry.detail, entry.before, entry.hash],
    )?;
    Ok(())
}

impl Library {
    /// Notes an act that happened outside the library's own tables, such as a change to a case.
    ///
    /// # Errors
    /// [`LibraryError`] when nothing can be written.
    pub fn note(
        &mut self,
        act: &str,
        subject: &str,
        detail: &str,
        at: Timestamp,
    ) -> Result<(), LibraryError> {
        let owner = self.folder.clone();
        let fail = |source| LibraryError::index(&owner, source);
        let step = self.write()?;
        append(&step, at, act, subject, detail).map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// The entries about one subject, oldest first.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn trail_of(&self, subject: &str) -> Result<Vec<AuditEntry>, LibraryError> {
        Ok(self.audit_trail()?.into_iter().filter(|entry| entry.subject == subject).collect())
    }

    /// The number of the last act that changed what examinations rest on (catalogues, specimens), 0
    /// when there was none. Whoever keeps a [`Library`]'s content in memory compares it.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn content_number(&self) -> Result<i64, LibraryError> {
        self.index
            .query_row(
                "SELECT COALESCE(MAX(number), 0) FROM audit
                 WHERE act LIKE 'add-%' OR act LIKE 'revise-%' OR act LIKE 'remove-%'",
                [],
                |row| row.get(0),
            )
            .map_err(self.fail())
    }

    /// The whole trail, oldest first.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer.
    pub fn audit_trail(&self) -> Result<Vec<AuditEntry>, LibraryError> {
        let mut query = self
            .index
            .prepare("SELECT number, at, act, subject, detail, before, hash FROM audit ORDER BY number")
            .map_err(self.fail())?;
        let rows = query
            .query_map([], |row| {
                Ok(AuditEntry {
                    number: row.get(0)?,
                    at: row.get(1)?,
                    act: row.get(2)?,
                    subject: row.get(3)?,
                    detail: row.get(4)?,
                    before: row.get(5)?,
                    hash: row.get(6)?,
                })
            })
            .map_err(self.fail())?;
        rows.collect::<Result<_, _>>().map_err(self.fail())
    }
}
