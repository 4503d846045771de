//! Who has how much of melody, bass, chords and figures, on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_texture::Role;

fn near(found: Option<(f64, Vec<u32>)>, share: f64, bars: &[u32]) {
    let found = found.unwrap();
    assert!((found.0 - share).abs() < 1e-12, "{found:?}");
    assert_eq!(found.1, bars);
}

#[test]
fn each_kind_shares_out_among_families_and_sections() {
    // Melody: flute 8 crotchets, violin (countermelody) 4. Chords: viola (harmony) 8, horn (pedal) 6, oboe (harmony) 2.
    let piece = Piece::of(&[
        ("Flute", "C6:4 | D6:4"),
        ("Oboe", "r:4 | E5:2 r:2"),
        ("Horn", "C4:4 | C4:2 r:2"),
        ("Violin", "G5:4 | r:4"),
        ("Viola", "E4:4 | F4:4"),
        ("Double bass", "C2:4 | F2:4"),
    ])
    .with_role("Flute", Role::Melody)
    .with_role("Oboe", Role::Harmony)
    .with_role("Horn", Role::Pedal)
    .with_role("Violin", Role::Countermelody)
    .with_role("Viola", Role::Harmony)
    .with_role("Double bass", Role::Bass);
    let value = |of: Subject, aspect: &str| piece.value("sharing", of, None, aspect);
    let (woodwind, brass, strings) = (piece.family("woodwind"), piece.family("brass"), piece.family("strings"));
    near(value(woodwind, "melody"), 8.0 / 12.0, &[1, 2]);
    near(value(strings, "melody"), 4.0 / 12.0, &[1]);
    assert_eq!(value(brass, "melody"), None);
    near(value(strings, "chords"), 8.0 / 16.0, &[1, 2]);
    near(value(brass, "chords"), 6.0 / 16.0, &[1, 2]);
    near(value(piece.section("oboes"), "chords"), 2.0 / 16.0, &[2]);
    near(value(piece.section("double basses"), "bass"), 1.0, &[1, 2]);
    assert_eq!(value(strings, "figures"), None, "nobody has any");
}

#[test]
fn figures_are_figuration_rhythm_and_punctuation() {
    let piece = Piece::of(&[("Flute", "C6:4 | r:4"), ("Trumpet", "C5:4 | C5:4"), ("Violin", "C5:4 | r:4")])
        .with_role("Flute", Role::Figuration)
        .with_role("Trumpet", Role::Rhythm)
        .with_role("Violin", Role::Punctuation);
    for (family, share) in [("woodwind", 0.25), ("brass", 0.5), ("strings", 0.25)] {
        assert_eq!(piece.value("sharing", piece.family(family), None, "figures").unwrap().0, share, "{family}");
    }
}
