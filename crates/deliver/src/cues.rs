//! Cues: what somebody else plays, small, in the last bars of a long rest.
//!
//! A cue stands as it sounds, written for the instrument of its reader (as the guidelines of orchestra librarians ask: in the key of the
//! reading player, with the rests shown), spelt for that key, moved by octaves where it would leave the staff and what its reader reads anyway, and
//! then says so.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use ripieno_score::{
    BarIndex, ChangeKind, Clef, ClefSign, Crotchets, Direction, DirectionKind, Edge, Head, Mark, Note, NoteFlags, NoteValue,
    Part, Pitch, Rest, Score, Stem, Step, Transposition, TupletRatio,
};

use ripieno_instruments::{Family, catalogue};

use crate::rests::{runs, silent_bars};

/// Most notes a bar of a cue may have: more is not read in passing.
const MOST_NOTES: usize = 16;
/// Staff positions a cue may lie below and above the lowest line of the staff without being moved.
const ON_THE_STAFF: std::ops::RangeInclusive<i32> = -3..=11;
/// Positions by which it may leave even that.
const MOST_BEYOND: i32 = 3;
/// Octaves by which it may be moved, those that are tried first in front.
const MOVES: [i8; 5] = [0, 1, -1, 2, -2];
/// Fifths from the middle of a key beyond which a note is spelt anew: the scale lies within three, its leading notes and borrowed thirds within seven.
const FAR: i32 = 7;

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

/// Octaves, two at most, by which a cue is written higher than it sounds to lie on its reader's staff, or within what its reader plays; `None` where
/// it does not even then. A reader without pitches gets the rhythm.
fn octaves(source: &Part, reader: &Part, first: BarIndex, last: BarIndex) -> Option<i8> {
    if place_of_rhythm(reader).is_some() {
        return Some(0);
    }
    let lowest_line = lowest_line(clef(reader, first));
    let extent = |positions: &mut dyn Iterator<Item = i32>| {
        positions.fold(None, |found: Option<(i32, i32)>, position| {
            let (low, high) = found.unwrap_or((position, position));
            Some((low.min(position), high.max(position)))
        })
    };
    let mut positions = (first.0..=last.0).flat_map(|bar| line(source, BarIndex(bar))).filter_map(|note| {
        let note = &source.notes[note];
        Some(read_by(source, reader, note.bar, note.at, note.pitch()?).staff_position() - lowest_line)
    });
    let (low, high) = extent(&mut positions)?;
    // Whoever plays higher reads higher: what is within the notes of the part needs no move.
    let own = extent(&mut own_positions(reader));
    if own.is_some_and(|(lowest, highest)| lowest <= low && high <= highest) {
        return Some(0);
    }
    let beyond = |octaves: i8| {
        let moved = 7 * i32::from(octaves);
        (ON_THE_STAFF.start() - low - moved).max(0) + (high + moved - ON_THE_STAFF.end()).max(0)
    };
    let best = MOVES.into_iter().min_by_key(|&octaves| beyond(octaves))?;
    (beyond(best) <= MOST_BEYOND).then_some(best)
}

