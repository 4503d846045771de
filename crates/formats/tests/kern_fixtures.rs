//! Small Humdrum files beside what they should be read as, one subject a file.
//!
//! `tests/kern/NAME.krn` is ours, written after the published syntax; its first comment says which rule it is about and where
//! that rule stands. `tests/kern/NAME.txt` holds the reading as text, checked by hand. With `BLESS=1` the texts are written anew.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use std::fmt::Write;
use std::path::Path;

use ripieno_formats::{Limits, kern};
use ripieno_score::{
    Bar, ChangeKind, Direction, DirectionKind, DynamicMark, Edge, Head, Mark, Note, NoteFlags, Part, Score, Sounding, Unroll,
};

#[test]
fn files_read_as_their_tables_say() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kern");
    let mut files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "krn"));
    files.sort();
    assert!(files.len() > 20, "the fixtures are there");
    let mut wrong = Vec::new();
    for file in files {
        let shown = shown(&file);
        let table = file.with_extension("txt");
        if std::env::var_os("BLESS").is_some() {
            std::fs::write(&table, &shown).unwrap();
        }
        let expected = std::fs::read_to_string(&table).unwrap_or_default();
        if shown != expected {
            wrong.push(format!("{} reads as\n{shown}", file.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn shown(file: &Path) -> String {
    let mut out = String::new();
    let bytes = std::fs::read(file).unwrap();
    assert!(kern::looks_like(&bytes));
    let name = file.file_name().unwrap().to_string_lossy();
    let reading = match kern::read(&name, &bytes, &Limits::default()) {
        Ok(reading) => reading,
        Err(error) => return format!("error: {error}\n"),
    };
    let score = &reading.score;
    let title = score.about.title();
    if !title.is_empty() {
        writeln!(out, "title: {title}").unwrap();
    }
    for bracket in &score.brackets {
        writeln!(out, "{} over parts {} to {}", bracket.symbol, bracket.first, bracket.last).unwrap();
    }
    for bar in &score.bars {
        writeln!(out, "{}", bar_line(bar)).unwrap();
    }
    for part in &score.parts {
        show_part(&mut out, part);
    }
    assert_bars_add_up(score);
    let played = Sounding::new(score, Unroll::AsPlayed);
    let order: Vec<String> = played.bars.iter().map(|bar| score.bars[bar.bar.at()].number.to_string()).collect();
    if order.len() != score.bars.len() {
        writeln!(out, "played: {}", order.join(" ")).unwrap();
    }
    writeln!(out, "sounding:").unwrap();
    let sounding = Sounding::new(score, Unroll::AsWritten);
    for row in sounding.notes.rows() {
        let name = &score.parts[usize::from(row.part)].name;
        let pitch = if row.key.is_some() { row.pitch.to_string() } else { format!("({})", row.pitch) };
        let level = row.level.map(|level| format!(" {}", level.mark())).unwrap_or_default();
        writeln!(out, "  {name}: {} for {} {pitch}{level}", row.onset, row.duration).unwrap();
    }
    for trouble in &sounding.troubles {
        writeln!(out, "trouble: {trouble:?}").unwrap();
    }
    for finding in &reading.findings {
        writeln!(out, "{} {}: {finding}", finding.severity, finding.code).unwrap();
    }
    out
}

fn bar_line(bar: &Bar) -> String {
    let mut line = format!("bar {} at {} for {}", bar.number, bar.start, bar.length);
    let mut add = |text: String| {
        line.push_str(", ");
        line.push_str(&text);
    };
    if let Some(metre) = &bar.metre {
        add(metre.to_string());
    }
    if bar.uncounted {
        add("uncounted".into());
    }
    if bar.repeat_start {
        add("|:".into());
    }
    for number in &bar.ending_start {
        add(format!("{number}."));
    }
    for jump in &bar.jumps {
        add(format!("{jump:?}").to_lowercase());
    }
    if let Some(times) = bar.repeat_end {
        add(format!(":| x{times}"));
    }
    if let Some(style) = &bar.barline {
        add(style.to_string());
    }
    line
}

fn show_part(out: &mut String, part: &Part) {
    let staves = if part.staves > 1 { format!(", {} staves", part.staves) } else { String::new() };
    let abbreviation = if part.abbreviation.is_empty() { String::new() } else { format!(" ({})", part.abbreviation) };
    let instruments: Vec<&str> = part.instruments.iter().skip(1).map(|instrument| instrument.name.as_str()).collect();
    let instruments = if instruments.is_empty() { String::new() } else { format!(", then {}", instruments.join(", ")) };
    writeln!(out, "part {}{abbreviation}{staves}{instruments}", part.name).unwrap();
    for change in &part.changes {
        let staff = change.staff.map(|staff| format!(" staff {staff}")).unwrap_or_default();
        let kind = match &change.kind {
            ChangeKind::Clef(clef) => format!("clef {:?}{} {:+}", clef.sign, clef.line, clef.octaves),
            ChangeKind::Key(key) => {
                format!("key {:+} {}", key.fifths, key.major.map_or("", |major| if major { "major" } else { "minor" }))
            }
            ChangeKind::Transposition(by) => {
                format!("transposes {:+} steps {:+} semitones", by.total_diatonic(), by.total_chromatic())
            }
            ChangeKind::Metre(metre) => format!("metre {metre}"),
            other => format!("{other:?}"),
        };
        writeln!(out, "  bar {} at {}{staff}: {}", change.bar.0, change.at, kind.trim_end()).unwrap();
    }
    for (index, note) in part.notes.iter().enumerate() {
        writeln!(out, "  bar {} at {}: {}", note.bar.0, note.at, note_line(part, index, note)).unwrap();
    }
    for rest in &part.rests {
        let mut words = vec![format!("rest {}", rest.duration)];
        words.push(format!("voice {}", rest.voice));
        words.extend(rest.whole_bar.then(|| "bar".to_owned()));
        words.extend(rest.hidden.then(|| "hidden".to_owned()));
        words.extend(rest.cue.then(|| "cue".to_owned()));
        words.extend(rest.fermata.then(|| "fermata".to_owned()));
        writeln!(out, "  bar {} at {}: {}", rest.bar.0, rest.at, words.join(" ")).unwrap();
    }
    for direction in &part.directions {
        let staff = if direction.staff > 1 { format!(" staff {}", direction.staff) } else { String::new() };
        writeln!(out, "  bar {} at {}{staff}: {}", direction.bar.0, direction.at, direction_line(direction)).unwrap();
    }
}

fn note_line(part: &Part, index: usize, note: &Note) -> String {
    let pitch = match note.head {
        Head::Pitched(pitch) => pitch.to_string(),
        Head::Unpitched(pitch) => format!("({pitch})"),
    };
    let mut words = vec![pitch, note.duration.to_string(), format!("voice {}", note.voice)];
    if let Some(tuplet) = note.tuplet {
        words.push(format!("{}:{}", tuplet.actual, tuplet.normal));
    }
    words.extend((note.staff > 1).then(|| format!("staff {}", note.staff)));
    words.extend((note.instrument > 0).then(|| format!("instrument {}", note.instrument)));
    words.extend((note.tremolo > 0).then(|| format!("tremolo {}", note.tremolo)));
    words.extend(note.flags.iter_names().map(|(name, _)| name.to_lowercase()));
    words.extend(note.articulations.iter_names().map(|(name, _)| name.to_lowercase()));
    for mark in part.marks_of(index) {
        words.push(match mark {
            Mark::Slur { edge: Edge::Start, number } => format!("slur{number}("),
            Mark::Slur { number, .. } => format!(")slur{number}"),
            Mark::Glissando { edge: Edge::Start, number, .. } => format!("gliss{number}("),
            Mark::Glissando { number, .. } => format!(")gliss{number}"),
            Mark::Lyric { verse, text, hyphen } => format!("lyric{verse} {text:?}{}", if *hyphen { "-" } else { "" }),
            Mark::Technique(text) | Mark::Other(text) => format!("{text:?}"),
            Mark::Dynamic(dynamic) => dynamic_line(dynamic),
            other => format!("{other:?}"),
        });
    }
    words.join(" ")
}

fn dynamic_line(mark: &DynamicMark) -> String {
    match mark {
        DynamicMark::Level(level) => level.mark().to_owned(),
        DynamicMark::Attack(text) => format!("attack {text}"),
        DynamicMark::AttackThen(text, level) => format!("attack {text} then {}", level.mark()),
        DynamicMark::Other(text) => format!("other {text}"),
    }
}

fn direction_line(direction: &Direction) -> String {
    match &direction.kind {
        DirectionKind::Dynamic(mark) => dynamic_line(mark),
        DirectionKind::HairpinStart { swell, number, .. } => format!("{swell:?} {number} opens").to_lowercase(),
        DirectionKind::HairpinStop { number, .. } => format!("hairpin {number} closes"),
        DirectionKind::Words(text) => format!("words {text:?}"),
        DirectionKind::Metronome { beat, per_minute, .. } => {
            format!("metronome {}{} = {per_minute}", beat.length(), ".".repeat(beat.dots.into()))
        }
        DirectionKind::PlaybackTempo { crotchets_per_minute } => format!("tempo {crotchets_per_minute}"),
        DirectionKind::OctaveShift { edge, octaves, number } => {
            format!("octave shift {octaves:+} {number} {edge:?}").to_lowercase()
        }
        DirectionKind::ChordSymbol(text) => format!("chord {text:?}"),
        other => format!("{other:?}").to_lowercase(),
    }
}

/// In each bar each voice's notes and rests follow one another without overlap and end within the bar.
fn assert_bars_add_up(score: &Score) {
    for part in &score.parts {
        let notes = part.notes.iter().filter(|note| !note.flags.contains(NoteFlags::CHORD) && !note.duration.is_zero());
        let mut spans: Vec<_> = notes.map(|note| (note.bar, note.voice, note.at, note.at + note.duration)).collect();
        spans.extend(part.rests.iter().map(|rest| (rest.bar, rest.voice, rest.at, rest.at + rest.duration)));
        spans.sort();
        for span in &spans {
            assert!(span.3 <= score.bars[span.0.at()].length, "{} {span:?} ends in its bar", part.name);
        }
        for pair in spans.windows(2) {
            let same = (pair[0].0, pair[0].1) == (pair[1].0, pair[1].1);
            assert!(!same || pair[0].3 <= pair[1].2, "{} {pair:?} do not overlap", part.name);
        }
    }
}
