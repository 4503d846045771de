//! Small MusicXML files beside what they should be read as, one subject a file.
//!
//! `tests/musicxml/NAME.musicxml` is ours; its comment says which rule it is about and where that rule stands. `NAME.txt` holds
//! the reading as text, checked by hand against that rule. With `BLESS=1` the texts are written anew.

mod common;

use ripieno_formats::{Limits, musicxml};

#[test]
fn files_read_as_their_tables_say() {
    let files = common::fixtures::check("musicxml", "musicxml", |name, bytes| {
        assert!(musicxml::looks_like(bytes));
        musicxml::read(name, bytes, &Limits::default())
    });
    assert!(files > 60, "the fixtures are there");
}
