//! Style and browser modules, inside the program: every file of `assets/`, and the pages' own style.
//!
//! Addresses are `/assets/<hash of the whole set>/<name>`, so modules may import each other by relative
//! names and browsers may keep them for ever. Every page loads the style sheets and modules that lie
//! directly in `assets/`; what lies in folders below it is served, and loaded by whoever imports it.
//! Never here: anything from the data folder.

use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

include!(concat!(env!("OUT_DIR"), "/assets.rs"));

/// The pages' own style, behind the report's colours and drawings.
const PAGE_CSS: &str = include_str!("pages/page.css");
/// Its name.
const PAGE_CSS_NAME: &str = "page.css";

/// Where an asset of that name is.
pub(crate) fn address(name: &str) -> String {
    format!("/assets/{SET}/{name}")
}

/// Style sheets of every page, the pages' own first.
pub(crate) fn styles() -> impl Iterator<Item = String> {
    let own = std::iter::once(address(PAGE_CSS_NAME));
    own.chain(top_level(".css").map(address))
}

/// Modules of every page.
pub(crate) fn modules() -> impl Iterator<Item = String> {
    top_level(".js").map(address)
}

fn top_level(ending: &'static str) -> impl Iterator<Item = &'static str> {
    FILES.iter().map(|(name, _)| *name).filter(move |name| !name.contains('/') && name.ends_with(ending))
}

fn media_type(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("css") => "text/css; charset=utf-8",
        Some("js" | "mjs") => "text/javascript; charset=utf-8",
        Some("json" | "map") => "application/json",
        Some("png") => "image/png",
        Some("woff2") => "font/woff2",
        _ => "application/octet-stream",
    }
}

/// The asset of that name in that set; an older set's address finds nothing.
pub(crate) fn serve(set: &str, name: &str) -> Option<Response> {
    if set != SET {
        return None;
    }
    let kept = [(CONTENT_TYPE, media_type(name)), (CACHE_CONTROL, "public, max-age=31536000, immutable")];
    if name == PAGE_CSS_NAME {
        let text = format!("{}{PAGE_CSS}", dossier::parts::css());
        return Some((kept, text).into_response());
    }
    let (_, bytes) = FILES.iter().find(|(own, _)| *own == name)?;
    Some((kept, *bytes).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_current_set_is_served() {
        assert!(serve(SET, PAGE_CSS_NAME).is_some());
        assert!(serve("0", PAGE_CSS_NAME).is_none());
        assert!(serve(SET, "../Cargo.toml").is_none());
    }
}
