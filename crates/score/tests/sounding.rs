//! The sounding view on small scores whose answer is plain.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use ripieno_score::{
    Bar, BarIndex, Change, ChangeKind, CountReason, Crotchets, Direction, DirectionKind, DynamicLevel, DynamicMark, Head, Mark,
    Note, NoteFlags, NoteRow, Part, Pitch, PlayerCount, Rest, Score, Sounding, Step, Swell, Transposition, Trouble, Unroll,
};

fn crotchets(n: i64, d: i64) -> Crotchets {
    Crotchets::new(n, d).unwrap()
}

/// A score of `bars` bars of four crotchets.
fn score(bars: u32, part: Part) -> Score {
    let mut score = Score { parts: vec![part], ..Score::default() };
    for n in 0..bars {
        score.bars.push(Bar::new((n + 1).to_string(), Crotchets::ZERO, Crotchets::whole(4)));
    }
    score.finish();
    score
}

/// A note of voice 1 on staff 1.
fn note(bar: u32, at: i64, duration: i64, step: Step, flags: NoteFlags) -> Note {
    Note {
        bar: BarIndex(bar),
        at: Crotchets::whole(at),
        duration: Crotchets::whole(duration),
        head: Head::Pitched(Pitch::new(step, 0, 4)),
        voice: 1,
        staff: 1,
        flags,
        ..Note::default()
    }
}

fn direction(bar: u32, at: i64, kind: DirectionKind) -> Direction {
    Direction { bar: BarIndex(bar), at: Crotchets::whole(at), staff: 1, voice: None, above: None, kind }
}

fn level(mark: &str) -> DirectionKind {
    DirectionKind::Dynamic(DynamicMark::Level(DynamicLevel::from_mark(mark).unwrap()))
}

fn words(text: &str) -> DirectionKind {
    DirectionKind::Words(text.into())
}

fn rows(score: &Score) -> Vec<NoteRow> {
    Sounding::new(score, Unroll::AsPlayed).notes.rows().collect()
}

#[test]
fn ties_join_across_the_barline() {
    let part = Part {
        notes: vec![
            note(0, 2, 2, Step::C, NoteFlags::TIE_START),
            note(1, 0, 4, Step::C, NoteFlags::TIE_STOP | NoteFlags::TIE_START),
            note(2, 0, 1, Step::C, NoteFlags::TIE_STOP),
            note(2, 1, 1, Step::C, NoteFlags::empty()),
        ],
        ..Part::default()
    };
    let rows = rows(&score(3, part));
    assert_eq!(rows.len(), 2);
    assert_eq!((rows[0].onset, rows[0].duration), (Crotchets::whole(2), Crotchets::whole(7)));
    assert_eq!(rows[1].onset, Crotchets::whole(9));
}

#[test]
fn a_tie_from_nowhere_is_attacked_and_told() {
    let part = Part { notes: vec![note(0, 0, 1, Step::D, NoteFlags::TIE_STOP)], ..Part::default() };
    let sounding = Sounding::new(&score(1, part), Unroll::AsWritten);
    assert_eq!(sounding.notes.len(), 1);
    assert_eq!(sounding.troubles.len(), 1);
    assert!(matches!(sounding.troubles[0], Trouble::TieFromNowhere { part: 0, bar: BarIndex(0), .. }));
}

#[test]
fn a_repeated_bar_sounds_twice_with_its_pass() {
    let part = Part {
        notes: vec![note(0, 0, 4, Step::C, NoteFlags::empty()), note(1, 0, 4, Step::D, NoteFlags::empty())],
        ..Part::default()
    };
    let mut score = score(2, part);
    score.bars[0].repeat_end = Some(2);
    let sounding = Sounding::new(&score, Unroll::AsPlayed);
    let heard: Vec<(u32, u16, Crotchets)> = sounding
        .notes
        .rows()
        .map(|row| (sounding.bars[row.bar as usize].bar.0, sounding.bars[row.bar as usize].pass, row.onset))
        .collect();
    assert_eq!(heard, [(0, 1, Crotchets::ZERO), (0, 2, Crotchets::whole(4)), (1, 1, Crotchets::whole(8))]);
    assert_eq!(Sounding::new(&score, Unroll::AsWritten).notes.len(), 2);
}

#[test]
fn cue_hidden_and_ossia_notes_do_not_play() {
    let notes = [NoteFlags::CUE, NoteFlags::HIDDEN, NoteFlags::OSSIA, NoteFlags::empty()];
    let notes = (0..).zip(notes).map(|(at, flags)| note(0, at, 1, Step::E, flags)).collect();
    assert_eq!(rows(&score(1, Part { notes, ..Part::default() })).len(), 1);
}

