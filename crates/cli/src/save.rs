//! Writing files, and what is not written over.

use std::fs;
use std::path::{Path, PathBuf};

use ripieno_formats::musicxml;
use ripieno_score::Score;

/// Refuses to write over one of the files that are read for what is written.
pub fn spare(out: &Path, read: &[&Path]) -> Result<(), String> {
    let Ok(place) = fs::canonicalize(out) else { return Ok(()) };
    match read.iter().any(|read| fs::canonicalize(read).is_ok_and(|read| read == place)) {
        true => Err(format!("{}: is one of the files to be read; give the new file another name", out.display())),
        false => Ok(()),
    }
}

/// Writes beside the file first, so that stopping half-way leaves no half file.
pub fn save(path: &Path, bytes: &[u8]) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("{}: cannot be written ({error})", path.display());
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = PathBuf::from(beside);
    fs::write(&beside, bytes).map_err(failed)?;
    fs::rename(&beside, path).map_err(failed)
}

fn ending(path: &Path) -> String {
    path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default()
}

/// Refuses a new file whose ending is not one of MusicXML's.
pub fn is_musicxml(out: &Path, what: &str) -> Result<(), String> {
    match ending(out).as_str() {
        "musicxml" | "xml" | "mxl" => Ok(()),
        _ => Err(format!("{}: {what} are written as .musicxml or .mxl; give the new file one of these endings", out.display())),
    }
}

/// Writes a score as MusicXML, compressed where the ending says so.
pub fn save_score(out: &Path, score: &Score) -> Result<(), String> {
    let bytes = if ending(out) == "mxl" { musicxml::write_compressed(score) } else { Ok(musicxml::write(score).into_bytes()) };
    save(out, &bytes.map_err(|error| format!("{}: cannot be written ({error})", out.display()))?)
}
