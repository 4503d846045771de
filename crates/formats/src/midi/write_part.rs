//! One part as one track.
//!
//! Each part has a channel of its own, across ports of fifteen; its notes without pitch play on channel 10. Where a key is struck
//! while the part still holds it (two players, two voices), the second strike goes to a further channel, as one channel cannot tell
//! whose note ends. A change of instrument is a change of program. Grace notes, which have no time of their own, are given a
//! short one at the moment of the note they lead to. Loudness becomes velocity: the one a note came with, else twelve plus fourteen for
//! each step of the dynamic scale, mezzo-forte where nothing is marked.

use midly::num::{u4, u7};
use midly::{MetaMessage, MidiMessage, Track, TrackEventKind};
use ripieno_instruments::catalogue;
use ripieno_instruments::recognise::{Clues, recognise};
use ripieno_score::{Crotchets, DynamicLevel, MidiKey, NoteRow, Part, PartInstrument, Sounding};

use super::lines::PERCUSSION_CHANNEL;
use super::write::{self, Clock, Timed};

/// Channels of a port without the percussion's.
const TO_THE_PORT: usize = 15;
/// Most channels a part gets; more strikes of one key at once than these share the last.
const MOST_LANES: usize = 4;
/// A stroke on percussion the catalogue gives no key: side stick.
const ANY_STROKE: u8 = 37;
/// Length of a grace note.
const GRACE: (i64, i64) = (1, 8);
/// A recognition of an instrument by its name at least this sure is relied on.
const SURE: f32 = 0.75;

/// Which channels are taken.
#[derive(Default)]
pub(super) struct Channels {
    taken: usize,
}

impl Channels {
    /// So many free channels of one port: the port and the first of them. They follow each other, passing over percussion.
    fn take(&mut self, count: usize) -> (usize, usize) {
        if self.taken % TO_THE_PORT + count > TO_THE_PORT {
            self.taken = self.taken.next_multiple_of(TO_THE_PORT);
        }
        let first = self.taken;
        self.taken += count;
        (first / TO_THE_PORT, first % TO_THE_PORT)
    }
}

/// The channel in this place of a port, counted from 0.
fn channel(place: usize) -> u8 {
    let place = u8::try_from(place).unwrap_or(0);
    place + u8::from(place >= PERCUSSION_CHANNEL)
}

/// What an instrument of a part sounds like.
#[derive(Clone, Copy)]
struct Voice {
    /// General MIDI program, counted from 0.
    program: Option<u8>,
    drum_key: u8,
}

impl Voice {
    /// The file's own program and key, else those of the instrument as its name or standard sound tells it, else the part's.
    fn of(part: &Part, own: &PartInstrument) -> Self {
        let found =
            (part.instruments.len() > 1).then(|| recognise(&Clues { name: &own.name, sound_id: &own.sound, ..Clues::default() }));
        let named = found.filter(|found| !found.fallback && found.confidence >= SURE).map(|found| found.instrument);
        let whole = catalogue().by_id(&part.instrument_id);
        let program = own.program.or_else(|| named?.program).or_else(|| whole?.program);
        let drum_key = own.drum_key.or_else(|| named?.drum_key).or_else(|| whole?.drum_key);
        Self {
            program: program.filter(|program| (1..=128).contains(program)).map(|program| program - 1),
            drum_key: drum_key.filter(|&key| key <= 127).unwrap_or(ANY_STROKE),
        }
    }
}

/// A key held down.
struct Strike {
    start: u32,
    end: u32,
    key: u8,
    velocity: u8,
    instrument: u8,
    /// Which of the part's channels; `None` for percussion without pitch.
    lane: Option<usize>,
}

