//! What is held into a phrase sounds there: over every line-up, counted from the notes of the players against those of the sketch.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;
mod written;

use demo::{everybody, first, lineups, sketches};
use ripieno_casting::{Cast, Habits, Lineup, Options, Plan, Sketch, cast};
use ripieno_score::{Crotchets, NoteFlags};
use written::{Staff, bars, held, lineup, sketch, tune};

/// For each note of the sketch that lasts more than two crotchets its strand, its beats beyond the first, and at how many of them nobody sounds its pitch class.
fn beats(sketch: &Sketch, lineup: &Lineup, done: &Cast) -> Vec<(usize, usize, usize)> {
    let played = everybody(lineup, done);
    let half = Crotchets::new(1, 2).unwrap();
    let mut found = Vec::new();
    for (strand, of) in sketch.strands.iter().enumerate() {
        for note in &of.notes {
            let (mut all, mut lost, mut at) = (0, 0, note.onset + Crotchets::ONE + half);
            while at < note.end() {
                let same = |(_, notes): &(_, Vec<ripieno_casting::CastNote>)| {
                    notes.iter().any(|one| one.onset <= at && at < one.end() && (one.key() - note.key()) % 12 == 0)
                };
                all += 1;
                lost += usize::from(!played.iter().any(same));
                at += Crotchets::ONE;
            }
            found.push((strand, all, lost));
        }
    }
    found
}

fn lost(sketch: &Sketch, lineup: &Lineup, done: &Cast) -> usize {
    beats(sketch, lineup, done).iter().map(|note| note.2).sum()
}

/// A pedal, chords and an answer that are held through phrases and whole pieces, as on an organ.
fn organ() -> Vec<(&'static str, Sketch)> {
    let chord = |n: usize| ["C4,E4,G4", "C4,F4,A4", "B3,D4,G4", "C4,E4,G4"][n / 6 % 4];
    let six = bars(24, |n| format!("{}{}:8{}", if n % 6 > 0 { "_" } else { "" }, chord(n), if n % 6 < 5 { "~" } else { "" }));
    let run = bars(16, |n| ["E4:2 F4:2 G4:2 A4:2", "G4:2 F4:2 E4:2 D4:2"][n % 2].to_owned());
    let bass = |many: usize| bars(many, |_| "C3:4 G2:4".to_owned());
    let of = |staves: [(&str, &str); 3]| sketch(0, &staves.map(|(name, music)| Staff(name, "mf", music)));
    let each = bars(24, |n| format!("{}:8", chord(n)));
    let (long, short) = (tune(24), tune(16));
    vec![
        ("a pedal", of([("Melody", &long), ("Chords", &each), ("Pedal", &held(24, "C3"))])),
        ("one chord", of([("Melody", &long), ("Chords", &held(24, "E4,G4")), ("Bass", &bass(24))])),
        ("chords of six bars", of([("Melody", &long), ("Chords", &six), ("Bass", &bass(24))])),
        ("a bass", of([("Melody", &short), ("Rhythm", &run), ("Bass", &held(16, "C3"))])),
        ("an answer", of([("Melody", &short), ("Answer", &held(16, "G4")), ("Bass", &bass(16))])),
    ]
}

/// A line that lasts is heard to its end, and of a chord strand nine beats in ten; of what is not it is told with the strand that nobody has it. A chord has the tones that bass or tune have where it
/// begins, and four players cannot have all of a chord besides both.
#[test]
fn what_lasts_is_heard_to_its_end() {
    let mut sum = 0;
    let mut check = |name: &str, sketch: &Sketch| {
        for lineup in lineups() {
            let done = first(sketch, &lineup);
            let found = beats(sketch, &lineup, &done);
            for (strand, of) in sketch.strands.iter().enumerate() {
                let own = found.iter().filter(|note| note.0 == strand);
                let (all, lost) = own.fold((0, 0), |sum, note| (sum.0 + note.1, sum.1 + note.2));
                let told = done.remarks.iter().any(|one| one.contains("nobody") && one.contains(&format!("“{}”", of.name)));
                let few = lineup.people() < 6;
                let may = if of.is_chordal() { all / if few { 5 } else { 10 } } else { 0 };
                assert!(lost <= may || told, "{name}, {}: {lost} of {all} of {}; {:?}", lineup.name, of.name, done.remarks);
                assert!(lost * 3 <= all, "{name}, {}: {lost} of {all} of {}", lineup.name, of.name);
                sum += all;
            }
        }
    };
    for (name, sketch) in organ() {
        check(name, &sketch);
    }
    for (n, sketch) in sketches().iter().enumerate() {
        check(&format!("demo {n}"), sketch);
    }
    assert!(sum > 5_000, "{sum}");
}

