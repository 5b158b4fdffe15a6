//! The desk's own index: which offers there are and wait, what was changed, which boards were kept.
//!
//! In: rows. Out: rows. A row is on disk when a call returns (SQLite with full syncing), so an
//! upload that was answered is not lost. Never here: photos, findings; they lie in files and the library.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use casebook::names::{PhotoFile, PhotoHash, Slug};
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use crate::error::DeskError;
use crate::row::{Entry, Row, Standing};

const VERSION: i64 = 1;
const BUSY: Duration = Duration::from_secs(10);

/// The open index.
#[derive(Debug)]
pub(crate) struct Store {
    file: PathBuf,
    index: Connection,
}

/// How soon an offer is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Urgency {
    /// Found in the folder.
    Found = 0,
    /// Somebody added it and waits.
    Added = 1,
    /// Somebody corrected something and looks at it.
    Corrected = 2,
}

/// A change that can be undone.
#[derive(Debug, Clone)]
pub(crate) struct Revision {
    pub(crate) id: i64,
    pub(crate) at: String,
    pub(crate) words: String,
    pub(crate) before: String,
    /// Whether the photos must be looked at again.
    pub(crate) looks: bool,
    pub(crate) undone: bool,
}

/// A board that was kept.
#[derive(Debug, Clone)]
pub(crate) struct Board {
    pub(crate) hash: PhotoHash,
    pub(crate) offer: String,
    pub(crate) caption: String,
    pub(crate) made_at: String,
    pub(crate) away: bool,
}

impl Store {
    /// Opens the index, making it when it is new.
    pub(crate) fn open(file: &Path) -> Result<Self, DeskError> {
        let fail = |source| DeskError::Store { file: file.to_owned(), source };
        let index = Connection::open(file).map_err(fail)?;
        index.busy_timeout(BUSY).map_err(fail)?;
        index.pragma_update(None, "foreign_keys", true).map_err(fail)?;
        // One connection, so a log of writes would gain nothing, and it would keep what was deleted.
        index.pragma_update(None, "journal_mode", "TRUNCATE").map_err(fail)?;
        index.pragma_update(None, "synchronous", "FULL").map_err(fail)?;
        // What is deleted is overwritten: a forgotten seller is gone.
        index.pragma_update(None, "secure_delete", true).map_err(fail)?;
        let mut store = Self { file: file.to_owned(), index };
        store.bring_up()?;
        Ok(store)
    }

    fn bring_up(&mut self) -> Result<(), DeskError> {
        let file = self.file.clone();
        let fail = |source| DeskError::Store { file: file.clone(), source };
        let version: i64 =
            self.index.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(fail)?;
        if version > VERSION {
            return Err(DeskError::Newer { file, found: version, newest: VERSION });
        }
        if version < VERSION {
            let step = self.index.transaction().map_err(fail)?;
            step.execute_batch(include_str!("store.sql")).map_err(fail)?;
            step.pragma_update(None, "user_version", VERSION).map_err(fail)?;
            step.commit().map_err(fail)?;
        }
        // Whatever was being looked at when the program ended is looked at again.
        self.index
            .execute("UPDATE offer SET state = 'waiting' WHERE state = 'examining'", [])
            .map_err(fail)?;
        Ok(())
    }

