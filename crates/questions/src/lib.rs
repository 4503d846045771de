//! The record of a study as compact tables, and questions put to it in words.
//!
//! [`Record`] holds what is worth keeping of a [`ripieno_study::Study`]; a library stores it, SQL and exports read it.
//! [`parse`] understands a question such as "horns have melody and trombones rest, forte or louder, at least 4 bars long", and
//! [`answer`] finds the bars of a record in which it holds. One file and a thousand kept scores answer from the same record.

pub mod answer;
pub mod language;
pub mod record;

pub use answer::{Found, answer, bar_count, in_lines, tables};
pub use language::{Misunderstood, Question, parse};
pub use record::{MomentRow, Record, line_up};
