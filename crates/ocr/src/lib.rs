//! One line of text: what each of its columns may show, and how well a wording fits.
//!
//! In: the model's bytes, then pictures of single lines, straightened, [`LINE_PX`] pixels high. Out:
//! [`Columns`], the probabilities of letters column by column, with the likelihood of any wording
//! ([`Columns::log_likelihood`]) and the best reading ([`Columns::best`]). Never here: where text lies,
//! what it ought to say, a finding, a file, the network.
//!
//! The recogniser is a convolutional network with connectionist temporal classification (`graves2006`),
//! run by `rten`. Its weights are no part of this program: they come from outside, and bytes other than
//! the pinned ones ([`MODEL_BLAKE3`]) are refused.

mod alignment;
mod columns;
mod folding;
mod model;

pub use alignment::{Edit, align};
pub use columns::{Columns, Read};
pub use folding::{fold, folded};
pub use model::{LINE_PX, MAX_LINE_PX, MODEL_BLAKE3, MODEL_BYTES, MODEL_FILE, OcrError, Recogniser};
