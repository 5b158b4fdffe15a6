//! Which address does what.
//!
//! In: requests that passed `guard`. Out: pages, pictures, events; changes answer with the page to see
//! next, or with JSON for the pages' own scripts. What takes time runs on a thread of its own, and a
//! panic there ends that one request. Never here: what a page says.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, FromRequest, Multipart, Path, Query, Request, State};
use axum::http::header::{
    ACCEPT, CONTENT_DISPOSITION, CONTENT_LENGTH, CONTENT_TYPE, COOKIE, LOCATION, SET_COOKIE,
};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use casebook::names::{PhotoHash, Slug};
use serde::Serialize;

use crate::desk::Desk;
use crate::edit::{self, Fields};
use crate::error::Trouble;
use crate::guard::{guard, has_token, is_token, no_token};
use crate::pages::{self, Look, Reader};
use crate::{assets, events, files, intake};

/// Most bytes of a form without files. A region list or a prior takes some hundred.
const MOST_FORM_BYTES: usize = 1 << 20;

type Shared = State<Arc<Desk>>;

/// Every address.
pub(crate) fn router(desk: Arc<Desk>) -> Router {
    let uploads = Router::new()
        .route("/offers", post(take_offer))
        .route("/case/{id}/photos", post(take_photos))
        .route("/case/{id}/board", post(take_board))
        .route("/library/catalogue", post(take_catalogue))
        .route("/library/specimen", post(take_specimen))
        .route("/library/learn", post(take_learn))
        .route("/library/bundle", post(take_bundle))
        .layer(DefaultBodyLimit::max(intake::MOST_UPLOAD_BYTES as usize + (1 << 20)));
    Router::new()
        .route("/", get(queue))
        .route("/rows", get(rows))
        .route("/events", get(all_events))
        .route("/case/{id}", get(case))
        .route("/case/{id}/photo/{number}", get(case_photo))
        .route("/case/{id}/report", get(report))
        .route("/case/{id}/make-board", get(make_board))
        .route("/case/{id}/events", get(case_events))
        .route("/case/{id}/do/{act}", post(act))
        .route("/boards", get(boards))
        .route("/board/{hash}", get(board))
        .route("/board/{hash}/{act}", post(board_act))
        .route("/library", get(library))
        .route("/library/add", get(library_add))
        .route("/library/trail", get(trail))
        .route("/library/specimens", get(specimens))
        .route("/library/specimen/{id}", get(specimen))
        .route("/library/product/{line}/{release}/{form}", get(product))
        .route("/library/product/{line}/{release}/{form}/face/{face}", get(face))
        .route("/library/product/{line}/{release}/{form}/face/{face}/regions", post(regions))
        .route("/library/product/{line}/{release}/{form}/pack", post(pack))
        .route("/library/task/{name}", get(task))
        .route("/library/task/{name}/events", get(task_events))
        .route("/library/task/{name}/bundle", get(task_bundle))
        .route("/library/task/{name}/picture/{hash}", get(task_picture))
        .route("/library/task/{name}/do/{act}", post(task_act))
        .route("/words", get(words))
        .route("/look", post(look))
        .route("/photo/{hash}", get(photo))
        .route("/shown/{id}/{hash}", get(shown))
        .route("/assets/{set}/{*name}", get(asset))
        .layer(DefaultBodyLimit::max(MOST_FORM_BYTES))
        .merge(uploads)
        .fallback(nothing)
        .layer(axum::middleware::from_fn_with_state(Arc::clone(&desk), guard))
        .with_state(desk)
}

