//! The worker: one thread that keeps the shelf as new as the library and examines the offers that wait,
//! one at a time, so that memory stays bounded however many were added at once.
//!
//! In: the store's waiting offers. Out: examinations in the library, pictures in `desk/shown`, rows. A
//! fault in one offer is noted on it, and the next one follows. Never here: a request, HTML.

use std::collections::BTreeMap;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::Duration;

use casebook::library::Library;
use casebook::names::{PhotoFile, PhotoHash, Slug};
use examination::{Shelf, SmallCopies};

use crate::desk::{Desk, ShelfState};
use crate::error::DeskError;
use crate::intake::MOST_FILE_BYTES;
use crate::row::{Entry, Row, Standing};
use crate::shown::Shown;
use crate::store::Urgency;
use crate::telling::Telling;

/// How often the library and the folder are looked at when nobody rings.
const LOOK_EVERY: Duration = Duration::from_secs(5);
/// Longest text of a problem that is kept, characters.
const MOST_WORDS: usize = 2_000;

/// Works until the program ends.
pub(crate) fn work(desk: &Arc<Desk>) {
    let mut library: Option<Library> = None;
    let mut content = None;
    loop {
        let step = catch_unwind(AssertUnwindSafe(|| {
            find_offers(desk);
            freshen(desk, &mut library, &mut content);
            examine_next(desk, &mut library)
        }));
        if !matches!(step, Ok(true)) {
            desk.wait(LOOK_EVERY);
        }
    }
}

/// Takes the shelf anew when the library's content has changed.
fn freshen(desk: &Desk, library: &mut Option<Library>, content: &mut Option<i64>) {
    let taken = (|| -> Result<Option<Shelf>, DeskError> {
        if library.is_none() {
            *library = Some(Library::open(&desk.folders.library)?);
        }
        let Some(library) = library.as_mut() else { return Ok(None) };
        let now = library.content_number()?;
        if *content == Some(now) {
            return Ok(None);
        }
        // An old shelf stays in use meanwhile.
        let telling = Telling::new(|what: &str, done: usize, steps: usize| {
            if desk.shelf().is_none() {
                desk.set_shelf(ShelfState::Opening(format!("{what}: {done} of {steps}")));
            }
        });
        let shelf = Shelf::take(library, &telling)?;
        *content = Some(now);
        Ok(Some(shelf))
    })();
    match taken {
        Ok(Some(shelf)) => desk.set_shelf(ShelfState::Ready(Arc::new(shelf))),
        Ok(None) => {}
        Err(error) => {
            *library = None;
            *content = None;
            let words = error.to_string();
            if !matches!(desk.shelf_state(), ShelfState::Unusable(before) if before == words) {
                desk.set_shelf(ShelfState::Unusable(words));
            }
        }
    }
}

/// Examines the offer that comes next; `false` when none waits or the shelf is not ready.
fn examine_next(desk: &Desk, library: &mut Option<Library>) -> bool {
    let (Some(shelf), Some(library)) = (desk.shelf(), library.as_mut()) else { return false };
    let next = desk.store().next();
    let Ok(Some(id)) = next else { return false };
    if !stand(desk, &id, Standing::Examining, None) {
        return false;
    }
    let outcome = catch_unwind(AssertUnwindSafe(|| examine(desk, library, &shelf, &id)));
    let problem = match outcome {
        Ok(Ok(())) => return true,
        Ok(Err(error)) => error.to_string(),
        Err(_) => {
            "the program failed on this offer; this is a fault of untorn, not of your files. Report it \
                   with the photos, and leave out those that are not needed"
                .to_owned()
        }
    };
    stand(desk, &id, Standing::Stuck, Some(problem.chars().take(MOST_WORDS).collect()))
}

/// Notes how an offer stands; `false` when that cannot be written.
fn stand(desk: &Desk, id: &Slug, standing: Standing, problem: Option<String>) -> bool {
    let _editing = desk.editing();
    let Some(entry) = desk.entry(id) else { return false };
    let mut entry = (*entry).clone();
    // Whoever changed it while it was looked at has asked for another look, which comes next.
    if standing == Standing::Stuck && entry.standing != Standing::Examining {
        return true;
    }
    entry.standing = standing;
    entry.problem = problem;
    desk.keep(entry).is_ok()
}

