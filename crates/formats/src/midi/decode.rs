//! From track bytes to strikes and events.
//!
//! Channel messages, nearly all of any file, are decoded here; midly decodes the rest. midly stops a track without a word at the
//! first event it cannot decode, so what is left before and after each step is compared, what the standard forbids
//! inside tracks but some files contain is passed over, and the rest is counted as damage.

use midly::{EventIter, MetaMessage, TrackEventKind};

use super::events::{Event, Strike, StrikeKind, TextKind, Track, Tracks, What};
use super::held::Held;

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
    let (mut unread, mut running) = (bytes, None);
    let mut now: u32 = 0;
    let mut prefix = None;
    loop {
        if let Some((message, rest)) = Message::take(unread, running) {
            unread = rest;
            running = Some(message.status);
            prefix = None;
            now += message.delta; // both below 2^31, so this cannot overflow
            if now > LATEST {
                break;
            }
            message.perform(now, all, &mut track, held);
            continue;
        }
        if unread.is_empty() {
            break;
        }
        let mut events = EventIter::new(unread);
        *events.running_status_mut() = running;
        let event = if promises_too_much(unread) { None } else { events.next() };
        running = events.running_status();
        let Some(Ok(event)) = event else {
            let mended = mend(unread);
            now = now.saturating_add(mended.map_or(0, |(delta, _)| delta)).min(LATEST);
            track.damaged.at(now);
            let Some((_, rest)) = mended else {
                track.unread = unread.len();
                break;
            };
            unread = rest;
            continue;
        };
        unread = events.unread();
        now += event.delta.as_int(); // as above
        if now > LATEST {
            break;
        }
        match event.kind {
            TrackEventKind::Meta(MetaMessage::EndOfTrack) => break,
            TrackEventKind::Meta(MetaMessage::MidiChannel(channel)) => prefix = Some(channel.as_int()),
            TrackEventKind::Meta(meta) => {
                if let Some(what) = meaning(meta, prefix) {
                    all.events.push(Event { at: now, what });
                }
            }
            // Channel messages were taken above; system messages mean nothing on the page.
            TrackEventKind::Midi { .. } | TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
        }
    }
    track.too_late = now > LATEST;
    now = now.min(LATEST);
    track.end = now;
    let notes = all.notes.get_mut(first_note..).unwrap_or_default();
    held.let_go(notes, first_note, now, &mut track.hanging);
    order_chords(notes);
    track.notes = first_note..all.notes.len();
    track.events = first_event..all.events.len();
    track
}

/// A channel message with the ticks before it.
struct Message {
    delta: u32,
    /// Kind and channel.
    status: u8,
    first: u8,
    second: u8,
}

impl Message {
    /// Takes a channel message off the bytes; `None` where something else, or nothing sound, comes next.
    #[inline]
    fn take(bytes: &[u8], running: Option<u8>) -> Option<(Self, &[u8])> {
        let (delta, rest) = variable_length(bytes)?;
        let (&next, after) = rest.split_first()?;
        let (status, data) = if next < 0x80 { (running?, rest) } else { (next, after) };
        let (first, second, rest) = match (status >> 4, data) {
            (0xC | 0xD, [first, rest @ ..]) => (*first, 0, rest),
            (0x8..=0xE, [first, second, rest @ ..]) => (*first, *second, rest),
            _ => return None,
        };
        ((first | second) < 0x80).then_some((Self { delta, status, first, second }, rest))
    }

    #[inline]
    fn perform(&self, now: u32, all: &mut Tracks<'_>, track: &mut Track, held: &mut Held) {
        let channel = self.status & 15;
        match self.status >> 4 {
            0x9 if self.second > 0 => {
                let (key, velocity, kind) = (self.first, self.second, StrikeKind::Played);
                if held.press(&mut all.notes, Strike { on: now, off: Held::LAST, key, velocity, channel, kind }) {
                    track.overlapping.at(now);
                }
            }
            0x8 | 0x9 => match held.release(&mut all.notes, channel, self.first, now) {
                None => track.orphaned.at(now),
                Some(true) => {}
                Some(false) => track.instant.at(now),
            },
            0xB if matches!(self.first, 7 | 11 | 64) => {
                let what = What::Controller { channel, number: self.first, value: self.second };
                all.events.push(Event { at: now, what });
            }
            0xC => all.events.push(Event { at: now, what: What::Program { channel, program: self.first } }),
            _ => track.gestures = track.gestures.saturating_add(1),
        }
    }
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

/// Whether a meta event or system message is said to be longer than the track, which midly takes for its end.
fn promises_too_much(unread: &[u8]) -> bool {
    let length = |bytes: &[u8]| match bytes {
        [0xFF, _, rest @ ..] | [0xF0 | 0xF7, rest @ ..] => variable_length(rest).map(|(length, data)| (length, data.len())),
        _ => None,
    };
    let promised = variable_length(unread).and_then(|(_, event)| length(event));
    promised.is_some_and(|(length, there)| usize::try_from(length).is_ok_and(|length| length > there))
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
#[inline]
fn variable_length(bytes: &[u8]) -> Option<(u32, &[u8])> {
    let join = |groups: &[u8]| groups.iter().fold(0, |value, &group| value << 7 | u32::from(group & 0x7f));
    match bytes {
        [a @ ..0x80, rest @ ..] => Some((u32::from(*a), rest)),
        [a, b @ ..0x80, rest @ ..] => Some((join(&[*a, *b]), rest)),
        [a, b, c @ ..0x80, rest @ ..] => Some((join(&[*a, *b, *c]), rest)),
        [a, b, c, d, rest @ ..] => Some((join(&[*a, *b, *c, *d]), rest)),
        _ => None,
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
