//! Entries, exits and rests on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;

#[test]
fn entries_rests_and_stretches_in_bars() {
    // Ten bars. Flute: rest, rest, play, play (half), rest, play, play, play, rest, rest.
    let piece = Piece::of(&[
        ("Flute", "r:4 | r:4 | C5:4 | r:2 C5:2 | r:4 | C5:1 r:3 | C5:4 | C5:4 | r:4 | r:4"),
        ("Violin", "G4:4 | G4:4 | G4:4 | G4:4 | G4:4 | G4:4 | G4:4 | G4:4 | G4:4 | G4:4"),
    ]);
    let value = |aspect| piece.value("entries", Subject::Part(0), None, aspect).unwrap();
    assert_eq!(value("entries"), (2.0, vec![3, 6]));
    assert_eq!(value("exits"), (2.0, vec![4, 8]));
    assert_eq!(value("longest rest before an entry"), (2.0, vec![3]));
    assert_eq!(value("longest stretch"), (3.0, vec![6, 7, 8]));
    assert_eq!(value("first entry"), (2.0, vec![3]));
    assert_eq!(value("last note"), (2.0, vec![8]));
    // The violin is there from the first bar to the last: it enters after no rest and never leaves.
    let violin = |aspect| piece.value("entries", Subject::Part(1), None, aspect);
    assert_eq!(violin("entries"), Some((0.0, vec![])));
    assert_eq!(violin("exits"), Some((0.0, vec![])));
    assert_eq!(violin("longest rest before an entry"), None);
    assert_eq!(violin("longest stretch").unwrap().0, 10.0);
    assert_eq!(violin("first entry"), Some((0.0, vec![1])));
    assert_eq!(violin("last note"), Some((0.0, vec![10])));
}

#[test]
fn a_section_rests_only_when_all_its_parts_do() {
    // The clarinets relieve each other; the section as a whole rests in bar 3 alone.
    let piece = Piece::of(&[("Clarinet 1", "C5:4 | r:4 | r:4 | C5:4"), ("Clarinet 2", "r:4 | C4:4 | r:4 | r:4")]);
    let clarinets = piece.section("clarinets");
    assert_eq!(piece.value("entries", clarinets, None, "entries"), Some((1.0, vec![4])));
    assert_eq!(piece.value("entries", clarinets, None, "exits"), Some((1.0, vec![2])));
    assert_eq!(piece.value("entries", Subject::Part(0), None, "longest rest before an entry"), Some((2.0, vec![4])));
    assert_eq!(piece.value("entries", Subject::Part(1), None, "last note"), Some((2.0, vec![2])));
}

/// The demo's planted table has the longest rest of every part in printed bars, reckoned from what was composed.
#[test]
fn longest_rests_of_the_demo_are_those_planted() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/");
    let piece = Piece::demo();
    let taken = piece.practice();
    let entries = &taken.iter().find(|taken| taken.measure.name == "entries").unwrap().values;
    let table = std::fs::read_to_string(format!("{folder}planted/practice.csv")).unwrap();
    let mut checked = 0;
    for line in table.lines().filter_map(|line| line.strip_prefix("longest rest before an entry,")) {
        let mut cells = line.split(',');
        let (name, bars) = (cells.next().unwrap(), cells.next().unwrap());
        let of = Subject::Part(piece.part(name));
        let found = entries.iter().find(|value| value.of == of && value.aspect == "longest rest before an entry");
        assert_eq!(found.unwrap().value, bars.parse::<f64>().unwrap(), "{name}");
        checked += 1;
    }
    assert_eq!(checked, piece.score.parts.len());
}
