//! Signs that reach from one place to another: hairpins, ottavas, pedals, slurs, trill lines.
//!
//! One that is open when the excerpt begins is opened at its beginning, one still open at its end is closed there. One whose
//! partner the source never gives stays as it is where it opens, and is left out where it closes.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_score::{Direction, DirectionKind, Edge, Mark, Note, NoteFlags, Part, Swell};

use super::{Moment, Window, moment};

/// Kinds of spanning direction, to pair what belongs together.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Hairpin,
    Octave,
    Pedal,
}

const fn edge_of(kind: &DirectionKind) -> Option<(Kind, u8, Edge)> {
    match kind {
        DirectionKind::HairpinStart { number, .. } => Some((Kind::Hairpin, *number, Edge::Start)),
        DirectionKind::HairpinStop { number, .. } => Some((Kind::Hairpin, *number, Edge::Stop)),
        DirectionKind::OctaveShift { edge, number, .. } => Some((Kind::Octave, *number, *edge)),
        DirectionKind::Pedal(edge) => Some((Kind::Pedal, 0, *edge)),
        _ => None,
    }
}

/// The directions that stand in the excerpt's bars, spanning ones made whole; positions are the excerpt's.
pub(super) fn directions(part: &Part, window: Window) -> Vec<Direction> {
    let place = |direction: &Direction, at: Moment| Direction { bar: window.within(at.0), at: at.1, ..direction.clone() };
    let pairs = pair_directions(part);
    let mut found: Vec<(usize, Direction)> = Vec::new();
    for (index, direction) in part.directions.iter().enumerate() {
        let at = moment(direction);
        let Some((_, _, edge)) = edge_of(&direction.kind) else {
            if window.holds(direction.bar) {
                found.push((index, place(direction, at)));
            }
            continue;
        };
        match (edge, pairs.get(&index)) {
            (Edge::Start, Some(&stop)) => {
                let closing = &part.directions[stop];
                let (from, to) = (at.max(window.start()), moment(closing).min(window.end()));
                if from < to && window.holds(from.0) {
                    if let (true, Some(word)) = (at < from, dashed(&direction.kind)) {
                        found.push((index, Direction { kind: word, ..place(direction, from) }));
                    }
                    found.push((index, place(direction, from)));
                    found.push((stop, place(closing, to)));
                }
            }
            (Edge::Start, None) | (Edge::Continue, _) if window.holds(direction.bar) => found.push((index, place(direction, at))),
            _ => {}
        }
    }
    // At one moment as the source has them: a stop before the start that follows it.
    found.sort_by_key(|(index, direction)| (moment(direction), *index));
    found.into_iter().map(|(_, direction)| direction).collect()
}

/// The word that dashes carried into an excerpt go on from, in the brackets of a reminder.
fn dashed(kind: &DirectionKind) -> Option<DirectionKind> {
    let DirectionKind::HairpinStart { swell, dashes: true, .. } = kind else { return None };
    let word = if *swell == Swell::Crescendo { "(cresc.)" } else { "(dim.)" };
    Some(DirectionKind::Words(word.into()))
}

/// For each opening the direction that closes it.
fn pair_directions(part: &Part) -> BTreeMap<usize, usize> {
    let mut open: BTreeMap<(Kind, u8, u8), Vec<usize>> = BTreeMap::new();
    let mut pairs = BTreeMap::new();
    for (index, direction) in part.directions.iter().enumerate() {
        let Some((kind, number, edge)) = edge_of(&direction.kind) else { continue };
        let waiting = open.entry((kind, number, direction.staff)).or_default();
        match edge {
            Edge::Start => waiting.push(index),
            Edge::Continue => {}
            Edge::Stop => {
                if let Some(start) = waiting.pop() {
                    pairs.insert(start, index);
                }
            }
        }
    }
    pairs
}

const fn span_of(mark: &Mark) -> Option<(u8, u8, Edge)> {
    match mark {
        Mark::Slur { edge, number } => Some((0, *number, *edge)),
        Mark::TrillLine { edge, number } => Some((1, *number, *edge)),
        Mark::Glissando { edge, number, .. } => Some((2, *number, *edge)),
        Mark::Tuplet { edge, number, .. } => Some((3, *number, *edge)),
        _ => None,
    }
}

