//! The queue: every offer with a small picture, the opinion in words, the decision, price, time left,
//! return terms and what is missing; what to show of it and in which order; adding offers.
//!
//! In: the entries in memory and a query. Out: HTML, page by page. Never here: a list of people; no
//! seller is named.

use std::cmp::Ordering;
use std::fmt::Write as _;
use std::sync::Arc;

use casebook::case::ReturnTerms;
use casebook::names::Slug;
use casebook::opinion::{Action, Stance, VerbalStep};
use dossier::parts;
use jiff::Timestamp;
use maud::{Markup, html};
use serde::Serialize;

use super::{Part, Reader, data, frame, token};
use crate::desk::Desk;
use crate::intake::MOST_UPLOAD_BYTES;
use crate::row::{Entry, RowItem, Standing};

/// Offers on one page.
const PER_PAGE: usize = 100;

/// What to show and in which order; everything comes from the address.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Query {
    words: String,
    action: String,
    stance: String,
    terms: String,
    place: String,
    order: String,
    page: usize,
}

const ACTIONS: [(&str, &str); 5] =
    [("", "any"), ("buy", "buy up to a price"), ("ask", "ask"), ("pass", "pass"), ("your-call", "your call")];
const STANCES: [(&str, &str); 6] = [
    ("", "any"),
    ("for", "supports sealed"),
    ("against", "supports an alternative"),
    ("neither", "neither side"),
    ("cannot-tell", "cannot tell"),
    ("open", "not examined yet"),
];
const TERMS: [(&str, &str); 4] = [
    ("", "any"),
    ("returns", "returns accepted"),
    ("missing", "something is missing"),
    ("asked", "an answer is awaited"),
];
const PLACES: [(&str, &str); 3] = [("", "in the queue"), ("away", "put away"), ("all", "both")];
const ORDERS: [(&str, &str); 5] = [
    ("", "newest first"),
    ("ends", "ending soonest"),
    ("price", "lowest price"),
    ("title", "title"),
    ("action", "what to do"),
];

impl Query {
    fn of(pairs: &[(String, String)]) -> Self {
        let get = |name: &str| {
            pairs
                .iter()
                .find(|(own, _)| own == name)
                .map(|(_, value)| value.trim().to_owned())
                .unwrap_or_default()
        };
        Self {
            words: get("q").chars().take(200).collect(),
            action: get("do"),
            stance: get("opinion"),
            terms: get("terms"),
            place: get("place"),
            order: get("order"),
            page: get("page").parse().unwrap_or(1).max(1),
        }
    }

    fn admits(&self, entry: &Entry, needles: &[String]) -> bool {
        let row = &entry.row;
        let placed = match self.place.as_str() {
            "away" => entry.away,
            "all" => true,
            _ => !entry.away,
        };
        let examined = entry.standing == Standing::Examined || !row.items.is_empty();
        placed
            && needles.iter().all(|needle| row.words.contains(needle.as_str()))
            && (self.action.is_empty()
                || row.items.iter().any(|item| action_key(&item.action) == self.action))
            && match self.stance.as_str() {
                "" => true,
                "open" => !examined,
                key => row.items.iter().any(|item| stance_key(item.stance) == key),
            }
            && match self.terms.as_str() {
                "returns" => row.returns.as_ref().is_some_and(|terms| terms.accepted),
                "missing" => row.items.iter().any(|item| !item.missing.is_empty()),
                "asked" => row.asked > 0,
                _ => true,
            }
    }