    fn fail(&self) -> impl Fn(rusqlite::Error) -> DeskError + '_ {
        |source| DeskError::Store { file: self.file.clone(), source }
    }

    /// Every offer.
    pub(crate) fn entries(&self) -> Result<Vec<Entry>, DeskError> {
        let mut query = self
            .index
            .prepare("SELECT id, added_at, state, problem, away, shown FROM offer")
            .map_err(self.fail())?;
        let rows = query
            .query_map([], |row| {
                Ok((
                    row.get::<_, String>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, String>(2)?,
                    row.get::<_, Option<String>>(3)?,
                    row.get::<_, bool>(4)?,
                    row.get::<_, String>(5)?,
                ))
            })
            .map_err(self.fail())?;
        let mut entries = Vec::new();
        for row in rows {
            let (id, added_at, state, problem, away, shown) = row.map_err(self.fail())?;
            let Ok(id) = id.parse::<Slug>() else { continue };
            let row: Row = serde_json::from_str(&shown).unwrap_or_default();
            entries.push(Entry { id, added_at, standing: Standing::of_word(&state), problem, away, row });
        }
        Ok(entries)
    }

    /// Adds an offer with the hashes of its photos; adding it again changes nothing.
    pub(crate) fn add(
        &mut self,
        entry: &Entry,
        photos: &BTreeMap<PhotoFile, PhotoHash>,
        urgency: Urgency,
    ) -> Result<(), DeskError> {
        self.add_all(std::slice::from_ref(&(entry.clone(), photos.clone())), urgency)
    }

    /// Adds many at once.
    pub(crate) fn add_all(
        &mut self,
        entries: &[(Entry, BTreeMap<PhotoFile, PhotoHash>)],
        urgency: Urgency,
    ) -> Result<(), DeskError> {
        let file = self.file.clone();
        let fail = |source| DeskError::Store { file: file.clone(), source };
        let step = self.index.transaction().map_err(fail)?;
        for (entry, photos) in entries {
            step.execute(
                "INSERT INTO offer (id, added_at, state, urgency, asked_at, problem, away, shown)
                 VALUES (?1, ?2, ?3, ?4, ?2, ?5, 0, ?6) ON CONFLICT DO NOTHING",
                params![
                    entry.id.as_str(),
                    entry.added_at,
                    entry.standing.word(),
                    urgency as i64,
                    entry.problem,
                    shown(&entry.row)
                ],
            )
            .map_err(fail)?;
            put_photos(&step, &entry.id, photos).map_err(fail)?;
        }
        step.commit().map_err(fail)
    }

    /// Notes the hashes of an offer's photos.
    pub(crate) fn set_photos(
        &mut self,
        id: &Slug,
        photos: &BTreeMap<PhotoFile, PhotoHash>,
    ) -> Result<(), DeskError> {
        let file = self.file.clone();
        let fail = |source| DeskError::Store { file: file.clone(), source };
        let step = self.index.transaction().map_err(fail)?;
        put_photos(&step, id, photos).map_err(fail)?;
        step.commit().map_err(fail)
    }

    /// Writes what changed of an entry: its standing, problem, place and row.
    pub(crate) fn keep(&self, entry: &Entry) -> Result<(), DeskError> {
        self.index
            .execute(
                "UPDATE offer SET state = ?2, problem = ?3, away = ?4, shown = ?5 WHERE id = ?1",
                params![
                    entry.id.as_str(),
                    entry.standing.word(),
                    entry.problem,
                    entry.away,
                    shown(&entry.row)
                ],
            )
            .map_err(self.fail())?;
        Ok(())
    }

    /// Lets an offer wait to be looked at.
    pub(crate) fn ask(&self, id: &Slug, urgency: Urgency, at: Timestamp) -> Result<(), DeskError> {
        self.index
            .execute(
                "UPDATE offer SET state = 'waiting', urgency = ?2, asked_at = ?3, problem = NULL WHERE id = ?1",
                params![id.as_str(), urgency as i64, at.to_string()],
            )
            .map_err(self.fail())?;
        Ok(())
    }

    /// The offer to look at next.
    pub(crate) fn next(&self) -> Result<Option<Slug>, DeskError> {
        let id: Option<String> = self
            .index
            .query_row(
                "SELECT id FROM offer WHERE state = 'waiting' ORDER BY urgency DESC, asked_at, id LIMIT 1",
                [],
                |row| row.get(0),
            )
            .optional()
            .map_err(self.fail())?;
        Ok(id.and_then(|id| id.parse().ok()))
    }

    /// Where a photo with that content lies: offer and file.
    pub(crate) fn photo(&self, hash: &PhotoHash) -> Result<Option<(Slug, PhotoFile)>, DeskError> {
        let found: Option<(String, String)> = self
            .index
            .query_row("SELECT offer, file FROM photo WHERE hash = ?1 LIMIT 1", [hash.as_str()], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()
            .map_err(self.fail())?;
        Ok(found.and_then(|(offer, file)| Some((offer.parse().ok()?, file.parse().ok()?))))
    }

    /// The hashes of an offer's photos.
    pub(crate) fn photos_of(&self, id: &Slug) -> Result<BTreeMap<PhotoFile, PhotoHash>, DeskError> {
        let mut query =
            self.index.prepare("SELECT file, hash FROM photo WHERE offer = ?1").map_err(self.fail())?;
        let rows = query
            .query_map([id.as_str()], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)))
            .map_err(self.fail())?;
        let mut photos = BTreeMap::new();
        for row in rows {
            let (file, hash) = row.map_err(self.fail())?;
            if let (Ok(file), Ok(hash)) = (file.parse(), hash.parse()) {
                photos.insert(file, hash);
            }
        }
        Ok(photos)
    }

    /// Keeps a case file as it was before a change.
    pub(crate) fn revise(
        &self,
        id: &Slug,
        words: &str,
        before: &str,
        looks: bool,
        at: Timestamp,
    ) -> Result<(), DeskError> {
        self.index
            .execute(
                "INSERT INTO revision (offer, at, words, before, looks) VALUES (?1, ?2, ?3, ?4, ?5)",
                params![id.as_str(), at.to_string(), words, before, looks],
            )
            .map_err(self.fail())?;
        Ok(())
    }

    /// The changes of an offer, newest first.
    pub(crate) fn revisions(&self, id: &Slug) -> Result<Vec<Revision>, DeskError> {
        let mut query = self
            .index
            .prepare(
                "SELECT id, at, words, before, looks, undone FROM revision WHERE offer = ?1 ORDER BY id DESC",
            )
            .map_err(self.fail())?;
        let rows = query
            .query_map([id.as_str()], |row| {
                Ok(Revision {
                    id: row.get(0)?,
                    at: row.get(1)?,
                    words: row.get(2)?,
                    before: row.get(3)?,
                    looks: row.get(4)?,
                    undone: row.get(5)?,
                })
            })
            .map_err(self.fail())?;
        rows.collect::<Result<_, _>>().map_err(self.fail())
    }

    /// Marks a change as undone.
    pub(crate) fn mark_undone(&self, revision: i64) -> Result<(), DeskError> {
        self.index
            .execute("UPDATE revision SET undone = 1 WHERE id = ?1", [revision])
            .map_err(self.fail())?;
        Ok(())
    }

    /// Forgets every earlier state of a case file, when something in it must be gone for good.
    pub(crate) fn forget_revisions(&self, id: &Slug) -> Result<(), DeskError> {
        self.index.execute("DELETE FROM revision WHERE offer = ?1", [id.as_str()]).map_err(self.fail())?;
        Ok(())
    }

    /// Notes a board.
    pub(crate) fn add_board(&self, board: &Board) -> Result<(), DeskError> {
        self.index
            .execute(
                "INSERT INTO board (hash, offer, caption, made_at, away) VALUES (?1, ?2, ?3, ?4, 0)
                 ON CONFLICT (hash) DO UPDATE SET away = 0, caption = excluded.caption",
                params![board.hash.as_str(), board.offer, board.caption, board.made_at],
            )
            .map_err(self.fail())?;
        Ok(())
    }

    /// Puts a board away or back.
    pub(crate) fn set_board_away(&self, hash: &PhotoHash, away: bool) -> Result<(), DeskError> {
        self.index
            .execute("UPDATE board SET away = ?2 WHERE hash = ?1", params![hash.as_str(), away])
            .map_err(self.fail())?;
        Ok(())
    }

    /// The boards, newest first.
    pub(crate) fn boards(&self) -> Result<Vec<Board>, DeskError> {
        let mut query = self
            .index
            .prepare("SELECT hash, offer, caption, made_at, away FROM board ORDER BY made_at DESC, hash")
            .map_err(self.fail())?;
        let rows = query
            .query_map([], |row| {
                Ok((
                    row.get::<_, String>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, String>(2)?,
                    row.get::<_, String>(3)?,
                    row.get::<_, bool>(4)?,
                ))
            })
            .map_err(self.fail())?;
        let mut boards = Vec::new();
        for row in rows {
            let (hash, offer, caption, made_at, away) = row.map_err(self.fail())?;
            if let Ok(hash) = hash.parse() {
                boards.push(Board { hash, offer, caption, made_at, away });
            }
        }
        Ok(boards)
    }
}

