//! Sketches written as words: staves of bars, `|` between these, of chords with a length in quavers: "Bb4:3 C5:1 F4,D4,Bb3:4 r:2".
#![allow(dead_code)] // no test program asks for all of it

use std::fmt::Write as _;

use ripieno_casting::{Lineup, Sketch};
use ripieno_formats::{Limits, read};

/// A staff: its name, its mark, its music.
pub struct Staff<'a>(pub &'a str, pub &'a str, pub &'a str);

/// Letter, alteration and octave of a pitch as it is written here.
fn parts_of(pitch: &str) -> (&str, i32, &str) {
    let alter = |sign: char| i32::try_from(pitch[1..].matches(sign).count()).unwrap();
    (&pitch[..1], alter('#') - alter('b'), &pitch[pitch.len() - 1..])
}

fn bar(text: &str) -> String {
    let mut music = String::new();
    for word in text.split_whitespace() {
        let (chord, length) = word.split_once(':').unwrap();
        let kind = match length {
            "1" => "<type>eighth</type>",
            "2" => "<type>quarter</type>",
            "3" => "<type>quarter</type><dot/>",
            "4" => "<type>half</type>",
            "6" => "<type>half</type><dot/>",
            "8" => "<type>whole</type>",
            other => panic!("no note of {other} quavers"),
        };
        for (at, pitch) in chord.split(',').enumerate() {
            let joined = if at > 0 { "<chord/>" } else { "" };
            let head = if pitch == "r" {
                "<rest/>".to_owned()
            } else {
                let (step, alter, octave) = parts_of(pitch);
                format!("<pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>")
            };
            write!(music, "<note>{joined}{head}<duration>{length}</duration>{kind}</note>").unwrap();
        }
    }
    music
}

/// A sketch in 4/4 with so many sharps (negative: flats).
pub fn sketch(fifths: i32, staves: &[Staff<'_>]) -> Sketch {
    let (mut names, mut parts) = (String::new(), String::new());
    for (id, Staff(name, mark, music)) in staves.iter().enumerate() {
        write!(names, "<score-part id=\"P{id}\"><part-name>{name}</part-name></score-part>").unwrap();
        write!(parts, "<part id=\"P{id}\">").unwrap();
        for (n, text) in music.split('|').enumerate() {
            write!(parts, "<measure number=\"{}\">", n + 1).unwrap();
            if n == 0 {
                let time = "<time><beats>4</beats><beat-type>4</beat-type></time>";
                write!(parts, "<attributes><divisions>2</divisions><key><fifths>{fifths}</fifths></key>{time}</attributes>")
                    .unwrap();
                let dynamics = format!("<dynamics><{mark}/></dynamics>");
                write!(parts, "<direction><direction-type>{dynamics}</direction-type></direction>").unwrap();
            }
            write!(parts, "{}</measure>", bar(text)).unwrap();
        }
        parts.push_str("</part>");
    }
    let text = format!("<score-partwise version=\"4.0\"><part-list>{names}</part-list>{parts}</score-partwise>");
    Sketch::by_names(read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
}

/// A line-up of so many players of each instrument.
pub fn lineup(sections: &[(&str, usize)]) -> Lineup {
    let section = |(name, players): &(&str, usize)| format!("[[section]]\nname = \"{name}\"\nplayers = {players}\n");
    Lineup::from_toml("l.toml", &sections.iter().map(section).collect::<String>()).unwrap()
}
