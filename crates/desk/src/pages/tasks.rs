//! Tasks of the library: forms that begin them, how far each is, what came out.
//!
//! In: the desk's tasks. Out: HTML; new tasks from what arrived. What was learned is shown with its
//! pictures and what to confirm before it goes into the library. Never here: learning, packing.

use casebook::catalogue::{Catalogue, Form};
use casebook::document::{self, Notation};
use casebook::learn::LearnFile;
use casebook::names::{PhotoFile, ProductId};
use dossier::parts;
use maud::{Markup, html};
use serde::Serialize;

use super::library::{said, tabs};
use super::{Part, Reader, data, frame, time, token};
use crate::desk::Desk;
use crate::edit::Fields;
use crate::error::{DeskError, Trouble};
use crate::intake::{Arrived, slugged};
use crate::tasks::{ARRIVED, Kind, Stage, Task, add_learned};

/// Faces that photos are chosen for, and what is said of them.
const FACES: [(&str, &str); 6] = [
    ("front", "Front"),
    ("back", "Back"),
    ("left", "Left side, of a box"),
    ("right", "Right side, of a box"),
    ("top", "Top, of a box"),
    ("bottom", "Bottom, of a box"),
];

#[derive(Serialize)]
struct Events {
    events: String,
}

/// The task of that name.
pub(crate) fn known(desk: &Desk, name: &str) -> Result<Task, Trouble> {
    desk.tasks.get(name).ok_or_else(|| Trouble::missing("task of that name"))
}

fn kind_words(kind: &Kind) -> &'static str {
    match kind {
        Kind::Learn => "A product from photos",
        Kind::Pack { .. } => "A bundle to hand on",
        Kind::TakeIn { .. } => "A bundle taken in",
    }
}

fn stage_words(stage: Stage) -> &'static str {
    match stage {
        Stage::Waiting => "in line",
        Stage::Working => "being worked on",
        Stage::Learned => "to be looked at",
        Stage::Done => "done",
        Stage::Failed => "not done",
    }
}

/// Tasks that stand, the newest first; nothing when there are none.
pub(crate) fn list(desk: &Desk) -> Markup {
    let all = desk.tasks.list();
    html! {
        @if !all.is_empty() {
            section {
                h2 { "What is being done" }
                div.scroll role="region" tabindex="0" aria-label="What is being done" {
                    table {
                        thead { tr { th scope="col" { "What" } th scope="col" { "Kind" } th scope="col" { "Since" } th scope="col" { "How it stands" } } }
                        tbody { @for task in &all { tr {
                            th scope="row" { a href=(format!("/library/task/{}", task.name)) { (parts::foreign(&task.title)) } }
                            td { (kind_words(&task.kind)) }
                            td { (time(&task.added_at)) }
                            td { (stage_words(task.stage)) }
                        } } }
                    }
                }
            }
        }
    }
}

