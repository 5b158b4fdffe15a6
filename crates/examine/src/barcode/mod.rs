//! Codes printed on an item: which number the bars carry, read on the straightened face of every photo.
//!
//! In: an item's placed photos, the catalogue's regions of kind `code`, and the library's list of
//! GTINs. Out: for every such region one joint finding: the number, and whether it is this product's;
//! or what kept it from being read. An unreadable code is no sign of anything.
//! Never here: codes that a seller types, another examiner, a weight.
//!
//! Read `examiner` (what is asked and answered), then `reader` (many attempts, one number) and
//! `rows` (from light to bars). Bars are decoded by `rxing`, and a number counts only when its check
//! digit is right and disjoint strips of the symbol agree on it.
//! Sources: `iso15420` (EAN/UPC symbols), `gs1general` (check digit, prefixes). Outside check:
//! `tests/codes_zxing.rs`.

mod examiner;
mod reader;
mod rows;

pub use examiner::Barcode;
pub use reader::{CodeReading, CodeView, Symbology, expected, read};
