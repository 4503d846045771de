//! Readers and writers of open score formats.
//!
//! [`read`] recognises the format by content, never by name, and answers a [`Reading`]: a score and what is to be said
//! about it. Readers are lenient: what they can mend they mend and report, and only a file that holds no score at all is
//! an error. They work on bytes in memory and within [`Limits`], so that a hostile file can neither panic, hang nor
//! exhaust the machine. Nothing here judges music; part names are matched against the instrument catalogue only to know
//! how many people play from a part.

pub mod excerpt;
mod finding;
pub mod kern;
mod limits;
pub mod midi;
pub mod musicxml;
mod read;
mod roster;
pub mod tables;
mod troubles;

pub use finding::{Finding, Findings, Place, Severity};
pub use limits::Limits;
pub use read::{Format, ReadError, Reading, load, read, read_file};
pub use troubles::trouble_findings;
