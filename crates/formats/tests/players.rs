//! Player counts: whole works against the line-up they are published for, and single notes against what their page settles.
//!
//! Source of the line-ups: the instrumentation on the first page of the published scores (in the public domain), counted by
//! hand. The scores are the annotated ones beside the checkout; without them those tests say so and check nothing. What a mark or
//! a name settles is common practice.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ripieno_formats::tables::NotesTable;
use ripieno_formats::{Limits, read, read_file};
use ripieno_instruments::catalogue::catalogue;
use ripieno_score::{Sounding, Unroll};

fn score(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/scores").join(name);
    if path.exists() {
        return Some(path);
    }
    println!("skipped: {name} is not here (the annotated scores lie in ../shared beside the checkout)");
    None
}

fn check(name: &str, expected: &[(&str, u16)]) {
    let Some(path) = score(name) else { return };
    let reading = read_file(&path, &Limits::default()).unwrap();
    let mut counted: BTreeMap<&str, (u16, u16)> = BTreeMap::new();
    for part in &reading.score.parts {
        let section = catalogue().by_id(&part.instrument_id).map_or("?", |instrument| instrument.section.name());
        let count = counted.entry(section).or_default();
        count.0 += part.players.least;
        count.1 += part.players.most;
    }
    for (section, players) in expected {
        assert_eq!(counted.get(section), Some(&(*players, *players)), "{name}: {section}");
    }
}

#[test]
fn brahms_first_symphony_finale() {
    check(
        "Brahms_Op.68_4.mxl",
        &[
            ("flutes", 2),
            ("oboes", 2),
            ("clarinets", 2),
            ("bassoons", 3),
            ("horns", 4),
            ("trumpets", 2),
            ("trombones", 3),
            ("timpani", 1),
        ],
    );
}

#[test]
fn bruckner_fifth_symphony_first_movement() {
    check(
        "Bruckner_WAB.105_1.mxl",
        &[
            ("flutes", 2),
            ("oboes", 2),
            ("clarinets", 2),
            ("bassoons", 2),
            ("horns", 4),
            ("trumpets", 3),
            ("trombones", 3),
            ("tubas", 1),
            ("timpani", 1),
        ],
    );
}

#[test]
fn beethoven_ninth_symphony_finale() {
    check(
        "Beethoven_Op.125_4.mxl",
        &[
            ("flutes", 3),
            ("oboes", 2),
            ("clarinets", 2),
            ("bassoons", 3),
            ("horns", 4),
            ("trumpets", 2),
            ("trombones", 3),
            ("timpani", 1),
        ],
    );
}

/// The players of each note of a part and why, as `ripieno notes` prints them. `music` is written bar by bar: words before a note
/// stand in quotes, `c` is a note of the whole bar, `c+e` two of them in a chord, `c/e` in two voices, `c/-` a second voice that rests.
fn players(name: &str, music: &str) -> Vec<(String, String)> {
    let note = |letter: &str, voice: u8, chord: bool| {
        let (step, chord) = (letter.to_uppercase(), if chord { "<chord/>" } else { "" });
        let head =
            if letter == "-" { "<rest/>".to_owned() } else { format!("<pitch><step>{step}</step><octave>4</octave></pitch>") };
        format!("<note>{chord}{head}<duration>4</duration><voice>{voice}</voice></note>")
    };
    let mut bars = String::new();
    for (number, bar) in music.split(" | ").enumerate() {
        let (words, notes) = bar.rsplit_once('"').map_or(("", bar), |(words, notes)| (words.trim_start_matches('"'), notes));
        bars += &format!("<measure number=\"{}\"><attributes><divisions>1</divisions></attributes>", number + 1);
        if !words.is_empty() {
            bars += &format!("<direction><direction-type><words>{words}</words></direction-type></direction>");
        }
        for (voice, line) in (1u8..).zip(notes.trim().split('/')) {
            if voice > 1 {
                bars += "<backup><duration>4</duration></backup>";
            }
            line.split('+').enumerate().for_each(|(member, letter)| bars += &note(letter, voice, member > 0));
        }
        bars += "</measure>";
    }
    let xml = format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>{name}</part-name></score-part></part-list>\
<part id=\"P1\">{bars}</part></score-partwise>"
    );
    let reading = read("page.musicxml", xml.as_bytes(), &Limits::default()).unwrap();
    let mut bytes = Vec::new();
    let mut table = NotesTable::new(&mut bytes).unwrap();
    table.add("page.musicxml", &reading.score, &Sounding::new(&reading.score, Unroll::AsWritten)).unwrap();
    table.finish().unwrap();
    let mut table = csv::Reader::from_reader(bytes.as_slice());
    let header = table.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|column| column == name).unwrap();
    let rows = table.records().map(Result::unwrap);
    rows.map(|row| (row[column("players")].to_owned(), row[column("players_reason")].to_owned())).collect()
}

#[test]
fn what_the_page_does_not_settle_is_a_range_with_its_reason() {
    let open = "several share the staff and the page does not say who plays";
    let (mark, lines, rests) =
        ("a mark in the part says so", "as many lines sound as players share the staff", "the other voice on the staff rests");
    let (whole, body, divided) = (
        "the part is for this many",
        "the size of the section is not printed",
        "the section is divided and its size is not printed",
    );
    type Case<'c> = (&'c str, &'c str, &'c [(&'c str, &'c str)]);
    let cases: [Case<'_>; 13] = [
        ("Flutes 1.2", "c", &[("1-2", open)]),
        ("Flutes 1.2", "\"a 2\"c", &[("2", mark)]),
        ("Flutes 1.2", "\"2. Solo\"c", &[("1", mark)]),
        ("Flutes 1.2", "c+e", &[("1", lines), ("1", lines)]),
        ("Flutes 1.2", "c/-", &[("1", rests)]),
        ("Flutes 1.2", "\"a 2\"c | c+e | \"1.\"c", &[("2", mark), ("1", lines), ("1", lines), ("1", mark)]),
        ("Horns 1.2.3.4", "c", &[("1-4", open)]),
        ("Horns 1.2.3.4", "c+e", &[("1-3", open), ("1-3", open)]),
        ("Horns 1.2.3.4", "\"a 2\"c+e", &[("2", mark), ("2", mark)]),
        ("Oboe", "c", &[("1", whole)]),
        ("Horns", "c", &[("1-4", open)]),
        ("Violins I", "c", &[("10-16", body)]),
        ("Violins I", "\"div.\"c+e", &[("5-8", divided), ("5-8", divided)]),
    ];
    for (name, music, expected) in cases {
        let expected: Vec<_> = expected.iter().map(|&(players, why)| (players.to_owned(), why.to_owned())).collect();
        assert_eq!(players(name, music), expected, "{name}: {music}");
    }
}
