//! What the terminal shows: tables and lines on standard output.

use std::io::{self, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use casebook::opinion::{Action, Decision, Examination, Opinion, RankedRequest};
use comfy_table::{ContentArrangement, Table, presets};

use crate::failure::print_words;

/// A table that fits the terminal.
pub(crate) fn new(head: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_style(presets::UTF8_HORIZONTAL_ONLY);
    table.set_content_arrangement(ContentArrangement::Dynamic);
    if table.width().is_none() {
        table.set_width(120);
    }
    table.set_header(head.iter().map(ToString::to_string).collect::<Vec<_>>());
    table
}

/// Whether a line could not be written, other than to a reader that has left.
static UNWRITTEN: AtomicBool = AtomicBool::new(false);

/// Prints one line. A reader that has left (`| head`) is no error; a full disk is one: see [`all_written`].
pub(crate) fn line(text: &str) {
    if let Err(error) = writeln!(io::stdout(), "{text}")
        && error.kind() != io::ErrorKind::BrokenPipe
        && !UNWRITTEN.swap(true, Ordering::Relaxed)
    {
        print_words(&format!("standard output: cannot be written ({error}); make room or send it elsewhere"));
    }
}

/// Whether every line reached standard output.
pub(crate) fn all_written() -> bool {
    !UNWRITTEN.load(Ordering::Relaxed)
}

/// A change of the weight is worth a line from a ratio of 2 on.
const WORTH_SAYING: f64 = std::f64::consts::LOG10_2;

/// What to do, in a few words.
pub(crate) fn action(decision: &Decision) -> String {
    match &decision.action {
        Action::Pass => "pass".to_owned(),
        Action::Ask => {
            decision.requests.first().map_or_else(|| "ask".to_owned(), |first| format!("ask: {first}"))
        }
        Action::Buy { up_to } => format!("buy up to {up_to}"),
        Action::YourCall => "your call".to_owned(),
        Action::WithTheLot => "as the lot".to_owned(),
    }
}

/// The weight with its interval: "−1.3 (−2.0 to −0.8) ban".
pub(crate) fn weight(opinion: &Opinion) -> String {
    let w = &opinion.weight;
    format!("{:+.1} ({:+.1} to {:+.1})", w.value.0, w.low.0, w.high.0).replace('-', "−")
}

/// Prints one examination.
pub(crate) fn examination(examination: &Examination, strongest: impl Fn(&Opinion) -> String) {
    if let Some(title) = &examination.title {
        line(&printable(title));
    }
    for photo in &examination.photos {
        let faces: Vec<String> = photo
            .faces
            .iter()
            .map(|face| {
                format!(
                    "{} {} ({:.1} px/mm, {:.0}°)",
                    face.item, face.face.face, face.px_per_mm, face.angle_deg
                )
            })
            .collect();
        let shown = photo.problem.clone().unwrap_or_else(|| {
            if faces.is_empty() { "no face of the library found".to_owned() } else { faces.join(", ") }
        });
        line(&format!("  {}: {}", printable(photo.file.as_str()), printable(&shown)));
    }
    for item in &examination.items {
        let opinion = &item.opinion;
        line("");
        let product = opinion.product.as_ref().map_or("product not known", |product| product.as_str());
        line(&format!("Item {} · {product}", opinion.item));
        line(&format!("  {}", opinion.words));
        line(&format!("  weight for sealed, bans: {}; {}", weight(opinion), opinion.calibrated_on()));
        for without in &opinion.without {
            let moved = without.weight.0 - opinion.weight.value.0;
            if moved.abs() >= WORTH_SAYING {
                let part = without.place.as_deref().unwrap_or(without.group.as_str()).replace('-', " ");
                line(&format!("  without the {part}: {:+.1}", without.weight.0).replace('-', "−"));
            }
        }
        let reason = strongest(opinion);
        if !reason.is_empty() {
            line(&format!("  strongest reason: {reason}"));
        }
        for view in opinion.coverage.iter().filter(|view| !view.read) {
            line(&format!("  not read: {}: {}", view.view, view.words));
        }
        line(&format!("  what to do: {}. {}", action(&item.decision), item.decision.reason));
    }
    if let Some(offer) = examination.offer.as_ref().filter(|_| examination.items.len() > 1) {
        line("");
        line(&format!("The lot as a whole: {}. {}", action(&offer.decision), offer.decision.reason));
    }
    if let Some(offer) = &examination.offer {
        if let Some(flip) = &offer.decision.flips_at {
            line(&format!("  buying and passing are worth the same at {flip}, shipping included"));
        }
        ranked(&offer.requests);
    }
    line("");
    for caution in &examination.cautions {
        line(&format!("  {caution}"));
    }
}

/// What each photo or fact that could be asked for would bring.
fn ranked(requests: &[RankedRequest]) {
    for (at, request) in requests.iter().enumerate() {
        let worth = request.worth.as_ref().map(|worth| format!(", worth {worth} to you")).unwrap_or_default();
        let brings = if request.simulated == 0 {
            "no specimen says what it would bring".to_owned()
        } else {
            format!("expected to tell {:.2} bit{worth}", request.information_bits)
        };
        line(&format!("  ask {}: {} ({brings})", at + 1, request.wants));
    }
}

/// The beginning of a text, up to a sentence's or word's end within 150 letters.
pub(crate) fn brief(text: &str) -> String {
    const MOST: usize = 150;
    if text.chars().count() <= MOST {
        return text.to_owned();
    }
    let head: String = text.chars().take(MOST).collect();
    let sentence = head.match_indices(". ").filter(|(at, _)| *at > MOST / 3).last().map(|(at, _)| at + 1);
    match sentence {
        Some(end) => head[..end].to_owned(),
        None => format!("{}…", head.rsplit_once(' ').map_or(head.as_str(), |(words, _)| words)),
    }
}

/// Text from strangers without control characters, which could move the cursor or recolour the screen.
pub(crate) fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
