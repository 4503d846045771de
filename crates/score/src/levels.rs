//! A loudness level for every note, from marks, hairpins and words.
//!
//! How it is reckoned, on the scale of [`DynamicLevel`] (ppp 1 ... fff 8):
//! - a mark holds until the next one on its staff; a staff of a part without marks of its own follows the part's first staff;
//! - a hairpin leads in a straight line from the level at its start to the mark that stands at its end (or up to a
//!   crotchet after it); without such a mark, or with one that contradicts it, to one step louder or softer;
//! - "cresc." and "dim." in words lead in the same way to the next mark, or one step within four crotchets if none follows;
//! - sf, fz, rf and the like lift the notes that begin there by one step; fp and sfp do so and leave the softer level after them;
//! - two marks at one moment for two voices of a staff each concern their own voice (of as many voices as a staff can show);
//! - before the first mark the level is unknown.

use std::collections::BTreeMap;

use crate::directions::{DirectionKind, DynamicLevel, DynamicMark, Swell};
use crate::note::Mark;
use crate::score::{Bar, Part};
use crate::time::Crotchets;

/// How far after a hairpin's end a mark may stand and still be its aim.
const REACH: Crotchets = Crotchets::ONE;
/// How long a "cresc." in words lasts when no mark follows.
const WORDS_LAST: Crotchets = Crotchets::whole(4);
/// Voices of a staff that may have levels of their own; more are damage, and share the staff's.
const MOST_VOICES: usize = 16;
/// What a stress adds to its notes.
const STRESS: f32 = 1.0;

#[derive(Debug, Clone, Copy, PartialEq)]
enum What {
    Level(f32),
    Stress,
    Open(Swell, u8),
    Close(u8),
    Word(Swell),
}

#[derive(Debug, Clone, Copy)]
struct Event {
    at: Crotchets,
    staff: u8,
    voice: Option<u16>,
    what: What,
}

/// A stretch of changing level; before its start the stretch before it holds, after its end `to` does.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    start: Crotchets,
    end: Crotchets,
    from: f32,
    to: f32,
}

impl Stretch {
    /// The level at a moment from its start on.
    fn at(&self, time: Crotchets) -> f32 {
        let length = (self.end - self.start).to_f64();
        if time >= self.end || length <= 0.0 {
            return self.to;
        }
        #[allow(clippy::cast_possible_truncation)] // a share between 0 and 1
        let share = ((time - self.start).to_f64() / length) as f32;
        self.from + (self.to - self.from) * share
    }
}

/// The levels of one voice on one staff.
#[derive(Debug, Default)]
struct Line {
    stretches: Vec<Stretch>,
    stresses: Vec<Crotchets>,
}

impl Line {
    fn of_note(&self, time: Crotchets) -> Option<DynamicLevel> {
        let after = self.stretches.partition_point(|stretch| stretch.start <= time);
        let level = self.stretches.get(after.checked_sub(1)?)?.at(time);
        let stressed = self.stresses.binary_search(&time).is_ok();
        Some(DynamicLevel(if stressed { level + STRESS } else { level }))
    }
}

/// The levels of a part at any moment of the score: what a note has at its onset, and what becomes of it inside a hairpin.
#[derive(Debug)]
pub struct PartLevels {
    /// (staff, voice or 0 for any) and its line, sorted.
    lines: Vec<((u8, u16), Line)>,
}

impl PartLevels {
    /// Gathers the marks of one part of a score with these bars.
    #[must_use]
    pub fn new(part: &Part, bars: &[Bar]) -> Self {
        let events = events(part, bars);
        let mut lines = Vec::new();
        for on_staff in events.chunk_by(|a, b| a.staff == b.staff) {
            let Some(staff) = on_staff.first().map(|event| event.staff) else { continue };
            lines.push(((staff, 0), line(on_staff, None)));
            lines.extend(split_voices(on_staff).into_iter().map(|voice| ((staff, voice), line(on_staff, Some(voice)))));
        }
        Self { lines }
    }

