//! Numbers as the report prints them: signs, digits, units.
//!
//! In: plain numbers with a unit symbol. Out: text. A value is rounded to the second significant
//! digit of its uncertainty. Never here: what a number means.
//!
//! Sources: `jcgm100` (7.2.6, digits of an uncertainty).

use casebook::elementary::exp10;
use casebook::money::Money;
use casebook::opinion::WeightInterval;

/// A true minus sign; a hyphen is narrower than a plus and breaks columns.
const MINUS: char = '\u{2212}';
/// Keeps a number and its unit on one line.
pub(crate) const NBSP: char = '\u{a0}';
/// Most decimals that are ever printed.
const MOST_DECIMALS: usize = 8;

/// A number with so many decimals, minus as U+2212, and no "minus zero".
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    if value.is_nan() {
        return "no number".to_owned();
    }
    if value.is_infinite() {
        return if value > 0.0 { "∞".to_owned() } else { format!("{MINUS}∞") };
    }
    let text = format!("{:.*}", decimals.min(MOST_DECIMALS), value.abs());
    let is_zero = text.bytes().all(|b| b == b'0' || b == b'.');
    if value < 0.0 && !is_zero { format!("{MINUS}{text}") } else { text }
}

/// [`fixed`] with a plus sign before what is above zero.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let is_zero = text.bytes().all(|b| b == b'0' || b == b'.');
    if value > 0.0 && !is_zero { format!("+{text}") } else { text }
}

/// Decimal exponent of the leading digit after rounding to `digits` significant ones.
fn exponent(value: f64, digits: usize) -> Option<i32> {
    let text = format!("{:.*e}", digits.saturating_sub(1), value.abs());
    text.split_once('e').and_then(|(_, exponent)| exponent.parse().ok())
}

/// Decimals that show `digits` significant digits of `value`.
fn decimals_for(value: f64, digits: usize) -> usize {
    let lead = exponent(value, digits).unwrap_or(0);
    let wanted = i32::try_from(digits).unwrap_or(1) - 1 - lead;
    usize::try_from(wanted).unwrap_or(0).min(MOST_DECIMALS)
}

