//! Separation, cohesion, stacks and reserve on bars whose answer is known.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;
use ripieno_texture::Role;

#[test]
fn gaps_and_overlaps_are_taken_between_neighbours_at_each_moment() {
    // Trumpet over trombone: G4 over C4 is 7 apart for 2 crotchets, D4 over C4 a step (touching) for 1, B3 under C4 crosses for 1: the trumpet is then the
    // lower, and from the trombone's C4 down to its B3 the interval is 1, touching. In bar 2 the trombones' chord E3 to C5 encloses the trumpet's G4: 67 - 72 = -5.
    let piece = Piece::of(&[("Trumpet", "G4:2 D4:1 B3:1 | G4:4"), ("Trombone 1.2", "C4:4 | E3+C5:4")])
        .with_role("Trumpet", Role::Melody)
        .with_role("Trombone 1.2", Role::Harmony);
    let (trumpets, trombones) = (piece.section("trumpets"), Some(piece.section("trombones")));
    let value = |aspect| piece.value("separation", trumpets, trombones, aspect).unwrap();
    assert_eq!(value("apart"), (0.25, vec![1]));
    assert_eq!(value("touching"), (0.25, vec![1]));
    assert_eq!(value("overlapping"), (0.5, vec![2]));
    assert_eq!(value("widest gap"), (7.0, vec![1]));
    assert_eq!(value("deepest overlap"), (-5.0, vec![2]));
    assert_eq!(value("usual interval").0, -5.0, "half of the time at -5, and the median is the lower middle");
}

#[test]
fn a_group_between_two_others_keeps_them_from_being_neighbours() {
    let piece = Piece::of(&[("Trumpet", "C6:4 | C6:4"), ("Horn", "C5:4 | r:4"), ("Trombone", "C3:4 | C3:4")]);
    let (trumpets, trombones) = (piece.section("trumpets"), piece.section("trombones"));
    // Only in bar 2, where the horn rests: C6 over C3 is three octaves.
    assert_eq!(piece.value("separation", trumpets, Some(trombones), "widest gap"), Some((36.0, vec![2])));
    assert_eq!(piece.value("separation", trumpets, Some(piece.section("horns")), "apart"), Some((1.0, vec![1])));
}

#[test]
fn without_the_bass_line_the_groups_may_lie_apart() {
    // Cello and viola in one family; the cello's bass part out of the count, nothing of its section is left.
    let piece = Piece::of(&[("Violin", "G4:4"), ("Viola", "C4:4"), ("Violoncello", "C3:4")])
        .with_role("Violin", Role::Melody)
        .with_role("Viola", Role::Harmony)
        .with_role("Violoncello", Role::Bass);
    let (violas, cellos) = (piece.section("violas"), piece.section("cellos"));
    assert_eq!(piece.value("separation", violas, Some(cellos), "widest gap").unwrap().0, 12.0);
    assert_eq!(piece.value("separation", violas, Some(cellos), "widest gap, bass left out"), None);
}

#[test]
fn four_horns_in_one_chord_are_together_two_and_two_are_not() {
    // Bars 1 to 4: one chord in one rhythm. Bars 5 to 8: two on a tune, two hold.
    let chord = "C4:2 C4:2 | D4:2 D4:2 | C4:2 C4:2 | D4:2 D4:2";
    let tune = "G4:1 A4:1 B4:1 C5:1 | D5:1/2 C5:1/2 B4:1 A4:1 G4:1 | E4:1 F4:1 G4:1 A4:1 | B4:1 A4:1 G4:1 F4:1";
    let held = "C4:4 | D4:4 | C4:4 | D4:4";
    let own = |pitch: &str, rest: &str| format!("{} | {rest}", chord.replace("C4", pitch).replace("D4", pitch));
    let parts = [own("G4", tune), own("E4", tune), own("C4", held), own("G3", held)];
    let names = ["Horn 1", "Horn 2", "Horn 3", "Horn 4"];
    let parts: Vec<(&str, &str)> = names.iter().copied().zip(parts.iter().map(String::as_str)).collect();
    let mut piece = Piece::of(&parts);
    for span in &mut piece.roles.spans {
        let role = if span.bars.start >= 4 && span.part < 2 { Role::Melody } else { Role::Harmony };
        span.roles[0].role = role;
    }
    let horns = piece.section("horns");
    let (share, bars) = piece.value("cohesion", horns, None, "together").unwrap();
    assert_eq!((share, bars), (0.5, vec![1, 2, 3, 4]));
    assert_eq!(piece.value("cohesion", horns, None, "melody against harmony"), Some((0.5, vec![5, 6, 7, 8])));
}