    fn compare(&self, a: &Entry, b: &Entry) -> Ordering {
        // What is not known comes last.
        let known_first = |a: Option<Ordering>, (has_a, has_b): (bool, bool)| a.unwrap_or(has_b.cmp(&has_a));
        let first = match self.order.as_str() {
            "ends" => known_first(
                a.row.ends.zip(b.row.ends).map(|(a, b)| a.cmp(&b)),
                (a.row.ends.is_some(), b.row.ends.is_some()),
            ),
            "price" => {
                let prices = a.row.price.as_ref().zip(b.row.price.as_ref());
                known_first(
                    prices
                        .map(|(a, b)| a.currency.code().cmp(b.currency.code()).then(a.amount.cmp(&b.amount))),
                    (a.row.price.is_some(), b.row.price.is_some()),
                )
            }
            "title" => a.row.title.to_lowercase().cmp(&b.row.title.to_lowercase()),
            "action" => {
                let place = |entry: &Entry| {
                    let of =
                        |item: &RowItem| ACTIONS.iter().position(|(key, _)| *key == action_key(&item.action));
                    entry.row.items.iter().filter_map(of).min().unwrap_or(ACTIONS.len())
                };
                place(a).cmp(&place(b))
            }
            _ => Ordering::Equal,
        };
        first.then_with(|| b.added_at.cmp(&a.added_at)).then_with(|| a.id.cmp(&b.id))
    }

    /// The address of another page of the same list.
    fn address(&self, page: usize) -> String {
        format!("/?page={page}{}", self.choice())
    }

    /// The address of an offer, which keeps what was chosen, so that one may go on to the next of it.
    fn case(&self, id: &Slug) -> String {
        let choice = self.choice();
        format!("/case/{id}{}{}", if choice.is_empty() { "" } else { "?" }, choice.trim_start_matches('&'))
    }

    /// What was chosen, as the end of an address.
    fn choice(&self) -> String {
        let pairs = [
            ("q", &self.words),
            ("do", &self.action),
            ("opinion", &self.stance),
            ("terms", &self.terms),
            ("place", &self.place),
            ("order", &self.order),
        ];
        let mut text = String::new();
        for (name, value) in pairs.iter().filter(|(_, value)| !value.is_empty()) {
            text.push_str(&format!("&{name}="));
            for byte in value.bytes() {
                if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
                    text.push(char::from(byte));
                } else {
                    // Writing to a String cannot fail.
                    let _ = write!(text, "%{byte:02X}");
                }
            }
        }
        text
    }
}

const fn action_key(action: &Action) -> &'static str {
    match action {
        Action::Pass => "pass",
        Action::Ask => "ask",
        Action::Buy { .. } => "buy",
        Action::YourCall => "your-call",
        Action::WithTheLot => "with-the-lot",
    }
}

const fn stance_key(stance: Stance) -> &'static str {
    match stance {
        Stance::ForSealed { .. } => "for",
        Stance::AgainstSealed { .. } => "against",
        Stance::Neither => "neither",
        Stance::CannotTell | Stance::NotCovered | Stance::OutsideLibrary => "cannot-tell",
    }
}

fn choose(desk: &Desk, query: &Query) -> (Vec<Arc<Entry>>, usize) {
    let needles: Vec<String> = query.words.to_lowercase().split_whitespace().map(str::to_owned).collect();
    let all = desk.entries();
    let total = all.len();
    let mut chosen: Vec<Arc<Entry>> = all.into_iter().filter(|entry| query.admits(entry, &needles)).collect();
    chosen.sort_by(|a, b| query.compare(a, b));
    (chosen, total)
}

/// An offer's place among those that were chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Neighbours {
    /// The list that it is one of.
    pub(crate) list: String,
    /// Addresses of the one before and the one after it.
    pub(crate) before: Option<String>,
    pub(crate) after: Option<String>,
    /// The how manieth of how many, from 1; none when the choice leaves it out.
    pub(crate) place: Option<usize>,
    pub(crate) count: usize,
}

/// What lies before and after an offer in the list that the address names.
pub(crate) fn neighbours(desk: &Desk, pairs: &[(String, String)], id: &Slug) -> Neighbours {
    let query = Query::of(pairs);
    let (chosen, _) = choose(desk, &query);
    let place = chosen.iter().position(|entry| entry.id == *id);
    let address = |at: Option<usize>| Some(query.case(&chosen.get(at?)?.id));
    let list = place.map_or(1, |at| at / PER_PAGE + 1);
    Neighbours {
        list: if list == 1 && query.choice().is_empty() { "/".to_owned() } else { query.address(list) },
        before: address(place.and_then(|at| at.checked_sub(1))),
        after: address(place.map(|at| at + 1)),
        place: place.map(|at| at + 1),
        count: chosen.len(),
    }
}

