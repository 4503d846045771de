//! A score and what was said about it as text, one fact a line, for comparing with tables checked by hand.

use std::fmt::Write;

use ripieno_formats::{ReadError, Reading};
use ripieno_score::{
    Bar, ChangeKind, Direction, DirectionKind, DynamicMark, Edge, Head, Mark, Note, Part, PartInstrument, Score, Sounding, Unroll,
};

/// The whole reading.
pub fn shown(reading: Result<Reading, ReadError>) -> String {
    let reading = match reading {
        Ok(reading) => reading,
        Err(error) => return format!("error {}: {error}\n", error.0.code),
    };
    let (mut out, score) = (String::new(), &reading.score);
    show_about(&mut out, score);
    for bar in &score.bars {
        writeln!(out, "{}", bar_line(bar)).unwrap();
    }
    for part in &score.parts {
        show_part(&mut out, part);
    }
    let played = Sounding::new(score, Unroll::AsPlayed);
    let order: Vec<String> = played.bars.iter().map(|bar| score.bars[bar.bar.at()].number.to_string()).collect();
    if order.len() != score.bars.len() {
        writeln!(out, "played: {}", order.join(" ")).unwrap();
    }
    writeln!(out, "sounding").unwrap();
    let sounding = Sounding::new(score, Unroll::AsWritten);
    for row in sounding.notes.rows() {
        let part = &score.parts[usize::from(row.part)];
        let name = if part.name.is_empty() { &part.id } else { &part.name };
        let pitch = if row.key.is_some() { row.pitch.to_string() } else { format!("({})", row.pitch) };
        let level = row.level.map(|level| format!(" {}", level.mark())).unwrap_or_default();
        writeln!(out, "  {name}: {} for {} {pitch}{level}", row.onset, row.duration).unwrap();
    }
    for trouble in &sounding.troubles {
        writeln!(out, "trouble {trouble:?}").unwrap();
    }
    for finding in &reading.findings {
        writeln!(out, "{} {}: {finding}", finding.severity, finding.code).unwrap();
    }
    out
}

fn show_about(out: &mut String, score: &Score) {
    let about = &score.about;
    let number = |number: &str| if number.is_empty() { String::new() } else { format!(" ({number})") };
    if !about.title().is_empty() {
        writeln!(out, "title {}{}{}", about.title(), number(&about.work_number), number(&about.movement_number)).unwrap();
    }
    for (role, name) in &about.creators {
        writeln!(out, "{role} {name}").unwrap();
    }
    if !about.rights.is_empty() {
        writeln!(out, "rights {}", about.rights).unwrap();
    }
    if about.concert_pitch {
        writeln!(out, "concert pitch").unwrap();
    }
    for bracket in &score.brackets {
        writeln!(out, "{} {:?} over parts {} to {}", bracket.symbol, bracket.name, bracket.first, bracket.last).unwrap();
    }
}

fn bar_line(bar: &Bar) -> String {
    let mut words = vec![format!("bar {} at {} for {}", bar.number, bar.start, bar.length)];
    words.extend(bar.metre.as_ref().map(ToString::to_string));
    words.extend(bar.uncounted.then(|| "uncounted".to_owned()));
    words.extend(bar.repeat_start.then(|| "|:".to_owned()));
    words.extend((!bar.ending_start.is_empty()).then(|| format!("ending {:?}", bar.ending_start)));
    words.extend(bar.jumps.iter().map(|jump| format!("{jump:?}")));
    words.extend(bar.ending_stop.then(|| "ending stops".to_owned()));
    words.extend(bar.repeat_end.map(|times| format!(":| x{times}")));
    words.extend(bar.barline.as_ref().map(ToString::to_string));
    words.join(", ")
}

