//! Written MIDI reads back to the same notes, and nearly all of them are spelled as they were.
//!
//! `cargo test -p ripieno-formats --test midi_writing -- --nocapture` prints the share. The spelling of the printed scores is
//! the witness: their editors', not ours.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise

use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, midi, musicxml, read, read_file};
use ripieno_score::{Crotchets, Pitch, Score, Sounding, Unroll};

/// Onset, length, key and spelling.
type Heard = (Crotchets, Crotchets, Option<u8>, Pitch);

/// The notes of each part that has any, sorted; graces, which have no length, left aside.
fn heard(score: &Score, unroll: Unroll) -> Vec<Vec<Heard>> {
    let sounding = Sounding::new(score, unroll);
    let part = |rows: &std::ops::Range<usize>| {
        let notes = rows.clone().map(|row| sounding.notes.row(row)).filter(|row| row.duration.is_positive());
        let key = |row: &ripieno_score::NoteRow| row.key.map(ripieno_score::MidiKey::number);
        let mut notes: Vec<Heard> = notes.map(|row| (row.onset, row.duration, key(&row), row.pitch)).collect();
        notes.sort();
        notes
    };
    sounding.notes.of_part.iter().map(part).filter(|notes| !notes.is_empty()).collect()
}

/// Writes, reads and compares; answers how many notes with pitch are spelled the same, and how many there are.
fn check(score: &Score, name: &str) -> (usize, usize) {
    let bytes = midi::write(score, Unroll::AsPlayed);
    assert_eq!(bytes, midi::write(score, Unroll::AsPlayed), "{name}: the same bytes each time");
    let again = read("written.mid", &bytes, &Limits::default()).unwrap().score;
    let graces = Sounding::new(score, Unroll::AsPlayed).notes.duration.iter().filter(|d| d.is_zero()).count();
    let (before, after) = (heard(score, Unroll::AsPlayed), heard(&again, Unroll::AsWritten));
    assert_eq!(before.len(), after.len(), "{name}: parts");
    let (mut extra, mut same, mut total) = (0, 0, 0);
    for (part, (before, after)) in before.iter().zip(&after).enumerate() {
        let mut missing = Vec::new();
        // Both are in order of onset, length and key: what is read has graces between what was written.
        let mut left = after.iter();
        for note in before {
            match left.find(|other| (other.0, other.1, other.2) >= (note.0, note.1, note.2)) {
                Some(other) if (other.0, other.1, other.2) == (note.0, note.1, note.2) => {
                    total += usize::from(note.2.is_some());
                    same += usize::from(note.2.is_some() && note.3 == other.3);
                }
                _ => missing.push(note),
            }
        }
        assert!(missing.is_empty(), "{name}, part {part}: {missing:?}");
        extra += after.len() - before.len();
    }
    assert_eq!(extra, graces, "{name}: only graces gain a length");
    (same, total)
}

fn check_file(path: &Path) -> (usize, usize) {
    check(&read_file(path, &Limits::default()).unwrap().score, &path.file_name().unwrap().to_string_lossy())
}

/// Files of the data beside the checkout; without them the test says so.
fn data(folder: &str, extension: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data").join(folder);
    let entries = std::fs::read_dir(&folder).into_iter().flatten().filter_map(|entry| Some(entry.ok()?.path()));
    let mut files: Vec<PathBuf> = entries.filter(|path| path.extension().is_some_and(|own| own == extension)).collect();
    files.sort();
    if files.is_empty() {
        println!("skipped: nothing in {}", folder.display());
    }
    files
}

