//! Opening scores and telling what the reader found.

use std::path::Path;

use ripieno_formats::{Limits, Reading, Severity, read_file};
use ripieno_study::Progress;

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

/// Tells how far reading has come, and whether the file just finished could be read.
pub fn is_read(progress: &Progress<'_>) -> bool {
    match progress.outcome {
        Err(error) => eprintln!("{error}"),
        Ok(()) if progress.total > 1 => eprintln!("{} of {}: {}", progress.done, progress.total, progress.path.display()),
        Ok(()) => {}
    }
    progress.outcome.is_ok()
}
