//! What an item turned out to be: recorded when it was opened, looked at by a specialist or sent back.
//!
//! In: what the user learned. Out: [`OutcomeFile`], kept in the library with an entry of the audit trail.
//! An outcome is about an item, never about a person: it names no seller. With the findings of the
//! examination that the library keeps of the same item it makes a specimen of known status
//! ([`crate::library::Library::confirmed`]), for calibrating anew.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hypothesis::State;
use crate::names::Slug;
use crate::specimen::Origin;

/// Version mark of an outcome.
pub const OUTCOME_SCHEMA: &str = "untorn.outcome/1";

/// What one item turned out to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OutcomeFile {
    /// Always [`OUTCOME_SCHEMA`].
    pub schema: String,
    /// The case.
    pub case: Slug,
    /// The item.
    pub item: Slug,
    /// What it turned out to be; absent when it is still not known.
    #[serde(default)]
    pub found: Option<State>,
    /// How that is known.
    pub known_by: KnownBy,
    /// The day.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub on: Option<jiff::civil::Date>,
    /// Whether the money came back, where it was asked for.
    #[serde(default)]
    pub refund: Option<Refund>,
    /// Whether the item exists or was rendered.
    #[serde(default = "physical")]
    pub origin: Origin,
    /// Free words.
    #[serde(default)]
    pub note: String,
}

const fn physical() -> Origin {
    Origin::Physical
}

/// How an outcome is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum KnownBy {
    /// The item was opened.
    Opened,
    /// A specialist held it.
    Specialist,
    /// It was sent back.
    Returned,
    /// Another way, told in the note.
    Other,
}

impl KnownBy {
    /// The word that files and commands use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Opened => "opened",
            Self::Specialist => "specialist",
            Self::Returned => "returned",
            Self::Other => "other",
        }
    }
}

/// What became of a claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Refund {
    /// The money came back.
    Granted,
    /// It did not.
    Refused,
}

impl OutcomeFile {
    /// What is wrong beyond the shape: one sentence each, empty when nothing is.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if self.known_by == KnownBy::Other && self.note.trim().is_empty() {
            faults.push("known_by is \"other\": say in the note how it is known".to_owned());
        }
        if self.found.is_none() && matches!(self.known_by, KnownBy::Opened | KnownBy::Specialist) {
            faults.push(format!("known_by is \"{}\": say what was found", self.known_by.word()));
        }
        faults
    }
}
