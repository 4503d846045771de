//! Chord voicing on bars whose answer is known. The chord of the moment is planted: C major, then (from bar 3) G dominant seventh.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_score::Crotchets;
use ripieno_texture::{ChordSpan, NoteName, Quality};

fn in_chords(parts: &[(&str, &str)]) -> Piece {
    let mut piece = Piece::of(parts);
    let end = piece.sounding.length();
    let change = Crotchets::whole(8).min(end);
    let chord = |onset, end, fifths, quality| ChordSpan {
        onset,
        end,
        root: NoteName::at_fifths(fifths),
        quality,
        inversion: None,
        bass: None,
        confidence: 1.0,
    };
    piece.harmony.chords =
        vec![chord(Crotchets::ZERO, change, 0, Quality::Major), chord(change, end, 1, Quality::DominantSeventh)];
    piece
}

#[test]
fn spacing_from_the_bass_up() {
    // Bar 1: C2 | G3 C4 E4: bottom gap 19, above it 5 and 4, the median (lower middle) 4, top 4; no tone fits between: close.
    // Bar 2: C2 | C3 G3 E4: bottom 12, above it 7 and 9; E3 fits between C3 and G3: open.
    let piece = in_chords(&[
        ("Horn 1", "E4:4 | E4:4"),
        ("Horn 2", "C4:4 | G3:4"),
        ("Trombone 1", "G3:4 | C3:4"),
        ("Tuba", "C2:4 | C2:4"),
    ]);
    let value = |aspect| piece.value("chord_voicing", Subject::Everybody, None, aspect).unwrap();
    assert_eq!(value("in chords"), (1.0, vec![1, 2]));
    assert_eq!(value("close"), (0.5, vec![1]));
    assert_eq!(value("open").0, 0.5);
    assert_eq!(value("within an octave"), (0.0, vec![]));
    // Two values for equal time: the median is the lower.
    assert_eq!((value("bottom gap").0, value("usual gap").0, value("top gap").0), (12.0, 4.0, 4.0));
    assert_eq!(value("root doubled").0, 1.0);
    assert_eq!(value("third doubled").0, 0.0);
    assert_eq!(piece.value("chord_voicing", piece.family("brass"), None, "close").unwrap().0, 0.5);
    assert_eq!(piece.value("chord_voicing", piece.section("horns"), None, "close"), None, "two horns are no chord");
}

#[test]
fn players_on_each_tone() {
    // C major: two horns of one staff on C4 and E4, two trumpets on G4 and C5, cello (not counted by number here) left out.
    // Root C4 and C5: 2 people; third E4: 1; fifth G4: 1. Then G7: B3 and F4, G4 and B4: third B twice, seventh F and root G once.
    let piece = in_chords(&[("Horn 1.2", "C4+E4:4 | C4+E4:4 | B3+F4:4"), ("Trumpet 1.2", "G4+C5:4 | G4+C5:4 | G4+B4:4")]);
    let value = |of, aspect| piece.value("chord_voicing", of, None, aspect).unwrap();
    let (horns, trumpets) = (piece.section("horns"), piece.section("trumpets"));
    // Root: 2 people for 8 crotchets, 1 for 4, in 12.
    assert!((value(Subject::Everybody, "players on the root").0 - 20.0 / 12.0).abs() < 1e-12);
    assert!((value(Subject::Everybody, "players on the third").0 - 16.0 / 12.0).abs() < 1e-12);
    assert_eq!(value(Subject::Everybody, "players on the seventh"), (1.0, vec![3]));
    // Horns: 24 crotchets of people: 8 on the root, 8 and 4 on the third, 4 on the seventh.
    assert!((value(horns, "on the third").0 - 0.5).abs() < 1e-12);
    assert!((value(horns, "on the root").0 - 1.0 / 3.0).abs() < 1e-12);
    // Trumpets: 8 fifth, 8 + 4 root, 4 third.
    assert!((value(trumpets, "on the root").0 - 0.5).abs() < 1e-12);
    let (share, bars) = value(Subject::Everybody, "third doubled");
    assert!((share - 1.0 / 3.0).abs() < 1e-12);
    assert_eq!(bars, [3]);
}

#[test]
fn sections_layered_interlocked_enclosed_overlapped() {
    // Trumpets against horns, C major: bar 1 over them, bar 2 crossing them (G3 E4 against C4 G4), then G7: bar 3 around them
    // (G3 B4 around B3 F4), bar 4 sharing F4.
    let piece = in_chords(&[
        ("Trumpet 1.2", "E5+G5:4 | C4+G4:4 | G3+B4:4 | F4+B4:4"),
        ("Horn 1.2", "C4+G4:4 | G3+E4:4 | B3+F4:4 | G3+F4:4"),
    ]);
    let trumpets = piece.section("trumpets");
    let value = |aspect| piece.value("chord_voicing", trumpets, Some(piece.section("horns")), aspect);
    assert_eq!(value("layered above"), Some((0.25, vec![1])));
    assert_eq!(value("interlocked"), Some((0.25, vec![2])));
    assert_eq!(value("encloses"), Some((0.25, vec![3])));
    assert_eq!(value("overlapped"), Some((0.25, vec![4])));
    assert_eq!(value("layered below"), None);
    assert_eq!(value("enclosed"), None);
}

#[test]
fn foreign_notes_and_drums_do_not_count_but_the_bass_does() {
    // The oboe's D5 is foreign to C major and leaves the top gap at 3 (E4 G4); the pedal D2 under it is the lowest note all the same.
    let piece =
        in_chords(&[("Oboe", "D5:4"), ("Horn 1.2", "E4+G4:4"), ("Horn 3", "C4:4"), ("Tuba", "D2:4"), ("Timpani", "C2:4")]);
    let value = |aspect| piece.value("chord_voicing", Subject::Everybody, None, aspect).unwrap().0;
    assert_eq!(value("top gap"), 3.0);
    assert_eq!(value("bottom gap"), 22.0);
    assert_eq!(value("root doubled"), 0.0);
}
