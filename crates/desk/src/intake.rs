//! Taking in what was dropped: photos, folders, a saved page, a pasted picture.
//!
//! In: a multipart body, which is written to disk as it arrives. Out: files in a folder of their own,
//! each whole, checked by its header and flushed; [`accept`] makes a case of them before the answer
//! leaves. What is refused is told by name, with the remedy; the rest is taken.
//! Never here: decoding a photo, running or serving anything of a saved page.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};
use axum::http::StatusCode;
use casebook::case::{CaseFile, CasePhoto, OfferFacts, PhotoGroup};
use casebook::document::{self, Notation};
use casebook::names::{PhotoFile, PhotoHash, Slug};
use tokio::io::AsyncWriteExt;

use crate::desk::Desk;
use crate::error::{DeskError, Trouble};
use crate::row::{Entry, Row, Standing};
use crate::store::Urgency;

/// Most files of one upload.
pub(crate) const MOST_FILES: usize = 120;
/// Most photos of one case, and most pixels of all of them together: what an examination holds in memory
/// at once (3 bytes a pixel) stays well below 1.5 GB.
pub(crate) const MOST_PHOTOS: usize = 40;
const MOST_PIXELS: u64 = 400_000_000;
/// Shorter pictures beside a saved page are its icons, pixels on the long side.
const LEAST_SIDE: u32 = 200;
/// What a photo counts whose header does not say its size, pixels.
const USUAL_PIXELS: u64 = 12_000_000;
/// Most bytes of one photo; the photo crate refuses larger ones as well.
pub(crate) const MOST_FILE_BYTES: u64 = 64 << 20;
/// Most bytes of one upload.
pub(crate) const MOST_UPLOAD_BYTES: u64 = 1 << 30;
/// Most bytes of a text field.
const MOST_FIELD_BYTES: usize = 64 << 10;
/// Longest name of a case made from a title, letters.
const MOST_NAME: usize = 40;

/// What arrived.
#[derive(Debug, Default)]
pub(crate) struct Arrived {
    /// Where it lies; removed with this value unless it was accepted.
    pub(crate) folder: PathBuf,
    /// Photos in their order: name, hash.
    pub(crate) photos: Vec<(PhotoFile, PhotoHash)>,
    /// Other files that a case may have: `case.toml`, a saved page, catalogue or specimen.
    pub(crate) documents: Vec<(String, PathBuf)>,
    /// The form's field that each photo came from.
    pub(crate) field_of: BTreeMap<PhotoFile, String>,
    /// Text fields.
    pub(crate) fields: BTreeMap<String, String>,
    /// What was refused: name as sent, why.
    pub(crate) refused: Vec<(String, String)>,
    bytes: u64,
    files: usize,
    pixels: u64,
}

impl Drop for Arrived {
    fn drop(&mut self) {
        if !self.folder.as_os_str().is_empty() {
            // What stays is cleared at the next start.
            let _ = fs::remove_dir_all(&self.folder);
        }
    }
}

/// Reads a whole multipart body to disk.
///
/// # Errors
/// [`Trouble`] when the token is missing or comes after a file, a limit is passed, or the disk is full.
pub(crate) async fn receive(
    desk: &Desk,
    mut body: Multipart,
    mut token_seen: bool,
) -> Result<Arrived, Trouble> {
    let mut arrived = Arrived::default();
    arrived.folder = new_folder(desk)?;
    while let Some(field) = body.next_field().await.map_err(broken)? {
        let name = field.name().unwrap_or_default().to_owned();
        match field.file_name().map(str::to_owned) {
            None => {
                let value = text(field, &name).await?;
                token_seen |= name == "token" && crate::guard::is_token(desk, &value);
                arrived.fields.insert(name, value);
            }
            // A form's empty file field.
            Some(sent) if sent.is_empty() => {}
            Some(sent) => {
                if !token_seen {
                    return Err(crate::guard::no_token());
                }
                arrived.take_file(field, &name, &sent).await?;
            }
        }
    }
    if token_seen { Ok(arrived) } else { Err(crate::guard::no_token()) }
}

