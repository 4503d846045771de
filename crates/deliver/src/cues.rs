//! Cues: what somebody else plays, small, in the last bars of a long rest.
//!
//! A cue stands as it sounds, written for the instrument of its reader (as the guidelines of orchestra librarians ask: in the key of the
//! reading player, with the rests shown), moved by octaves where it would leave the staff, and then says so.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use ripieno_score::{
    BarIndex, ChangeKind, Clef, ClefSign, Crotchets, Direction, DirectionKind, Head, Note, NoteFlags, Part, Pitch, Rest, Score,
    Stem, Step, Transposition,
};

use ripieno_instruments::{Family, catalogue};

use crate::rests::{runs, silent_bars};

/// Most notes a bar of a cue may have: more is not read in passing.
const MOST_NOTES: usize = 16;
/// Staff positions a cue may lie below and above the lowest line of the staff without being moved.
const ON_THE_STAFF: std::ops::RangeInclusive<i32> = -3..=11;
/// Positions by which it may leave even that.
const MOST_BEYOND: i32 = 3;

/// A cue in a book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cue {
    /// First bar.
    pub first: BarIndex,
    /// Last bar.
    pub last: BarIndex,
    /// The part it is taken from, index into the score's parts.
    pub from: usize,
    /// Octaves by which it is written higher than it sounds.
    pub octaves: i8,
}

/// What cues need to know.
pub(crate) struct Request<'a> {
    /// Rests of fewer bars get none.
    pub after: u32,
    /// Bars of a cue.
    pub bars: u32,
    /// For each bar the part that leads, where that is known.
    pub leaders: &'a [Option<usize>],
}

/// Adds cues to `part` of `score`, a copy of the score's part `index`.
pub(crate) fn add(score: &Score, index: usize, part: &mut Part, request: &Request<'_>) -> Vec<Cue> {
    let silent = silent_bars(part, score.bars.len());
    let voices = voices_of(part);
    let mut cues = Vec::new();
    for rest in runs(&silent) {
        let length = u32::try_from(rest.len()).unwrap_or(u32::MAX);
        // Nobody enters after the last rest.
        if length < request.after || rest.end == score.bars.len() {
            continue;
        }
        let last = BarIndex(u32::try_from(rest.end - 1).unwrap_or(u32::MAX));
        let first = BarIndex(last.0 + 1 - request.bars.clamp(1, length));
        // Bars that never follow each other, as first and second endings, are no cue together.
        let turns = |bar: u32| {
            let (here, before) = (&score.bars[bar as usize], &score.bars[bar as usize - 1]);
            !here.ending_start.is_empty() || here.repeat_start || before.ending_stop || before.repeat_end.is_some()
        };
        let first = BarIndex((first.0 + 1..=last.0).rev().find(|&bar| turns(bar)).unwrap_or(first.0));
        let holds = first.at()..=last.at();
        // Directions of its own in these bars would be taken for the cue's.
        if part.directions.iter().any(|sign| holds.contains(&sign.bar.at()) && is_of_playing(&sign.kind)) {
            continue;
        }
        if let Some(cue) = choose(score, index, part, request, first, last) {
            write(score, part, &cue, voices);
            cues.push(cue);
        }
    }
    if !cues.is_empty() {
        part.rests.sort_by_key(|rest| (rest.bar, rest.at, rest.voice));
        part.directions.sort_by_key(|direction| (direction.bar, direction.at));
    }
    cues
}

fn is_of_playing(kind: &DirectionKind) -> bool {
    matches!(kind, DirectionKind::Dynamic(_) | DirectionKind::HairpinStart { .. } | DirectionKind::HairpinStop { .. })
}

/// How well a part serves as a cue, better is more: bars in which it leads, different pitches, bars in which it plays, nearness on the page.
type Rank = (usize, usize, usize, Reverse<usize>);