fn by_hand(tasks: [[(&str, &str); 2]; 2]) -> (Sketch, Lineup, Cast) {
    let sketch = sketch(0, &[Staff("Melody", "mf", &tune(8)), Staff("Pedal", "mf", &held(8, "C3"))]);
    let lineup = lineup(&[("Flute", 1), ("Trombone", 1), ("Tuba", 1)]);
    let phrase = |(bars, tasks): (&str, &[(&str, &str); 2])| {
        let task = |(section, role): &(&str, &str)| format!("[[phrase.task]]\nsection = \"{section}\"\nrole = \"{role}\"\n");
        format!("[[phrase]]\nbars = \"{bars}\"\n{}", tasks.iter().map(task).collect::<String>())
    };
    let text: String = ["1-4", "5-8"].into_iter().zip(&tasks).map(phrase).collect();
    let plan = Plan::from_toml("plan.toml", &text, &sketch, &lineup).unwrap();
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    (sketch, lineup, done)
}

/// A pedal handed over is struck anew by who takes it over, and sounds to the end.
#[test]
fn a_held_note_is_handed_over_as_the_plan_says() {
    let (sketch, lineup, done) =
        by_hand([[("Flute", "melody"), ("Trombone", "pedal")], [("Trombone", "melody"), ("Tuba", "pedal")]]);
    assert_eq!(lost(&sketch, &lineup, &done), 0);
    let tuba = done.notes_of((2, 0));
    assert_eq!(tuba.first().map(|note| note.onset), Some(Crotchets::whole(16)));
    assert_eq!(tuba.iter().fold(Crotchets::ZERO, |sum, note| sum + note.duration), Crotchets::whole(16));
    assert_eq!(done.criteria.get("what the sketch sounds"), Some(1.0));
    // Where nobody is to have it, that is told, and seen in what sounds.
    let (sketch, lineup, done) =
        by_hand([[("Flute", "melody"), ("Trombone", "pedal")], [("Trombone", "melody"), ("Tuba", "silence")]]);
    // The tune touches the pedal's tone for two beats of sixteen.
    assert_eq!(lost(&sketch, &lineup, &done), 14);
    assert!(done.remarks.iter().any(|one| one.contains("bars 5–8: nobody has “Pedal”")), "{:?}", done.remarks);
    assert_eq!(done.criteria.get("what the sketch sounds"), Some(50.0 / 64.0));
}

/// Who goes on with the strand ties over: nothing is struck at the joint but where a breath is taken.
#[test]
fn who_goes_on_holds_on() {
    let (sketch, lineup, done) =
        by_hand([[("Flute", "melody"), ("Trombone", "pedal")], [("Flute", "melody"), ("Trombone", "pedal")]]);
    assert_eq!(lost(&sketch, &lineup, &done), 0);
    let trombone = done.notes_of((1, 0));
    assert!(trombone.windows(2).all(|pair| pair[0].breath), "{trombone:?}");
    // On the page too: every bar is tied to the next unless a breath is marked there.
    let score = done.score(&sketch, &lineup);
    let part = &score.parts[1];
    let breaths = part.notes.iter().filter(|note| note.articulations.contains(ripieno_score::Articulations::BREATH_MARK)).count();
    let struck = part.notes.iter().filter(|note| !note.flags.contains(NoteFlags::TIE_STOP)).count();
    assert_eq!(struck, breaths + 1);
    // Strings need no breath: one note.
    let strings = written::lineup(&[("Violin", 1), ("Cello", 1)]);
    let text = "[[phrase]]\nbars = \"1-4\"\n[[phrase.task]]\nsection = \"Violin\"\nrole = \"melody\"\n[[phrase.task]]\nsection = \"Cello\"\nrole = \"pedal\"\n";
    let plan = Plan::from_toml("p.toml", &[text, &text.replace("1-4", "5-8")].concat(), &sketch, &strings).unwrap();
    let done = cast(&sketch, &strings, &plan, &Habits::usual(), &Options::default());
    let cello: Vec<(Crotchets, Crotchets)> = done.notes_of((1, 0)).iter().map(|note| (note.onset, note.duration)).collect();
    assert_eq!(cello, [(Crotchets::ZERO, Crotchets::whole(32))]);
    // What is held into a span is locked from its beginning.
    let span = (Crotchets::whole(16), Crotchets::whole(32));
    let locks: Vec<_> = done.locks(&[(1, 0)], span).iter().map(|lock| (lock.from, lock.to, lock.key)).collect();
    assert_eq!(locks, [(span.0, span.1, 48)]);
}
