//! The reader: from bytes to a [`Score`], step by step.

use std::collections::BTreeMap;
use std::num::NonZeroU32;

use ripieno_score::{About, BarIndex, Change, ChangeKind, Crotchets, Head, Key, MidiKey, Part, PartInstrument, Score};

use super::bars::{self, Bars, MetreChange};
use super::container::{self, Container};
use super::decode;
use super::events::{self, Event, Strike, TextKind, Tracks, What};
use super::general_midi;
use super::lines::{self, Line};
use super::loudness;
use super::notate::{Look, Scribe};
use super::report::{At, Report, count};
use super::sessions;
use super::signs::{self, place};
use super::spelling::Spelling;
use super::staves;
use super::switches;
use super::text;
use super::timing;
use crate::read::Format;
use crate::{Limits, ReadError, Reading};

/// Reads a Standard MIDI File.
///
/// # Errors
/// When the header is missing or names a type other than 0 and 1, or there is no track, or too many parts.
pub fn read(file: &str, bytes: &[u8], limits: &Limits) -> Result<Reading, ReadError> {
    let mut report = Report::new(file);
    let Container { layout, clock, tracks: raw, faults } = container::open(file, bytes)?;
    for (code, what, hint) in faults {
        report.warning(At::FILE, code, what, hint);
    }
    let mut all = decode::decode(&raw);
    let lines = lines::form(&mut all, layout == 0);
    let mut lines = sessions::merge(&mut all, lines, clock.per_crotchet, &mut report);
    if lines.len() > limits.parts {
        let what = format!("the file has {} parts, more than the {} allowed", lines.len(), limits.parts);
        return Err(ReadError::whole_file(file, "too-many-parts", what, "Split the file"));
    }
    hide_switches(&mut all, &lines, clock.per_crotchet, &mut report);
    let metres = metres(&all, &mut report);
    let timing = timing::settle(&mut all, &mut lines, clock, metres, &mut report);
    let per_crotchet = NonZeroU32::new(timing.per_crotchet).unwrap_or(NonZeroU32::MIN);
    let bars = bars::lay_out(&timing.metres, per_crotchet, end(&all, &lines, per_crotchet), limits, &mut report);
    report_faults(&all, &lines, &bars, &mut report);

    for line in &mut lines {
        staves::divide(&mut all, line);
    }
    let mut signatures = signatures(&all);
    let pitched_of = |line| lines::strikes(&all, line).filter(|strike| !line.is_unpitched(strike));
    let pitched = lines.iter().filter(|line| !line.percussion).flat_map(pitched_of);
    let sounding = pitched.map(|strike| (strike.on, strike.off, strike.key));
    let printed: Vec<(u32, i8)> = signatures.iter().map(|(at, key)| (*at, key.fifths)).collect();
    let spelling = Spelling::find(sounding, bars.end(), per_crotchet.get(), &printed);
    // An estimate is no evidence: only signatures the file has bear on the spelling.
    if signatures.is_empty() && lines.iter().any(|line| !line.percussion) {
        signatures = estimated(&spelling, &bars, &mut report);
    }

    let mut score = Score { about: about(&all), ..Score::default() };
    let budget = limits.events.min(150_000 + bytes.len().saturating_mul(32));
    let mut scribe = Scribe::new(&bars, budget);
    for (index, line) in lines.iter().enumerate() {
        let mut part = write_part(&all, line, index, &spelling, &signatures, &bars, &mut scribe);
        signs::of_line(&all, line, &bars, &mut part, &mut report);
        score.parts.push(part);
    }
    if scribe.is_exhausted() {
        let what = format!("the file unfolds to more than {budget} notes and rests; the rest was left out");
        report.error(At::FILE, "too-many-events", what, "Split the file");
    }
    if scribe.crowded > 0 {
        let what = format!("{} overlap more others than a part has voices for", count(scribe.crowded, "note"));
        report.warning(At::FILE, "too-many-voices", what, "They begin late or were left out");
    }
    if let Some(part) = score.parts.first_mut() {
        signs::of_score(&all, &lines, &timing, &bars, part, &mut report);
    }
    report_silent_tracks(&all, &lines, &mut report);
    if let Some(velocity) = loudness::is_flat(lines.iter().flat_map(|line| lines::strikes(&all, line))) {
        let what = format!("every note has the velocity {velocity}, so nothing is known of the dynamics");
        report.note(At::FILE, "no-dynamics", what, "Study a source with dynamics where balance matters");
    }
    score.bars = bars.bars;
    score.finish();
    Ok(Reading { score, findings: report.into_vec(), format: Format::Midi })
}

