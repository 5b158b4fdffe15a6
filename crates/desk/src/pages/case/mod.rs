//! One case: what was found, what follows, and everything that a person may add or correct.
//!
//! In: the case file, its latest examination, its pictures. Out: HTML, item by item. Never here: how
//! any of it was found; a seller's name outside the closed part that can be deleted.

mod compare;
mod findings;
pub(crate) mod photo;
mod record;
mod requests;
mod terms;

use std::collections::BTreeMap;
use std::sync::Arc;

use casebook::case::CaseFile;
use casebook::names::{PhotoFile, PhotoHash, ProductId, Slug};
use casebook::opinion::{Examination, ItemReport, PhotoReport, Stance};
use dossier::parts;
use examination::Shelf;
use maud::{Markup, html};
use serde::Serialize;

use super::queue::{Neighbours, drop_zone, left, neighbours, returns};
use super::{Part, Reader, data, frame, token};
use crate::desk::Desk;
use crate::error::Trouble;
use crate::events::progress;
use crate::row::{Entry, Standing};
use crate::shown::{Shown, ShownContent, ShownPicture};

/// Everything that the parts of the page are made from.
pub(crate) struct View<'a> {
    pub(crate) desk: &'a Desk,
    pub(crate) id: &'a Slug,
    pub(crate) entry: &'a Entry,
    pub(crate) case: &'a CaseFile,
    pub(crate) examination: Option<&'a Examination>,
    pub(crate) shown: &'a Shown,
    pub(crate) shelf: Option<&'a Shelf>,
    /// By file, for photos that no examination has named yet.
    pub(crate) hashes: BTreeMap<PhotoFile, PhotoHash>,
}

impl View<'_> {
    /// Where a form of this page goes.
    pub(crate) fn act(&self, act: &str) -> String {
        format!("/case/{}/do/{act}", self.id)
    }

    /// The address of a drawn picture.
    pub(crate) fn picture(&self, hash: &PhotoHash) -> String {
        format!("/shown/{}/{hash}", self.id)
    }

    pub(crate) fn hash(&self, file: &PhotoFile) -> Option<&PhotoHash> {
        let reported = self.examination.and_then(|examination| {
            examination.photos.iter().find(|photo| photo.file == *file)?.hash.as_ref()
        });
        reported.or_else(|| self.hashes.get(file))
    }

    pub(crate) fn product_name(&self, product: &ProductId) -> String {
        self.shelf
            .and_then(|shelf| shelf.product_names().get(product).cloned())
            .unwrap_or_else(|| parts::product_phrase(product))
    }
}

/// Reads everything and lets `make` write a page of it.
pub(crate) fn with_view<T>(
    desk: &Desk,
    id: &Slug,
    make: impl FnOnce(&View<'_>) -> Result<T, Trouble>,
) -> Result<T, Trouble> {
    let entry = desk.entry(id).ok_or_else(|| Trouble::missing("case of that name"))?;
    // A case file that somebody broke by hand is said to be broken; the rest is shown.
    let case = desk.case(id)?;
    let examination = desk.examination(id)?;
    let shown = desk.shown(id);
    let shelf: Option<Arc<Shelf>> = desk.shelf();
    let hashes = desk.store().photos_of(id)?;
    make(&View {
        desk,
        id,
        entry: &entry,
        case: &case,
        examination: examination.as_ref(),
        shown: &shown,
        shelf: shelf.as_deref(),
        hashes,
    })
}

/// Where on the page a change is seen.
pub(crate) fn place_of(act: &str) -> &'static str {
    match act {
        "terms" | "worth" | "prior" => "#what-to-do",
        "request" => "#requests",
        "note" | "outcome" | "undo" | "forget-seller" => "#record",
        "photo" | "corners" | "free-corners" | "item" => "#photos",
        _ => "",
    }
}

#[derive(Serialize)]
struct Events {
    events: String,
}

/// The page of a case.
///
/// # Input
/// `asked`: which list of offers the reader came from, as the queue's address says it.
pub(crate) fn page(
    desk: &Desk,
    reader: Reader,
    id: &Slug,
    asked: &[(String, String)],
) -> Result<String, Trouble> {
    with_view(desk, id, |view| {
        let title = view.entry.row.title.clone();
        let body = html! {
            (head(view, &neighbours(desk, asked, id)))
            (state(view))
            (unread(view))
            @match view.examination {
                None => {
                    (photo::strip(view))
                    (terms::section(view, None))
                }
                Some(examination) => {
                    (contents(examination))
                    @for (index, item) in examination.items.iter().enumerate() { (item_section(view, item, index + 1)) }
                    (terms::section(view, examination.items.first()))
                    (requests::section(view, examination))
                    (photo::strip(view))
                }
            }
            (record::section(view))
            (parts::cautions(&[]))
        };
        Ok(frame(desk, reader, Part::Queue, &title, &body))
    })
}