/// Whom to hear: who leads, if it can be read; otherwise whoever plays most of these bars, nearest on the page.
fn choose(score: &Score, reader: usize, part: &Part, request: &Request<'_>, first: BarIndex, last: BarIndex) -> Option<Cue> {
    let leads = |other: usize| (first.at()..=last.at()).filter(|&bar| request.leaders.get(bar) == Some(&Some(other))).count();
    let bars = last.at() - first.at() + 1;
    let mut best: Option<(Rank, usize, i8)> = None;
    for (other, source) in score.parts.iter().enumerate() {
        let is_drum = catalogue().by_id(&source.instrument_id).is_some_and(|one| one.family == Family::Percussion);
        if other == reader || source.name == part.name || is_drum {
            continue;
        }
        let mut playing = 0;
        let mut readable = true;
        let mut pitches = BTreeSet::new();
        for bar in first.0..=last.0 {
            let line = line(source, BarIndex(bar));
            playing += usize::from(!line.is_empty());
            readable &= line.len() <= MOST_NOTES;
            pitches.extend(line.into_iter().filter_map(|note| source.notes[note].pitch().map(Pitch::semitones)));
        }
        // The bar before the entry is the one that matters.
        if !readable || playing == 0 || line(source, last).is_empty() {
            continue;
        }
        // A line that moves is recognised sooner than a held or repeated note.
        let rank = (leads(other).min(bars), pitches.len().min(4), playing, Reverse(other.abs_diff(reader)));
        if best.as_ref().is_none_or(|(known, ..)| rank > *known)
            && let Some(octaves) = octaves(source, part, first, last)
        {
            best = Some((rank, other, octaves));
        }
    }
    let (_, from, octaves) = best?;
    Some(Cue { first, last, from, octaves })
}

/// Octaves, one at most, by which a cue is written higher than it sounds to lie on its reader's staff; `None` where it does not even then.
/// A reader without pitches gets the rhythm.
fn octaves(source: &Part, reader: &Part, first: BarIndex, last: BarIndex) -> Option<i8> {
    if place_of_rhythm(reader).is_some() {
        return Some(0);
    }
    let mut positions: Vec<i32> = (first.0..=last.0)
        .flat_map(|bar| line(source, BarIndex(bar)))
        .filter_map(|note| {
            let note = &source.notes[note];
            Some(read_by(source, reader, note.bar, note.at, note.pitch()?).staff_position())
        })
        .collect();
    positions.sort_unstable();
    let (low, high) = (*positions.first()?, *positions.last()?);
    let lowest_line = lowest_line(clef(reader, first));
    let beyond = |octaves: i8| {
        let (low, high) = (low + 7 * i32::from(octaves) - lowest_line, high + 7 * i32::from(octaves) - lowest_line);
        (ON_THE_STAFF.start() - low).max(0) + (high - ON_THE_STAFF.end()).max(0)
    };
    let best = [0i8, 1, -1].into_iter().min_by_key(|&octaves| beyond(octaves))?;
    (beyond(best) <= MOST_BEYOND).then_some(best)
}

/// The highest line of a part in a bar: for each onset of its first staff the highest note; indices of notes.
fn line(source: &Part, bar: BarIndex) -> Vec<usize> {
    let start = source.notes.partition_point(|note| note.bar < bar);
    let mut line: Vec<usize> = Vec::new();
    let mut end = Crotchets::ZERO;
    let mut notes: Vec<usize> = (start..source.notes.len())
        .take_while(|&note| source.notes[note].bar == bar)
        .filter(|&note| {
            let note = &source.notes[note];
            note.plays() && note.staff == 1 && !note.duration.is_zero() && note.pitch().is_some()
        })
        .collect();
    let height = |note: usize| source.notes[note].pitch().map_or(i32::MIN, Pitch::semitones);
    notes.sort_by_key(|&note| (source.notes[note].at, -height(note)));
    for note in notes {
        // A lower voice that moves while the upper one holds is not followed.
        if line.is_empty() || source.notes[note].at >= end {
            end = source.notes[note].at + source.notes[note].duration;
            line.push(note);
        }
    }
    line
}

/// Where the rhythm of a cue stands in a part that has places on its staff and no pitches: above the highest of its own.
fn place_of_rhythm(reader: &Part) -> Option<Pitch> {
    if reader.notes.iter().any(|note| note.plays() && note.pitch().is_some()) {
        return None;
    }
    let own = reader.notes.iter().filter(|note| note.plays());
    let places = own.filter_map(|note| if let Head::Unpitched(place) = note.head { Some(place) } else { None });
    let position = places.map(Pitch::staff_position).max()? + 2;
    let step = Step::ALL[usize::try_from(position.rem_euclid(7)).unwrap_or(0)];
    Some(Pitch::new(step, 0, i8::try_from(position.div_euclid(7)).unwrap_or(4)))
}

/// The voices of a cue and of its reader's rest below it, on the first staff: of a part on several staves none that these use.
fn voices_of(part: &Part) -> (u16, u16) {
    if part.staves < 2 {
        return (1, 2);
    }
    let most = part.notes.iter().map(|note| note.voice).chain(part.rests.iter().map(|rest| rest.voice)).max().unwrap_or(1);
    (most + 1, most + 2)
}

