//! A player's second instrument: taken up where a line asks for it and there is time, written as a change, laid down again.
#![allow(clippy::unwrap_used, clippy::panic)]

use ripieno_casting::{Habits, Lineup, Options, Plan, Sketch, cast, objections};
use ripieno_formats::{Limits, musicxml, read};
use ripieno_players::Kind;
use ripieno_score::{ChangeKind, DirectionKind, Sounding, Unroll};

/// Four bars for everybody, four of rest for the tune, four in which it lies very high, four of rest, four low: with chords and bass throughout.
fn sketch() -> Sketch {
    let note = |step: char, octave: i32, length: i32, chord: bool| {
        let chord = if chord { "<chord/>" } else { "" };
        let kind = match length {
            4 => "whole",
            2 => "half",
            _ => "quarter",
        };
        format!(
            "<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration><type>{kind}</type></note>"
        )
    };
    let rest = "<note><rest measure=\"yes\"/><duration>4</duration></note>".to_owned();
    let bar = |n: usize, what: String| {
        let start = if n == 1 {
            "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes><direction><sound tempo=\"96\"/></direction>"
        } else {
            ""
        };
        format!("<measure number=\"{n}\">{start}{what}</measure>")
    };
    let tune = |octave: i32| "CEGE".chars().map(|step| note(step, octave, 1, false)).collect::<String>();
    let melody: String = (1..=20)
        .map(|n| {
            bar(
                n,
                match n {
                    1..=4 => tune(5),
                    9..=12 => tune(7),
                    17..=20 => tune(5),
                    _ => rest.clone(),
                },
            )
        })
        .collect();
    let chords: String =
        (1..=20).map(|n| bar(n, note('C', 4, 4, false) + &note('E', 4, 4, true) + &note('G', 4, 4, true))).collect();
    let bass: String = (1..=20).map(|n| bar(n, note('C', 3, 4, false))).collect();
    let part = |id: &str, music: &str| format!("<part id=\"{id}\">{music}</part>");
    let text = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"A\"><part-name>Melody</part-name></score-part><score-part id=\"B\"><part-name>Chords</part-name></score-part>\
         <score-part id=\"C\"><part-name>Bass</part-name></score-part></part-list>{}{}{}</score-partwise>",
        part("A", &melody),
        part("B", &chords),
        part("C", &bass)
    );
    Sketch::by_names(read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
}

const LINEUP: &str = "[[section]]\nname = \"Flute\"\ninstruments = [{ player = 1, doubles = [\"Piccolo\"] }]\n[[section]]\nname = \"Clarinets in Bb\"\nplayers = 2\n\
[[section]]\nname = \"Horn in F\"\n[[section]]\nname = \"Bassoon\"\n";

