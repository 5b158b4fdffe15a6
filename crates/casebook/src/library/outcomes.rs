//! Outcomes: what items turned out to be, each kept whole, and the specimens that follow from them.

use jiff::Timestamp;
use rusqlite::params;

use super::{Library, LibraryError, audit};
use crate::document::{self, Notation};
use crate::hypothesis::State;
use crate::names::{PhotoHash, Slug};
use crate::opinion::MeasuredSpecimen;
use crate::outcome::OutcomeFile;

impl Library {
    /// Keeps an outcome and notes it in the trail. A later outcome of the same item counts instead of
    /// an earlier one; both stay.
    ///
    /// # Errors
    /// [`LibraryError`] when nothing can be written, or no examination of that item is kept here.
    pub fn record_outcome(&mut self, outcome: &OutcomeFile, at: Timestamp) -> Result<(), LibraryError> {
        let examined = self.latest_examination(&outcome.case)?;
        if !examined.is_some_and(|e| e.items.iter().any(|i| i.opinion.item == outcome.item)) {
            return Err(LibraryError::NotExamined {
                case: outcome.case.to_string(),
                item: outcome.item.to_string(),
            });
        }
        let json = document::print(outcome, Notation::Json)?;
        let owner = self.folder.clone();
        let fail = |source| LibraryError::index(&owner, source);
        let step = self.write()?;
        step.execute(
            "INSERT INTO outcome (case_id, item, document, recorded_at) VALUES (?1, ?2, ?3, ?4)",
            params![outcome.case.as_str(), outcome.item.as_str(), json, at.to_string()],
        )
        .map_err(fail)?;
        let subject = format!("{} {}", outcome.case, outcome.item);
        let found = outcome.found.map_or("not known", State::word);
        let detail =
            format!("{found}, {}; {}", outcome.known_by.word(), PhotoHash::of(json.as_bytes()).as_str());
        audit::append(&step, at, "outcome", &subject, &detail).map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// Every outcome in the order they were recorded.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer or a document is damaged.
    pub fn outcomes(&self) -> Result<Vec<OutcomeFile>, LibraryError> {
        // A library of an earlier version that is open for reading only has no such table.
        let there: i64 = self
            .index
            .query_row(
                "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'outcome'",
                [],
                |row| row.get(0),
            )
            .map_err(self.fail())?;
        if there == 0 {
            return Ok(Vec::new());
        }
        let mut query =
            self.index.prepare("SELECT document FROM outcome ORDER BY id").map_err(self.fail())?;
        let texts = query.query_map([], |row| row.get::<_, String>(0)).map_err(self.fail())?;
        let name = self.folder.join("index.sqlite");
        let mut out = Vec::new();
        for text in texts {
            out.push(document::parse(&text.map_err(self.fail())?, &name, Notation::Json)?);
        }
        Ok(out)
    }

    /// Items whose outcome is known, with the findings of their latest examination here: specimens for
    /// calibrating anew. The last outcome of an item counts.
    ///
    /// # Errors
    /// [`LibraryError`] when the index does not answer or a document is damaged.
    pub fn confirmed(&self) -> Result<Vec<MeasuredSpecimen>, LibraryError> {
        let outcomes = self.outcomes()?;
        let mut out = Vec::new();
        for (at, outcome) in outcomes.iter().enumerate() {
            let later = outcomes[at + 1..].iter().any(|o| o.case == outcome.case && o.item == outcome.item);
            let (Some(state), false) = (outcome.found, later) else { continue };
            let Some(examination) = self.latest_examination(&outcome.case)? else { continue };
            let Some(item) = examination.items.into_iter().find(|i| i.opinion.item == outcome.item) else {
                continue;
            };
            let Some(product) = item.opinion.product else { continue };
            out.push(MeasuredSpecimen {
                specimen: specimen_name(&outcome.case, &outcome.item)?,
                product,
                make: None,
                state,
                origin: outcome.origin,
                sitting: "offer".parse()?,
                opened_ends: None,
                findings: item.findings,
            });
        }
        Ok(out)
    }
}

/// The name under which a confirmed item is a specimen: case and item, or where that is too long the
/// hash of both.
fn specimen_name(case: &Slug, item: &Slug) -> Result<Slug, LibraryError> {
    let plain = format!("{case}-{item}");
    Ok(plain.parse().or_else(|_| {
        let hash = PhotoHash::of(format!("{case} {item}").as_bytes());
        format!("outcome-{}", hash.as_str().get(..32).unwrap_or_default()).parse()
    })?)
}
