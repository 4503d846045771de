//! Placeholder while the reader is being written.
mod write;

pub use write::{write, write_compressed};

use crate::{Limits, ReadError, Reading};

/// Whether the bytes look like this format.
#[must_use]
pub fn looks_like(_bytes: &[u8]) -> bool { false }

/// Reads.
///
/// # Errors
/// When the bytes hold no score.
pub fn read(file: &str, _bytes: &[u8], _limits: &Limits) -> Result<Reading, ReadError> {
    Err(ReadError::whole_file(file, "unfinished", "not read yet", ""))
}

/// Reads an archive.
///
/// # Errors
/// When the bytes hold no score.
pub fn read_compressed(file: &str, bytes: &[u8], limits: &Limits) -> Result<Reading, ReadError> {
    read(file, bytes, limits)
}
