//! From track bytes to note strikes and the few other events that matter to a score.
//!
//! midly decodes single events. It stops a track without a word at the first event it cannot decode, so this module
//! compares what is left before and after each step, passes over what the standard forbids inside tracks but some
//! files contain, and counts the rest as damage.

use std::ops::Range;

use midly::{EventIter, MetaMessage, MidiMessage, TrackEvent, TrackEventKind};

/// One key held down from `on` to `off`, in ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Strike {
    pub(super) on: u32,
    pub(super) off: u32,
    pub(super) key: u8,
    pub(super) velocity: u8,
    /// 0 to 15.
    pub(super) channel: u8,
    /// What the part is to make of it.
    pub(super) kind: StrikeKind,
}

/// What a strike is to the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum StrikeKind {
    /// A note.
    Played,
    /// Of no length: an ornament.
    Grace,
    /// A switch for the sampler or a doubled layer: kept, not played.
    Hidden,
}

/// Something else at a moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Event<'a> {
    pub(super) at: u32,
    pub(super) what: What<'a>,
}

/// The kinds of [`Event`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum What<'a> {
    Program {
        channel: u8,
        program: u8,
    },
    Controller {
        channel: u8,
        number: u8,
        value: u8,
    },
    /// Microseconds to the crotchet.
    Tempo(u32),
    /// Beats and the power of two of the unit.
    Metre {
        beats: u8,
        power: u8,
    },
    Key {
        fifths: i8,
        minor: bool,
    },
    Text {
        kind: TextKind,
        bytes: &'a [u8],
        channel: Option<u8>,
    },
}

/// What a text event is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TextKind {
    Text,
    Copyright,
    TrackName,
    InstrumentName,
    Lyric,
    Marker,
    Cue,
}

/// How often something was wrong, and where first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Fault {
    pub(super) count: u32,
    pub(super) first: u32,
}

impl Fault {
    pub(super) fn at(&mut self, tick: u32) {
        if self.count == 0 {
            self.first = tick;
        }
        self.count = self.count.saturating_add(1);
    }
}

/// One track, as ranges of [`Tracks`].
#[derive(Debug, Clone, Default)]
pub(super) struct Track {
    pub(super) notes: Range<usize>,
    pub(super) events: Range<usize>,
    /// Tick of the last event.
    pub(super) end: u32,
    /// Notes without an end, cut where the track goes on.
    pub(super) hanging: Fault,
    /// Note ends without a beginning, left out.
    pub(super) orphaned: Fault,
    /// Struck again while still held.
    pub(super) overlapping: Fault,
    /// Notes of no length.
    pub(super) instant: Fault,
    /// Bytes that had to be passed over.
    pub(super) damaged: Fault,
    /// Bytes at the end that could not be read.
    pub(super) unread: usize,
    /// Controllers other than those of the score, pitch bends and pressure.
    pub(super) gestures: u32,
    /// Whether the track goes on beyond the latest moment kept.
    pub(super) too_late: bool,
}

/// All tracks of a file.
#[derive(Debug, Default)]
pub(super) struct Tracks<'a> {
    pub(super) notes: Vec<Strike>,
    pub(super) events: Vec<Event<'a>>,
    pub(super) tracks: Vec<Track>,
}

impl<'a> Tracks<'a> {
    pub(super) fn notes_of(&self, track: &Track) -> &[Strike] {
        self.notes.get(track.notes.clone()).unwrap_or_default()
    }

    pub(super) fn events_of(&self, track: &Track) -> &[Event<'a>] {
        self.events.get(track.events.clone()).unwrap_or_default()
    }
}

/// Ticks kept: far beyond any music, and low enough that sums of two do not overflow.
const LATEST: u32 = 1 << 30;

/// Decodes all tracks.
pub(super) fn decode<'a>(raw: &[&'a [u8]]) -> Tracks<'a> {
    let bytes: usize = raw.iter().map(|track| track.len()).sum();
    // Orchestral files hold a note to every eight or nine bytes.
    let mut all = Tracks { notes: Vec::with_capacity(bytes / 8), ..Tracks::default() };
    let mut held = Held::new();
    for bytes in raw {
        let track = decode_track(bytes, &mut all, &mut held);
        all.tracks.push(track);
    }
    all
}

