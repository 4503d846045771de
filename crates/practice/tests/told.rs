//! Sentences about a few bars written so that it is known what is true of them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::{Moment, Sentence, noteworthy};
use ripieno_texture::{Carried, Layer, Layers, Member, Role, relate};

fn told(piece: &Piece) -> (Vec<Moment>, Vec<Sentence>) {
    noteworthy(&piece.material(), &piece.practice())
}

/// The melody lies with one part throughout: who leads is planted, not read.
fn led_by(mut piece: Piece, part: &str) -> Piece {
    let index = piece.part(part);
    let line = piece.lines.lines.iter().position(|line| line.part == index).unwrap();
    let bars = u32::try_from(piece.sounding.bars.len()).unwrap();
    let carried = Carried {
        from: piece.sounding.bars[0].start,
        to: piece.sounding.length(),
        bars: 0..bars,
        part: index,
        line,
        support: Vec::new(),
    };
    piece.roles.melody = vec![carried];
    piece
}

fn bars(one: &str, count: usize) -> String {
    vec![one; count].join(" | ")
}

/// Violins lead, the flute an octave above them, the second flute in thirds below it; horns hold, a trumpet repeats, violas run, cellos have the bass and the double
/// bass the same an octave below.
fn tutti() -> Piece {
    let tune = "f C5:1 D5:1 E5:1 F5:1";
    let parts = [
        ("Flute 1", "f C6:1 D6:1 E6:1 F6:1".to_owned()),
        ("Flute 2", "f A5:1 B5:1 C6:1 D6:1".to_owned()),
        ("Horn", "f G4:4".to_owned()),
        ("Trumpet", "f G4:1/2 G4:1/2 G4:1/2 G4:1/2 G4:1/2 G4:1/2 G4:1".to_owned()),
        ("Violin", tune.to_owned()),
        ("Viola", "f C4:1/2 E4:1/2 G4:1/2 E4:1/2 C4:1/2 E4:1/2 G4:1/2 E4:1/2".to_owned()),
        ("Violoncello", "f C3:3/2 G2:5/2".to_owned()),
        ("Double Bass", "f C2:3/2 G1:5/2".to_owned()),
    ];
    let parts: Vec<(&str, String)> = parts.iter().map(|(name, bar)| (*name, bars(bar, 8))).collect();
    led_by(Piece::of(&parts.iter().map(|(name, bars)| (*name, bars.as_str())).collect::<Vec<_>>()), "Violin")
}

#[test]
fn a_tutti_is_told_by_what_each_part_plays() {
    let (moments, _) = told(&tutti());
    let tutti = moments.iter().find(|moment| moment.kind == "tutti").expect("a tutti");
    assert_eq!(tutti.bars, 0..8);
    assert_eq!(
        tutti.reason,
        "The orchestra plays as a whole at f. Melody: Flute 1 and violins, and in the same rhythm with other notes Flute 2; bass: cellos and double basses; \
         together in one rhythm: trumpets and violas; one held note, octaves aside: horns."
    );
}

#[test]
fn where_the_scoring_changes_the_bars_are_named() {
    let all = "f C5:1 D5:1 E5:1 F5:1";
    let hold = "f G4:4";
    let halves = |first: &str, second: &str| format!("{} | {}", bars(first, 8), bars(second, 8));
    let piece = Piece::of(&[
        ("Flute", &halves(all, "f C6:4")),
        ("Oboe", &halves(all, "f E5:4")),
        ("Horn", &halves(hold, "f C4:1 D4:1 E4:1 F4:1")),
        ("Trumpet", &halves(hold, "f C4:1 D4:1 E4:1 F4:1")),
        ("Violin", &halves(all, "f C5:1/2 E5:1/2 G5:1/2 E5:1/2 C5:1/2 E5:1/2 G5:1/2 E5:1/2")),
        ("Violoncello", &halves("f C3:3 G2:1", "f C3:3 G2:1")),
    ]);
    let mut piece = led_by(piece, "Violin");
    // In the second half the trumpet leads.
    let trumpet = led_by(Piece { roles: piece.roles.clone(), ..tutti_like(&piece) }, "Trumpet").roles.melody[0].clone();
    let at = piece.sounding.bars[8].start;
    (piece.roles.melody[0].to, piece.roles.melody[0].bars) = (at, 0..8);
    piece.roles.melody.push(Carried { from: at, bars: 8..16, ..trumpet });
    let (moments, _) = told(&piece);
    let tutti = moments.iter().find(|moment| moment.kind == "tutti").expect("a tutti");
    assert_eq!(
        tutti.reason,
        "The orchestra plays as a whole at f. In 1 to 8: melody: flutes, oboes and violins; bass: cellos; one held note, octaves aside: horns and trumpets. \
         In 9 to 16: melody: horns and trumpets; bass: cellos; running notes: violins; held notes: flutes and oboes."
    );
}

