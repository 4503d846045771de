//! Sketches and line-ups as people write them: two staves of one name, chords on the bass staff, staves of percussion, sections that share an instrument, endings.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;
mod written;

use std::collections::BTreeSet;

use demo::first;
use ripieno_casting::{Habits, Lineup, Options, Plan, cast};
use ripieno_score::Crotchets;
use ripieno_texture::Role;
use written::{Staff, bars, held, lineup, reading, sketch, tune};

fn names(sketch: &ripieno_casting::Sketch) -> Vec<&str> {
    sketch.strands.iter().map(|strand| strand.name.as_str()).collect()
}

/// Each staff can be asked for, and a plan that is saved and read again means the same staves.
#[test]
fn staves_of_one_name_are_told_apart() {
    let chords = bars(8, |_| "C4,E4:8".to_owned());
    let other = bars(8, |_| "E4,G4:8".to_owned());
    let low = bars(8, |_| "C3:4 D3:4".to_owned());
    let staff = |name, music| Staff(name, "mf", music);
    let tune = tune(8);
    let sketch = sketch(
        0,
        &[
            staff("Melody", &tune),
            staff("MELODY", &low),
            staff("Melody 2", &tune),
            staff("Chords", &chords),
            staff("Chords", &other),
        ],
    );
    assert_eq!(names(&sketch), ["Melody", "MELODY 3", "Melody 2", "Chords", "Chords 2"]);
    assert_eq!(sketch.remarks.iter().filter(|one| one.contains("several staves are called")).count(), 2);
    for lineup in demo::lineups() {
        let done = first(&sketch, &lineup);
        let text = done.plan.to_toml(&sketch, &lineup);
        assert_eq!(Plan::from_toml("plan.toml", &text, &sketch, &lineup).unwrap(), done.plan, "{}", lineup.name);
    }
    let lineup = lineup(&[("Trumpet", 1), ("Tuba", 1)]);
    let text = "[[phrase]]\nbars = \"1-8\"\n[[phrase.task]]\nsection = \"Tuba\"\nrole = \"melody 3\"\n[[phrase.task]]\nsection = \"Trumpet\"\nrole = \"chords 2\"\n";
    let plan = Plan::from_toml("plan.toml", text, &sketch, &lineup).unwrap();
    assert_eq!(plan.phrases[0].tasks.iter().map(|task| task.strand).collect::<Vec<_>>(), [Some(1), Some(4)]);
}

/// Of a fifth on the bass staff the lower note is the bass (any handbook); a voice with a rhythm of its own stays what it is.
#[test]
fn the_lowest_note_of_a_chord_is_the_bass() {
    let bass = bars(8, |n| ["C3:4 E3:4", "F2,C3:8", "G2,D3:4 G2:4", "F2,A2,F3:4 C3:4"][n % 4].to_owned());
    let sketch =
        sketch(0, &[Staff("Melody", "mf", &tune(8)), Staff("Chords", "mf", &held(8, "E4,G4")), Staff("Bass", "mf", &bass)]);
    let strand = sketch.strands.iter().position(|strand| strand.name == "Bass").unwrap();
    let keys: Vec<i32> = sketch.strands[strand].notes.iter().map(|note| note.key()).collect();
    assert_eq!(keys, [48, 52, 41, 43, 43, 41, 48, 48, 52, 41, 43, 43, 41, 48]);
    // In every line-up whatever lies lowest there is that note, whenever it begins.
    for lineup in demo::lineups().into_iter().chain([lineup(&[("Trumpet in C", 1), ("Horn in F", 1), ("Tuba", 1)])]) {
        let done = first(&sketch, &lineup);
        let played = demo::everybody(&lineup, &done);
        for note in &sketch.strands[strand].notes {
            let there =
                played.iter().flat_map(|(_, notes)| notes).filter(|one| one.onset <= note.onset && note.onset < one.end());
            let lowest = there.map(|one| one.key()).min().unwrap();
            assert_eq!((lowest - note.key()) % 12, 0, "{} at {:?}: {lowest}", lineup.name, note.onset);
        }
    }
    // A pedal in a second voice, struck with the first note of a moving one, is no chord.
    let moving = written::sketch(0, &[Staff("Bass", "mf", &bars(2, |_| "C3:2 D3:2 E3:2 F3:2 / G2:8".to_owned()))]);
    let found: BTreeSet<Vec<i32>> =
        moving.strands.iter().map(|strand| strand.notes.iter().map(|note| note.key()).collect()).collect();
    assert_eq!(found, BTreeSet::from([vec![43, 43], vec![48, 50, 52, 53, 48, 50, 52, 53]]));
}

