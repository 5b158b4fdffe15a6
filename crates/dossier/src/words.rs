//! Fixed wording: names of states, steps, actions and lacks, the glossary.
//!
//! In: casebook's enums. Out: text for readers. Never here: markup, numbers, an accusation of a
//! person, or a word that promises more than photos can show.
//!
//! Sources: `enfsi2015` (steps of the verbal scale), `good1985` (ban).

use casebook::case::RequestState;
use casebook::finding::{FactOutcome, Lack};
use casebook::hypothesis::State;
use casebook::names::ProductId;
use casebook::opinion::{Action, Stance, VerbalStep};
use casebook::specimen::Origin;

use crate::number::money;

/// Words of the report and what they mean.
pub(crate) const GLOSSARY: [(&str, &str); 16] = [
    (
        "ban",
        "Unit of the weight of evidence: the decimal logarithm of a likelihood ratio. 1 ban: 10 times; 2 bans: 100 times; 0: neither way. A tenth is a deciban.",
    ),
    ("counterfeit", "Not the genuine article: printed or packed by somebody else."),
    ("cut edge", "The line where the wrapper's film was cut, at either end of a pack."),
    (
        "deciding views",
        "What must be legible before anybody may speak of an item: of a pack the whole front, the whole back and both end seals; of a box all six faces.",
    ),
    ("end seal", "The ridged band across each end of a flow-wrapped pack, also called crimp."),
    (
        "expected range",
        "What genuine items show, with the specimens or the catalogue entry that it rests on.",
    ),
    ("finding", "One answered question, with its value, its uncertainty and how well it was seen."),
    (
        "group",
        "Findings that depend on each other, such as two measurements of one seal. They are weighed together, not added as if they were independent.",
    ),
    (
        "interval (90 %)",
        "Where the weight would lie in 90 of 100 repetitions with other specimens of the same kind.",
    ),
    (
        "likelihood ratio",
        "How many times more likely the findings are if one explanation holds than if another does.",
    ),
    (
        "make",
        "One genuine way a product left a factory. A product can have several; a sign counts only where no known make shows it.",
    ),
    ("never-made", "No such product was ever made in this form, by a source with a date."),
    ("pitch", "Distance from one ridge of an end seal to the next."),
    ("resealed", "The genuine article, opened and closed again."),
    (
        "standard uncertainty (±)",
        "The spread that a measured value has, as one standard deviation. Twice as much either way holds about 95 of 100 repetitions.",
    ),
    ("weight", "How much a group of findings supports sealed (plus) or an alternative (minus), in bans."),
];

/// A state as a reader meets it.
pub(crate) const fn state_phrase(state: State) -> &'static str {
    match state {
        State::Sealed => "sealed (genuine and factory-closed)",
        State::Resealed => "resealed (genuine, opened and closed again)",
        State::Counterfeit => "counterfeit (not the genuine article)",
        State::NeverMade => "never-made (no such product in this form)",
    }
}

/// A word for each stance, for lists; the opinion's own sentence says it in full.
pub(crate) fn stance_phrase(stance: Stance) -> &'static str {
    match stance {
        Stance::CannotTell => "cannot tell from these photos",
        Stance::NotCovered => "not covered by the library",
        Stance::OutsideLibrary => "outside what the library covers",
        Stance::Neither => "neither side is supported",
        Stance::ForSealed { .. } => "supports sealed",
        Stance::AgainstSealed { .. } => "supports an alternative over sealed",
    }
}

/// A step of the verbal scale.
pub(crate) const fn step_word(step: VerbalStep) -> &'static str {
    match step {
        VerbalStep::Weak => "weak",
        VerbalStep::Moderate => "moderate",
        VerbalStep::ModeratelyStrong => "moderately strong",
        VerbalStep::Strong => "strong",
        VerbalStep::VeryStrong => "very strong",
        VerbalStep::ExtremelyStrong => "extremely strong",
    }
}

/// What to do, in one line.
pub(crate) fn action_phrase(action: &Action) -> String {
    match action {
        Action::Pass => "Pass: leave this one.".to_owned(),
        Action::Ask => "Ask before deciding.".to_owned(),
        Action::Buy { up_to } => format!("Buy up to {}, shipping included.", money(up_to)),
        Action::YourCall => {
            "Your call: nothing read speaks against it, and no values were given to compute a price from."
                .to_owned()
        }
        Action::WithTheLot => "Nothing read speaks against it; the lot is decided as a whole.".to_owned(),
    }
}

/// A lack in two or three words.
pub(crate) const fn lack_phrase(lack: Lack) -> &'static str {
    match lack {
        Lack::NotShown => "not shown",
        Lack::OutOfFrame => "out of the frame",
        Lack::Covered => "covered",
        Lack::Resolution => "too few pixels",
        Lack::Angle => "seen from the side",
        Lack::Blur => "not sharp",
        Lack::Glare => "reflections",
        Lack::Exposure => "too dark or too bright",
        Lack::Placement => "not placed surely",
        Lack::Library => "missing from the library",
        Lack::Tool => "a tool is not installed",
        Lack::NotExaminedYet => "not examined yet",
    }
}

/// What a fact says.
pub(crate) fn fact_phrase(outcome: FactOutcome) -> String {
    match outcome {
        FactOutcome::AsGenuine => "as with genuine items".to_owned(),
        FactOutcome::Points { to } => format!("contradicts a genuine item; fits {}", to.word()),
    }
}

/// Whether specimens were things.
pub(crate) const fn origin_word(origin: Origin) -> &'static str {
    match origin {
        Origin::Physical => "physical",
        Origin::Rendered => "rendered",
    }
}

/// How a request stands.
pub(crate) const fn request_word(state: RequestState) -> &'static str {
    match state {
        RequestState::Asked => "asked, not answered yet",
        RequestState::Answered => "answered",
        RequestState::Declined => "declined (weighs in the decision, never as evidence)",
    }
}

/// A slug as words: `end-seal` → `end seal`.
pub(crate) fn spaced(slug: &str) -> String {
    slug.replace('-', " ")
}

/// The first letter large.
pub(crate) fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}

/// A product's name made from its path: `kelpwright/brass-estuary/pack` → `Kelpwright Brass Estuary, pack`.
pub(crate) fn product_phrase(product: &ProductId) -> String {
    let (line, release, form) = product.parts();
    let title = |slug: &str| slug.split('-').map(capital).collect::<Vec<_>>().join(" ");
    format!("{} {}, {}", title(line), title(release), spaced(form))
}