#[test]
fn the_piccolo_is_taken_up_for_what_lies_above_the_flute() {
    let (sketch, lineup) = (sketch(), Lineup::from_toml("l.toml", LINEUP).unwrap());
    // The flute has the tune whenever there is one, and rests between.
    let plan = "[[phrase]]\nbars = \"1-4\"\nfill = true\n[[phrase.task]]\nsection = \"Flute\"\nrole = \"melody\"\n\
        [[phrase]]\nbars = \"5-8\"\nfill = true\nreserve = [\"Flute\"]\n\
        [[phrase]]\nbars = \"9-12\"\nfill = true\n[[phrase.task]]\nsection = \"Flute\"\nrole = \"melody\"\noctave = 0\ninstrument = \"Piccolo\"\n\
        [[phrase]]\nbars = \"13-16\"\nfill = true\nreserve = [\"Flute\"]\n\
        [[phrase]]\nbars = \"17-20\"\nfill = true\n[[phrase.task]]\nsection = \"Flute\"\nrole = \"melody\"\n";
    let plan = Plan::from_toml("p.toml", plan, &sketch, &lineup).unwrap();
    assert_eq!(plan.phrases[2].tasks[0].held, 1);
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    let at = lineup.find("Flute").unwrap();
    let score = done.score(&sketch, &lineup);
    let part = &score.parts[0];
    assert_eq!(part.instruments.iter().map(|one| one.name.as_str()).collect::<Vec<_>>(), ["flute", "piccolo"]);
    // The piccolo sounds an octave above what is written (any handbook): high C is written within the staff's usual compass.
    let octaves: Vec<i8> = part
        .changes
        .iter()
        .filter_map(|change| if let ChangeKind::Transposition(by) = change.kind { Some(by.octaves) } else { None })
        .collect();
    assert_eq!(octaves, [1, 0]);
    let words: Vec<String> = part
        .directions
        .iter()
        .filter_map(|direction| if let DirectionKind::Words(text) = &direction.kind { Some(text.to_string()) } else { None })
        .collect();
    assert_eq!(words, ["to Piccolo", "Piccolo", "to Flute", "Flute"]);
    // Read back, every note sounds as it was cast.
    let again = read("cast.musicxml", musicxml::write(&score).as_bytes(), &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&again, Unroll::AsWritten);
    let heard: Vec<i32> = sounding.notes.of_part[0].clone().map(|row| sounding.notes.pitch[row].semitones()).collect();
    assert_eq!(heard, done.notes_of((at, 0)).iter().map(|note| note.key()).collect::<Vec<_>>());
    assert!(heard.contains(&96));
    // Its players have nothing to say against compass or time to change.
    let against = objections(&score, &lineup);
    assert!(against.iter().all(|one| one.part != 0 || !matches!(one.kind, Kind::Range | Kind::InstrumentChange)), "{against:?}");
    // A saved plan says which instrument is held.
    let text = done.plan.to_toml(&sketch, &lineup);
    assert!(text.contains("instrument = \"piccolo\""), "{text}");
    assert_eq!(Plan::from_toml("p.toml", &text, &sketch, &lineup).unwrap(), done.plan);
}

#[test]
fn casting_takes_it_up_by_itself_and_only_with_time() {
    let (sketch, lineup) = (sketch(), Lineup::from_toml("l.toml", LINEUP).unwrap());
    let flute = lineup.find("Flute").unwrap();
    let of = |rest: bool| {
        let between = if rest {
            "[[phrase]]\nbars = \"5-8\"\nfill = true\nreserve = [\"Flute\"]\n"
        } else {
            "[[phrase]]\nbars = \"5-8\"\nfill = true\n[[phrase.task]]\nsection = \"Flute\"\nrole = \"chords\"\n"
        };
        let text = format!("[[phrase]]\nbars = \"1-4\"\nfill = true\n{between}[[phrase]]\nbars = \"9-12\"\nfill = true\n");
        let plan = Plan::from_toml("p.toml", &text, &sketch, &lineup).unwrap();
        cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default())
    };
    let held = |done: &ripieno_casting::Cast| {
        let task = done.plan.phrases[2].tasks.iter().find(|task| task.section == flute);
        task.filter(|task| task.strand.is_some()).map(|task| task.held)
    };
    assert_eq!(held(&of(true)), Some(1));
    // Straight from a held chord nobody takes up another flute.
    assert_ne!(held(&of(false)), Some(1));
}

/// Keys of instruments that usually transpose are said, C as well, since a player brings the usual one without it
/// (common practice).
#[test]
fn parts_are_called_as_players_expect() {
    let section = |name: &str| format!("[[section]]\nname = \"{name}\"\nplayers = 2\n");
    let text: String = ["Trumpets in C", "Tubas", "Trombones", "Horns in F", "Flutes"].map(section).concat();
    let (sketch, lineup) = (sketch(), Lineup::from_toml("l.toml", &text).unwrap());
    let made = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let score = made.score(&sketch, &lineup);
    let names: Vec<&str> = score.parts.iter().map(|part| part.name.as_str()).filter(|name| name.contains(" 1")).collect();
    assert_eq!(names, ["Flute 1", "Horn 1 in F", "Trumpet 1 in C", "Trombone 1", "Tuba 1"]);
}
