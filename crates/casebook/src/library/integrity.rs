//! Whether the library still is what was put into it.

use std::fs;

use super::{Library, LibraryError};
use crate::names::PhotoHash;

/// One thing that is wrong, with the remedy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault(pub String);

impl Library {
    /// Checks the index, its references, every photo's bytes and the chain of the audit trail.
    ///
    /// # Result
    /// One [`Fault`] each; empty when all is well.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer at all.
    pub fn check(&self) -> Result<Vec<Fault>, LibraryError> {
        let mut faults = Vec::new();
        for answer in self.texts("PRAGMA integrity_check")? {
            if answer != "ok" {
                faults.push(Fault(format!("index: {answer}; restore index.sqlite from a copy")));
            }
        }
        let orphans = self.texts("SELECT \"table\" || ' row ' || rowid FROM pragma_foreign_key_check")?;
        faults.extend(
            orphans.into_iter().map(|row| Fault(format!("index: {row} refers to nothing; add it again"))),
        );
        for text in self.texts("SELECT hash || '.' || ending FROM photo ORDER BY hash")? {
            let Some((hash, ending)) = text.split_once('.') else { continue };
            let Ok(hash) = hash.parse::<PhotoHash>() else {
                faults.push(Fault(format!(
                    "index: \"{hash}\" is no photo hash; restore index.sqlite from a copy"
                )));
                continue;
            };
            let path = self.stored_path(&hash, ending);
            match fs::read(&path) {
                Ok(bytes) if PhotoHash::of(&bytes) == hash => {}
                Ok(_) => {
                    faults.push(Fault(format!("{}: has changed; restore it from a copy", path.display())))
                }
                Err(e) => faults
                    .push(Fault(format!("{}: cannot be read ({e}); restore it from a copy", path.display()))),
            }
        }
        let mut before = "0".repeat(64);
        for (place, entry) in self.audit_trail()?.into_iter().enumerate() {
            let in_order = usize::try_from(entry.number).is_ok_and(|number| number == place + 1);
            if !in_order || entry.before != before || entry.hash != entry.expected_hash() {
                faults.push(Fault(format!(
                    "audit trail: entry {} does not follow the one before",
                    entry.number
                )));
            }
            before = entry.hash;
        }
        Ok(faults)
    }
}
