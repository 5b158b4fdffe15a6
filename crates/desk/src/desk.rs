//! The desk's state that requests and the worker share: folders, index, library, shelf, events.
//!
//! In: a data folder. Out: [`Desk`]. Locks are held for one call each and never across another one of
//! them. Never here: HTTP, HTML.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError, RwLock};

use casebook::case::CaseFile;
use casebook::library::Library;
use casebook::names::{PhotoHash, Slug};
use casebook::opinion::Examination;
use examination::{CaseFolder, Shelf};
use jiff::Timestamp;
use tokio::sync::broadcast;

use crate::error::{DeskError, Trouble};
use crate::row::{Entry, Row};
use crate::shown::Shown;
use crate::store::{Store, Urgency};
use crate::tasks::Tasks;

/// Events that a slow reader may be behind before it has to ask anew.
const EVENTS: usize = 256;

/// The folders that a desk works on.
#[derive(Debug, Clone)]
pub(crate) struct Folders {
    /// One folder a case.
    pub(crate) offers: PathBuf,
    /// The library.
    pub(crate) library: PathBuf,
    /// The desk's own.
    pub(crate) own: PathBuf,
}

/// The library's content, ready to examine with.
#[derive(Debug, Clone)]
pub(crate) enum ShelfState {
    /// Being read or measured; how far in words.
    Opening(String),
    /// Ready.
    Ready(Arc<Shelf>),
    /// Cannot be used; why and what to do.
    Unusable(String),
}

/// Something that a page may want to show at once.
#[derive(Debug, Clone)]
pub(crate) struct Event {
    /// The offer concerned; `None`: the library.
    pub(crate) offer: Option<Slug>,
}

/// What requests and the worker share.
#[derive(Debug)]
pub(crate) struct Desk {
    pub(crate) folders: Folders,
    pub(crate) token: String,
    pub(crate) port: u16,
    clock: fn() -> Timestamp,
    store: Mutex<Store>,
    library: Mutex<Library>,
    shelf: RwLock<ShelfState>,
    entries: RwLock<BTreeMap<Slug, Arc<Entry>>>,
    events: broadcast::Sender<Event>,
    bell: (Mutex<bool>, Condvar),
    editing: Mutex<()>,
    drawing: Mutex<()>,
    measuring: Mutex<()>,
    pub(crate) tasks: Tasks,
    // Held for as long as the desk works on its folder.
    _lock: File,
}

