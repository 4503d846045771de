//! Writing files.

use std::fs;
use std::path::{Path, PathBuf};

/// Writes beside the file first, so that stopping half-way leaves no half file.
pub fn save(path: &Path, bytes: &[u8]) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("{}: cannot be written ({error})", path.display());
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = PathBuf::from(beside);
    fs::write(&beside, bytes).map_err(failed)?;
    fs::rename(&beside, path).map_err(failed)
}
