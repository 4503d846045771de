//! Who plays how much over a longer stretch: everybody of a band some of the time, nobody all of it without a rest who need not.
#![allow(clippy::unwrap_used, clippy::panic)]

use ripieno_casting::{Cast, Habits, Lineup, Options, Plan, Sketch, cast, proposals_unless};
use ripieno_formats::{Limits, read};

/// 96 bars of tune in crotchets, chords and bass in semibreves.
fn sketch() -> Sketch {
    let note = |step: char, octave: i32, length: i32, chord: &str| {
        let kind = if length == 4 { "whole" } else { "quarter" };
        format!(
            "<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration><type>{kind}</type></note>"
        )
    };
    let chords = [("CEG", "CEGE"), ("FAC", "FACA"), ("GBD", "GBDB"), ("CEG", "CGEG")];
    let part = |id: &str, music: &dyn Fn(usize) -> String| {
        let bars: String = (0..96)
            .map(|n| {
                let start = if n == 0 {
                    "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
                } else {
                    ""
                };
                format!("<measure number=\"{}\">{start}{}</measure>", n + 1, music(n))
            })
            .collect();
        format!("<part id=\"{id}\">{bars}</part>")
    };
    let tune =
        part("A", &|n| chords[n % 4].1.chars().map(|step| note(step, 4 + i32::from(step < 'C' || n % 8 > 3), 1, "")).collect());
    let harmony = part("B", &|n| {
        let tones = chords[n % 4].0.chars().enumerate();
        tones.map(|(at, step)| note(step, 4, 4, if at > 0 { "<chord/>" } else { "" })).collect()
    });
    let bass = part("C", &|n| note(chords[n % 4].0.chars().next().unwrap(), 2, 4, ""));
    let names = [("A", "Melody"), ("B", "Chords"), ("C", "Bass")]
        .map(|(id, name)| format!("<score-part id=\"{id}\"><part-name>{name}</part-name></score-part>"))
        .concat();
    let text = format!("<score-partwise version=\"4.0\"><part-list>{names}</part-list>{tune}{harmony}{bass}</score-partwise>");
    Sketch::by_names(read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
}

const BAND: &str = "[[section]]\nname = \"Horns in F\"\nplayers = 4\n[[section]]\nname = \"Trumpets in C\"\nplayers = 3\n[[section]]\nname = \"Trombones\"\nplayers = 3\n\
[[section]]\nname = \"Euphoniums\"\nplayers = 2\n[[section]]\nname = \"Tubas\"\nplayers = 2\n";

#[test]
fn in_a_band_everybody_plays_and_rests() {
    let (sketch, lineup) = (sketch(), Lineup::from_toml("band", BAND).unwrap());
    let done: Cast = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let phrases = done.phrases.len();
    let mut rests = 0;
    for (at, section) in lineup.sections.iter().enumerate() {
        let silent = |phrase: &&ripieno_casting::PhraseCast| {
            (0..section.chairs.len()).all(|chair| phrase.notes.get(&(at, chair)).is_none_or(Vec::is_empty))
        };
        let silent = done.phrases.iter().filter(silent).count();
        assert!(silent * 4 <= phrases * 3, "{} rest in {silent} of {phrases} phrases", section.name);
        rests += silent;
    }
    assert!(rests > 0, "nobody ever rests");
    assert_eq!(done.criteria.get("chord tones sounded"), Some(1.0));
    assert_eq!(done.criteria.get("melody notes kept"), Some(1.0));
}

#[test]
fn casting_can_be_given_up_between_phrases() {
    let (sketch, lineup) = (sketch(), Lineup::from_toml("band", BAND).unwrap());
    let ask = |stop: &dyn Fn() -> bool| {
        proposals_unless(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default(), 3, stop).len()
    };
    assert_eq!(ask(&|| true), 0);
    // Given up some time within the second proposal: the first is finished.
    let asked = std::cell::Cell::new(0usize);
    let phrases = Plan::phrases_of(&sketch).phrases.len();
    let later = || {
        asked.set(asked.get() + 1);
        asked.get() > 2 * phrases + 1 + phrases / 2
    };
    assert_eq!(ask(&later), 1);
    assert!(asked.get() < 3 * phrases + 4, "{}", asked.get());
}
