//! The sounding view: a flat table of what is heard.
//!
//! One row a note, in columns, grouped by part and ordered by onset: concert pitch, ties joined, repeats unrolled or not,
//! a loudness level and a number of players. Cue-size, hidden and ossia notes have no row. Grace notes have a row of no
//! duration at the moment of the note they lead to. A tremolo is one row of its whole length.

use std::ops::Range;

use crate::directions::DynamicLevel;
use crate::levels::PartLevels;
use crate::note::{Head, Mark, Note, NoteFlags};
use crate::pitch::{MidiKey, Pitch, Transposition};
use crate::players::{CountReason, PlayerCount, PlayerMarks};
use crate::score::{BarIndex, ChangeKind, Part, Score};
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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
    /// Works out what is heard. Reads the score as [`Score::finish`] leaves it; cost grows with the number of notes played.
    #[must_use]
    pub fn new(score: &Score, unroll: Unroll) -> Self {
        let bars = played_bars(score, unroll);
        let tempo = TempoMap::new(score, &bars);
        let mut notes = Notes::default();
        let mut troubles = Vec::new();
        for (index, part) in score.parts.iter().enumerate() {
            let first = notes.len();
            let mut rows = PartRows::new(score, part, index).run(&bars, &mut troubles);
            rows.sort_by_key(|row| (row.onset, row.pitch.semitones(), row.voice, row.written));
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

/// A note that is being held by a tie.
struct Held {
    row: usize,
    semitones: i32,
    voice: u16,
    end: Crotchets,
}

struct PartRows<'a> {
    score: &'a Score,
    part: &'a Part,
    index: usize,
    levels: PartLevels,
    /// (bar, position, staff or all) and the transposition from there on, sorted.
    transpositions: Vec<(BarIndex, Crotchets, Option<u8>, Transposition)>,
    rows: Vec<NoteRow>,
    held: Vec<Held>,
}

impl<'a> PartRows<'a> {
    fn new(score: &'a Score, part: &'a Part, index: usize) -> Self {
        let transpositions = part
            .changes
            .iter()
            .filter_map(|change| match change.kind {
                ChangeKind::Transposition(by) => Some((change.bar, change.at, change.staff, by)),
                _ => None,
            })
            .collect();
        let levels = PartLevels::new(part, &score.bars);
        Self { score, part, index, levels, transpositions, rows: Vec::with_capacity(part.notes.len()), held: Vec::new() }
    }

    fn run(mut self, bars: &[PlayedBar], troubles: &mut Vec<Trouble>) -> Vec<NoteRow> {
        let has_harmonics = self.part.marks.iter().any(|(_, mark)| matches!(mark, Mark::SoundingPitch(_)));
        for (played, bar) in (0u32..).zip(bars) {
            let first = self.part.notes.partition_point(|note| note.bar < bar.bar);
            let last = first + self.part.notes[first..].partition_point(|note| note.bar == bar.bar);
            for written in first..last {
                let note = &self.part.notes[written];
                if note.plays() {
                    let harmonic = if has_harmonics { self.harmonic(written) } else { None };
                    self.note(note, harmonic, written, (played, bar), troubles);
                }
            }
        }
        self.rows
    }

    fn harmonic(&self, written: usize) -> Option<Pitch> {
        self.part.marks_of(written).find_map(|mark| if let Mark::SoundingPitch(pitch) = mark { Some(*pitch) } else { None })
    }

    fn note(
        &mut self,
        note: &Note,
        harmonic: Option<Pitch>,
        written: usize,
        (played, bar): (u32, &PlayedBar),
        troubles: &mut Vec<Trouble>,
    ) {
        let onset = bar.start + note.at;
        let (pitch, key, doubled) = match note.head {
            Head::Unpitched(place) => (place, None, false),
            Head::Pitched(pitch) => {
                let by = self.transposition(note);
                let sounding = harmonic.unwrap_or(pitch).moved(by);
                match sounding.key() {
                    Ok(key) => (sounding, Some(key), by.doubled_below),
                    Err(error) => {
                        troubles.push(Trouble::BeyondKeyboard { part: self.index, bar: note.bar, semitones: error.0 });
                        return;
                    }
                }
            }
        };
        let level = {
            let start = self.score.bars.get(note.bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
            self.levels.at(note.staff, note.voice, start + note.at)
        };
        let row = NoteRow {
            part: u16::try_from(self.index).unwrap_or(u16::MAX),
            bar: played,
            onset,
            duration: note.duration,
            key,
            pitch,
            voice: note.voice,
            staff: note.staff,
            instrument: note.instrument,
            players: PlayerCount::default(),
            players_reason: CountReason::Part,
            level,
            written: u32::try_from(written).unwrap_or(u32::MAX),
        };
        self.sound(row, note.flags, troubles);
        if doubled {
            let below = pitch.moved(Transposition { octaves: -1, ..Transposition::NONE });
            if let Ok(key) = below.key() {
                // The octave below takes the tie flags but not the complaint: one is enough for a note.
                self.sound(NoteRow { key: Some(key), pitch: below, ..row }, note.flags, &mut Vec::new());
            }
        }
    }

    /// Adds the row, or lengthens the one a tie leads from.
    fn sound(&mut self, row: NoteRow, flags: NoteFlags, troubles: &mut Vec<Trouble>) {
        let semitones = row.pitch.semitones();
        self.held.retain(|held| held.end >= row.onset);
        let mut joined = None;
        if flags.contains(NoteFlags::TIE_STOP) {
            let fits = |held: &Held| held.semitones == semitones && held.end == row.onset;
            let place = self
                .held
                .iter()
                .position(|held| fits(held) && held.voice == row.voice)
                .or_else(|| self.held.iter().position(fits));
            if let Some(place) = place {
                let held = self.held.swap_remove(place);
                self.rows[held.row].duration += row.duration;
                joined = Some(held.row);
            } else {
                let bar = self.part.notes.get(row.written as usize).map_or(BarIndex(0), |note| note.bar);
                troubles.push(Trouble::TieFromNowhere { part: self.index, bar, pitch: row.pitch });
            }
        }
        let index = joined.unwrap_or_else(|| {
            self.rows.push(row);
            self.rows.len() - 1
        });
        if flags.contains(NoteFlags::TIE_START) {
            self.held.push(Held { row: index, semitones, voice: row.voice, end: row.onset + row.duration });
        }
    }

    fn transposition(&self, note: &Note) -> Transposition {
        let after = self.transpositions.partition_point(|change| (change.0, change.1) <= (note.bar, note.at));
        self.transpositions[..after]
            .iter()
            .rev()
            .find(|change| change.2.is_none_or(|staff| staff == note.staff))
            .map_or(Transposition::NONE, |change| change.3)
    }
}

/// Fills in the players of each row, now that it is known what sounds beside it. Rows are ordered by onset.
fn count_players(score: &Score, part: &Part, bars: &[PlayedBar], rows: &mut [NoteRow]) {
    if !part.is_body && part.players.most <= 1 {
        return;
    }
    let marks = PlayerMarks::new(part, &score.bars);
    // Lines are counted per staff at each onset: rows that begin there or still sound. Two rows of one key are two lines.
    let mut sounding: Vec<(u8, Crotchets)> = Vec::new();
    let mut i = 0;
    while i < rows.len() {
        let onset = rows[i].onset;
        let count = rows[i..].partition_point(|row| row.onset == onset);
        sounding.retain(|&(_, end)| end > onset);
        sounding.extend(
            rows[i..i + count].iter().filter(|row| !row.duration.is_zero()).map(|row| (row.staff, row.onset + row.duration)),
        );
        for row in &mut rows[i..i + count] {
            let lines = sounding.iter().filter(|&&(staff, _)| staff == row.staff).count();
            let bar = bars[row.bar as usize];
            let at = row.onset - bar.start;
            let written = score.bars[bar.bar.at()].start + at;
            let rests = others_rest(part, bar.bar, at, row.voice, row.staff);
            let lines = u16::try_from(lines).unwrap_or(u16::MAX);
            (row.players, row.players_reason) = marks.count(part, written, row.staff, lines, rests);
        }
        i += count;
    }
}

/// Whether another voice of the staff shows a rest at this position.
fn others_rest(part: &Part, bar: BarIndex, at: Crotchets, voice: u16, staff: u8) -> bool {
    let first = part.rests.partition_point(|rest| rest.bar < bar);
    part.rests[first..].iter().take_while(|rest| rest.bar == bar && rest.at <= at).any(|rest| {
        !rest.hidden
            && !rest.cue
            && rest.staff == staff
            && rest.voice != voice
            && (rest.whole_bar || rest.at + rest.duration > at)
    })
}
