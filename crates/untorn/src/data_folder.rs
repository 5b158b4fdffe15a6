//! Where the user's own data lie when no option says otherwise.

use std::path::PathBuf;

use crate::args::LibraryFolder;
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
