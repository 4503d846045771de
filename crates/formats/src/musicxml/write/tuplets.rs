//! Tuplets that begin or end with a rest: a score marks their notes alone, MusicXML wants the mark on the rest.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{Crotchets, Edge, Mark, NoteFlags, NoteValue, Part, TupletRatio};

use super::bar::Event;

/// Where the tuplets of a voice in a bar begin and end, as far as that is on rests.
#[derive(Default)]
pub(super) struct TupletEdges {
    /// Marks on rests, by their place in the voice.
    pub on_rests: BTreeMap<usize, Vec<Mark>>,
    /// Marks of notes that are written on a rest instead: note, whether it is the start, number.
    pub moved: BTreeSet<(usize, bool, u8)>,
}

/// Place and length of something that belongs to a tuplet.
struct Member {
    at: Crotchets,
    duration: Crotchets,
    value: Option<NoteValue>,
    ratio: TupletRatio,
}

fn member(event: &Event<'_>) -> Option<Member> {
    Some(match event {
        Event::Note(_, note) => Member { at: note.at, duration: note.duration, value: note.value, ratio: note.tuplet? },
        Event::Rest(rest) => Member { at: rest.at, duration: rest.duration, value: rest.value, ratio: rest.tuplet? },
    })
}

impl TupletEdges {
    /// Finds rests without which a marked tuplet would not be full. `events`: the notes and rests of the voice.
    pub(super) fn new(part: &Part, events: &[Event<'_>]) -> Self {
        let mut found = Self::default();
        if !events.iter().any(|event| matches!(event, Event::Rest(rest) if rest.tuplet.is_some())) {
            return found;
        }
        // What a tuplet has taken up to now no later one takes.
        let mut free = 0;
        let mut open: Vec<(u8, usize, usize, bool)> = Vec::new();
        for (place, event) in events.iter().enumerate() {
            let Event::Note(index, _) = event else { continue };
            for mark in part.marks_of(*index) {
                let Mark::Tuplet { edge, number, bracket } = mark else { continue };
                match edge {
                    Edge::Start => open.push((*number, place, *index, *bracket)),
                    Edge::Stop => {
                        let Some(at) = open.iter().rposition(|(other, ..)| other == number) else { continue };
                        let (_, first, first_note, bracket) = open.remove(at);
                        let (from, to) = filled(events, free, first, place);
                        if from < first {
                            found.moved.insert((first_note, true, *number));
                            let mark = Mark::Tuplet { edge: Edge::Start, number: *number, bracket };
                            found.on_rests.entry(from).or_default().push(mark);
                        }
                        if to > place {
                            found.moved.insert((*index, false, *number));
                            found.on_rests.entry(to).or_default().push(mark.clone());
                        }
                        free = free.max(to + 1);
                    }
                    Edge::Continue => {}
                }
            }
        }
        found
    }
}

/// From the first to the last note of a tuplet, and on to rests of its ratio beside them as long as it is not full; all from `free` on.
fn filled(events: &[Event<'_>], free: usize, first: usize, last: usize) -> (usize, usize) {
    let is_member = |place: usize| {
        let chord = matches!(&events[place], Event::Note(_, note) if note.flags.intersects(NoteFlags::CHORD | NoteFlags::GRACE));
        if chord { None } else { member(&events[place]) }
    };
    let Some(ratio) = is_member(first).map(|member| member.ratio) else { return (first, last) };
    let is_full = |from: usize, to: usize| {
        let members = || (from..=to).filter_map(is_member);
        let length: Crotchets = members().map(|member| member.duration).sum();
        let unit = members().filter_map(|member| member.value).map(NoteValue::length).min();
        unit.is_none_or(|unit| ratio.is_filled(length, unit))
    };
    let rest = |place: usize| {
        let rest = matches!(events.get(place), Some(Event::Rest(_)));
        if rest { is_member(place).filter(|member| member.ratio == ratio) } else { None }
    };
    let (mut from, mut to) = (first, last);
    let begin = |place: usize| is_member(place).map(|member| member.at);
    let end = |place: usize| is_member(place).map(|member| member.at + member.duration);
    while !is_full(from, to) {
        let before = from.checked_sub(1).filter(|&place| place >= free);
        if let Some(place) = before.filter(|&place| rest(place).is_some_and(|one| Some(one.at + one.duration) == begin(from))) {
            from = place;
        } else if rest(to + 1).is_some_and(|one| Some(one.at) == end(to)) {
            to += 1;
        } else {
            // What cannot be filled stays as it is marked.
            return (first, last);
        }
    }
    (from, to)
}
