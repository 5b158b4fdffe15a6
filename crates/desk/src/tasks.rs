//! Work on the library that takes longer than a request: a product learned from photos, a product packed
//! into a bundle, a bundle taken in.
//!
//! In: `desk/tasks/<name>/` with `task.json` and what arrived for it. Out: how far it is, what came out,
//! a file to fetch, or why it could not be done. One thread works them off in their order; what was
//! accepted is on disk, so a program that was ended in the middle takes it up again. What was learned goes
//! into the library only when a person has looked at it.
//! Never here: how anything is learned or packed, HTML.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

use casebook::library::Library;
use casebook::library::bundle::Limits;
use casebook::names::{PhotoHash, ProductId};
use learn::{Agreement, Asked, LearnError, LearnFolder, learn_folder};
use serde::{Deserialize, Serialize};

use crate::desk::Desk;
use crate::error::{DeskError, Trouble};
use crate::telling::Telling;

/// The file that says what a task is.
const FILE: &str = "task.json";
/// What was learned, inside a task's folder.
const LEARNED: &str = "learned";
/// What arrived, inside a task's folder.
pub(crate) const ARRIVED: &str = "arrived";
/// A bundle that was packed, inside a task's folder.
const BUNDLE: &str = "bundle.zip";

/// What is to be done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Kind {
    /// A product from photos of one genuine item.
    Learn,
    /// A product into a file.
    Pack { product: ProductId },
    /// A file into the library.
    TakeIn { file: String },
}

/// How far it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Stage {
    Waiting,
    Working,
    /// Learned and not in the library yet: a person looks at it first.
    Learned,
    Done,
    Failed,
}

impl Stage {
    /// Whether something is still going to happen by itself.
    pub(crate) const fn is_open(self) -> bool {
        matches!(self, Self::Waiting | Self::Working)
    }

    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Working => "working",
            Self::Learned => "learned",
            Self::Done => "done",
            Self::Failed => "failed",
        }
    }
}

/// A picture to look at before it goes into the library.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct LearnedPicture {
    pub(crate) words: String,
    pub(crate) hash: PhotoHash,
    path: PathBuf,
}

/// One task.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Task {
    pub(crate) name: String,
    pub(crate) kind: Kind,
    /// What it is about, as pages say it.
    pub(crate) title: String,
    pub(crate) added_at: String,
    pub(crate) stage: Stage,
    /// How far it is, what came out, or why it failed.
    pub(crate) words: String,
    /// What else is to be said, a line each.
    pub(crate) lines: Vec<String>,
    /// The product that came out.
    pub(crate) product: Option<ProductId>,
    pub(crate) pictures: Vec<LearnedPicture>,
    /// What the library held when the product was learned.
    content: Option<i64>,
    /// Catalogue and specimen that were learned.
    learned: Option<(PathBuf, Option<PathBuf>)>,
}

/// All tasks of a desk.
#[derive(Debug)]
pub(crate) struct Tasks {
    folder: PathBuf,
    all: Mutex<Vec<Task>>,
    bell: Condvar,
}

impl Tasks {
    /// Reads the tasks of a folder; those that were being worked on wait again.
    pub(crate) fn open(folder: PathBuf) -> Result<Self, DeskError> {
        crate::desk::make_folder(&folder)?;
        let mut all = Vec::new();
        let entries =
            fs::read_dir(&folder).map_err(|source| DeskError::Folder { folder: folder.clone(), source })?;
        for entry in entries.flatten() {
            let read = fs::read_to_string(entry.path().join(FILE)).ok();
            let Some(mut task) = read.and_then(|text| serde_json::from_str::<Task>(&text).ok()) else {
                continue;
            };
            if task.stage == Stage::Working {
                task.stage = Stage::Waiting;
            }
            all.push(task);
        }
        all.sort_by(|a, b| a.added_at.cmp(&b.added_at).then_with(|| a.name.cmp(&b.name)));
        Ok(Self { folder, all: Mutex::new(all), bell: Condvar::new() })
    }

