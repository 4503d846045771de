//! What binds the notes of a voice together on paper: beams, and the brackets and numbers of tuplets.
//!
//! Rules of engraving, as handbooks have them (Gould, *Behind Bars*, on beams and tuplets; from memory): beams show the beats, half a bar in four where it is
//! nothing but quavers; a tuplet whose notes are all under one beam needs its number alone, any other a bracket. Groups of the sketch's page stay where all of
//! their notes were taken over; notes taken out of their groups are grouped anew.

use std::collections::BTreeMap;

use ripieno_score::{Bar, BarIndex, Beam, Beams, Crotchets, Edge, Mark, Note, NoteFlags, NoteValue, Part, Rest, TupletRatio};

use crate::metre::{Span, metres};

/// A note, a chord or a rest of a voice.
#[derive(Debug, Clone, Copy)]
struct Item {
    at: Crotchets,
    duration: Crotchets,
    value: Option<NoteValue>,
    tuplet: Option<TupletRatio>,
    /// The first note of the chord, as an index; `None` for a rest.
    note: Option<usize>,
}

impl Item {
    fn end(&self) -> Crotchets {
        self.at + self.duration
    }

    /// How many beams or flags it has.
    fn flags(&self) -> u8 {
        let halvings = self.value.filter(|_| self.note.is_some()).map_or(0, |value| value.halvings - 2);
        u8::try_from(halvings).unwrap_or(0).min(Beams::LEVELS)
    }

    /// How long it is as written, without regard to the tuplet it stands in.
    fn written(&self) -> Crotchets {
        let ratio = self.tuplet.and_then(|tuplet| Crotchets::new(i64::from(tuplet.actual), i64::from(tuplet.normal)));
        self.value.map(NoteValue::length).or_else(|| ratio.map(|ratio| self.duration * ratio)).unwrap_or(self.duration)
    }
}

/// Leaves of slurs only those whose both ends were taken over, with nothing but notes between.
fn whole_slurs(part: &mut Part, bars: &[Bar]) {
    let when = |note: &Note| bars.get(note.bar.at()).map_or(Crotchets::ZERO, |bar| bar.start) + note.at;
    let mut order: Vec<usize> = (0..part.marks.len()).filter(|&at| matches!(part.marks[at].1, Mark::Slur { .. })).collect();
    order.retain(|&at| (part.marks[at].0 as usize) < part.notes.len());
    // Of several at a note the one that ends comes first.
    let begins = |at: usize| matches!(part.marks[at].1, Mark::Slur { edge: Edge::Start, .. });
    let place = |at: usize| {
        let note = &part.notes[part.marks[at].0 as usize];
        (note.voice, when(note), !note.flags.contains(NoteFlags::GRACE), begins(at))
    };
    order.sort_by_key(|&at| place(at));
    let mut rests: BTreeMap<u16, Vec<Crotchets>> = BTreeMap::new();
    for rest in part.rests.iter().filter(|rest| rest.bar.at() < bars.len()) {
        rests.entry(rest.voice).or_default().push(bars[rest.bar.at()].start + rest.at);
    }
    rests.values_mut().for_each(|all| all.sort_unstable());
    let mut open: BTreeMap<(u16, u8), usize> = BTreeMap::new();
    let mut kept = vec![false; part.marks.len()];
    for at in order {
        let (note, Mark::Slur { edge, number }) = &part.marks[at] else { continue };
        let voice = part.notes[*note as usize].voice;
        match edge {
            Edge::Start => {
                open.insert((voice, *number), at);
            }
            Edge::Stop => {
                let Some(start) = open.remove(&(voice, *number)) else { continue };
                let (from, to) = (when(&part.notes[part.marks[start].0 as usize]), when(&part.notes[*note as usize]));
                let own = rests.get(&voice).map_or(&[][..], Vec::as_slice);
                let next = own.partition_point(|&rest| rest < from);
                if own.get(next).is_none_or(|&rest| rest >= to) {
                    (kept[start], kept[at]) = (true, true);
                }
            }
            Edge::Continue => {}
        }
    }
    let mut at = 0;
    part.marks.retain(|(_, mark)| {
        at += 1;
        !matches!(mark, Mark::Slur { .. }) || kept[at - 1]
    });
}