fn new_folder(desk: &Desk) -> Result<PathBuf, DeskError> {
    let folder = desk.folders.own.join("incoming").join(crate::desk::random_name()?);
    fs::create_dir_all(&folder).map_err(|source| DeskError::Folder { folder: folder.clone(), source })?;
    Ok(folder)
}

fn broken(error: MultipartError) -> Trouble {
    Trouble::new(error.status(), format!("the upload broke off ({error}); nothing was taken, send it again"))
}

async fn text(mut field: Field<'_>, name: &str) -> Result<String, Trouble> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(broken)? {
        if bytes.len() + chunk.len() > MOST_FIELD_BYTES {
            let words = format!("the field \"{name}\" is over {} KiB; shorten it", MOST_FIELD_BYTES >> 10);
            return Err(Trouble::new(StatusCode::PAYLOAD_TOO_LARGE, words));
        }
        bytes.extend_from_slice(&chunk);
    }
    String::from_utf8(bytes).map_err(|_| Trouble::wrong(format!("the field \"{name}\" is not UTF-8 text")))
}

impl Arrived {
    async fn take_file(&mut self, mut field: Field<'_>, from: &str, sent: &str) -> Result<(), Trouble> {
        self.files += 1;
        if self.files > MOST_FILES {
            return Err(Trouble::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("more than {MOST_FILES} files at once; nothing was taken, send them offer by offer"),
            ));
        }
        let shown = plain_name(sent);
        let part = self.folder.join(format!(".{}.part", self.files));
        let full = |source| Trouble::from(DeskError::Folder { folder: self.folder.clone(), source });
        let mut file = tokio::fs::File::create(&part).await.map_err(full)?;
        let mut hasher = blake3::Hasher::new();
        let mut size = 0_u64;
        let mut too_large = false;
        while let Some(chunk) = field.chunk().await.map_err(broken)? {
            size += chunk.len() as u64;
            self.bytes += chunk.len() as u64;
            if self.bytes > MOST_UPLOAD_BYTES {
                return Err(Trouble::new(
                    StatusCode::PAYLOAD_TOO_LARGE,
                    format!(
                        "more than {} MiB at once; nothing was taken, send fewer",
                        MOST_UPLOAD_BYTES >> 20
                    ),
                ));
            }
            // A bundle holds many photos; how much it may hold unpacked is checked when it is taken in.
            too_large |= size > MOST_FILE_BYTES && !is_bundle(&shown);
            if !too_large {
                hasher.update(&chunk);
                file.write_all(&chunk).await.map_err(full)?;
            }
        }
        file.flush().await.map_err(full)?;
        file.sync_all().await.map_err(full)?;
        drop(file);
        if too_large {
            let words = format!("is over the limit of {} MiB; make it smaller", MOST_FILE_BYTES >> 20);
            self.refuse(&part, &shown, &words);
            return Ok(());
        }
        self.sort_in(&part, from, &shown, &hasher);
        Ok(())
    }

    fn refuse(&mut self, part: &Path, shown: &str, words: &str) {
        let _ = fs::remove_file(part);
        self.refused.push((shown.to_owned(), words.to_owned()));
    }

    /// Gives a written file its name, or refuses it.
    fn sort_in(&mut self, part: &Path, from: &str, shown: &str, hasher: &blake3::Hasher) {
        let ending =
            shown.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase()).unwrap_or_default();
        if matches!(ending.as_str(), "html" | "htm" | "toml" | "zip") {
            let kept_name = ending == "toml" || ending == "zip";
            let name = if kept_name { shown.to_owned() } else { "page.html".to_owned() };
            let target = self.folder.join(format!("{}-{name}", self.files));
            match fs::rename(part, &target) {
                Ok(()) => self.documents.push((name, target)),
                Err(error) => self.refuse(part, shown, &format!("cannot be kept ({error}); send it again")),
            }
            return;
        }
        if matches!(ending.as_str(), "mhtml" | "mht") {
            self.refuse(part, shown, "save the page as \"web page, complete\" (HTML) and give that");
            return;
        }
        let kind = match examination::probe(part, shown) {
            Ok(kind) => kind,
            Err(words) => {
                let words = words.strip_prefix(&format!("{shown}: ")).unwrap_or(&words).to_owned();
                self.refuse(part, shown, &words);
                return;
            }
        };
        if kind.size_px.is_some_and(|(width, height)| width.max(height) < LEAST_SIDE) {
            let words =
                format!("is under {LEAST_SIDE} pixels, too small to examine; give the photo in full size");
            self.refuse(part, shown, &words);
            return;
        }
        let pixels =
            kind.size_px.map_or(USUAL_PIXELS, |(width, height)| u64::from(width) * u64::from(height));
        if self.photos.len() >= MOST_PHOTOS || self.pixels + pixels > MOST_PIXELS {
            let words = format!(
                "one case takes {MOST_PHOTOS} photos and {} megapixels together; leave out those that show nothing new",
                MOST_PIXELS / 1_000_000
            );
            self.refuse(part, shown, &words);
            return;
        }
        let Ok(hash) = hasher.finalize().to_hex().as_str().parse::<PhotoHash>() else { return };
        if self.photos.iter().any(|(_, other)| *other == hash) {
            self.refuse(part, shown, "the same photo was sent twice; it is kept once");
            return;
        }
        let stem = shown.rsplit_once('.').map_or(shown, |(stem, _)| stem);
        let name = unique(stem, kind.ending, |name| self.photos.iter().any(|(own, _)| own.as_str() == name));
        let Ok(name) = name.parse::<PhotoFile>() else { return };
        match fs::rename(part, self.folder.join(name.as_str())) {
            Ok(()) => {
                self.field_of.insert(name.clone(), from.to_owned());
                self.photos.push((name, hash));
                self.pixels += pixels;
            }
            Err(error) => self.refuse(part, shown, &format!("cannot be kept ({error}); send it again")),
        }
    }

    /// The refused files in one sentence each.
    pub(crate) fn refusals(&self) -> Vec<String> {
        self.refused.iter().map(|(name, why)| format!("{name}: {why}")).collect()
    }
}

