//! Changes that people make to a case: terms, worth, prior, requests, notes, outcome, photos, corners.
//!
//! In: a form's fields. Out: a new `case.toml`, with the old one kept so that the change can be undone,
//! an entry in the audit trail, and what follows from it: nothing, another judgement, another look.
//! Never here: HTML, a finding.

use std::collections::BTreeMap;
use std::fs;

use casebook::case::{
    CaseFile, CaseOutcome, Course, ItemFacts, OfferFacts, PhotoGroup, Prior, Request, RequestState,
    ReturnTerms, Shown, Values,
};
use casebook::document::{self, Notation};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::names::{PhotoHash, Slug};
use iso_currency::Currency;
use jiff::Timestamp;
use rust_decimal::Decimal;

use crate::desk::Desk;
use crate::error::{DeskError, Trouble};
use crate::store::Urgency;

/// Longest note, characters.
const MOST_NOTE: usize = 10_000;
/// Most notes, requests and items of one case.
const MOST_ENTRIES: usize = 500;

/// What follows from a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Then {
    /// Nothing.
    Rest,
    /// Opinion and decision are made anew from the same findings.
    Judge,
    /// The photos are looked at again.
    Look,
}

/// A form's fields.
pub(crate) type Fields = BTreeMap<String, String>;

/// Changes a case file by a named act of the case page.
///
/// # Errors
/// [`Trouble`] when a field is wrong; nothing is changed then.
pub(crate) fn act(desk: &Desk, id: &Slug, act: &str, fields: &Fields) -> Result<(), Trouble> {
    match act {
        "terms" => change(desk, id, "terms changed", Then::Judge, |case| terms(case, fields)),
        "worth" => change(desk, id, "values changed", Then::Judge, |case| worth(case, fields)),
        "prior" => change(desk, id, "prior changed", Then::Judge, |case| prior(case, fields)),
        "request" => change(desk, id, "request changed", Then::Judge, |case| request(case, fields)),
        "note" => change(desk, id, "note added", Then::Rest, |case| note(case, fields)),
        "outcome" => change(desk, id, "outcome changed", Then::Rest, |case| outcome(case, fields)),
        "item" => change(desk, id, "item changed", Then::Look, |case| item(case, fields)),
        "photo" => change(desk, id, "photo's part changed", Then::Look, |case| photo(case, fields)),
        "corners" => {
            let mut fields = fields.clone();
            if !fields.contains_key("product")
                && let Some(product) = product_seen(desk, id, fields.get("item"))?
            {
                fields.insert("product".to_owned(), product);
            }
            change(desk, id, "corners set by hand", Then::Look, |case| corners(case, &fields))
        }
        "free-corners" => {
            change(desk, id, "corners by hand removed", Then::Look, |case| free_corners(case, fields))
        }
        "forget-seller" => forget_seller(desk, id),
        "undo" => undo(desk, id),
        "again" => Ok(desk.ask(id, Urgency::Corrected)?),
        "away" => set_away(desk, id, true),
        "back" => set_away(desk, id, false),
        _ => Err(Trouble::missing("such act")),
    }
}

/// The product that the last examination gave an item.
fn product_seen(desk: &Desk, id: &Slug, item: Option<&String>) -> Result<Option<String>, DeskError> {
    let examination = desk.examination(id)?;
    Ok(examination.and_then(|examination| {
        let found = examination
            .items
            .into_iter()
            .find(|report| Some(report.opinion.item.as_str()) == item.map(|i| i.trim()));
        found.and_then(|report| report.opinion.product).map(String::from)
    }))
}

/// Reads a case, lets `by` change it, and writes it.
pub(crate) fn change(
    desk: &Desk,
    id: &Slug,
    words: &str,
    then: Then,
    by: impl FnOnce(&mut CaseFile) -> Result<(), Trouble>,
) -> Result<(), Trouble> {
    let _editing = desk.editing();
    let mut case = desk.case(id)?;
    let old = case.clone();
    by(&mut case)?;
    if case == old {
        return Ok(());
    }
    let before = text_before(desk, id)?;
    let text = document::print(&case, Notation::Toml)?;
    // Read again, so that nothing is written that could not be read back.
    document::parse::<CaseFile>(&text, std::path::Path::new("case.toml"), Notation::Toml)?;
    desk.store().revise(id, words, &before, then == Then::Look, desk.now())?;
    put(desk, id, &text, words, then)
}

fn text_before(desk: &Desk, id: &Slug) -> Result<String, DeskError> {
    let file = desk.folder_of(id).join("case.toml");
    if !file.exists() {
        return Ok(String::new());
    }
    fs::read_to_string(&file).map_err(|source| DeskError::Folder { folder: file, source })
}

