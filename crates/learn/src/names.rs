//! What the product is called, from the command line, `learn.toml`, or nothing.
//!
//! In: what was said. Out: [`Names`]. Never here: photos.

use casebook::catalogue::Form;
use casebook::learn::LearnFile;
use casebook::names::{NameError, ProductId, Slug};

use crate::error::LearnError;

/// The product's names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Names {
    /// Full name.
    pub product: ProductId,
    /// What kind of package.
    pub form: Form,
    /// The line as printed.
    pub line: String,
    /// The release as printed.
    pub release: String,
    /// The product as a shop would print it.
    pub name: String,
}

impl Names {
    /// From what was said; a printed name that was not said is made from the path.
    ///
    /// # Errors
    /// [`LearnError::NoName`] without a product name, [`LearnError::NoForm`] when no form is known.
    pub fn of(told: &LearnFile) -> Result<Self, LearnError> {
        let product = told.product.clone().ok_or(LearnError::NoName)?;
        let (line, release, last) = {
            let (a, b, c) = product.parts();
            (a.to_owned(), b.to_owned(), c.to_owned())
        };
        let word = last.split('-').next_back().unwrap_or_default().to_owned();
        let form = told
            .form
            .or_else(|| Form::ALL.into_iter().find(|form| form.word() == word))
            .ok_or(LearnError::NoForm { word: last.clone() })?;
        let line = told.line_name.clone().unwrap_or_else(|| printed(&line));
        let release = told.release_name.clone().unwrap_or_else(|| printed(&release));
        let name = told
            .product_name
            .clone()
            .unwrap_or_else(|| format!("{line} {release} {}", last.replace('-', " ")));
        Ok(Self { product, form, line, release, name })
    }

    /// The three parts of the product's name.
    ///
    /// # Errors
    /// Never for a checked name.
    pub fn slugs(&self) -> Result<(Slug, Slug, Slug), NameError> {
        let (a, b, c) = self.product.parts();
        Ok((a.parse()?, b.parse()?, c.parse()?))
    }
}

/// A path's word as it might be printed: `first-soundings` → `First Soundings`.
fn printed(slug: &str) -> String {
    slug.split('-')
        .map(|word| {
            let mut letters = word.chars();
            letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// Names of a form's faces, in the order in which unnamed ones are called.
#[must_use]
pub(crate) fn faces_of(form: Form) -> &'static [&'static str] {
    match form {
        Form::Pack | Form::Blister => &["front", "back"],
        Form::Box | Form::Tin | Form::Case => &["front", "back", "left", "right", "top", "bottom"],
    }
}

/// The face that a file name begins with: `front.jpg`, `back-2.png`, `Front_01.heic`.
#[must_use]
pub(crate) fn face_of_file(file: &str, form: Form) -> Option<Slug> {
    let word: String =
        file.chars().take_while(char::is_ascii_alphabetic).collect::<String>().to_ascii_lowercase();
    faces_of(form).iter().find(|face| **face == word).and_then(|face| face.parse().ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_say_the_face() {
        let rows = [
            ("front.jpg", Some("front")),
            ("Back-2.png", Some("back")),
            ("front_01.heic", Some("front")),
            ("frontal.jpg", None),
            ("IMG_2041.jpg", None),
            ("top.jpg", None),
        ];
        for (file, face) in rows {
            assert_eq!(face_of_file(file, Form::Pack).map(|f| f.to_string()).as_deref(), face, "{file}");
        }
        assert_eq!(face_of_file("top.jpg", Form::Box).map(|f| f.to_string()).as_deref(), Some("top"));
    }

    #[test]
    fn names_that_were_not_said_come_from_the_path() {
        let mut told = LearnFile::empty();
        assert!(matches!(Names::of(&told), Err(LearnError::NoName)));
        told.product = Some("kelpwright/first-soundings/pack".parse().unwrap());
        let names = Names::of(&told).unwrap();
        assert_eq!((names.form, names.name.as_str()), (Form::Pack, "Kelpwright First Soundings pack"));
        told.product = Some("kelpwright/first-soundings/thing".parse().unwrap());
        assert!(matches!(Names::of(&told), Err(LearnError::NoForm { .. })));
        told.product = Some("kelpwright/first-soundings/gift-box".parse().unwrap());
        assert_eq!(Names::of(&told).unwrap().form, Form::Box);
    }
}
