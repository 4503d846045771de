//! What stands around the notes: tempo, rehearsal marks, words, lyrics, pedals and dynamics.

use ripieno_score::{BarIndex, Crotchets, Direction, DirectionKind, DynamicMark, Edge, Mark, NoteFlags, NoteValue, Part};

use super::bars::{self, Bars};
use super::events::{Event, StrikeKind, TextKind, Tracks, What};
use super::lines::{self, Line};
use super::loudness;
use super::report::{At, Report, count};
use super::text;
use super::timing::Timing;

/// Bar and position of a moment.
pub(super) fn place(bars: &Bars, tick: u32) -> (BarIndex, Crotchets) {
    let bar = bars.index_at(tick);
    let start = bars.starts.get(bar).copied().unwrap_or(0);
    let last = bars.starts.get(bar + 1).copied().unwrap_or(start);
    let within = tick.min(last).saturating_sub(start);
    (BarIndex(u32::try_from(bar).unwrap_or(u32::MAX)), bars::at(within, bars.per_crotchet))
}

fn direction(bars: &Bars, tick: u32, above: bool, kind: DirectionKind) -> Direction {
    let (bar, at) = place(bars, tick);
    Direction { bar, at, staff: 1, voice: None, above: Some(above), kind }
}

/// The nearest eighth of a crotchet, for signs of a performance.
fn near(bars: &Bars, tick: u32) -> u32 {
    let step = (bars.per_crotchet.get() / 8).max(1);
    tick.saturating_add(step / 2) / step * step
}

/// Tempo, rehearsal marks and texts of the whole score, on its first part.
pub(super) fn of_score(all: &Tracks<'_>, lines: &[Line], timing: &Timing, bars: &Bars, part: &mut Part, report: &mut Report<'_>) {
    tempos(timing, bars, part);
    let mut marks: Vec<(u32, TextKind, String)> = Vec::new();
    for (index, track) in all.tracks.iter().enumerate() {
        let own_line = lines.iter().any(|line| line.tracks.contains(&index));
        for event in all.events_of(track) {
            let What::Text { kind, bytes, .. } = event.what else { continue };
            let general = matches!(kind, TextKind::Marker | TextKind::Cue);
            let stray = matches!(kind, TextKind::Text | TextKind::Lyric) && !own_line;
            let text = if general || stray { text::clean(bytes) } else { String::new() };
            if !text.is_empty() {
                marks.push((event.at, kind, text));
            }
        }
    }
    marks.sort_by(|a, b| (a.0, &a.2).cmp(&(b.0, &b.2)));
    marks.dedup_by(|a, b| (a.0, &a.2) == (b.0, &b.2));
    for (at, kind, text) in marks {
        if kind == TextKind::Text && at == 0 {
            report.note(At::FILE, "comment", format!("the file says “{text}”"), "");
            continue;
        }
        let text = text.into_boxed_str();
        let kind = if kind == TextKind::Marker && is_rehearsal(&text) {
            DirectionKind::Rehearsal(text)
        } else {
            DirectionKind::Words(text)
        };
        part.directions.push(direction(bars, at, true, kind));
    }
}

/// Letters or numbers as printed at rehearsal marks: "A", "BB", "12", "C1".
fn is_rehearsal(text: &str) -> bool {
    let letters = text.bytes().take_while(u8::is_ascii_uppercase).count();
    let digits = text.bytes().skip(letters).take_while(u8::is_ascii_digit).count();
    letters <= 2 && digits <= 3 && letters + digits == text.len() && !text.is_empty()
}

/// Tempo: metronome marks where they look like some, else for playback only.
fn tempos(timing: &Timing, bars: &Bars, part: &mut Part) {
    let mut tempos = timing.tempos.clone();
    tempos.dedup_by(|later, earlier| later.1 == earlier.1);
    // A curve drawn in a sequencer has many points to the bar; marks are rare.
    let rare = tempos.len() <= bars.bars.len() / 4 + 1;
    for (at, micros) in tempos {
        let exact = 60_000_000.0 / f64::from(micros.max(1));
        let dotted = bars.beats.get(bars.index_at(at)).is_some_and(|beat| beat * 2 == bars.per_crotchet.get() * 3);
        let beat = NoteValue { dots: u8::from(dotted), ..NoteValue::CROTCHET };
        let per_minute = (exact / beat.length().to_f64()).round();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a float cast saturates
        let again = (60_000_000.0 / (per_minute * beat.length().to_f64())).round() as u32;
        let kind = if rare && again.abs_diff(micros) <= 1 {
            DirectionKind::Metronome { beat, per_minute, text: None }
        } else {
            DirectionKind::PlaybackTempo { crotchets_per_minute: exact }
        };
        part.directions.push(direction(bars, at, true, kind));
    }
}