#[test]
fn transposition_changes_inside_a_part() {
    let change = |bar, chromatic, diatonic| Change {
        bar: BarIndex(bar),
        at: Crotchets::ZERO,
        staff: None,
        kind: ChangeKind::Transposition(Transposition { chromatic, diatonic, ..Transposition::NONE }),
    };
    let part = Part {
        notes: vec![note(0, 0, 1, Step::C, NoteFlags::empty()), note(1, 0, 1, Step::C, NoteFlags::empty())],
        changes: vec![change(0, -2, -1), change(1, -3, -2)],
        ..Part::default()
    };
    let spelled: Vec<String> = rows(&score(2, part)).iter().map(|row| row.pitch.to_string()).collect();
    assert_eq!(spelled, ["Bb3", "A3"]);
}

#[test]
fn a_part_doubled_below_sounds_in_octaves() {
    let part = Part {
        notes: vec![note(0, 0, 1, Step::C, NoteFlags::empty())],
        changes: vec![Change {
            bar: BarIndex(0),
            at: Crotchets::ZERO,
            staff: None,
            kind: ChangeKind::Transposition(Transposition { doubled_below: true, ..Transposition::NONE }),
        }],
        ..Part::default()
    };
    let keys: Vec<u8> = rows(&score(1, part)).iter().map(|row| row.key.unwrap().number()).collect();
    assert_eq!(keys, [48, 60]);
}

#[test]
fn harmonics_sound_where_they_sound() {
    let part = Part {
        notes: vec![note(0, 0, 1, Step::G, NoteFlags::HARMONIC)],
        marks: vec![(0, Mark::SoundingPitch(Pitch::new(Step::G, 0, 6)))],
        ..Part::default()
    };
    assert_eq!(rows(&score(1, part))[0].pitch.to_string(), "G6");
}

#[test]
fn a_hairpin_leads_from_mark_to_mark() {
    let part = Part {
        notes: (0..8).map(|n| note(u32::try_from(n / 4).unwrap(), n % 4, 1, Step::C, NoteFlags::empty())).collect(),
        directions: vec![
            direction(0, 0, level("p")),
            direction(0, 0, DirectionKind::HairpinStart { swell: Swell::Crescendo, number: 1, niente: false, dashes: false }),
            direction(1, 0, DirectionKind::HairpinStop { number: 1, niente: false, dashes: false }),
            direction(1, 0, level("ff")),
            direction(1, 2, DirectionKind::Dynamic(DynamicMark::AttackThen("fp".into(), DynamicLevel(3.0)))),
        ],
        ..Part::default()
    };
    let levels: Vec<f32> = rows(&score(2, part)).iter().map(|row| row.level.unwrap().0).collect();
    assert_eq!(levels, [3.0, 4.0, 5.0, 6.0, 7.0, 7.0, 4.0, 3.0]);
}

#[test]
fn before_the_first_mark_the_level_is_unknown_and_words_lead_to_the_next_mark() {
    let part = Part {
        notes: (0..8).map(|n| note(u32::try_from(n / 4).unwrap(), n % 4, 1, Step::C, NoteFlags::empty())).collect(),
        directions: vec![direction(0, 1, level("mf")), direction(0, 2, words("dim. molto")), direction(1, 0, level("p"))],
        ..Part::default()
    };
    let levels: Vec<Option<f32>> = rows(&score(2, part)).iter().map(|row| row.level.map(|level| level.0)).collect();
    assert_eq!(levels[..5], [None, Some(5.0), Some(5.0), Some(4.0), Some(3.0)]);
}

