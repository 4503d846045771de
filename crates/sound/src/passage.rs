//! A score as events in time: who plays what, when, how loud and in which way.

use std::collections::BTreeMap;

use ripieno_acoustics::{Place, Plan, instruments_of, players_of, sounding_length};
use ripieno_instruments::Section;
use ripieno_score::{Articulations, DynamicLevel, NoteFlags, Part, PartLevels, PlayerCount, Score, Sounding};
use ripieno_texture::Techniques;

use crate::seats::{Listener, Seat};
use crate::signs::{Signs, Slide};

/// Seconds a grace note takes.
const GRACE: f64 = 0.085;
/// Moments inside a note, as shares of it, at which its dynamic is read.
const LOOKS: [f64; 6] = [0.0, 0.15, 0.4, 0.65, 0.85, 0.98];
/// Most strokes one note may be broken into.
const MOST_STROKES: usize = 2000;
/// Beyond this many events repeated notes are no longer broken into strokes; no score that people play comes near.
const MOST_EVENTS: usize = 4_000_000;
/// Most players that are played one by one on a line; no orchestra or choir of a score has more.
const MOST_PLAYERS: u16 = 200;
/// Most tones of a broken chord.
const MOST_TONES: usize = 100;
/// Rows after a note among which its partner in a tremolo or the aim of its slide is looked for.
const MOST_LOOK: usize = 2000;

/// How the pitch moves inside a note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Bend {
    None,
    /// From `from` to `to` semitones off the note, between two moments given as shares of its length.
    Slide {
        from: f64,
        to: f64,
        begins: f64,
        ends: f64,
    },
    /// To and fro between the note and so many semitones off it, this many times a second.
    Alternate {
        semitones: f64,
        rate: f64,
    },
}

/// How the loudness trembles inside a note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Shake {
    None,
    /// Bow strokes to and fro without counting.
    Tremolo,
    /// The tongue rolled.
    Flutter,
}

/// One note to be played.
#[derive(Debug, Clone)]
pub(crate) struct Event {
    pub(crate) part: u16,
    /// Row of the sounding view, for seeds.
    pub(crate) row: u64,
    /// When it is written to begin, in seconds from the start of the piece at the written tempo; grace notes begin before.
    pub(crate) onset: f64,
    pub(crate) start: f64,
    pub(crate) end: f64,
    /// Index into [`Passage::instruments`].
    pub(crate) instrument: usize,
    pub(crate) ways: Techniques,
    pub(crate) key: f64,
    pub(crate) players: u16,
    /// (seconds after the start, dynamic).
    pub(crate) levels: Vec<(f64, f32)>,
    /// Whether it is bound to the note before.
    pub(crate) bound: bool,
    /// Decibels by which the beginning stands out.
    pub(crate) accent: f32,
    pub(crate) bend: Bend,
    pub(crate) shake: Shake,
    /// Whether it rings on after its written end.
    pub(crate) rings: bool,
}

/// A bar as it is heard.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardBar {
    /// Printed number.
    pub number: String,
    /// Seconds from the start of the piece at the written tempo.
    pub start: f64,
    /// Likewise its end.
    pub end: f64,
}

/// A score prepared for sounding.
#[derive(Debug, Clone)]
pub struct Passage {
    /// Bars in the order they are heard.
    pub bars: Vec<HeardBar>,
    /// Catalogue ids of the instruments in use.
    pub(crate) instruments: Vec<String>,
    /// Ordered by start.
    pub(crate) events: Vec<Event>,
    /// The middle of each part's seat.
    places: Vec<Place>,
}

impl Passage {
    /// Prepares a score. `techniques` has one entry for each row of the sounding view (`ripieno_texture::techniques`).
    #[must_use]
    pub fn new(score: &Score, sounding: &Sounding, techniques: &[Techniques]) -> Self {
        let bars = sounding.bars.iter().map(|bar| HeardBar {
            number: score.bars.get(bar.bar.at()).map_or_else(String::new, |bar| bar.number.to_string()),
            start: sounding.tempo.seconds(bar.start),
            end: sounding.tempo.seconds(bar.start + bar.length),
        });
        let mut passage = Self {
            bars: bars.collect(),
            instruments: Vec::new(),
            events: Vec::new(),
            places: Plan::ViolinsTogether.seats(score).into_iter().map(|seat| seat.place).collect(),
        };
        for (part, rows) in score.parts.iter().zip(&sounding.notes.of_part) {
            let mut of_part = OfPart::new(&mut passage, score, sounding, part);
            of_part.add(rows.clone(), techniques);
        }
        passage.events.sort_by(|a, b| a.start.total_cmp(&b.start).then(a.row.cmp(&b.row)));
        passage
    }

