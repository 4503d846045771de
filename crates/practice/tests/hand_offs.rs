//! Hand-offs and support of the melody on bars whose answer is known; who carries the melody is planted.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_score::Crotchets;
use ripieno_texture::{Carried, Support};

/// `parts[0]` carries the melody in bars `from` to `to` of four crotchets, counted from 1, the others with it.
fn carried(piece: &Piece, from: u32, to: u32, parts: &[&str]) -> Carried {
    let part = piece.part(parts[0]);
    let (begin, end, bars) = (Crotchets::whole(i64::from(from - 1) * 4), Crotchets::whole(i64::from(to) * 4), from - 1..to);
    let along = |name: &&str| Support { part: piece.part(name), from: begin, to: end, bars: bars.clone() };
    let mut support: Vec<Support> = parts[1..].iter().map(along).collect();
    support.sort_by_key(|support| support.part);
    Carried { from: begin, to: end, bars: bars.clone(), part, line: piece.lines.of_part[part].start, support }
}

#[test]
fn from_whom_to_whom_and_where() {
    let bars = |bars: &str| {
        let play = |bar: u32| if bars.contains(&bar.to_string()) { "C5:1 D5:1 E5:1 F5:1" } else { "r:4" };
        (1..=8).map(play).collect::<Vec<_>>().join(" | ")
    };
    let mut piece = Piece::of(&[
        ("Flute", &bars("256")),
        ("Oboe", &bars("13")),
        ("Clarinet 1", &bars("3")),
        ("Clarinet 2", &bars("4")),
        ("Horn", &bars("8")),
    ]);
    // Oboe, flute, oboe with clarinet 1, clarinet 1 of these goes on alone (no hand-off), clarinet 2, flute; the horn enters after a bar of
    // silence and more in bar 8 (silent from the end of 6 to the end of 7: one bar, still a hand-off).
    piece.roles.melody = vec![
        carried(&piece, 1, 1, &["Oboe"]),
        carried(&piece, 2, 2, &["Flute"]),
        carried(&piece, 3, 3, &["Oboe", "Clarinet 1"]),
        carried(&piece, 3, 3, &["Clarinet 1"]),
        carried(&piece, 4, 4, &["Clarinet 2"]),
        carried(&piece, 5, 6, &["Flute"]),
        carried(&piece, 8, 8, &["Horn"]),
    ];
    let (flutes, oboes, clarinets, horns) =
        (piece.section("flutes"), piece.section("oboes"), piece.section("clarinets"), piece.section("horns"));
    let value = |of, with, aspect| piece.value("hand_offs", of, with, aspect);
    assert_eq!(value(oboes, Some(flutes), "hands on to"), Some((1.0, vec![2])));
    assert_eq!(value(flutes, Some(oboes), "hands on to"), Some((1.0, vec![3])));
    assert_eq!(value(oboes, Some(clarinets), "hands on to"), None, "clarinet 1 was with it already");
    assert_eq!(value(clarinets, None, "within the section"), Some((1.0, vec![4])));
    assert_eq!(value(clarinets, Some(flutes), "hands on to"), Some((1.0, vec![5])));
    assert_eq!(value(flutes, Some(horns), "hands on to"), Some((1.0, vec![8])));
    assert_eq!(value(flutes, None, "takes over"), Some((2.0, vec![2, 5])));
    assert_eq!(value(Subject::Everybody, None, "hand-offs"), Some((5.0, vec![2, 3, 4, 5, 8])));
}

#[test]
fn after_more_than_a_bar_of_silence_nobody_hands_on() {
    let mut piece = Piece::of(&[("Flute", "C5:4 | r:4 | r:4 | r:4"), ("Oboe", "r:4 | r:4 | r:2 C5:2 | C5:4")]);
    piece.roles.melody = vec![carried(&piece, 1, 1, &["Flute"]), carried(&piece, 4, 4, &["Oboe"])];
    assert_eq!(piece.value("hand_offs", Subject::Everybody, None, "hand-offs"), None);
}
