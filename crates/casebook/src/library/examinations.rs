//! Examinations that were made, each kept whole.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use super::{Library, LibraryError, audit};
use crate::document::{self, Notation};
use crate::names::{PhotoHash, Slug};
use crate::opinion::Examination;

impl Library {
    /// Keeps an examination and notes it in the trail.
    ///
    /// # Errors
    /// [`LibraryError`] when nothing can be written.
    pub fn keep_examination(&mut self, examination: &Examination, at: Timestamp) -> Result<(), LibraryError> {
        let json = document::print(examination, Notation::Json)?;
        let owner = self.folder.clone();
        let fail = |source| LibraryError::index(&owner, source);
        let step = self.write()?;
        step.execute(
            "INSERT INTO examination (case_id, document, made_at) VALUES (?1, ?2, ?3)",
            params![examination.case.as_str(), json, at.to_string()],
        )
        .map_err(fail)?;
        let detail = PhotoHash::of(json.as_bytes());
        audit::append(&step, at, "examine", examination.case.as_str(), detail.as_str()).map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// The latest examination of a case, or `None`.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer or the document is damaged.
    pub fn latest_examination(&self, case: &Slug) -> Result<Option<Examination>, LibraryError> {
        let text: Option<String> = self
            .index
            .query_row(
                "SELECT document FROM examination WHERE case_id = ?1 ORDER BY id DESC LIMIT 1",
                [case.as_str()],
                |row| row.get(0),
            )
            .optional()
            .map_err(self.fail())?;
        let name = self.folder.join("index.sqlite");
        text.map(|text| Ok(document::parse(&text, &name, Notation::Json)?)).transpose()
    }
}
