//! A library of scores: one SQLite file that keeps what was found in each score, and what a person says of it.
//!
//! [`Library`] takes scores in, lists, finds, tags, removes and backs them up; [`Reader`] answers questions and [`query`] SQL,
//! both without a way to change anything; [`export`] writes all tables for other programs. What is kept of a score is its
//! [`ripieno_questions::Record`], packed; every change is one transaction. This crate analyses nothing.

mod backup;
mod error;
mod export;
mod import;
mod load;
mod notes;
mod questions;
mod schema;
mod search;
mod sql;
mod store;
mod unusual;
mod views;

pub use backup::restore;
pub use error::LibraryError;
pub use export::{ExportFormat, export};
pub use import::{ANALYSIS, Counts, ImportProgress, Labels, Outcome, score_files};
pub use load::{Entry, Reader};
pub use notes::{Bookmark, Place, Remark};
pub use questions::{Answer, Saved};
pub use rusqlite::types::Value;
pub use search::Kept;

pub use sql::{Bounds, Rows, query, query_within, text_of};
pub use store::Library;
pub use unusual::{FEWEST_WORKS, Standing, StandingOut, Usual};