/// Writes a case file (an empty text removes it) and sees to what follows.
fn put(desk: &Desk, id: &Slug, text: &str, words: &str, then: Then) -> Result<(), Trouble> {
    let file = desk.folder_of(id).join("case.toml");
    if text.is_empty() {
        fs::remove_file(&file).map_err(|source| DeskError::Folder { folder: file.clone(), source })?;
    } else {
        casebook::atomic::write(&file, text.as_bytes())?;
    }
    let act = format!("case: {words}");
    desk.library().note(&act, id.as_str(), PhotoHash::of(text.as_bytes()).as_str(), desk.now())?;
    let case = desk.case(id)?;
    let mut examination = desk.examination(id)?;
    let mut look = then == Then::Look;
    if then == Then::Judge
        && let Some(kept) = &examination
    {
        match desk.shelf() {
            Some(shelf) => {
                let judged = examination::reconsider(&case, kept, &shelf);
                desk.library().keep_examination(&judged, desk.now())?;
                examination = Some(judged);
            }
            // As soon as the library is open.
            None => look = true,
        }
    }
    if let Some(entry) = desk.entry(id) {
        let mut entry = (*entry).clone();
        entry.row = desk.row(&case, examination.as_ref(), &desk.shown(id));
        desk.keep(entry)?;
    }
    if look && !case.photos.is_empty() {
        desk.ask(id, Urgency::Corrected)?;
    }
    Ok(())
}

fn undo(desk: &Desk, id: &Slug) -> Result<(), Trouble> {
    let _editing = desk.editing();
    let last = desk.store().revisions(id)?.into_iter().find(|revision| !revision.undone);
    let last = last.ok_or_else(|| Trouble::wrong("there is no change left to undo"))?;
    let then = if last.looks { Then::Look } else { Then::Judge };
    desk.store().mark_undone(last.id)?;
    put(desk, id, &last.before, &format!("undone: {}", last.words), then)
}

fn set_away(desk: &Desk, id: &Slug, away: bool) -> Result<(), Trouble> {
    let _editing = desk.editing();
    let entry = desk.entry(id).ok_or_else(|| Trouble::missing("case of that name"))?;
    let mut entry = (*entry).clone();
    entry.away = away;
    desk.keep(entry)?;
    let act = if away { "case: put away" } else { "case: taken back" };
    Ok(desk.library().note(act, id.as_str(), "", desk.now())?)
}

/// Takes the seller out for good: from the case, its earlier states and the saved page.
fn forget_seller(desk: &Desk, id: &Slug) -> Result<(), Trouble> {
    change(desk, id, "seller forgotten", Then::Judge, |case| {
        if let Some(offer) = &mut case.offer {
            offer.seller = None;
            offer.bids.clear();
        }
        Ok(())
    })?;
    desk.store().forget_revisions(id)?;
    let page = desk.folder_of(id).join("page.html");
    if page.exists() {
        fs::remove_file(&page).map_err(|source| DeskError::Folder { folder: page.clone(), source })?;
    }
    Ok(())
}

fn said<'a>(fields: &'a Fields, name: &str) -> Option<&'a str> {
    fields.get(name).map(|text| text.trim()).filter(|text| !text.is_empty())
}

fn currency(fields: &Fields) -> Result<Currency, Trouble> {
    let code = said(fields, "currency").unwrap_or("EUR").to_ascii_uppercase();
    Currency::from_code(&code).ok_or_else(|| {
        Trouble::wrong(format!("\"{code}\" is no currency code of ISO 4217, such as EUR; correct it"))
    })
}

fn money(fields: &Fields, name: &str, currency: Currency) -> Result<Option<Money>, Trouble> {
    let Some(text) = said(fields, name) else { return Ok(None) };
    let amount = text
        .replace(',', ".")
        .parse::<Decimal>()
        .ok()
        .filter(|amount| *amount >= Decimal::ZERO && *amount < Decimal::from(1_000_000_000))
        .ok_or_else(|| {
            Trouble::wrong(format!("{name}: \"{text}\" is no amount such as 14.50; correct it"))
        })?;
    Ok(Some(Money { amount, currency }))
}

fn number(fields: &Fields, name: &str, low: f64, high: f64) -> Result<Option<f64>, Trouble> {
    let Some(text) = said(fields, name) else { return Ok(None) };
    let value = text.replace(',', ".").parse::<f64>().ok().filter(|v| (low..=high).contains(v));
    value.map(Some).ok_or_else(|| {
        Trouble::wrong(format!("{name}: \"{text}\" is no number from {low} to {high}; correct it"))
    })
}