/// The whole page.
pub(crate) fn page(desk: &Desk, reader: Reader, pairs: &[(String, String)]) -> String {
    let query = Query::of(pairs);
    let body = html! {
        h1 { "Offers" }
        (adding(desk))
        (filters(&query))
        (list(desk, &query))
    };
    frame(desk, reader, Part::Queue, "Offers", &body)
}

/// The list alone, for scripts that filter while somebody types.
pub(crate) fn fragment(desk: &Desk, pairs: &[(String, String)]) -> String {
    parts::clean(list(desk, &Query::of(pairs)).into_string())
}

#[derive(Serialize)]
struct DropZone<'a> {
    action: &'a str,
    token: &'a str,
    max_bytes: u64,
}

/// Dropping, choosing or pasting files; a plain form without scripts.
pub(crate) fn drop_zone(desk: &Desk, action: &str, id: &str, label: &str) -> Markup {
    html! {
        drop-zone {
            (data(&DropZone { action, token: &desk.token, max_bytes: MOST_UPLOAD_BYTES }))
            form.drop method="post" action=(action) enctype="multipart/form-data" {
                (token(desk))
                label for=(id) { (label) }
                input id=(id) type="file" name="files" multiple
                    accept="image/jpeg,image/png,image/webp,image/heic,.heic,.html,.htm,.toml";
                button { "Add" }
            }
        }
    }
}

fn adding(desk: &Desk) -> Markup {
    html! {
        section.adding aria-label="Add an offer" {
            (drop_zone(desk, "/offers", "add-files",
                "Add an offer: its photos together, a folder, a saved web page of it (HTML) with its photos, or a picture from the clipboard"))
        }
    }
}

fn select(name: &str, label: &str, options: &[(&str, &str)], now: &str) -> Markup {
    html! {
        div.field {
            label for=(format!("f-{name}")) { (label) }
            select id=(format!("f-{name}")) name=(name) {
                @for (value, words) in options { option value=(value) selected[*value == now] { (words) } }
            }
        }
    }
}

fn filters(query: &Query) -> Markup {
    html! {
        form.filters role="search" method="get" action="/" data-rows="/rows" {
            div.field.wide {
                label for="f-q" { "Search" }
                input #f-q type="search" name="q" value=(query.words) placeholder="words of title, product, notes";
            }
            (select("do", "What to do", &ACTIONS, &query.action))
            (select("opinion", "Opinion", &STANCES, &query.stance))
            (select("terms", "Terms", &TERMS, &query.terms))
            (select("place", "Show", &PLACES, &query.place))
            (select("order", "Order", &ORDERS, &query.order))
            button { "Show" }
        }
    }
}

#[derive(Serialize)]
struct Events<'a> {
    events: &'a str,
}

fn list(desk: &Desk, query: &Query) -> Markup {
    let (chosen, total) = choose(desk, query);
    let now = desk.now();
    let pages = chosen.len().div_ceil(PER_PAGE).max(1);
    let page = query.page.min(pages);
    let open = desk.entries().iter().filter(|entry| entry.standing.is_open()).count();
    html! {
        section #offers aria-label="The offers" {
            @if total == 0 {
                div.empty {
                    p { strong { "No offer yet." } }
                    p { "Save the photos of an offer and drop them above, all photos of one offer at once. Good ones show the whole front, the whole back and both end seals of a pack, or all six faces of a box." }
                    p { "For an invented example with offers of every kind, end the desk and run " code { "untorn desk --demo" } "." }
                }
            } @else {
                p.count role="status" {
                    span data-queue-count { (chosen.len()) } " of " (total) " offers"
                    @if chosen.is_empty() { ". Change the choice above, or " a href="/" { "show all in the queue" } "." }
                }
                @if open > 0 {
                    case-progress { (data(&Events { events: "/events" })) p role="status" { (open) " being looked at or in line. Load the page again to see how far they are." } }
                }
                @if !chosen.is_empty() { (table(&chosen, query, page, now)) }
                @if pages > 1 {
                    nav.pages aria-label="Pages of the list" {
                        @if page > 1 { a href=(query.address(page - 1)) rel="prev" { "Previous" } }
                        span { "page " (page) " of " (pages) }
                        @if page < pages { a href=(query.address(page + 1)) rel="next" { "Next" } }
                    }
                }
            }
        }
    }
}

