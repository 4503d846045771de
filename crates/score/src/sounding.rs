//! The sounding view: a flat table of what is heard.
//!
//! One row a note, in columns, grouped by part and ordered by onset: concert pitch, ties joined, repeats unrolled or not,
//! a loudness level and a number of players. Cue-size, hidden and ossia notes have no row. Grace notes have a row of no
//! duration at the moment of the note they lead to. A tremolo is one row of its whole length.

use std::ops::Range;

use crate::directions::DynamicLevel;
use crate::headcount::count_players;
use crate::pitch::{MidiKey, Pitch};
use crate::players::{CountReason, PlayerCount};
use crate::rows::PartRows;
use crate::score::{BarIndex, Score};
use crate::tempo::TempoMap;
use crate::time::Crotchets;
use crate::unroll::playing_order;

/// Whether repeats are played out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unroll {
    /// Each bar once, in the order of the page.
    AsWritten,
    /// Repeats, endings and jumps as players take them.
    AsPlayed,
}

/// A bar on its way past the ear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlayedBar {
    /// Which bar of the score.
    pub bar: BarIndex,
    /// For the how-manieth time it sounds, from 1.
    pub pass: u16,
    /// When it begins, from the start of the piece.
    pub start: Crotchets,
    /// How long it lasts.
    pub length: Crotchets,
}

/// What is heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Sounding {
    /// Bars in the order they sound.
    pub bars: Vec<PlayedBar>,
    /// The notes.
    pub notes: Notes,
    /// Crotchets to seconds.
    pub tempo: TempoMap,
    /// Notes that could not be made to sound as written.
    pub troubles: Vec<Trouble>,
}

/// Something about one written note that kept it from sounding as it stands; `part` indexes [`Score::parts`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // the fields say where
pub enum Trouble {
    /// The pitch, transposed, lies outside the MIDI keyboard; the note has no row.
    BeyondKeyboard { part: usize, bar: BarIndex, semitones: i32 },
    /// A tie arrives that no note of this pitch leads to; the note is attacked anew.
    TieFromNowhere { part: usize, bar: BarIndex, pitch: Pitch },
}

/// The columns; all of equal length. Rows of a part are together and ordered by onset, then pitch from below.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Notes {
    /// Part, index into [`Score::parts`].
    pub part: Vec<u16>,
    /// Bar in which the note begins, index into [`Sounding::bars`].
    pub bar: Vec<u32>,
    /// Beginning, from the start of the piece.
    pub onset: Vec<Crotchets>,
    /// Length, ties joined; zero for grace notes.
    pub duration: Vec<Crotchets>,
    /// Key; `None` for percussion without pitch.
    pub key: Vec<Option<MidiKey>>,
    /// Concert pitch with its spelling; for percussion without pitch, the place on the staff.
    pub pitch: Vec<Pitch>,
    /// Voice within the part.
    pub voice: Vec<u16>,
    /// Staff within the part.
    pub staff: Vec<u8>,
    /// Instrument within the part, index into [`Part::instruments`].
    pub instrument: Vec<u8>,
    /// Players on this note.
    pub players: Vec<PlayerCount>,
    /// Why that many.
    pub players_reason: Vec<CountReason>,
    /// Loudness; `None` before the part's first mark.
    pub level: Vec<Option<DynamicLevel>>,
    /// The written note it begins with, index into [`Part::notes`].
    pub written: Vec<u32>,
    /// Rows of each part.
    pub of_part: Vec<Range<usize>>,
}

/// One row of [`Notes`], borrowed together.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)] // as the columns of Notes
pub struct NoteRow {
    pub part: u16,
    pub bar: u32,
    pub onset: Crotchets,
    pub duration: Crotchets,
    pub key: Option<MidiKey>,
    pub pitch: Pitch,
    pub voice: u16,
    pub staff: u8,
    pub instrument: u8,
    pub players: PlayerCount,
    pub players_reason: CountReason,
    pub level: Option<DynamicLevel>,
    pub written: u32,
}

