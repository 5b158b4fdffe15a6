//! Money: an exact decimal amount and its ISO 4217 currency. Never a float.

use rust_decimal::Decimal;
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
    /// The amount in equal parts that add up to it exactly: each is a whole number of the currency's
    /// smallest unit, and the first parts take one unit more where it does not divide evenly. What an
    /// amount has below the smallest unit stays with the first part. `among` 0 counts as 1.
    ///
    /// # Example
    /// ```
    /// use casebook::money::Money;
    /// let ten = Money { amount: "10.00".parse().unwrap(), currency: iso_currency::Currency::EUR };
    /// let parts: Vec<String> = ten.split(3).iter().map(ToString::to_string).collect();
    /// assert_eq!(parts, ["3.34 EUR", "3.33 EUR", "3.33 EUR"]);
    /// ```
    #[must_use]
    pub fn split(&self, among: usize) -> Vec<Self> {
        let count = among.max(1);
        let parts = Decimal::from(count);
        let unit = self.unit();
        let even = (self.amount / parts / unit).trunc() * unit;
        let mut left = self.amount - even * parts;
        let step = if left.is_sign_negative() { -unit } else { unit };
        let mut out: Vec<Self> = Vec::new();
        for _ in 0..count {
            let mut amount = even;
            if left.abs() >= unit {
                amount += step;
                left -= step;
            }
            out.push(Self { amount, currency: self.currency });
        }
        if let Some(first) = out.first_mut() {
            first.amount += left;
        }
        out
    }

    /// The currency's smallest unit: 0.01 for most.
    #[must_use]
    pub fn unit(&self) -> Decimal {
        Decimal::new(1, u32::from(self.currency.exponent().unwrap_or(2)))
    }

    /// The sum of two amounts of one currency; `None` for two currencies or beyond what a decimal holds.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Option<Self> {
        let amount = self.amount.checked_add(other.amount)?;
        (self.currency == other.currency).then_some(Self { amount, currency: self.currency })
    }
}

impl std::fmt::Display for Money {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.amount, self.currency.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_add_up_whatever_the_amount() {
        let rows = [
            ("27.62", iso_currency::Currency::EUR, 3, vec!["9.21", "9.21", "9.20"]),
            ("0.01", iso_currency::Currency::EUR, 3, vec!["0.01", "0.00", "0.00"]),
            ("10.005", iso_currency::Currency::EUR, 2, vec!["5.005", "5.00"]),
            ("100", iso_currency::Currency::JPY, 3, vec!["34", "33", "33"]),
            ("-1.00", iso_currency::Currency::EUR, 3, vec!["-0.34", "-0.33", "-0.33"]),
            ("7.00", iso_currency::Currency::EUR, 0, vec!["7.00"]),
        ];
        for (amount, currency, among, expected) in rows {
            let whole = Money { amount: amount.parse().unwrap(), currency };
            let parts = whole.split(among);
            let got: Vec<Decimal> = parts.iter().map(|p| p.amount).collect();
            let wanted: Vec<Decimal> = expected.iter().map(|e| e.parse().unwrap()).collect();
            assert_eq!(got, wanted, "{amount} among {among}");
            assert_eq!(got.iter().sum::<Decimal>(), whole.amount);
        }
    }
}