fn table(chosen: &[Arc<Entry>], query: &Query, page: usize, now: Timestamp) -> Markup {
    html! {
        table.queue data-queue {
            caption { "Weights of evidence in bans with their 90 % interval: plus supports sealed, minus the alternatives." }
            thead { tr {
                th scope="col" { "Photo" } th scope="col" { "Offer" } th scope="col" { "Opinion" } th scope="col" { "What to do" }
                th scope="col" { "Price" } th scope="col" { "Time left" } th scope="col" { "Returns" } th scope="col" { "Missing" }
            } }
            tbody {
                @for entry in chosen.iter().skip((page - 1) * PER_PAGE).take(PER_PAGE) { (row(entry, &query.case(&entry.id), now)) }
            }
        }
    }
}

fn row(entry: &Entry, address: &str, now: Timestamp) -> Markup {
    let row = &entry.row;
    html! {
        tr data-row {
            td.thumb {
                @if let Some((hash, width, height)) = &row.thumb {
                    a href=(address) tabindex="-1" aria-hidden="true" {
                        img src=(format!("/shown/{}/{hash}", entry.id)) width=(width) height=(height) alt="" loading="lazy";
                    }
                }
            }
            th scope="row" {
                a href=(address) { (parts::foreign(&row.title)) }
                div.note {
                    (entry.id) " · " (row.photos) @if row.photos == 1 { " photo" } @else { " photos" }
                    @if let Some(venue) = &row.venue { " · " (parts::foreign(venue)) }
                    @if entry.away { " · put away" }
                }
            }
            td data-head="Opinion" {
                @match entry.standing {
                    Standing::Waiting => { p.note { "In line to be looked at." } }
                    Standing::Examining => { p.note { "Being looked at." } }
                    Standing::Stuck => { p.problem { "Not examined: " (entry.problem.as_deref().unwrap_or("no reason is known")) } }
                    Standing::Examined => {}
                }
                @for item in &row.items { (opinion(item, row.items.len())) }
                @if let Some(outcome) = &row.outcome { p.note { "Outcome: " (outcome) } }
            }
            td data-head="What to do" {
                @for item in &row.items { p { (action(&item.action)) } }
                @if row.asked > 0 { p.note { "answer awaited" } }
            }
            td.number data-head="Price" {
                @if let Some(price) = &row.price { (parts::money(price)) }
                @if let Some(shipping) = &row.shipping { div.note { "+ " (parts::money(shipping)) } }
            }
            td data-head="Time left" { @if let Some(ends) = row.ends { (left(ends, now)) } }
            td data-head="Returns" { (returns(row.returns.as_ref())) }
            td data-head="Missing" {
                @for item in row.items.iter().filter(|item| !item.missing.is_empty()) { p { (item.missing.join(", ")) } }
            }
        }
    }
}

fn opinion(item: &RowItem, count: usize) -> Markup {
    html! {
        p.stance {
            @if count > 1 { span.note { "Item " (item.item) ": " } }
            (parts::capital(parts::stance_phrase(item.stance)))
            @if let Some(step) = step(item.stance) { span.note { " (" (step) " support)" } }
        }
        p.note {
            (parts::bans(item.weight.value.0)) " (" (parts::interval(&item.weight)) ")"
            @if let Some(product) = &item.product { " · " (parts::product_phrase(product)) }
        }
    }
}