fn decode_track<'a>(bytes: &'a [u8], all: &mut Tracks<'a>, held: &mut Held) -> Track {
    let (first_note, first_event) = (all.notes.len(), all.events.len());
    let mut track = Track::default();
    let mut events = EventIter::new(bytes);
    let mut now: u32 = 0;
    let mut prefix = None;
    loop {
        let unread = events.unread();
        let event = match events.next() {
            Some(Ok(event)) => event,
            _ if unread.is_empty() => break,
            _ => match mend(unread) {
                Some((delta, rest)) => {
                    now = now.saturating_add(delta).min(LATEST);
                    track.damaged.at(now);
                    let status = events.running_status();
                    events = EventIter::new(rest);
                    *events.running_status_mut() = status;
                    continue;
                }
                None => {
                    track.damaged.at(now);
                    track.unread = unread.len();
                    break;
                }
            },
        };
        let TrackEvent { delta, kind } = event;
        now += delta.as_int(); // both below 2^30, so this cannot overflow
        if now > LATEST {
            now = LATEST;
            track.too_late = true;
            break;
        }
        match kind {
            TrackEventKind::Midi { channel, message } => {
                prefix = None;
                let channel = channel.as_int();
                match message {
                    MidiMessage::NoteOn { key, vel } if vel.as_int() > 0 => {
                        let (key, velocity) = (key.as_int(), vel.as_int());
                        let kind = StrikeKind::Played;
                        let strike = Strike { on: now, off: Held::LAST, key, velocity, channel, kind };
                        if held.press(&mut all.notes, strike) {
                            track.overlapping.at(now);
                        }
                    }
                    MidiMessage::NoteOff { key, .. } | MidiMessage::NoteOn { key, .. } => {
                        match held.release(&mut all.notes, channel, key.as_int(), now) {
                            None => track.orphaned.at(now),
                            Some(true) => {}
                            Some(false) => track.instant.at(now),
                        }
                    }
                    MidiMessage::ProgramChange { program } => {
                        all.events.push(Event { at: now, what: What::Program { channel, program: program.as_int() } });
                    }
                    MidiMessage::Controller { controller, value } => match controller.as_int() {
                        number @ (7 | 11 | 64) => {
                            let what = What::Controller { channel, number, value: value.as_int() };
                            all.events.push(Event { at: now, what });
                        }
                        _ => track.gestures = track.gestures.saturating_add(1),
                    },
                    _ => track.gestures = track.gestures.saturating_add(1),
                }
            }
            TrackEventKind::Meta(MetaMessage::EndOfTrack) => break,
            TrackEventKind::Meta(MetaMessage::MidiChannel(channel)) => prefix = Some(channel.as_int()),
            TrackEventKind::Meta(meta) => {
                if let Some(what) = meaning(meta, prefix) {
                    all.events.push(Event { at: now, what });
                }
            }
            TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
        }
    }
    track.end = now;
    let notes = all.notes.get_mut(first_note..).unwrap_or_default();
    held.let_go(notes, first_note, now, &mut track.hanging);
    order_chords(notes);
    track.notes = first_note..all.notes.len();
    track.events = first_event..all.events.len();
    track
}

