//! A small language for test scores, written as MusicXML and read back by the ordinary reader.
//!
//! A part is a name, a transposition ("chromatic diatonic octave", or "") and its music: bars apart by `|`, tokens by spaces.
//!
//! | token | meaning |
//! |---|---|
//! | `C4:1` | a note of one crotchet; `Bb3:1/3`, `F#5:4` |
//! | `C4+E4:2` | a chord |
//! | `r:4` | a rest |
//! | `R*12` | twelve bars of rest (alone in its bar) |
//! | `"pizz.` | words (no spaces; `_` stands for one) |
//! | `!ff` | a dynamic |
//! | `<` `>` `\|` | a crescendo or diminuendo begins, ends |
//! | `@harmonics` | from here the part's other instrument of this name |
//! | `=-2,-1,0` | from here this transposition |
//! | `key:3` | a key signature |
//!
//! After the length come signs on the note, one letter each: `(` `)` slur, `~` tie on, `^` tie arrives, `t` trill, `g` `G` glissando begins,
//! ends, `+` stopped, `x` three strokes of tremolo, `w` `W` two-note tremolo begins, ends, `b` breath mark.
#![allow(dead_code)] // each test uses its share

use ripieno_formats::{Limits, read};
use ripieno_players::{Level, Objection, Options, check};
use ripieno_score::{Score, Sounding, Unroll};

/// Units of a crotchet in the file.
const DIVISIONS: i64 = 48;

/// A part: name, transposition, music.
pub type PartText<'a> = (&'a str, &'a str, &'a str);

fn length(text: &str) -> i64 {
    let (above, below) = text.split_once('/').unwrap_or((text, "1"));
    let number = |text: &str| text.parse::<i64>().unwrap_or_else(|_| panic!("{text} is no length"));
    DIVISIONS * number(above) / number(below)
}

fn pitch(name: &str) -> String {
    let octave = name.find(|c: char| c.is_ascii_digit()).unwrap();
    let alter = name[1..octave].chars().map(|c| if c == '#' { 1 } else { -1 }).sum::<i32>();
    format!("<pitch><step>{}</step><alter>{alter}</alter><octave>{}</octave></pitch>", &name[..1], &name[octave..])
}

fn transpose(text: &str) -> String {
    let parts: Vec<&str> = text.split([' ', ',']).collect();
    format!(
        "<transpose><diatonic>{}</diatonic><chromatic>{}</chromatic><octave-change>{}</octave-change></transpose>",
        parts[1], parts[0], parts[2]
    )
}

fn direction(inside: &str) -> String {
    format!("<direction><direction-type>{inside}</direction-type></direction>")
}

/// What a part may also play, as (name, identifier), from the `@` tokens of its music.
fn others(music: &str) -> Vec<String> {
    let mut names: Vec<String> =
        music.split_whitespace().filter_map(|token| token.strip_prefix('@')).map(str::to_owned).collect();
    names.sort();
    names.dedup();
    names
}

struct Writer {
    instrument: Option<String>,
    out: String,
}

impl Writer {
    fn note(&mut self, id: &str, token: &str) {
        let (heads, rest) = token.split_once(':').unwrap_or_else(|| panic!("{token} is no note"));
        let split = rest.find(|c: char| !c.is_ascii_digit() && c != '/').unwrap_or(rest.len());
        let (duration, signs) = (length(&rest[..split]), &rest[split..]);
        for (at, head) in heads.split('+').enumerate() {
            self.out.push_str("<note>");
            if at > 0 {
                self.out.push_str("<chord/>");
            }
            self.out.push_str(&if head == "r" { "<rest/>".to_owned() } else { pitch(head) });
            self.out.push_str(&format!("<duration>{duration}</duration>"));
            for (sign, kind) in [('^', "stop"), ('~', "start")] {
                if signs.contains(sign) {
                    self.out.push_str(&format!("<tie type=\"{kind}\"/>"));
                }
            }
            let instrument = self.instrument.as_deref().map_or_else(|| format!("{id}-I0"), |name| format!("{id}-{name}"));
            self.out.push_str(&format!("<instrument id=\"{instrument}\"/><voice>1</voice>"));
            let notation = signs.chars().map(|sign| match sign {
                '(' => "<slur type=\"start\" number=\"1\"/>",
                ')' => "<slur type=\"stop\" number=\"1\"/>",
                '~' => "<tied type=\"start\"/>",
                '^' => "<tied type=\"stop\"/>",
                'g' => "<glissando type=\"start\" number=\"1\" line-type=\"wavy\"/>",
                'G' => "<glissando type=\"stop\" number=\"1\" line-type=\"wavy\"/>",
                't' => "<ornaments><trill-mark/></ornaments>",
                '+' => "<technical><stopped/></technical>",
                'x' => "<ornaments><tremolo type=\"single\">3</tremolo></ornaments>",
                'w' => "<ornaments><tremolo type=\"start\">3</tremolo></ornaments>",
                'W' => "<ornaments><tremolo type=\"stop\">3</tremolo></ornaments>",
                'b' => "<articulations><breath-mark/></articulations>",
                other => panic!("{other} is no sign"),
            });
            self.out.push_str(&format!("<notations>{}</notations></note>", notation.collect::<String>()));
        }
    }