/// Where the notes of a part lie above the lowest line of its first staff, under the clef each stands under.
fn own_positions(part: &Part) -> impl Iterator<Item = i32> + '_ {
    let mut clefs = part.changes.iter().filter(|change| change.staff.is_none_or(|staff| staff == 1)).peekable();
    let mut clef = TREBLE;
    part.notes.iter().filter(|note| note.plays() && note.staff == 1).filter_map(move |note| {
        while let Some(change) = clefs.next_if(|change| (change.bar, change.at) <= (note.bar, note.at)) {
            if let ChangeKind::Clef(next) = change.kind {
                clef = next;
            }
        }
        Some(note.pitch()?.staff_position() - lowest_line(clef))
    })
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
        let tuplets = tuplets(source, bar, &line);
        for rest in tuplets.iter().flat_map(|tuplet| &tuplet.rests) {
            part.rests.push(Rest { voice: cue_voice, staff: 1, cue: true, ..rest.clone() });
        }
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
            let own = u32::try_from(part.notes.len()).unwrap_or(u32::MAX);
            for tuplet in &tuplets {
                let mark = |edge| (own, Mark::Tuplet { edge, number: 1, bracket: tuplet.is_bracketed });
                part.marks.extend((tuplet.first == index).then(|| mark(Edge::Start)));
                part.marks.extend((tuplet.last == index).then(|| mark(Edge::Stop)));
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

/// Notes of a cue under one number.
struct Tuplet {
    /// Indices of its first and its last note.
    first: usize,
    last: usize,
    /// Whether it is drawn with a bracket: where no beam holds it together.
    is_bracketed: bool,
    /// Rests among and beside its notes, without which its rhythm could not be read.
    rests: Vec<Rest>,
}

/// The tuplets of a line in a bar. Marks of the source would not do: what is left of a chord or of two voices may have lost their ends.
fn tuplets(source: &Part, bar: BarIndex, line: &[usize]) -> Vec<Tuplet> {
    /// A note or a rest with its place in time.
    struct Piece<'a> {
        at: Crotchets,
        duration: Crotchets,
        value: Option<NoteValue>,
        ratio: TupletRatio,
        what: Result<usize, &'a Rest>,
    }
    let notes = line.iter().filter_map(|&index| {
        let note = &source.notes[index];
        Some(Piece { at: note.at, duration: note.duration, value: note.value, ratio: note.tuplet?, what: Ok(index) })
    });
    // Rests while another voice of the line plays are not the line's.
    let is_free = |rest: &&Rest| {
        line.iter().all(|&note| {
            let note = &source.notes[note];
            rest.at + rest.duration <= note.at || note.at + note.duration <= rest.at
        })
    };
    let start = source.rests.partition_point(|rest| rest.bar < bar);
    let rests = source.rests[start..].iter().take_while(|rest| rest.bar == bar).filter(|rest| rest.staff == 1 && !rest.hidden);
    let rests = rests.filter(is_free).filter_map(|rest| {
        Some(Piece { at: rest.at, duration: rest.duration, value: rest.value, ratio: rest.tuplet?, what: Err(rest) })
    });
    let mut pieces: Vec<Piece<'_>> = notes.chain(rests).collect();
    pieces.sort_by_key(|piece| piece.at);
    let mut found = Vec::new();
    let mut at = 0;
    while at < pieces.len() {
        let ratio = pieces[at].ratio;
        let (mut end, mut unit, mut taken) = (at, None::<Crotchets>, Crotchets::ZERO);
        // As long as the number goes on without a gap, until it fills notes of its own kind.
        while let Some(piece) = pieces.get(end).filter(|piece| piece.ratio == ratio && piece.at == pieces[at].at + taken) {
            taken += piece.duration;
            end += 1;
            unit = unit.into_iter().chain(piece.value.map(NoteValue::length)).min();
            if unit.is_some_and(|unit| ratio.is_filled(taken, unit)) {
                break;
            }
        }
        let own = &pieces[at..end];
        let indices: Vec<usize> = own.iter().filter_map(|piece| piece.what.ok()).collect();
        if let (Some(&first), Some(&last)) = (indices.first(), indices.last()) {
            let is_beamed = |index: usize| source.notes[index].beams != ripieno_score::Beams::default();
            found.push(Tuplet {
                first,
                last,
                is_bracketed: !own.iter().all(|piece| piece.what.is_ok_and(is_beamed)),
                rests: own.iter().filter_map(|piece| piece.what.err()).cloned().collect(),
            });
        }
        at = end;
    }
    found
}

/// Says whose notes these are.
fn label(source: &Part, cue: &Cue, bar: BarIndex, at: Crotchets) -> Direction {
    let name = if source.abbreviation.is_empty() { &source.name } else { &source.abbreviation };
    let moved = match cue.octaves {
        0 => "",
        1 => " (sounds 8va lower)",
        -1 => " (sounds 8va higher)",
        2.. => " (sounds 15ma lower)",
        _ => " (sounds 15ma higher)",
    };
    let kind = DirectionKind::Words(format!("{name}{moved}").into());
    Direction { bar, at, staff: 1, voice: None, above: Some(true), kind }
}

/// How a note of `source` is written for the reader.
fn read_by(source: &Part, reader: &Part, bar: BarIndex, at: Crotchets, pitch: Pitch) -> Pitch {
    let sounding = pitch.moved(Transposition { doubled_below: false, ..transposition(source, bar, at) });
    let by = Transposition { doubled_below: false, ..transposition(reader, bar, at) };
    let fifths = in_force(reader, bar, at, |kind| if let ChangeKind::Key(key) = kind { Some(key.fifths) } else { None });
    spelt(sounding.moved(by.inverse()).tamed(), i32::from(fifths.unwrap_or(0)))
}

