//! Support of the melody on bars whose answer is known; who carries the melody is planted.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_score::Crotchets;
use ripieno_texture::Carried;

/// The violin carries the melody through four bars; the clarinet doubles it an octave lower in the first three, the flute an octave higher in
/// the first two and the oboe in unison in the fourth. The horn has single notes of it only.
fn piece() -> Piece {
    let tune = |octave: &str| {
        ["C5:1 D5:1 E5:1 F5:1", "G5:1 F5:1 E5:1 D5:1", "E5:1 G5:1 F5:1 D5:1", "C5:1 E5:1 D5:1 C5:1"]
            .map(|bar| bar.replace('5', octave))
    };
    let rest = "r:4";
    let (high, mid, low) = (tune("6"), tune("5"), tune("4"));
    let mut piece = Piece::of(&[
        ("Flute", &[&high[0], &high[1], rest, rest].join(" | ")),
        ("Oboe", &[rest, rest, rest, &mid[3]].join(" | ")),
        ("Clarinet", &[&low[0], &low[1], &low[2], rest].join(" | ")),
        ("Horn", "C4:4 | r:4 | E4:4 | r:4"),
        ("Violin", &mid.join(" | ")),
    ]);
    let part = piece.part("Violin");
    let line = piece.lines.of_part[part].start;
    piece.roles.melody =
        vec![Carried { from: Crotchets::ZERO, to: Crotchets::whole(16), bars: 0..4, part, line, support: Vec::new() }];
    piece
}

#[test]
fn each_support_at_its_octave() {
    let piece = piece();
    let value = |of, with, aspect| piece.value("melody_support", of, with, aspect);
    let violins = piece.section("violins");
    assert_eq!(value(violins, None, "carries"), Some((1.0, vec![1, 2, 3, 4])));
    assert_eq!(value(piece.section("flutes"), None, "octave above"), Some((0.5, vec![1, 2])));
    assert_eq!(value(piece.section("clarinets"), None, "octave below"), Some((0.75, vec![1, 2, 3])));
    assert_eq!(value(piece.section("clarinets"), Some(violins), "octave below"), Some((0.75, vec![1, 2, 3])));
    assert_eq!(value(piece.section("oboes"), None, "unison"), Some((0.25, vec![4])));
    assert_eq!(value(piece.family("woodwind"), None, "octave above"), Some((0.5, vec![1, 2])));
    assert_eq!(value(piece.section("horns"), None, "octave below"), None, "single common notes are chance");
    assert_eq!(value(Subject::Everybody, None, "alone"), Some((0.0, vec![])));
}

#[test]
fn without_doublers_the_melody_is_alone() {
    let mut piece = Piece::of(&[("Flute", "C6:1 D6:1 E6:1 F6:1 | r:4"), ("Violin", "C5:1 D5:1 E5:1 F5:1 | G5:1 F5:1 E5:2")]);
    let part = piece.part("Violin");
    let line = piece.lines.of_part[part].start;
    piece.roles.melody =
        vec![Carried { from: Crotchets::ZERO, to: Crotchets::whole(8), bars: 0..2, part, line, support: Vec::new() }];
    assert_eq!(piece.value("melody_support", Subject::Everybody, None, "alone"), Some((0.5, vec![2])));
}