#[test]
fn a_stack_is_one_rhythm_and_one_chord() {
    // Brass of three sections. Bar 1: C major in one rhythm. Bar 2: all on C in octaves. Bar 3: three rhythms.
    let piece = Piece::of(&[
        ("Trumpet 1.2", "E4+G4:2 E4+G4:2 | C5:2 C5:2 | E4+G4:1 E4+G4:1 E4+G4:1 E4+G4:1"),
        ("Horn 1.2", "G3+C4:2 G3+C4:2 | C4:2 C4:2 | C4+G4:4"),
        ("Trombone", "C3:2 C3:2 | C3:2 C3:2 | C3:2 G3:2"),
    ])
    .with_role("Trumpet 1.2", Role::Rhythm)
    .with_role("Horn 1.2", Role::Harmony)
    .with_role("Trombone", Role::Bass);
    let brass = piece.family("brass");
    assert_eq!(piece.value("stack", brass, None, "tutti bars"), Some((3.0, vec![1, 2, 3])));
    let third = |aspect: &str, bar: u32| {
        let (share, bars) = piece.value("stack", brass, None, aspect).unwrap();
        assert!((share - 1.0 / 3.0).abs() < 1e-12, "{aspect}: {share}");
        assert_eq!(bars, [bar], "{aspect}");
    };
    third("one stack", 1);
    third("octaves", 2);
    third("split, 3 roles", 3);
}

#[test]
fn a_section_kept_for_the_loud_bars_shows_as_reserve() {
    // Eight bars of horn, piano and then, for two bars, fortissimo with the trombone, which has rested for six.
    let horn = "p C4:4 | C4:4 | C4:4 | C4:4 | C4:4 | C4:4 | ff C4:4 | C4:4";
    let piece = Piece::of(&[("Horn", horn), ("Trombone", "r:4 | r:4 | r:4 | r:4 | r:4 | r:4 | ff C3:4 | C3:4")]);
    let (horns, trombones) = (piece.section("horns"), piece.section("trombones"));
    assert_eq!(piece.value("reserve", trombones, None, "use"), Some((0.25, vec![7, 8])));
    assert_eq!(piece.value("reserve", trombones, None, "in the loud bars"), Some((1.0, vec![7, 8])));
    assert_eq!(piece.value("reserve", trombones, None, "in the full bars"), Some((1.0, vec![7, 8])));
    assert_eq!(piece.value("reserve", trombones, None, "longest rest before an entry"), Some((6.0, vec![7])));
    // Two of the family's eight bars are loud: a section that always plays has just that.
    assert_eq!(piece.value("reserve", piece.family("brass"), None, "loud bars"), Some((0.25, vec![7, 8])));
    assert_eq!(piece.value("reserve", horns, None, "in the loud bars").unwrap().0, 0.25);
    assert_eq!(piece.value("reserve", horns, None, "entries out of reserve"), None);
    assert_eq!(piece.value("reserve", Subject::Part(0), None, "use"), None, "reserve is about sections");
}

#[test]
fn a_named_group_is_measured_like_any_other() {
    // Low: trombone and tuba, a fifth below the horns for two bars, silent in the third, an octave below them in the fourth.
    let mut piece = Piece::of(&[
        ("Horn", "C4:4 | C4:4 | C4:4 | C4:4"),
        ("Trombone", "F3:4 | F3:4 | r:4 | C3:4"),
        ("Tuba", "F2:4 | F2:4 | r:4 | C2:4"),
    ]);
    let score = piece.score.clone();
    let members = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    piece.groups.name_group(&score, "low brass", &members(&["trombone", "Tuba"])).unwrap();
    piece.groups.name_group(&score, "high brass", &members(&["horns"])).unwrap();
    let (low, high) = (Subject::Named(0), Subject::Named(1));
    assert_eq!(piece.value("presence", low, None, "bars"), Some((0.75, vec![1, 2, 4])));
    assert_eq!(piece.value("separation", low, Some(high), "widest gap"), Some((12.0, vec![4])));
    assert_eq!(piece.value("separation", low, Some(high), "usual interval"), Some((7.0, vec![1, 2, 4])));
    assert_eq!(piece.value("stack", low, None, "tutti bars"), Some((3.0, vec![1, 2, 4])));
    assert_eq!(piece.value("stack", low, None, "octaves"), Some((1.0, vec![1, 2, 4])));
    assert_eq!(piece.value("stack", high, None, "tutti bars"), None, "one section is no body");
    // Names that are taken and members that are not there are refused, with what is.
    assert!(piece.groups.name_group(&score, "horns", &members(&["Tuba"])).unwrap_err().contains("taken"));
    assert!(piece.groups.name_group(&score, "wind", &members(&["flutes"])).unwrap_err().contains("horns, trombones, tubas"));
}