/// A pitch as it is read in a key of so many sharps: far from that key, or with two signs, it takes the name that is nearest to it on the line of
/// fifths.
fn spelt(pitch: Pitch, fifths: i32) -> Pitch {
    // F is -1, C 0, G 1, ...; the scale of C major reaches from -1 to 5.
    let place =
        |pitch: Pitch| [0, 2, 4, -1, 1, 3, 5][usize::try_from(pitch.step.index()).unwrap_or(0)] + 7 * i32::from(pitch.alter);
    let far = |pitch: Pitch| (place(pitch) - fifths - 2).abs();
    if far(pitch) <= FAR && pitch.alter.abs() < 2 {
        return pitch;
    }
    let neighbours = (-1i32..=1).filter_map(|steps| {
        let position = pitch.staff_position() + steps;
        let step = Step::ALL[usize::try_from(position.rem_euclid(7)).ok()?];
        let natural = Pitch { step, alter: 0, octave: i8::try_from(position.div_euclid(7)).ok()?, cents: pitch.cents };
        let alter = i8::try_from(pitch.semitones() - natural.semitones()).ok()?;
        (alter.abs() < 2).then_some(Pitch { alter, ..natural })
    });
    neighbours.min_by_key(|&other| (far(other), other.alter.abs())).unwrap_or(pitch)
}

fn transposition(part: &Part, bar: BarIndex, at: Crotchets) -> Transposition {
    in_force(part, bar, at, |kind| if let ChangeKind::Transposition(by) = kind { Some(*by) } else { None })
        .unwrap_or(Transposition::NONE)
}

/// The clef of a part that says none.
const TREBLE: Clef = Clef { sign: ClefSign::G, line: 2, octaves: 0 };

fn clef(part: &Part, bar: BarIndex) -> Clef {
    in_force(part, bar, Crotchets::ZERO, |kind| if let ChangeKind::Clef(clef) = kind { Some(*clef) } else { None })
        .unwrap_or(TREBLE)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Enharmonic names on the line of fifths; common practice of copyists.
    #[test]
    fn a_cue_is_spelt_for_its_reader() {
        let told = |step: Step, alter: i8, fifths: i32| spelt(Pitch::new(step, alter, 4), fifths).to_string();
        // A horn in B with three sharps, reading a bassoon in flats.
        assert_eq!([told(Step::E, -2, 3), told(Step::B, -2, 3), told(Step::E, -1, 3)], ["D4", "A4", "D#4"]);
        // A trumpet without a key.
        assert_eq!(
            [told(Step::F, -1, 0), told(Step::C, -1, 0), told(Step::E, 1, 0), told(Step::B, 1, 0)],
            ["E4", "B3", "F4", "C5"]
        );
        // What the key has, its leading notes and its borrowed thirds stay.
        assert_eq!(
            [told(Step::E, 1, 6), told(Step::C, -1, -6), told(Step::F, 1, -3), told(Step::G, 1, 0)],
            ["E#4", "Cb4", "F#4", "G#4"]
        );
    }

    #[test]
    fn tuplets_are_found_by_what_they_fill() {
        let ratio = Some(TupletRatio { actual: 3, normal: 2 });
        let third = |n: i64| Crotchets::new(n, 3).unwrap_or_default();
        let note = |at: i64, thirds: i64, halvings: i8| Note {
            at: third(at),
            duration: third(thirds),
            value: Some(NoteValue { halvings, dots: 0 }),
            tuplet: ratio,
            ..Note::default()
        };
        let rest = Rest {
            at: third(8),
            duration: third(1),
            value: Some(NoteValue { halvings: 3, dots: 0 }),
            tuplet: ratio,
            ..Rest::default()
        };
        // Three quavers; a crotchet and a quaver; a quaver, a quaver and a quaver rest.
        let part = Part {
            notes: vec![note(0, 1, 3), note(1, 1, 3), note(2, 1, 3), note(3, 2, 2), note(5, 1, 3), note(6, 1, 3), note(7, 1, 3)],
            rests: vec![rest],
            ..Part::default()
        };
        let found = tuplets(&part, BarIndex(0), &[0, 1, 2, 3, 4, 5, 6]);
        let told: Vec<(usize, usize, usize)> = found.iter().map(|one| (one.first, one.last, one.rests.len())).collect();
        assert_eq!(told, [(0, 2, 0), (3, 4, 0), (5, 6, 1)]);
    }
}