    /// Where the level rises or falls steadily, staff by staff: beginning, end, and which way. Voices with marks of their own are left out.
    pub fn swells(&self) -> impl Iterator<Item = (Crotchets, Crotchets, Swell)> + '_ {
        let of_staves = self.lines.iter().filter(|((_, voice), _)| *voice == 0);
        of_staves.flat_map(|(_, line)| &line.stretches).filter(|stretch| stretch.end > stretch.start).filter_map(|stretch| {
            let swell = match stretch.to.partial_cmp(&stretch.from)? {
                std::cmp::Ordering::Greater => Swell::Crescendo,
                std::cmp::Ordering::Less => Swell::Diminuendo,
                std::cmp::Ordering::Equal => return None,
            };
            Some((stretch.start, stretch.end, swell))
        })
    }

    /// Level at `time` (score order, repeats not played out) on this staff and in this voice; a stress counts at its own moment
    /// alone. `None` before the first mark.
    #[must_use]
    pub fn at(&self, staff: u8, voice: u16, time: Crotchets) -> Option<DynamicLevel> {
        let find = |key: (u8, u16)| self.lines.binary_search_by_key(&key, |(k, _)| *k).ok().map(|i| &self.lines[i].1);
        let line = find((staff, voice)).or_else(|| find((staff, 0))).or_else(|| self.lines.first().map(|(_, line)| line))?;
        line.of_note(time)
    }
}

/// The events of a part, staff by staff in order of time.
fn events(part: &Part, bars: &[Bar]) -> Vec<Event> {
    let start = |bar: usize| bars.get(bar).map_or(Crotchets::ZERO, |bar| bar.start);
    let mut events = Vec::new();
    for direction in &part.directions {
        let at = start(direction.bar.at()) + direction.at;
        let mut push = |what| events.push(Event { at, staff: direction.staff, voice: direction.voice, what });
        match &direction.kind {
            DirectionKind::Dynamic(mark) => push_mark(mark, push),
            DirectionKind::HairpinStart { swell, number, .. } => push(What::Open(*swell, *number)),
            DirectionKind::HairpinStop { number, .. } => push(What::Close(*number)),
            DirectionKind::Words(text) => {
                if let Some(swell) = swell_in_words(text) {
                    push(What::Word(swell));
                }
            }
            _ => {}
        }
    }
    for (index, mark) in &part.marks {
        if let (Mark::Dynamic(mark), Some(note)) = (mark, part.notes.get(*index as usize)) {
            let at = start(note.bar.at()) + note.at;
            push_mark(mark, |what| events.push(Event { at, staff: note.staff, voice: Some(note.voice), what }));
        }
    }
    events.sort_by_key(|event| (event.staff, event.at));
    events
}

fn push_mark(mark: &DynamicMark, mut push: impl FnMut(What)) {
    match mark {
        DynamicMark::Level(level) => push(What::Level(level.0)),
        DynamicMark::Attack(_) => push(What::Stress),
        DynamicMark::AttackThen(_, level) => {
            push(What::Level(level.0));
            push(What::Stress);
        }
        DynamicMark::Other(_) => {}
    }
}

/// Whether the words ask to grow or to fade, in the languages scores use.
fn swell_in_words(text: &str) -> Option<Swell> {
    let lower = text.to_lowercase();
    lower.split(|c: char| !c.is_alphabetic()).find_map(|word| match word {
        "cresc" | "crescendo" | "anwachsend" | "wachsend" | "augmentez" => Some(Swell::Crescendo),
        "dim" | "dimin" | "diminuendo" | "decresc" | "decrescendo" | "abnehmend" | "calando" | "morendo" | "diminuez" => {
            Some(Swell::Diminuendo)
        }
        _ => None,
    })
}