fn show_part(out: &mut String, part: &Part) {
    let mut words = vec![format!("part {} {:?}", part.id, part.name)];
    words.extend((!part.abbreviation.is_empty()).then(|| format!("{:?}", part.abbreviation)));
    words.extend((part.staves > 1).then(|| format!("{} staves", part.staves)));
    words.extend(part.instruments.iter().filter(|instrument| instrument.name != part.name).map(instrument));
    writeln!(out, "{}", words.join(", ")).unwrap();
    for change in &part.changes {
        let staff = change.staff.map(|staff| format!(" staff {staff}")).unwrap_or_default();
        let kind = match &change.kind {
            ChangeKind::Clef(clef) => format!("clef {:?}{} {:+}", clef.sign, clef.line, clef.octaves),
            ChangeKind::Key(key) => {
                format!("key {:+} {}", key.fifths, key.major.map_or("", |major| if major { "major" } else { "minor" }))
            }
            ChangeKind::Transposition(by) => {
                let doubled = if by.doubled_below { " doubled below" } else { "" };
                format!("transposes {:+} steps {:+} semitones{doubled}", by.total_diatonic(), by.total_chromatic())
            }
            ChangeKind::Metre(metre) => format!("metre {metre}"),
            other => format!("{other:?}"),
        };
        writeln!(out, "  {}@{}{staff}: {}", change.bar, change.at, kind.trim_end()).unwrap();
    }
    for (index, note) in part.notes.iter().enumerate() {
        writeln!(out, "  {}@{}: {}", note.bar, note.at, note_line(part, index, note)).unwrap();
    }
    for rest in &part.rests {
        let mut words = vec![format!("rest {}", rest.duration)];
        words.extend((rest.voice > 1).then(|| format!("voice {}", rest.voice)));
        words.extend((rest.staff > 1).then(|| format!("staff {}", rest.staff)));
        words.extend(rest.whole_bar.then(|| "whole bar".to_owned()));
        words.extend(rest.hidden.then(|| "hidden".to_owned()));
        words.extend(rest.cue.then(|| "cue".to_owned()));
        words.extend(rest.fermata.then(|| "fermata".to_owned()));
        writeln!(out, "  {}@{}: {}", rest.bar, rest.at, words.join(" ")).unwrap();
    }
    for direction in &part.directions {
        writeln!(out, "  {}@{}: {}", direction.bar, direction.at, direction_line(direction)).unwrap();
    }
}

fn instrument(instrument: &PartInstrument) -> String {
    let mut words = vec![format!("plays {:?}", instrument.name)];
    words.extend((!instrument.sound.is_empty()).then(|| instrument.sound.clone()));
    words.extend(instrument.channel.map(|channel| format!("channel {channel}")));
    words.extend(instrument.program.map(|program| format!("program {program}")));
    words.extend(instrument.drum_key.map(|key| format!("key {key}")));
    words.extend(instrument.ensemble.map(|players| format!("ensemble {players}")));
    words.join(" ")
}

fn note_line(part: &Part, index: usize, note: &Note) -> String {
    let pitch = match note.head {
        Head::Pitched(pitch) => pitch.to_string(),
        Head::Unpitched(pitch) => format!("({pitch})"),
    };
    let mut words = vec![pitch, note.duration.to_string()];
    words.extend((note.voice > 1).then(|| format!("voice {}", note.voice)));
    words.extend((note.staff > 1).then(|| format!("staff {}", note.staff)));
    words.extend(note.tuplet.map(|tuplet| format!("{}:{}", tuplet.actual, tuplet.normal)));
    words.extend((note.instrument > 0).then(|| format!("instrument {}", note.instrument)));
    words.extend((note.velocity > 0).then(|| format!("velocity {}", note.velocity)));
    words.extend((note.tremolo > 0).then(|| format!("tremolo {}", note.tremolo)));
    words.extend(note.flags.iter_names().map(|(name, _)| name.to_lowercase()));
    words.extend(note.articulations.iter_names().map(|(name, _)| name.to_lowercase()));
    words.extend((1..=3).filter_map(|level| Some(format!("beam{level} {:?}", note.beams.get(level)?).to_lowercase())));
    words.extend((note.stem != ripieno_score::Stem::Unset).then(|| format!("stem {:?}", note.stem).to_lowercase()));
    for mark in part.marks_of(index) {
        words.push(match mark {
            Mark::Slur { edge: Edge::Start, number } => format!("slur{number}("),
            Mark::Slur { number, .. } => format!(")slur{number}"),
            Mark::Lyric { verse, text, hyphen } => format!("lyric{verse} {text:?}{}", if *hyphen { "-" } else { "" }),
            Mark::SoundingPitch(pitch) => format!("sounds {pitch}"),
            Mark::Dynamic(dynamic) => dynamic_line(dynamic),
            other => format!("{other:?}"),
        });
    }
    words.join(" ")
}

fn dynamic_line(mark: &DynamicMark) -> String {
    match mark {
        DynamicMark::Level(level) => format!("level {}", level.mark()),
        DynamicMark::Attack(text) => format!("attack {text}"),
        DynamicMark::AttackThen(text, level) => format!("attack {text} then {}", level.mark()),
        DynamicMark::Other(text) => format!("dynamic {text:?}"),
    }
}

fn direction_line(direction: &Direction) -> String {
    let mut line = match &direction.kind {
        DirectionKind::Dynamic(mark) => dynamic_line(mark),
        other => format!("{other:?}"),
    };
    if direction.staff > 1 {
        write!(line, " staff {}", direction.staff).unwrap();
    }
    if let Some(voice) = direction.voice {
        write!(line, " voice {voice}").unwrap();
    }
    if let Some(above) = direction.above {
        line += if above { " above" } else { " below" };
    }
    line
}
