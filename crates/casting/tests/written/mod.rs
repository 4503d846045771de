//! Sketches written as words: staves of bars, `|` between these, of chords with a length in quavers: "Bb4:3 C5:1 F4,D4,Bb3:4 r:2". What is tied on ends with `~`, what is tied from before begins with
//! `_`: "C4:8~ | _C4:8". Voices of a bar have `/` between them, and what stands before a `!` goes into the bar as it is: a key, a barline.
#![allow(dead_code)] // no test program asks for all of it

use std::fmt::Write as _;

use ripieno_casting::{Lineup, Sketch};
use ripieno_formats::{Limits, Reading, read};

/// A staff: its name, its mark, its music.
pub struct Staff<'a>(pub &'a str, pub &'a str, pub &'a str);

/// Letter, alteration and octave of a pitch as it is written here.
fn parts_of(pitch: &str) -> (&str, i32, &str) {
    let alter = |sign: char| i32::try_from(pitch[1..].matches(sign).count()).unwrap();
    (&pitch[..1], alter('#') - alter('b'), &pitch[pitch.len() - 1..])
}

fn voice(text: &str, number: usize) -> (String, usize) {
    let (mut music, mut sum) = (String::new(), 0);
    for word in text.split_whitespace() {
        let (from, word) = word.strip_prefix('_').map_or((false, word), |word| (true, word));
        let (on, word) = word.strip_suffix('~').map_or((false, word), |word| (true, word));
        let ties = [(from, "stop"), (on, "start")].map(|(there, edge)| match there {
            true => format!("<tie type=\"{edge}\"/>"),
            false => String::new(),
        });
        let (chord, length) = word.split_once(':').unwrap();
        sum += length.parse::<usize>().unwrap();
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
            let ties = ties.concat();
            write!(music, "<note>{joined}{head}<duration>{length}</duration>{ties}<voice>{number}</voice>{kind}</note>").unwrap();
        }
    }
    (music, sum)
}

fn bar(text: &str) -> String {
    let (before, text) = text.split_once('!').unwrap_or(("", text));
    let voices: Vec<(String, usize)> = (1..).zip(text.split('/')).map(|(number, text)| voice(text, number)).collect();
    let mut music = before.to_owned();
    for (at, (notes, length)) in voices.iter().enumerate() {
        music.push_str(notes);
        if at + 1 < voices.len() {
            write!(music, "<backup><duration>{length}</duration></backup>").unwrap();
        }
    }
    music
}

/// So many bars, each by its number.
pub fn bars(many: usize, of: impl Fn(usize) -> String) -> String {
    (0..many).map(of).collect::<Vec<String>>().join(" | ")
}

/// Something held through so many bars.
pub fn held(many: usize, chord: &str) -> String {
    bars(many, |n| format!("{}{chord}:8{}", if n > 0 { "_" } else { "" }, if n + 1 < many { "~" } else { "" }))
}

/// A tune in crotchets.
pub fn tune(many: usize) -> String {
    bars(many, |n| ["C5:2 D5:2 E5:2 F5:2", "G5:2 A5:2 G5:2 F5:2"][n % 2].to_owned())
}

/// A sketch in 4/4 with so many sharps (negative: flats).
pub fn sketch(fifths: i32, staves: &[Staff<'_>]) -> Sketch {
    Sketch::by_names(reading(fifths, staves).score).unwrap()
}

/// The same page as it is read.
pub fn reading(fifths: i32, staves: &[Staff<'_>]) -> Reading {
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
                if !mark.is_empty() {
                    let dynamics = format!("<dynamics><{mark}/></dynamics>");
                    write!(parts, "<direction><direction-type>{dynamics}</direction-type></direction>").unwrap();
                }
            }
            write!(parts, "{}</measure>", bar(text)).unwrap();
        }
        parts.push_str("</part>");
    }
    let text = format!("<score-partwise version=\"4.0\"><part-list>{names}</part-list>{parts}</score-partwise>");
    read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap()
}

/// A line-up of so many players of each instrument.
pub fn lineup(sections: &[(&str, usize)]) -> Lineup {
    let section = |(name, players): &(&str, usize)| format!("[[section]]\nname = \"{name}\"\nplayers = {players}\n");
    Lineup::from_toml("l.toml", &sections.iter().map(section).collect::<String>()).unwrap()
}
