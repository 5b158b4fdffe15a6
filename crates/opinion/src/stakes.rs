//! What is at stake in one offer: what its items are worth together, what can be got back, and the
//! price at which buying and passing are worth the same.
//!
//! An offer is bought or left as a whole. Its items are in their states independently, given the
//! findings about each; their worth adds up, exactly in decimals; and one way back is paid for the
//! whole, not one an item. Buying at a total price T is worth V − T, where V is what the items are
//! worth together; or, when not every item is sealed and the seller refunds, the better of that and
//! what the way back costs. Utility is exponential (constant absolute risk aversion); that of passing
//! is 0.
//!
//! In: probabilities of the states by item, the user's values, the offer's terms. Out: utilities and
//! prices. Amounts stay exact decimals; only utilities are computed in floating point, and a price
//! that comes out of them is rounded down to the currency's smallest unit.
//! Never here: what the items look like.
//!
//! Sources: `pratt1964` (risk aversion), `lindley1985` (expected utility).

use std::collections::BTreeMap;

use casebook::case::Values;
use casebook::elementary::{exp_m1, ln_1p};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::names::Slug;
use casebook::opinion::Opinion;
use iso_currency::Currency;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use rust_decimal::{Decimal, RoundingStrategy};

use crate::decide::Circumstances;

/// More different sums than this are brought to a coarser unit: a lot of that many distinct values has
/// no use for the last cent of one of them.
const MOST_SUMS: usize = 4_096;

/// What one item is worth in each state, in the order of `State::ALL`.
pub(crate) type Worth = [Decimal; 4];

/// What a set of items is worth together: probability by whether all are sealed and by the sum.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Joint(BTreeMap<(bool, Decimal), f64>);

impl Joint {
    /// No item: surely worth nothing, and nothing in it is wrong.
    pub(crate) fn nothing() -> Self {
        Self(BTreeMap::from([((true, Decimal::ZERO), 1.0)]))
    }

    /// With one item more, whose state is independent of the others'.
    pub(crate) fn and(&self, worth: &Worth, probabilities: &[f64; 4]) -> Self {
        let mut out: BTreeMap<(bool, Decimal), f64> = BTreeMap::new();
        for ((all_sealed, sum), share) in &self.0 {
            for (at, (value, probability)) in worth.iter().zip(probabilities).enumerate() {
                if *probability > 0.0 {
                    let key = (*all_sealed && at == 0, sum.saturating_add(*value));
                    *out.entry(key).or_default() += share * probability;
                }
            }
        }
        if out.len() > MOST_SUMS {
            let highest = out.keys().map(|key| key.1.abs()).max().unwrap_or_default();
            let grid = highest / Decimal::from(MOST_SUMS / 4);
            if grid > Decimal::ZERO {
                let mut coarse: BTreeMap<(bool, Decimal), f64> = BTreeMap::new();
                for ((all_sealed, sum), share) in out {
                    *coarse.entry((all_sealed, (sum / grid).round() * grid)).or_default() += share;
                }
                out = coarse;
            }
        }
        Self(out)
    }
}

/// The terms under which a set of items is bought.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Terms {
    pub(crate) currency: Currency,
    refund: f64,
    return_cost: f64,
    aversion: f64,
}

/// Items and terms.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stakes {
    pub(crate) terms: Terms,
    outcomes: Vec<(bool, f64, f64)>,
}

impl Terms {
    /// `None` without values, or when values, price and shipping are not all in one currency.
    pub(crate) fn of(circumstances: &Circumstances<'_>) -> Option<Self> {
        let values = circumstances.values?;
        let currency = values.sealed.currency;
        let mut others = [&values.resealed, &values.counterfeit]
            .into_iter()
            .chain(values.items.iter().flat_map(|own| [&own.sealed, &own.resealed, &own.counterfeit]))
            .chain(circumstances.price)
            .chain(circumstances.shipping);
        if others.any(|money| money.currency != currency) {
            return None;
        }
        // The way back costs the buyer what the way here cost, where the terms say so.
        let pays_back = circumstances.returns.is_some_and(|r| r.buyer_pays_postage);
        let return_cost =
            circumstances.shipping.filter(|_| pays_back).and_then(|m| m.amount.to_f64()).unwrap_or(0.0);
        let number = |value: f64| if value.is_finite() { value.max(0.0) } else { 0.0 };
        Some(Self {
            currency,
            refund: number(values.refund_probability).min(1.0),
            return_cost: return_cost.max(0.0),
            aversion: number(values.risk_aversion),
        })
    }
}