fn head(view: &View<'_>, beside: &Neighbours) -> Markup {
    let row = &view.entry.row;
    let now = view.desk.now();
    html! {
        div.crumbs {
            p { a href=(beside.list) { "Offers" } " / " (view.id) }
            @if let Some(place) = beside.place {
                nav.pages aria-label="Offers before and after" data-neighbours {
                    @if let Some(before) = &beside.before { a rel="prev" href=(before) { "Previous offer" } }
                    span { (place) " of " (beside.count) }
                    @if let Some(after) = &beside.after { a rel="next" href=(after) { "Next offer" } }
                }
            }
        }
        h1 { (parts::foreign(&row.title)) }
        dl.particulars {
            @if let Some(venue) = &row.venue { div { dt { "Offered at" } dd { (parts::foreign(venue)) } } }
            @if let Some(price) = &row.price { div { dt { "Price" } dd { (parts::money(price)) } } }
            @if let Some(shipping) = &row.shipping { div { dt { "Shipping" } dd { (parts::money(shipping)) } } }
            @if let Some(ends) = row.ends { div { dt { "Time left" } dd { (left(ends, now)) } } }
            @if row.returns.is_some() { div { dt { "Returns" } dd { (returns(row.returns.as_ref())) } } }
            div { dt { "Photos" } dd { (row.photos) } }
            @if let Some(outcome) = &row.outcome { div { dt { "Outcome" } dd { (outcome) } } }
        }
        div.acts {
            @if view.examination.is_some() {
                a.button href=(format!("/case/{}/make-board", view.id)) { "Make a board" }
                a.button href=(format!("/case/{}/report", view.id)) { "Save the report" }
            }
            (one_button(view, "again", "Examine again"))
            @if view.entry.away { (one_button(view, "back", "Take back into the queue")) }
            @else { (one_button(view, "away", "Put away")) }
        }
    }
}

/// A form that is one button.
pub(crate) fn one_button(view: &View<'_>, act: &str, words: &str) -> Markup {
    html! { form method="post" action=(view.act(act)) { (token(view.desk)) button { (words) } } }
}

fn state(view: &View<'_>) -> Markup {
    let now = progress(view.desk, view.entry);
    html! {
        @if view.entry.standing.is_open() {
            case-progress {
                (data(&Events { events: format!("/case/{}/events", view.id) }))
                p role="status" { (now.words) " Load the page again to see how far it is." }
            }
            @if view.examination.is_some() { p.note { "Below stands what the last examination found." } }
        } @else if view.entry.standing == Standing::Stuck {
            p.problem role="alert" { (now.words) }
        }
    }
}

/// Photos that could not be read, each with the remedy, before anything is said about the others.
fn unread(view: &View<'_>) -> Markup {
    let photos = view.examination.map(|examination| examination.photos.as_slice()).unwrap_or_default();
    let problems: Vec<(&PhotoFile, &String)> =
        photos.iter().filter_map(|photo| Some((&photo.file, photo.problem.as_ref()?))).collect();
    html! {
        @if !problems.is_empty() {
            div.problem {
                p { strong { @if problems.len() == 1 { "One photo was not used." } @else { (problems.len()) " photos were not used." } } " What follows rests on the others." }
                ul { @for (file, problem) in problems {
                    li { (told_once(file, problem)) }
                } }
            }
        }
    }
}

/// A problem with the file's name before it, once.
fn told_once(file: &PhotoFile, problem: &str) -> String {
    if problem.contains(file.as_str()) { problem.to_owned() } else { format!("{file}: {problem}") }
}

fn contents(examination: &Examination) -> Markup {
    html! {
        nav.contents aria-label="On this page" {
            ul {
                @for (index, item) in examination.items.iter().enumerate() {
                    li { a href=(format!("#item-{}", index + 1)) { @if examination.items.len() == 1 { "Opinion" } @else { "Item " (item.opinion.item) } } }
                }
                li { a href="#what-to-do" { "What to do" } }
                li { a href="#requests" { "Requests" } }
                li { a href="#photos" { "Photos" } }
                li { a href="#record" { "Notes and trail" } }
            }
        }
    }
}

fn item_section(view: &View<'_>, item: &ItemReport, index: usize) -> Markup {
    let opinion = &item.opinion;
    let unsettled =
        matches!(opinion.stance, Stance::CannotTell | Stance::NotCovered | Stance::OutsideLibrary);
    let product = opinion.product.as_ref();
    html! {
        section.item id=(format!("item-{index}")) {
            h2 {
                @if view.entry.row.items.len() > 1 { "Item " (opinion.item) ": " }
                @match product {
                    Some(product) => { a href=(format!("/library/product/{product}")) { (view.product_name(product)) } }
                    None => { "Product not known" }
                }
            }
            p.opinion { (opinion.words) }
            @if let Some(why) = &opinion.wording_capped { p.note { (why) } }
            p.decision { strong { (parts::action_phrase(&item.decision.action)) } " " (item.decision.reason) }
            @if !opinion.conflicts.is_empty() {
                p { "Signs that point in opposite directions:" }
                ul { @for conflict in &opinion.conflicts { li { (conflict) } } }
            }
            div.beside {
                figure.scale {
                    (parts::ladder(opinion))
                    figcaption {
                        "Weight of evidence in bans. Diamond: sealed against all alternatives together; circles: against each alone; bars: 90 % interval."
                        @if unsettled { " The points are hollow because no opinion follows: they show only what was read so far." }
                    }
                }
                div { (parts::coverage(opinion)) }
            }
            (compare::section(view, item))
            (findings::seals(view, item))
            (findings::section(view, item))
            details.fold { summary { h3 { "How the weights add up, in numbers" } } div.bare { (parts::weights(opinion)) (parts::against(opinion)) } }
            details.fold { summary { h3 { "What follows from a prior" } } div.bare { (parts::posterior(opinion, view.case.prior.as_ref())) } }
            details.fold { summary { h3 { "Specimens behind the weights" } }
                div.bare { (parts::specimens(opinion, &view.shelf.map(Shelf::calibration_words).unwrap_or_default())) } }
            (which_product(view, item))
        }
    }
}