/// A lock that a panic of another request has left behind is still good: every critical section keeps
/// what it guards whole, because what it changes is one assignment or one transaction.
fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Desk {
    /// Opens everything in a data folder, making what is missing.
    pub(crate) fn open(data: &Path, port: u16, clock: fn() -> Timestamp) -> Result<Self, DeskError> {
        let folders =
            Folders { offers: data.join("offers"), library: data.join("library"), own: data.join("desk") };
        for folder in [&folders.offers, &folders.own, &folders.own.join("shown"), &folders.own.join("boards")]
        {
            make_folder(folder)?;
        }
        let lock = take_lock(&folders.own)?;
        let incoming = folders.own.join("incoming");
        // Uploads that were cut off were never accepted.
        if incoming.exists() {
            fs::remove_dir_all(&incoming)
                .map_err(|source| DeskError::Folder { folder: incoming.clone(), source })?;
        }
        make_folder(&incoming)?;
        let store = Store::open(&folders.own.join("desk.sqlite"))?;
        let library = Library::open(&folders.library)?;
        let entries = store.entries()?.into_iter().map(|entry| (entry.id.clone(), Arc::new(entry))).collect();
        let token = token(&folders.own)?;
        let tasks = Tasks::open(folders.own.join("tasks"))?;
        Ok(Self {
            folders,
            token,
            port,
            clock,
            store: Mutex::new(store),
            library: Mutex::new(library),
            shelf: RwLock::new(ShelfState::Opening("the library is being opened".to_owned())),
            entries: RwLock::new(entries),
            events: broadcast::channel(EVENTS).0,
            bell: (Mutex::new(false), Condvar::new()),
            editing: Mutex::new(()),
            drawing: Mutex::new(()),
            measuring: Mutex::new(()),
            tasks,
            _lock: lock,
        })
    }

    pub(crate) fn now(&self) -> Timestamp {
        (self.clock)()
    }

    pub(crate) fn store(&self) -> MutexGuard<'_, Store> {
        held(&self.store)
    }

    pub(crate) fn library(&self) -> MutexGuard<'_, Library> {
        held(&self.library)
    }

    /// Serialises changes of case files.
    pub(crate) fn editing(&self) -> MutexGuard<'_, ()> {
        held(&self.editing)
    }

    /// Lets one photo at a time be decoded for a page.
    pub(crate) fn drawing(&self) -> MutexGuard<'_, ()> {
        held(&self.drawing)
    }

    /// Lets one set of photos at a time be measured, so that memory stays bounded.
    pub(crate) fn measuring(&self) -> MutexGuard<'_, ()> {
        held(&self.measuring)
    }

    pub(crate) fn shelf_state(&self) -> ShelfState {
        self.shelf.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The library's content, when it is ready.
    pub(crate) fn shelf(&self) -> Option<Arc<Shelf>> {
        match self.shelf_state() {
            ShelfState::Ready(shelf) => Some(shelf),
            _ => None,
        }
    }

    pub(crate) fn set_shelf(&self, state: ShelfState) {
        *self.shelf.write().unwrap_or_else(PoisonError::into_inner) = state;
        self.tell(None);
    }

    /// Every offer, by name.
    pub(crate) fn entries(&self) -> Vec<Arc<Entry>> {
        self.entries.read().unwrap_or_else(PoisonError::into_inner).values().cloned().collect()
    }

    pub(crate) fn entry(&self, id: &Slug) -> Option<Arc<Entry>> {
        self.entries.read().unwrap_or_else(PoisonError::into_inner).get(id).cloned()
    }

    /// Shows an entry as it is now, here and to whoever watches.
    pub(crate) fn show(&self, entry: Entry) {
        let id = entry.id.clone();
        self.entries.write().unwrap_or_else(PoisonError::into_inner).insert(id.clone(), Arc::new(entry));
        self.tell(Some(id));
    }

    /// Writes an entry down and shows it.
    pub(crate) fn keep(&self, entry: Entry) -> Result<(), DeskError> {
        self.store().keep(&entry)?;
        self.show(entry);
        Ok(())
    }

    fn tell(&self, offer: Option<Slug>) {
        // Nobody watching is no fault.
        let _ = self.events.send(Event { offer });
    }

    /// Says that something about the library or its tasks has changed.
    pub(crate) fn tell_library(&self) {
        self.tell(None);
    }

    pub(crate) fn watch(&self) -> broadcast::Receiver<Event> {
        self.events.subscribe()
    }

    /// Wakes the worker.
    pub(crate) fn ring(&self) {
        *held(&self.bell.0) = true;
        self.bell.1.notify_all();
    }

    /// Waits until somebody rings, or for as long as told.
    pub(crate) fn wait(&self, most: std::time::Duration) {
        let mut rung = held(&self.bell.0);
        if !*rung {
            rung = self.bell.1.wait_timeout(rung, most).unwrap_or_else(PoisonError::into_inner).0;
        }
        *rung = false;
    }

    /// Lets an offer be looked at (again).
    pub(crate) fn ask(&self, id: &Slug, urgency: Urgency) -> Result<(), DeskError> {
        self.store().ask(id, urgency, self.now())?;
        if let Some(entry) = self.entry(id) {
            let mut entry = (*entry).clone();
            entry.standing = crate::row::Standing::Waiting;
            entry.problem = None;
            self.show(entry);
        }
        self.ring();
        Ok(())
    }

    pub(crate) fn folder_of(&self, id: &Slug) -> PathBuf {
        self.folders.offers.join(id.as_str())
    }

    pub(crate) fn shown_folder(&self, id: &Slug) -> PathBuf {
        self.folders.own.join("shown").join(id.as_str())
    }

    pub(crate) fn boards_folder(&self) -> PathBuf {
        self.folders.own.join("boards")
    }

    /// A case as it lies on disk. The desk knows it by its folder's name.
    pub(crate) fn case_folder(&self, id: &Slug) -> Result<CaseFolder, DeskError> {
        let mut folder = CaseFolder::read(std::slice::from_ref(&self.folder_of(id)))?;
        folder.case.id = id.clone();
        Ok(folder)
    }

    /// What is written about a case, also while it has no photo yet.
    pub(crate) fn case(&self, id: &Slug) -> Result<CaseFile, DeskError> {
        match self.case_folder(id) {
            Ok(folder) => Ok(folder.case),
            Err(DeskError::Examination(examination::ExaminationError::NoPhotos { .. })) => {
                let file = self.folder_of(id).join("case.toml");
                let mut case: CaseFile = if file.is_file() {
                    casebook::document::read(&file)?
                } else {
                    CaseFile::of_photos(id.as_str()).map_err(examination::ExaminationError::from)?
                };
                case.id = id.clone();
                Ok(case)
            }
            Err(error) => Err(error),
        }
    }

    /// The latest examination of a case.
    pub(crate) fn examination(&self, id: &Slug) -> Result<Option<Examination>, DeskError> {
        Ok(self.library().latest_examination(id)?)
    }

    pub(crate) fn shown(&self, id: &Slug) -> Shown {
        Shown::read(&self.shown_folder(id)).unwrap_or_default()
    }

    /// The row of a case as it is now.
    pub(crate) fn row(&self, case: &CaseFile, examination: Option<&Examination>, shown: &Shown) -> Row {
        let mut row = Row::of_case(case, case.photos.len());
        if let Some(examination) = examination {
            row = row.with(examination);
        }
        row.thumb = shown
            .photos
            .first()
            .map(|photo| (photo.small.hash.clone(), photo.small.width, photo.small.height));
        row
    }

    /// Where a photo of that content lies: of an offer, or of the library.
    pub(crate) fn photo_path(&self, hash: &PhotoHash) -> Result<Option<PathBuf>, Trouble> {
        if let Some((offer, file)) = self.store().photo(hash)? {
            let path = self.folder_of(&offer).join(file.as_str());
            if path.is_file() {
                return Ok(Some(path));
            }
        }
        Ok(self.library().photo_path(hash)?.filter(|path| path.is_file()))
    }
}

