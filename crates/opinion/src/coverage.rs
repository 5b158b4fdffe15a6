//! Which views decide about a form, and whether the findings show that they were read.
//!
//! A view counts as read when a finding that needs it was read: the print of a face compared with
//! its reference, the ridges of an end seal measured.
//!
//! In: form and findings. Out: `DecidingView`s with the photo to ask for. Never here: weights.

use casebook::catalogue::Form;
use casebook::finding::{Finding, Reading};
use casebook::opinion::DecidingView;

/// What shows that a view was read.
struct View {
    name: &'static str,
    examiner: &'static str,
    quantity: &'static str,
    /// Face or part.
    place: &'static str,
    request: &'static str,
}

const fn face(name: &'static str, request: &'static str) -> View {
    View { name, examiner: "print", quantity: "print-match", place: name, request }
}

const fn end(name: &'static str, request: &'static str) -> View {
    View { name, examiner: "end-seal", quantity: "ridge-evenness", place: name, request }
}

const FRONT: View = face("front", "a photo of the front, whole, square on, sharp and without glare");
const BACK: View = face("back", "a photo of the back, whole, square on, sharp and without glare");

const PACK: [View; 4] = [
    FRONT,
    BACK,
    end("top-end-seal", "a close photo of the top end seal, square on, from edge to edge"),
    end("bottom-end-seal", "a close photo of the bottom end seal, square on, from edge to edge"),
];

/// Whoever opens a box goes through its film, so nobody may speak of a box whose film was not read.
const FILM: View = View {
    name: "film",
    examiner: "overwrap",
    quantity: "film-present",
    place: "film",
    request: "a sharp photo of a whole face of the box, straight on and filling the frame, in soft light from the side so that the film's mark stands out; and close photos of the film's seams and end folds, to look at yourself",
};

const BOX: [View; 7] = [
    FRONT,
    BACK,
    face("left", "a photo of the left side, whole, square on"),
    face("right", "a photo of the right side, whole, square on"),
    face("top", "a photo of the top, whole, square on"),
    face("bottom", "a photo of the bottom, whole, square on"),
    FILM,
];

const OTHER: [View; 2] = [FRONT, BACK];

/// The deciding views of a form and whether they were read. Without a form there is one view, the
/// product itself, and it is unread.
#[must_use]
pub fn deciding_views(form: Option<Form>, findings: &[Finding]) -> Vec<DecidingView> {
    let views: &[View] = match form {
        Some(Form::Pack) => &PACK,
        Some(Form::Box) => &BOX,
        Some(Form::Blister | Form::Tin | Form::Case) => &OTHER,
        None => {
            return vec![DecidingView {
                view: "product".to_owned(),
                read: false,
                words: "which product it is could not be told".to_owned(),
                request: Some(FRONT.request.to_owned()),
            }];
        }
    };
    views.iter().map(|view| judge(view, findings)).collect()
}

fn is_at(finding: &Finding, place: &str) -> bool {
    match &finding.place.part {
        Some(part) if part == place => true,
        Some(_) if finding.place.face.is_none() => false,
        _ => finding.place.face.as_ref().is_some_and(|face| face.as_str() == place),
    }
}

fn judge(view: &View, findings: &[Finding]) -> DecidingView {
    let about: Vec<&Finding> = findings
        .iter()
        .filter(|f| f.examiner.as_str() == view.examiner && f.quantity.as_str() == view.quantity)
        .filter(|f| is_at(f, view.place))
        .collect();
    if let Some(read) = about.iter().find(|f| f.is_read()) {
        let words =
            read.photos.first().map_or_else(|| "read".to_owned(), |photo| format!("read from {photo}"));
        return DecidingView { view: view.name.to_owned(), read: true, words, request: None };
    }
    let missing = about.iter().find_map(|f| match &f.reading {
        Reading::CannotTell { missing } => missing.first(),
        _ => None,
    });
    let words = missing.map_or_else(|| "no photo shows it".to_owned(), |m| m.words.clone());
    let asked = missing.map(|m| m.wants.as_str()).filter(|w| !w.is_empty()).unwrap_or(view.request);
    DecidingView { view: view.name.to_owned(), read: false, words, request: Some(asked.to_owned()) }
}

/// A view's name as people say it.
pub(crate) fn spoken(view: &str) -> String {
    view.replace('-', " ")
}
