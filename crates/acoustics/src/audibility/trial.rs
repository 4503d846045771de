//! A bar tried otherwise than written: rows silent, changed, or joined by other players.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ops::Range;
use std::rc::Rc;

use super::able::Asked;
use super::{Audible, Gathered, Walk};
use crate::ear::{Ear, Excitation, Excited};
use crate::scene::{Heard, Line, Note, Scene, ToneKey};

/// How a row sounds in a trial: as what tone and by what factor, or not at all.
type Tried = Option<(Rc<Heard>, f64)>;

/// What is otherwise in a trial.
#[derive(Default)]
pub(super) struct Trial {
    changed: BTreeMap<usize, Tried>,
    /// What joins a row and counts with the line that is listened for.
    joined: BTreeMap<usize, (Rc<Heard>, f64)>,
}

/// One line in one bar, to be tried in other ways.
pub(super) struct Trials<'a, 's> {
    pub(super) scene: &'a Scene<'s>,
    line_of: Vec<u16>,
    pub(super) line: u16,
    bar: usize,
    /// Rows that sound in the bar, and in all bars of the stretch.
    rows: Vec<usize>,
    stretch: Vec<usize>,
    lines: usize,
    known: RefCell<BTreeMap<ToneKey, Rc<Heard>>>,
}

impl<'a, 's> Trials<'a, 's> {
    pub(super) fn new(scene: &'a Scene<'s>, lines: &[Line], line: usize, bar: usize, bars: &Range<usize>) -> Option<Self> {
        let line_of = scene.line_of(lines);
        let line = u16::try_from(line).ok()?;
        let rows = scene.rows_in(bar..bar + 1);
        let stretch = scene.rows_in(bars.start.min(bar)..bars.end.max(bar + 1));
        Some(Self { scene, line_of, line, bar, rows, stretch, lines: lines.len(), known: RefCell::default() })
    }

    /// The same sums as for the whole score, over one bar.
    pub(super) fn audible(&self) -> Option<Audible> {
        let mut walk = Walk::new(self.lines);
        let mut gathered = Gathered::default();
        self.scene.moments(self.bar..self.bar + 1, |moment| {
            self.scene.sum_lines(moment, &self.line_of, &mut walk.sums);
            walk.spreads(self.scene, moment, &self.line_of);
            walk.margins(&Excited, |line, margin, spread| {
                if line == usize::from(self.line) {
                    gathered.add(margin, spread, moment.seconds);
                }
            });
        });
        gathered.told()
    }

    /// The lines that sound in the bar beside the one listened for.
    pub(super) fn others(&self) -> Vec<u16> {
        let mut others: Vec<u16> = self.rows.iter().map(|row| self.line_of[*row]).filter(|line| *line != self.line).collect();
        others.sort_unstable();
        others.dedup();
        others
    }

    pub(super) fn note(&self, row: usize) -> &Note {
        &self.scene.notes[row]
    }

    pub(super) fn part(&self, row: usize) -> usize {
        usize::from(self.note(row).tone.part)
    }

    pub(super) fn instrument(&self, row: usize) -> &str {
        &self.scene.voices[usize::from(self.note(row).tone.voice)]
    }