fn terms(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let currency = currency(fields)?;
    let price = money(fields, "price", currency)?;
    let shipping = money(fields, "shipping", currency)?;
    let ends = said(fields, "ends").map(instant).transpose()?;
    let days = number(fields, "days", 0.0, 3_650.0)?.map(|days| days as u16);
    let buyer_pays_postage = fields.contains_key("buyer_pays");
    let returns = match said(fields, "returns") {
        Some("accepted") => Some(ReturnTerms { accepted: true, days, buyer_pays_postage }),
        Some("refused") => Some(ReturnTerms { accepted: false, days: None, buyer_pays_postage }),
        _ => None,
    };
    let offer = case.offer.get_or_insert_with(OfferFacts::default);
    if let Some(title) = said(fields, "title") {
        offer.title = title.chars().take(300).collect();
    }
    offer.venue = said(fields, "venue").map(|text| text.chars().take(200).collect());
    (offer.price, offer.shipping, offer.returns, offer.ends) = (price, shipping, returns, ends);
    Ok(())
}

fn instant(text: &str) -> Result<Timestamp, Trouble> {
    let wrong =
        || Trouble::wrong(format!("ends: \"{text}\" is no time such as 2026-12-24T18:00; correct it"));
    if let Ok(instant) = text.parse() {
        return Ok(instant);
    }
    let civil: jiff::civil::DateTime = text.parse().map_err(|_| wrong())?;
    jiff::tz::TimeZone::UTC.to_timestamp(civil).map_err(|_| wrong())
}

fn worth(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let currency = currency(fields)?;
    let amounts = [
        money(fields, "sealed", currency)?,
        money(fields, "resealed", currency)?,
        money(fields, "counterfeit", currency)?,
    ];
    let items = case.values.as_ref().map(|values| values.items.clone()).unwrap_or_default();
    case.values = match amounts {
        [None, None, None] => None,
        [Some(sealed), resealed, counterfeit] => {
            let nothing = || Money { amount: Decimal::ZERO, currency };
            Some(Values {
                sealed,
                resealed: resealed.unwrap_or_else(nothing),
                counterfeit: counterfeit.unwrap_or_else(nothing),
                items,
                refund_probability: number(fields, "refund", 0.0, 100.0)?.unwrap_or(50.0) / 100.0,
                risk_aversion: number(fields, "risk", 0.0, 1_000.0)?.unwrap_or(0.0),
            })
        }
        _ => {
            return Err(Trouble::wrong(
                "sealed: say what it would be worth to you sealed, or leave all three empty",
            ));
        }
    };
    Ok(())
}

fn prior(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let part = |name: &str| number(fields, name, 0.0, 100.0).map(|v| v.map(|v| v / 100.0));
    let parts = [part("sealed")?, part("resealed")?, part("counterfeit")?, part("never_made")?];
    if parts.iter().all(Option::is_none) {
        case.prior = None;
        return Ok(());
    }
    let [sealed, resealed, counterfeit, never_made] = parts.map(Option::unwrap_or_default);
    if sealed + resealed + counterfeit + never_made <= 0.0 {
        return Err(Trouble::wrong("prior: one part must be above 0; or leave all four empty"));
    }
    case.prior = Some(Prior { sealed, resealed, counterfeit, never_made });
    Ok(())
}

fn request(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let wants = said(fields, "wants").ok_or_else(|| Trouble::wrong("wants: say what is asked for"))?;
    let wants: String = wants.chars().take(MOST_NOTE).collect();
    let state = match said(fields, "state") {
        Some("asked") => Some(RequestState::Asked),
        Some("answered") => Some(RequestState::Answered),
        Some("declined") => Some(RequestState::Declined),
        Some("not-asked") => None,
        _ => return Err(Trouble::wrong("state: choose asked, answered, declined or not asked")),
    };
    let place = case.requests.iter().position(|request| request.wants == wants);
    match (place, state) {
        (Some(place), Some(state)) => case.requests[place].state = state,
        (Some(place), None) => drop(case.requests.remove(place)),
        (None, Some(state)) if case.requests.len() < MOST_ENTRIES => {
            case.requests.push(Request { wants, state })
        }
        (None, Some(_)) => return Err(Trouble::wrong("there are too many requests; remove some")),
        (None, None) => {}
    }
    Ok(())
}

fn note(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let text =
        said(fields, "text").ok_or_else(|| Trouble::wrong("text: the note is empty; write something"))?;
    if case.notes.len() >= MOST_ENTRIES {
        return Err(Trouble::wrong("there are too many notes; remove some in case.toml"));
    }
    case.notes.push(text.chars().take(MOST_NOTE).collect());
    Ok(())
}

