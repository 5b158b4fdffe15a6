//! What every request must pass, and what every answer carries.
//!
//! The desk is for the pages that it serves itself. A stranger's page in the same browser could send
//! requests here, so: the Host must be this machine's own name and port (a foreign name that was made to
//! point here is refused), the Origin must be the desk's, changes bring a token along that foreign pages
//! cannot read, and answers say that nothing but the desk's own files may run, load, frame or read them.
//!
//! In: headers. Out: a refusal, or the answer with headers. Never here: what a request is about.

use std::panic::AssertUnwindSafe;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, ORIGIN, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
    X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use futures_util::FutureExt;

use crate::desk::Desk;
use crate::error::Trouble;

/// Header that scripts of our own pages bring the token in.
pub(crate) const TOKEN_HEADER: &str = "x-untorn-token";
/// Nothing inline runs, nothing foreign loads, nobody frames it.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; \
                      font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Refuses what does not come from the desk's own pages, and dresses every answer.
pub(crate) async fn guard(State(desk): State<Arc<Desk>>, request: Request<Body>, next: Next) -> Response {
    let refusal = check(desk.port, request.method(), request.headers());
    let mut response = match refusal {
        Some(trouble) => (trouble.status, trouble.words).into_response(),
        // A panic outside the threads that make pages; it ends this request and no other.
        None => AssertUnwindSafe(next.run(request)).catch_unwind().await.unwrap_or_else(|_| {
            let trouble = crate::pages::our_fault();
            (trouble.status, trouble.words).into_response()
        }),
    };
    dress(response.headers_mut());
    response
}

fn check(port: u16, method: &Method, headers: &HeaderMap) -> Option<Trouble> {
    let one = |name: HeaderName| {
        let mut values = headers.get_all(name).iter();
        let first = values.next()?.to_str().ok().map(str::to_ascii_lowercase);
        // Two of them would let somebody else choose which one counts.
        if values.next().is_some() { Some(String::new()) } else { first }
    };
    let own = [format!("127.0.0.1:{port}"), format!("localhost:{port}"), format!("[::1]:{port}")];
    let host = one(HOST).unwrap_or_default();
    if !own.contains(&host) {
        let words = format!("this desk answers to http://127.0.0.1:{port}/ only; open that address");
        return Some(Trouble::new(StatusCode::MISDIRECTED_REQUEST, words));
    }
    let foreign = |words: &str| Some(Trouble::new(StatusCode::FORBIDDEN, words));
    if let Some(origin) = headers.get(ORIGIN) {
        let expected = format!("http://{host}");
        if headers.get_all(ORIGIN).iter().count() != 1
            || !origin.as_bytes().eq_ignore_ascii_case(expected.as_bytes())
        {
            return foreign("this request comes from another site; open the desk's own page and do it there");
        }
    }
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let navigates = headers.get("sec-fetch-mode").is_some_and(|mode| mode.as_bytes() == b"navigate");
    let reads = *method == Method::GET || *method == Method::HEAD;
    if matches!(site, Some(b"cross-site" | b"same-site")) && !(reads && navigates) {
        return foreign("this request comes from another site; open the desk's own page and do it there");
    }
    None
}

fn dress(headers: &mut HeaderMap) {
    let fixed: [(HeaderName, &'static str); 7] = [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        // `no-referrer` would blank the Origin of our own forms.
        (REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("permissions-policy"), "camera=(), geolocation=(), microphone=()"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if !headers.contains_key(CACHE_CONTROL) {
        headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}

/// Whether a text is the desk's token. Every byte is looked at, so that the time tells nothing.
pub(crate) fn is_token(desk: &Desk, text: &str) -> bool {
    text.len() == desk.token.len()
        && text.bytes().zip(desk.token.bytes()).fold(0, |all, (a, b)| all | (a ^ b)) == 0
}

/// Whether a request brings the token in its header.
pub(crate) fn has_token(desk: &Desk, headers: &HeaderMap) -> bool {
    headers.get(TOKEN_HEADER).and_then(|value| value.to_str().ok()).is_some_and(|text| is_token(desk, text))
}

/// What a change without the token is answered.
pub(crate) fn no_token() -> Trouble {
    Trouble::new(
        StatusCode::FORBIDDEN,
        "this form is not from the desk's own page, or the desk's folder was changed meanwhile; load the page again \
         and repeat it",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(method: &Method, pairs: &[(&'static str, &str)]) -> Option<StatusCode> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(*name, value.parse().unwrap());
        }
        check(8100, method, &headers).map(|trouble| trouble.status)
    }

    /// Method, headers, what they are answered.
    type Row<'a> = (&'a Method, &'a [(&'static str, &'a str)], Option<StatusCode>);

    #[test]
    fn only_the_desks_own_pages_get_through() {
        let (refused, misdirected) = (Some(StatusCode::FORBIDDEN), Some(StatusCode::MISDIRECTED_REQUEST));
        let rows: [Row<'_>; 14] = [
            (&Method::GET, &[("host", "127.0.0.1:8100")], None),
            (&Method::GET, &[("host", "LOCALHOST:8100")], None),
            (&Method::GET, &[("host", "[::1]:8100")], None),
            (&Method::GET, &[], misdirected),
            (&Method::GET, &[("host", "127.0.0.1")], misdirected),
            (&Method::GET, &[("host", "desk.example:8100")], misdirected),
            (&Method::GET, &[("host", "127.0.0.1:8100"), ("host", "desk.example")], misdirected),
            (&Method::POST, &[("host", "127.0.0.1:8100"), ("origin", "http://127.0.0.1:8100")], None),
            (&Method::POST, &[("host", "127.0.0.1:8100"), ("origin", "http://localhost:8100")], refused),
            (&Method::POST, &[("host", "127.0.0.1:8100"), ("origin", "null")], refused),
            (&Method::POST, &[("host", "127.0.0.1:8100"), ("origin", "https://example.org")], refused),
            (&Method::POST, &[("host", "127.0.0.1:8100"), ("sec-fetch-site", "cross-site")], refused),
            (&Method::GET, &[("host", "127.0.0.1:8100"), ("sec-fetch-site", "cross-site")], refused),
            (
                &Method::GET,
                &[
                    ("host", "127.0.0.1:8100"),
                    ("sec-fetch-site", "cross-site"),
                    ("sec-fetch-mode", "navigate"),
                ],
                None,
            ),
        ];
        for (method, pairs, expected) in rows {
            assert_eq!(answer(method, pairs), expected, "{method} {pairs:?}");
        }
    }
}