/// Signs of one line, on its part. Call after the notes are written and before the part is finished.
pub(super) fn of_line(all: &Tracks<'_>, line: &Line, bars: &Bars, part: &mut Part, report: &mut Report<'_>) {
    words(all, line, bars, part);
    let own: Vec<Event<'_>> =
        line.tracks.iter().filter_map(|&track| all.tracks.get(track)).flat_map(|track| all.events_of(track)).copied().collect();
    pedals(&own, line, bars, part);
    texts(&own, line, bars, part, report);
    let played = lines::strikes(all, line).filter(|strike| strike.kind == StrikeKind::Played);
    for (at, level) in loudness::steps(played, &own, line) {
        let kind = DirectionKind::Dynamic(DynamicMark::Level(level));
        part.directions.push(direction(bars, at, false, kind));
    }
}

/// Ways of playing, each over the note it came with, which fitting may have moved.
fn words(all: &Tracks<'_>, line: &Line, bars: &Bars, part: &mut Part) {
    let mut onsets: Vec<u32> = lines::strikes(all, line).filter(|s| s.kind != StrikeKind::Hidden).map(|s| s.on).collect();
    onsets.sort_unstable();
    for (at, word) in &line.words {
        let after = onsets.partition_point(|on| on < at);
        let around = onsets.get(after.saturating_sub(1)..).unwrap_or_default().iter().take(2);
        let tick = around.copied().min_by_key(|on| on.abs_diff(*at)).unwrap_or(*at);
        part.directions.push(direction(bars, tick, true, DirectionKind::Words(word.as_str().into())));
    }
}

/// The sustaining pedal: down from 64 on (MIDI 1.0, controller 64).
fn pedals(own: &[Event<'_>], line: &Line, bars: &Bars, part: &mut Part) {
    let mut down = false;
    let mut last = 0;
    for event in own {
        let What::Controller { channel, number: 64, value } = event.what else { continue };
        if !line.has_channel(channel) || (value >= 64) == down {
            continue;
        }
        down = value >= 64;
        last = near(bars, event.at).max(last);
        let kind = DirectionKind::Pedal(if down { Edge::Start } else { Edge::Stop });
        part.directions.push(direction(bars, last, false, kind));
    }
    if down {
        part.directions.push(direction(bars, bars.end(), false, DirectionKind::Pedal(Edge::Stop)));
    }
}

/// Words and lyrics. Lyrics go to the notes at their moment (RP-017, "SMF Lyric Events Definition": a syllable that
/// goes on ends with a hyphen).
fn texts(own: &[Event<'_>], line: &Line, bars: &Bars, part: &mut Part, report: &mut Report<'_>) {
    let mut syllables: Vec<(u32, String)> = Vec::new();
    for event in own {
        let What::Text { kind, bytes, channel } = event.what else { continue };
        if channel.is_some_and(|channel| !line.has_channel(channel)) {
            continue;
        }
        let text = match kind {
            TextKind::Text | TextKind::Lyric => text::clean(bytes),
            _ => continue,
        };
        if text.is_empty() {
            continue;
        }
        if kind == TextKind::Lyric {
            syllables.push((event.at, text));
        } else {
            part.directions.push(direction(bars, near(bars, event.at), true, DirectionKind::Words(text.into())));
        }
    }
    if syllables.is_empty() {
        return;
    }
    // Heads that begin a note of a first voice, by moment.
    let mut heads: Vec<((BarIndex, Crotchets), u32)> = Vec::new();
    for (index, note) in (0u32..).zip(&part.notes) {
        if !note.flags.intersects(NoteFlags::CHORD | NoteFlags::TIE_STOP | NoteFlags::HIDDEN) {
            heads.push(((note.bar, note.at), index));
        }
    }
    heads.sort();
    let mut astray = 0;
    for (at, text) in syllables {
        let moment = place(bars, at);
        let found = heads.partition_point(|(head, _)| *head < moment);
        match heads.get(found).filter(|(head, _)| *head == moment) {
            Some(&(_, note)) => {
                let text = text.trim_start_matches(['/', '\\']);
                let hyphen = text.len() > 1 && text.ends_with('-');
                let text = text.trim_end_matches('-').into();
                part.marks.push((note, Mark::Lyric { verse: 1, text, hyphen }));
            }
            None => {
                astray += 1;
                part.directions.push(direction(bars, near(bars, at), true, DirectionKind::Words(text.into())));
            }
        }
    }
    if astray > 0 {
        let what = format!("{} of the lyrics on no note", count(astray, "syllable"));
        report.note(At::part(&line.name), "lyrics-astray", what, "They stand as words above the staff");
    }
}

#[cfg(test)]
mod tests {
    use super::is_rehearsal;

    #[test]
    fn rehearsal_marks_are_letters_or_numbers() {
        for mark in ["A", "BB", "1", "124", "C1"] {
            assert!(is_rehearsal(mark), "{mark}");
        }
        for text in ["", "Intro", "verse", "Bridge 2", "ABC", "a", "Größe"] {
            assert!(!is_rehearsal(text), "{text}");
        }
    }
}