/// A second voice that doubles the bass an octave lower for a while leaves the line where it is.
#[test]
fn a_bass_doubled_below_for_a_while_stays_one_line() {
    let bass = bars(8, |n| if n % 4 < 2 { "C3:4 D3:4".to_owned() } else { "C3:4 D3:4 / C2:4 D2:4".to_owned() });
    let sketch = sketch(0, &[Staff("Melody", "mf", &tune(8)), Staff("Bass", "mf", &bass)]);
    assert_eq!(names(&sketch), ["Melody", "Bass"]);
    let bass = &sketch.strands[1];
    assert_eq!(bass.notes.iter().map(|note| note.key()).collect::<Vec<_>>(), [48, 50].repeat(8));
    assert_eq!(bass.octaves.iter().map(|(_, octave)| *octave).collect::<Vec<_>>(), [-1; 8]);
    // Octaves in one voice are chords: the lower note is the line.
    let chords = written::sketch(0, &[Staff("Bass", "mf", &bars(4, |n| ["C2,C3:4 D2:4", "E2:4 F2,F3:4"][n % 2].to_owned()))]);
    assert_eq!(names(&chords), ["Bass"]);
    assert_eq!(chords.strands[0].notes.iter().map(|note| note.key()).collect::<Vec<_>>(), [36, 38, 40, 41].repeat(2));
}

/// What gives nothing to cast is told with its staff.
#[test]
fn a_staff_that_gives_nothing_is_told() {
    let beaten = "<note><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched><duration>8</duration></note>!";
    let drum = bars(4, |_| beaten.to_owned());
    let rests = bars(4, |_| "r:8".to_owned());
    let sketch = sketch(0, &[Staff("Melody", "mf", &tune(4)), Staff("Rhythm", "", &drum), Staff("Answer", "", &rests)]);
    assert_eq!(names(&sketch), ["Melody"]);
    let told = |name: &str, what: &str| sketch.remarks.iter().any(|one| one.contains(&format!("“{name}” has {what}")));
    assert!(told("Rhythm", "no note of definite pitch") && told("Answer", "nothing but rests"), "{:?}", sketch.remarks);
}

/// No two parts have one name, so that lists, cues and objections know who is meant.
#[test]
fn parts_of_two_sections_are_numbered_through() {
    let sketch = sketch(0, &[Staff("Melody", "mf", &tune(4)), Staff("Bass", "mf", &held(4, "C3"))]);
    let parts = |sections: &[(&str, usize)]| -> Vec<String> {
        let lineup = lineup(sections);
        first(&sketch, &lineup).score(&sketch, &lineup).parts.into_iter().map(|part| part.name).collect()
    };
    assert_eq!(
        parts(&[("Horns in F", 2), ("Horns in F II", 2), ("Tuba", 1)]),
        ["Horn 1 in F", "Horn 2 in F", "Horn 3 in F", "Horn 4 in F", "Tuba"]
    );
    assert_eq!(parts(&[("Trumpet in C", 1), ("Trumpet in B flat", 1)]), ["Trumpet in C", "Trumpet in B♭"]);
    assert_eq!(parts(&[("Violin 1", 8), ("Cellos", 4), ("Cellos", 4)])[1..], ["Cellos (1)", "Cellos (2)"]);
    for lineup in demo::lineups() {
        let score = first(&sketch, &lineup).score(&sketch, &lineup);
        let different: BTreeSet<&str> = score.parts.iter().map(|part| part.name.as_str()).collect();
        assert_eq!(different.len(), score.parts.len(), "{}", lineup.name);
    }
}

/// A body of five is five in the line-up of a score: three and two on its two parts.
#[test]
fn a_body_of_a_score_keeps_its_players() {
    let mut score = reading(0, &[Staff("Violin 1", "mf", &tune(4)), Staff("Cello", "mf", &held(4, "C3"))]).score;
    let part = &mut score.parts[0];
    (part.is_body, part.players) = (true, ripieno_score::PlayerCount::exactly(5));
    let (lineup, _) = Lineup::of_score(&score);
    assert_eq!(lineup.sections[0].chairs.iter().map(|chair| chair.people).collect::<Vec<_>>(), [3, 2]);
}