fn outcome(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let course = said(fields, "course").and_then(|word| Course::ALL.into_iter().find(|c| c.word() == word));
    let state = said(fields, "state").and_then(|word| State::ALL.into_iter().find(|s| s.word() == word));
    let known_by: String = said(fields, "known_by").unwrap_or_default().chars().take(500).collect();
    if state.is_some() && known_by.is_empty() {
        return Err(Trouble::wrong(
            "known by: say how it is known what the item is, for example \"opened by me\"",
        ));
    }
    case.outcome = if course.is_none() && state.is_none() {
        None
    } else {
        Some(CaseOutcome { course, state, known_by })
    };
    Ok(())
}

fn item(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let item: Slug = slug(fields, "item")?;
    let product = match said(fields, "product") {
        None => None,
        Some(text) => Some(text.parse().map_err(|error| Trouble::wrong(format!("product: {error}")))?),
    };
    let full = case.items.len() >= MOST_ENTRIES;
    match case.items.iter_mut().find(|facts| facts.id == item) {
        Some(facts) => facts.product = product,
        None if !full => {
            case.items.push(ItemFacts { id: item, product, inside: None });
        }
        None => return Err(Trouble::wrong("there are too many items; split the offer")),
    }
    Ok(())
}

fn slug(fields: &Fields, name: &str) -> Result<Slug, Trouble> {
    let text = said(fields, name)
        .ok_or_else(|| Trouble::wrong(format!("{name}: is missing; load the page again")))?;
    text.parse().map_err(|error| Trouble::wrong(format!("{name}: {error}")))
}

fn told<'a>(case: &'a mut CaseFile, fields: &Fields) -> Result<&'a mut casebook::case::CasePhoto, Trouble> {
    let file = said(fields, "photo").unwrap_or_default();
    case.photos.iter_mut().find(|photo| photo.file.as_str() == file).ok_or_else(|| {
        Trouble::wrong(format!("photo: the case has no photo \"{file}\"; load the page again"))
    })
}

fn photo(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let group = match said(fields, "group") {
        Some("same") => PhotoGroup::Same,
        Some("claimed") => PhotoGroup::Claimed,
        Some("stock") => PhotoGroup::Stock,
        _ => return Err(Trouble::wrong("group: choose same, claimed or stock")),
    };
    told(case, fields)?.group = group;
    Ok(())
}

fn corners(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let (item, face) = (slug(fields, "item")?, slug(fields, "face")?);
    let text = said(fields, "corners").unwrap_or_default();
    let corners: [[f64; 2]; 4] = serde_json::from_str(text).map_err(|_| {
        Trouble::wrong("corners: four points [x, y] in pixels are needed; move all four and try again")
    })?;
    if corners.iter().flatten().any(|v| !v.is_finite() || v.abs() > 100_000.0) {
        return Err(Trouble::wrong("corners: a corner lies far outside the photo; move it and try again"));
    }
    // Corners need the item's product, which may have been known from the photos alone.
    if let Some(product) = said(fields, "product") {
        let product = product.parse().map_err(|error| Trouble::wrong(format!("product: {error}")))?;
        match case.items.iter_mut().find(|facts| facts.id == item) {
            Some(facts) => facts.product = Some(product),
            None => case.items.push(ItemFacts { id: item.clone(), product: Some(product), inside: None }),
        }
    }
    let told = told(case, fields)?;
    told.shows.retain(|shown| !(shown.item == item && shown.face == face));
    told.shows.push(Shown { item, face, corners_px: Some(corners) });
    Ok(())
}

fn free_corners(case: &mut CaseFile, fields: &Fields) -> Result<(), Trouble> {
    let told = told(case, fields)?;
    told.shows.retain(|shown| shown.corners_px.is_none());
    Ok(())
}

/// Adds photos that arrived for a case.
pub(crate) fn add_photos(desk: &Desk, id: &Slug, arrived: &crate::intake::Arrived) -> Result<usize, Trouble> {
    if arrived.photos.is_empty() {
        let mut words = vec!["no photo arrived; choose JPEG, PNG, WebP or HEIC files".to_owned()];
        words.extend(arrived.refusals());
        return Err(Trouble::wrong(words.join("; ")));
    }
    let mut count = 0;
    change(desk, id, "photos added", Then::Look, |case| {
        count = crate::intake::move_in(desk, arrived, id, case)?;
        Ok(())
    })?;
    Ok(count)
}