fn is_bundle(name: &str) -> bool {
    name.to_ascii_lowercase().ends_with(".zip")
}

/// The last part of a name as a stranger's system wrote it, with nothing in it that could lead elsewhere.
fn plain_name(sent: &str) -> String {
    let last = sent.rsplit(['/', '\\']).next().unwrap_or_default();
    let clean: String = last
        .trim_start_matches('.')
        .chars()
        .filter(|c| !c.is_control() && !matches!(c, ':' | '*' | '?' | '"' | '<' | '>' | '|'))
        .take(100)
        .collect();
    let clean = clean.trim().trim_end_matches('.').to_owned();
    if clean.is_empty() { "photo".to_owned() } else { clean }
}

fn unique(stem: &str, ending: &str, taken: impl Fn(&str) -> bool) -> String {
    let mut name = format!("{stem}.{ending}");
    let mut copy = 2;
    while taken(&name) {
        name = format!("{stem}-{copy}.{ending}");
        copy += 1;
    }
    name
}

/// Makes a case of what arrived and puts it in line. When this returns, it is on disk.
///
/// # Errors
/// [`Trouble`] when nothing usable arrived or `case.toml` is wrong; nothing is kept then.
pub(crate) fn accept(desk: &Desk, arrived: &mut Arrived) -> Result<Slug, Trouble> {
    let mut case = case_of(arrived)?;
    for (name, _) in arrived.documents.iter().filter(|(name, _)| is_bundle(name)) {
        let words = "a packed file is no photo; unpack it and give the photos, or take a library's bundle in under Library, Add";
        arrived.refused.push((name.clone(), words.to_owned()));
    }
    if arrived.photos.is_empty() && case.offer.is_none() {
        let mut words =
            "no photo arrived; drop JPEG, PNG, WebP or HEIC photos, or a saved web page".to_owned();
        for refusal in arrived.refusals() {
            words.push_str("; ");
            words.push_str(&refusal);
        }
        return Err(Trouble::wrong(words));
    }
    if case.photos.is_empty() {
        case.photos = arrived.photos.iter().map(|(file, _)| claimed(file)).collect();
    } else {
        let here = |photo: &CasePhoto| arrived.photos.iter().any(|(file, _)| *file == photo.file);
        if let Some(absent) = case.photos.iter().find(|photo| !here(photo)) {
            return Err(Trouble::wrong(format!(
                "case.toml names the photo \"{}\", which did not arrive; send it along",
                absent.file
            )));
        }
    }
    let documents = std::mem::take(&mut arrived.documents);
    for (name, path) in &documents {
        // The page is kept as evidence and never served; case.toml is written anew below.
        let kept = name == "page.html" && fs::rename(path, arrived.folder.join("page.html")).is_ok();
        if !kept {
            let _ = fs::remove_file(path);
        }
    }
    let _editing = desk.editing();
    let id = free_id(desk, &case)?;
    case.id = id.clone();
    let text = document::print(&case, Notation::Toml)?;
    casebook::atomic::write(&arrived.folder.join("case.toml"), text.as_bytes())?;
    let target = desk.folder_of(&id);
    fs::rename(&arrived.folder, &target)
        .map_err(|source| DeskError::Folder { folder: target.clone(), source })?;
    arrived.folder = PathBuf::new();
    sync_folder(&target);
    sync_folder(&desk.folders.offers);
    let row = Row::of_case(&case, case.photos.len());
    let (standing, problem) = if case.photos.is_empty() {
        let words = "there is no photo yet; add the offer's photos to have them examined";
        (Standing::Stuck, Some(words.to_owned()))
    } else {
        (Standing::Waiting, None)
    };
    let entry =
        Entry { id: id.clone(), added_at: desk.now().to_string(), standing, problem, away: false, row };
    desk.store().add(&entry, &arrived.photos.iter().cloned().collect(), Urgency::Added)?;
    desk.library().note("take-case", id.as_str(), PhotoHash::of(text.as_bytes()).as_str(), desk.now())?;
    desk.show(entry);
    desk.ring();
    Ok(id)
}

