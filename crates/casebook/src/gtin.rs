//! GTIN check digits.
//!
//! In: digits as text. Out: whether length and check digit agree. Never here: who owns the number.
//!
//! Source: `gs1general` (section "Standard check digit calculations for GS1 data structures").

/// The check digit of the digits before it, or `None` when they are not 7, 11, 12 or 13 digits.
///
/// # Example
/// ```
/// // Worked example of the GS1 General Specifications: 629104150021 → 3.
/// assert_eq!(casebook::gtin::check_digit("629104150021"), Some(3));
/// ```
#[must_use]
pub fn check_digit(body: &str) -> Option<u32> {
    if !matches!(body.len(), 7 | 11 | 12 | 13) {
        return None;
    }
    let mut sum = 0;
    for (place, character) in body.chars().rev().enumerate() {
        let digit = character.to_digit(10)?;
        sum += if place % 2 == 0 { 3 * digit } else { digit };
    }
    Some((10 - sum % 10) % 10)
}

/// Whether `gtin` is a GTIN-8, -12, -13 or -14 with the right check digit.
#[must_use]
pub fn is_valid(gtin: &str) -> bool {
    let Some((place, last)) = gtin.char_indices().last() else { return false };
    check_digit(&gtin[..place]).is_some() && check_digit(&gtin[..place]) == last.to_digit(10)
}

/// The number with the leading zeros that make it a GTIN-14, the form in which all are compared.
///
/// # Example
/// ```
/// assert_eq!(casebook::gtin::padded("036000291452"), "00036000291452");
/// ```
#[must_use]
pub fn padded(gtin: &str) -> String {
    format!("{gtin:0>14}")
}

/// Whether two numbers are the same item's: a UPC-A and the EAN-13 with a 0 before it are.
#[must_use]
pub fn same(one: &str, other: &str) -> bool {
    padded(one) == padded(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_and_digits() {
        for good in ["96385074", "036000291452", "6291041500213", "16291041500210"] {
            assert!(is_valid(good), "{good}");
        }
        for bad in ["", "3", "6291041500214", "629104150021", "62910415002१3", "abcdefgh"] {
            assert!(!is_valid(bad), "{bad}");
        }
    }

    #[test]
    fn every_single_wrong_digit_is_found() {
        let good = "6291041500213";
        for place in 0..good.len() {
            for digit in '0'..='9' {
                let mut changed: Vec<char> = good.chars().collect();
                if changed[place] == digit {
                    continue;
                }
                changed[place] = digit;
                let text: String = changed.into_iter().collect();
                assert!(!is_valid(&text), "{text}");
            }
        }
    }
}