    /// Seat of each part, as a listener has it.
    #[must_use]
    pub fn seats(&self, listener: Listener) -> Vec<Seat> {
        self.places.iter().map(|place| listener.sees(*place)).collect()
    }

    /// Seconds the piece lasts at the written tempo.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.bars.last().map_or(0.0, |bar| bar.end)
    }

    /// The stretch from the first time the bar printed `first` is heard to the end of the next one printed `last`, in seconds.
    ///
    /// # Errors
    /// One sentence when there is no such bar.
    pub fn between(&self, first: &str, last: &str) -> Result<(f64, f64), String> {
        let range = || match (self.bars.first(), self.bars.last()) {
            (Some(a), Some(b)) => format!("its bars are {} to {}", a.number, b.number),
            _ => "it has no bars".to_owned(),
        };
        let missing = |number: &str| format!("the score has no bar {number}; {}", range());
        let from = self.bars.iter().position(|bar| bar.number == first).ok_or_else(|| missing(first))?;
        let to = self.bars[from..].iter().position(|bar| bar.number == last);
        match to {
            Some(to) => Ok((self.bars[from].start, self.bars[from + to].end)),
            None if self.bars.iter().any(|bar| bar.number == last) => {
                Err(format!("bar {last} comes before bar {first}; give the earlier bar first"))
            }
            None => Err(missing(last)),
        }
    }
}

/// Works through one part.
struct OfPart<'a> {
    passage: &'a mut Passage,
    score: &'a Score,
    sounding: &'a Sounding,
    part: &'a Part,
    signs: Signs,
    levels: PartLevels,
    /// For each of the part's instruments its place in the passage's list.
    instruments: Vec<usize>,
    /// And whether it rings on when nobody stops it.
    ringing: Vec<bool>,
}

impl<'a> OfPart<'a> {
    fn new(passage: &'a mut Passage, score: &'a Score, sounding: &'a Sounding, part: &'a Part) -> Self {
        let ids = instruments_of(part);
        let ringing = ids.iter().map(|id| rings(id)).collect();
        let mut place = |id: String| {
            passage.instruments.iter().position(|known| *known == id).unwrap_or_else(|| {
                passage.instruments.push(id);
                passage.instruments.len() - 1
            })
        };
        let instruments = ids.into_iter().map(&mut place).collect();
        Self {
            signs: Signs::new(part),
            levels: PartLevels::new(part, &score.bars),
            passage,
            score,
            sounding,
            part,
            instruments,
            ringing,
        }
    }

    fn add(&mut self, rows: std::ops::Range<usize>, techniques: &[Techniques]) {
        let notes = &self.sounding.notes;
        let seconds = |at| self.sounding.tempo.seconds(at);
        // Grace notes of one voice before one moment, in the order written.
        let mut graces: BTreeMap<(ripieno_score::Crotchets, u16), Vec<u32>> = BTreeMap::new();
        for row in rows.clone().filter(|&row| notes.duration[row].is_zero()) {
            graces.entry((notes.onset[row], notes.voice[row])).or_default().push(notes.written[row]);
        }
        for list in graces.values_mut() {
            list.sort_unstable();
            list.retain(|&written| {
                self.part.notes.get(written as usize).is_some_and(|note| !note.flags.contains(NoteFlags::CHORD))
            });
        }
        let mut taken = vec![false; rows.len()];
        for row in rows.clone() {
            if std::mem::replace(&mut taken[row - rows.start], true) {
                continue;
            }
            let written = notes.written[row] as usize;
            let Some(note) = self.part.notes.get(written) else { continue };
            let onset = seconds(notes.onset[row]);
            let (start, length) = if notes.duration[row].is_zero() {
                let list = graces.get(&(notes.onset[row], notes.voice[row])).map_or(&[][..], Vec::as_slice);
                let place = list.partition_point(|&other| other as usize <= written).max(1) - 1;
                #[allow(clippy::cast_precision_loss)] // a handful of grace notes
                let before = (list.len().max(place + 1) - place) as f64;
                (onset - before * GRACE, GRACE)
            } else {
                (onset, seconds(notes.onset[row] + notes.duration[row]) - onset)
            };
            let ways = techniques.get(row).copied().unwrap_or_default();
            let place = usize::from(notes.instrument[row]).min(self.instruments.len() - 1);
            let players = notes.players[row];
            let event = Event {
                part: notes.part[row],
                row: row as u64,
                onset,
                start,
                end: start + length,
                instrument: self.instruments[place],
                ways,
                key: notes.key[row].map_or(60.0, |key| f64::from(key.number())) + f64::from(notes.pitch[row].cents) / 100.0,
                players: many(players),
                levels: self.levels_of(row, length),
                bound: self.signs.bound_from(written),
                accent: accent(note.articulations),
                bend: Bend::None,
                shake: Shake::None,
                rings: note.flags.contains(NoteFlags::LET_RING)
                    || self.ringing[place] && !note.articulations.contains(Articulations::STACCATO),
            };
            // Chord tones that are rolled begin one after the other, from below.
            let event =
                if note.articulations.contains(Articulations::ARPEGGIO) { self.rolled(event, rows.clone(), row) } else { event };
            self.play(event, row, rows.clone(), &mut taken);
        }
    }

