//! The reader of words, from its model's file; or why there is none.
//!
//! In: a path. Out: [`Reader`], which a shelf takes along. Never here: how a line is read; where the
//! model comes from: nothing is fetched, `./install-words` puts it in place.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

use examine::words::{Tool, Words};
use ocr::{MODEL_BYTES, Recogniser};

/// Name of the model's file.
pub const WORDS_MODEL: &str = ocr::MODEL_FILE;

/// Reads words in photos, or says why it does not.
#[derive(Debug, Clone)]
pub struct Reader(pub(crate) Words);

impl Reader {
    /// From the model's file. A file that is absent, or another than the pinned one, is no error: words
    /// cannot be told then, and findings say so with the remedy.
    #[must_use]
    pub fn from_file(file: &Path) -> Self {
        let name = file.display();
        let bytes = match read(file) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Self::none(&format!(
                    "the text recogniser's model is not installed ({name} is not there); install it with ./install-words"
                ));
            }
            Err(error) => {
                return Self::none(&format!(
                    "{name}: cannot be read ({error}); install it again with ./install-words"
                ));
            }
        };
        match Recogniser::from_bytes(bytes) {
            Ok(recogniser) => Self(Words::Reading(Arc::new(Tool::new(recogniser)))),
            Err(error) => Self::none(&format!("{name}: {error} with ./install-words")),
        }
    }

    /// None, for a reason that findings give.
    #[must_use]
    pub fn none(why: &str) -> Self {
        Self(Words::Absent { why: why.to_owned() })
    }

    /// Whether it reads.
    #[must_use]
    pub const fn reads(&self) -> bool {
        matches!(self.0, Words::Reading(_))
    }
}

impl Default for Reader {
    fn default() -> Self {
        Self::none("words are not read here")
    }
}

/// The file's bytes, one more than the model has at most: a longer file is another file.
fn read(file: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(file)?.take(MODEL_BYTES + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn why(reader: &Reader) -> String {
        match &reader.0 {
            Words::Absent { why } => why.clone(),
            Words::Reading(_) => String::new(),
        }
    }

    #[test]
    fn without_the_pinned_model_it_says_why_and_what_to_do() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(WORDS_MODEL);
        let absent = Reader::from_file(&file);
        assert!(
            !absent.reads()
                && why(&absent).contains("is not there")
                && why(&absent).contains("./install-words")
        );
        casebook::atomic::write(&file, b"another network").unwrap();
        let other = Reader::from_file(&file);
        assert!(!other.reads() && why(&other).contains("it is not run"), "{}", why(&other));
        let folder = Reader::from_file(folder.path());
        assert!(!folder.reads() && why(&folder).contains("cannot be read"), "{}", why(&folder));
    }
}
