//! The sounding view as the model reads it: integer ticks, one top line a part, notes gathered by bar.

use std::num::NonZeroU32;

use ripieno_score::{Metre, Score, Sounding};

use super::facts::PartFacts;

/// Ticks to the crotchet. Features are averages and shares; a tick is far below what any of them can show.
const TICKS: NonZeroU32 = NonZeroU32::new(480).unwrap();
/// A crotchet.
pub(super) const CROTCHET: i64 = 480;

/// A sounding note, in ticks from the start.
#[derive(Debug, Clone, Copy)]
pub(super) struct Note {
    pub part: usize,
    pub on: i64,
    pub off: i64,
    pub key: i32,
}

/// The highest note begun at a moment by a part.
#[derive(Debug, Clone, Copy)]
pub(super) struct Attack {
    pub part: usize,
    pub bar: usize,
    pub on: i64,
    /// To the note's end or the next attack.
    pub dur: i64,
    /// To the next attack; the last one's length.
    pub ioi: i64,
    pub key: i32,
    /// Notes begun together.
    pub chord: usize,
    /// Key of the part's attack before.
    pub before: Option<i32>,
    /// When that one ended.
    pub before_end: Option<i64>,
}

/// A piece ready for features.
pub(super) struct Piece {
    pub facts: Vec<PartFacts>,
    /// Starts of the played bars, and the end of the last.
    pub starts: Vec<i64>,
    /// Ticks of a beat in each bar.
    pub beats: Vec<i64>,
    /// By part, then onset.
    pub notes: Vec<Note>,
    /// Notes that sound in each bar, by index.
    pub in_bar: Vec<Vec<u32>>,
    /// By part, then onset.
    pub line: Vec<Attack>,
    /// Attacks of `part` in `bar`: `line[cells[part * bars + bar]..cells[part * bars + bar + 1]]`.
    pub cells: Vec<usize>,
}

impl Piece {
    pub fn new(score: &Score, sounding: &Sounding) -> Self {
        let mut facts = PartFacts::of_all(&score.parts);
        let mut starts: Vec<i64> = sounding.bars.iter().map(|bar| bar.start.to_ticks(TICKS)).collect();
        starts.push(sounding.length().to_ticks(TICKS));
        let bars = sounding.bars.len();
        let mut notes = Vec::with_capacity(sounding.notes.len());
        for (part, rows) in sounding.notes.of_part.iter().enumerate() {
            for row in rows.clone() {
                let on = sounding.notes.onset[row].to_ticks(TICKS);
                let off = (sounding.notes.onset[row] + sounding.notes.duration[row]).to_ticks(TICKS);
                let key = sounding.notes.key[row].map_or(0, |key| i32::from(key.number()));
                if sounding.notes.key[row].is_none() {
                    facts[part].unpitched = true;
                }
                if off > on && bars > 0 {
                    notes.push(Note { part, on, off, key });
                }
            }
        }
        let mut in_bar = vec![Vec::new(); bars];
        for (index, note) in (0u32..).zip(&notes) {
            let first = starts[..bars].partition_point(|&start| start <= note.on).saturating_sub(1);
            for (bar, list) in in_bar.iter_mut().enumerate().skip(first).take_while(|(bar, _)| starts[*bar] < note.off) {
                if starts[bar + 1] > note.on {
                    list.push(index);
                }
            }
        }
        let line = top_line(&notes, &starts);
        let mut cells = Vec::with_capacity(facts.len() * bars + 1);
        let mut at = 0;
        for part in 0..facts.len() {
            for bar in 0..bars {
                cells.push(at);
                while at < line.len() && (line[at].part, line[at].bar) == (part, bar) {
                    at += 1;
                }
            }
        }
        cells.push(at);
        let beats = beats(score, sounding);
        Self { facts, starts, beats, notes, in_bar, line, cells }
    }

    pub const fn parts(&self) -> usize {
        self.facts.len()
    }

    pub const fn bars(&self) -> usize {
        self.in_bar.len()
    }

    /// Ticks of bar `bar`, at least 1.
    pub fn length(&self, bar: usize) -> i64 {
        (self.starts[bar + 1] - self.starts[bar]).max(1)
    }

    pub fn cell(&self, part: usize, bar: usize) -> &[Attack] {
        let at = part * self.bars() + bar;
        &self.line[self.cells[at]..self.cells[at + 1]]
    }
}

fn top_line(notes: &[Note], starts: &[i64]) -> Vec<Attack> {
    let bars = starts.len() - 1;
    let mut line: Vec<Attack> = Vec::new();
    // `dur` holds the note's own length until the next attack is known.
    for note in notes {
        let own = note.off - note.on;
        if let Some(last) = line.last_mut().filter(|last| last.part == note.part && last.on == note.on) {
            last.chord += 1;
            if note.key > last.key {
                (last.key, last.dur) = (note.key, own);
            } else if note.key == last.key {
                last.dur = last.dur.min(own);
            }
            last.ioi = last.dur;
        } else {
            let bar = starts[..bars].partition_point(|&start| start <= note.on).saturating_sub(1);
            let (part, on, key) = (note.part, note.on, note.key);
            line.push(Attack { part, bar, on, dur: own, ioi: own, key, chord: 1, before: None, before_end: None });
        }
    }
    for i in 1..line.len() {
        let on = line[i].on;
        if line[i - 1].part == line[i].part {
            let last = &mut line[i - 1];
            last.ioi = on - last.on;
            last.dur = last.dur.min(last.ioi);
            let (key, end) = (last.key, last.on + last.dur);
            (line[i].before, line[i].before_end) = (Some(key), Some(end));
        }
    }
    line
}

/// Ticks of the beat: a dotted unit in compound time, the unit otherwise, a crotchet where the metre is free or unknown.
fn beats(score: &Score, sounding: &Sounding) -> Vec<i64> {
    let mut beat = CROTCHET;
    let written: Vec<i64> = score
        .bars
        .iter()
        .map(|bar| {
            if let Some(metre) = &bar.metre {
                beat = match metre {
                    Metre::Measured(terms) if terms.len() == 1 && terms[0].1 > 0 => {
                        let (count, unit) = (terms[0].0.iter().sum::<u16>(), i64::from(terms[0].1));
                        let ticks = (4 * CROTCHET / unit).max(1);
                        if unit >= 8 && count % 3 == 0 && count > 3 { 3 * ticks } else { ticks }
                    }
                    _ => CROTCHET,
                };
            }
            beat
        })
        .collect();
    sounding.bars.iter().map(|bar| written[bar.bar.at()]).collect()
}
