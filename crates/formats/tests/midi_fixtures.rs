//! Small MIDI files, written down event by event in `tests/midi/*.txt`, with what is to be read from each.
//!
//! A fixture says in its first lines what it shows and on what authority. `BLESS=1` rewrites what is expected, for a
//! person to check.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::fmt::Write as _;
use std::path::Path;

use ripieno_formats::{Limits, Reading, midi};
use ripieno_score::{ChangeKind, DirectionKind, Mark, NoteFlags, Sounding, Unroll};

/// Builds the file a fixture describes.
fn build(fixture: &str) -> Vec<u8> {
    let (mut layout, mut division, mut riff) = (1u16, 480u16, false);
    let mut tracks: Vec<Vec<u8>> = Vec::new();
    let mut now = 0u32;
    for line in fixture.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')) {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["type", number] => layout = number.parse().unwrap(),
            ["division", "timecode", frames, ticks] => {
                let frames: i8 = frames.parse().unwrap();
                division = u16::from_be_bytes([frames.wrapping_neg().cast_unsigned(), ticks.parse().unwrap()]);
            }
            ["division", number] => division = number.parse().unwrap(),
            ["riff"] => riff = true,
            ["track"] => {
                tracks.push(Vec::new());
                now = 0;
            }
            [tick, what @ ..] => {
                let tick: u32 = tick.parse().unwrap_or_else(|_| panic!("{line}"));
                let track = tracks.last_mut().unwrap();
                // "bytes" stand alone, delta and all.
                if what[0] != "bytes" {
                    variable_length(track, tick - now);
                }
                now = tick;
                event(track, what, line);
            }
            [] => {}
        }
    }
    let mut file = b"MThd\0\0\0\x06".to_vec();
    for number in [layout, u16::try_from(tracks.len()).unwrap(), division] {
        file.extend(number.to_be_bytes());
    }
    for track in tracks {
        file.extend(b"MTrk");
        file.extend(u32::try_from(track.len()).unwrap().to_be_bytes());
        file.extend(track);
    }
    if riff {
        let length = u32::try_from(file.len()).unwrap();
        let mut whole = b"RIFF".to_vec();
        whole.extend((length + 12).to_le_bytes());
        whole.extend(b"RMIDdata");
        whole.extend(length.to_le_bytes());
        whole.extend(file);
        return whole;
    }
    file
}

fn variable_length(bytes: &mut Vec<u8>, value: u32) {
    let groups = [value >> 21, value >> 14, value >> 7, value].map(|group| u8::try_from(group & 127).unwrap());
    let first = groups.iter().position(|&group| group > 0).unwrap_or(3);
    for (index, group) in groups.iter().enumerate().skip(first) {
        bytes.push(if index < 3 { group | 128 } else { *group });
    }
}

fn event(track: &mut Vec<u8>, what: &[&str], line: &str) {
    let number = |index: usize| what[index].parse::<u8>().unwrap_or_else(|_| panic!("{line}"));
    let mut meta = |kind: u8, data: &[u8]| {
        track.extend([0xff, kind, u8::try_from(data.len()).unwrap()]);
        track.extend(data);
    };
    let text = |skip: usize| what[skip..].join(" ").into_bytes();
    match what[0] {
        "on" => track.extend([0x90 | number(1), number(2), number(3)]),
        "off" => track.extend([0x80 | number(1), number(2), 64]),
        "program" => track.extend([0xc0 | number(1), number(2)]),
        "controller" => track.extend([0xb0 | number(1), number(2), number(3)]),
        "text" => meta(1, &text(1)),
        "copyright" => meta(2, &text(1)),
        "name" => meta(3, &text(1)),
        "lyric" => meta(5, &text(1)),
        "marker" => meta(6, &text(1)),
        "end" => meta(0x2f, &[]),
        "tempo" => meta(0x51, &what[1].parse::<u32>().unwrap().to_be_bytes()[1..]),
        "metre" => {
            let (beats, unit) = what[1].split_once('/').unwrap();
            let power = u8::try_from(unit.parse::<u32>().unwrap().ilog2()).unwrap();
            meta(0x58, &[beats.parse().unwrap(), power, 24, 8]);
        }
        "key" => meta(0x59, &[what[1].parse::<i8>().unwrap().cast_unsigned(), u8::from(what.get(2) == Some(&"minor"))]),
        "bytes" => track.extend(what[1..].iter().map(|byte| u8::from_str_radix(byte, 16).unwrap())),
        _ => panic!("{line}"),
    }
}

