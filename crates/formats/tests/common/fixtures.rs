//! Small files beside what they should be read as.

use ripieno_formats::{ReadError, Reading};

use super::files::files;
use super::invariants::assert_in_order;
use super::shown::shown;

/// Reads every file of a folder, by its name and bytes, and compares the reading with the text beside it; with `BLESS=1` writes the texts anew.
pub fn check(folder: &str, ending: &str, read: impl Fn(&str, &[u8]) -> Result<Reading, ReadError>) -> usize {
    let files = files(folder, &[ending]);
    let mut wrong = Vec::new();
    for file in &files {
        let name = file.file_name().unwrap().to_string_lossy();
        let reading = read(&name, &std::fs::read(file).unwrap());
        if let Ok(reading) = &reading {
            assert_in_order(&reading.score);
        }
        let shown = shown(reading);
        let table = file.with_extension("txt");
        if std::env::var_os("BLESS").is_some() {
            std::fs::write(&table, &shown).unwrap();
        }
        if shown != std::fs::read_to_string(&table).unwrap_or_default() {
            wrong.push(format!("{} reads as\n{shown}", file.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    files.len()
}
