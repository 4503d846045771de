//! Printed dynamics on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_texture::Role;

#[test]
fn shares_of_a_part_at_each_mark_and_the_time_before_the_first() {
    // Five bars: one unmarked, two pp, one ff of which half is rest, one ff: 4 + 8 + 2 + 4 = 18 crotchets.
    let piece = Piece::of(&[("Trumpet", "C5:4 | pp C5:4 | C5:4 | ff C5:2 r:2 | C5:4")]);
    let trumpets = piece.section("trumpets");
    let value = |aspect| piece.value("dynamics", trumpets, None, aspect);
    let near = |found: Option<(f64, Vec<u32>)>, share: f64, bars: Vec<u32>| {
        let found = found.unwrap();
        assert!((found.0 - share).abs() < 1e-12, "{found:?}");
        assert_eq!(found.1, bars);
    };
    near(value("unmarked"), 4.0 / 18.0, vec![1]);
    near(value("pp"), 8.0 / 18.0, vec![2, 3]);
    near(value("ff"), 6.0 / 18.0, vec![4, 5]);
    assert_eq!(value("f"), None);
    // Of 14 marked crotchets 8 are pp (step 2): the half, 7, lies there.
    assert_eq!(value("median"), Some((2.0, vec![2, 3, 4, 5])));
}

#[test]
fn a_section_counts_line_by_line_and_role_by_role() {
    // One oboe sings at f (6) for two bars, the other fills at p (3) for one: 8 and 4 of 12 crotchets.
    let piece = Piece::of(&[("Oboe 1", "f C5:4 | D5:4"), ("Oboe 2", "p E4:4 | r:4")])
        .with_role("Oboe 1", Role::Melody)
        .with_role("Oboe 2", Role::Harmony);
    let oboes = piece.section("oboes");
    assert!((piece.value("dynamics", oboes, None, "f").unwrap().0 - 2.0 / 3.0).abs() < 1e-12);
    assert!((piece.value("dynamics", oboes, None, "p").unwrap().0 - 1.0 / 3.0).abs() < 1e-12);
    assert_eq!(piece.value("dynamics", oboes, None, "median, melody"), Some((6.0, vec![1, 2])));
    assert_eq!(piece.value("dynamics", oboes, None, "median, harmony"), Some((3.0, vec![1])));
    assert_eq!(piece.value("dynamics", oboes, None, "median").unwrap().0, 6.0);
}

#[test]
fn without_marks_all_is_unmarked_and_there_is_no_median() {
    let piece = Piece::of(&[("Tuba", "C2:4 | C2:4")]);
    assert_eq!(piece.value("dynamics", piece.section("tubas"), None, "unmarked"), Some((1.0, vec![1, 2])));
    assert_eq!(piece.value("dynamics", piece.section("tubas"), None, "median"), None);
}

#[test]
fn a_stress_is_no_level() {
    // f, and in bar 2 an sf on the first of two minims: all of it is f. "sfp" in bar 3 leaves p after it, and is p itself.
    let piece = Piece::of(&[("Horn", "f C4:4 | sf C4:2 C4:2 | sfp C4:4 | C4:4")]);
    let horns = piece.section("horns");
    assert_eq!(piece.value("dynamics", horns, None, "f"), Some((0.5, vec![1, 2])));
    assert_eq!(piece.value("dynamics", horns, None, "p"), Some((0.5, vec![3, 4])));
    assert_eq!(piece.value("dynamics", horns, None, "ff"), None);
}