fn examine(desk: &Desk, library: &mut Library, shelf: &Shelf, id: &Slug) -> Result<(), DeskError> {
    let folder = desk.case_folder(id)?;
    let outcome = {
        let _alone = desk.measuring();
        examination::examine(&folder, shelf, SmallCopies::Made)
    };
    let shown = Shown::keep(&outcome, &desk.shown_folder(id))?;
    let hashes: BTreeMap<PhotoFile, PhotoHash> = outcome
        .examination
        .photos
        .iter()
        .filter_map(|photo| Some((photo.file.clone(), photo.hash.clone()?)))
        .collect();
    desk.store().set_photos(id, &hashes)?;
    // Terms may have been changed while the photos were looked at.
    let _editing = desk.editing();
    let case = desk.case(id)?;
    let same_photos = case.photos == folder.case.photos && case.items == folder.case.items;
    let examination = if case == folder.case {
        outcome.examination
    } else {
        examination::reconsider(&case, &outcome.examination, shelf)
    };
    library.keep_examination(&examination, desk.now())?;
    let Some(entry) = desk.entry(id) else { return Ok(()) };
    let mut entry = (*entry).clone();
    entry.row = desk.row(&case, Some(&examination), &shown);
    entry.problem = None;
    if entry.standing == Standing::Examining && same_photos {
        entry.standing = Standing::Examined;
    } else {
        entry.standing = Standing::Waiting;
    }
    desk.keep(entry)
}

/// Takes in offers that lie in the folder and that the index does not know: put there by hand, by the
/// demo, or accepted just before the program was ended.
fn find_offers(desk: &Desk) {
    // An upload moves its folder in and then notes it; in between it is not to be found here.
    let _editing = desk.editing();
    let Ok(folders) = fs::read_dir(&desk.folders.offers) else { return };
    let mut found: Vec<Slug> = folders
        .flatten()
        .filter_map(|entry| entry.file_name().to_str()?.parse().ok())
        .filter(|id| desk.entry(id).is_none())
        .filter(|id| desk.folder_of(id).is_dir())
        .collect();
    found.sort();
    if found.is_empty() {
        return;
    }
    let entries: Vec<_> = found.into_iter().map(|id| found_entry(desk, id)).collect();
    if desk.store().add_all(&entries, Urgency::Found).is_ok() {
        for (entry, _) in entries {
            desk.show(entry);
        }
    }
}

/// An offer of the folder with the hashes of its photos, so that its page shows them at once.
fn found_entry(desk: &Desk, id: Slug) -> (Entry, BTreeMap<PhotoFile, PhotoHash>) {
    let mut hashes = BTreeMap::new();
    if let Ok(folder) = desk.case_folder(&id) {
        for (told, path) in &folder.photos {
            let small_enough =
                fs::metadata(path).is_ok_and(|found| found.is_file() && found.len() <= MOST_FILE_BYTES);
            if small_enough && let Ok(bytes) = fs::read(path) {
                hashes.insert(told.file.clone(), PhotoHash::of(&bytes));
            }
        }
    }
    (entry_of(desk, id), hashes)
}

fn entry_of(desk: &Desk, id: Slug) -> Entry {
    let added_at = desk.now().to_string();
    match desk.case(&id) {
        Ok(case) => {
            // Examined before, by the command line or by a desk whose index was moved away.
            let examination = desk.examination(&id).ok().flatten();
            let row = match &examination {
                Some(examination) => desk.row(&case, Some(examination), &desk.shown(&id)),
                None => Row::of_case(&case, case.photos.len()),
            };
            Entry { id, added_at, standing: Standing::Waiting, problem: None, away: false, row }
        }
        // One that cannot be read is shown with its problem.
        Err(error) => {
            let row = Row { title: id.to_string(), words: id.to_string(), ..Row::default() };
            let problem = Some(error.to_string());
            Entry { id, added_at, standing: Standing::Stuck, problem, away: false, row }
        }
    }
}