/// Whether a sign of this kind may end on another note than the source has: a slur may, a slide or a tuplet may not.
const fn may_be_cut(kind: u8) -> bool {
    kind < 2
}

/// The marks on the notes in `range`, numbered from its first; spanning ones made whole.
pub(super) fn marks(part: &Part, range: Range<usize>) -> Vec<(u32, Mark)> {
    let pairs = pair_marks(&part.marks);
    // (note, place among the marks, mark)
    let mut found: Vec<(usize, usize, Mark)> = Vec::new();
    for (place, (note, mark)) in part.marks.iter().enumerate() {
        let note = *note as usize;
        let Some((kind, _, edge)) = span_of(mark) else {
            if range.contains(&note) {
                found.push((note, place, mark.clone()));
            }
            continue;
        };
        match (edge, pairs.get(&place)) {
            (Edge::Start, Some(&stop)) => {
                let Some((end, closing)) = part.marks.get(stop).map(|(note, mark)| (*note as usize, mark)) else { continue };
                let whole = range.contains(&note) && range.contains(&end);
                if !whole && !may_be_cut(kind) {
                    continue;
                }
                let (Some(from), Some(to)) = (from_inside(part, &range, note, end), to_inside(part, &range, note, end)) else {
                    continue;
                };
                let moves = (part.notes[from].bar, part.notes[from].at) < (part.notes[to].bar, part.notes[to].at);
                if whole || moves {
                    found.push((from, place, mark.clone()));
                    found.push((to, stop, closing.clone()));
                }
            }
            (Edge::Start, None) if range.contains(&note) && may_be_cut(kind) => found.push((note, place, mark.clone())),
            (Edge::Continue, _) if range.contains(&note) => found.push((note, place, mark.clone())),
            _ => {}
        }
    }
    found.sort_by_key(|(note, place, _)| (*note, *place));
    found.into_iter().map(|(note, _, mark)| (u32::try_from(note - range.start).unwrap_or(u32::MAX), mark)).collect()
}

/// For each mark whether it stands for itself or has its partner.
pub(super) fn paired(marks: &[(u32, Mark)]) -> Vec<bool> {
    let pairs = pair_marks(marks);
    let ends: BTreeSet<usize> = pairs.iter().flat_map(|(&start, &stop)| [start, stop]).collect();
    marks.iter().enumerate().map(|(place, (_, mark))| span_of(mark).is_none() || ends.contains(&place)).collect()
}

fn pair_marks(marks: &[(u32, Mark)]) -> BTreeMap<usize, usize> {
    let mut open: BTreeMap<(u8, u8), Vec<usize>> = BTreeMap::new();
    let mut pairs = BTreeMap::new();
    for (place, (_, mark)) in marks.iter().enumerate() {
        let Some((kind, number, edge)) = span_of(mark) else { continue };
        let waiting = open.entry((kind, number)).or_default();
        match edge {
            Edge::Start => waiting.push(place),
            Edge::Continue => {}
            Edge::Stop => {
                if let Some(start) = waiting.pop() {
                    pairs.insert(start, place);
                }
            }
        }
    }
    pairs
}

const fn carries(note: &Note) -> bool {
    !note.flags.intersects(NoteFlags::CHORD.union(NoteFlags::GRACE).union(NoteFlags::HIDDEN))
}

/// Where a sign from `start` to `end` begins in the range: there, or on the first note of the line it leads to.
fn from_inside(part: &Part, range: &Range<usize>, start: usize, end: usize) -> Option<usize> {
    if range.contains(&start) {
        return Some(start);
    }
    if start >= range.end || end < range.start {
        return None;
    }
    let like = &part.notes[if range.contains(&end) { end } else { start }];
    range.clone().find(|&index| carries(&part.notes[index]) && same_line(&part.notes[index], like))
}

/// Where it ends in the range: there, or on the last note of the line it comes from.
fn to_inside(part: &Part, range: &Range<usize>, start: usize, end: usize) -> Option<usize> {
    if range.contains(&end) {
        return Some(end);
    }
    if end < range.start || start >= range.end {
        return None;
    }
    let like = &part.notes[start];
    range.clone().rev().find(|&index| carries(&part.notes[index]) && same_line(&part.notes[index], like))
}

fn same_line(a: &Note, b: &Note) -> bool {
    (a.voice, a.staff) == (b.voice, b.staff)
}