/// Voices that are given a mark of their own at a moment where another voice of the staff is given another.
fn split_voices(events: &[Event]) -> Vec<u16> {
    let mut voices = Vec::new();
    for pair in events.windows(2) {
        if let (
            [
                Event { at, voice: Some(a), what: What::Level(_), .. },
                Event { at: next, voice: Some(b), what: What::Level(_), .. },
            ],
            true,
        ) = (pair, pair[0].voice != pair[1].voice)
            && at == next
        {
            voices.extend([*a, *b]);
        }
    }
    voices.sort_unstable();
    voices.dedup();
    voices.truncate(MOST_VOICES);
    voices
}

/// The line of a voice, or of the whole staff.
fn line(events: &[Event], voice: Option<u16>) -> Line {
    let ours = events.iter().filter(|event| voice.is_none() || event.voice.is_none() || event.voice == voice);
    let ours: Vec<Event> = ours.copied().collect();
    let mut drawn = Drawn::new(&ours);
    let mut stresses = Vec::new();
    let mut open: BTreeMap<u8, Vec<(Swell, Crotchets)>> = BTreeMap::new();
    for (i, event) in ours.iter().enumerate() {
        match event.what {
            What::Level(level) => drawn.add(Stretch { start: event.at, end: event.at, from: level, to: level }),
            What::Stress => stresses.push(event.at),
            What::Open(swell, number) => open.entry(number).or_default().push((swell, event.at)),
            What::Close(number) => {
                let Some((swell, start)) = open.get_mut(&number).and_then(Vec::pop) else { continue };
                drawn.swell(i, swell, (start, event.at), event.at + REACH);
            }
            What::Word(swell) => {
                let end = drawn.next_level_after(event.at).unwrap_or(event.at + WORDS_LAST);
                drawn.swell(i, swell, (event.at, end), end);
            }
        }
    }
    stresses.dedup();
    Line { stretches: drawn.stretches.into_values().collect(), stresses }
}

/// A line while it is drawn.
struct Drawn {
    /// The marks of the line: (place among its events, moment, level), in order.
    levels: Vec<(usize, Crotchets, f32)>,
    /// By start, then in the order added: a later stretch replaces what earlier ones said about its span.
    stretches: BTreeMap<(Crotchets, usize), Stretch>,
}

impl Drawn {
    fn new(events: &[Event]) -> Self {
        let level = |(i, event): (usize, &Event)| match event.what {
            What::Level(level) => Some((i, event.at, level)),
            _ => None,
        };
        Self { levels: events.iter().enumerate().filter_map(level).collect(), stretches: BTreeMap::new() }
    }

    fn add(&mut self, stretch: Stretch) {
        self.stretches.insert((stretch.start, self.stretches.len()), stretch);
    }

    /// The level at a moment by what has been drawn so far.
    fn at(&self, time: Crotchets) -> Option<f32> {
        self.stretches.range(..=(time, usize::MAX)).next_back().map(|(_, stretch)| stretch.at(time))
    }

    fn next_level_after(&self, time: Crotchets) -> Option<Crotchets> {
        self.levels.get(self.levels.partition_point(|level| level.1 <= time)).map(|level| level.1)
    }

    /// Adds the stretch of a hairpin or of words that event `i` ends or gives. Its aim is the next mark from its end to `reach`, else one
    /// that stands at its end before event `i`.
    fn swell(&mut self, i: usize, swell: Swell, (start, end): (Crotchets, Crotchets), reach: Crotchets) {
        let Some(from) = self.at(start) else { return };
        let step = if swell == Swell::Crescendo { 1.0 } else { -1.0 };
        let next = self.levels.get(self.levels.partition_point(|level| level.0 < i || level.1 < end));
        let before = self.levels.partition_point(|level| level.0 < i).checked_sub(1).and_then(|last| self.levels.get(last));
        let aim = next.filter(|level| level.1 <= reach).or_else(|| before.filter(|level| level.1 == end));
        let aim = aim.map(|level| level.2).filter(|level| (level - from) * step > 0.0);
        self.add(Stretch { start, end, from, to: aim.unwrap_or(from + step) });
    }
}