/// What the reader's browser asked for.
fn reader(headers: &HeaderMap) -> Reader {
    let cookie = headers.get(COOKIE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let look = cookie.split(';').find_map(|pair| pair.trim().strip_prefix("look="));
    let accept = headers.get(ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or_default();
    Reader {
        look: look.and_then(Look::of_word).unwrap_or_default(),
        json: accept.contains("application/json"),
    }
}

/// Runs something that takes time apart from the threads that answer.
async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
) -> Result<T, Trouble> {
    match tokio::task::spawn_blocking(work).await {
        Ok(result) => result,
        Err(_) => Err(pages::our_fault()),
    }
}

fn html(text: String) -> Response {
    ([(CONTENT_TYPE, "text/html; charset=utf-8")], text).into_response()
}

/// Says what is wrong, as a page or as JSON.
fn say(desk: &Desk, reader: Reader, trouble: &Trouble) -> Response {
    if reader.json {
        return json(trouble.status, &Said { error: Some(&trouble.words), ..Said::default() });
    }
    (trouble.status, html(pages::trouble(desk, reader, trouble))).into_response()
}

/// What scripts of our pages are told.
#[derive(Default, Serialize)]
struct Said<'a> {
    /// What went wrong and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<&'a str>,
    /// The page to see next.
    #[serde(skip_serializing_if = "Option::is_none")]
    url: Option<&'a str>,
    /// The case that was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    case: Option<&'a str>,
    /// Files that were taken.
    taken: Vec<String>,
    /// Files that were refused: name and why.
    refused: Vec<Refused>,
}

#[derive(Serialize)]
struct Refused {
    file: String,
    why: String,
}

fn json(status: StatusCode, said: &Said<'_>) -> Response {
    // Text and lists: printing cannot fail.
    let text = serde_json::to_string(said).unwrap_or_default();
    (status, [(CONTENT_TYPE, "application/json")], text).into_response()
}

/// After a change: the page to see next.
fn next(reader: Reader, url: &str) -> Response {
    if reader.json {
        return json(StatusCode::OK, &Said { url: Some(url), ..Said::default() });
    }
    (StatusCode::SEE_OTHER, [(LOCATION, url.to_owned())]).into_response()
}

