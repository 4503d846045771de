//! Who doubles whom, on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;

const TUNE: &str = "C5:1 D5:1 E5:1 F5:1 | G5:1 F5:1 E5:1 D5:1";

#[test]
fn an_octave_below_for_half_of_the_time() {
    // The bassoon has the flute's tune an octave lower in bars 1 and 2 (8 crotchets) and other notes in bars 3 and 4: half of its 16 crotchets.
    let piece = Piece::of(&[
        ("Flute", &format!("{TUNE} | C6:1 A5:1 F5:1 D5:1 | G5:1 B5:1 D6:1 F5:1")),
        ("Bassoon", &format!("{} | D3:2 C3:2 | B2:2 C3:2", TUNE.replace('5', "4"))),
    ]);
    let (flutes, bassoons) = (piece.section("flutes"), Some(piece.section("bassoons")));
    let value = |aspect| piece.value("doubled_sections", flutes, bassoons, aspect);
    assert_eq!(value("octave below"), Some((0.5, vec![1, 2])));
    assert_eq!(value("octave below, time"), Some((8.0, vec![1, 2])));
    assert_eq!(value("octave below, players per line"), Some((2.0, vec![1, 2])));
    assert_eq!(value("any interval"), Some((0.5, vec![1, 2])));
    assert_eq!(value("octave below, in part"), None);
    assert_eq!(value("unison"), None);
}

#[test]
fn above_and_below_are_seen_from_the_section_first_on_the_page() {
    let piece = Piece::of(&[("Bassoon", &TUNE.replace('5', "3")), ("Flute", TUNE)]);
    let (bassoons, flutes) = (piece.section("bassoons"), Some(piece.section("flutes")));
    assert_eq!(piece.value("doubled_sections", bassoons, flutes, "two octaves above").unwrap().0, 1.0);
}

#[test]
fn two_long_notes_in_common_are_chance() {
    // Two whole notes an octave apart, then contrary motion; three make a doubling.
    let two = Piece::of(&[("Oboe", "C5:4 | D5:4 | E5:4 | F5:4"), ("Horn", "C4:4 | D4:4 | B3:4 | A3:4")]);
    assert_eq!(two.value("doubled_sections", two.section("oboes"), Some(two.section("horns")), "octave below"), None);
    let three = Piece::of(&[("Oboe", "C5:4 | D5:4 | E5:4 | F5:4"), ("Horn", "C4:4 | D4:4 | E4:4 | A3:4")]);
    let found = three.value("doubled_sections", three.section("oboes"), Some(three.section("horns")), "octave below");
    assert_eq!(found, Some((0.75, vec![1, 2, 3])));
}

#[test]
fn every_other_note_is_a_doubling_in_part() {
    // The horn has the notes on the beats of the oboe's quavers: all its 8 crotchets are taken up, half of each sounding with the oboe's own next note.
    // Shared pitch sounds for the first quaver of each crotchet: 4 of 8 crotchets.
    let quavers = "C5:1/2 D5:1/2 E5:1/2 F5:1/2 G5:1/2 F5:1/2 E5:1/2 D5:1/2";
    let beats = "C5:1 E5:1 G5:1 E5:1";
    let piece = Piece::of(&[("Oboe", &format!("{quavers} | {quavers}")), ("Horn", &format!("{beats} | {beats}"))]);
    let (oboes, horns) = (piece.section("oboes"), Some(piece.section("horns")));
    assert_eq!(piece.value("doubled_sections", oboes, horns, "unison, in part"), Some((0.5, vec![1, 2])));
    assert_eq!(piece.value("doubled_sections", oboes, horns, "unison"), None);
}

#[test]
fn players_of_both_sections_stand_on_one_line() {
    // Two flutes and an oboe on one line: three people, one line; the flutes by themselves are told as parts.
    let piece = Piece::of(&[("Flute 1", TUNE), ("Flute 2", TUNE), ("Oboe", TUNE)]);
    let (flutes, oboes) = (piece.section("flutes"), Some(piece.section("oboes")));
    assert_eq!(piece.value("doubled_sections", flutes, oboes, "unison, players per line").unwrap().0, 3.0);
    assert_eq!(piece.value("doubled_sections", flutes, oboes, "unison, time").unwrap().0, 8.0, "two lines together count once");
    assert_eq!(piece.value("doubled_sections", Subject::Part(0), Some(Subject::Part(1)), "unison").unwrap().0, 1.0);
}

#[test]
fn transposing_the_piece_changes_nothing() {
    let up = |text: &str| {
        text.replace('F', "X").replace('E', "F#").replace('D', "E").replace('C', "D").replace('G', "A").replace('X', "G")
    };
    let original = Piece::of(&[("Flute", TUNE), ("Bassoon", &TUNE.replace('5', "4"))]);
    let higher = Piece::of(&[("Flute", &up(TUNE)), ("Bassoon", &up(&TUNE.replace('5', "4")))]);
    let taken =
        |piece: &Piece| piece.practice().into_iter().find(|taken| taken.measure.name == "doubled_sections").unwrap().values;
    assert!(!taken(&original).is_empty());
    assert_eq!(taken(&original), taken(&higher));
}
