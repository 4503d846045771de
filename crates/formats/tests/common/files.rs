//! Files beside the tests.

use std::path::{Path, PathBuf};

/// The files with one of these endings in a folder beside the tests, by name.
pub fn files(folder: &str, endings: &[&str]) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(folder);
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| endings.iter().any(|ending| extension == *ending)));
    files.sort();
    files
}

/// What those files hold.
pub fn contents(folder: &str, endings: &[&str]) -> Vec<Vec<u8>> {
    files(folder, endings).iter().map(|path| std::fs::read(path).unwrap()).collect()
}