/// The form that begins learning.
pub(crate) fn learn_form(desk: &Desk, catalogues: &[Catalogue]) -> Markup {
    html! {
        form.card method="post" action="/library/learn" enctype="multipart/form-data" {
            h2 { "A product from photos" }
            (token(desk))
            p.note { "One genuine item on a plain surface of another colour, each face photographed at least twice from a little to either side, the whole item in the frame. Nothing goes into the library before you have looked at what came out." }
            div.fields {
                div.field { label for="l-line" { "Line, as printed" } input #l-line name="line" required maxlength="60" list="l-lines" autocomplete="off"; }
                div.field { label for="l-release" { "Release, as printed" } input #l-release name="release" required maxlength="60" list="l-releases" autocomplete="off"; }
                div.field { label for="l-form" { "Form" } select #l-form name="form" { @for form in Form::ALL { option value=(form.word()) { (form.word()) } } } }
                (size_fields("l"))
                div.field.check.wide { input #l-card type="checkbox" name="card"; label for="l-card" { "Size unknown: a bank card lies beside the item, face down" } }
                div.field.wide { label for="l-known" { "How you know that it is genuine" } input #l-known name="known_by" required maxlength="300" placeholder="bought from the printer" autocomplete="off"; }
                div.field { label for="l-make" { "Make" span.note { " if there are several" } } input #l-make name="make" maxlength="60" autocomplete="off"; }
                @for (face, words) in FACES {
                    div.field.wide { label for=(format!("l-{face}")) { (words) } input id=(format!("l-{face}")) type="file" name=(face) multiple accept="image/jpeg,image/png,image/webp,image/heic,.heic"; }
                }
            }
            datalist #l-lines { @for catalogue in catalogues { option value=(catalogue.line.name) {} } }
            datalist #l-releases { @for catalogue in catalogues { option value=(catalogue.release.name) {} } }
            button { "Learn the product" }
        }
    }
}

fn size_fields(prefix: &str) -> Markup {
    let fields = [("width", "Width"), ("height", "Height"), ("depth", "Depth, of a box")];
    html! {
        @for (name, words) in fields {
            div.field { label for=(format!("{prefix}-{name}")) { (words) span.note { " mm" } } input id=(format!("{prefix}-{name}")) name=(name) inputmode="decimal" autocomplete="off"; }
        }
    }
}

/// The form that takes a bundle in.
pub(crate) fn bundle_form(desk: &Desk) -> Markup {
    html! {
        form.card method="post" action="/library/bundle" enctype="multipart/form-data" {
            h2 { "A bundle" }
            (token(desk))
            p.note { "A product with its specimens, as another library packed it. What is new is added; what is here already stays as it is. To pack one, open the product." }
            div.field.wide { label for="b-file" { "Bundle" span.note { " .zip" } } input #b-file type="file" name="files" required accept=".zip,application/zip"; }
            button { "Take it in" }
        }
    }
}

/// One task.
pub(crate) fn page(desk: &Desk, reader: Reader, name: &str) -> Result<String, Trouble> {
    let task = known(desk, name)?;
    let act = |act: &str| format!("/library/task/{name}/do/{act}");
    let title = format!("{}: {}", kind_words(&task.kind), task.title);
    let body = html! {
        p.crumbs { a href="/library" { "Library" } " / " a href="/library/add" { "Add" } " / " (kind_words(&task.kind)) }
        h1 { (parts::foreign(&task.title)) }
        (tabs(""))
        @if task.stage.is_open() {
            case-progress {
                (data(&Events { events: format!("/library/task/{name}/events") }))
                p role="status" { (task.words) " Load the page again to see how far it is." }
            }
            p.note { "You may leave this page; the work goes on, also after the desk was ended and started again." }
        } @else if task.stage == Stage::Failed {
            p.problem role="alert" { "Not done: " (parts::foreign(&task.words)) "." }
        } @else {
            p { (parts::foreign(&task.words)) }
        }
        @if !task.lines.is_empty() { ul { @for line in &task.lines { li { (parts::foreign(line)) } } } }
        @if !task.pictures.is_empty() {
            div.strip.large-strip { @for picture in &task.pictures {
                @let address = format!("/library/task/{name}/picture/{}", picture.hash);
                figure { a href=(address) { img src=(address) alt=(picture.words) loading="lazy"; } figcaption { (picture.words) } }
            } }
        }
        div.acts {
            @if task.stage == Stage::Learned {
                form method="post" action=(act("add")) { (token(desk)) button.main { "Add it to the library" } }
            }
            @if let Some(_) = task.bundle(&desk.tasks) {
                a.button href=(format!("/library/task/{name}/bundle")) download { "Save the bundle" }
            }
            @if let (Stage::Done, Some(product)) = (task.stage, &task.product) {
                a.button href=(format!("/library/product/{product}")) { "To the product" }
            }
            @if !task.stage.is_open() {
                form method="post" action=(act("leave")) { (token(desk)) button { @if task.stage == Stage::Done { "Take it off the list" } @else { "Throw it away" } } }
            }
        }
        @if matches!(task.stage, Stage::Failed | Stage::Learned) && task.kind == Kind::Learn {
            form.card method="post" action=(act("again")) {
                h2 { "Learn it once more" }
                (token(desk))
                p.note { "From the same photos. What is left empty stays as you said it before." }
                div.fields {
                    (size_fields("a"))
                    div.field { label for="a-make" { "Make" } input #a-make name="make" maxlength="60" autocomplete="off"; }
                }
                button { "Learn it once more" }
            }
        } @else if task.stage == Stage::Failed {
            form method="post" action=(act("again")) { (token(desk)) button { "Try it once more" } }
        }
    };
    Ok(frame(desk, reader, Part::Library, &title, &body))
}

/// What a person does with a task; the page to see next.
pub(crate) fn act(desk: &Desk, name: &str, act: &str, fields: &Fields) -> Result<String, Trouble> {
    let task = known(desk, name)?;
    match act {
        "add" => Ok(format!("/library/product/{}", add_learned(desk, task)?)),
        "leave" if !task.stage.is_open() => {
            desk.tasks.leave(desk, name)?;
            Ok("/library/add".to_owned())
        }
        "again" if !task.stage.is_open() => {
            if task.kind == Kind::Learn {
                let file = desk.tasks.folder_of(name).join(ARRIVED).join("learn.toml");
                let mut told: LearnFile = document::read(&file)?;
                let get = |name: &str| fields.get(name).map(String::as_str).unwrap_or_default();
                tell(&mut told, get)?;
                write(&told, &file)?;
            }
            desk.tasks.again(desk, task)?;
            Ok(format!("/library/task/{name}"))
        }
        "leave" | "again" => Err(Trouble::wrong("this is being worked on; wait for its end")),
        _ => Err(Trouble::missing("such act")),
    }
}

fn write(told: &LearnFile, file: &std::path::Path) -> Result<(), DeskError> {
    let text = document::print(told, Notation::Toml)?;
    Ok(casebook::atomic::write(file, text.as_bytes())?)
}

/// Puts size and make into what is said of the photos, where the form gives them.
fn tell<'a>(told: &mut LearnFile, get: impl Fn(&str) -> &'a str) -> Result<(), Trouble> {
    let length = |name: &str| -> Result<Option<f64>, Trouble> {
        let text = get(name).trim().replace(',', ".");
        if text.is_empty() {
            return Ok(None);
        }
        let value = text.parse::<f64>().ok().filter(|mm| *mm > 1.0 && *mm < 2_000.0);
        value.map(Some).ok_or_else(|| {
            Trouble::wrong(format!(
                "{name}: \"{text}\" is no length between 1 and 2000 mm; write one such as 65.5"
            ))
        })
    };
    let sizes = [length("width")?, length("height")?, length("depth")?];
    match sizes {
        [None, None, None] => {}
        [Some(width), Some(height), depth] => {
            told.size_mm = [width, height].into_iter().chain(depth).collect()
        }
        _ => {
            return Err(Trouble::wrong(
                "the size needs width and height, and of a box the depth; fill them in",
            ));
        }
    }
    let make = get("make").trim();
    if !make.is_empty() {
        let name = slugged(make).and_then(|name| name.parse().ok());
        told.make =
            Some(name.ok_or_else(|| Trouble::wrong("make: give it a name of letters a to z and digits"))?);
    }
    Ok(())
}

/// Takes photos of one genuine item, to learn a product from.
pub(crate) fn take_learn(desk: &Desk, arrived: &mut Arrived) -> Result<String, Trouble> {
    if arrived.photos.is_empty() {
        let mut words =
            vec!["no photo arrived; choose two or more of each face (JPEG, PNG, WebP, HEIC)".to_owned()];
        words.extend(arrived.refusals());
        return Err(Trouble::wrong(words.join("; ")));
    }
    let (line, release) = (said(arrived, "line")?.to_owned(), said(arrived, "release")?.to_owned());
    let form = said(arrived, "form")?;
    let form = Form::ALL
        .into_iter()
        .find(|one| one.word() == form)
        .ok_or_else(|| Trouble::wrong("form: choose one of the list"))?;
    // A release that is known keeps its names.
    let catalogues = desk.library().catalogues()?;
    let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
    let known_line = catalogues.iter().find(|one| same(&one.line.name, &line));
    let known =
        catalogues.iter().find(|one| same(&one.line.name, &line) && same(&one.release.name, &release));
    let path = |text: &str, what: &str| {
        slugged(text).ok_or_else(|| Trouble::wrong(format!("{what}: give it with Latin letters or digits")))
    };
    let line_path = match known_line {
        Some(catalogue) => catalogue.line.id.to_string(),
        None => path(&line, "line")?,
    };
    let release_path = match known {
        Some(catalogue) => catalogue.release.id.to_string(),
        None => path(&release, "release")?,
    };
    let product: ProductId = format!("{line_path}/{release_path}/{}", form.word())
        .parse()
        .map_err(|error: casebook::names::NameError| Trouble::wrong(error.to_string()))?;
    let mut told = LearnFile {
        product: Some(product),
        line_name: Some(line.clone()),
        release_name: Some(release.clone()),
        form: Some(form),
        card: arrived.fields.contains_key("card"),
        known_by: Some(said(arrived, "known_by")?.chars().take(300).collect()),
        ..LearnFile::empty()
    };
    tell(&mut told, |name| arrived.fields.get(name).map(String::as_str).unwrap_or_default())?;
    name_by_face(arrived)?;
    write(&told, &arrived.folder.join("learn.toml"))?;
    let title = format!("{line} {release} {}", form.word());
    let task = desk.tasks.add(desk, Kind::Learn, title, Some(&arrived.folder))?;
    arrived.folder = std::path::PathBuf::new();
    Ok(format!("/library/task/{}", task.name))
}

/// Names photos by the face they were chosen for: names are what says which face a photo shows.
fn name_by_face(arrived: &mut Arrived) -> Result<(), Trouble> {
    let fail = |source| DeskError::Folder { folder: arrived.folder.clone(), source };
    let mut renamed = Vec::new();
    for (number, (file, hash)) in arrived.photos.iter().enumerate() {
        let from = arrived.field_of.get(file).map(String::as_str).unwrap_or_default();
        let face = FACES.iter().find(|(face, _)| *face == from);
        let ending = file.as_str().rsplit_once('.').map_or("jpg", |(_, ending)| ending);
        let name =
            face.and_then(|(face, _)| format!("{face}-{}.{ending}", number + 1).parse::<PhotoFile>().ok());
        let Some(name) = name else {
            renamed.push((file.clone(), hash.clone()));
            continue;
        };
        // By way of a name that no photo has, because one of them may be called as another will be.
        let between = arrived.folder.join(format!(".face-{number}"));
        std::fs::rename(arrived.folder.join(file.as_str()), between).map_err(fail)?;
        renamed.push((name, hash.clone()));
    }
    for (number, (name, _)) in renamed.iter().enumerate() {
        let between = arrived.folder.join(format!(".face-{number}"));
        if between.exists() {
            std::fs::rename(between, arrived.folder.join(name.as_str())).map_err(fail)?;
        }
    }
    arrived.photos = renamed;
    Ok(())
}

/// Takes a bundle of another library.
pub(crate) fn take_bundle(desk: &Desk, arrived: &mut Arrived) -> Result<String, Trouble> {
    let bundle = arrived.documents.iter().find(|(name, _)| name.to_lowercase().ends_with(".zip"));
    let Some((name, path)) = bundle else {
        return Err(Trouble::wrong("no bundle arrived; choose a .zip that a library has packed"));
    };
    // Under a name of ours, so that a stranger's leads nowhere; messages say theirs.
    let file = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let task = desk.tasks.add(desk, Kind::TakeIn { file }, name.clone(), Some(&arrived.folder))?;
    arrived.folder = std::path::PathBuf::new();
    Ok(format!("/library/task/{}", task.name))
}

/// Begins to pack a product.
pub(crate) fn pack(desk: &Desk, product: &str) -> Result<String, Trouble> {
    let missing = || Trouble::missing("product of that name in the library");
    let id: ProductId = product.parse().map_err(|_| missing())?;
    let catalogues = desk.library().catalogues()?;
    let found = catalogues.iter().find_map(|catalogue| {
        catalogue.products.iter().find(|one| catalogue.product_id(one).ok().as_ref() == Some(&id))
    });
    let title = found.ok_or_else(missing)?.name.clone();
    let task = desk.tasks.add(desk, Kind::Pack { product: id }, title, None)?;
    Ok(format!("/library/task/{}", task.name))
}
