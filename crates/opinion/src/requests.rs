//! What to ask the seller for, which earlier requests concern a view, and the message.
//!
//! A deciding view that was not read comes first, then whatever else findings miss. A request that the
//! seller declined is not repeated; it is no evidence about the item.
//!
//! In: opinion, findings, what was asked so far. Out: words. Never here: a message that is sent.

use casebook::case::{Request, RequestState};
use casebook::finding::{Finding, Reading};
use casebook::names::Slug;
use casebook::opinion::Opinion;

use crate::coverage::spoken;

/// One thing that could be asked for about one item.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Wanted {
    /// In words.
    pub(crate) wants: String,
    /// The deciding view that it would show.
    pub(crate) view: Option<String>,
}

/// How an item of a lot is named in a request, and how such a request is told from others.
pub(crate) fn of_item(item: &Slug, wants: &str) -> String {
    format!("item {item}: {wants}")
}

/// The request without the name of the item, or `None` when it names another item. A request that
/// names none concerns every item.
fn about<'r>(request: &'r Request, item: &Slug) -> Option<&'r str> {
    let named = request.wants.strip_prefix("item ").and_then(|rest| rest.split_once(": "));
    match named {
        Some((name, wants)) if name.parse::<Slug>().is_ok() => (name == item.as_str()).then_some(wants),
        _ => Some(&request.wants),
    }
}

/// The state of the latest request that concerns a view of an item.
pub(crate) fn asked_for(
    asked: &[Request],
    item: &Slug,
    view: &str,
    own: Option<&str>,
) -> Option<RequestState> {
    let mut latest = asked.iter().rev();
    latest
        .find(|request| about(request, item).is_some_and(|wants| concerns(wants, view, own)))
        .map(|request| request.state)
}

/// Whether a request is about a view: it is the very request, or it names the view.
fn concerns(wants: &str, view: &str, own: Option<&str>) -> bool {
    let wanted = wants.to_lowercase().replace('-', " ");
    let name = spoken(view);
    if own.is_some_and(|own| own.to_lowercase().replace('-', " ") == wanted) {
        return true;
    }
    let words: Vec<&str> = wanted.split(|c: char| !c.is_alphanumeric()).collect();
    let has = |word: &str| words.contains(&word);
    match name.as_str() {
        // "the bottom end seal" is not "the bottom" of a box, and "seals" means both.
        "top end seal" | "bottom end seal" => {
            let end = name.split(' ').next().unwrap_or_default();
            (has(end) && (has("seal") || has("crimp") || has("end")))
                || (has("both") && (has("seals") || has("ends")))
        }
        "top" | "bottom" => has(&name) && !has("seal") && !has("end"),
        _ => has(&name),
    }
}

/// What to ask for: unread deciding views first, then what other findings miss; without what was
/// declined.
pub(crate) fn wanted(opinion: &Opinion, findings: &[Finding], asked: &[Request]) -> Vec<Wanted> {
    let item = &opinion.item;
    let mut out: Vec<Wanted> = Vec::new();
    let mut add = |wants: &str, view: Option<&str>| {
        let refused = asked
            .iter()
            .any(|r| r.state == RequestState::Declined && about(r, item).is_some_and(|own| own == wants));
        if wants.is_empty() || refused {
            return;
        }
        match out.iter_mut().find(|o| o.wants == wants) {
            Some(known) => {
                if known.view.is_none() {
                    known.view = view.map(str::to_owned);
                }
            }
            None => out.push(Wanted { wants: wants.to_owned(), view: view.map(str::to_owned) }),
        }
    };
    for view in opinion.coverage.iter().filter(|v| !v.read) {
        let last = asked_for(asked, item, &view.view, view.request.as_deref());
        if last != Some(RequestState::Declined)
            && let Some(request) = &view.request
        {
            add(request, Some(&view.view));
        }
    }
    for finding in findings {
        if let Reading::CannotTell { missing } = &finding.reading {
            for one in missing {
                add(&one.wants, None);
            }
        }
    }
    out
}

/// A courteous message to the seller with everything that is wanted, ready to be copied and changed.
/// The program sends nothing itself. Empty when nothing is wanted.
///
/// # Example
/// ```
/// let text = opinion::message_to_seller(&["a photo of the back".to_owned()]);
/// assert!(text.contains("a photo of the back") && text.ends_with("Thank you very much!"));
/// ```
#[must_use]
pub fn message_to_seller(wants: &[String]) -> String {
    let plain: Vec<String> = wants.iter().map(|one| plainly(one)).collect();
    let ask = match plain.as_slice() {
        [] => return String::new(),
        [one] => format!("Could you please help me with one thing before I decide: {one}?"),
        several => {
            let lines: Vec<String> =
                several.iter().enumerate().map(|(at, one)| format!("{}. {one}", at + 1)).collect();
            format!("Could you please help me with these before I decide?\n{}", lines.join("\n"))
        }
    };
    format!(
        "Hello,\nI am interested in your offer. {ask}\nDaylight and a still camera are all it needs; \
         no tape or sleeve has to come off.\nThank you very much!"
    )
}

/// What is wanted, without the question around it: the message asks once.
fn plainly(wants: &str) -> String {
    wants.replacen("Could you please add ", "", 1).trim_end_matches('?').to_owned()
}