fn meaning(meta: MetaMessage<'_>, channel: Option<u8>) -> Option<What<'_>> {
    let text = |kind, bytes| Some(What::Text { kind, bytes, channel });
    match meta {
        MetaMessage::Tempo(micros) => Some(What::Tempo(micros.as_int())),
        MetaMessage::TimeSignature(beats, power, ..) => Some(What::Metre { beats, power }),
        MetaMessage::KeySignature(fifths, minor) => Some(What::Key { fifths, minor }),
        MetaMessage::Text(bytes) => text(TextKind::Text, bytes),
        MetaMessage::Copyright(bytes) => text(TextKind::Copyright, bytes),
        MetaMessage::TrackName(bytes) => text(TextKind::TrackName, bytes),
        MetaMessage::InstrumentName(bytes) => text(TextKind::InstrumentName, bytes),
        MetaMessage::Lyric(bytes) => text(TextKind::Lyric, bytes),
        MetaMessage::Marker(bytes) => text(TextKind::Marker, bytes),
        MetaMessage::CuePoint(bytes) => text(TextKind::Cue, bytes),
        _ => None,
    }
}

/// Passes over one event that cannot be decoded: its delta time and what follows it; `None` when there is no telling.
fn mend(unread: &[u8]) -> Option<(u32, &[u8])> {
    let (delta, rest) = variable_length(unread)?;
    let (&status, after) = rest.split_first()?;
    match status {
        // System common and realtime messages: the standard bars them from files, and midly refuses them.
        0xF1 | 0xF3 => Some((delta, after.get(1..)?)),
        0xF2 => Some((delta, after.get(2..)?)),
        0xF4..=0xF6 | 0xF8..=0xFE => Some((delta, after)),
        // A meta event whose contents midly refuses: its length says where the next one starts.
        0xFF => {
            let (length, data) = variable_length(after.get(1..)?)?;
            Some((delta, data.get(usize::try_from(length).ok()?..)?))
        }
        _ => None,
    }
}

/// A number in groups of seven bits, at most four bytes of it, and the bytes after it.
fn variable_length(bytes: &[u8]) -> Option<(u32, &[u8])> {
    let mut value = 0;
    for (index, &byte) in bytes.iter().take(4).enumerate() {
        value = value << 7 | u32::from(byte & 0x7f);
        if byte < 0x80 || index == 3 {
            return Some((value, bytes.get(index + 1..)?));
        }
    }
    None
}

/// Keys held down. A key struck again before it is released is released in the order struck (as other readers do).
struct Held {
    /// Oldest and newest held strike by channel and key, as index + 1 into the notes; 0 for none. Between them each
    /// strike's `off` leads to the next one.
    oldest: Box<[u32; 2048]>,
    newest: Box<[u32; 2048]>,
}

impl Held {
    /// Ends the chain of strikes of one key.
    const LAST: u32 = u32::MAX;

    fn new() -> Self {
        Self { oldest: Box::new([0; 2048]), newest: Box::new([0; 2048]) }
    }

    const fn slot(channel: u8, key: u8) -> usize {
        ((channel as usize & 15) << 7) | (key as usize & 127)
    }

    /// Notes a strike; whether its key was still held.
    fn press(&mut self, notes: &mut Vec<Strike>, strike: Strike) -> bool {
        let slot = Self::slot(strike.channel, strike.key);
        notes.push(strike);
        let place = u32::try_from(notes.len()).unwrap_or(u32::MAX);
        let overlaps = self.oldest[slot] != 0;
        if overlaps {
            if let Some(before) = notes.get_mut((self.newest[slot] as usize).saturating_sub(1)) {
                before.off = place - 1;
            }
        } else {
            self.oldest[slot] = place;
        }
        self.newest[slot] = place;
        overlaps
    }

    /// Ends the oldest strike of a key: whether it had any length; `None` when the key is not held.
    fn release(&mut self, notes: &mut [Strike], channel: u8, key: u8, now: u32) -> Option<bool> {
        let slot = Self::slot(channel, key);
        let place = self.oldest[slot].checked_sub(1)?;
        let strike = notes.get_mut(place as usize)?;
        self.oldest[slot] = if strike.off == Self::LAST { 0 } else { strike.off + 1 };
        strike.off = now;
        let sounds = now > strike.on;
        if !sounds {
            strike.kind = StrikeKind::Grace;
        }
        Some(sounds)
    }

    /// Ends what is still held at the end of a track: where the track's next note begins, or at its end.
    fn let_go(&mut self, notes: &mut [Strike], first: usize, end: u32, hanging: &mut Fault) {
        let mut open: Vec<usize> = Vec::new();
        for (oldest, newest) in self.oldest.iter_mut().zip(self.newest.iter_mut()) {
            let mut place = std::mem::take(oldest);
            *newest = 0;
            while let Some(index) = place.checked_sub(1) {
                let Some(local) = (index as usize).checked_sub(first) else { break };
                let Some(strike) = notes.get(local) else { break };
                open.push(local);
                place = if strike.off == Self::LAST { 0 } else { strike.off + 1 };
            }
        }
        open.sort_unstable();
        for &local in &open {
            hanging.at(notes.get(local).map_or(0, |strike| strike.on));
        }
        // One pass from the end, knowing where the next later note begins.
        let (mut next, mut last) = (end, None);
        for index in (open.first().copied().unwrap_or(notes.len())..notes.len()).rev() {
            let Some(strike) = notes.get_mut(index) else { break };
            if let Some(later) = last.filter(|&later| later > strike.on) {
                next = later;
            }
            last = Some(strike.on);
            if open.last() == Some(&index) {
                open.pop();
                strike.off = next.max(strike.on.saturating_add(1));
            }
        }
    }
}

/// Orders strikes of one moment by end, then key, so that chords lie together.
fn order_chords(notes: &mut [Strike]) {
    let key = |strike: &Strike| (strike.on, strike.off, strike.key, strike.channel);
    for chord in notes.chunk_by_mut(|a, b| a.on == b.on) {
        if chord.len() > 1 {
            chord.sort_by_key(key);
        }
    }
}