    /// Begins a tone of a broken chord a little after the ones below it.
    fn rolled(&self, mut event: Event, rows: std::ops::Range<usize>, row: usize) -> Event {
        let notes = &self.sounding.notes;
        let same = |other: &usize| notes.onset[*other] == notes.onset[row] && notes.staff[*other] == notes.staff[row];
        let chord = (rows.start..row).rev().take(MOST_TONES).take_while(|other| notes.onset[*other] == notes.onset[row]);
        let below = chord.filter(same).count();
        #[allow(clippy::cast_precision_loss)] // tones of a chord
        let late = (below as f64 * 0.035).min((event.end - event.start) * 0.5);
        event.start += late;
        event
    }

    /// Dynamics along a note.
    fn levels_of(&self, row: usize, length: f64) -> Vec<(f64, f32)> {
        let notes = &self.sounding.notes;
        let note = &self.part.notes[notes.written[row] as usize];
        if note.velocity > 0 {
            return vec![(0.0, ((f32::from(note.velocity) - 12.0) / 14.0).clamp(0.0, 9.0))];
        }
        let begun = notes.level[row].unwrap_or(DynamicLevel::MEZZO_FORTE).0;
        let at = self.score.bars.get(note.bar.at()).map_or(ripieno_score::Crotchets::ZERO, |bar| bar.start) + note.at;
        let mut levels = vec![(0.0, begun)];
        for share in &LOOKS[1..] {
            #[allow(clippy::cast_possible_truncation)] // a share in hundredths
            let of_hundred = ripieno_score::Crotchets::new((share * 100.0) as i64, 100).unwrap_or_default();
            let later =
                self.levels.at(note.staff, note.voice, at + notes.duration[row] * of_hundred).map_or(begun, |level| level.0);
            levels.push((share * length, later));
        }
        if levels.iter().all(|(_, level)| (level - begun).abs() < 0.01) {
            levels.truncate(1);
        }
        levels
    }

    /// Turns one row into what is played: one event, or as many as its signs ask for.
    fn play(&mut self, mut event: Event, row: usize, rows: std::ops::Range<usize>, taken: &mut [bool]) {
        let notes = &self.sounding.notes;
        let written = notes.written[row] as usize;
        let note = &self.part.notes[written];
        let length = event.end - event.start;
        let alternates = note.flags.contains(NoteFlags::TREMOLO_START);
        if let Some(other) = alternates.then(|| self.second_of_tremolo(row, rows.clone(), taken)).flatten() {
            taken[other - rows.start] = true;
            event.end = self.sounding.tempo.seconds(notes.onset[other] + notes.duration[other]);
            let semitones = notes.pitch[other].semitones() - notes.pitch[row].semitones();
            event.bend = Bend::Alternate { semitones: f64::from(semitones), rate: 6.0 };
            self.passage.events.push(event);
            return;
        }
        if (1..3).contains(&note.tremolo) && !note.flags.intersects(NoteFlags::TREMOLO_START | NoteFlags::TREMOLO_STOP) {
            let base = note.value.map_or(1.0, |value| 2f64.powi(2 - i32::from(value.halvings))).min(1.0);
            let unit = base / f64::from(1u16 << note.tremolo);
            self.repeat(&event, notes.duration[row].to_f64() / unit);
            return;
        }
        if event.ways.contains(Techniques::TREMOLO) {
            event.shake = Shake::Tremolo;
        } else if event.ways.contains(Techniques::FLUTTER) {
            event.shake = Shake::Flutter;
        }
        if event.ways.contains(Techniques::TRILL) && !event.ways.contains(Techniques::TREMOLO) {
            event.bend = Bend::Alternate { semitones: self.signs.above(self.part, written), rate: 7.0 };
        }
        match self.signs.slide(written) {
            Some(Slide::ToNext) => {
                if let Some(aim) = self.next_of_voice(row, rows) {
                    let to = f64::from(notes.pitch[aim].semitones() - notes.pitch[row].semitones());
                    event.bend = Bend::Slide { from: 0.0, to, begins: 0.25, ends: 1.0 };
                }
            }
            Some(Slide::Into(from)) => event.bend = Bend::Slide { from, to: 0.0, begins: 0.0, ends: (0.12 / length).min(0.5) },
            Some(Slide::Out(to)) => {
                event.bend = Bend::Slide { from: 0.0, to, begins: (1.0 - 0.35 / length).max(0.4), ends: 1.0 };
            }
            None => {}
        }
        event.end = event.start + sounding_length(length, note.articulations, self.signs.bound_to(written));
        self.passage.events.push(event);
    }

