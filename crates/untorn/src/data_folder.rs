//! Where the user's own data lie when no option says otherwise.

use std::path::PathBuf;

use examination::{Reader, WORDS_MODEL};

use crate::args::{LibraryFolder, ReadWords};
use crate::failure::Failure;

/// A folder within the user's data folder (XDG base directories, or the system's own custom).
pub(crate) fn within(name: &str, option: &'static str) -> Result<PathBuf, Failure> {
    directories::ProjectDirs::from("", "", "untorn")
        .map(|own| own.data_dir().join(name))
        .ok_or(Failure::NoDataFolder { option })
}

impl LibraryFolder {
    /// The folder meant.
    pub(crate) fn resolve(&self) -> Result<PathBuf, Failure> {
        self.folder.clone().map_or_else(|| within("library", "--library DIR"), Ok)
    }
}

impl ReadWords {
    /// What reads words, or why nothing does.
    pub(crate) fn reader(&self) -> Reader {
        if self.no_words {
            return Reader::none("words were not to be read (--no-words)");
        }
        self.words_model.as_ref().map_or_else(installed_reader, |file| Reader::from_file(file))
    }
}

/// The reader whose model lies where ./install-words puts it.
pub(crate) fn installed_reader() -> Reader {
    within("words", "--words-model FILE").map_or_else(
        |failure| Reader::none(&failure.to_string()),
        |folder| Reader::from_file(&folder.join(WORDS_MODEL)),
    )
}
