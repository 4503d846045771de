//! Reading and writing the file on disk: whole or not at all.

use std::ffi::OsString;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Most bytes a corrections file may have: a thousand bars of sixty parts take two million for each state of the score.
pub(super) const MOST_BYTES: u64 = 128 << 20;

/// The corrections file of a score: its whole file name and `.corrections.json`.
#[must_use]
pub fn sidecar_path(score: &Path) -> PathBuf {
    let mut name = score.file_name().map_or_else(OsString::new, OsString::from);
    name.push(".corrections.json");
    score.with_file_name(name)
}

/// The bytes of the file; `None` when there is none.
pub(super) fn load(path: &Path) -> io::Result<Option<Vec<u8>>> {
    let length = match fs::metadata(path) {
        Ok(about) => about.len(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    if length > MOST_BYTES {
        return Err(io::Error::other(format!("it has {length} bytes, more than the {MOST_BYTES} allowed")));
    }
    fs::read(path).map(Some)
}

/// Tells apart the files that threads of one process are writing.
static WRITES: AtomicU64 = AtomicU64::new(0);

/// Puts `bytes` in place of the file: written beside it first, then moved, so that a reader never meets half a file.
pub(super) fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut name = path.file_name().map_or_else(OsString::new, OsString::from);
    let count = WRITES.fetch_add(1, Ordering::Relaxed);
    name.push(format!(".{}-{count}.part", std::process::id()));
    let beside = path.with_file_name(name);
    let written = fs::File::create(&beside).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()
    });
    written.and_then(|()| fs::rename(&beside, path)).inspect_err(|_| {
        let _ = fs::remove_file(&beside);
    })
}

/// Removes the file; it is no matter if there is none.
pub(super) fn remove(path: &Path) -> io::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}
