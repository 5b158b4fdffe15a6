//! The library's pages: products, specimens, what was done to it, and adding to it.
//!
//! In: the open library and the shelf. Out: HTML; new catalogues and specimens. Never here: a
//! measurement; new specimens are measured by the worker.

use std::collections::BTreeMap;
use std::path::Path;

use casebook::case::{CasePhoto, PhotoGroup, Shown};
use casebook::catalogue::Catalogue;
use casebook::document::{self, Notation};
use casebook::hypothesis::State;
use casebook::library::StoredSpecimen;
use casebook::names::{ProductId, Slug};
use casebook::specimen::{Origin, SPECIMEN_SCHEMA, SpecimenFile};
use dossier::parts;
use maud::{Markup, html};

use super::{Part, Reader, frame, tasks, time, token};
use crate::desk::Desk;
use crate::error::Trouble;
use crate::intake::{Arrived, read_text};

/// Entries of the trail on one page.
const TRAIL: usize = 200;

/// Products by release.
pub(crate) fn page(desk: &Desk, reader: Reader) -> Result<String, Trouble> {
    let library = desk.library();
    let catalogues = library.catalogues()?;
    let specimens = library.specimens()?;
    let references = library.references()?;
    drop(library);
    let mut counts: BTreeMap<(ProductId, State), usize> = BTreeMap::new();
    for stored in &specimens {
        *counts.entry((stored.specimen.product.clone(), stored.specimen.state)).or_default() += 1;
    }
    let front = |product: &ProductId| {
        references
            .iter()
            .find(|(face, _)| face.product == *product && face.face.as_str() == "front")
            .map(|(_, hash)| hash)
    };
    let body = html! {
        h1 { "Library" }
        (tabs("/library"))
        @if catalogues.is_empty() {
            div.empty {
                p { strong { "The library is empty." } }
                p { "It needs a catalogue with reference pictures before anything can be examined, and specimens of known status before anything can be weighed. " a href="/library/add" { "Add them here" } ", or by " code { "untorn library add-catalogue" } "." }
            }
        }
        @for catalogue in &catalogues {
            section.release {
                h2 { (catalogue.line.name) ": " (catalogue.release.name) }
                p.note { "Source: " (catalogue.release.source) @if let Some(year) = catalogue.release.year { " · first sold " (year) } }
                div.products {
                    @for product in &catalogue.products {
                        @if let Ok(id) = catalogue.product_id(product) {
                            article.product {
                                a href=(format!("/library/product/{id}")) {
                                    @if let Some(hash) = front(&id) { img src=(format!("/photo/{hash}")) alt="" loading="lazy"; }
                                    strong { (product.name) }
                                }
                                p.note { (product.form.word()) " · " (product.faces.len()) " faces · " (product.makes.len()) @if product.makes.len() == 1 { " make" } @else { " makes" } }
                                p.note { (counted(&counts, &id)) }
                            }
                        }
                    }
                }
                @if !catalogue.never_made.is_empty() {
                    h3 { "Never made" }
                    ul { @for never in &catalogue.never_made { li { (parts::capital(never.form.word())) ": " (never.source) ", " (never.date.to_string()) } } }
                }
            }
        }
    };
    Ok(frame(desk, reader, Part::Library, "Library", &body))
}

fn counted(counts: &BTreeMap<(ProductId, State), usize>, id: &ProductId) -> String {
    let told: Vec<String> = State::ALL
        .iter()
        .filter_map(|state| Some(format!("{} {state}", counts.get(&(id.clone(), *state))?)))
        .collect();
    if told.is_empty() { "no specimens yet".to_owned() } else { format!("specimens: {}", told.join(", ")) }
}

/// The parts of the library.
pub(crate) fn tabs(here: &str) -> Markup {
    let all = [
        ("/library", "Products"),
        ("/library/specimens", "Specimens"),
        ("/library/add", "Add"),
        ("/library/trail", "What was done"),
    ];
    html! {
        nav.tabs aria-label="Parts of the library" {
            ul { @for (address, words) in all { li { a href=(address) aria-current=[(address == here).then_some("page")] { (words) } } } }
        }
    }
}

