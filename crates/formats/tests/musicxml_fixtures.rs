//! Small MusicXML files beside what they should be read as, one subject a file.
//!
//! `tests/musicxml/NAME.musicxml` is ours; its comment says which rule it is about and where that rule stands. `NAME.txt` holds
//! the reading as text, checked by hand against that rule. With `BLESS=1` the texts are written anew.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

mod shown;

use std::path::Path;

use ripieno_formats::{Limits, musicxml};

#[test]
fn files_read_as_their_tables_say() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/musicxml");
    let mut files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "musicxml"));
    files.sort();
    assert!(files.len() > 60, "the fixtures are there");
    let mut wrong = Vec::new();
    for file in files {
        let bytes = std::fs::read(&file).unwrap();
        assert!(musicxml::looks_like(&bytes));
        let name = file.file_name().unwrap().to_string_lossy();
        let shown = shown::shown(musicxml::read(&name, &bytes, &Limits::default()));
        let table = file.with_extension("txt");
        if std::env::var_os("BLESS").is_some() {
            std::fs::write(&table, &shown).unwrap();
        }
        if shown != std::fs::read_to_string(&table).unwrap_or_default() {
            wrong.push(format!("{} reads as\n{shown}", file.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