fn which_product(view: &View<'_>, item: &ItemReport) -> Markup {
    let Some(shelf) = view.shelf else { return html! {} };
    let told = view.case.items.iter().find(|facts| facts.id == item.opinion.item);
    let told = told.and_then(|facts| facts.product.as_ref());
    html! {
        details.fold {
            summary { h3 { "Is it another product?" } }
            form.line method="post" action=(view.act("item")) {
                (token(view.desk))
                input type="hidden" name="item" value=(item.opinion.item);
                label for=(format!("product-{}", item.opinion.item)) { "Item " (item.opinion.item) " is" }
                select id=(format!("product-{}", item.opinion.item)) name="product" {
                    option value="" { "what the photos show" }
                    @for (product, name) in shelf.product_names() {
                        option value=(product) selected[told == Some(product)] { (name) }
                    }
                }
                button { "Say so and examine again" }
            }
        }
    }
}

/// So many marks of a picture are told in words at once.
const FEW_MARKS: usize = 8;

/// A drawn picture or plot as a figure.
pub(crate) fn figure(view: &View<'_>, picture: &ShownPicture) -> Markup {
    html! {
        figure.picture {
            @match &picture.content {
                ShownContent::Plot(plot) => { (parts::curves(&plot.plot(), &picture.alt)) }
                ShownContent::Image { stored, px_per_mm, marks } => {
                    @let marks: Vec<_> = marks.iter().map(crate::shown::ShownMark::mark).collect();
                    a.frame href=(view.picture(&stored.hash)) {
                        img src=(view.picture(&stored.hash)) width=(stored.width) height=(stored.height) alt=(picture.alt) loading="lazy";
                        @if !marks.is_empty() { (parts::overlay(stored.width, stored.height, &marks)) }
                    }
                    @if let Some(scale) = px_per_mm.filter(|scale| *scale > 0.0) { (parts::ruler(f64::from(stored.width) / scale)) }
                    @if marks.len() > FEW_MARKS {
                        details.fold { summary { "The " (marks.len()) " marks in words" } (parts::mark_list(&marks)) }
                    } @else { (parts::mark_list(&marks)) }
                }
            }
            figcaption { (picture.caption) }
        }
    }
}

/// The report of a case as one file.
pub(crate) fn report(desk: &Desk, id: &Slug) -> Result<String, Trouble> {
    with_view(desk, id, |view| {
        let examination = view.examination.ok_or_else(|| {
            Trouble::wrong("this case has not been examined yet; wait for it and save the report then")
        })?;
        let folder = desk.shown_folder(id);
        let pictures = view.shown.pictures(&folder);
        let photos: Vec<dossier::PhotoThumb> =
            examination.photos.iter().filter_map(|photo| thumb(view, photo, &folder)).collect();
        let generated = desk.now().strftime("%Y-%m-%d %H:%M UTC").to_string();
        let names = view.shelf.map(|shelf| shelf.product_names().clone()).unwrap_or_default();
        Ok(dossier::report(&dossier::ReportInput {
            examination,
            case: Some(view.case),
            pictures: &pictures,
            photos: &photos,
            product_names: &names,
            generated_at: Some(&generated),
            program: examination::PROGRAM,
            calibration: &view.shelf.map(Shelf::calibration_words).unwrap_or_default(),
        }))
    })
}

fn thumb(view: &View<'_>, photo: &PhotoReport, folder: &std::path::Path) -> Option<dossier::PhotoThumb> {
    let shown = view.shown.photo(&photo.file)?;
    let (path, png) = crate::shown::find(folder, &shown.copy.hash)?;
    let marks = photo
        .faces
        .iter()
        .filter_map(|placed| {
            dossier::face_outline(placed, view.shelf?.face_size_mm(&placed.face)?, shown.scale)
        })
        .collect();
    Some(dossier::PhotoThumb {
        file: photo.file.clone(),
        media_type: if png { "image/png" } else { "image/jpeg" },
        bytes: std::fs::read(path).ok()?,
        width: shown.copy.width,
        height: shown.copy.height,
        marks,
    })
}

/// Adding photos to a case that is there.
pub(crate) fn more_photos(view: &View<'_>) -> Markup {
    drop_zone(
        view.desk,
        &format!("/case/{}/photos", view.id),
        "more-files",
        "Add photos to this case, such as the answer to a request",
    )
}
