//! Small scores for tests.

#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)] // each test uses its share, and may stop

use std::fmt::Write as _;

use ripieno_acoustics::{Able, Asked};
use ripieno_formats::{Limits, read};
use ripieno_instruments::catalogue;
use ripieno_score::{DynamicLevel, PlayerCount, Score};

/// Players who do whatever lies in the usual compass of the catalogue; brass and strings have mutes that take 5 s.
pub struct Willing;

impl Able for Willing {
    fn plays(&self, _: usize, instrument: &str, notes: &[Asked]) -> bool {
        let item = catalogue().by_id(instrument);
        let ranges = item.and_then(|item| item.sounding(item.default_transposition()));
        ranges.is_some_and(|of| notes.iter().all(|note| (of.usual.low()..=of.usual.high()).contains(&note.key)))
    }

    fn has(&self, _: usize, _: &str, _: u8, _: DynamicLevel) -> bool {
        true
    }

    fn mutes(&self, instrument: &str) -> Option<f64> {
        use ripieno_instruments::Family::{Brass, Strings};
        catalogue().by_id(instrument).filter(|item| matches!(item.family, Brass | Strings)).map(|_| 5.0)
    }
}

/// A part: name, players, dynamic mark, and for every bar the keys of one chord of a whole note (none: a rest).
pub struct Desk<'a>(pub &'a str, pub u16, pub &'a str, pub Vec<Vec<u8>>);

/// A score of 4/4 bars at 60 crotchets a minute; every part at concert pitch.
pub fn score(desks: &[Desk<'_>]) -> Score {
    let mut text = String::from("<score-partwise version=\"4.0\"><part-list>");
    for (index, desk) in desks.iter().enumerate() {
        let _ = write!(text, "<score-part id=\"P{index}\"><part-name>{}</part-name></score-part>", desk.0);
    }
    text += "</part-list>";
    for (index, Desk(_, _, mark, bars)) in desks.iter().enumerate() {
        let _ = write!(text, "<part id=\"P{index}\">");
        for (number, keys) in bars.iter().enumerate() {
            let _ = write!(text, "<measure number=\"{}\">", number + 1);
            if number == 0 {
                text += "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
                let _ = write!(
                    text,
                    "<direction><direction-type><dynamics><{mark}/></dynamics></direction-type><sound tempo=\"60\"/></direction>"
                );
            }
            for (at, key) in keys.iter().enumerate() {
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
                ][usize::from(key % 12)];
                let chord = if at > 0 { "<chord/>" } else { "" };
                let _ = write!(
                    text,
                    "<note>{chord}<pitch><step>{step}</step><alter>{alter}</alter><octave>{}</octave></pitch><duration>4</duration><type>whole</type></note>",
                    i32::from(*key) / 12 - 1
                );
            }
            if keys.is_empty() {
                text += "<note><rest/><duration>4</duration></note>";
            }
            text += "</measure>";
        }
        text += "</part>";
    }
    text += "</score-partwise>";
    let mut score = read("test.musicxml", text.as_bytes(), &Limits::default()).expect("the test's own score").score;
    for (part, desk) in score.parts.iter_mut().zip(desks) {
        part.players = PlayerCount::exactly(desk.1);
        // All play every note: a staff for two would leave it open who does.
        part.is_body = desk.1 > 1;
    }
    score
}

/// The demo overture.
pub fn demo() -> Score {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/lifeboat_overture.musicxml");
    read(path, &std::fs::read(path).unwrap(), &Limits::default()).unwrap().score
}
