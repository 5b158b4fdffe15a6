//! Weights of evidence and what follows from them: calibration on specimens of known status,
//! weights with their bounds and intervals, their sum, the opinion in words, the decision.
//!
//! In: findings of an item and measured specimens, as plain data. Out: [`Calibration`],
//! `casebook::opinion::Opinion` and `Decision`.
//! Never here: a picture, a file, a clock, hidden randomness, the person who sells.
//!
//! Start at [`Calibration::fit`], [`opine`] and [`decide_offer`]. Below them: `table` (findings become rows
//! of numbers), `weigh` (rows become bounded log10 likelihood ratios), `facts` (facts become weights
//! through their error rate), `mix` (alternatives, prior, posterior), `coverage` (deciding views),
//! `words`, `decide` with `stakes` (money) and `requests`, `next_photo` (what an answer
//! would bring); [`evaluate`] holds the figures of merit.

mod calibration;
mod coverage;
mod decide;
mod either_end;
mod error;
pub mod evaluate;
mod facts;
mod mix;
mod next_photo;
pub mod numeric;
mod opine;
mod requests;
mod stakes;
mod table;
pub mod weigh;
mod words;

pub use calibration::{Calibration, GroupWeight};
pub use coverage::deciding_views;
pub use decide::{Circumstances, Decided, Judged, decide, decide_offer};
pub use either_end::OpenedShares;
pub use error::OpinionError;
pub use facts::{FactWeight, fact_weight};
pub use mix::{DEFAULT_PRIOR, Mix, prior_after_outcomes};
pub use next_photo::{conclude, rank_requests};
pub use opine::{Question, opine};
pub use requests::message_to_seller;
pub use table::{Cell, ColumnKey, ENDS, Row, Table};
pub use words::{MIN_PHYSICAL_SPECIMENS, step_of, step_words};