/// Beams and marks tuplets in a part whose notes stand, and leaves whole slurs alone; its notes keep their places.
pub(crate) fn grouped(part: &mut Part, bars: &[Bar]) {
    let mut voices: BTreeMap<(BarIndex, u8, u16), Vec<Item>> = BTreeMap::new();
    for (at, note) in part.notes.iter().enumerate() {
        if !note.flags.intersects(NoteFlags::GRACE | NoteFlags::CHORD) && note.bar.at() < bars.len() {
            let Note { duration, value, tuplet, .. } = *note;
            let item = Item { at: note.at, duration, value, tuplet, note: Some(at) };
            voices.entry((note.bar, note.staff, note.voice)).or_default().push(item);
        }
    }
    for rest in part.rests.iter().filter(|rest| !rest.whole_bar) {
        let Rest { at, duration, value, tuplet, .. } = *rest;
        let item = Item { at, duration, value, tuplet, note: None };
        voices.entry((rest.bar, rest.staff, rest.voice)).or_default().push(item);
    }
    whole_slurs(part, bars);
    let metres = metres(bars);
    let mut marks: Vec<(u32, Mark)> = part.marks.drain(..).filter(|(_, mark)| !matches!(mark, Mark::Tuplet { .. })).collect();
    for ((bar, _, voice), mut items) in voices {
        items.sort_by_key(|item| item.at);
        let tuplets = tuplets(&items);
        let span = Span::of(&bars[bar.at()], metres[bar.at()], is_upbeat(bars, bar.at()));
        beam(&mut part.notes, &items, &tuplets, &span);
        // Numbers pair the ends within the part; MusicXML has six.
        let number = u8::try_from(voice.saturating_sub(1) % 6).unwrap_or(0) + 1;
        for tuplet in &tuplets {
            let notes = || items[tuplet.clone()].iter().filter_map(|item| item.note);
            let (Some(first), Some(last)) = (notes().next(), notes().next_back()) else { continue };
            let bracket = !is_under_one_beam(&part.notes, &items[tuplet.clone()]);
            for (note, edge) in [(first, Edge::Start), (last, Edge::Stop)] {
                marks.push((u32::try_from(note).unwrap_or(u32::MAX), Mark::Tuplet { edge, number, bracket }));
            }
        }
    }
    marks.sort_by_key(|(note, _)| *note);
    part.marks = marks;
}

/// Whether a bar that is shorter than its metre lacks its beginning.
pub(crate) fn is_upbeat(bars: &[Bar], bar: usize) -> bool {
    bar == 0 || bars.get(bar).is_some_and(|bar| bar.uncounted)
}

/// The tuplets of a voice in a bar, as ranges of its items: each as soon as it is full.
fn tuplets(items: &[Item]) -> Vec<std::ops::Range<usize>> {
    let mut found: Vec<std::ops::Range<usize>> = Vec::new();
    let mut open: Option<usize> = None;
    for (at, item) in items.iter().enumerate() {
        if let Some(first) = open {
            let before = &items[at - 1];
            if item.tuplet != before.tuplet || item.at != before.end() {
                found.push(first..at);
                open = None;
            }
        }
        let Some(ratio) = item.tuplet else { continue };
        let first = *open.get_or_insert(at);
        let length = item.end() - items[first].at;
        let unit = items[first..=at].iter().map(Item::written).min().unwrap_or(length);
        if length.is_positive() && ratio.is_filled(length, unit) {
            found.push(first..at + 1);
            open = None;
        }
    }
    found.extend(open.map(|first| first..items.len()));
    found
}

/// Whether one beam goes over all notes of a tuplet and nothing else stands in it.
fn is_under_one_beam(notes: &[Note], items: &[Item]) -> bool {
    let beam = |item: &Item| item.note.and_then(|note| notes[note].beams.get(1));
    let last = items.len() - 1;
    last > 0
        && items.iter().enumerate().all(|(at, item)| {
            let beam = beam(item);
            // A longer beam may begin before and go on after it.
            let inside = |beam| match beam {
                Beam::Begin => at == 0,
                Beam::End => at == last,
                Beam::Continue => true,
                _ => false,
            };
            beam.is_some_and(inside)
        })
}

/// Beams the notes of a voice in a bar.
fn beam(notes: &mut [Note], items: &[Item], tuplets: &[std::ops::Range<usize>], span: &Span) {
    let mut kept = vec![false; items.len()];
    for at in 0..items.len() {
        if let Some(length) = whole_group(notes, &items[at..]) {
            kept[at..at + length].fill(true);
        }
    }
    for (item, _) in items.iter().zip(&kept).filter(|(_, kept)| !**kept) {
        if let Some(note) = item.note {
            notes[note].beams = Beams::default();
        }
    }
    let place = |at: usize| (place_of_beam(items, tuplets, at, span), kept[at]);
    let mut first = 0;
    while first < items.len() {
        let mut end = first + 1;
        if items[first].flags() > 0 && !kept[first] {
            while end < items.len()
                && items[end].flags() > 0
                && items[end].at == items[end - 1].end()
                && place(end) == place(first)
            {
                end += 1;
            }
            if end - first > 1 {
                join(notes, &items[first..end], |at| tuplets.iter().position(|tuplet| tuplet.contains(&(first + at))));
            }
        }
        first = end;
    }
}