fn shown(row: &Row) -> String {
    // A row is made of text, numbers and lists: printing it cannot fail.
    serde_json::to_string(row).unwrap_or_default()
}

fn put_photos(
    index: &Connection,
    id: &Slug,
    photos: &BTreeMap<PhotoFile, PhotoHash>,
) -> rusqlite::Result<()> {
    for (file, hash) in photos {
        index.execute(
            "INSERT INTO photo (offer, file, hash) VALUES (?1, ?2, ?3)
             ON CONFLICT (offer, file) DO UPDATE SET hash = excluded.hash",
            params![id.as_str(), file.as_str(), hash.as_str()],
        )?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_forgotten_is_in_no_file() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("desk.sqlite");
        let mut store = Store::open(&file).unwrap();
        let entry = Entry {
            id: "x".parse().unwrap(),
            added_at: String::new(),
            standing: Standing::Waiting,
            problem: None,
            away: false,
            row: Row::default(),
        };
        store.add(&entry, &BTreeMap::new(), Urgency::Added).unwrap();
        for _ in 0..40 {
            store
                .revise(&entry.id, "changed", &"gearwife ".repeat(200), false, Timestamp::UNIX_EPOCH)
                .unwrap();
            store.keep(&entry).unwrap();
        }
        store.forget_revisions(&entry.id).unwrap();
        store.keep(&entry).unwrap();
        for name in ["desk.sqlite", "desk.sqlite-journal"] {
            let bytes = std::fs::read(folder.path().join(name)).unwrap();
            assert!(!bytes.windows(8).any(|w| w == b"gearwife"), "{name}, {} bytes", bytes.len());
        }
    }
}
