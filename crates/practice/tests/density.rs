//! Density on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_score::{BarIndex, Crotchets, Direction, DirectionKind};

/// The piece at so many crotchets a minute.
fn at_tempo(parts: &[(&str, &str)], crotchets_per_minute: f64) -> Piece {
    let mut score = Piece::of(parts).score;
    let kind = DirectionKind::PlaybackTempo { crotchets_per_minute };
    let direction = Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind };
    score.parts[0].directions.push(direction);
    Piece::analysed(score)
}

#[test]
fn attacks_players_lines_and_pitch_classes() {
    // At 60 a bar of 4 lasts 4 seconds. Bar 1: flute four attacks, horns ("1.2", two lines) one each. Bar 2: flute one. Bar 3: silence.
    let parts = [("Flute", "C5:1 D5:1 E5:1 F5:1 | C6:2 r:2 | r:4"), ("Horn 1.2", "C4+G4:4 | r:4 | r:4")];
    let piece = at_tempo(&parts, 60.0);
    let all = |aspect| piece.value("density", Subject::Everybody, None, aspect).unwrap();
    // 7 attacks in the 8 seconds of the two bars with sound; 6 in 4 seconds, and 1 in 4.
    assert_eq!(all("attacks"), (7.0 / 8.0, vec![1, 2]));
    assert_eq!(all("attacks, thickest bars"), (1.5, vec![1]));
    assert_eq!(all("attacks, thinnest bars"), (0.25, vec![2]));
    // Three players for 4 crotchets, one for 2: 14 / 6; lines likewise.
    assert!((all("players").0 - 14.0 / 6.0).abs() < 1e-12);
    assert_eq!(all("players, thickest bars"), (3.0, vec![1]));
    assert_eq!(all("players, thinnest bars"), (1.0, vec![2]));
    assert!((all("lines").0 - 14.0 / 6.0).abs() < 1e-12);
    // C G with C, D, E, F above: 2, 3, 3, 3 pitch classes for a crotchet each, then 1 for 2: 13 / 6. Bar 1 has 11 / 4.
    assert!((all("pitch classes").0 - 13.0 / 6.0).abs() < 1e-12);
    assert_eq!(all("pitch classes, thickest bars"), (2.75, vec![1]));
    // The brass alone: two attacks in the one bar they sound in.
    assert_eq!(piece.value("density", piece.family("brass"), None, "attacks"), Some((0.5, vec![1])));
    assert_eq!(piece.value("density", piece.family("brass"), None, "players, thinnest bars"), Some((2.0, vec![1])));
    // Twice as fast: twice the attacks, and nothing else.
    let fast = at_tempo(&parts, 120.0);
    assert_eq!(fast.value("density", Subject::Everybody, None, "attacks").unwrap().0, 7.0 / 4.0);
    assert!((fast.value("density", Subject::Everybody, None, "lines").unwrap().0 - 14.0 / 6.0).abs() < 1e-12);
}

#[test]
fn without_a_printed_tempo_there_are_no_attacks_a_second() {
    let piece = Piece::of(&[("Flute", "C5:4")]);
    assert_eq!(piece.value("density", Subject::Everybody, None, "attacks"), None);
    assert_eq!(piece.value("density", Subject::Everybody, None, "players"), Some((1.0, vec![1])));
}