/// Every specimen.
pub(crate) fn specimens(desk: &Desk, reader: Reader) -> Result<String, Trouble> {
    let specimens = desk.library().specimens()?;
    let body = html! {
        h1 { "Specimens" }
        (tabs("/library/specimens"))
        @if specimens.is_empty() {
            div.empty {
                p { strong { "No specimen yet." } }
                p { "Weights rest on items whose status is known. Photograph some that you opened yourself or had examined, and " a href="/library/add" { "add them" } "." }
            }
        } @else {
            div.scroll role="region" tabindex="0" aria-label="Specimens" {
                table {
                    caption { (specimens.len()) " specimens of known status." }
                    thead { tr { th scope="col" { "Photo" } th scope="col" { "Specimen" } th scope="col" { "Product" } th scope="col" { "Known status" } th scope="col" { "Kind" } th.number scope="col" { "Photos" } } }
                    tbody {
                        @for stored in &specimens {
                            @let specimen = &stored.specimen;
                            tr {
                                td.thumb { @if let Some(hash) = specimen.photos.first().and_then(|photo| stored.photos.get(&photo.file)) { img src=(format!("/photo/{hash}")) alt="" loading="lazy"; } }
                                th scope="row" { a href=(format!("/library/specimen/{}", specimen.id)) { (specimen.id) } }
                                td { a href=(format!("/library/product/{}", specimen.product)) { (parts::product_phrase(&specimen.product)) } }
                                td { (specimen.state.word()) }
                                td { (parts::origin_word(specimen.origin)) }
                                td.number { (specimen.photos.len()) }
                            }
                        }
                    }
                }
            }
        }
    };
    Ok(frame(desk, reader, Part::Library, "Specimens", &body))
}

/// One specimen.
pub(crate) fn specimen(desk: &Desk, reader: Reader, id: &str) -> Result<String, Trouble> {
    let specimens = desk.library().specimens()?;
    let stored: &StoredSpecimen = specimens
        .iter()
        .find(|stored| stored.specimen.id.as_str() == id)
        .ok_or_else(|| Trouble::missing("specimen of that name"))?;
    let specimen = &stored.specimen;
    let shelf = desk.shelf();
    let measured: Vec<_> = shelf
        .iter()
        .flat_map(|shelf| shelf.measured().iter().filter(|one| one.specimen == specimen.id))
        .collect();
    let body = html! {
        p.crumbs { a href="/library" { "Library" } " / " a href="/library/specimens" { "Specimens" } " / " (specimen.id) }
        h1 { "Specimen " (specimen.id) }
        dl.particulars {
            div { dt { "Product" } dd { a href=(format!("/library/product/{}", specimen.product)) { (parts::product_phrase(&specimen.product)) } } }
            div { dt { "Known status" } dd { (parts::state_phrase(specimen.state)) } }
            div { dt { "Known by" } dd { (specimen.known_by) } }
            div { dt { "Kind" } dd { (parts::origin_word(specimen.origin)) } }
            @if let Some(make) = &specimen.make { div { dt { "Make" } dd { (make) } } }
        }
        @if !specimen.notes.is_empty() { ul { @for note in &specimen.notes { li { (parts::foreign(note)) } } } }
        div.strip {
            @for photo in &specimen.photos {
                @if let Some(hash) = stored.photos.get(&photo.file) {
                    figure { a href=(format!("/photo/{hash}")) { img.whole src=(format!("/photo/{hash}")) alt=(format!("Photo {}", photo.file)) loading="lazy"; }
                        figcaption { (photo.file) @if let Some(sitting) = &photo.sitting { p.note { "sitting " (sitting) } } } }
                }
            }
        }
        @for one in measured {
            section {
                h2 { "Measured, sitting " (one.sitting) }
                div.scroll role="region" tabindex="0" aria-label=(format!("Measured, sitting {}", one.sitting)) {
                    table {
                        thead { tr { th scope="col" { "Question" } th scope="col" { "Value" } th scope="col" { "What is seen" } } }
                        tbody { @for finding in &one.findings { tr {
                            th scope="row" { (finding.question) div.note { (parts::place(finding)) } }
                            td { (parts::value(&finding.reading)) }
                            td { (finding.says) }
                        } } }
                    }
                }
            }
        }
    };
    Ok(frame(desk, reader, Part::Library, &format!("Specimen {id}"), &body))
}