    fn repeat(&mut self, event: &Event, times: f64) {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bounded just below
        let times = (times.round().max(1.0) as usize).min(MOST_STROKES);
        let times = if self.passage.events.len() + times > MOST_EVENTS { 1 } else { times };
        #[allow(clippy::cast_precision_loss)] // likewise
        let each = (event.end - event.start) / times as f64;
        for stroke in 0..times {
            #[allow(clippy::cast_precision_loss)]
            let after = each * stroke as f64;
            let level = level_at(&event.levels, after);
            let mut one = event.clone();
            one.onset = event.onset + after;
            one.start = event.start + after;
            one.end = one.start + each * 0.9;
            one.levels = vec![(0.0, level)];
            one.row = event.row + ((stroke as u64) << 32);
            if stroke > 0 {
                one.accent = 0.0;
                one.bound = false;
            }
            self.passage.events.push(one);
        }
    }

    /// The row with which a two-note tremolo alternates.
    fn second_of_tremolo(&self, row: usize, rows: std::ops::Range<usize>, taken: &[bool]) -> Option<usize> {
        let notes = &self.sounding.notes;
        let end = notes.onset[row] + notes.duration[row];
        (row + 1..rows.end).take(MOST_LOOK).take_while(|&other| notes.onset[other] <= end).find(|&other| {
            let flags = self.part.notes.get(notes.written[other] as usize).map_or(NoteFlags::empty(), |note| note.flags);
            notes.onset[other] == end
                && notes.voice[other] == notes.voice[row]
                && flags.contains(NoteFlags::TREMOLO_STOP)
                && !taken[other - rows.start]
        })
    }

    fn next_of_voice(&self, row: usize, rows: std::ops::Range<usize>) -> Option<usize> {
        let notes = &self.sounding.notes;
        let end = notes.onset[row] + notes.duration[row];
        (row + 1..rows.end).take(MOST_LOOK).find(|&other| notes.voice[other] == notes.voice[row] && notes.onset[other] >= end)
    }
}

/// As many as weigh in the balance, in whole players.
fn many(players: PlayerCount) -> u16 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
    let many = players_of(players).0.round().clamp(1.0, f64::from(MOST_PLAYERS)) as u16;
    many
}

/// The dynamic at a moment of a note.
pub(crate) fn level_at(levels: &[(f64, f32)], after: f64) -> f32 {
    let next = levels.partition_point(|(at, _)| *at <= after);
    match (next.checked_sub(1).and_then(|i| levels.get(i)), levels.get(next)) {
        (Some((from, a)), Some((to, b))) => {
            #[allow(clippy::cast_possible_truncation)] // a share
            let share = ((after - from) / (to - from)) as f32;
            a + (b - a) * share
        }
        (Some((_, level)), None) | (None, Some((_, level))) => *level,
        (None, None) => DynamicLevel::MEZZO_FORTE.0,
    }
}

/// Decibels by which an accent lifts the beginning. Our choice, within the usual 2 to 6 dB.
fn accent(signs: Articulations) -> f32 {
    if signs.contains(Articulations::STRONG_ACCENT) {
        5.0
    } else if signs.intersects(Articulations::ACCENT.union(Articulations::STRESS)) {
        3.5
    } else if signs.contains(Articulations::SOFT_ACCENT) {
        2.0
    } else {
        0.0
    }
}

/// Whether players let it ring unless told otherwise: percussion without pitch, bars and bells, harps. Common practice.
fn rings(instrument: &str) -> bool {
    let known = ripieno_instruments::catalogue().by_id(instrument);
    known.is_some_and(|one| !one.pitched || matches!(one.section, Section::TunedPercussion | Section::Harps | Section::Celestas))
}
