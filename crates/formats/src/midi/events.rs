//! Note strikes and the few other events that matter to a score, in ticks.

use std::ops::Range;

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