impl Terms {
    /// The sure gain that is worth an expected utility.
    pub(crate) fn certain(&self, utility: f64) -> f64 {
        if self.aversion == 0.0 { utility } else { -ln_1p(-self.aversion * utility) / self.aversion }
    }
}

/// The probability of each state, in the order of `State::ALL`; `None` when an opinion has none.
pub(crate) fn probabilities(opinion: &Opinion) -> Option<[f64; 4]> {
    let mut out = [0.0; 4];
    for share in &opinion.posterior {
        if let Some(at) = State::ALL.iter().position(|s| *s == share.state) {
            out[at] = share.share.max(0.0);
        }
    }
    let sum: f64 = out.iter().sum();
    (sum > 0.0).then(|| out.map(|p| p / sum))
}

/// What each of an offer's items is worth by itself.
///
/// An item that the values name is worth what stands there. The others share equally what the named
/// ones leave of the whole (never less than nothing), so that all add up to the whole to the cent.
/// `counts` says of each item whether it is to be counted: one that lies inside another is not, because
/// its worth is in that of the other.
pub(crate) fn worths(values: &Values, items: &[(&Slug, bool)]) -> Vec<Worth> {
    let whole = [&values.sealed, &values.resealed, &values.counterfeit];
    let own = |item: &Slug| values.items.iter().find(|own| own.item == *item);
    let sharers = items.iter().filter(|(item, counts)| *counts && own(item).is_none()).count();
    let shares: Vec<Vec<Money>> = whole
        .iter()
        .enumerate()
        .map(|(at, whole)| {
            let named = items.iter().filter_map(|(item, _)| own(item));
            let named: Decimal =
                named.map(|own| [&own.sealed, &own.resealed, &own.counterfeit][at].amount).sum();
            let left = if named.is_zero() { whole.amount } else { (whole.amount - named).max(Decimal::ZERO) };
            Money { amount: left, currency: whole.currency }.split(sharers)
        })
        .collect();
    let mut next = 0;
    items
        .iter()
        .map(|(item, counts)| {
            let three = match own(item) {
                Some(own) => [own.sealed.amount, own.resealed.amount, own.counterfeit.amount],
                None if *counts => {
                    next += 1;
                    [0, 1, 2].map(|at: usize| shares[at].get(next - 1).map_or(Decimal::ZERO, |m| m.amount))
                }
                None => [Decimal::ZERO; 3],
            };
            [three[0], three[1], three[2], three[2]]
        })
        .collect()
}

impl Stakes {
    pub(crate) fn new(terms: Terms, joint: &Joint) -> Self {
        let outcomes = joint
            .0
            .iter()
            .map(|((all_sealed, sum), share)| (*all_sealed, sum.to_f64().unwrap_or(0.0), *share))
            .collect();
        Self { terms, outcomes }
    }

    fn utility(&self, gain: f64) -> f64 {
        let aversion = self.terms.aversion;
        if aversion == 0.0 { gain } else { -exp_m1(-aversion * gain) / aversion }
    }

    /// Expected utility of buying at a total price, that of passing being 0.
    pub(crate) fn expected(&self, price: f64) -> f64 {
        let mut sum = 0.0;
        for (all_sealed, worth, share) in &self.outcomes {
            let kept = worth - price;
            // Who can send it back does so only when that is better than keeping it.
            let returned = kept.max(-self.terms.return_cost);
            let refund = if *all_sealed { 0.0 } else { self.terms.refund };
            sum += share * ((1.0 - refund) * self.utility(kept) + refund * self.utility(returned));
        }
        sum
    }

    /// Mean of what is lost when bought at a price, refunds counted, over the states in which
    /// something is lost.
    pub(crate) fn loss(&self, price: f64) -> f64 {
        let mut sum = 0.0;
        for (all_sealed, worth, share) in &self.outcomes {
            let kept = (price - worth).max(0.0);
            let refund = if *all_sealed { 0.0 } else { self.terms.refund };
            sum += share * ((1.0 - refund) * kept + refund * kept.min(self.terms.return_cost));
        }
        sum
    }

