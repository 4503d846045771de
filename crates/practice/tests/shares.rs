//! Presence and role shares on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_texture::Role;

#[test]
fn presence_by_bars_time_and_players() {
    // Four bars: the flute plays two bars whole, the horns ("1.2": two people, two notes) a half bar.
    let piece = Piece::of(&[("Flute", "C5:4 | D5:4 | r:4 | r:4"), ("Horn 1.2", "r:4 | C4+E4:2 r:2 | r:4 | r:4")]);
    let flute = Subject::Part(0);
    let horns = piece.section("horns");
    assert_eq!(piece.value("presence", flute, None, "bars"), Some((0.5, vec![1, 2])));
    assert_eq!(piece.value("presence", flute, None, "time").unwrap().0, 0.5);
    assert_eq!(piece.value("presence", horns, None, "bars"), Some((0.25, vec![2])));
    assert_eq!(piece.value("presence", horns, None, "time").unwrap().0, 0.125);
    // 8 crotchets of one person, 2 of two.
    assert!((piece.value("presence", horns, None, "player-time").unwrap().0 - 4.0 / 12.0).abs() < 1e-12);
    assert_eq!(piece.value("presence", horns, None, "attacks").unwrap().0, 2.0);
    assert_eq!(piece.value("presence", Subject::Everybody, None, "bars"), Some((0.5, vec![1, 2])));
}

#[test]
fn role_shares_add_up_and_count_each_line() {
    let piece = Piece::of(&[("Flute", "C5:4 | D5:4"), ("Oboe", "C4:4 | r:4")])
        .with_role("Flute", Role::Melody)
        .with_role("Oboe", Role::Harmony);
    let woodwind = piece.family("woodwind");
    assert!((piece.value("role_shares", woodwind, None, "melody").unwrap().0 - 2.0 / 3.0).abs() < 1e-12);
    assert_eq!(piece.value("role_shares", woodwind, None, "harmony").unwrap().1, [1]);
    assert_eq!(piece.value("role_shares", Subject::Part(0), None, "melody"), Some((1.0, vec![1, 2])));
    assert_eq!(piece.value("role_shares", Subject::Part(0), None, "harmony"), None);
}
