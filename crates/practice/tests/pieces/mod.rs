//! A few bars written so that the answer is known.
//!
//! A part is a name and its bars, divided by `|`; a bar is notes of a pitch (or several, joined by `+`, or `r` for a rest) and a length in
//! crotchets: `C4:4 | E4+G4:2 r:2`. A word without a colon is a dynamic mark, `ff`, or begins or ends a hairpin: `crescendo`, `stop`. Sharps and flats are `#` and `b`.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used, clippy::panic)] // each test uses its share, and stops at the first surprise

use std::fmt::Write as _;

use ripieno_formats::{Limits, read};
use ripieno_practice::{Groups, Material, Subject, Taken, take_all};
use ripieno_score::{Score, Sounding, Unroll};
use ripieno_texture::{
    Doublings, Harmony, Held, Lines, Role, RoleReading, Theme, harmony, predict, read_roles, themes, top_lines,
};

/// Divisions of a crotchet.
const DIVISIONS: u32 = 12;

/// An analysed piece.
pub struct Piece {
    pub score: Score,
    pub sounding: Sounding,
    pub groups: Groups,
    pub lines: Lines,
    pub doublings: Doublings,
    pub roles: RoleReading,
    pub harmony: Harmony,
    pub themes: Vec<Theme>,
}

impl Piece {
    /// Writes the parts as MusicXML, reads and analyses them.
    pub fn of(parts: &[(&str, &str)]) -> Self {
        Self::analysed(read("piece.musicxml", music_xml(parts).as_bytes(), &Limits::default()).unwrap().score)
    }

    /// The demo overture, whose truth is planted (`demo/PLANTED.md`), bar by bar as printed.
    pub fn demo() -> Self {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/lifeboat_overture.musicxml");
        Self::analysed(read(path, &std::fs::read(path).unwrap(), &Limits::default()).unwrap().score)
    }

    /// Analyses a score.
    pub fn analysed(score: Score) -> Self {
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let groups = Groups::new(&score);
        let lines = Lines::new(&score, &sounding);
        let doublings = Doublings::new(&sounding, &lines);
        let roles = read_roles(&score, &sounding, &lines, &predict(&score, &sounding));
        let harmony = harmony(&sounding);
        let themes = themes(&top_lines(&sounding));
        Self { score, sounding, groups, lines, doublings, roles, harmony, themes }
    }

    /// Sets the role of a part throughout: the truth is planted, not read.
    pub fn with_role(mut self, part: &str, role: Role) -> Self {
        let index = self.part(part);
        for span in self.roles.spans.iter_mut().filter(|span| span.part == index) {
            span.roles = vec![Held { role, confidence: 1.0 }];
        }
        self
    }

    pub fn part(&self, name: &str) -> usize {
        self.score.parts.iter().position(|part| part.name == name).unwrap_or_else(|| panic!("no part {name}"))
    }

    pub fn section(&self, name: &str) -> Subject {
        Subject::Section(
            self.groups.sections.iter().position(|group| group.name == name).unwrap_or_else(|| panic!("no section {name}")),
        )
    }

    pub fn family(&self, name: &str) -> Subject {
        Subject::Family(
            self.groups.families.iter().position(|group| group.name == name).unwrap_or_else(|| panic!("no family {name}")),
        )
    }

    pub fn material(&self) -> Material<'_> {
        let Self { score, sounding, groups, lines, doublings, roles, harmony, themes } = self;
        Material::new(score, sounding, groups, lines, doublings, roles, harmony, themes)
    }

    /// Every measure, taken.
    pub fn practice(&self) -> Vec<Taken> {
        take_all(&self.material())
    }

    /// One value of one measure: its number and printed bars counted from 1.
    pub fn value(&self, measure: &str, of: Subject, with: Option<Subject>, aspect: &str) -> Option<(f64, Vec<u32>)> {
        let taken = self.practice();
        let taken = taken.iter().find(|taken| taken.measure.name == measure).unwrap_or_else(|| panic!("no measure {measure}"));
        let value = taken.values.iter().find(|value| value.of == of && value.with == with && value.aspect == aspect)?;
        Some((value.value, value.bars.iter().map(|bar| bar + 1).collect()))
    }
}

/// The parts as a MusicXML score at concert pitch, in bars as long as their notes.
pub fn music_xml(parts: &[(&str, &str)]) -> String {
    let mut xml = String::from("<score-partwise version=\"4.0\"><defaults><concert-score/></defaults><part-list>");
    for (index, (name, _)) in parts.iter().enumerate() {
        write!(xml, "<score-part id=\"P{index}\"><part-name>{name}</part-name></score-part>").unwrap();
    }
    xml.push_str("</part-list>");
    for (index, (_, bars)) in parts.iter().enumerate() {
        write!(xml, "<part id=\"P{index}\">").unwrap();
        for (number, bar) in bars.split('|').enumerate() {
            write!(xml, "<measure number=\"{}\">", number + 1).unwrap();
            if number == 0 {
                write!(xml, "<attributes><divisions>{DIVISIONS}</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>").unwrap();
            }
            bar.split_whitespace().for_each(|word| note(&mut xml, word));
            xml.push_str("</measure>");
        }
        xml.push_str("</part>");
    }
    xml.push_str("</score-partwise>");
    xml
}

fn note(xml: &mut String, word: &str) {
    let Some((pitches, length)) = word.split_once(':') else {
        let sign = match word {
            "crescendo" | "diminuendo" | "stop" => format!("<wedge type=\"{word}\"/>"),
            _ => format!("<dynamics><{word}/></dynamics>"),
        };
        write!(xml, "<direction><direction-type>{sign}</direction-type></direction>").unwrap();
        return;
    };
    let (over, under) = length.split_once('/').unwrap_or((length, "1"));
    let duration = over.parse::<u32>().unwrap() * DIVISIONS / under.parse::<u32>().unwrap();
    for (place, pitch) in pitches.split('+').enumerate() {
        let chord = if place > 0 { "<chord/>" } else { "" };
        let what = if pitch == "r" {
            "<rest/>".to_owned()
        } else {
            let (step, rest) = pitch.split_at(1);
            let octave = rest.trim_start_matches(['#', 'b']);
            let alter: i32 = rest.chars().map(|c| i32::from(c == '#') - i32::from(c == 'b')).sum();
            format!("<pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>")
        };
        write!(xml, "<note>{chord}{what}<duration>{duration}</duration><voice>1</voice></note>").unwrap();
    }
}