    fn held(&self) -> MutexGuard<'_, Vec<Task>> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Every task, the newest first.
    pub(crate) fn list(&self) -> Vec<Task> {
        self.held().iter().rev().cloned().collect()
    }

    pub(crate) fn get(&self, name: &str) -> Option<Task> {
        self.held().iter().find(|task| task.name == name).cloned()
    }

    /// Where a task keeps its files.
    pub(crate) fn folder_of(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Accepts a task. `arrived`: a folder with what it needs, which becomes the task's own.
    pub(crate) fn add(
        &self,
        desk: &Desk,
        kind: Kind,
        title: String,
        arrived: Option<&Path>,
    ) -> Result<Task, Trouble> {
        let name = crate::desk::random_name()?;
        let folder = self.folder_of(&name);
        crate::desk::make_folder(&folder)?;
        if let Some(arrived) = arrived {
            let target = folder.join(ARRIVED);
            fs::rename(arrived, &target).map_err(|source| DeskError::Folder { folder: target, source })?;
        }
        let task = Task {
            name,
            kind,
            title,
            added_at: desk.now().to_string(),
            stage: Stage::Waiting,
            words: "In line.".to_owned(),
            lines: Vec::new(),
            product: None,
            pictures: Vec::new(),
            content: None,
            learned: None,
        };
        self.write(&task)?;
        self.held().push(task.clone());
        self.bell.notify_all();
        Ok(task)
    }

    fn write(&self, task: &Task) -> Result<(), DeskError> {
        // Text and lists: printing cannot fail.
        let text = serde_json::to_string(task).unwrap_or_default();
        Ok(casebook::atomic::write(&self.folder_of(&task.name).join(FILE), text.as_bytes())?)
    }

    /// Writes a task down as it is now and tells whoever watches.
    pub(crate) fn keep(&self, desk: &Desk, task: &Task) -> Result<(), DeskError> {
        self.write(task)?;
        self.show(desk, task);
        Ok(())
    }

    fn show(&self, desk: &Desk, task: &Task) {
        if let Some(own) = self.held().iter_mut().find(|own| own.name == task.name) {
            *own = task.clone();
        }
        desk.tell_library();
    }

    /// Takes a task up once more.
    pub(crate) fn again(&self, desk: &Desk, mut task: Task) -> Result<(), Trouble> {
        task.stage = Stage::Waiting;
        "In line.".clone_into(&mut task.words);
        task.lines.clear();
        task.pictures.clear();
        self.keep(desk, &task)?;
        self.bell.notify_all();
        Ok(())
    }

    /// Removes a task with its files.
    pub(crate) fn leave(&self, desk: &Desk, name: &str) -> Result<(), Trouble> {
        let folder = self.folder_of(name);
        self.held().retain(|task| task.name != name);
        if folder.exists() {
            fs::remove_dir_all(&folder).map_err(|source| DeskError::Folder { folder, source })?;
        }
        desk.tell_library();
        Ok(())
    }

    fn next(&self) -> Task {
        let mut all = self.held();
        loop {
            if let Some(task) = all.iter_mut().find(|task| task.stage == Stage::Waiting) {
                task.stage = Stage::Working;
                "Begun.".clone_into(&mut task.words);
                return task.clone();
            }
            all = self.bell.wait(all).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

impl Task {
    /// A picture of it with that content.
    pub(crate) fn picture(&self, hash: &PhotoHash) -> Option<&Path> {
        self.pictures.iter().find(|picture| picture.hash == *hash).map(|picture| picture.path.as_path())
    }

    /// The bundle that was packed.
    pub(crate) fn bundle(&self, tasks: &Tasks) -> Option<PathBuf> {
        let path = tasks.folder_of(&self.name).join(BUNDLE);
        (self.stage == Stage::Done && matches!(self.kind, Kind::Pack { .. }) && path.is_file())
            .then_some(path)
    }
}

/// Works until the program ends.
pub(crate) fn work(desk: &Arc<Desk>) {
    loop {
        let mut task = desk.tasks.next();
        desk.tasks.show(desk, &task);
        let done = catch_unwind(AssertUnwindSafe(|| match task.kind.clone() {
            Kind::Learn => learn(desk, &mut task),
            Kind::Pack { product } => pack(desk, &mut task, &product),
            Kind::TakeIn { file } => take_in(desk, &mut task, &file),
        }));
        let problem = match done {
            Ok(Ok(())) => None,
            Ok(Err(words)) => Some(words),
            Err(_) => Some(
                "the program failed on this; this is a fault of untorn, not of your files. Report it with \
                 the files, and leave out those that are not needed"
                    .to_owned(),
            ),
        };
        if let Some(words) = problem {
            task.stage = Stage::Failed;
            // Paths inside the desk's folder say nothing to whoever sent a file.
            let own = format!("{}/", desk.tasks.folder_of(&task.name).display());
            task.words = words.replace(&own, "").replace(&format!("{ARRIVED}/"), "");
        }
        if desk.tasks.keep(desk, &task).is_err() {
            // A full disk: it is told on the page and tried again at the next start.
            desk.tasks.show(desk, &task);
        }
    }
}

/// Tells the pages how far a task is; nothing of it is written.
fn telling<'a>(desk: &'a Desk, task: &Task) -> Telling<impl Fn(&str, usize, usize) + Sync + 'a> {
    let task = task.clone();
    Telling::new(move |what: &str, done: usize, steps: usize| {
        let words = dossier::parts::capital(what);
        let words = if steps > 1 { format!("{words}: {done} of {steps}.") } else { format!("{words}.") };
        desk.tasks.show(desk, &Task { words, ..task.clone() });
    })
}

fn words(error: impl std::fmt::Display) -> String {
    error.to_string()
}

/// What went wrong, with the remedy in the words of the desk's own form.
fn remedy(error: &LearnError) -> String {
    match error {
        LearnError::NoSize { why } => format!(
            "no size is known: {why}; give width and height in mm (of a box the depth too), or lay a bank card beside the item"
        ),
        LearnError::OtherMake { nearest, how } => format!(
            "the item is like no known make (nearest: {nearest}): {how}; name its make below, or say that it is {nearest}"
        ),
        other => other.to_string(),
    }
}

fn learn(desk: &Desk, task: &mut Task) -> Result<(), String> {
    let folder = desk.tasks.folder_of(&task.name);
    let into = folder.join(LEARNED);
    if into.exists() {
        fs::remove_dir_all(&into).map_err(words)?;
    }
    let asked = LearnFolder::read(&folder.join(ARRIVED)).map_err(|error| remedy(&error))?;
    let library = Library::open(&desk.folders.library).map_err(words)?;
    let content = library.content_number().map_err(words)?;
    let day = desk.now().strftime("%Y-%m-%d").to_string();
    let asked = Asked { folder: &asked, into: &into, weak: false, day: &day };
    let outcome = {
        // One set of photos in memory at a time, whoever measures.
        let _alone = desk.measuring();
        learn_folder(&asked, &library, &telling(desk, task)).map_err(|error| remedy(&error))?
    };
    let learned = &outcome.learned;
    task.product = Some(outcome.names.product.clone());
    task.title.clone_from(&outcome.names.name);
    task.lines.clear();
    task.pictures.clear();
    for face in &learned.faces {
        let light = 100.0 * face.colour_u.iter().copied().fold(0.0, f64::max);
        task.lines.push(format!(
            "{}: {:.1} × {:.1} mm, corners ± {:.2} mm, {:.1} pixels a mm, light ± {light:.0} %, from {} photos, {} regions",
            dossier::parts::capital(face.id.as_str()),
            face.size_mm[0],
            face.size_mm[1],
            face.corner_u_mm,
            face.px_per_mm,
            face.photos.len(),
            face.regions.len()
        ));
    }
    if let Some(seal) = &learned.seal {
        if let Some(height) = seal.height_mm {
            task.lines.push(format!("End seals: {:.2} mm ± {:.2} mm high", height.value, height.u));
        }
        if let Some((direction, pitch)) = &seal.ridges {
            let along = *direction == casebook::catalogue::RidgeDirection::Along;
            let way = if along { "along" } else { "across" };
            task.lines
                .push(format!("Ridges: {way} the pack, {:.3} mm ± {:.3} mm apart", pitch.value, pitch.u));
        }
    }
    if let Agreement::Like(make) = &outcome.agreement {
        task.lines.push(format!("Agrees with the known make {make}, whose facts were narrowed"));
    }
    task.lines.extend(learned.confirm.iter().map(|line| format!("Please confirm {line}")));
    task.lines.extend(learned.lacking.iter().map(|line| format!("Lacking: {line}")));
    task.lines.extend(outcome.problems.iter().map(|line| format!("Not used: {line}")));
    let catalogue: casebook::catalogue::Catalogue =
        casebook::document::read(&outcome.written.catalogue).map_err(words)?;
    for (id, _, face) in catalogue.faces().filter(|(id, ..)| id.product == outcome.names.product) {
        let path = outcome.written.folder.join(face.reference.as_str());
        let hash = PhotoHash::of(&fs::read(&path).map_err(words)?);
        let words = format!("The {} as it was put together", dossier::parts::spaced(id.face.as_str()));
        task.pictures.push(LearnedPicture { words, hash, path });
    }
    task.content = Some(content);
    task.learned = Some((outcome.written.catalogue, outcome.written.specimen));
    task.stage = Stage::Learned;
    "Learned. Look at the pictures before it goes into the library.".clone_into(&mut task.words);
    Ok(())
}

/// Puts what was learned into the library.
///
/// # Errors
/// [`Trouble`] when nothing was learned or the library has changed since.
pub(crate) fn add_learned(desk: &Desk, mut task: Task) -> Result<ProductId, Trouble> {
    let (Stage::Learned, Some((catalogue, specimen)), Some(product)) =
        (task.stage, task.learned.clone(), task.product.clone())
    else {
        return Err(Trouble::wrong("there is nothing here to add; look at how the task stands"));
    };
    {
        let mut library = desk.library();
        if Some(library.content_number()?) != task.content {
            return Err(Trouble::wrong(
                "the library has changed since this was learned, and adding it could undo that change; let it be learned once more",
            ));
        }
        let faces = catalogue.parent().unwrap_or(Path::new(".")).to_owned();
        library.add_catalogue(&catalogue, &faces, desk.now())?;
        if let Some(specimen) = &specimen {
            library.add_specimen(specimen, desk.now())?;
        }
    }
    task.stage = Stage::Done;
    "In the library.".clone_into(&mut task.words);
    desk.tasks.keep(desk, &task)?;
    desk.ring();
    Ok(product)
}

fn pack(desk: &Desk, task: &mut Task, product: &ProductId) -> Result<(), String> {
    // A connection of its own, so that pages do not wait for it.
    let mut library = Library::open(&desk.folders.library).map_err(words)?;
    let file = desk.tasks.folder_of(&task.name).join(BUNDLE);
    let packed = library.export_product(product, &file, desk.now()).map_err(words)?;
    let size = fs::metadata(&file).map_err(words)?.len();
    task.stage = Stage::Done;
    task.product = Some(product.clone());
    task.words = format!(
        "Packed: {} specimens, {} reference pictures, {:.1} MB.",
        packed.specimens.len(),
        packed.references.len(),
        size as f64 / 1e6
    );
    Ok(())
}

fn take_in(desk: &Desk, task: &mut Task, file: &str) -> Result<(), String> {
    let mut library = Library::open(&desk.folders.library).map_err(words)?;
    let path = desk.tasks.folder_of(&task.name).join(ARRIVED).join(file);
    let said = library.import_bundle(&path, &Limits::default(), desk.now()).map_err(words)?;
    task.stage = Stage::Done;
    task.product = said.product.parse().ok();
    task.words = format!("{} added, {} there already and the same.", said.added.len(), said.known);
    task.lines = said.added.iter().map(|one| format!("Added: {one}")).collect();
    task.lines.extend(said.kept.iter().map(|one| format!("Differs, and the library's own was kept: {one}")));
    // The bundle is in the library now.
    let _ = fs::remove_dir_all(desk.tasks.folder_of(&task.name).join(ARRIVED));
    desk.ring();
    Ok(())
}