/// Puts photos that arrived later into a case's folder and gives their new names.
pub(crate) fn move_in(
    desk: &Desk,
    arrived: &Arrived,
    id: &Slug,
    case: &mut CaseFile,
) -> Result<usize, Trouble> {
    let folder = desk.folder_of(id);
    let known = desk.store().photos_of(id)?;
    let mut moved = BTreeMap::new();
    for (file, hash) in &arrived.photos {
        if known.values().any(|other| other == hash) {
            continue;
        }
        if case.photos.len() >= MOST_PHOTOS {
            return Err(Trouble::wrong(format!(
                "one case takes {MOST_PHOTOS} photos; make another case of the rest"
            )));
        }
        let (stem, ending) = file.as_str().rsplit_once('.').unwrap_or((file.as_str(), "jpg"));
        let name = unique(stem, ending, |name| {
            folder.join(name).exists() || case.photos.iter().any(|photo| photo.file.as_str() == name)
        });
        let Ok(name) = name.parse::<PhotoFile>() else { continue };
        fs::rename(arrived.folder.join(file.as_str()), folder.join(name.as_str()))
            .map_err(|source| DeskError::Folder { folder: folder.clone(), source })?;
        case.photos.push(claimed(&name));
        moved.insert(name, hash.clone());
    }
    sync_folder(&folder);
    desk.store().set_photos(id, &moved)?;
    Ok(moved.len())
}

fn claimed(file: &PhotoFile) -> CasePhoto {
    CasePhoto { file: file.clone(), group: PhotoGroup::Claimed, sitting: None, shows: Vec::new() }
}