/// The same score read again.
fn tutti_like(piece: &Piece) -> Piece {
    Piece::analysed(piece.score.clone())
}

#[test]
fn one_player_who_doubles_is_named_not_the_section() {
    let line = "C4:1 D4:1 E4:1 G3:1";
    let piece = Piece::of(&[
        ("Clarinet 1", &bars("E4:1 F4:1 G4:1 E4:1", 20)),
        ("Clarinet 2", &bars(line, 20)),
        ("Violin", &bars("C5:1/2 D5:1/2 E5:1 C5:2", 20)),
        ("Viola", &bars(line, 20)),
    ]);
    let (_, sentences) = told(&led_by(piece, "Violin"));
    let said = sentences.iter().find(|said| said.measure == "doubled_sections").expect("a doubling");
    assert_eq!(said.text, "With 80 of the 80 notes that Clarinet 2 begins, the violas begin the same note (100 %).");
    assert_eq!(said.bars.len(), 20);
}

#[test]
fn notes_begun_with_the_leader_are_counted() {
    // Of the four notes of a bar the oboe has the first two an octave below, for nine of ten bars.
    let oboe = format!("{} | {}", bars("C4:1 D4:1 r:2", 9), bars("r:4", 1));
    let piece = led_by(Piece::of(&[("Flute", &bars("C5:1 D5:1 E5:1 F5:1", 10)), ("Oboe", &oboe)]), "Flute");
    let value = piece.value(
        "melody_support",
        piece.section("oboes"),
        Some(piece.section("flutes")),
        "notes with the leader, octave below",
    );
    assert_eq!(value, Some((0.45, (1..=9).collect())));
    let same = piece.value("doubled_sections", piece.section("flutes"), Some(piece.section("oboes")), "same notes, octave below");
    assert_eq!(same, Some((1.0, (1..=9).collect())), "of the oboe's own notes");
    let (_, sentences) = told(&piece);
    let text = "Of the notes that the flutes begin while they lead the melody, the oboes begin 45 % with them an octave below.";
    assert!(sentences.iter().any(|said| said.text == text), "{sentences:?}");
}

#[test]
fn bars_in_which_the_rhythms_of_a_section_part() {
    let first = format!("{} | {}", bars("C5:2 D5:2", 3), bars("C5:4", 1));
    let second = format!("{} | {}", bars("E4:2 F4:2", 1), bars("E4:1 F4:1 G4:1 A4:1", 3));
    let piece = Piece::of(&[("Horn 1", &first), ("Horn 2", &second)]);
    assert_eq!(piece.value("cohesion", piece.section("horns"), None, "rhythms part"), Some((0.75, vec![2, 3, 4])));
}

#[test]
fn brass_that_never_parts_in_rhythm_is_told() {
    let said = |parting: usize| {
        let (one, other) = (bars("C5:2 D5:2", 20), bars("E4:2 F4:2", 20 - parting));
        let other = if parting > 0 { format!("{other} | {}", bars("E4:1 F4:1 E4:1 F4:1", parting)) } else { other };
        let (_, sentences) = told(&Piece::of(&[("Horn 1", &one), ("Horn 2", &other)]));
        let said = sentences.into_iter().find(|said| said.key.ends_with("rhythms part")).expect("rhythms");
        (said.text, said.bars.len())
    };
    let of_all = "of the 20 bars in which at least two lines of the horns sound at once";
    assert_eq!(said(0), (format!("In none {of_all} do they move in different rhythms."), 20));
    assert_eq!(said(1), (format!("In only 1 {of_all} they move in different rhythms (5 %)."), 1));
}

#[test]
fn a_choir_is_one_body_and_its_soloists_another() {
    let late = |note: &str, rest: usize| format!("{} | {}", bars("r:4", rest), bars(&format!("{note}:4"), 30 - rest));
    let piece = Piece::of(&[
        ("Soprano solo", &late("E5", 16)),
        ("Tenor solo", &late("G4", 17)),
        ("Soprano", &late("C5", 20)),
        ("Bass", &late("C3", 21)),
        ("Violin", &bars("C5:1 D5:1 E5:1 C5:1", 30)),
    ]);
    let (_, sentences) = told(&piece);
    let says = |text: &str| assert!(sentences.iter().any(|said| said.text.starts_with(text)), "{text}: {sentences:#?}");
    says("The soloists (Soprano solo and Tenor solo) are silent for the first 16 bars and sing in 14 of 30");
    says("The choir is silent for the first 20 bars and sings in 10 of 30");
    assert!(!sentences.iter().any(|said| said.text.starts_with("The basses")), "a choir's basses are not the double basses");
}