/// A page made apart.
async fn page(
    desk: Arc<Desk>,
    headers: &HeaderMap,
    make: impl FnOnce(&Desk, Reader) -> Result<String, Trouble> + Send + 'static,
) -> Response {
    let reader = reader(headers);
    let own = Arc::clone(&desk);
    match apart(move || make(&own, reader)).await {
        Ok(text) => html(text),
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

/// A form's fields, once the token is right. Takes forms as browsers send them, and JSON.
async fn form(desk: &Desk, request: Request<Body>) -> Result<Fields, Trouble> {
    let headers = request.headers().clone();
    let is_json = headers
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|kind| kind.starts_with("application/json"));
    let fields: Fields = if is_json {
        let bytes = axum::body::to_bytes(request.into_body(), MOST_FORM_BYTES)
            .await
            .map_err(|_| Trouble::new(StatusCode::PAYLOAD_TOO_LARGE, "too much was sent; make it shorter"))?;
        let map: serde_json::Map<String, serde_json::Value> = serde_json::from_slice(&bytes)
            .map_err(|error| Trouble::wrong(format!("not a JSON object: {error}")))?;
        let text = |value: serde_json::Value| match value {
            serde_json::Value::String(text) => text,
            other => other.to_string(),
        };
        map.into_iter().map(|(name, value)| (name, text(value))).collect()
    } else {
        axum::Form::<Vec<(String, String)>>::from_request(request, &())
            .await
            .map_err(|error| Trouble::new(error.status(), format!("the form cannot be read: {error}")))?
            .0
            .into_iter()
            .collect()
    };
    let sent = fields.get("token").is_some_and(|token| is_token(desk, token));
    if sent || has_token(desk, &headers) { Ok(fields) } else { Err(no_token()) }
}

/// A change made apart from a form's fields.
async fn changed(
    desk: Arc<Desk>,
    request: Request<Body>,
    change: impl FnOnce(&Desk, Fields) -> Result<String, Trouble> + Send + 'static,
) -> Response {
    let reader = reader(request.headers());
    let done = async {
        let fields = form(&desk, request).await?;
        let own = Arc::clone(&desk);
        apart(move || change(&own, fields)).await
    };
    match done.await {
        Ok(url) => next(reader, &url),
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

/// What arrived in a multipart body.
async fn arrived(desk: &Desk, request: Request<Body>) -> Result<intake::Arrived, Trouble> {
    let token = has_token(desk, request.headers());
    let told = request.headers().get(CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse().ok());
    if told.is_some_and(|length: u64| length > intake::MOST_UPLOAD_BYTES) {
        let words = format!(
            "more than {} MiB at once; nothing was taken, send fewer",
            intake::MOST_UPLOAD_BYTES >> 20
        );
        return Err(Trouble::new(StatusCode::PAYLOAD_TOO_LARGE, words));
    }
    let body = Multipart::from_request(request, &())
        .await
        .map_err(|error| Trouble::new(error.status(), format!("the upload cannot be read: {error}")))?;
    intake::receive(desk, body, token).await
}

fn known(desk: &Desk, id: &str) -> Result<Slug, Trouble> {
    let id: Slug = id.parse().map_err(|_| Trouble::missing("case of that name"))?;
    if desk.entry(&id).is_some() { Ok(id) } else { Err(Trouble::missing("case of that name")) }
}

async fn queue(
    State(desk): Shared,
    headers: HeaderMap,
    Query(asked): Query<Vec<(String, String)>>,
) -> Response {
    page(desk, &headers, move |desk, reader| Ok(pages::queue::page(desk, reader, &asked))).await
}

async fn rows(
    State(desk): Shared,
    headers: HeaderMap,
    Query(asked): Query<Vec<(String, String)>>,
) -> Response {
    page(desk, &headers, move |desk, _| Ok(pages::queue::fragment(desk, &asked))).await
}

async fn all_events(State(desk): Shared) -> Response {
    events::watch(desk, None).into_response()
}

async fn case_events(State(desk): Shared, headers: HeaderMap, Path(id): Path<String>) -> Response {
    match known(&desk, &id) {
        Ok(id) => events::watch(desk, Some(id)).into_response(),
        Err(trouble) => say(&desk, reader(&headers), &trouble),
    }
}

async fn case(
    State(desk): Shared,
    headers: HeaderMap,
    Path(id): Path<String>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Response {
    page(desk, &headers, move |desk, reader| pages::case::page(desk, reader, &known(desk, &id)?, &asked))
        .await
}

async fn case_photo(
    State(desk): Shared,
    headers: HeaderMap,
    Path((id, number)): Path<(String, usize)>,
) -> Response {
    page(desk, &headers, move |desk, reader| {
        pages::case::photo::page(desk, reader, &known(desk, &id)?, number)
    })
    .await
}

async fn make_board(State(desk): Shared, headers: HeaderMap, Path(id): Path<String>) -> Response {
    page(desk, &headers, move |desk, reader| pages::boards::make(desk, reader, &known(desk, &id)?)).await
}

async fn report(State(desk): Shared, headers: HeaderMap, Path(id): Path<String>) -> Response {
    let reader = reader(&headers);
    let own = Arc::clone(&desk);
    let made = apart(move || {
        let id = known(&own, &id)?;
        Ok((pages::case::report(&own, &id)?, id))
    });
    match made.await {
        // Sent as a file: the report carries a policy and a look of its own.
        Ok((text, id)) => {
            let name = format!("attachment; filename=\"{id}.html\"");
            ([(CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (CONTENT_DISPOSITION, name)], text)
                .into_response()
        }
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

async fn act(
    State(desk): Shared,
    Path((id, act)): Path<(String, String)>,
    request: Request<Body>,
) -> Response {
    changed(desk, request, move |desk, fields| {
        let id = known(desk, &id)?;
        edit::act(desk, &id, &act, &fields)?;
        let place = pages::case::place_of(&act);
        Ok(if act == "away" { "/".to_owned() } else { format!("/case/{id}{place}") })
    })
    .await
}

async fn take_offer(State(desk): Shared, request: Request<Body>) -> Response {
    let reader = reader(request.headers());
    let done = async {
        let mut arrived = arrived(&desk, request).await?;
        let own = Arc::clone(&desk);
        apart(move || {
            let id = intake::accept(&own, &mut arrived)?;
            let taken = arrived.photos.iter().map(|(file, _)| file.to_string()).collect::<Vec<_>>();
            Ok((id, taken, std::mem::take(&mut arrived.refused)))
        })
        .await
    };
    match done.await {
        Ok((id, taken, refused)) if reader.json => {
            let refused = refused.into_iter().map(|(file, why)| Refused { file, why }).collect();
            let url = format!("/case/{id}");
            let said = Said { url: Some(&url), case: Some(id.as_str()), taken, refused, error: None };
            json(StatusCode::OK, &said)
        }
        Ok((id, _, refused)) if refused.is_empty() => next(reader, &format!("/case/{id}")),
        Ok((id, taken, refused)) => html(pages::taken(&desk, reader, &id, taken.len(), &refused)),
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

async fn take_photos(State(desk): Shared, Path(id): Path<String>, request: Request<Body>) -> Response {
    let reader = reader(request.headers());
    let done = async {
        let id = known(&desk, &id)?;
        let arrived = arrived(&desk, request).await?;
        let own = Arc::clone(&desk);
        apart(move || {
            edit::add_photos(&own, &id, &arrived)?;
            let taken = arrived.photos.iter().map(|(file, _)| file.to_string()).collect::<Vec<_>>();
            Ok((id, taken, arrived.refused.clone()))
        })
        .await
    };
    match done.await {
        Ok((id, taken, refused)) if reader.json => {
            let refused = refused.into_iter().map(|(file, why)| Refused { file, why }).collect();
            let url = format!("/case/{id}");
            json(
                StatusCode::OK,
                &Said { url: Some(&url), case: Some(id.as_str()), taken, refused, error: None },
            )
        }
        Ok((id, _, refused)) if refused.is_empty() => next(reader, &format!("/case/{id}#photos")),
        Ok((id, taken, refused)) => html(pages::taken(&desk, reader, &id, taken.len(), &refused)),
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

async fn take_board(State(desk): Shared, Path(id): Path<String>, request: Request<Body>) -> Response {
    let reader = reader(request.headers());
    let done = async {
        let id = known(&desk, &id)?;
        let arrived = arrived(&desk, request).await?;
        let own = Arc::clone(&desk);
        apart(move || pages::boards::keep(&own, &id, &arrived)).await
    };
    match done.await {
        Ok(url) => next(reader, &url),
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

async fn take_catalogue(State(desk): Shared, request: Request<Body>) -> Response {
    take_in(desk, request, pages::library::add_catalogue).await
}

async fn take_specimen(State(desk): Shared, request: Request<Body>) -> Response {
    take_in(desk, request, pages::library::add_specimen).await
}

async fn take_learn(State(desk): Shared, request: Request<Body>) -> Response {
    take_in(desk, request, pages::tasks::take_learn).await
}

async fn take_bundle(State(desk): Shared, request: Request<Body>) -> Response {
    take_in(desk, request, pages::tasks::take_bundle).await
}

async fn pack(
    State(desk): Shared,
    Path((line, release, form)): Path<(String, String, String)>,
    request: Request<Body>,
) -> Response {
    changed(desk, request, move |desk, _| pages::tasks::pack(desk, &format!("{line}/{release}/{form}"))).await
}

async fn task(State(desk): Shared, headers: HeaderMap, Path(name): Path<String>) -> Response {
    page(desk, &headers, move |desk, reader| pages::tasks::page(desk, reader, &name)).await
}

async fn task_events(State(desk): Shared, headers: HeaderMap, Path(name): Path<String>) -> Response {
    match pages::tasks::known(&desk, &name) {
        Ok(_) => events::watch_task(desk, name).into_response(),
        Err(trouble) => say(&desk, reader(&headers), &trouble),
    }
}

async fn task_bundle(State(desk): Shared, headers: HeaderMap, Path(name): Path<String>) -> Response {
    let found = pages::tasks::known(&desk, &name).ok().and_then(|task| {
        let path = task.bundle(&desk.tasks)?;
        let product = task.product.as_ref()?.to_string().replace('/', "-");
        Some((path, format!("attachment; filename=\"{product}.zip\"")))
    });
    let Some((path, disposition)) = found else {
        return say(&desk, reader(&headers), &Trouble::missing("bundle of that name"));
    };
    let mut response = send(desk, headers, move |_| Ok(files::bundle(path))).await;
    if let Ok(value) = disposition.parse() {
        response.headers_mut().insert(CONTENT_DISPOSITION, value);
    }
    response
}

async fn task_picture(
    State(desk): Shared,
    headers: HeaderMap,
    Path((name, picture)): Path<(String, String)>,
) -> Response {
    send(desk, headers, move |desk| {
        let task = pages::tasks::known(desk, &name)?;
        let path = task.picture(&hash(&picture)?).ok_or_else(|| Trouble::missing("picture of that name"))?;
        files::learned(path)
    })
    .await
}

async fn task_act(
    State(desk): Shared,
    Path((name, act)): Path<(String, String)>,
    request: Request<Body>,
) -> Response {
    changed(desk, request, move |desk, fields| pages::tasks::act(desk, &name, &act, &fields)).await
}

async fn take_in(
    desk: Arc<Desk>,
    request: Request<Body>,
    add: fn(&Desk, &mut intake::Arrived) -> Result<String, Trouble>,
) -> Response {
    let reader = reader(request.headers());
    let done = async {
        let mut arrived = arrived(&desk, request).await?;
        let own = Arc::clone(&desk);
        apart(move || add(&own, &mut arrived)).await
    };
    match done.await {
        Ok(url) => next(reader, &url),
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

async fn boards(State(desk): Shared, headers: HeaderMap) -> Response {
    page(desk, &headers, pages::boards::page).await
}

async fn board_act(
    State(desk): Shared,
    Path((hash, act)): Path<(String, String)>,
    request: Request<Body>,
) -> Response {
    changed(desk, request, move |desk, _| {
        let hash: PhotoHash = hash.parse().map_err(|_| Trouble::missing("board of that name"))?;
        let away = match act.as_str() {
            "away" => true,
            "back" => false,
            _ => return Err(Trouble::missing("such act")),
        };
        desk.store().set_board_away(&hash, away)?;
        Ok("/boards".to_owned())
    })
    .await
}

async fn library(State(desk): Shared, headers: HeaderMap) -> Response {
    page(desk, &headers, pages::library::page).await
}

async fn library_add(State(desk): Shared, headers: HeaderMap) -> Response {
    page(desk, &headers, pages::library::add_page).await
}

async fn trail(State(desk): Shared, headers: HeaderMap) -> Response {
    page(desk, &headers, pages::library::trail).await
}

async fn specimens(State(desk): Shared, headers: HeaderMap) -> Response {
    page(desk, &headers, pages::library::specimens).await
}

async fn specimen(State(desk): Shared, headers: HeaderMap, Path(id): Path<String>) -> Response {
    page(desk, &headers, move |desk, reader| pages::library::specimen(desk, reader, &id)).await
}

async fn product(
    State(desk): Shared,
    headers: HeaderMap,
    Path((line, release, form)): Path<(String, String, String)>,
) -> Response {
    page(desk, &headers, move |desk, reader| {
        pages::product::page(desk, reader, &format!("{line}/{release}/{form}"))
    })
    .await
}

async fn face(
    State(desk): Shared,
    headers: HeaderMap,
    Path((line, release, form, face)): Path<(String, String, String, String)>,
) -> Response {
    page(desk, &headers, move |desk, reader| {
        pages::product::face(desk, reader, &format!("{line}/{release}/{form}"), &face)
    })
    .await
}

async fn regions(
    State(desk): Shared,
    Path((line, release, form, face)): Path<(String, String, String, String)>,
    request: Request<Body>,
) -> Response {
    changed(desk, request, move |desk, fields| {
        pages::product::set_regions(desk, &format!("{line}/{release}/{form}"), &face, &fields)
    })
    .await
}

async fn words(State(desk): Shared, headers: HeaderMap) -> Response {
    page(desk, &headers, |desk, reader| Ok(pages::words(desk, reader))).await
}

/// Light or dark, kept by the browser.
async fn look(State(desk): Shared, request: Request<Body>) -> Response {
    let reader = reader(request.headers());
    let back = request
        .headers()
        .get("referer")
        .and_then(|value| value.to_str().ok())
        .and_then(|address| address.strip_prefix("http://"))
        .and_then(|rest| rest.find('/').and_then(|at| rest.get(at..)))
        .filter(|path| !path.starts_with("//"))
        .unwrap_or("/")
        .to_owned();
    match form(&desk, request).await {
        Ok(fields) => {
            let look = fields.get("look").and_then(|word| Look::of_word(word)).unwrap_or_default();
            let cookie = format!("look={}; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly", look.word());
            (StatusCode::SEE_OTHER, [(LOCATION, back), (SET_COOKIE, cookie)]).into_response()
        }
        Err(trouble) => say(&desk, reader, &trouble),
    }
}

async fn send(
    desk: Arc<Desk>,
    headers: HeaderMap,
    find: impl FnOnce(&Desk) -> Result<files::Sendable, Trouble> + Send + 'static,
) -> Response {
    let own = Arc::clone(&desk);
    let sent = async { files::send(apart(move || find(&own)).await?).await };
    match sent.await {
        Ok(response) => response,
        Err(trouble) => say(&desk, reader(&headers), &trouble),
    }
}

fn hash(text: &str) -> Result<PhotoHash, Trouble> {
    text.parse().map_err(|_| Trouble::missing("picture of that name"))
}

async fn photo(State(desk): Shared, headers: HeaderMap, Path(name): Path<String>) -> Response {
    send(desk, headers, move |desk| files::photo(desk, &hash(&name)?)).await
}

async fn shown(
    State(desk): Shared,
    headers: HeaderMap,
    Path((id, name)): Path<(String, String)>,
) -> Response {
    send(desk, headers, move |desk| files::picture(desk, &known(desk, &id)?, &hash(&name)?)).await
}

async fn board(State(desk): Shared, headers: HeaderMap, Path(name): Path<String>) -> Response {
    send(desk, headers, move |desk| files::board(&desk.boards_folder(), &hash(&name)?)).await
}

async fn asset(
    State(desk): Shared,
    headers: HeaderMap,
    Path((set, name)): Path<(String, String)>,
) -> Response {
    assets::serve(&set, &name)
        .unwrap_or_else(|| say(&desk, reader(&headers), &Trouble::missing("such file; load the page again")))
}

async fn nothing(State(desk): Shared, headers: HeaderMap) -> Response {
    say(&desk, reader(&headers), &Trouble::missing("such page"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_ends_its_own_request_only() {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let broken = runtime.block_on(apart::<()>(|| panic!("a fault")));
        assert_eq!(broken.unwrap_err().status, StatusCode::INTERNAL_SERVER_ERROR);
        assert_eq!(runtime.block_on(apart(|| Ok(1))).unwrap(), 1);
    }
}
