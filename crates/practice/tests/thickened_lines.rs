//! Thickened lines on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_texture::{Layer, Layers, Member, Role, relate};

/// A layer of these lines through the whole piece, the first its chief.
fn one_layer(piece: &mut Piece, lines: &[usize]) {
    let bars = 0..u32::try_from(piece.sounding.bars.len()).unwrap();
    let mut members: Vec<Member> = lines.iter().map(|&line| Member { line, bars: bars.clone(), relation: None }).collect();
    relate(&piece.lines, &mut members);
    piece.roles.layers = Layers::new(vec![Layer { bars, members }]);
}

#[test]
fn thirds_under_a_tune() {
    // C5 D5 E5 F5 G5 F5 E5 over A4 B4 C5 D5 E5 D5 C5: -3 -3 -4 -3 -3 -3 -4, five minor thirds and two major; bars 1 and 2 of 4, 8 crotchets.
    // In bars 3 and 4 the oboe goes on alone: half of its tune is thickened.
    let mut piece = Piece::of(&[
        ("Oboe", "C5:1 D5:1 E5:1 F5:1 | G5:1 F5:1 E5:2 | D5:2 C5:2 | G4:2 C5:2"),
        ("Clarinet", "A4:1 B4:1 C5:1 D5:1 | E5:1 D5:1 C5:2 | r:4 | r:4"),
    ])
    .with_role("Oboe", Role::Melody)
    .with_role("Clarinet", Role::Melody);
    one_layer(&mut piece, &[0, 1]);
    let (oboes, clarinets) = (piece.section("oboes"), Some(piece.section("clarinets")));
    let value = |aspect| piece.value("thickened_lines", oboes, clarinets, aspect);
    assert_eq!(value("usual interval"), Some((-3.0, vec![1, 2])));
    assert_eq!(value("time"), Some((8.0, vec![1, 2])));
    assert_eq!(value("notes"), Some((7.0, vec![1, 2])));
    assert_eq!(value("share of the tune"), Some((0.5, vec![1, 2])));
}

#[test]
fn added_notes_are_held_against_the_chord_of_the_moment() {
    // C major throughout. The thickening line has E5 D5 C5 B4 C5 B4 C5: E C C C are tones of it, D B B are not, 4 of 7.
    let mut piece = Piece::of(&[
        ("Oboe", "G5:1 F5:1 E5:1 D5:1 | E5:1 D5:1 E5:2"),
        ("Clarinet", "E5:1 D5:1 C5:1 B4:1 | C5:1 B4:1 C5:2"),
        ("Violoncello", "C3:4 | C3:4"),
    ])
    .with_role("Oboe", Role::Melody)
    .with_role("Clarinet", Role::Melody);
    one_layer(&mut piece, &[0, 1]);
    let end = piece.sounding.length();
    piece.harmony.chords.truncate(1);
    let chord = piece.harmony.chords.first_mut().unwrap();
    (chord.onset, chord.end) = (ripieno_score::Crotchets::ZERO, end);
    (chord.root, chord.quality) = (ripieno_texture::NoteName::at_fifths(0), ripieno_texture::Quality::Major);
    let (oboes, clarinets) = (piece.section("oboes"), Some(piece.section("clarinets")));
    let share = piece.value("thickened_lines", oboes, clarinets, "on chord tones").unwrap().0;
    assert!((share - 4.0 / 7.0).abs() < 1e-12, "{share}");
}

#[test]
fn octaves_contrary_motion_and_accompaniments_are_no_thickening() {
    let tune = "C5:1 D5:1 E5:1 F5:1 | G5:1 F5:1 E5:1 D5:1";
    let cases = [
        (tune.replace('5', "4"), Role::Melody, Role::Melody),
        ("E4:1 D4:1 C4:1 B3:1 | A3:1 B3:1 C4:1 D4:1".to_owned(), Role::Melody, Role::Melody),
        // Thirds below what is no tune.
        ("A4:1 B4:1 C5:1 D5:1 | E5:1 D5:1 C5:1 B4:1".to_owned(), Role::Figuration, Role::Figuration),
        // Thirds of an accompaniment, or a bass, in the rhythm of the tune.
        ("A4:1 B4:1 C5:1 D5:1 | E5:1 D5:1 C5:1 B4:1".to_owned(), Role::Melody, Role::Harmony),
    ];
    for (other, role, of_other) in cases {
        let mut piece =
            Piece::of(&[("Oboe", tune), ("Clarinet", &other)]).with_role("Oboe", role).with_role("Clarinet", of_other);
        one_layer(&mut piece, &[0, 1]);
        let found = piece.value("thickened_lines", piece.section("oboes"), Some(piece.section("clarinets")), "time");
        assert_eq!(found, None, "{other}");
    }
}

#[test]
fn the_added_line_is_held_against_the_nearest_of_those_on_the_tune() {
    // The flute leads, the oboe doubles it an octave below, the clarinet runs in thirds under the oboe: it thickens the oboe, at -3, not the
    // flute, at -15.
    let mut piece = Piece::of(&[
        ("Flute", "C6:1 D6:1 E6:1 F6:1 | G6:1 F6:1 E6:2"),
        ("Oboe", "C5:1 D5:1 E5:1 F5:1 | G5:1 F5:1 E5:2"),
        ("Clarinet", "A4:1 B4:1 C5:1 D5:1 | E5:1 D5:1 C5:2"),
    ])
    .with_role("Flute", Role::Melody)
    .with_role("Oboe", Role::Melody)
    .with_role("Clarinet", Role::Melody);
    one_layer(&mut piece, &[0, 1, 2]);
    let clarinets = Some(piece.section("clarinets"));
    assert_eq!(piece.value("thickened_lines", piece.section("oboes"), clarinets, "usual interval").unwrap().0, -3.0);
    assert_eq!(piece.value("thickened_lines", piece.section("flutes"), clarinets, "usual interval"), None);
}

#[test]
fn a_few_thirds_in_a_long_unison_are_found() {
    // Six bars in unison around two in thirds: as a whole the two lines are one in unison.
    let unison = "C5:1 D5:1 E5:1 F5:1";
    let around = |middle: &str| format!("{unison} | {unison} | {unison} | {middle} | {unison} | {unison} | {unison}");
    let mut piece = Piece::of(&[
        ("Flute 1", &around("G5:1 F5:1 E5:1 D5:1 | E5:1 F5:1 G5:2")),
        ("Flute 2", &around("E5:1 D5:1 C5:1 B4:1 | C5:1 D5:1 E5:2")),
    ])
    .with_role("Flute 1", Role::Melody)
    .with_role("Flute 2", Role::Melody);
    one_layer(&mut piece, &[0, 1]);
    let flutes = piece.section("flutes");
    assert_eq!(piece.value("thickened_lines", flutes, Some(flutes), "notes"), Some((7.0, vec![4, 5])));
}
