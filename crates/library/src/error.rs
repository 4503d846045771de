//! What can go wrong, as one sentence each.

use std::fmt;
use std::path::Path;

use ripieno_questions::record::Damaged;
use rusqlite::ErrorCode;

/// Why the library could not do what was asked: one sentence with what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LibraryError(pub String);

impl fmt::Display for LibraryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for LibraryError {}

pub(crate) type Result<T> = std::result::Result<T, LibraryError>;

pub(crate) fn fail<T>(what: impl Into<String>) -> Result<T> {
    Err(LibraryError(what.into()))
}

/// What SQLite says of the library at `path`, in words.
pub(crate) fn of_sqlite(path: &Path, error: &rusqlite::Error) -> LibraryError {
    let path = path.display();
    let code = error.sqlite_error_code();
    LibraryError(match code {
        Some(ErrorCode::DiskFull) => {
            format!(
                "{path}: there is no room left for the library; what was kept before is whole. Make room and run the command again"
            )
        }
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            format!(
                "{path}: another program has been writing to the library for too long. Wait for it to finish and run the command again"
            )
        }
        Some(ErrorCode::NotADatabase) => {
            format!("{path}: this is no library of scores. Name another file, or a new one to begin a library")
        }
        Some(ErrorCode::DatabaseCorrupt) => {
            format!("{path}: the library is damaged. Restore a backup with `ripieno library restore`")
        }
        Some(ErrorCode::CannotOpen) => {
            format!("{path}: the library cannot be opened. Check that the folder exists and may be written to")
        }
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => {
            format!("{path}: the library may not be written to. Check its permissions")
        }
        Some(ErrorCode::SystemIoFailure) => {
            format!("{path}: the disk does not read or write as it should ({error}). Check it, then run the command again")
        }
        _ => format!("{path}: {error}"),
    })
}

pub(crate) fn of_damage(path: &Path, score: i64, _: Damaged) -> LibraryError {
    LibraryError(format!("{}: what is kept of score {score} is damaged. Remove the score and add it again", path.display()))
}

pub(crate) fn of_io(path: &Path, what: &str, error: &std::io::Error) -> LibraryError {
    LibraryError(format!("{}: {what} ({error})", path.display()))
}
