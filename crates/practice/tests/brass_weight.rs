//! Horns against trombones and trumpets on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_score::Crotchets;
use ripieno_texture::{Layer, Layers, Member, NoteName, Quality, Role};

/// Four bars of C major: f in bars 1 and 2, p in 3, ff in 4 where a horn and a trombone rest.
fn brass() -> Piece {
    let mut piece = Piece::of(&[
        ("Horn 1.2", "f C4+G4:4 | C4+G4:4 | p C4+G4:4 | ff C4+G4:4"),
        ("Horn 3.4", "f C4+E4:4 | C4+E4:4 | p C4+E4:4 | r:4"),
        ("Trumpet", "f C5:4 | C5:4 | p C5:4 | ff C5:4"),
        ("Trombone 1", "f E3:4 | E3:4 | p E3:4 | ff E3:4"),
        ("Trombone 2", "f C3:4 | C3:4 | p C3:4 | r:4"),
    ]);
    for name in ["Horn 1.2", "Horn 3.4", "Trombone 1", "Trombone 2", "Trumpet"] {
        piece = piece.with_role(name, Role::Harmony);
    }
    let end = piece.sounding.length();
    piece.harmony.chords.truncate(1);
    let chord = piece.harmony.chords.first_mut().unwrap();
    (chord.onset, chord.end, chord.root, chord.quality) = (Crotchets::ZERO, end, NoteName::at_fifths(0), Quality::Major);
    piece
}

#[test]
fn players_are_counted_in_loud_chords_only() {
    // Trombones: 4 horns to 2 in bars 1 and 2, 2 to 1 in bar 4, so 2 for each throughout; bar 3 is soft. Trumpet: 4, 4 and 2 to one, median 4.
    let piece = brass();
    let horns = piece.section("horns");
    let to = |section: &str, aspect| piece.value("brass_weight", horns, Some(piece.section(section)), aspect);
    assert_eq!(to("trombones", "horns per trombone"), Some((2.0, vec![1, 2, 4])));
    assert_eq!(to("trumpets", "horns per trumpet"), Some((4.0, vec![1, 2, 4])));
    let (share, bars) = to("trombones", "4 horns to 2 trombones").unwrap();
    assert!((share - 2.0 / 3.0).abs() < 1e-12);
    assert_eq!(bars, [1, 2]);
    assert_eq!(to("trombones", "2 horns to 1 trombone").unwrap().1, [4]);
}

#[test]
fn horns_on_the_tune_are_not_in_the_chord_unless_all_are_one_layer() {
    // Horns 1.2 have the tune, a layer of their own: without their G4 two tones of the chord are left, and nothing is a chord of three.
    let mut piece = brass().with_role("Horn 1.2", Role::Melody);
    let bars = 0..4;
    let layer = |lines: std::ops::Range<usize>| {
        let member = |line| Member { line, bars: bars.clone(), relation: None };
        Layer { bars: bars.clone(), members: lines.map(member).collect() }
    };
    let (horns, all) = (piece.lines.of_part[0].end, piece.lines.lines.len());
    let ratio = |piece: &Piece| {
        let (horns, trombones) = (piece.section("horns"), Some(piece.section("trombones")));
        piece.value("brass_weight", horns, trombones, "horns per trombone")
    };
    piece.roles.layers = Layers::new(vec![layer(0..horns), layer(horns..all)]);
    assert_eq!(ratio(&piece), None);
    // In one layer with the others they are part of a chorale, and all are counted.
    piece.roles.layers = Layers::new(vec![layer(0..all)]);
    assert_eq!(ratio(&piece), Some((2.0, vec![1, 2, 4])));
}

#[test]
fn players_the_page_does_not_settle_stand_as_a_range() {
    // One line on a staff for two horns: one or both of them against one trombone.
    let mut piece =
        Piece::of(&[("Horn 1.2", "f G4:4"), ("Trumpet", "f E5:4"), ("Trombone", "f C3:4")]).with_role("Horn 1.2", Role::Harmony);
    piece = piece.with_role("Trumpet", Role::Harmony).with_role("Trombone", Role::Bass);
    let chord = piece.harmony.chords.first_mut().unwrap();
    (chord.onset, chord.end, chord.root, chord.quality) =
        (Crotchets::ZERO, Crotchets::whole(4), NoteName::at_fifths(0), Quality::Major);
    let (horns, trombones) = (piece.section("horns"), Some(piece.section("trombones")));
    let value = |aspect| piece.value("brass_weight", horns, trombones, aspect);
    assert_eq!(value("horns per trombone"), Some((1.0, vec![1])));
    assert_eq!(value("horns per trombone, with all who may play"), Some((2.0, vec![1])));
    assert_eq!(value("1-2 horns to 1 trombone"), Some((1.0, vec![1])));
}