    fn token(&mut self, id: &str, token: &str) {
        if let Some(words) = token.strip_prefix('"') {
            self.out.push_str(&direction(&format!("<words>{}</words>", words.replace('_', " "))));
        } else if let Some(mark) = token.strip_prefix('!') {
            self.out.push_str(&direction(&format!("<dynamics><{mark}/></dynamics>")));
        } else if let Some(kind) = match token {
            "<" => Some("crescendo"),
            ">" => Some("diminuendo"),
            "\\" => Some("stop"),
            _ => None,
        } {
            self.out.push_str(&direction(&format!("<wedge type=\"{kind}\" number=\"1\"/>")));
        } else if let Some(name) = token.strip_prefix('@') {
            self.instrument = Some(name.to_owned());
        } else if let Some(by) = token.strip_prefix('=') {
            self.out.push_str(&format!("<attributes>{}</attributes>", transpose(by)));
        } else if let Some(fifths) = token.strip_prefix("key:") {
            self.out.push_str(&format!("<attributes><key><fifths>{fifths}</fifths></key></attributes>"));
        } else {
            self.note(id, token);
        }
    }
}

/// The score as MusicXML: 4/4, so many crotchets a minute.
pub fn musicxml(tempo: u32, parts: &[PartText<'_>]) -> String {
    let mut list = String::new();
    let mut bodies = String::new();
    for (index, (name, by, music)) in parts.iter().enumerate() {
        let id = format!("P{}", index + 1);
        let mut instruments =
            format!("<score-instrument id=\"{id}-I0\"><instrument-name>{name}</instrument-name></score-instrument>");
        for other in others(music) {
            let shown = other.replace('_', " ");
            instruments.push_str(&format!(
                "<score-instrument id=\"{id}-{other}\"><instrument-name>{shown}</instrument-name></score-instrument>"
            ));
        }
        list.push_str(&format!("<score-part id=\"{id}\"><part-name>{name}</part-name>{instruments}</score-part>"));
        let mut writer = Writer { instrument: None, out: String::new() };
        let mut number = 0;
        for bar in music.split('|') {
            let tokens: Vec<&str> = bar.split_whitespace().collect();
            let rests = tokens.first().and_then(|token| token.strip_prefix("R*")).map_or(0, |count| count.parse().unwrap());
            for _ in 0..rests.max(1) {
                number += 1;
                writer.out.push_str(&format!("<measure number=\"{number}\">"));
                if number == 1 {
                    let by = if by.is_empty() { String::new() } else { transpose(by) };
                    writer.out.push_str(&format!(
                        "<attributes><divisions>{DIVISIONS}</divisions><time><beats>4</beats><beat-type>4</beat-type></time>{by}</attributes>\
                         <direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute></metronome>\
                         </direction-type></direction>"
                    ));
                }
                if rests > 0 {
                    writer.token(&id, "r:4");
                } else {
                    tokens.iter().for_each(|token| writer.token(&id, token));
                }
                writer.out.push_str("</measure>");
            }
        }
        bodies.push_str(&format!("<part id=\"{id}\">{}</part>", writer.out));
    }
    format!("<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list>{list}</part-list>{bodies}</score-partwise>")
}

/// The score read.
pub fn score(tempo: u32, parts: &[PartText<'_>]) -> Score {
    read("test.musicxml", musicxml(tempo, parts).as_bytes(), &Limits::default()).unwrap().score
}

/// What is objected to.
pub fn objections(score: &Score, level: Level) -> Vec<Objection> {
    check(score, &Sounding::new(score, Unroll::AsWritten), &Options { level, only: Vec::new() })
}

/// `bars` times the same bar.
pub fn again(bar: &str, bars: usize) -> String {
    vec![bar; bars].join(" | ")
}
