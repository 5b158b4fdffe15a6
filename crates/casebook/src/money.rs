//! Money: an exact decimal amount and its ISO 4217 currency. Never a float.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// An amount of money, written `{ amount = "14.50", currency = "EUR" }`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Money {
    /// Exact decimal, as text.
    #[serde(with = "rust_decimal::serde::str")]
    #[schemars(with = "String")]
    pub amount: rust_decimal::Decimal,
    /// ISO 4217 code.
    #[schemars(with = "String")]
    pub currency: iso_currency::Currency,
}

impl Money {
    /// An equal share of it among so many, rounded down to the hundredth of the unit; the whole for 0.
    #[must_use]
    pub fn share(&self, among: usize) -> Self {
        let parts = rust_decimal::Decimal::from(among.max(1));
        let amount = (self.amount / parts).round_dp_with_strategy(2, rust_decimal::RoundingStrategy::ToZero);
        Self { amount, currency: self.currency }
    }
}

impl std::fmt::Display for Money {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.amount, self.currency.code())
    }
}