#[test]
fn horns_are_counted_against_trombones() {
    let piece = Piece::of(&[
        ("Horn 1", &bars("ff E4:4", 8)),
        ("Horn 2", &bars("ff C4:4", 8)),
        ("Trombone", &bars("ff C3:4", 8)),
        ("Trumpet", &bars("ff G4:4", 8)),
        ("Tuba", &bars("ff C2:4", 8)),
    ]);
    let (_, sentences) = told(&piece);
    let text =
        "Where horns and trombones share a chord at f or louder, 2 horns stand against 1 trombone most of the time (100 %).";
    assert!(sentences.iter().any(|said| said.text == text), "{sentences:#?}");
    let stack = "The whole brass sounds in 8 bars; for 100 % of that time it is one stack, a chord in one rhythm, and for 0 % its lines part in rhythm.";
    assert!(sentences.iter().any(|said| said.text == stack), "{sentences:#?}");
}

/// Brass of 40 bars: the trombones play 20 of them under one f, the horns go down to p in bar 9.
fn brass_under(horns: &[(&str, usize)], trombones: &[(&str, usize)]) -> Vec<Sentence> {
    let line = |bars_of: &[(&str, usize)]| bars_of.iter().map(|(bar, count)| bars(bar, *count)).collect::<Vec<_>>().join(" | ");
    let (horns, trombones) = (line(horns), line(trombones));
    told(&Piece::of(&[("Horn", &horns), ("Trombone", &trombones), ("Violin", &bars("C5:4", 40))])).1
}

#[test]
fn an_old_sign_and_one_that_others_have_left_behind_are_no_loudness() {
    let reserve = |sentences: &[Sentence]| -> Vec<String> {
        let of = sentences.iter().filter(|found| found.text.contains("of the trombones lie"));
        of.map(|found| found.text.clone()).collect()
    };
    // f in bar 1 and never again; the horns are marked p from 9: nothing is loud after bar 8, which is 8 of the trombones' 20 bars.
    let old =
        brass_under(&[("f G4:4", 1), ("G4:4", 7), ("p G4:4", 1), ("G4:4", 31)], &[("f C3:4", 1), ("C3:4", 19), ("r:4", 20)]);
    assert_eq!(reserve(&old), Vec::<String>::new());
    // f anew in 9 and 17, p from 21, when the trombones rest.
    let anew = brass_under(
        &[("f G4:4", 1), ("G4:4", 7), ("f G4:4", 1), ("G4:4", 7), ("f G4:4", 1), ("G4:4", 3), ("p G4:4", 1), ("G4:4", 19)],
        &[("f C3:4", 1), ("C3:4", 7), ("f C3:4", 1), ("C3:4", 7), ("f C3:4", 1), ("C3:4", 3), ("r:4", 20)],
    );
    assert_eq!(
        reserve(&anew),
        ["All 20 bars of the trombones lie where the brass is at f or louder (100 %); of all bars of the brass 50 % do."]
    );
}

#[test]
fn who_meets_a_few_notes_of_a_thickened_line_is_not_named_with_it() {
    // Clarinets in thirds under the oboe; the violin has three quarters of the oboe's notes and rests, the viola meets two of them.
    let piece = Piece::of(&[
        ("Oboe", &bars("f C5:1 D5:1 E5:1 F5:1 | G5:1 F5:1 E5:1 D5:1", 2)),
        ("Clarinet", &bars("f A4:1 B4:1 C5:1 D5:1 | E5:1 D5:1 C5:1 B4:1", 2)),
        ("Violin", &bars("f C5:1 D5:1 E5:1 r:1 | G5:1 F5:1 E5:1 r:1", 2)),
        ("Viola", &bars("f C4:1 r:3 | r:4", 2)),
    ]);
    let mut piece = led_by(piece, "Oboe").with_role("Oboe", Role::Melody).with_role("Clarinet", Role::Melody);
    let bars_of = 0..u32::try_from(piece.sounding.bars.len()).unwrap();
    let mut members: Vec<Member> = [0, 1].map(|line| Member { line, bars: bars_of.clone(), relation: None }).into();
    relate(&piece.lines, &mut members);
    piece.roles.layers = Layers::new(vec![Layer { bars: bars_of, members }]);
    let (moments, _) = told(&piece);
    let reason = &moments.iter().find(|moment| moment.kind == "thickened line").expect("thirds").reason;
    assert!(reason.contains("; in part with them: violins.") && !reason.contains("viola"), "{reason}");
}
