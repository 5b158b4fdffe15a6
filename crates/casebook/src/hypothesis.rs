//! The four hypotheses about an item.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What an item is. Exactly one holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Genuine and factory-closed.
    Sealed,
    /// The genuine article, opened and closed again.
    Resealed,
    /// Not the genuine article.
    Counterfeit,
    /// No such product in this form exists.
    NeverMade,
}

impl State {
    /// Every state, `Sealed` first.
    pub const ALL: [Self; 4] = [Self::Sealed, Self::Resealed, Self::Counterfeit, Self::NeverMade];

    /// The three that stand against `Sealed`.
    pub const ALTERNATIVES: [Self; 3] = [Self::Resealed, Self::Counterfeit, Self::NeverMade];

    /// The word that files and reports use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sealed => "sealed",
            Self::Resealed => "resealed",
            Self::Counterfeit => "counterfeit",
            Self::NeverMade => "never-made",
        }
    }
}

impl std::fmt::Display for State {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}