/// Writes the cue into the book.
fn write(score: &Score, part: &mut Part, cue: &Cue, (cue_voice, rest_voice): (u16, u16)) {
    let source = &score.parts[cue.from];
    let octaves = Transposition { octaves: cue.octaves, ..Transposition::NONE };
    let mut said = false;
    let rhythm = place_of_rhythm(part);
    for bar in cue.first.0..=cue.last.0 {
        let bar = BarIndex(bar);
        let length = score.bars[bar.at()].length;
        // The reader's own rests stay in sight, below the cue on its staff.
        for staff in 1..=part.staves.max(1) {
            if !part.rests.iter().any(|rest| (rest.bar, rest.staff) == (bar, staff)) {
                part.rests.push(Rest {
                    bar,
                    duration: length,
                    voice: u16::from(staff),
                    staff,
                    whole_bar: true,
                    ..Rest::default()
                });
            }
        }
        let beside = |rest: &&mut Rest| (rest.bar, rest.staff) == (bar, 1) && rest.voice < rest_voice;
        part.rests.iter_mut().filter(beside).for_each(|rest| rest.voice = rest_voice);
        let line = line(source, bar);
        for (place, &index) in line.iter().enumerate() {
            let note = &source.notes[index];
            let Some(pitch) = note.pitch() else { continue };
            if !said {
                said = true;
                part.directions.push(label(source, cue, bar, note.at));
            }
            let mut flags = NoteFlags::CUE | (note.flags & (NoteFlags::TIE_START | NoteFlags::TIE_STOP));
            // A tie within the cue only.
            if bar == cue.first && place == 0 {
                flags.remove(NoteFlags::TIE_STOP);
            }
            if bar == cue.last && place + 1 == line.len() {
                flags.remove(NoteFlags::TIE_START);
            }
            part.notes.push(Note {
                head: rhythm
                    .map_or_else(|| Head::Pitched(read_by(source, part, bar, note.at, pitch).moved(octaves)), Head::Unpitched),
                voice: cue_voice,
                instrument: 0,
                velocity: 0,
                flags,
                articulations: ripieno_score::Articulations::empty(),
                stem: Stem::Up,
                ..note.clone()
            });
        }
    }
}

/// Says whose notes these are.
fn label(source: &Part, cue: &Cue, bar: BarIndex, at: Crotchets) -> Direction {
    let name = if source.abbreviation.is_empty() { &source.name } else { &source.abbreviation };
    let moved = match cue.octaves {
        0 => "",
        1 => " (sounds 8va lower)",
        _ => " (sounds 8va higher)",
    };
    let kind = DirectionKind::Words(format!("{name}{moved}").into());
    Direction { bar, at, staff: 1, voice: None, above: Some(true), kind }
}

/// How a note of `source` is written for the reader.
fn read_by(source: &Part, reader: &Part, bar: BarIndex, at: Crotchets, pitch: Pitch) -> Pitch {
    let sounding = pitch.moved(Transposition { doubled_below: false, ..transposition(source, bar, at) });
    let by = Transposition { doubled_below: false, ..transposition(reader, bar, at) };
    sounding.moved(by.inverse()).tamed()
}

fn transposition(part: &Part, bar: BarIndex, at: Crotchets) -> Transposition {
    in_force(part, bar, at, |kind| if let ChangeKind::Transposition(by) = kind { Some(*by) } else { None })
        .unwrap_or(Transposition::NONE)
}

fn clef(part: &Part, bar: BarIndex) -> Clef {
    in_force(part, bar, Crotchets::ZERO, |kind| if let ChangeKind::Clef(clef) = kind { Some(*clef) } else { None })
        .unwrap_or(Clef { sign: ClefSign::G, line: 2, octaves: 0 })
}

/// The last change of a kind at or before a moment, on the first staff.
fn in_force<T>(part: &Part, bar: BarIndex, at: Crotchets, of: impl Fn(&ChangeKind) -> Option<T>) -> Option<T> {
    let by_then = part.changes.iter().take_while(|change| (change.bar, change.at) <= (bar, at));
    by_then.filter(|change| change.staff.is_none_or(|staff| staff == 1)).filter_map(|change| of(&change.kind)).last()
}

/// The staff position of the lowest line, for notes as they are written under the clef.
fn lowest_line(clef: Clef) -> i32 {
    let (position, line) = match clef.sign {
        ClefSign::F => (3 * 7 + 3, clef.line),
        ClefSign::C => (4 * 7, clef.line),
        _ => (4 * 7 + 4, if clef.sign == ClefSign::G { clef.line } else { 2 }),
    };
    position - 2 * (i32::from(line) - 1) + 7 * i32::from(clef.octaves)
}