    /// The total price at which buying and passing are worth the same, rounded down.
    pub(crate) fn flip_price(&self) -> Option<Money> {
        let (mut low, mut high) = (0.0, self.outcomes.iter().map(|o| o.1).fold(0.0, f64::max));
        if self.expected(0.0) <= 0.0 {
            high = 0.0;
        }
        for _ in 0..200 {
            let middle = low + (high - low) / 2.0;
            if middle <= low || middle >= high {
                break;
            }
            if self.expected(middle) > 0.0 { low = middle } else { high = middle }
        }
        // A hair up before rounding down, so that 20 does not become 19.99 by the last bit.
        let amount = Decimal::from_f64(low * (1.0 + 1e-12))?
            .round_dp_with_strategy(self.digits(), RoundingStrategy::ToZero);
        Some(Money { amount, currency: self.terms.currency })
    }

    /// An amount from a floating-point one, rounded to the currency's smallest unit.
    pub(crate) fn money(&self, amount: f64) -> Option<Money> {
        Some(Money {
            amount: Decimal::from_f64(amount)?.round_dp(self.digits()),
            currency: self.terms.currency,
        })
    }

    fn digits(&self) -> u32 {
        u32::from(self.terms.currency.exponent().unwrap_or(2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use casebook::case::ItemValues;

    fn euro(text: &str) -> Money {
        Money { amount: text.parse().unwrap(), currency: Currency::EUR }
    }

    fn values(items: Vec<ItemValues>) -> Values {
        Values {
            sealed: euro("48.00"),
            resealed: euro("8.65"),
            counterfeit: euro("1.00"),
            items,
            refund_probability: 0.0,
            risk_aversion: 0.0,
        }
    }

    fn slugs(names: &[&str]) -> Vec<Slug> {
        names.iter().map(|name| name.parse().unwrap()).collect()
    }

    #[test]
    fn shares_of_a_lot_add_up_to_the_cent() {
        let names = slugs(&["a", "b", "c"]);
        let items: Vec<(&Slug, bool)> = names.iter().map(|n| (n, true)).collect();
        let worths = worths(&values(Vec::new()), &items);
        let column = |at: usize| worths.iter().map(|w| w[at].to_string()).collect::<Vec<_>>();
        assert_eq!(column(0), ["16.00", "16.00", "16.00"]);
        assert_eq!(column(1), ["2.89", "2.88", "2.88"]);
        assert_eq!(column(2), ["0.34", "0.33", "0.33"]);
        assert_eq!(column(2), column(3), "never made is worth what a counterfeit is");
    }

    #[test]
    fn named_items_keep_their_own_and_those_inside_others_count_once() {
        let own = ItemValues {
            item: "box".parse().unwrap(),
            sealed: euro("40.00"),
            resealed: euro("9.00"),
            counterfeit: euro("0.50"),
        };
        let names = slugs(&["box", "p1", "p2", "x"]);
        let items: Vec<(&Slug, bool)> =
            vec![(&names[0], true), (&names[1], false), (&names[2], false), (&names[3], true)];
        let worths = worths(&values(vec![own]), &items);
        let row = |at: usize| worths[at].map(|v| v.normalize().to_string());
        assert_eq!(row(0), ["40", "9", "0.5", "0.5"]);
        assert_eq!(row(1), ["0", "0", "0", "0"]);
        // 48 − 40; 8.65 − 9 is held at nothing; 1 − 0.5.
        assert_eq!(row(3), ["8", "0", "0.5", "0.5"]);
    }

    #[test]
    fn many_distinct_sums_are_brought_to_a_coarser_unit() {
        let mut joint = Joint::nothing();
        for at in 0..40_u32 {
            let worth = [Decimal::new(1_000 + i64::from(at * at), 2), Decimal::new(i64::from(at) * 7, 2)];
            joint = joint.and(&[worth[0], worth[1], Decimal::ZERO, Decimal::ZERO], &[0.7, 0.2, 0.1, 0.0]);
            assert!(joint.0.len() <= 2 * MOST_SUMS);
        }
        let total: f64 = joint.0.values().sum();
        assert!((total - 1.0).abs() < 1e-9);
        let mean: f64 = joint.0.iter().map(|(key, share)| key.1.to_f64().unwrap() * share).sum();
        let exact: f64 =
            (0..40).map(|at| 0.7 * (10.0 + 0.01 * f64::from(at * at)) + 0.2 * 0.07 * f64::from(at)).sum();
        assert!((mean / exact - 1.0).abs() < 2e-3, "{mean} {exact}");
    }
}