impl NoteRow {
    /// The order of rows that begin together: from the lowest pitch up, then by voice.
    pub(crate) const fn in_moment(&self) -> (i32, u16, u32) {
        (self.pitch.semitones(), self.voice, self.written)
    }
}

impl Notes {
    /// Number of rows.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.onset.len()
    }

    /// Whether nothing sounds.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.onset.is_empty()
    }

    /// Row `index`; panics beyond the end, as slices do.
    #[must_use]
    pub fn row(&self, index: usize) -> NoteRow {
        NoteRow {
            part: self.part[index],
            bar: self.bar[index],
            onset: self.onset[index],
            duration: self.duration[index],
            key: self.key[index],
            pitch: self.pitch[index],
            voice: self.voice[index],
            staff: self.staff[index],
            instrument: self.instrument[index],
            players: self.players[index],
            players_reason: self.players_reason[index],
            level: self.level[index],
            written: self.written[index],
        }
    }

    /// All rows in order.
    pub fn rows(&self) -> impl Iterator<Item = NoteRow> + '_ {
        (0..self.len()).map(|index| self.row(index))
    }

    fn push(&mut self, row: &NoteRow) {
        self.part.push(row.part);
        self.bar.push(row.bar);
        self.onset.push(row.onset);
        self.duration.push(row.duration);
        self.key.push(row.key);
        self.pitch.push(row.pitch);
        self.voice.push(row.voice);
        self.staff.push(row.staff);
        self.instrument.push(row.instrument);
        self.players.push(row.players);
        self.players_reason.push(row.players_reason);
        self.level.push(row.level);
        self.written.push(row.written);
    }
}

impl Sounding {
    /// Works out what is heard. Reads the score as [`Score::finish`] leaves it.
    ///
    /// Cost grows with the number of notes played and of signs, whatever they are: no chord, tie or hairpin makes the next one
    /// dearer by more than a binary search.
    #[must_use]
    pub fn new(score: &Score, unroll: Unroll) -> Self {
        let bars = played_bars(score, unroll);
        let tempo = TempoMap::new(score, &bars);
        let mut notes = Notes::default();
        let mut troubles = Vec::new();
        for (index, part) in score.parts.iter().enumerate() {
            let first = notes.len();
            let mut rows = PartRows::new(score, part, index).run(&bars, &mut troubles);
            rows.sort_by_key(|row| (row.onset, row.in_moment()));
            count_players(score, part, &bars, &mut rows);
            rows.iter().for_each(|row| notes.push(row));
            notes.of_part.push(first..notes.len());
        }
        Self { bars, notes, tempo, troubles }
    }

    /// When the last bar ends.
    #[must_use]
    pub fn length(&self) -> Crotchets {
        self.bars.last().map_or(Crotchets::ZERO, |bar| bar.start + bar.length)
    }

    /// The played bar that holds the moment `at`, index into [`Sounding::bars`]; `None` without bars.
    #[must_use]
    pub fn bar_at(&self, at: Crotchets) -> Option<usize> {
        let after = self.bars.partition_point(|bar| bar.start <= at);
        (!self.bars.is_empty()).then(|| after.saturating_sub(1))
    }
}

fn played_bars(score: &Score, unroll: Unroll) -> Vec<PlayedBar> {
    let order = match unroll {
        Unroll::AsWritten => (0..u32::try_from(score.bars.len()).unwrap_or(u32::MAX)).map(BarIndex).collect(),
        Unroll::AsPlayed => playing_order(score),
    };
    let mut start = Crotchets::ZERO;
    let mut passes = vec![0u16; score.bars.len()];
    order
        .into_iter()
        .map(|bar| {
            let length = score.bars[bar.at()].length;
            let pass = &mut passes[bar.at()];
            *pass = pass.saturating_add(1);
            let played = PlayedBar { bar, pass: *pass, start, length };
            start += length;
            played
        })
        .collect()
}
