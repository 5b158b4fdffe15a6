//! What pages hear while they are open: how far an offer or the library has come, as server-sent events.
//!
//! In: the desk's events. Out: a stream of JSON, `{state, words, done}`; first how things stand, then
//! every change. Never here: findings; a page that hears `done` asks for itself anew.

use std::convert::Infallible;
use std::sync::Arc;

use axum::response::sse::{Event, KeepAlive, Sse};
use casebook::names::Slug;
use futures_util::stream::{self, Stream};
use serde::Serialize;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;

use crate::desk::{self, Desk, ShelfState};
use crate::row::{Entry, Standing};

/// How an offer stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Progress {
    /// `waiting`, `examining`, `examined`, `stuck`; of a task `waiting`, `working`, `learned`, `done`, `failed`.
    pub(crate) state: &'static str,
    /// The same in words.
    pub(crate) words: String,
    /// Whether nothing more will happen by itself.
    pub(crate) done: bool,
}

/// How an offer stands now.
pub(crate) fn progress(desk: &Desk, entry: &Entry) -> Progress {
    let words = match entry.standing {
        Standing::Waiting => match desk.shelf_state() {
            ShelfState::Opening(words) => format!("Waiting for the library: {words}."),
            ShelfState::Unusable(words) => format!("Waiting, because the library cannot be used: {words}."),
            ShelfState::Ready(_) => match ahead(desk, entry) {
                0 => "Next in line.".to_owned(),
                1 => "In line; another offer is being looked at.".to_owned(),
                more => format!("In line with {more} others."),
            },
        },
        Standing::Examining => "The photos are being looked at.".to_owned(),
        Standing::Examined => "Examined.".to_owned(),
        Standing::Stuck => {
            format!("Not examined: {}", entry.problem.as_deref().unwrap_or("no reason is known"))
        }
    };
    Progress { state: entry.standing.word(), words, done: !entry.standing.is_open() }
}

fn ahead(desk: &Desk, entry: &Entry) -> usize {
    desk.entries().iter().filter(|other| other.id != entry.id && other.standing.is_open()).count()
}

/// A stream about one offer, or (without one) about every offer's change.
pub(crate) fn watch(
    desk: Arc<Desk>,
    offer: Option<Slug>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let receiver = desk.watch();
    let state = (desk, receiver, offer, true);
    let events = stream::unfold(state, |(desk, mut receiver, offer, first)| async move {
        let data = match &offer {
            Some(id) => {
                if !first {
                    heard(&mut receiver, |event| event.offer.as_ref().is_none_or(|other| other == id))
                        .await?;
                }
                let entry = desk.entry(id)?;
                serde_json::to_string(&progress(&desk, &entry)).unwrap_or_default()
            }
            None => {
                if !first {
                    heard(&mut receiver, |_| true).await?;
                }
                let entries = desk.entries();
                let open = entries.iter().filter(|entry| entry.standing.is_open()).count();
                let words = match open {
                    0 => "Everything has been looked at.".to_owned(),
                    1 => "One offer is being looked at.".to_owned(),
                    more => format!("{more} offers wait or are being looked at."),
                };
                let state = if open == 0 { "examined" } else { "examining" };
                serde_json::to_string(&Progress { state, words, done: open == 0 }).unwrap_or_default()
            }
        };
        Some((Ok(Event::default().data(data)), (desk, receiver, offer, false)))
    });
    Sse::new(events).keep_alive(KeepAlive::default())
}

/// A stream about one task.
pub(crate) fn watch_task(
    desk: Arc<Desk>,
    name: String,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let receiver = desk.watch();
    let events =
        stream::unfold((desk, receiver, name, true), |(desk, mut receiver, name, first)| async move {
            if !first {
                heard(&mut receiver, |event| event.offer.is_none()).await?;
            }
            let task = desk.tasks.get(&name)?;
            let now = Progress { state: task.stage.word(), words: task.words, done: !task.stage.is_open() };
            let data = serde_json::to_string(&now).unwrap_or_default();
            Some((Ok(Event::default().data(data)), (desk, receiver, name, false)))
        });
    Sse::new(events).keep_alive(KeepAlive::default())
}

/// Waits for an event of interest; `None` when the desk has gone. Missed ones count as one.
async fn heard(
    receiver: &mut Receiver<desk::Event>,
    of_interest: impl Fn(&desk::Event) -> bool,
) -> Option<()> {
    loop {
        match receiver.recv().await {
            Ok(event) if of_interest(&event) => return Some(()),
            Ok(_) => {}
            Err(RecvError::Lagged(_)) => return Some(()),
            Err(RecvError::Closed) => return None,
        }
    }
}