#[test]
fn the_demo_reads_back() {
    check_file(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml"));
}

#[test]
fn symphonies_in_midi_read_back() {
    for path in data("texture/s3_midi", "mid") {
        check_file(&path);
    }
}

/// At least 97 % are spelled as printed.
#[test]
fn printed_scores_read_back() {
    let files = data("scores", "mxl");
    let (mut same, mut total, mut worst) = (0, 0, (1.0, String::new()));
    for path in &files {
        let (own, of) = check_file(path);
        (same, total) = (same + own, total + of);
        #[allow(clippy::cast_precision_loss)] // counts of notes
        let share = own as f64 / of.max(1) as f64;
        if share < worst.0 {
            worst = (share, path.display().to_string());
        }
    }
    if total > 0 {
        println!("spelled as printed: {same} of {total} notes of {} files; worst {:.3} {}", files.len(), worst.0, worst.1);
        assert!(same * 100 >= total * 97);
    }
}

/// A part of MusicXML around bars of our own.
fn score(instruments: &str, bars: &str) -> Score {
    let xml = format!(
        r#"<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Player</part-name>{instruments}</score-part>
        </part-list><part id="P1">{bars}</part></score-partwise>"#
    );
    musicxml::read("own.musicxml", xml.as_bytes(), &Limits::default()).unwrap().score
}

/// The channel messages of the last track: kind and channel, first data byte; midly is the witness.
fn messages(score: &Score) -> Vec<String> {
    let bytes = midi::write(score, Unroll::AsPlayed);
    let smf = midly::Smf::parse(&bytes).unwrap();
    let mut shown = Vec::new();
    let mut now = 0;
    for event in smf.tracks.last().unwrap() {
        now += event.delta.as_int();
        if let midly::TrackEventKind::Midi { channel, message } = event.kind {
            let what = match message {
                midly::MidiMessage::NoteOn { key, .. } => format!("on {key}"),
                midly::MidiMessage::NoteOff { key, .. } => format!("off {key}"),
                midly::MidiMessage::ProgramChange { program } => format!("program {program}"),
                other => format!("{other:?}"),
            };
            shown.push(format!("{now}: {} {what}", channel.as_int() + 1));
        }
    }
    shown
}

const ATTRIBUTES: &str = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";

#[test]
fn only_notes_without_pitch_go_to_channel_10() {
    let instruments = r#"<score-instrument id="I1"><instrument-name>Glockenspiel</instrument-name></score-instrument>
        <score-instrument id="I2"><instrument-name>Triangle</instrument-name></score-instrument>"#;
    let bars = format!(
        r#"<measure number="1">{ATTRIBUTES}
        <note><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><instrument id="I1"/></note>
        <note><unpitched><display-step>B</display-step><display-octave>4</display-octave></unpitched><duration>2</duration><instrument id="I2"/></note>
        </measure>"#
    );
    let score = score(instruments, &bars);
    // Programs and keys after General MIDI: glockenspiel 10 and open triangle 81, counted from 0 and as keys.
    let expected = ["0: 1 program 9", "0: 1 on 72", "48: 1 off 72", "48: 10 on 81", "96: 10 off 81"];
    assert_eq!(messages(&score), expected);
    check(&score, "glockenspiel and triangle");
}

#[test]
fn a_change_of_instrument_changes_the_program() {
    let instruments = r#"<score-instrument id="I1"><instrument-name>Flute</instrument-name></score-instrument>
        <score-instrument id="I2"><instrument-name>Piccolo</instrument-name></score-instrument>"#;
    let note = |instrument: &str| {
        format!(
            r#"<note><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><instrument id="{instrument}"/></note>"#
        )
    };
    let bars = format!(r#"<measure number="1">{ATTRIBUTES}{}{}{}{}</measure>"#, note("I1"), note("I1"), note("I2"), note("I1"));
    let score = score(instruments, &bars.replace("<duration>2", "<duration>1"));
    // General MIDI: flute 74, piccolo 73, counted from 1.
    let expected = [
        "0: 1 program 73",
        "0: 1 on 72",
        "24: 1 off 72",
        "24: 1 on 72",
        "48: 1 off 72",
        "48: 1 program 72",
        "48: 1 on 72",
        "72: 1 off 72",
        "72: 1 program 73",
        "72: 1 on 72",
        "96: 1 off 72",
    ];
    assert_eq!(messages(&score), expected);
    check(&score, "flute and piccolo");
    let bytes = midi::write(&score, Unroll::AsPlayed);
    let again = read("written.mid", &bytes, &Limits::default()).unwrap().score;
    let holding: Vec<u8> = again.parts[0].notes.iter().map(|note| note.instrument).collect();
    assert_eq!(holding, [0, 0, 1, 0]);
}

#[test]
fn two_players_on_one_key_keep_their_own_ends() {
    let note = |duration: u8, voice: u8| {
        format!(
            r"<note><pitch><step>C</step><octave>5</octave></pitch><duration>{duration}</duration><voice>{voice}</voice></note>"
        )
    };
    let rest = r"<note><rest/><duration>1</duration><voice>2</voice></note>";
    let bars = format!(
        r#"<measure number="1">{ATTRIBUTES}{}<backup><duration>4</duration></backup>{rest}{}{rest}{rest}</measure>"#,
        note(4, 1),
        note(1, 2)
    );
    let score = score("", &bars);
    check(&score, "one key twice");
    let on_and_off: Vec<String> = messages(&score).into_iter().filter(|message| !message.contains("program")).collect();
    assert_eq!(on_and_off, ["0: 1 on 72", "24: 2 on 72", "48: 2 off 72", "96: 1 off 72"]);
}

/// A MIDI file has no bars but those its time signatures make (Standard MIDI File 1.0, FF 58): a pickup and a bar divided by a repeat
/// need signatures of their own, or every barline after them falls elsewhere.
#[test]
fn pickups_and_divided_bars_keep_their_barlines() {
    let bar = |number: &str, uncounted: &str, quavers: &[u8]| {
        let note = |quavers: &u8| {
            format!("<note><pitch><step>C</step><octave>5</octave></pitch><duration>{quavers}</duration><voice>1</voice></note>")
        };
        let metre = "<attributes><divisions>2</divisions><time><beats>3</beats><beat-type>4</beat-type></time></attributes>";
        let metre = if number == "0" { metre } else { "" };
        format!("<measure number=\"{number}\"{uncounted}>{metre}{}</measure>", quavers.iter().map(note).collect::<String>())
    };
    let implicit = " implicit=\"yes\"";
    let bars = [
        bar("0", implicit, &[1]),
        bar("1", "", &[2, 2, 2]),
        bar("2", "", &[5]),
        bar("X1", implicit, &[1]),
        bar("3", "", &[6]),
        bar("4", "", &[5]),
    ];
    let xml = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Oboe</part-name></score-part></part-list>\
         <part id=\"P1\">{}</part></score-partwise>",
        bars.concat()
    );
    let starts = |score: &Score| score.bars.iter().map(|bar| bar.start.to_string()).collect::<Vec<_>>();
    let score = read("made.musicxml", xml.as_bytes(), &Limits::default()).unwrap().score;
    assert_eq!(starts(&score), ["0", "1/2", "7/2", "6", "13/2", "19/2"]);
    let again = read("written.mid", &midi::write(&score, Unroll::AsWritten), &Limits::default()).unwrap().score;
    assert_eq!(starts(&again), starts(&score));
}
