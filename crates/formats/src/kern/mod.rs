//! Humdrum `**kern` scores, the open research format.
//!
//! A file is a table: columns are *spines* (usually one a staff), rows are moments. The reader follows the published
//! syntax (Humdrum User Guide, chapter 5) and representation (`**kern` reference) and the documented extensions found in
//! collections of orchestral music. Its invariants: every position comes from the exact clock in [`reader`]; notes on one
//! line sound together; bars are as long as what they hold; nothing in a file is left out without a finding, except
//! comments and instructions that concern the look of the page or other tools.
//!
//! In `**kern` notes stand at sounding pitch. A [`ripieno_score::Score`] holds what is printed, so where a spine says how its
//! part is transposed (`*ITr`) its notes and key signatures are moved to the printed pitch and the transposition is kept.
//!
//! Left to others: recognising instruments by their names, and everything in spines that are neither notes, dynamics, text
//! nor chord symbols.

mod about;
mod barline;
mod bars;
mod columns;
mod duration;
mod dynamics;
mod expansion;
mod finish;
mod instruments;
mod parts;
mod reader;
mod signifiers;
mod spine;
mod tandem;
mod tempo;
mod text;
mod token;

use crate::{Format, Limits, ReadError, Reading};

/// How far into a file its first spines are looked for; comments of any reasonable length fit before them.
const LOOKED_AT: usize = 1 << 20;

/// Whether the bytes look like a Humdrum file: after comments and blank lines, a line of exclusive interpretations.
#[must_use]
pub fn looks_like(bytes: &[u8]) -> bool {
    let head = without_mark(bytes.get(..LOOKED_AT).unwrap_or(bytes));
    let first = head
        .split(|&byte| byte == b'\n' || byte == b'\r')
        .find(|line| !line.starts_with(b"!") && !line.iter().all(u8::is_ascii_whitespace));
    first.is_some_and(|line| line.starts_with(b"**") && line.get(2).is_some_and(u8::is_ascii_alphabetic))
}

/// Reads a score.
///
/// # Errors
/// When the file has no `**kern` spine, or asks for more than `limits` allow.
pub fn read(file: &str, bytes: &[u8], limits: &Limits) -> Result<Reading, ReadError> {
    let bytes = without_mark(bytes);
    let done = reader::Reader::new(file, bytes, limits).read(bytes)?;
    Ok(Reading { score: done.score, findings: done.findings.into_vec(), format: Format::Kern })
}

/// The bytes after a byte order mark.
fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}