    /// Rows of a line in the bar, or in the whole stretch.
    pub(super) fn of_line(&self, line: u16, stretch: bool) -> impl Iterator<Item = usize> + '_ {
        let rows = if stretch { &self.stretch } else { &self.rows };
        rows.iter().copied().filter(move |row| self.line_of[*row] == line)
    }

    /// All rows of the bar that do not belong to the line listened for.
    pub(super) fn beside(&self) -> impl Iterator<Item = usize> + '_ {
        self.rows.iter().copied().filter(|row| self.line_of[*row] != self.line)
    }

    /// Rows of a part in a line.
    pub(super) fn of_part(&self, line: u16, part: usize, stretch: bool) -> Vec<usize> {
        self.of_line(line, stretch).filter(|row| self.part(*row) == part).collect()
    }

    /// The parts with notes of a line in the bar, in score order.
    pub(super) fn parts(&self, line: u16) -> Vec<usize> {
        let mut parts: Vec<usize> = self.of_line(line, false).map(|row| self.part(row)).collect();
        parts.sort_unstable();
        parts.dedup();
        parts
    }

    /// Parts without a note in the whole stretch.
    pub(super) fn resting(&self) -> Vec<usize> {
        let mut rests = vec![true; self.scene.score.parts.len()];
        self.stretch.iter().for_each(|row| rests[self.part(*row)] = false);
        (0..rests.len()).filter(|part| rests[*part]).collect()
    }

    /// A row as a note somebody would be asked for, so many semitones and printed steps off.
    pub(super) fn asked(&self, row: usize, semitones: i8, steps: i16) -> Option<Asked> {
        let note = self.note(row);
        let key = i16::from(note.tone.key) + i16::from(semitones);
        let key = u8::try_from(key).ok().filter(|key| *key < 128)?;
        let to = self.scene.sounding.tempo.seconds(note.to);
        Some(Asked { key, dynamic: note.tone.louder(steps).dynamic(), from: note.from_s, to })
    }

    /// Seconds a part rests before and after its notes of the stretch; without end at the ends of the piece.
    pub(super) fn rests_around(&self, part: usize) -> (f64, f64) {
        let seconds = |at| self.scene.sounding.tempo.seconds(at);
        let mine = || self.stretch.iter().filter(|row| self.part(**row) == part).map(|row| self.note(*row));
        let (Some(first), Some(last)) = (mine().map(|note| note.from).min(), mine().map(|note| note.to).max()) else {
            return (0.0, 0.0);
        };
        let all = self.scene.sounding.notes.of_part[part].clone();
        let before = all.clone().map(|row| self.note(row).to).filter(|to| *to <= first).max();
        let held_over = all.clone().map(|row| self.note(row)).any(|note| note.from < first && note.to > first);
        let after = all.map(|row| self.note(row).from).filter(|from| *from >= last).min();
        let rest_before = if held_over { 0.0 } else { before.map_or(f64::INFINITY, |to| seconds(first) - seconds(to)) };
        (rest_before, after.map_or(f64::INFINITY, |from| seconds(from) - seconds(last)))
    }

    /// The tone, worked out once.
    pub(super) fn hear(&self, tone: ToneKey) -> Rc<Heard> {
        let mut known = self.known.borrow_mut();
        Rc::clone(known.entry(tone).or_insert_with(|| Rc::new(self.scene.hear(tone))))
    }

    /// Some rows as other tones.
    pub(super) fn toned(&self, rows: impl Iterator<Item = usize>, tone: impl Fn(ToneKey) -> ToneKey) -> Trial {
        let changed = rows.map(|row| (row, Some((self.hear(tone(self.note(row).tone)), 1.0)))).collect();
        Trial { changed, ..Trial::default() }
    }

    /// Some rows by a share of their players.
    pub(super) fn thinned(&self, rows: impl Iterator<Item = usize>, share: f64) -> Trial {
        let changed = rows.map(|row| (row, Some((self.hear(self.note(row).tone), share)))).collect();
        Trial { changed, ..Trial::default() }
    }

    /// Some rows silent.
    pub(super) fn silent(rows: impl Iterator<Item = usize>) -> Trial {
        Trial { changed: rows.map(|row| (row, None)).collect(), ..Trial::default() }
    }

    /// Some rows joined by so many other players.
    pub(super) fn joined(&self, rows: impl Iterator<Item = usize>, players: f64, tone: impl Fn(ToneKey) -> ToneKey) -> Trial {
        let joined = rows.map(|row| {
            let note = self.note(row);
            (row, (self.hear(tone(note.tone)), players / note.players))
        });
        Trial { joined: joined.collect(), ..Trial::default() }
    }

    /// The margin of the line in the bar when it is played so; `None` when nothing of it is left.
    pub(super) fn margin(&self, trial: &Trial) -> Option<f64> {
        let (mut own, mut rest) = (Excitation::default(), Excitation::default());
        let mut gathered = Gathered::default();
        self.scene.moments(self.bar..self.bar + 1, |moment| {
            own.clear();
            rest.clear();
            for (row, gain) in moment.active {
                let sum = if self.line_of[*row] == self.line { &mut own } else { &mut rest };
                match trial.changed.get(row) {
                    None => sum.add(&self.scene.heard[self.scene.notes[*row].heard].excitation, *gain),
                    Some(None) => {}
                    Some(Some((heard, factor))) => sum.add(&heard.excitation, gain * factor),
                }
                if let Some((heard, factor)) = trial.joined.get(row) {
                    own.add(&heard.excitation, gain * factor);
                }
            }
            if !own.is_silent() {
                gathered.add(Excited.margin(&own, &rest), 0.0, moment.seconds);
            }
        });
        gathered.told().map(|told| told.margin_db)
    }
}
