//! The examiner of words: what the print says, letter by letter, and how large its letters are.
//!
//! In: an [`crate::ItemView`] and a recogniser of text ([`ocr`]). Out: findings on each face's wording,
//! on years, letter heights and the gaps between words. Never here: a verdict; where the recogniser's
//! model lies on disk.
//!
//! The catalogue says where text lies and what it says; the reference picture says where its lines are
//! and how large each word is (`lines`). Each line is cut out of the photos straight, upright and at the
//! recogniser's scale (`cut`). What is weighed is how much better another wording fits the recogniser's
//! columns than the printed one (`reading`), so its own doubts count: a slip is no fault. Heights and
//! gaps are measured on the same lines against the reference (`heights`). `examiner` is the way in,
//! `findings` and `pictures` tell.

mod cut;
mod examiner;
mod findings;
mod heights;
mod lines;
mod pictures;
mod reading;

pub use examiner::{Tool, Words};
pub use heights::{Extent, Profile, Stretch, extent, stretch};
