//! Names of things: product, face, item, photo. Checked once, when they are read.
//!
//! In: text from people's files. Out: newtypes that keep their rule. Never here: what they name.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A name broke its rule.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is no {what}: expected {rule}")]
pub struct NameError {
    /// What the name was meant for.
    pub what: &'static str,
    /// What stood there.
    pub found: String,
    /// What would have been right.
    pub rule: &'static str,
}

const SLUG_RULE: &str = "1 to 64 of a-z, 0-9 and '-', not starting or ending with '-'";

fn is_slug(text: &str) -> bool {
    (1..=64).contains(&text.len())
        && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
        && !text.starts_with('-')
        && !text.ends_with('-')
}

macro_rules! name {
    ($(#[$doc:meta])* $name:ident, $what:literal, $rule:expr, $check:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// The name as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = NameError;

            fn from_str(text: &str) -> Result<Self, NameError> {
                let check: fn(&str) -> bool = $check;
                if check(text) {
                    Ok(Self(text.to_owned()))
                } else {
                    let found = text.chars().take(80).collect();
                    Err(NameError { what: $what, found, rule: $rule })
                }
            }
        }

        impl TryFrom<String> for $name {
            type Error = NameError;

            fn try_from(text: String) -> Result<Self, NameError> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> Self {
                name.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    };
}

name!(
    /// One word of a path: a line, release, form, make, face, item, case or specimen.
    Slug, "name", SLUG_RULE, is_slug
);
name!(
    /// A product: `line/release/form`, as in `kelpwright/brass-estuary/pack`.
    ProductId, "product", "line/release/form, each of a-z, 0-9 and '-'",
    |text| text.split('/').count() == 3 && text.split('/').all(is_slug)
);
name!(
    /// The content of a photo file: BLAKE3 of its bytes, 64 lower-case hexadecimal digits.
    PhotoHash, "photo hash", "64 hexadecimal digits, lower case",
    |text| text.len() == 64 && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
);
name!(
    /// A photo's file name inside its folder: no folder part, not hidden.
    PhotoFile, "photo file name", "a plain file name without '/', '\\' or a leading '.'",
    |text| (1..=255).contains(&text.len()) && !text.starts_with('.')
        && !text.chars().any(|c| c == '/' || c == '\\' || c.is_control())
);

impl ProductId {
    /// The product's line, release and form.
    #[must_use]
    pub fn parts(&self) -> (&str, &str, &str) {
        let mut parts = self.0.split('/');
        let mut next = || parts.next().unwrap_or_default();
        (next(), next(), next())
    }
}

impl PhotoHash {
    /// The hash of a photo file's bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(blake3::hash(bytes).to_hex().to_string())
    }
}

/// One face of one product.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FaceId {
    /// The product.
    pub product: ProductId,
    /// Its face: `front`, `back`, `left`, `right`, `top`, `bottom` or another slug of the catalogue.
    pub face: Slug,
}

impl fmt::Display for FaceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}#{}", self.product, self.face)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_their_rules() {
        let rows: [(&str, bool, bool, bool); 8] = [
            // text, slug, product, file
            ("pack", true, false, true),
            ("a/b/c", false, true, false),
            ("a//c", false, false, false),
            ("-a", false, false, true),
            ("../x", false, false, false),
            (".hidden", false, false, false),
            ("", false, false, false),
            ("Été 1.jpg", false, false, true),
        ];
        for (text, slug, product, file) in rows {
            assert_eq!(text.parse::<Slug>().is_ok(), slug, "slug {text:?}");
            assert_eq!(text.parse::<ProductId>().is_ok(), product, "product {text:?}");
            assert_eq!(text.parse::<PhotoFile>().is_ok(), file, "file {text:?}");
        }
    }

    #[test]
    fn hash_is_blake3() {
        // BLAKE3 of the empty input, from the reference implementation's published test vectors.
        let empty = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262";
        assert_eq!(PhotoHash::of(b"").as_str(), empty);
    }
}