/// Names that differ in capitals only, beyond ASCII too: each section is found again by its label.
#[test]
fn sections_are_found_by_their_labels() {
    let lineup = lineup(&[("Flöte", 1), ("FLÖTE", 1), ("Tuba", 1)]);
    for at in 0..3 {
        assert_eq!(lineup.find(&lineup.label(at)), Some(at), "{}", lineup.label(at));
    }
    let sketch = sketch(0, &[Staff("Melody", "mf", &tune(4)), Staff("Bass", "mf", &held(4, "C3"))]);
    let done = first(&sketch, &lineup);
    let text = done.plan.to_toml(&sketch, &lineup);
    assert_eq!(Plan::from_toml("plan.toml", &text, &sketch, &lineup).unwrap(), done.plan);
}

/// The least whole number is no octave either.
#[test]
fn an_octave_beyond_everything_is_refused() {
    let sketch = sketch(0, &[Staff("Melody", "mf", &tune(4))]);
    let lineup = lineup(&[("Tuba", 1)]);
    for octave in [i32::MIN, -5, 5, i32::MAX] {
        let text =
            format!("[[phrase]]\nbars = \"1-4\"\n[[phrase.task]]\nsection = \"Tuba\"\nrole = \"melody\"\noctave = {octave}\n");
        let fault = Plan::from_toml("p.toml", &text, &sketch, &lineup).unwrap_err().to_string();
        assert!(fault.starts_with("p.toml, line 6: a line is moved by -4 to 4 octaves"), "{fault}");
    }
}

/// A phrase begins where a repeat or an ending does, for what is played after it is another bar than stands beside it; and no upbeat leads from one ending into the next.
#[test]
fn phrases_are_cut_at_repeats_and_endings() {
    let sign = |inner: &str, at: &str| format!("<barline location=\"{at}\">{inner}</barline>");
    let of = |n: usize| {
        let bar = ["C5:2 D5:2 E5:2 F5:2", "G5:2 A5:2 G5:2 F5:2"][n % 2];
        let before = match n {
            2 => sign("<repeat direction=\"forward\"/>", "left"),
            5 => sign("<ending number=\"1\" type=\"start\"/>", "left"),
            6 => sign("<ending number=\"1\" type=\"stop\"/><repeat direction=\"backward\"/>", "right"),
            7 => sign("<ending number=\"2\" type=\"start\"/>", "left"),
            8 => sign("<ending number=\"2\" type=\"discontinue\"/>", "right"),
            _ => String::new(),
        };
        if before.is_empty() { bar.to_owned() } else { format!("{before}!{bar}") }
    };
    let read = reading(0, &[Staff("Melody", "mf", &bars(12, of))]);
    let sketch = ripieno_casting::Sketch::by_names(read.score).unwrap();
    let starts: BTreeSet<usize> = Plan::phrases_of(&sketch).phrases.iter().map(|phrase| phrase.bars.start).collect();
    for bar in [2, 5, 7, 9] {
        assert!(starts.contains(&bar), "{bar}: {starts:?}");
    }
    for bar in [5, 7, 9] {
        assert_eq!(sketch.seam(bar), sketch.bar_start(bar));
    }
}

/// A tone held for more than sixteen bars under moving ones, in a phrase of all of them, sounds to its end.
#[test]
fn a_tone_of_a_chord_is_never_too_long() {
    let moving = held(24, "G4").split('|').map(|bar| format!("C5:4 D5:4 / {bar}")).collect::<Vec<_>>().join("|");
    let sketch = sketch(0, &[Staff("Chords", "mf", &moving)]);
    let lineup =
        Lineup::from_toml("l.toml", "[[section]]\nname = \"Violin\"\nplayers = 1\n[[section]]\nname = \"Viola\"\nplayers = 1\n")
            .unwrap();
    let task = |section: &str| format!("[[phrase.task]]\nsection = \"{section}\"\nrole = \"chords\"\n");
    let text = format!("[[phrase]]\nbars = \"1-24\"\n{}{}", task("Violin"), task("Viola"));
    let plan = Plan::from_toml("p.toml", &text, &sketch, &lineup).unwrap();
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    let played = demo::everybody(&lineup, &done);
    for beat in 0..96 {
        let at = Crotchets::whole(beat);
        let has =
            played.iter().flat_map(|(_, notes)| notes).any(|note| note.onset <= at && at < note.end() && note.key() % 12 == 7);
        assert!(has, "nobody has G at beat {beat}");
    }
    assert_eq!(sketch.strands[0].role, Role::Harmony);
    assert_eq!(done.criteria.get("chord tones sounded"), Some(1.0));
}