/// What the documents that came along say.
fn case_of(arrived: &Arrived) -> Result<CaseFile, Trouble> {
    let mut case = CaseFile::of_photos("case").map_err(examination::ExaminationError::from)?;
    if let Some((_, path)) = arrived.documents.iter().find(|(name, _)| name == "case.toml") {
        let text = read_text(path, "case.toml")?;
        case = document::parse(&text, Path::new("case.toml"), Notation::Toml)?;
    }
    if let Some((_, path)) = arrived.documents.iter().find(|(name, _)| name == "page.html")
        && case.offer.is_none()
    {
        let html = fs::read(path).map_err(|source| DeskError::Folder { folder: path.clone(), source })?;
        case.offer = offer::page::read(&html)
            .map_err(|error| Trouble::wrong(format!("the saved page: {error}")))?
            .facts();
    }
    let said = |name: &str| arrived.fields.get(name).map(|text| text.trim()).filter(|text| !text.is_empty());
    if let Some(title) = said("title") {
        let offer = case.offer.get_or_insert_with(OfferFacts::default);
        if offer.title.is_empty() {
            title.clone_into(&mut offer.title);
        }
    }
    Ok(case)
}

pub(crate) fn read_text(path: &Path, shown: &str) -> Result<String, Trouble> {
    let bytes = fs::read(path).map_err(|source| DeskError::Folder { folder: path.to_owned(), source })?;
    String::from_utf8(bytes)
        .map_err(|_| Trouble::wrong(format!("{shown}: is not UTF-8 text; save it as UTF-8")))
}

/// A name that no case has yet: from the title, else from what the case file says.
fn free_id(desk: &Desk, case: &CaseFile) -> Result<Slug, Trouble> {
    let title =
        case.offer.as_ref().map(|offer| offer.title.as_str()).filter(|title| !title.trim().is_empty());
    let stem = match title {
        _ if case.id.as_str() != "case" => case.id.to_string(),
        Some(title) => slug(title),
        None => format!("photos-{}", desk.now().strftime("%Y-%m-%d")),
    };
    for copy in 1..10_000 {
        let name = if copy == 1 { stem.clone() } else { format!("{stem}-{copy}") };
        if let Ok(id) = name.parse::<Slug>()
            && !desk.folder_of(&id).exists()
            && desk.entry(&id).is_none()
        {
            return Ok(id);
        }
    }
    Err(Trouble::wrong(format!("there are 10,000 cases called \"{stem}\"; give this one another title")))
}

fn slug(title: &str) -> String {
    slugged(title).unwrap_or_else(|| "offer".to_owned())
}

/// A name for files and addresses from printed words; none when no Latin letter or digit is in them.
pub(crate) fn slugged(title: &str) -> Option<String> {
    let mut text = String::new();
    for c in title.to_lowercase().chars() {
        if c.is_ascii_alphanumeric() {
            text.push(c);
        } else if !text.ends_with('-') && !text.is_empty() {
            text.push('-');
        }
        if text.len() >= MOST_NAME {
            break;
        }
    }
    let text = text.trim_matches('-').to_owned();
    (!text.is_empty()).then_some(text)
}

fn sync_folder(folder: &Path) {
    // Some file systems refuse to sync a folder; the files in it were synced one by one.
    if let Ok(handle) = fs::File::open(folder) {
        let _ = handle.sync_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_from_strangers_lead_nowhere() {
        for (sent, plain) in [
            ("../../etc/passwd", "passwd"),
            ("C:\\photos\\a.jpg", "a.jpg"),
            ("/tmp/x.png", "x.png"),
            (".hidden.jpg", "hidden.jpg"),
            ("..", "photo"),
            ("a\0b\n.jpg", "ab.jpg"),
            ("<img src=x>.jpg", "img src=x.jpg"),
            ("", "photo"),
        ] {
            assert_eq!(plain_name(sent), plain, "{sent:?}");
            assert!(plain_name(sent).parse::<PhotoFile>().is_ok());
        }
        assert!(plain_name(&"é".repeat(400)).parse::<PhotoFile>().is_ok());
    }

    #[test]
    fn titles_become_names() {
        for (title, name) in
            [("Brass Estuary, 2 packs!", "brass-estuary-2-packs"), ("  ", "offer"), ("日本", "offer")]
        {
            assert_eq!(slug(title), name);
            assert!(slug(title).parse::<Slug>().is_ok());
        }
        assert!(slug(&"a-".repeat(90)).parse::<Slug>().is_ok());
    }
}