/// Key signatures where the file has none, at barlines.
fn estimated(spelling: &Spelling, bars: &Bars, report: &mut Report<'_>) -> Vec<(u32, Key)> {
    let mut signatures: Vec<(u32, Key)> = Vec::new();
    for (tick, key) in spelling.signatures() {
        // The barline nearest to where the section begins.
        let bar = bars.index_at(tick);
        let (start, end) = (bars.starts.get(bar).copied().unwrap_or(0), bars.starts.get(bar + 1).copied().unwrap_or(tick));
        let last = bar + 1 >= bars.bars.len();
        let at = if tick - start.min(tick) <= end.saturating_sub(tick) || last { start } else { end };
        let key = Key { fifths: key.fifths(), major: Some(!key.is_minor()) };
        match signatures.last_mut() {
            Some(before) if before.0 == at => before.1 = key,
            Some(before) if before.1.fifths == key.fifths => {}
            _ => signatures.push((at, key)),
        }
    }
    let accidentals = |fifths: i8| match fifths {
        0 => "no accidentals".to_owned(),
        1.. => format!("{fifths}#"),
        _ => format!("{}b", -fifths),
    };
    let list: Vec<String> =
        signatures.iter().map(|(at, key)| format!("{} from bar {}", accidentals(key.fifths), bars.number_at(*at))).collect();
    let what = format!("the file has no key signature; estimated from the notes: {}", list.join(", "));
    report.note(At::FILE, "key-estimated", what, "Spelling follows the keys estimated bar by bar");
    signatures
}

/// Tracks without notes: what they hold instead.
fn report_silent_tracks(all: &Tracks<'_>, lines: &[Line], report: &mut Report<'_>) {
    let mut empty: Vec<String> = Vec::new();
    for (index, track) in all.tracks.iter().enumerate() {
        if !track.notes.is_empty() || lines.iter().any(|line| line.tracks.contains(&index)) {
            continue;
        }
        let name = lines::track_name(all, track).unwrap_or_else(|| format!("Track {}", index + 1));
        let controls = all.events_of(track).iter().filter(|e| matches!(e.what, What::Controller { .. })).count();
        let controls = u32::try_from(controls).unwrap_or(u32::MAX).saturating_add(track.gestures);
        if controls > 0 {
            let what = format!("the track has no notes but {}", count(controls, "controller event"));
            report.note(At::part(&name), "controller-track", what, "It became no part");
        } else if index > 0 {
            empty.push(name);
        }
    }
    if !empty.is_empty() {
        let what = format!(
            "{} without notes: {}",
            count(u32::try_from(empty.len()).unwrap_or(u32::MAX), "track"),
            timing::some_names(&empty)
        );
        report.note(At::FILE, "empty-tracks", what, "Left out of the parts");
    }
}

/// Hides keys that switch samplers.
fn hide_switches(all: &mut Tracks<'_>, lines: &[Line], per_crotchet: u32, report: &mut Report<'_>) {
    for line in lines.iter().filter(|line| !line.percussion && !line.mixed) {
        let compass = line.identity.as_ref().and_then(lines::Identity::compass);
        for staff in &line.staves {
            let Some(strikes) = all.notes.get_mut(staff.clone()) else { continue };
            let Some((hidden, low, high)) = switches::hide(strikes, compass, per_crotchet) else { continue };
            let name = |key: u8| MidiKey::try_from(i32::from(key)).map_or_else(|_| String::new(), |key| key.pitch().to_string());
            let (low, high) = (name(low), name(high));
            let keys = if low == high { low } else { format!("{low} to {high}") };
            let what = format!("{} on {keys}, beyond the instrument, switch a sampler", count(hidden, "note"));
            report.note(At::part(&line.name), "key-switches", what, "They are kept hidden and do not count as playing");
        }
    }
}

