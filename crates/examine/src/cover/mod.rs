//! What hides the item: how much of each face and end seal lies outside the frame or under something
//! that is not the print, such as a sticker or fingers.
//!
//! In: an item's placed photos and the flat references of its faces. Out: for every face, and for both
//! end seals of a pack, the share that some photo shows. It is a fact about seeing: it carries no
//! features and weighs nothing, but it tells which photo to ask for.
//! Never here: print, ridges, a verdict, another examiner.
//!
//! Other examiners use [`covered`] to leave hidden places out.
//! Read [`covered`] (what counts as a cover), then `examine_face`.

mod examiner;

pub(crate) use examiner::MIN_PX_PER_MM;
pub use examiner::{Cover, covered};