/// A number with at most `digits` significant digits, without trailing zeros.
pub(crate) fn plain(value: f64, digits: usize) -> String {
    if !value.is_finite() || value == 0.0 {
        return fixed(value, 0);
    }
    let text = fixed(value, decimals_for(value, digits));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A number and its unit; the unit `1` of pure numbers is left out.
pub(crate) fn with_unit(number: &str, unit: &str) -> String {
    match unit {
        "" | "1" => number.to_owned(),
        "°" => format!("{number}°"),
        _ => format!("{number}{NBSP}{unit}"),
    }
}

/// `value ± u unit`, both to the second significant digit of `u`.
pub(crate) fn with_uncertainty(value: f64, u: f64, unit: &str) -> String {
    if !(u.is_finite() && u > 0.0) {
        return format!("{} (no uncertainty stated)", with_unit(&plain(value, 3), unit));
    }
    let decimals = decimals_for(u, 2);
    let pair = format!("{}{NBSP}±{NBSP}{}", fixed(value, decimals), fixed(u, decimals));
    if matches!(unit, "" | "1") { pair } else { with_unit(&format!("({pair})"), unit) }
}

/// A weight in bans with its sign.
pub(crate) fn bans(value: f64) -> String {
    format!("{}{NBSP}ban", signed(value, 1))
}

/// A 90 % interval in bans: `+0.9 to +1.9 ban`.
pub(crate) fn interval(weight: &WeightInterval) -> String {
    format!("{} to {}{NBSP}ban", signed(weight.low.0, 1), signed(weight.high.0, 1))
}

/// How many times more likely, from a weight without its sign: `about 25 times`.
pub(crate) fn times(weight: f64) -> String {
    let weight = weight.abs();
    if !weight.is_finite() {
        return "no stated number of times".to_owned();
    }
    if weight > 6.0 {
        return "over 1,000,000 times".to_owned();
    }
    let ratio = exp10(weight);
    let shown = if ratio < 9.95 {
        plain(ratio, 2)
    } else {
        let step = if ratio < 99.5 { 1.0 } else { exp10(f64::from(exponent(ratio, 2).unwrap_or(1) - 1)) };
        grouped(&fixed((ratio / step).round() * step, 0))
    };
    format!("about {shown} times")
}

/// Whole digits in groups of three.
fn grouped(digits: &str) -> String {
    let mut out = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// A probability in per cent, never shown as certain.
pub(crate) fn percent(share: f64) -> String {
    if !share.is_finite() {
        return "no number".to_owned();
    }
    let per_cent = share * 100.0;
    if per_cent < 0.1 {
        return format!("under 0.1{NBSP}%");
    }
    if per_cent > 99.9 {
        return format!("over 99.9{NBSP}%");
    }
    let decimals = usize::from(!(9.95..=90.05).contains(&per_cent));
    format!("{}{NBSP}%", fixed(per_cent, decimals))
}

/// An amount of money, exact, currency after it.
pub(crate) fn money(money: &Money) -> String {
    money.to_string().replace(' ', &NBSP.to_string())
}

/// A percentage of a drawing's width, for SVG attributes.
pub(crate) fn at(percent: f64) -> String {
    format!("{percent:.2}%")
}

/// A coordinate for SVG attributes.
pub(crate) fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    if text == "-0.0" { "0.0".to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use casebook::units::Bans;

    #[test]
    fn digits_follow_the_uncertainty() {
        let rows = [
            (0.803_44, 0.0123, "mm", "(0.803 ± 0.012) mm"),
            (0.8, 0.0996, "mm", "(0.80 ± 0.10) mm"),
            (12.0, 3.0, "1", "12.0 ± 3.0"),
            (-0.004, 0.02, "mm", "(−0.004 ± 0.020) mm"),
            (-0.0001, 0.02, "mm", "(0.000 ± 0.020) mm"),
            (123.0, 45.0, "°", "(123 ± 45)°"),
            (2.71549, 0.0, "mm", "2.72 mm (no uncertainty stated)"),
            (f64::NAN, 0.1, "mm", "(no number ± 0.10) mm"),
        ];
        for (value, u, unit, expected) in rows {
            assert_eq!(with_uncertainty(value, u, unit).replace(NBSP, " "), expected);
        }
    }

    #[test]
    fn weights_carry_sign_and_unit() {
        for (value, expected) in
            [(1.44, "+1.4 ban"), (-0.26, "−0.3 ban"), (0.04, "0.0 ban"), (-0.04, "0.0 ban")]
        {
            assert_eq!(bans(value).replace(NBSP, " "), expected);
        }
        let weight = WeightInterval { value: Bans(0.5), low: Bans(-0.2), high: Bans(1.25) };
        assert_eq!(interval(&weight).replace(NBSP, " "), "−0.2 to +1.2 ban");
    }

    #[test]
    fn ratios_in_two_digits() {
        let rows = [
            (0.0, "about 1 times"),
            (0.301_04, "about 2 times"),
            (-1.398, "about 25 times"),
            (2.0, "about 100 times"),
            (3.1, "about 1,300 times"),
            (5.5, "about 320,000 times"),
            (7.0, "over 1,000,000 times"),
        ];
        for (weight, expected) in rows {
            assert_eq!(times(weight), expected, "{weight}");
        }
    }

    #[test]
    fn a_probability_is_never_certain() {
        let rows =
            [(0.0, "under 0.1 %"), (1.0, "over 99.9 %"), (0.5, "50 %"), (0.043, "4.3 %"), (0.953, "95.3 %")];
        for (share, expected) in rows {
            assert_eq!(percent(share).replace(NBSP, " "), expected);
        }
    }

    #[test]
    fn plain_numbers_lose_their_zeros() {
        for (value, digits, expected) in
            [(0.80, 3, "0.8"), (120.0, 2, "120"), (0.0, 3, "0"), (-2.5, 3, "−2.5")]
        {
            assert_eq!(plain(value, digits), expected);
        }
    }
}