/// The metre changes of all tracks in order of time.
fn metres(all: &Tracks<'_>, report: &mut Report<'_>) -> Vec<MetreChange> {
    let mut metres = Vec::new();
    for event in &all.events {
        if let What::Metre { beats, power } = event.what {
            let metre = MetreChange { at: event.at, beats, power };
            if metre.is_sound() {
                metres.push(metre);
            } else {
                let what = format!("a metre of {beats} over 2 to the power of {power} makes no sense");
                report.warning(At::FILE, "bad-metre", what, "The metre before it was kept");
            }
        }
    }
    metres.sort_by_key(|metre| metre.at);
    metres
}

/// End of the piece: of the last note or sign; silence written out after it is kept up to some bars.
fn end(all: &Tracks<'_>, lines: &[Line], per_crotchet: NonZeroU32) -> u32 {
    const SILENT_CROTCHETS: u32 = 32;
    let notes = lines.iter().flat_map(|line| lines::strikes(all, line)).map(|strike| strike.off).max().unwrap_or(0);
    let said = all.events.iter().filter(|event| matters(event)).map(|event| event.at.saturating_add(1)).max().unwrap_or(0);
    let tracks = all.tracks.iter().map(|track| track.end).max().unwrap_or(0);
    let end = notes.max(said);
    if tracks > end && tracks - end <= per_crotchet.get().saturating_mul(SILENT_CROTCHETS) { tracks } else { end }
}

/// Whether an event keeps the piece going by itself.
fn matters(event: &Event<'_>) -> bool {
    match event.what {
        What::Text { kind, .. } => kind == TextKind::Marker || kind == TextKind::Cue,
        What::Metre { .. } | What::Key { .. } => event.at > 0,
        _ => false,
    }
}

fn report_faults(all: &Tracks<'_>, lines: &[Line], bars: &Bars, report: &mut Report<'_>) {
    for (index, track) in all.tracks.iter().enumerate() {
        let line = lines.iter().find(|line| line.tracks.contains(&index));
        let fallback = format!("Track {}", index + 1);
        let name = line.map_or(fallback.as_str(), |line| &line.name);
        let mut tell = |fault: events::Fault, code, noun: &str, what: &str, hint: &str| {
            if fault.count > 0 {
                let at = At::part(name).in_bar(bars.number_at(fault.first));
                report.warning(at, code, format!("{} {what}", count(fault.count, noun)), hint);
            }
        };
        tell(track.damaged, "damaged-track", "event", "could not be read", "Export the file again if notes are missing");
        tell(track.hanging, "note-without-end", "note", "without an end", "Each was ended where the track goes on");
        tell(track.orphaned, "end-without-note", "note end", "without a note", "Left out");
        tell(track.instant, "note-without-length", "note", "of no length", "Kept as grace notes");
        if track.overlapping.count > 0 {
            let at = At::part(name).in_bar(bars.number_at(track.overlapping.first));
            let what = format!("{} struck while the same key is still held", count(track.overlapping.count, "note"));
            report.note(at, "same-key-twice", what, "Each was taken to end in the order struck");
        }
        if track.unread > 0 {
            let what = format!("{} bytes at the end of the track could not be read", track.unread);
            report.error(At::part(name), "track-cut-off", what, "Export the file again");
        }
        if track.too_late {
            report.error(At::part(name), "absurd-time", "the track goes on for an absurd time", "What lies there was left out");
        }
    }
}

/// Key signatures by moment, without repetitions.
fn signatures(all: &Tracks<'_>) -> Vec<(u32, Key)> {
    let mut found: Vec<(u32, Key)> = Vec::new();
    for event in &all.events {
        if let What::Key { fifths: fifths @ -7..=7, minor } = event.what {
            found.push((event.at, Key { fifths, major: Some(!minor) }));
        }
    }
    found.sort_by_key(|(at, _)| *at);
    found.dedup_by(|later, earlier| later.1 == earlier.1);
    found
}

fn about(all: &Tracks<'_>) -> About {
    let mut about = About { concert_pitch: true, ..About::default() };
    let Some(first) = all.tracks.first() else { return about };
    for event in all.events_of(first) {
        let What::Text { kind, bytes, .. } = event.what else { continue };
        match kind {
            TextKind::TrackName if about.movement.is_empty() && first.notes.is_empty() => about.movement = text::clean(bytes),
            TextKind::Copyright if about.rights.is_empty() => about.rights = text::clean(bytes),
            _ => {}
        }
    }
    about
}

