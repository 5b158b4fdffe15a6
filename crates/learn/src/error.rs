//! Why nothing could be learned; every message names what is wrong and the remedy. A photo that shows
//! too little is no error: it is listed with what it lacks.

use std::io;
use std::path::PathBuf;

use casebook::atomic::WriteError;
use casebook::document::DocumentError;
use casebook::names::NameError;

/// Why a product could not be learned or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LearnError {
    /// The folder cannot be listed.
    #[error("{}: cannot be listed ({source}); check that it is there and readable", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The folder holds no photo.
    #[error("{}: holds no photo; put 4 to 8 photos of one item (JPEG, PNG, WebP, HEIC) into it", .folder.display())]
    NoPhotos {
        /// The folder.
        folder: PathBuf,
    },
    /// Too many photos.
    #[error("{found} photos are more than one item needs (limit {limit}); keep the sharpest 4 to 8")]
    TooManyPhotos {
        /// How many there are.
        found: usize,
        /// The limit.
        limit: usize,
    },
    /// `learn.toml` names a photo that is not there.
    #[error("learn.toml names \"{file}\", which is not in the folder; correct its name")]
    NoSuchPhoto {
        /// The photo.
        file: String,
    },
    /// The product has no name yet.
    #[error(
        "the product has no name yet; say --product line/release/form, such as kelpwright/first-soundings/pack"
    )]
    NoName,
    /// The form is not known.
    #[error(
        "\"{word}\" is no form; end the product's name in pack, box, blister, tin or case, or set `form` in learn.toml"
    )]
    NoForm {
        /// What stood there.
        word: String,
    },
    /// No size is known.
    #[error("no size is known: {why}; give it with --size WIDTHxHEIGHT in mm (a box: WIDTHxHEIGHTxDEPTH)")]
    NoSize {
        /// Why the card did not help.
        why: String,
    },
    /// No face could be made.
    #[error("no face could be learned: {why}")]
    NoFace {
        /// What the photos lack.
        why: String,
    },
    /// The item is of another make than those known.
    #[error(
        "the item is like no known make (nearest: {nearest}): {how}; say --make NAME to add it as a make of its own, \
         or --make {nearest} if it is that one"
    )]
    OtherMake {
        /// The nearest known make.
        nearest: String,
        /// What differs.
        how: String,
    },
    /// The library.
    #[error(transparent)]
    Library(#[from] casebook::library::LibraryError),
    /// A name breaks its rule.
    #[error("{0}; rename it")]
    Name(#[from] NameError),
    /// A document is wrong.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The folder to write into holds other things.
    #[error("{}: is there already; choose another folder with --into DIR, or remove it", .folder.display())]
    Occupied {
        /// The folder.
        folder: PathBuf,
    },
    /// A folder or file cannot be made.
    #[error("{}: cannot be made ({source}); choose a folder that you may write to", .path.display())]
    Make {
        /// The folder or file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A picture cannot be encoded.
    #[error("the reference picture of the {face} cannot be encoded ({why})")]
    Encode {
        /// The face.
        face: String,
        /// The encoder's words.
        why: String,
    },
}
