//! Register by section, part and role on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_texture::Role;

#[test]
fn extremes_quartiles_and_median_by_time() {
    // Flute: C5 (72) 4 crotchets, E5 (76) 2, G5 (79) 2, C6 (84) 4 and again C5 4 = 16 in all. By time from below: 72 holds 8, 76 to 10, 79 to 12, 84 to 16.
    // First quarter (4) and half (8) fall on 72, three quarters (12) on 79.
    let piece = Piece::of(&[("Flute", "C5:4 | E5:2 G5:2 | C6:4 | C5:4")]);
    let value = |aspect| piece.value("tessitura", Subject::Part(0), None, aspect).unwrap();
    assert_eq!(value("lowest"), (72.0, vec![1, 4]));
    assert_eq!(value("highest"), (84.0, vec![3]));
    assert_eq!(value("middle half from").0, 72.0);
    assert_eq!(value("median"), (72.0, vec![1, 2, 3, 4]));
    assert_eq!(value("middle half to").0, 79.0);
    assert_eq!(piece.value("tessitura", Subject::Everybody, None, "median"), None, "sections and parts only");
}

#[test]
fn a_section_counts_every_note_of_its_parts() {
    // C4 (60) and E4 (64) from one part, 2 crotchets each; G4 (67) 4 from the other: 60 holds 2 of 8, 64 to 4, 67 to 8.
    let piece = Piece::of(&[("Horn 1.2", "C4+E4:2 r:2"), ("Horn 3", "G4:4")]);
    let value = |aspect| piece.value("tessitura", piece.section("horns"), None, aspect).unwrap().0;
    assert_eq!(["lowest", "middle half from", "median", "middle half to", "highest"].map(value), [60.0, 60.0, 64.0, 67.0, 67.0]);
}

#[test]
fn each_role_has_its_own_register() {
    // Two oboes, one on the tune (A5 = 81), one on the chord (C4 = 60).
    let piece = Piece::of(&[("Oboe 1", "A5:4 | A5:4"), ("Oboe 2", "C4:4 | r:4")])
        .with_role("Oboe 1", Role::Melody)
        .with_role("Oboe 2", Role::Harmony);
    let oboes = piece.section("oboes");
    assert_eq!(piece.value("tessitura", oboes, None, "median, melody"), Some((81.0, vec![1, 2])));
    assert_eq!(piece.value("tessitura", oboes, None, "highest, harmony"), Some((60.0, vec![1])));
    assert_eq!(piece.value("tessitura", oboes, None, "lowest, bass"), None);
}

#[test]
fn percussion_without_pitch_has_no_register_timpani_have() {
    let piece = Piece::of(&[("Timpani", "C3:4"), ("Violin", "C5:4")]);
    assert_eq!(piece.value("tessitura", piece.section("timpani"), None, "lowest"), Some((48.0, vec![1])));
    let mut score = piece.score;
    for note in &mut score.parts[0].notes {
        if let ripieno_score::Head::Pitched(pitch) = note.head {
            note.head = ripieno_score::Head::Unpitched(pitch);
        }
    }
    let piece = Piece::analysed(score);
    assert_eq!(piece.value("tessitura", Subject::Part(0), None, "lowest"), None);
    assert!(piece.value("tessitura", Subject::Part(1), None, "lowest").is_some());
}

#[test]
fn a_grace_note_may_be_the_highest_but_takes_no_time() {
    // The first of two notes (G5 = 79) becomes a grace note to the second (C5 = 72).
    let mut score = Piece::of(&[("Flute", "G5:2 C5:2 | C5:4")]).score;
    let notes = &mut score.parts[0].notes;
    notes[0].flags |= ripieno_score::NoteFlags::GRACE;
    notes[0].at = notes[1].at;
    notes[0].duration = ripieno_score::Crotchets::ZERO;
    let piece = Piece::analysed(score);
    assert_eq!(piece.value("tessitura", Subject::Part(0), None, "highest"), Some((79.0, vec![1])));
    assert_eq!(piece.value("tessitura", Subject::Part(0), None, "middle half to").unwrap().0, 72.0);
}