/// The part as a track.
pub(super) fn track<'a>(part: &'a Part, index: usize, sounding: &Sounding, clock: Clock, channels: &mut Channels) -> Track<'a> {
    let voices: Vec<Voice> = part.instruments.iter().map(|own| Voice::of(part, own)).collect();
    let voice = |instrument: u8| voices.get(usize::from(instrument)).copied();
    let rows = sounding.notes.of_part[index].clone().map(|row| sounding.notes.row(row));
    let mut strikes: Vec<Strike> = rows
        .map(|row| {
            let start = clock.tick(row.onset);
            let grace = || Crotchets::new(GRACE.0, GRACE.1).unwrap_or(Crotchets::ONE);
            let length = if row.duration.is_zero() { grace() } else { row.duration };
            let end = clock.tick(row.onset + length).max(start + 1);
            let drum = || voice(row.instrument).map_or(ANY_STROKE, |voice| voice.drum_key);
            let key = row.key.map_or_else(drum, MidiKey::number);
            let lane = row.key.map(|_| 0);
            Strike { start, end, key, velocity: velocity(part, &row), instrument: row.instrument, lane }
        })
        .collect();
    let lanes = share_out(&mut strikes);
    let (port, first) = channels.take(lanes);
    let mut events = vec![write::meta(0, MetaMessage::TrackName(part.name.as_bytes()))];
    if port > 0 {
        let port = u8::try_from(port).unwrap_or(u8::MAX).min(127);
        events.push(write::meta(0, MetaMessage::MidiPort(u7::new(port))));
    }
    let mut programs: [Option<u8>; MOST_LANES] = [None; MOST_LANES];
    for strike in &strikes {
        let channel = strike.lane.map_or(PERCUSSION_CHANNEL, |lane| channel(first + lane));
        if let Some(now) = strike.lane.and_then(|lane| programs.get_mut(lane))
            && let Some(program) = voice(strike.instrument).and_then(|voice| voice.program)
            && *now != Some(program)
        {
            // The part's first one from the beginning, so that the instrument is ready when it comes in.
            let tick = if now.is_none() && strike.lane == Some(0) { 0 } else { strike.start };
            *now = Some(program);
            events.push(Timed { tick, rank: 2, kind: midi(channel, MidiMessage::ProgramChange { program: u7::new(program) }) });
        }
        let (key, vel) = (u7::new(strike.key), u7::new(strike.velocity));
        events.push(Timed { tick: strike.start, rank: 3, kind: midi(channel, MidiMessage::NoteOn { key, vel }) });
        let vel = u7::new(64);
        events.push(Timed { tick: strike.end, rank: 1, kind: midi(channel, MidiMessage::NoteOff { key, vel }) });
    }
    write::track(events)
}

/// Gives each strike with pitch, in order of onset, the first lane on which its key is free or struck and released with it;
/// answers how many lanes there are.
fn share_out(strikes: &mut [Strike]) -> usize {
    let mut held = [[(0u32, 0u32); 128]; MOST_LANES];
    let mut lanes = 0;
    for strike in strikes.iter_mut().filter(|strike| strike.lane.is_some()) {
        let span = (strike.start, strike.end);
        let key = usize::from(strike.key & 127);
        let free = |&(_, end): &(u32, u32)| end <= strike.start;
        let lane = held.iter().position(|keys| free(&keys[key]) || keys[key] == span).unwrap_or(MOST_LANES - 1);
        let before = held[lane][key];
        held[lane][key] = if free(&before) { span } else { (before.0, before.1.max(strike.end)) };
        strike.lane = Some(lane);
        lanes = lanes.max(lane + 1);
    }
    lanes
}

fn midi(channel: u8, message: MidiMessage) -> TrackEventKind<'static> {
    TrackEventKind::Midi { channel: u4::new(channel.min(15)), message }
}

fn velocity(part: &Part, row: &NoteRow) -> u8 {
    let own = part.notes.get(row.written as usize).map_or(0, |note| note.velocity);
    if (1..=127).contains(&own) {
        return own;
    }
    let level = row.level.unwrap_or(DynamicLevel::MEZZO_FORTE).0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
    let velocity = (12.0 + 14.0 * level).round().clamp(1.0, 127.0) as u8;
    velocity
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_still_held_is_struck_on_another_channel() {
        let strike = |(start, end, key)| Strike { start, end, key, velocity: 64, instrument: 0, lane: Some(0) };
        let spans = [(0, 96, 60), (0, 96, 60), (24, 48, 60), (24, 48, 64), (30, 60, 60), (96, 120, 60)];
        let mut strikes: Vec<Strike> = spans.map(strike).into_iter().collect();
        assert_eq!(share_out(&mut strikes), 3);
        let lanes: Vec<usize> = strikes.iter().filter_map(|strike| strike.lane).collect();
        assert_eq!(lanes, [0, 0, 1, 0, 2, 0]);
    }

    #[test]
    fn channels_pass_over_percussion_and_go_on_at_the_next_port() {
        let mut channels = Channels::default();
        let places: Vec<(usize, u8)> = [1, 8, 2, 3, 4, 1].map(|count| channels.take(count)).map(|(p, c)| (p, channel(c))).into();
        assert_eq!(places, [(0, 0), (0, 1), (0, 10), (0, 12), (1, 0), (1, 4)]);
    }
}