/// What was read, as text.
fn shown(reading: &Reading) -> String {
    let score = &reading.score;
    let sounding = Sounding::new(score, Unroll::AsWritten);
    let mut out = String::new();
    let bars: Vec<String> = score
        .bars
        .iter()
        .map(|bar| format!("{}({}{})", bar.number, bar.metre.as_ref().map_or(String::new(), |m| format!("{m} ")), bar.length))
        .collect();
    writeln!(out, "bars {}", bars.join(" ")).unwrap();
    for (index, part) in score.parts.iter().enumerate() {
        let programs: Vec<String> = part.instruments.iter().filter_map(|i| i.program).map(|p| format!(" program {p}")).collect();
        writeln!(out, "part {}{}{}", part.name, programs.concat(), if part.staves > 1 { " on 2 staves" } else { "" }).unwrap();
        for row in sounding.notes.of_part[index].clone().map(|row| sounding.notes.row(row)) {
            let note = &part.notes[row.written as usize];
            let pitch = match row.key {
                Some(_) => row.pitch.to_string(),
                None => format!("{} {}", part.instruments[usize::from(row.instrument)].name, row.pitch),
            };
            let staff = if row.staff > 1 { " staff 2" } else { "" };
            writeln!(out, "  {} {} {pitch} voice {}{staff} velocity {}", row.onset, row.duration, row.voice, note.velocity)
                .unwrap();
        }
        let written: Vec<String> = part
            .notes
            .iter()
            .filter(|note| {
                note.flags.intersects(NoteFlags::HIDDEN | NoteFlags::TIE_START | NoteFlags::TIE_STOP) || note.tuplet.is_some()
            })
            .map(|note| {
                let value =
                    note.value.map_or("?".to_owned(), |v| format!("1/{}{}", 1 << v.halvings.max(0), ".".repeat(v.dots.into())));
                let tuplet = note.tuplet.map_or(String::new(), |t| format!(" {}:{}", t.actual, t.normal));
                let hidden = if note.plays() { "" } else { " hidden" };
                let ties = [(NoteFlags::TIE_STOP, " from tie"), (NoteFlags::TIE_START, " tied")];
                let ties: String = ties.iter().filter(|(flag, _)| note.flags.contains(*flag)).map(|(_, name)| *name).collect();
                format!("bar {}+{} {value}{tuplet}{ties}{hidden}", score.bars[note.bar.at()].number, note.at)
            })
            .collect();
        for text in written {
            writeln!(out, "  written {text}").unwrap();
        }
        for direction in &part.directions {
            let at = format!("bar {}+{}", score.bars[direction.bar.at()].number, direction.at);
            writeln!(out, "  {at} {}", sign(&direction.kind)).unwrap();
        }
        for (note, mark) in &part.marks {
            if let Mark::Lyric { text, hyphen, .. } = mark {
                writeln!(out, "  note {note} sings {text}{}", if *hyphen { "-" } else { "" }).unwrap();
            }
        }
        for change in &part.changes {
            let at = format!("bar {}+{}", score.bars[change.bar.at()].number, change.at);
            match &change.kind {
                ChangeKind::Key(key) => writeln!(out, "  {at} key {} {:?}", key.fifths, key.major).unwrap(),
                ChangeKind::Clef(clef) => writeln!(out, "  clef {:?}{} {:+}", clef.sign, clef.line, clef.octaves).unwrap(),
                ChangeKind::Instrument(to) => writeln!(out, "  {at} instrument {to}").unwrap(),
                _ => {}
            }
        }
    }
    for finding in &reading.findings {
        writeln!(out, "{}: {finding} [{}]", finding.severity, finding.code).unwrap();
    }
    out
}

fn sign(kind: &DirectionKind) -> String {
    match kind {
        DirectionKind::Words(text) => format!("words {text}"),
        DirectionKind::Rehearsal(text) => format!("rehearsal {text}"),
        DirectionKind::Dynamic(mark) => format!("dynamic {mark:?}"),
        DirectionKind::Metronome { beat, per_minute, .. } => format!("metronome {} = {per_minute}", beat.length()),
        DirectionKind::PlaybackTempo { crotchets_per_minute } => format!("playback {crotchets_per_minute:.2}"),
        other => format!("{other:?}"),
    }
}

/// Voices of every part fill their bars exactly: what is written in each begins where the last thing ended.
fn check_bars(reading: &Reading, name: &str) {
    for part in &reading.score.parts {
        let notes = part.notes.iter().filter(|n| !n.flags.intersects(NoteFlags::CHORD | NoteFlags::GRACE));
        let mut items: Vec<_> = notes.map(|n| (n.voice, n.bar, n.at, n.duration)).collect();
        items.extend(part.rests.iter().map(|r| (r.voice, r.bar, r.at, r.duration)));
        items.sort();
        for voice in items.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
            let bar = &reading.score.bars[voice[0].1.at()];
            let mut now = ripieno_score::Crotchets::ZERO;
            for item in voice {
                assert_eq!(item.2, now, "{name}, {}, bar {}, voice {}", part.name, bar.number, item.0);
                now += item.3;
            }
            assert_eq!(now, bar.length, "{name}, {}, bar {}, voice {}", part.name, bar.number, voice[0].0);
        }
    }
}

#[test]
fn fixtures() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/midi");
    let mut paths: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    assert!(paths.len() >= 20, "fixtures are missing");
    for path in paths {
        let text = std::fs::read_to_string(&path).unwrap();
        let (given, expected) = text.split_once("expect\n").unwrap_or((&text, ""));
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let got = match midi::read(&format!("{name}.mid"), &build(given), &Limits::default()) {
            Ok(reading) => {
                check_bars(&reading, &name);
                shown(&reading)
            }
            Err(error) => format!("refused: {error} [{}]\n", error.0.code),
        };
        if std::env::var_os("BLESS").is_some() {
            std::fs::write(&path, format!("{given}expect\n{got}")).unwrap();
        } else {
            assert_eq!(got, expected, "{name}");
        }
    }
}
