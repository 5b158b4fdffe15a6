//! Which letters count as the same: case, spaces and marks carry no meaning here.
//!
//! In: text. Out: the letters that are compared. Never here: probabilities.
//!
//! A recogniser confuses `s` with `S`, drops full stops of one pixel and joins words; none of it is a
//! fault of the print. So capitals and small letters are one, and only letters and digits are compared.

/// The letter that a character is compared as; `None` for spaces, marks and signs.
#[must_use]
pub fn fold(c: char) -> Option<char> {
    if !c.is_alphanumeric() {
        return None;
    }
    let mut lower = c.to_lowercase();
    match (lower.next(), lower.next()) {
        (Some(one), None) => Some(one),
        _ => Some(c),
    }
}

/// The letters of a text that are compared.
#[must_use]
pub fn folded(text: &str) -> Vec<char> {
    text.chars().filter_map(fold).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_letters_and_digits_are_compared_whatever_their_case() {
        let rows = [
            ("© 2021 Kelp & Sons.", "2021kelpsons"),
            ("KELP·wright", "kelpwright"),
            ("  - ", ""),
            ("Straße Ärger", "straßeärger"),
        ];
        for (text, wanted) in rows {
            assert_eq!(folded(text).iter().collect::<String>(), wanted, "{text}");
        }
    }
}