/// A name that nothing else has, for a folder.
pub(crate) fn random_name() -> Result<String, DeskError> {
    let mut bytes = [0_u8; 8];
    getrandom::fill(&mut bytes).map_err(|error| DeskError::Random(error.to_string()))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

pub(crate) fn make_folder(folder: &Path) -> Result<(), DeskError> {
    fs::create_dir_all(folder).map_err(|source| DeskError::Folder { folder: folder.to_owned(), source })
}

fn take_lock(own: &Path) -> Result<File, DeskError> {
    let fail = |source| DeskError::Folder { folder: own.to_owned(), source };
    let lock =
        File::options().create(true).truncate(false).write(true).open(own.join("lock")).map_err(fail)?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(fs::TryLockError::WouldBlock) => Err(DeskError::Taken { folder: own.to_owned() }),
        Err(fs::TryLockError::Error(source)) => Err(fail(source)),
    }
}

/// The word that every change must bring along: other pages cannot read it. It outlives the program,
/// so that a page that was open before a restart still works.
fn token(own: &Path) -> Result<String, DeskError> {
    let file = own.join("token");
    if let Ok(text) = fs::read_to_string(&file)
        && text.len() == 64
        && text.bytes().all(|b| b.is_ascii_hexdigit())
    {
        return Ok(text);
    }
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| DeskError::Random(error.to_string()))?;
    let text: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    casebook::atomic::write(&file, text.as_bytes())?;
    restrict(&file)?;
    Ok(text)
}

#[cfg(unix)]
fn restrict(file: &Path) -> Result<(), DeskError> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(file, fs::Permissions::from_mode(0o600))
        .map_err(|source| DeskError::Folder { folder: file.to_owned(), source })
}

#[cfg(not(unix))]
fn restrict(_: &Path) -> Result<(), DeskError> {
    Ok(())
}
