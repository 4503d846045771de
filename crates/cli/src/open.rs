//! Opening scores and telling what the reader found.

use std::path::Path;

use ripieno_formats::{Limits, Reading, Severity, read_file};

/// Reads one file, printing findings to standard error; `None` when it could not be read (which has been said).
pub fn open(path: &Path, strict: bool) -> Option<Reading> {
    let reading = match read_file(path, &Limits::default()) {
        Ok(reading) => reading,
        Err(error) => {
            eprintln!("{error}");
            return None;
        }
    };
    for finding in reading.findings.iter().filter(|finding| finding.severity >= Severity::Warning) {
        eprintln!("{finding}");
    }
    if strict && reading.findings.iter().any(|finding| finding.severity >= Severity::Warning) {
        eprintln!("{}: not used, because of --strict and the findings above.", path.display());
        return None;
    }
    Some(reading)
}
