//! Why a photo could not be read.
//!
//! Each variant is one move that the person who has the file can make; the message names the file,
//! what was found, what was expected and the remedy. A photo that opens but shows too little is no
//! error: that is for the quality maps and the examiners.

use std::io;

/// Why a photo could not be read. The command line prints the message and exits with 2, the desk
/// shows it on that photo; the other photos of the case are still examined.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PhotoError {
    /// The file is missing or not readable.
    #[error("{file}: cannot be opened ({source}); check that it is there and readable")]
    Open {
        /// Name of the file.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The path leads to a folder, a device or a pipe.
    #[error("{file}: is not a regular file; give the photo itself")]
    NotAFile {
        /// Name of the file.
        file: String,
    },
    /// The file has no bytes.
    #[error("{file}: is empty (0 bytes); copy or download it again")]
    Empty {
        /// Name of the file.
        file: String,
    },
    /// More bytes than the limit allows.
    #[error("{file}: {bytes} bytes is over the limit of {limit}; make it smaller or raise the limit")]
    TooManyBytes {
        /// Name of the file.
        file: String,
        /// Size of the file.
        bytes: u64,
        /// Largest size allowed.
        limit: u64,
    },
    /// The content is of a kind that we do not read.
    #[error("{file}: contains {found}, not a JPEG, PNG, WebP or HEIC photo; {remedy}")]
    NotAPhoto {
        /// Name of the file.
        file: String,
        /// What the first bytes say it is.
        found: &'static str,
        /// What to do about it.
        remedy: &'static str,
    },
    /// A photo in one of our formats, but of a variety that we do not read.
    #[error("{file}: is {found}, which is not read; {remedy}")]
    Variety {
        /// Name of the file.
        file: String,
        /// The variety found.
        found: String,
        /// What to do about it.
        remedy: &'static str,
    },
    /// The file stops before its own end mark or stated length.
    #[error("{file}: the {format} data ends too early ({found}); download or send it again")]
    Truncated {
        /// Name of the file.
        file: String,
        /// Format of the content.
        format: &'static str,
        /// What is missing.
        found: String,
    },
    /// More pixels, a longer side or more memory than the limits allow.
    #[error(
        "{file}: {width} × {height} pixels is over the limit of {limit}; make it smaller or raise the limit"
    )]
    OverLimit {
        /// Name of the file.
        file: String,
        /// Width in pixels as the header states it.
        width: u64,
        /// Height in pixels as the header states it.
        height: u64,
        /// The limit that it breaks, in words.
        limit: String,
    },
    /// Fewer pixels on a side than anything can be read from.
    #[error(
        "{file}: {width} × {height} pixels is too small to examine (at least {limit} a side); send the original photo, not a thumbnail"
    )]
    TooSmall {
        /// Name of the file.
        file: String,
        /// Width in pixels.
        width: u64,
        /// Height in pixels.
        height: u64,
        /// Least side length accepted.
        limit: u32,
    },
    /// The content contradicts itself or its format.
    #[error("{file}: damaged {format} data ({reason}); download or send it again")]
    Damaged {
        /// Name of the file.
        file: String,
        /// Format of the content.
        format: &'static str,
        /// What the decoder said.
        reason: String,
    },
    /// The decoder stopped with a fault of its own.
    #[error(
        "{file}: decoder failed on this {format} file; save it again with another program, and report it"
    )]
    DecoderFailed {
        /// Name of the file.
        file: String,
        /// Format of the content.
        format: &'static str,
    },
    /// The system has no memory for it.
    #[error("{file}: no memory for {bytes} bytes of pixels; close other programs or lower the limit")]
    NoMemory {
        /// Name of the file.
        file: String,
        /// Bytes asked for.
        bytes: u64,
    },
}
