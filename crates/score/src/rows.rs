//! The rows of one part in the sounding view: transposition undone, ties joined.

use std::collections::{BTreeMap, BTreeSet};

use crate::levels::PartLevels;
use crate::note::{Head, Mark, Note, NoteFlags};
use crate::pitch::{Pitch, Transposition};
use crate::players::{CountReason, PlayerCount};
use crate::score::{BarIndex, ChangeKind, Part, Score};
use crate::sounding::{NoteRow, PlayedBar, Trouble};
use crate::time::Crotchets;

/// Makes the rows of one part, bar by bar as they are played.
pub(crate) struct PartRows<'a> {
    score: &'a Score,
    part: &'a Part,
    index: usize,
    levels: PartLevels,
    transpositions: Transpositions,
    rows: Vec<NoteRow>,
    held: Held,
}

impl<'a> PartRows<'a> {
    pub(crate) fn new(score: &'a Score, part: &'a Part, index: usize) -> Self {
        Self {
            score,
            part,
            index,
            levels: PartLevels::new(part, &score.bars),
            transpositions: Transpositions::new(part),
            rows: Vec::with_capacity(part.notes.len()),
            held: Held::default(),
        }
    }

    /// The rows in the order met; notes that cannot sound as written go to `troubles`.
    pub(crate) fn run(mut self, bars: &[PlayedBar], troubles: &mut Vec<Trouble>) -> Vec<NoteRow> {
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
                let by = self.transpositions.at(note);
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
        let start = self.score.bars.get(note.bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
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
            level: self.levels.at(note.staff, note.voice, start + note.at),
            written: u32::try_from(written).unwrap_or(u32::MAX),
        };
        self.sound(row, note.flags, troubles);
        if doubled {
            let below = pitch.moved(Transposition { octaves: -1, ..Transposition::NONE });
            match below.key() {
                // The octave below takes the tie flags but not the complaint: one is enough for a note.
                Ok(key) => self.sound(NoteRow { key: Some(key), pitch: below, ..row }, note.flags, &mut Vec::new()),
                Err(error) => {
                    troubles.push(Trouble::BeyondKeyboard { part: self.index, bar: note.bar, semitones: error.0 });
                }
            }
        }
    }

    /// Adds the row, or lengthens the one a tie leads from.
    fn sound(&mut self, row: NoteRow, flags: NoteFlags, troubles: &mut Vec<Trouble>) {
        let mut joined = None;
        if flags.contains(NoteFlags::TIE_STOP) {
            joined = self.held.take(&row);
            match joined {
                Some(held) => self.rows[held].duration += row.duration,
                None => {
                    let bar = self.part.notes.get(row.written as usize).map_or(BarIndex(0), |note| note.bar);
                    troubles.push(Trouble::TieFromNowhere { part: self.index, bar, pitch: row.pitch });
                }
            }
        }
        let index = joined.unwrap_or_else(|| {
            self.rows.push(row);
            self.rows.len() - 1
        });
        if flags.contains(NoteFlags::TIE_START) {
            self.held.hold(&row, index);
        }
    }
}

/// Rows a tie leads on from, by the moment they end, their key and their voice, in the order they were begun.
#[derive(Default)]
struct Held(BTreeSet<(Crotchets, i32, u16, usize)>);

impl Held {
    /// The row that a tie arriving at `row` leads from: one of its own voice, else of the lowest voice that has one.
    fn take(&mut self, row: &NoteRow) -> Option<usize> {
        // Notes come in order of time, so what ended before can no longer be tied to.
        while self.0.first().is_some_and(|first| first.0 < row.onset) {
            self.0.pop_first();
        }
        let semitones = row.pitch.semitones();
        let from = |voice| self.0.range((row.onset, semitones, voice, 0)..).next().copied();
        let fits = |held: &(Crotchets, i32, u16, usize)| (held.0, held.1) == (row.onset, semitones);
        let own = from(row.voice).filter(|held| fits(held) && held.2 == row.voice);
        let held = own.or_else(|| from(0).filter(fits))?;
        self.0.remove(&held);
        Some(held.3)
    }

    fn hold(&mut self, row: &NoteRow, index: usize) {
        self.0.insert((row.onset + row.duration, row.pitch.semitones(), row.voice, index));
    }
}

/// When each staff of a part transposes how.
#[derive(Default)]
struct Transpositions {
    /// For all staves, then for one: (moment, place among all changes, transposition), sorted.
    of_staff: BTreeMap<Option<u8>, Vec<(Moment, usize, Transposition)>>,
}

type Moment = (BarIndex, Crotchets);

impl Transpositions {
    fn new(part: &Part) -> Self {
        let mut all = Self::default();
        for (place, change) in part.changes.iter().enumerate() {
            if let ChangeKind::Transposition(by) = change.kind {
                all.of_staff.entry(change.staff).or_default().push(((change.bar, change.at), place, by));
            }
        }
        all
    }

    /// What is in force for a note: the last change before it or with it, of its staff or of all.
    fn at(&self, note: &Note) -> Transposition {
        let last = |staff: Option<u8>| {
            let changes = self.of_staff.get(&staff)?;
            changes.get(changes.partition_point(|change| change.0 <= (note.bar, note.at)).checked_sub(1)?)
        };
        let in_force = last(None).into_iter().chain(last(Some(note.staff))).max_by_key(|change| change.1);
        in_force.map_or(Transposition::NONE, |change| change.2)
    }
}