/// What was done to the library.
pub(crate) fn trail(desk: &Desk, reader: Reader) -> Result<String, Trouble> {
    let entries = desk.library().audit_trail()?;
    let body = html! {
        h1 { "What was done" }
        (tabs("/library/trail"))
        p { "Newest first. Each entry carries the hash of the one before; " code { "untorn library check" } " walks the chain and rehashes every photo." }
        @if entries.is_empty() { p { "Nothing yet." } }
        @else {
            div.scroll role="region" tabindex="0" aria-label="What was done" {
                table.trail {
                    thead { tr { th.number scope="col" { "No." } th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "To what" } th scope="col" { "Hash" } } }
                    tbody { @for entry in entries.iter().rev().take(TRAIL) { tr {
                        td.number { (entry.number) } td { (time(&entry.at)) } td { (entry.act) } td { (parts::foreign(&entry.subject)) } td { code { (entry.hash.get(..16).unwrap_or_default()) "…" } }
                    } } }
                }
            }
            @if entries.len() > TRAIL { p.note { (entries.len() - TRAIL) " older entries: " code { "untorn library trail" } } }
        }
    };
    Ok(frame(desk, reader, Part::Library, "What was done", &body))
}

/// Adding a catalogue or a specimen.
pub(crate) fn add_page(desk: &Desk, reader: Reader) -> Result<String, Trouble> {
    let catalogues = desk.library().catalogues()?;
    let products: Vec<(ProductId, String)> = catalogues
        .iter()
        .flat_map(|catalogue| {
            catalogue
                .products
                .iter()
                .filter_map(|product| Some((catalogue.product_id(product).ok()?, product.name.clone())))
        })
        .collect();
    let body = html! {
        h1 { "Add to the library" }
        (tabs("/library/add"))
        (tasks::list(desk))
        div.forms {
            (tasks::learn_form(desk, &catalogues))
            form.card method="post" action="/library/specimen" enctype="multipart/form-data" {
                h2 { "A specimen from photos" }
                (token(desk))
                p.note { "An item whose status is known, and how it is known. Photograph the whole front, the whole back and, for a pack, both end seals, all in one light: that is one sitting." }
                @if products.is_empty() { p { "Add a catalogue first: a specimen belongs to a product." } }
                @else {
                    div.fields {
                        div.field { label for="s-id" { "Name" span.note { " a-z, 0-9 and -" } } input #s-id name="id" required pattern="[a-z0-9][a-z0-9\\-]{0,62}" autocomplete="off"; }
                        div.field { label for="s-product" { "Product" } select #s-product name="product" { @for (id, name) in &products { option value=(id) { (name) } } } }
                        div.field { label for="s-state" { "Known status" } select #s-state name="state" { @for state in State::ALL { option value=(state.word()) { (parts::state_phrase(state)) } } } }
                        div.field { label for="s-known" { "Known by" } input #s-known name="known_by" required maxlength="300" placeholder="bought at the factory's own shop, opened later"; }
                        div.field { label for="s-sitting" { "Sitting" } input #s-sitting name="sitting" value="one" autocomplete="off"; }
                        div.field.wide { label for="s-files" { "Photos, or a folder's files with specimen.toml" } input #s-files type="file" name="files" multiple required; }
                    }
                    button { "Add the specimen" }
                }
            }
            form.card method="post" action="/library/catalogue" enctype="multipart/form-data" {
                h2 { "A catalogue" }
                (token(desk))
                p.note { "One TOML file for a release (" code { "schemas/untorn.catalogue-1.schema.json" } ") and the reference pictures that it names: flat, cut to the face's edges. A release that is there already is replaced." }
                div.field.wide { label for="c-files" { "Catalogue file and its pictures" } input #c-files type="file" name="files" multiple required; }
                button { "Add the catalogue" }
            }
            (tasks::bundle_form(desk))
        }
    };
    Ok(frame(desk, reader, Part::Library, "Add to the library", &body))
}

pub(super) fn said<'a>(arrived: &'a Arrived, name: &str) -> Result<&'a str, Trouble> {
    let text = arrived.fields.get(name).map(|text| text.trim()).filter(|text| !text.is_empty());
    text.ok_or_else(|| Trouble::wrong(format!("{name}: is missing; fill it in")))
}

/// The one TOML file among what arrived.
fn toml_of(arrived: &Arrived) -> Option<&(String, std::path::PathBuf)> {
    arrived.documents.iter().find(|(name, _)| name.ends_with(".toml"))
}

/// Takes a catalogue file with its pictures.
pub(crate) fn add_catalogue(desk: &Desk, arrived: &mut Arrived) -> Result<String, Trouble> {
    let (name, path) = toml_of(arrived)
        .ok_or_else(|| Trouble::wrong("no catalogue file (TOML) arrived; choose it with its pictures"))?;
    let text = read_text(path, name)?;
    let catalogue: Catalogue = document::parse(&text, Path::new(name), Notation::Toml)?;
    let missing: Vec<&str> = catalogue
        .faces()
        .map(|(_, _, face)| face.reference.as_str())
        .filter(|file| !arrived.photos.iter().any(|(own, _)| own.as_str() == *file))
        .collect();
    if !missing.is_empty() {
        let mut words = format!(
            "these pictures that the catalogue names did not arrive: {}; choose them along",
            missing.join(", ")
        );
        for refusal in arrived.refusals() {
            words.push_str("; ");
            words.push_str(&refusal);
        }
        return Err(Trouble::wrong(words));
    }
    desk.library().add_catalogue(path, &arrived.folder, desk.now())?;
    desk.ring();
    Ok("/library".to_owned())
}

/// Takes a specimen: from a folder with `specimen.toml`, or from photos and a form.
pub(crate) fn add_specimen(desk: &Desk, arrived: &mut Arrived) -> Result<String, Trouble> {
    if arrived.photos.is_empty() {
        let mut words = vec!["no photo arrived; choose JPEG, PNG, WebP or HEIC files".to_owned()];
        words.extend(arrived.refusals());
        return Err(Trouble::wrong(words.join("; ")));
    }
    let specimen = match toml_of(arrived) {
        Some((name, path)) => {
            let text = read_text(path, name)?;
            document::parse(&text, Path::new(name), Notation::Toml)?
        }
        None => of_form(arrived)?,
    };
    let text = document::print(&specimen, Notation::Toml)?;
    let file = arrived.folder.join("specimen.toml");
    casebook::atomic::write(&file, text.as_bytes())?;
    let added = desk.library().add_specimen(&arrived.folder, desk.now())?;
    desk.ring();
    Ok(format!("/library/specimen/{}", added.id))
}

fn of_form(arrived: &Arrived) -> Result<SpecimenFile, Trouble> {
    let name = |error: casebook::names::NameError| Trouble::wrong(error.to_string());
    let state = said(arrived, "state")?;
    let state = State::ALL
        .into_iter()
        .find(|one| one.word() == state)
        .ok_or_else(|| Trouble::wrong("state: choose one of the list"))?;
    let sitting: Slug = said(arrived, "sitting").unwrap_or("one").parse().map_err(name)?;
    let photos = arrived.photos.iter().map(|(file, _)| CasePhoto {
        file: file.clone(),
        group: PhotoGroup::Same,
        sitting: Some(sitting.clone()),
        shows: Vec::<Shown>::new(),
    });
    Ok(SpecimenFile {
        schema: SPECIMEN_SCHEMA.to_owned(),
        id: said(arrived, "id")?.parse().map_err(name)?,
        product: said(arrived, "product")?.parse().map_err(name)?,
        make: None,
        state,
        known_by: said(arrived, "known_by")?.chars().take(300).collect(),
        // Whoever photographs has the thing; rendered ones come with their file.
        origin: Origin::Physical,
        photos: photos.collect(),
        notes: Vec::new(),
    })
}
