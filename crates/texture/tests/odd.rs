//! Scores that are hardly scores: whoever opens a sketch, a part by itself or a page of percussion gets an answer for what sounds and
//! silence for what does not. Nothing here is about agreement; made for these tests.
#![allow(clippy::unwrap_used)]

use std::fmt::Write as _;

use ripieno_formats::{Limits, midi, read};
use ripieno_score::{Score, Sounding, Unroll};
use ripieno_texture::{Doublings, Lines, harmony, predict, read_roles, themes_sung, top_lines};

/// One bar of a part: what stands in it, as MusicXML.
fn note(inside: &str, quavers: u32) -> String {
    format!("<note>{inside}<duration>{quavers}</duration><voice>1</voice></note>")
}

fn pitched(key: u32) -> String {
    let (step, alter) = [
        ("C", 0),
        ("C", 1),
        ("D", 0),
        ("E", -1),
        ("E", 0),
        ("F", 0),
        ("F", 1),
        ("G", 0),
        ("A", -1),
        ("A", 0),
        ("B", -1),
        ("B", 0),
    ][key as usize % 12];
    format!("<pitch><step>{step}</step><alter>{alter}</alter><octave>{}</octave></pitch>", key / 12 - 1)
}

/// Parts with their names, each a list of bars; 4/4 in quavers.
fn score(parts: &[(String, Vec<String>)]) -> Score {
    let (mut list, mut bodies) = (String::new(), String::new());
    for (at, (name, bars)) in parts.iter().enumerate() {
        write!(list, "<score-part id=\"P{at}\"><part-name>{name}</part-name></score-part>").unwrap();
        write!(bodies, "<part id=\"P{at}\">").unwrap();
        for (number, bar) in bars.iter().enumerate() {
            let head = "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
            let head = if number == 0 { head } else { "" };
            write!(bodies, "<measure number=\"{}\">{head}{bar}</measure>", number + 1).unwrap();
        }
        bodies.push_str("</part>");
    }
    let xml = format!("<score-partwise version=\"4.0\"><part-list>{list}</part-list>{bodies}</score-partwise>");
    read("odd.musicxml", xml.as_bytes(), &Limits::default()).unwrap().score
}

/// Everything told of it; what sounds has a role, every number is one, and a MIDI file of it is told as well.
fn told(score: &Score) {
    let again = read("odd.mid", &midi::write(score, Unroll::AsWritten), &Limits::default());
    for score in std::iter::once(score).chain(again.as_ref().ok().map(|reading| &reading.score)) {
        let sounding = Sounding::new(score, Unroll::AsWritten);
        let learned = predict(score, &sounding);
        let lines = Lines::new(score, &sounding);
        let roles = read_roles(score, &sounding, &lines, &learned);
        let probabilities = [&learned.melody, &learned.rhythm, &learned.harmony, &learned.lead];
        assert!(probabilities.into_iter().flatten().flatten().all(|p| (0.0..=1.0).contains(p)));
        assert!(roles.spans.iter().all(|span| !span.bars.is_empty() && span.from <= span.to && !span.evidence.is_empty()));
        assert!(roles.leads.iter().flatten().all(|lead| lead.is_finite()));
        let bars = sounding.bars.len();
        let sounds = |part: usize| (0..bars).any(|bar| !learned.is_silent(part, bar));
        for part in 0..score.parts.len() {
            // A lone grace note has a line and no time.
            assert!(!sounds(part) || !roles.of_part(part).is_empty(), "{}", score.parts[part].name);
        }
        let _ = (Doublings::new(&sounding, &lines), harmony(&sounding));
        for theme in themes_sung(&top_lines(&sounding), |part, from, to| roles.sings(part, from, to)) {
            assert!(theme.reference < theme.statements.len() && theme.statements.len() > 1);
        }
    }
}

fn part(name: &str, bars: Vec<String>) -> (String, Vec<String>) {
    (name.to_owned(), bars)
}

#[test]
fn nothing_and_next_to_nothing() {
    told(&Score::default());
    let rest = || note("<rest/>", 8);
    told(&score(&[part("Oboe", vec![rest()])]));
    told(&score(&[part("", vec![String::new()]), part("", vec![String::new()])]));
    told(&score(&[part("Oboe", vec![note(&pitched(72), 8)])]));
    told(&score(&[part("Oboe", vec![note(&pitched(72), 8)]), part("Horn", vec![rest()]), part("Viola", vec![])]));
    let grace = format!("<note><grace/>{}<voice>1</voice></note>", pitched(74));
    told(&score(&[part("Oboe", vec![grace.clone()]), part("Flute", vec![format!("{grace}{}", note(&pitched(72), 8))])]));
}

#[test]
fn percussion_and_singers_by_themselves() {
    let stroke = "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>";
    let drum = || (0..12).map(|_| [note(stroke, 2), note("<rest/>", 2), note(stroke, 4)].concat()).collect::<Vec<_>>();
    told(&score(&[part("Bass Drum", drum()), part("Snare Drum", drum()), part("Cymbals", drum())]));
    told(&score(&[part("Track 1", drum())]));
    let hymn =
        |low: u32| (0..12).map(|bar| (0..4).map(|beat| note(&pitched(low + (bar * 3 + beat * 2) % 7), 2)).collect()).collect();
    let choir = [("Soprano", 67), ("Alto", 60), ("Tenor", 53), ("Bass", 45)];
    told(&score(&choir.map(|(name, low)| part(name, hymn(low)))));
}

#[test]
fn a_pickup_a_chord_of_forty_and_a_hundred_parts() {
    let pickup = vec![note(&pitched(67), 1), (0..4).map(|beat| note(&pitched(72 + beat), 2)).collect(), note(&pitched(71), 7)];
    told(&score(&[part("Violin I", pickup.clone()), part("Violin II", pickup)]));
    let chord = (0..40).map(|at| note(&format!("{}{}", if at > 0 { "<chord/>" } else { "" }, pitched(40 + at)), 8)).collect();
    told(&score(&[part("Piano", vec![chord])]));
    let many: Vec<_> = (0..100u32)
        .map(|at| {
            let bar = |bar: u32| (0..8).map(|quaver| note(&pitched(36 + (at * 7 + bar * 5 + quaver * 3) % 50), 1)).collect();
            part(&format!("Track {}", at + 1), (0..6).map(bar).collect())
        })
        .collect();
    told(&score(&many));
}