/// The programs of a line in the order they come in, each once: the part's first instruments.
fn distinct_programs(line: &Line) -> Vec<u8> {
    let mut programs: Vec<u8> = Vec::new();
    for &(_, program) in &line.programs {
        if !programs.contains(&program) {
            programs.push(program);
        }
    }
    programs
}

fn write_part(
    all: &Tracks<'_>,
    line: &Line,
    index: usize,
    spelling: &Spelling,
    signatures: &[(u32, Key)],
    bars: &Bars,
    scribe: &mut Scribe<'_>,
) -> Part {
    let id = format!("P{}", index + 1);
    let (instruments, keys) = instruments(line, &id, lines::strikes(all, line));
    let staves = u8::try_from(line.staves.len()).unwrap_or(1).max(1);
    let mut part = Part { id, name: line.name.clone(), instruments, staves, ..Part::default() };
    let single = keys.len() <= 1;
    let programs = distinct_programs(line);
    let instrument_of =
        |program: u8| programs.iter().position(|&own| own == program).and_then(|place| u8::try_from(place).ok()).unwrap_or(0);
    let look = |strike: &Strike| {
        if line.is_unpitched(strike) {
            let place = if single { general_midi::MIDDLE_LINE } else { general_midi::percussion_place(strike.key) };
            let instrument = keys.get(&strike.key).copied().unwrap_or(0);
            return Look { head: Head::Unpitched(place), instrument };
        }
        let after = line.programs.partition_point(|&(at, _)| at <= strike.on);
        let instrument = line.programs.get(after.saturating_sub(1)).map_or(0, |&(_, program)| instrument_of(program));
        Look { head: Head::Pitched(spelling.pitch(strike.key, strike.on)), instrument }
    };
    let mut voices = 0;
    for (staff, range) in (1u8..).zip(&line.staves) {
        let strikes = all.notes.get(range.clone()).unwrap_or_default();
        voices += scribe.write(&mut part, strikes, staff, voices, &look);
        let kind = ChangeKind::Clef(staves::clef(line, usize::from(staff - 1), strikes));
        part.changes.push(Change { bar: BarIndex(0), at: Crotchets::ZERO, staff: Some(staff), kind });
    }
    if !line.percussion {
        for &(at, key) in signatures {
            let (bar, at) = place(bars, at);
            part.changes.push(Change { bar, at, staff: None, kind: ChangeKind::Key(key) });
        }
        for &(at, program) in line.programs.iter().skip(1) {
            let (bar, at) = place(bars, at);
            let kind = ChangeKind::Instrument(instrument_of(program));
            part.changes.push(Change { bar, at, staff: None, kind });
        }
    }
    part
}

/// The part's instruments, and which percussion key is which of them.
fn instruments<'s>(line: &Line, id: &str, strikes: impl Iterator<Item = &'s Strike>) -> (Vec<PartInstrument>, BTreeMap<u8, u8>) {
    let mut list: Vec<PartInstrument> = Vec::new();
    if !line.percussion {
        let channel = line.channel();
        for (number, program) in distinct_programs(line).into_iter().enumerate() {
            let name = if number == 0 { line.name.clone() } else { general_midi::program_name(program).to_owned() };
            list.push(PartInstrument { name, program: Some(program + 1), channel, ..PartInstrument::default() });
        }
        if list.is_empty() {
            list.push(PartInstrument { name: line.name.clone(), channel, ..PartInstrument::default() });
        }
    }
    let mut keys: BTreeMap<u8, u8> = BTreeMap::new();
    if line.percussion || line.mixed {
        keys.extend(strikes.filter(|strike| line.is_unpitched(strike)).map(|strike| (strike.key, 0)));
    }
    let single = line.percussion && keys.len() == 1;
    let channel = if line.percussion { line.channel() } else { Some(lines::PERCUSSION_CHANNEL + 1) };
    for (&key, place) in &mut keys {
        *place = u8::try_from(list.len()).unwrap_or(u8::MAX);
        let named = general_midi::percussion_name(key).filter(|_| !single);
        let name = named.map_or_else(|| line.name.clone(), str::to_owned);
        list.push(PartInstrument { name, channel, drum_key: Some(key), ..PartInstrument::default() });
    }
    for (number, instrument) in (1..).zip(&mut list) {
        instrument.id = format!("{id}-I{number}");
    }
    (list, keys)
}