/// Two horns on a staff; wording as scores print it (common practice).
#[test]
fn players_on_a_shared_staff() {
    let second = |mut note: Note| {
        note.voice = 2;
        note.head = Head::Pitched(Pitch::new(Step::G, 0, 3));
        note
    };
    let part = Part {
        players: PlayerCount::exactly(2),
        notes: vec![
            note(0, 0, 4, Step::C, NoteFlags::empty()),
            note(1, 0, 4, Step::C, NoteFlags::empty()),
            note(2, 0, 4, Step::C, NoteFlags::empty()),
            second(note(2, 0, 4, Step::C, NoteFlags::empty())),
            note(3, 0, 4, Step::C, NoteFlags::empty()),
            note(4, 0, 4, Step::C, NoteFlags::empty()),
        ],
        rests: vec![Rest {
            bar: BarIndex(4),
            at: Crotchets::ZERO,
            duration: Crotchets::whole(4),
            value: None,
            tuplet: None,
            voice: 2,
            staff: 1,
            whole_bar: true,
            hidden: false,
            cue: false,
            fermata: false,
        }],
        directions: vec![direction(1, 0, words("a 2")), direction(3, 0, words("1."))],
        ..Part::default()
    };
    let mut score = score(5, part);
    let counts = |score: &Score| rows(score).iter().map(|row| (row.players, row.players_reason)).collect::<Vec<_>>();
    let (one, two) = (PlayerCount::exactly(1), PlayerCount::exactly(2));
    assert_eq!(
        counts(&score)[..5],
        [
            (PlayerCount::between(1, 2), CountReason::Unsettled),
            (two, CountReason::Mark),
            (one, CountReason::Lines),
            (one, CountReason::Lines),
            (one, CountReason::Mark),
        ]
    );
    score.parts[0].directions.clear();
    assert_eq!(counts(&score)[5], (one, CountReason::OthersRest));
}

#[test]
fn a_divided_section_shares_its_players() {
    let part = Part {
        players: PlayerCount::between(8, 16),
        is_body: true,
        notes: vec![
            note(0, 0, 4, Step::C, NoteFlags::empty()),
            note(1, 0, 4, Step::C, NoteFlags::empty()),
            note(2, 0, 4, Step::C, NoteFlags::empty()),
        ],
        directions: vec![direction(1, 0, words("div.")), direction(2, 0, words("unis."))],
        ..Part::default()
    };
    let counts: Vec<String> = rows(&score(3, part)).iter().map(|row| row.players.to_string()).collect();
    assert_eq!(counts, ["8-16", "4-8", "8-16"]);
}

#[test]
fn seconds_follow_the_tempo_marks() {
    let part = Part {
        directions: vec![
            direction(0, 0, DirectionKind::PlaybackTempo { crotchets_per_minute: 60.0 }),
            direction(1, 0, DirectionKind::PlaybackTempo { crotchets_per_minute: 120.0 }),
        ],
        ..Part::default()
    };
    let sounding = Sounding::new(&score(2, part), Unroll::AsWritten);
    assert!(!sounding.tempo.assumed);
    assert!((sounding.tempo.seconds(Crotchets::whole(8)) - 6.0).abs() < 1e-12);
    assert!((sounding.tempo.seconds(crotchets(9, 2)) - 4.25).abs() < 1e-12);
}

#[test]
fn a_repeat_goes_back_to_the_tempo_of_its_beginning() {
    let part = Part {
        directions: vec![
            direction(0, 0, DirectionKind::PlaybackTempo { crotchets_per_minute: 60.0 }),
            direction(2, 2, DirectionKind::PlaybackTempo { crotchets_per_minute: 30.0 }),
        ],
        ..Part::default()
    };
    let mut score = score(4, part);
    score.bars[1].repeat_start = true;
    score.bars[2].repeat_end = Some(2);
    let tempo = Sounding::new(&score, Unroll::AsPlayed).tempo;
    let changes: Vec<(Crotchets, f64)> = tempo.changes().collect();
    let whole = Crotchets::whole;
    assert_eq!(changes, [(whole(0), 60.0), (whole(10), 30.0), (whole(12), 60.0), (whole(18), 30.0)]);
}

#[test]
fn what_leaves_its_bar_is_cut_at_the_barline() {
    let part = Part {
        notes: vec![note(0, 3, 4, Step::C, NoteFlags::empty()), note(0, 9, 1, Step::D, NoteFlags::TIE_START)],
        directions: vec![direction(0, 7, words("dolce"))],
        changes: vec![Change { bar: BarIndex(0), at: Crotchets::whole(-1), staff: None, kind: ChangeKind::Instrument(9) }],
        ..Part::default()
    };
    let score = score(1, part);
    let part = &score.parts[0];
    assert_eq!((part.notes[0].at, part.notes[0].duration), (Crotchets::whole(3), Crotchets::ONE));
    assert_eq!((part.notes[1].at, part.notes[1].duration), (Crotchets::whole(4), Crotchets::ZERO));
    assert!(part.notes[1].flags.is_empty(), "a tie without time holds nothing");
    assert_eq!(part.directions[0].at, Crotchets::whole(4));
    assert_eq!((part.changes[0].at, &part.changes[0].kind), (Crotchets::ZERO, &ChangeKind::Instrument(0)));
}
