//! Small Humdrum files beside what they should be read as, one subject a file.
//!
//! `tests/kern/NAME.krn` is ours, written after the published syntax; its first comment says which rule it is about and where
//! that rule stands. `tests/kern/NAME.txt` holds the reading as text, checked by hand. With `BLESS=1` the texts are written anew.

mod common;

use ripieno_formats::{Limits, kern};

#[test]
fn files_read_as_their_tables_say() {
    let files = common::fixtures::check("kern", "krn", |name, bytes| {
        assert!(kern::looks_like(bytes));
        let reading = kern::read(name, bytes, &Limits::default());
        reading.iter().for_each(|reading| common::invariants::assert_voices_follow(&reading.score));
        reading
    });
    assert!(files > 20, "the fixtures are there");
}