/// How much support, by the verbal scale.
const fn step(stance: Stance) -> Option<&'static str> {
    let (Stance::ForSealed { step } | Stance::AgainstSealed { step, .. }) = stance else { return None };
    Some(match step {
        VerbalStep::Weak => "weak",
        VerbalStep::Moderate => "moderate",
        VerbalStep::ModeratelyStrong => "moderately strong",
        VerbalStep::Strong => "strong",
        VerbalStep::VeryStrong => "very strong",
        VerbalStep::ExtremelyStrong => "extremely strong",
    })
}

/// The decision in a few words.
pub(crate) fn action(action: &Action) -> String {
    match action {
        Action::Pass => "Pass".to_owned(),
        Action::Ask => "Ask".to_owned(),
        Action::Buy { up_to } => format!("Buy up to {}", parts::money(up_to)),
        Action::YourCall => "Your call".to_owned(),
        Action::WithTheLot => "As the lot".to_owned(),
    }
}

/// How long an offer still runs.
pub(crate) fn left(ends: Timestamp, now: Timestamp) -> String {
    let minutes = ends.as_second().saturating_sub(now.as_second()) / 60;
    match minutes {
        ..0 => "ended".to_owned(),
        0..60 => format!("{minutes} min"),
        60..2_880 => format!("{} h", minutes / 60),
        _ => format!("{} days", minutes / 1_440),
    }
}

/// Return terms in a few words.
pub(crate) fn returns(terms: Option<&ReturnTerms>) -> String {
    match terms {
        None => String::new(),
        Some(terms) if !terms.accepted => "not accepted".to_owned(),
        Some(terms) => {
            let days = terms.days.map_or_else(|| "accepted".to_owned(), |days| format!("{days} days"));
            if terms.buyer_pays_postage { format!("{days}, you pay the way back") } else { days }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(id: &str, title: &str, price: Option<&str>) -> Entry {
        let price = price.map(|amount| casebook::money::Money {
            amount: amount.parse().unwrap(),
            currency: iso_currency::Currency::EUR,
        });
        let row = crate::row::Row {
            title: title.to_owned(),
            words: title.to_lowercase(),
            price,
            ..crate::row::Row::default()
        };
        Entry {
            id: id.parse().unwrap(),
            added_at: "2026-01-01T00:00:00Z".to_owned(),
            standing: Standing::Waiting,
            problem: None,
            away: false,
            row,
        }
    }

    fn query(pairs: &[(&str, &str)]) -> Query {
        Query::of(&pairs.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect::<Vec<_>>())
    }

    #[test]
    fn searches_by_every_word_and_sorts_what_is_unknown_last() {
        let entries = [
            entry("a", "Brass pack", Some("9.50")),
            entry("b", "Brass box", None),
            entry("c", "Kelp box", Some("3")),
        ];
        let all = query(&[("q", "BOX brass")]);
        let needles = ["box".to_owned(), "brass".to_owned()];
        let found: Vec<&str> =
            entries.iter().filter(|e| all.admits(e, &needles)).map(|e| e.id.as_str()).collect();
        assert_eq!(found, ["b"]);
        let by_price = query(&[("order", "price")]);
        let mut sorted = entries.to_vec();
        sorted.sort_by(|a, b| by_price.compare(a, b));
        assert_eq!(sorted.iter().map(|e| e.id.as_str()).collect::<Vec<_>>(), ["c", "a", "b"]);
    }

    #[test]
    fn addresses_carry_any_words() {
        let address = query(&[("q", "a&b <é>"), ("do", "buy")]).address(2);
        assert_eq!(address, "/?page=2&q=a%26b%20%3C%C3%A9%3E&do=buy");
    }

    #[test]
    fn time_left_in_words() {
        let now: Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
        for (ends, words) in [
            ("2025-12-31T23:00:00Z", "ended"),
            ("2026-01-01T00:45:00Z", "45 min"),
            ("2026-01-01T05:10:00Z", "5 h"),
            ("2026-01-05T00:00:00Z", "4 days"),
        ] {
            assert_eq!(left(ends.parse().unwrap(), now), words);
        }
    }
}