/// How many items from the first one stand under one beam of the page from which they come, if all of it was taken over.
fn whole_group(notes: &[Note], items: &[Item]) -> Option<usize> {
    let beams = |item: &Item| item.note.map(|note| notes[note].beams);
    let mut open = [false; Beams::LEVELS as usize];
    for (at, item) in items.iter().enumerate() {
        let beams = beams(item)?;
        if at > 0 && items[at - 1].end() != item.at || item.flags() == 0 {
            return None;
        }
        for (level, open) in (1..=Beams::LEVELS).zip(&mut open) {
            let right = match beams.get(level) {
                Some(Beam::Begin) => !std::mem::replace(open, true),
                Some(Beam::Continue) => *open,
                Some(Beam::End) => std::mem::replace(open, false),
                Some(Beam::ForwardHook | Beam::BackwardHook) => !*open && level > 1,
                None => !*open,
            };
            if !right || (level <= item.flags()) != beams.get(level).is_some() {
                return None;
            }
        }
        if !open[0] {
            // A note without a beam is no group.
            return (at > 0).then_some(at + 1);
        }
    }
    None
}

/// What a note shares with those under the same beam: the beat, the half of a bar of quavers, or the tuplet over several beats.
fn place_of_beam(items: &[Item], tuplets: &[std::ops::Range<usize>], at: usize, span: &Span) -> (Crotchets, Crotchets) {
    let item = &items[at];
    let whole = |range: &std::ops::Range<usize>| (items[range.start].at, items[range.end - 1].end());
    let beat = span.beat_at(item.at);
    if let Some((from, to)) = tuplets.iter().find(|range| range.contains(&at)).map(whole) {
        return if beat.from <= from && to <= beat.to { (beat.from, beat.to) } else { (from, to) };
    }
    let two = Crotchets::whole(2);
    let quaver =
        |item: &&Item| item.value == Some(NoteValue { halvings: 3, dots: 0 }) && item.tuplet.is_none() && item.note.is_some();
    let all_quavers = |group: &&&Span| {
        let inside = || items.iter().filter(|item| group.from <= item.at && item.at < group.to);
        let lasts: Crotchets = inside().filter(quaver).map(|item| item.duration).sum();
        group.length() == two && inside().all(|item| quaver(&item)) && lasts == two
    };
    let halves = span.around(item.at);
    if let Some(half) = halves.iter().find(all_quavers) {
        return (half.from, half.to);
    }
    // Long beats are beamed by their parts.
    if beat.length() > Crotchets::new(3, 2).unwrap_or(Crotchets::ONE)
        && let Some(part) = beat.parts().iter().find(|part| part.from <= item.at && item.at < part.to)
    {
        return (part.from, part.to);
    }
    (beat.from, beat.to)
}

/// Puts notes under one beam; shorter ones under more, which tuplets break.
fn join(notes: &mut [Note], items: &[Item], tuplet: impl Fn(usize) -> Option<usize>) {
    let last = items.len() - 1;
    for (at, item) in items.iter().enumerate() {
        let Some(note) = item.note else { continue };
        for level in 1..=item.flags() {
            let with = |other: usize| items[other].flags() >= level && (level == 1 || tuplet(other) == tuplet(at));
            let (before, after) = (at > 0 && with(at - 1), at < last && with(at + 1));
            let beam = match (before, after) {
                (true, true) => Beam::Continue,
                (false, true) => Beam::Begin,
                (true, false) => Beam::End,
                // A lonely one leans to the note with which it makes up a longer value.
                (false, false) if at == 0 || (at < last && leans_on(item)) => Beam::ForwardHook,
                (false, false) => Beam::BackwardHook,
            };
            notes[note].beams.set(level, beam);
        }
    }
}

/// Whether a short note begins what is twice as long.
fn leans_on(item: &Item) -> bool {
    let twice = item.duration + item.duration;
    item.at.modulo(twice).is_some_and(Crotchets::is_zero)
}
